"""The forage harvester: one big engine, and a machine controller with its own words."""

from __future__ import annotations

from shearbolt.proving.controllers import Controller, Group, Machine, Proprietary
from shearbolt.proving.fleet.common import engine_groups, texts_of
from shearbolt.proving.hardware import Build
from shearbolt.proving.packing import make_name

FORAGER = Machine(
    "forager",
    "the forager",
    Build(
        displacement_l=15.6,
        power_kw=430.0,
        rated_rpm=1800.0,
        idle_rpm=850.0,
        boost_kpa=210.0,
        engine_kj_k=1250.0,
        radiator_kw_k=4.4,
        hydraulic_kw=28.0,
        hydraulic_kj_k=520.0,
        alternator_a=200.0,
        road_km_h=38.0,
        mass_t=15.5,
        payload_t=0.5,
        fuel_tank_l=1100.0,
    ),
    (
        Controller(
            "engine",
            0,
            make_name(301_544, 1809, 0, device_class=7),
            (*engine_groups(174), Group(65253, 1.0, (247, 249)), Group(65213, 1.0, (975, 1639))),
            (Proprietary(65280 + 0x10, 0.02),),
            dm1="while_active",
            count_steps="onset",
            boot_s=0.05,
            after_run_s=9.0,
            texts=texts_of("V8-156", "F1560088", "ECU 11.2", vin="XCH03F0RAGER10875"),
        ),
        Controller(
            "machine",
            39,
            make_name(77_210, 1860, 132, device_class=7),
            (Group(65128, 1.0, (1638, 2602)), Group(65096, 0.1, (1862, 1864, 1865), 3)),
            (Proprietary(65280 + 0xA0, 0.02), Proprietary(65280 + 0xA1, 0.1)),
            dm1="always",
            count_steps="onset",
            boot_s=1.4,
        ),
        Controller(
            "cab",
            49,
            make_name(77_402, 1860, 37, device_class=7),
            (Group(65271, 1.0, (168,)),),
            dm1="always",
            count_steps="never",
            boot_s=1.9,
            remembers=False,
        ),
    ),
    vin="XCH03F0RAGER10875",
)
