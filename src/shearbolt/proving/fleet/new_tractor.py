"""The newer tractor: particulate filter and SCR, and controllers that tell much."""

from __future__ import annotations

from shearbolt.proving.controllers import IMPLEMENT_BUS, Controller, Group, Machine, Proprietary
from shearbolt.proving.fleet.common import (
    FUEL_ASKED,
    GEARBOX,
    RAIL,
    TRACTOR_MOVES,
    TREATMENT,
    engine_groups,
    texts_of,
)
from shearbolt.proving.hardware import Build
from shearbolt.proving.packing import make_name

NEW_TRACTOR = Machine(
    "new_tractor",
    "the new tractor",
    Build(
        displacement_l=6.1,
        power_kw=150.0,
        rated_rpm=2100.0,
        idle_rpm=800.0,
        boost_kpa=185.0,
        engine_kj_k=700.0,
        radiator_kw_k=1.8,
        particulate_filter=True,
        hydraulic_kj_k=300.0,
        shared_oil_kw_k=0.14,
        transmission_kw=17.0,
        road_km_h=40.0,
        mass_t=7.9,
        payload_t=13.0,
    ),
    (
        Controller(
            "engine",
            0,
            make_name(88_120, 1822, 0, device_class=1),
            (
                *engine_groups(172),
                Group(65253, 1.0, (247, 249)),
                RAIL,
                Group(65279, 10.0, (97,)),
                FUEL_ASKED,
            ),
            (Proprietary(65280 + 0x31, 0.02), Proprietary(65280 + 0x32, 0.05)),
            dm1="always",
            count_steps="onset",
            boot_s=0.1,
            after_run_s=42.0,
            texts=texts_of("V6-61", "N0042277", "SW 8.04.2", vin="XCH02NEWTRAC22117"),
        ),
        Controller(
            "treatment",
            61,
            make_name(88_455, 1822, 44, device_class=1),
            TREATMENT,
            (Proprietary(65280 + 0x4A, 0.1),),
            dm1="always",
            count_steps="key_cycle",
            boot_s=0.5,
            after_run_s=42.0,
            texts=texts_of("EAT-2", "A0011903", "ACM 3.3"),
        ),
        Controller(
            "transmission",
            3,
            make_name(1_700_011, 1840, 3, device_class=1),
            GEARBOX,
            (Proprietary(65280 + 0x24, 0.05), Proprietary(65280 + 0x25, 0.1)),
            dm1="always",
            count_steps="onset",
            boot_s=0.9,
            after_run_s=2.0,
        ),
        Controller(
            "cab",
            49,
            make_name(55_311, 1822, 26, device_class=1),
            (
                Group(65271, 1.0, (168,)),
                Group(65265, 0.1, (70, 84, 597, 598)),
            ),
            (Proprietary(65280 + 0x58, 0.05),),
            dm1="always",
            count_steps="onset",
            boot_s=1.3,
            after_run_s=1.6,
        ),
        Controller(
            "tractor",
            240,
            make_name(55_020, 1822, 30, device_class=1),
            (*TRACTOR_MOVES, Group(65128, 1.0, (1638, 2602))),
            dm1="never_heard",
            count_steps="never",
            boot_s=1.1,
            channel=IMPLEMENT_BUS,
            remembers=False,
        ),
    ),
    vin="XCH02NEWTRAC22117",
)
