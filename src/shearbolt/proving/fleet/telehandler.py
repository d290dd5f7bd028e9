"""The telehandler: engine, gearbox and hydraulics, one controller each."""

from __future__ import annotations

from shearbolt.proving.controllers import Controller, Group, Machine, Proprietary
from shearbolt.proving.fleet.common import GEARBOX, HOURS_ASKED, engine_groups, texts_of
from shearbolt.proving.hardware import Build
from shearbolt.proving.packing import make_name

TELEHANDLER = Machine(
    "telehandler",
    "the telehandler",
    Build(
        displacement_l=4.4,
        power_kw=96.0,
        rated_rpm=2200.0,
        idle_rpm=900.0,
        boost_kpa=140.0,
        engine_kj_k=430.0,
        radiator_kw_k=1.1,
        hydraulic_kj_k=290.0,
        hydraulic_kw=36.0,
        hydraulic_cooler_kw_k=0.9,
        transmission_kw=24.0,
        output_rpm_a_km_h=55.0,
        alternator_a=110.0,
        load_a=32.0,
        road_km_h=36.0,
        mass_t=8.2,
        payload_t=3.5,
        fuel_tank_l=150.0,
    ),
    (
        Controller(
            "engine",
            0,
            make_name(410_022, 1805, 0, industry_group=3, device_class=7),
            (*engine_groups(171, 175), HOURS_ASKED),
            (Proprietary(65280 + 0x20, 0.04),),
            dm1="always",
            count_steps="onset",
            boot_s=0.05,
            after_run_s=12.0,
            texts=texts_of("D4-44", "E4400931", "ECU 19.7"),
        ),
        Controller(
            "transmission",
            3,
            make_name(520_771, 1833, 3, industry_group=3, device_class=7),
            (*GEARBOX, Group(65265, 0.1, (70, 84, 597)), Group(65219, 0.1, (604, 767, 903))),
            (Proprietary(61184, 0.05),),
            dm1="always",
            count_steps="onset",
            boot_s=0.6,
        ),
        Controller(
            "hydraulics",
            46,
            make_name(98_001, 1833, 34, industry_group=3, device_class=7),
            (Group(65128, 1.0, (1638, 1713, 2602)),),
            (Proprietary(65280 + 0x61, 0.02),),
            dm1="always",
            count_steps="onset",
            boot_s=0.8,
        ),
    ),
)
