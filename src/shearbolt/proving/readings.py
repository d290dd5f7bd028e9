"""What controllers read: from the quantities of a machine to the values of its signals."""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeAlias

import numpy as np

from shearbolt.model.frames import F64
from shearbolt.proving.trace import Trace

Reading: TypeAlias = Callable[[Trace], F64 | float]
"""Gives one signal's physical values, one a step of the trace, or one for all of it."""


def _gear(trace: Trace) -> F64:
    """Return a gear that goes with ground speed; 0 is neutral."""
    return np.asarray(np.ceil(np.clip(trace.speed_km_h - 0.5, 0.0, None) / 4.5), np.float64)


def _switch(trace: Trace) -> F64:
    """Return the hydraulic filter switch: it closes at 170 kPa."""
    return np.asarray(trace.hydraulic_drop_kpa > 170.0, np.float64)


def _operating_state(trace: Trace) -> F64:
    """Return the engine's operating state: 0 stopped, 2 starting, 4 running."""
    return np.where(trace.running, 4.0, np.where(trace.cranking, 2.0, 0.0))


def _regeneration_state(trace: Trace) -> F64:
    """Return the state of active regeneration: 0 none, 1 running, 2 needed."""
    return np.where(trace.regenerating, 1.0, np.where(trace.soot_pct > 95.0, 2.0, 0.0))


def _filter_lamp(trace: Trace) -> F64:
    """Return the filter lamp: 0 off, 1 on, 4 flashing fast (regeneration overdue)."""
    return np.where(trace.soot_pct > 100.0, 4.0, np.where(trace.soot_pct > 85.0, 1.0, 0.0))


def _flag(flags: np.typing.NDArray[np.bool_]) -> F64:
    return flags.astype(np.float64)


READINGS: dict[int, Reading] = {
    # Engine
    899: lambda t: _flag(t.running),
    512: lambda t: np.where(t.running, t.load_pct * 0.95, 0.0),
    513: lambda t: np.where(t.running, t.load_pct * 0.93, 0.0),
    190: lambda t: t.engine_rpm,
    1483: lambda t: 0.0,
    1675: lambda t: np.where(t.cranking, 2.0, np.where(t.running, 3.0, 0.0)),
    2432: lambda t: np.where(t.running, t.load_pct * 0.95, 0.0),
    558: lambda t: _flag(t.pedal_pct < 2.0),
    91: lambda t: t.pedal_pct,
    92: lambda t: t.load_pct,
    3357: lambda t: 100.0,
    514: lambda t: 6.0 + 4.0 * t.engine_rpm / 2000.0,
    515: lambda t: np.where(t.running, np.rint(t.engine_rpm / 25.0) * 25.0, 0.0),
    3236: lambda t: t.exhaust_kg_h,
    3543: _operating_state,
    110: lambda t: t.coolant_c,
    174: lambda t: t.fuel_c,
    175: lambda t: t.oil_c,
    94: lambda t: np.where(t.running, 420.0, np.where(t.key, 300.0, 0.0)),
    100: lambda t: t.oil_kpa,
    111: lambda t: 98.0,
    157: lambda t: t.rail_mpa,
    102: lambda t: t.boost_kpa,
    105: lambda t: t.manifold_c,
    107: lambda t: 2.2 * (t.exhaust_kg_h / 1500.0) ** 1.8,
    3563: lambda t: t.boost_kpa + t.barometer_kpa,
    108: lambda t: t.barometer_kpa,
    171: lambda t: t.ambient_c,
    172: lambda t: t.intake_c,
    167: lambda t: t.battery_v,
    168: lambda t: t.battery_v,
    158: lambda t: t.keyswitch_v,
    183: lambda t: t.fuel_l_h,
    247: lambda t: t.hours,
    246: lambda t: t.hours + 31.0,
    249: lambda t: t.revolutions,
    250: lambda t: t.hours[0] * 21.0 + np.cumsum(t.fuel_l_h) * 0.05 / 3600.0,
    96: lambda t: t.fuel_pct,
    975: lambda t: np.clip(t.fan_rpm / 23.0, 0.0, 100.0),
    1639: lambda t: t.fan_rpm,
    # Drive line
    70: lambda t: _flag(t.speed_km_h < 0.2),
    84: lambda t: t.speed_km_h,
    597: lambda t: 0.0,
    598: lambda t: 0.0,
    245: lambda t: 8100.0 + t.distance_m / 1000.0,
    560: lambda t: _flag(t.speed_km_h > 0.5),
    191: lambda t: t.output_rpm,
    522: lambda t: 0.0,
    161: lambda t: t.engine_rpm * 0.985,
    524: _gear,
    523: _gear,
    127: lambda t: t.transmission_kpa,
    177: lambda t: t.transmission_c,
    46: lambda t: 880.0 + 0.0 * t.time_s,
    1087: lambda t: 840.0 + 20.0 * np.sin(t.time_s / 23.0),
    1088: lambda t: 836.0 + 20.0 * np.sin(t.time_s / 23.0),
    521: lambda t: 0.0,
    # Hydraulics, hitch and power take-off
    1638: lambda t: t.hydraulic_c,
    1713: _switch,
    2602: lambda t: 91.0,
    1883: lambda t: t.pto_rpm,
    2408: lambda t: _flag(t.pto),
    1873: lambda t: t.hitch_pct,
    1877: lambda t: _flag(t.hitch_pct < 50.0),
    1879: lambda t: t.draft_n,
    1862: lambda t: t.speed_km_h / 3.6,
    1863: lambda t: t.distance_m,
    1864: lambda t: 1.0,
    1865: lambda t: _flag(t.key),
    1859: lambda t: t.speed_km_h / 3.6 * 0.975,
    1861: lambda t: 1.0,
    # Exhaust treatment
    3719: lambda t: t.soot_pct,
    3720: lambda t: t.ash_pct,
    3721: lambda t: 41_000.0 + t.time_s,
    3697: _filter_lamp,
    3699: lambda t: _flag(t.filter_in_c > 300.0),
    3700: _regeneration_state,
    3701: lambda t: np.where(t.soot_pct > 100.0, 2.0, np.where(t.soot_pct > 85.0, 1.0, 0.0)),
    3702: lambda t: np.maximum(_flag(t.pto), float(t.inhibit_switch)),
    3703: lambda t: float(t.inhibit_switch),
    3706: lambda t: _flag(t.pto),
    3711: lambda t: _flag(t.filter_in_c < 200.0),
    3716: lambda t: _flag(t.coolant_c < 65.0),
    3698: lambda t: _flag(t.filter_in_c > 450.0),
    3251: lambda t: t.filter_drop_kpa,
    3246: lambda t: t.filter_out_c,
    3242: lambda t: t.filter_in_c,
    1761: lambda t: t.def_pct,
    3031: lambda t: t.ambient_c + 3.0,
    5246: lambda t: 0.0,
    3216: lambda t: t.nox_in_ppm,
    3226: lambda t: t.nox_out_ppm,
    580: lambda t: t.altitude_m,
}
"""Every signal that a controller of the scenario can send, but for the clock."""
