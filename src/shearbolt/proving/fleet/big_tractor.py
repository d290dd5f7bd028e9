"""The big tractor: without particulate filter, three NAMEs in one box, two buses."""

from __future__ import annotations

from dataclasses import replace

from shearbolt.proving.controllers import (
    IMPLEMENT_BUS,
    VEHICLE_HOURS,
    Controller,
    Group,
    Machine,
    Proprietary,
)
from shearbolt.proving.fleet.common import (
    FUEL_ASKED,
    GEARBOX,
    HOURS_ASKED,
    TRACTOR_MOVES,
    engine_groups,
    texts_of,
)
from shearbolt.proving.hardware import Build
from shearbolt.proving.packing import make_name

_BIG_BOX = 1_178_350
BIG_TRACTOR_GEARBOX = Controller(
    "transmission",
    3,
    make_name(_BIG_BOX, 1811, 3, device_class=1),
    GEARBOX,
    (Proprietary(65280 + 0x1E, 0.1),),
    dm1="at_key_on",
    count_steps="never",
    texts=texts_of("CVT-B", "T0077120", "TCU 4.12", "MAP 118"),
)
BIG_TRACTOR_GEARBOX_NEW = replace(
    BIG_TRACTOR_GEARBOX,
    name=make_name(1_402_226, 1811, 3, device_class=1),
    texts=texts_of("CVT-B", "T0102994", "TCU 4.30", "MAP 118"),
)
"""The box fitted in July in the place of the first."""

BIG_TRACTOR = Machine(
    "big_tractor",
    "the big tractor",
    Build(
        displacement_l=6.7,
        power_kw=176.0,
        rated_rpm=2100.0,
        idle_rpm=850.0,
        boost_kpa=165.0,
        engine_kj_k=760.0,
        radiator_kw_k=1.9,
        hydraulic_kj_k=330.0,
        shared_oil_kw_k=0.16,
        transmission_kw=19.0,
        road_km_h=40.0,
        mass_t=9.4,
        payload_t=15.0,
    ),
    (
        Controller(
            "engine",
            0,
            make_name(652_631, 1805, 0, device_class=1),
            (
                *engine_groups(175, 171),
                Group(64914, 0.25, (3543,)),
                Group(65279, 10.0, (97,)),
                HOURS_ASKED,
                FUEL_ASKED,
            ),
            (Proprietary(61184, 0.02), Proprietary(61184, 0.04, destination=6)),
            dm1="while_active",
            count_steps="end",
            boot_s=0.02,
            after_run_s=17.5,
            texts=texts_of("D6-67", "E6700412", "ECU 23.1", "CAL 5507", vin="XCH01BIGTRAC14209"),
        ),
        BIG_TRACTOR_GEARBOX,
        Controller(
            "levers",
            6,
            make_name(_BIG_BOX, 1811, 14, device_class=0),
            (),
            (Proprietary(126720, 0.05, destination=3),),
            dm1="at_key_on",
            count_steps="never",
            boot_s=0.4,
            after_run_s=1.1,
            remembers=False,
        ),
        Controller(
            "cab",
            71,
            make_name(_BIG_BOX, 1811, 52, device_class=1),
            (
                Group(65265, 0.1, (84,)),
                Group(65128, 1.0, (1638,)),
                Group(65271, 1.0, ()),
                Group(VEHICLE_HOURS, 0.0, (246,)),
            ),
            (Proprietary(65280 + 0xFB, 0.05),),
            dm1="at_key_on",
            count_steps="onset",
            boot_s=0.36,
            after_run_s=1.3,
        ),
        Controller(
            "cluster",
            23,
            make_name(290_317, 1805, 19, device_class=1),
            dm1="at_key_on",
            count_steps="never",
            boot_s=2.05,
            after_run_s=0.6,
            remembers=False,
        ),
        Controller(
            "implement_gateway",
            240,
            make_name(290_900, 1811, 30, device_class=1),
            TRACTOR_MOVES,
            dm1="never_heard",
            count_steps="never",
            boot_s=1.2,
            channel=IMPLEMENT_BUS,
            remembers=False,
        ),
    ),
    vin="XCH01BIGTRAC14209",
)
