"""What runs on the road: the haulage truck and the pickup."""

from __future__ import annotations

from shearbolt.proving.controllers import Controller, Group, Machine, Proprietary
from shearbolt.proving.fleet.common import (
    FUEL_ASKED,
    GEARBOX,
    HOURS_ASKED,
    RAIL,
    TREATMENT,
    engine_groups,
    texts_of,
)
from shearbolt.proving.hardware import Build
from shearbolt.proving.packing import make_name

TRUCK_VIN = "XCH05TRXCK1900432"
TRUCK = Machine(
    "truck",
    "the haulage truck",
    Build(
        displacement_l=10.8,
        power_kw=316.0,
        rated_rpm=1700.0,
        idle_rpm=600.0,
        boost_kpa=230.0,
        engine_kj_k=1100.0,
        radiator_kw_k=3.4,
        output_rpm_a_km_h=24.0,
        volts=24,
        particulate_filter=True,
        stepped=True,
        top_ratio=1.0,
        air_brakes=True,
        road_km_h=68.0,
        mass_t=9.5,
        payload_t=17.0,
        rolling=0.0085,
        drag_m2=6.0,
        torque_rise_pct=45.0,
        alternator_a=110.0,
        battery_ah=180.0,
        def_tank_l=60.0,
        filter_factor=1.5e5,
        transmission_kw=6.0,
    ),
    (
        Controller(
            "engine",
            0,
            make_name(1_200_411, 1815, 0, industry_group=1, device_class=1),
            (
                *engine_groups(175, 172),
                Group(65248, 0.1, (245,)),
                *TREATMENT,
                RAIL,
                HOURS_ASKED,
                FUEL_ASKED,
            ),
            (Proprietary(65280 + 0x77, 0.1),),
            dm1="always",
            count_steps="end",
            boot_s=0.1,
            after_run_s=6.0,
            texts=texts_of("L6-108", "R1080245", "EMS 30.2", "DS 7781", vin=TRUCK_VIN),
            freeze_frames=True,
        ),
        Controller(
            "transmission",
            3,
            make_name(620_300, 1840, 3, industry_group=1, device_class=1),
            GEARBOX,
            dm1="always",
            count_steps="onset",
            boot_s=0.7,
        ),
        Controller(
            "brakes",
            11,
            make_name(940_118, 1870, 9, industry_group=1, device_class=1),
            (
                Group(61441, 0.1, (521,)),
                Group(65265, 0.1, (70, 84, 597)),
                Group(65215, 0.1, (904,)),
                Group(65198, 1.0, (1087, 1088)),
            ),
            dm1="never_heard",
            count_steps="onset",
            boot_s=0.5,
        ),
        Controller(
            "cab",
            49,
            make_name(15_830, 1815, 26, industry_group=1, device_class=1),
            (Group(65271, 1.0, (168,)),),
            (Proprietary(65280 + 0x90, 0.1),),
            dm1="always",
            count_steps="onset",
            boot_s=1.0,
            clock=True,
        ),
    ),
    vin=TRUCK_VIN,
)

PICKUP_VIN = "XCH06PKCXP1700986"
PICKUP_BUILD = Build(
    displacement_l=2.3,
    power_kw=110.0,
    rated_rpm=3500.0,
    idle_rpm=780.0,
    boost_kpa=130.0,
    engine_kj_k=190.0,
    particulate_filter=True,
    stepped=True,
    output_rpm_a_km_h=30.0,
    road_km_h=80.0,
    mass_t=2.2,
    payload_t=1.2,
    rolling=0.012,
    drag_m2=1.5,
    alternator_a=150.0,
    battery_ah=80.0,
    fuel_tank_l=75.0,
    def_tank_l=18.0,
    filter_factor=5.0e5,
    transmission_kw=2.0,
    transmission_kj_k=60.0,
    radiator_kw_k=1.2,
    volts=12,
)

PICKUP = Machine("pickup", "the pickup", PICKUP_BUILD, (), vin=PICKUP_VIN)
"""The pickup as a machine: it speaks on 11-bit identifiers only (see `obd`)."""
