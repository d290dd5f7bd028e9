"""The true value behind every signal that a controller can send: from trace to physical values.

What a controller makes of it, sensors and wires included, is told by `sensing`.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import TypeAlias

import numpy as np

from shearbolt.model.frames import F64
from shearbolt.proving.exhaust import REASONS
from shearbolt.proving.physics import Flags
from shearbolt.proving.trace import STEP_S, Trace

Reading: TypeAlias = Callable[[Trace], F64 | float]
"""Gives one signal's physical values, one a step of the trace, or one for all of it."""


def _operating_state(trace: Trace) -> F64:
    """Return the engine's operating state: 0 stopped, 2 starting, 4 running."""
    return np.where(trace.running, 4.0, np.where(trace.cranking, 2.0, 0.0))


def _regeneration_state(trace: Trace) -> F64:
    """Return the state of active regeneration: 0 none, 1 running, 2 needed."""
    return np.where(trace.regenerating, 1.0, np.where(trace.soot_pct > 95.0, 2.0, 0.0))


def _filter_lamp(trace: Trace) -> F64:
    """Return the filter lamp: 0 off, 1 on, 4 flashing fast (regeneration overdue)."""
    return np.where(trace.soot_pct > 100.0, 4.0, np.where(trace.soot_pct > 85.0, 1.0, 0.0))


def _fuel_used(trace: Trace) -> F64:
    """Return the fuel used ever (L)."""
    ever = trace.day.fuel_used_l
    before = trace.hours[0] * 21.0 if ever is None else ever
    return np.asarray(before + np.cumsum(trace.fuel_l_h) * STEP_S / 3600.0, np.float64)


def _inhibited(spn: int) -> Reading:
    """Return the reading of one reason that keeps active regeneration from starting."""
    return lambda trace: _flag(trace.inhibited[spn])


def _any_inhibit(trace: Trace) -> F64:
    return _flag(np.logical_or.reduce(list(trace.inhibited.values())))


def _def_lamp(trace: Trace) -> F64:
    """Return the reductant lamp: 0 off, 1 on below 10 %, 4 blinking below 5 %."""
    return np.where(trace.def_pct < 5.0, 4.0, np.where(trace.def_pct < 10.0, 1.0, 0.0))


def _flag(flags: Flags) -> F64:
    return flags.astype(np.float64)


