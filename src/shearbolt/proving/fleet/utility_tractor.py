"""The old utility tractor: an engine controller and nothing else."""

from __future__ import annotations

from shearbolt.proving.controllers import Controller, Machine
from shearbolt.proving.fleet.common import engine_groups
from shearbolt.proving.hardware import Build
from shearbolt.proving.packing import make_name

UTILITY_TRACTOR = Machine(
    "utility_tractor",
    "the old utility tractor",
    Build(
        displacement_l=4.0,
        power_kw=74.0,
        rated_rpm=2300.0,
        idle_rpm=800.0,
        boost_kpa=95.0,
        engine_kj_k=250.0,
        radiator_kw_k=0.9,
        alternator_a=65.0,
        load_a=24.0,
        battery_ah=95.0,
        shared_oil_kw_k=0.1,
        transmission_kw=10.0,
        road_km_h=32.0,
        mass_t=4.1,
        payload_t=6.0,
        fuel_tank_l=110.0,
    ),
    (
        Controller(
            "engine",
            0,
            make_name(31_007, 1803, 0, device_class=1),
            engine_groups(171, 172, 174, 175, 96),
            dm1="while_active",
            count_steps="key_cycle",
            boot_s=0.1,
            after_run_s=3.0,
            method=1,
            old_flash=True,
            remembers=False,
        ),
    ),
)
