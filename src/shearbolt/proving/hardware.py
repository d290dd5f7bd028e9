"""A machine's hardware as frozen data, and the same machine as another sample of its kind."""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from typing import Literal

import numpy as np

from shearbolt.proving.physics import Oil


@dataclass(frozen=True, slots=True)
class Build:
    """The machine's hardware; sizes without a source are common practice."""

    displacement_l: float
    power_kw: float
    rated_rpm: float
    idle_rpm: float
    boost_kpa: float
    """Boost (gauge) at rated speed and full load."""
    engine_kj_k: float
    """Heat that warms block and coolant by 1 K."""
    radiator_kw_k: float
    """Heat through the radiator for 1 K above the air, thermostat and fan wide open."""
    hydraulic_kj_k: float = 400.0
    hydraulic_kw: float = 15.0
    """Heat put into the hydraulic oil at full flow."""
    hydraulic_cooler_kw_k: float = 0.5
    transmission_kj_k: float = 250.0
    transmission_kw: float = 9.0
    """Heat put into the gearbox oil at 40 km/h."""
    transmission_cooler_kw_k: float = 0.8
    shared_oil_kw_k: float = 0.0
    """Heat from transmission to hydraulic oil where they share a sump."""
    output_rpm_a_km_h: float = 42.0
    """Output shaft speed at 1 km/h."""
    pto_rpm: float = 1000.0
    volts: Literal[12, 24] = 12
    particulate_filter: bool = False
    torque_rise_pct: float = 35.0
    """Torque reserve: how far torque rises when the load pulls the engine below rated speed."""
    torque_rise_span: float = 0.35
    """Share of rated speed over which it does."""
    fuel_l_kwh: float = 0.245
    coolant_heat_share: float = 0.16
    """Share of the fuel's heat that goes into the coolant."""
    thermostat_opens_c: float = 82.0
    thermostat_span_k: float = 10.0
    fan_engages_c: float = 86.0
    fan_full_c: float = 98.0
    fan_idle_share: float = 0.15
    """What a released fan clutch still drags along."""
    fan_ratio: float = 1.1
    """Fan turns for one of the engine, clutch engaged."""
    oil_kpa: float = 370.0
    """Engine oil pressure at rated speed and 100 °C."""
    oil_relief_kpa: float = 600.0
    oil_40_mm2_s: float = 105.0
    """Engine oil's viscosity at 40 °C (15W-40)."""
    oil_100_mm2_s: float = 14.0
    hydraulic_40_mm2_s: float = 46.0
    """Hydraulic oil's viscosity at 40 °C (ISO VG 46)."""
    hydraulic_100_mm2_s: float = 6.8
    filter_clean_kpa: float = 30.0
    """Drop over the clean hydraulic filter at 40 °C and full flow."""
    filter_bypass_kpa: float = 250.0
    filter_switch_kpa: float = 170.0
    charge_cooling: float = 0.85
    """Effectiveness of the charge air cooler."""
    filling: float = 0.9
    """Volumetric efficiency of the engine."""
    air_filter_kpa: float = 1.9
    """Drop over the clean air filter at rated power."""
    gas_idle_c: float = 160.0
    """Exhaust before the filter at no load; full load adds `gas_load_k`."""
    gas_load_k: float = 285.0
    regeneration_c: float = 600.0
    soot_pct_h: float = 6.5
    """Soot that an hour at full load brings, before passive burning."""
    filter_factor: float = 2.2e5
    """Darcy factor of the clean particulate filter (1/m3 scaled to kPa)."""
    filter_inertial: float = 2.0
    """Forchheimer factor of its channels (kPa per unit of rho Q2, in kPa s2/(kg m3))."""
    nox_idle_ppm: float = 320.0
    nox_load_ppm: float = 550.0
    scr_share: float = 0.94
    """Share of NOx that a warm SCR with good fluid takes out."""
    def_share: float = 0.045
    """Reductant in shares of fuel, by volume."""
    fuel_tank_l: float = 400.0
    def_tank_l: float = 40.0
    battery_ah: float = 150.0
    cranking_a: float = 420.0
    """Starter current of the cranking plateau at 25 °C."""
    alternator_a: float = 150.0
    load_a: float = 38.0
    """What the running machine takes without the starter."""
    charging_v: float = 14.25
    """Regulator's voltage at 25 °C, 12 V system."""
    parasitic_a: float = 0.04
    """What it takes with the key off."""
    road_km_h: float = 38.0
    mass_t: float = 9.0
    payload_t: float = 14.0
    """Pulled or carried when loaded."""
    rolling: float = 0.022
    drag_m2: float = 5.5
    """Air drag coefficient times frontal area."""
    stepped: bool = False
    """Gears in steps (trucks and cars); else continuously variable."""
    top_ratio: float = 0.78
    """Engine turns for one of the output shaft in the highest gear."""
    air_brakes: bool = False
    water_alarm_ml: float = 150.0
    """Water in the fuel filter's bowl that closes the sensor."""

    @property
    def hydraulic_oil(self) -> Oil:
        """The oil in the hydraulic tank."""
        return Oil.from_points(self.hydraulic_40_mm2_s, self.hydraulic_100_mm2_s)

    @property
    def engine_oil(self) -> Oil:
        """The oil in the engine."""
        return Oil.from_points(self.oil_40_mm2_s, self.oil_100_mm2_s)


_KEPT = frozenset({"displacement_l", "volts", "rated_rpm", "output_rpm_a_km_h", "pto_rpm"})
"""What the maker's plate says, and no two of a kind differ in."""
_NARROW = frozenset(
    {"charging_v", "idle_rpm", "thermostat_opens_c", "fan_engages_c", "fan_full_c", "filling",
     "scr_share", "regeneration_c", "oil_40_mm2_s", "oil_100_mm2_s", "hydraulic_40_mm2_s",
     "hydraulic_100_mm2_s"}
)  # fmt: skip
"""Regulated or specified: they spread by a tenth of the rest."""


def perturbed_build(build: Build, seed: int, spread: float) -> Build:
    """Return another sample of the same kind: every free parameter times exp(N(0, spread)).

    `spread` 0.1 is about a tenth. The same seed gives the same sample; parameters that are
    regulated spread by a tenth as much, and plate values not at all. Raises ValueError for a
    negative spread.
    """
    if spread < 0.0:
        raise ValueError(f"a spread cannot be negative: {spread}")
    rng = np.random.default_rng((seed, 0x5EED))
    changed: dict[str, float] = {}
    for one in fields(Build):
        value = getattr(build, one.name)
        factor = float(np.exp(rng.normal(0.0, spread * (0.1 if one.name in _NARROW else 1.0))))
        if type(value) is float and one.name not in _KEPT:
            changed[one.name] = value * factor
    changed["charge_cooling"] = min(0.97, changed["charge_cooling"])
    changed["scr_share"] = min(0.985, changed["scr_share"])
    changed["fan_full_c"] = max(changed["fan_full_c"], changed["fan_engages_c"] + 4.0)
    return replace(build, **changed)  # type: ignore[arg-type]