TRUE_READINGS: Mapping[int, Reading] = {
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
    3357: lambda t: t.torque_limit_pct,
    514: lambda t: 6.0 + 4.0 * t.engine_rpm / 2000.0,
    515: lambda t: np.where(t.running, np.rint(t.engine_rpm / 25.0) * 25.0, 0.0),
    3236: lambda t: t.exhaust_kg_h,
    3543: _operating_state,
    110: lambda t: t.coolant_c,
    174: lambda t: t.fuel_c,
    175: lambda t: t.oil_c,
    94: lambda t: np.where(t.key & ~t.running, 300.0, t.fuel_kpa),
    97: lambda t: float(t.water_ml > t.build.water_alarm_ml),
    101: lambda t: t.crankcase_kpa,
    100: lambda t: t.oil_kpa,
    111: lambda t: t.coolant_level_pct,
    98: lambda t: 100.0 * t.plight.health.oil_level,
    157: lambda t: t.rail_mpa,
    102: lambda t: t.boost_kpa,
    1127: lambda t: t.boost_kpa,
    105: lambda t: t.manifold_c,
    107: lambda t: t.air_filter_kpa,
    3563: lambda t: t.boost_kpa + t.barometer_kpa,
    108: lambda t: t.barometer_kpa,
    171: lambda t: t.ambient_c,
    172: lambda t: t.intake_c,
    167: lambda t: t.battery_v,
    168: lambda t: t.cab_v,
    1795: lambda t: t.alternator_a,
    158: lambda t: t.keyswitch_v,
    183: lambda t: t.fuel_l_h,
    247: lambda t: t.hours,
    246: lambda t: t.hours + 31.0,
    249: lambda t: t.revolutions,
    250: _fuel_used,
    96: lambda t: t.fuel_pct,
    975: lambda t: np.clip(t.fan_rpm / 23.0, 0.0, 100.0),
    1639: lambda t: t.fan_rpm,
    # Drive line
    70: lambda t: _flag(t.park),
    84: lambda t: t.speed_km_h,
    597: lambda t: _flag(t.brake),
    598: lambda t: _flag(t.clutch),
    245: lambda t: t.day.distance_km + t.distance_m / 1000.0,
    604: lambda t: _flag(t.speed_km_h < 0.3),
    767: lambda t: _flag((t.direction < 0.0) & (t.speed_km_h > 0.3)),
    903: lambda t: _flag((t.direction > 0.0) & (t.speed_km_h > 0.3)),
    904: lambda t: t.speed_km_h,
    560: lambda t: _flag(t.speed_km_h > 0.5),
    191: lambda t: t.output_rpm,
    522: lambda t: t.slip_pct,
    161: lambda t: t.engine_rpm * 0.985,
    524: lambda t: t.gear,
    523: lambda t: t.gear,
    127: lambda t: t.transmission_kpa,
    177: lambda t: t.transmission_c,
    46: lambda t: 880.0 + 0.0 * t.time_s,
    1087: lambda t: t.air_1_kpa,
    1088: lambda t: t.air_2_kpa,
    521: lambda t: 28.0 * _flag(t.brake),
    # Hydraulics, hitch and power take-off
    1638: lambda t: t.hydraulic_c,
    1713: lambda t: _flag(t.hydraulic_drop_kpa > t.build.filter_switch_kpa),
    2602: lambda t: t.hydraulic_level_pct,
    1883: lambda t: t.pto_rpm,
    2408: lambda t: _flag(t.pto),
    1873: lambda t: t.hitch_pct,
    1877: lambda t: _flag(t.hitch_pct < 50.0),
    1879: lambda t: t.draft_n,
    1862: lambda t: t.speed_km_h / 3.6,
    1863: lambda t: t.distance_m,
    1864: lambda t: _flag(t.direction > 0.0),
    1865: lambda t: _flag(t.key),
    1859: lambda t: t.speed_km_h / 3.6 * (1.0 - 0.012 * _flag(t.hitch_pct < 50.0) - 0.013),
    1861: lambda t: _flag(t.direction > 0.0),
    # Exhaust treatment
    3719: lambda t: t.soot_pct,
    3720: lambda t: t.ash_pct,
    3721: lambda t: t.since_regeneration_s,
    3697: _filter_lamp,
    3699: lambda t: _flag((t.filter_in_c > 250.0) & ~t.regenerating),
    3700: _regeneration_state,
    3701: lambda t: np.where(t.soot_pct > 100.0, 2.0, np.where(t.soot_pct > 85.0, 1.0, 0.0)),
    3702: _any_inhibit,
    **{spn: _inhibited(spn) for spn in REASONS},
    3241: lambda t: t.before_c,
    3516: lambda t: t.def_concentration_pct,
    5245: _def_lamp,
    3698: lambda t: _flag(t.filter_in_c > 450.0),
    3251: lambda t: t.filter_drop_kpa,
    3246: lambda t: t.filter_out_c,
    3242: lambda t: t.filter_in_c,
    1761: lambda t: t.def_pct,
    3031: lambda t: t.def_c,
    5246: lambda t: 0.0,
    3216: lambda t: t.nox_in_ppm,
    3226: lambda t: t.nox_out_ppm,
    580: lambda t: t.height_m,
}
"""Every signal that a controller of the scenario can send, but for the clock."""


SEAT, STEERING, BOOM = 520_201, 520_202, 520_203
"""The maker's own numbers of what is never sent in the open: seat switch (1: sat on), steering
angle (%), boom angle (%)."""
OWN_READINGS: Mapping[int, Reading] = {
    SEAT: lambda t: _flag(t.seat),
    STEERING: lambda t: t.steering_pct,
    BOOM: lambda t: t.boom_pct,
    521_010: lambda t: _flag(t.pickup_down),
}
"""Quantities that controllers sense and watch, but send at most in words of their own."""


def true_reading(trace: Trace, spn: int) -> F64:
    """Return the true values behind one signal, one a step of the trace.

    Raises KeyError for a signal that no controller of the scenario has.
    """
    reading = TRUE_READINGS.get(spn) or OWN_READINGS[spn]
    values = np.asarray(reading(trace), np.float64)
    return np.broadcast_to(values, (len(trace.time_s),)) if values.ndim == 0 else values
