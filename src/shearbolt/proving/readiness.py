"""Readiness monitors: when in a key cycle each of them has run, and what counts as a cycle.

What enables a monitor is common practice (no source); what counts for the general denominator
follows the usual rule of heavy-duty OBD (from memory): 600 s of running, of which 300 s driving
and 30 s idling, above -7 °C and below 2400 m.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

import numpy as np

from shearbolt.proving.physics import Flags
from shearbolt.proving.trace import STEP_S, Trace

MONITOR_SPNS: Mapping[str, int] = {
    "fuel": 3055,
    "egr_vvt": 3058,
    "dpf": 3064,
    "exhaust_gas_sensor": 5318,
    "boost_control": 5321,
    "nmhc_catalyst": 5322,
    "nox_catalyst": 4792,
}
"""SPNs under which DM20 counts them (from memory; 5322 and 4792 seen in a real answer)."""
WARM_UP_K, WARM_UP_C = 22.0, 71.0
"""A warm-up cycle: coolant rises by 22 K to at least 71 °C (SAE J1939-73 DM26, from memory)."""

_RUNS: Mapping[str, tuple[Callable[[Trace], Flags], float]] = {
    "components": (lambda t: t.running, 20.0),
    "fuel": (lambda t: t.running & (t.coolant_c > 50.0), 120.0),
    "sensor_heater": (lambda t: t.running, 60.0),
    "exhaust_gas_sensor": (lambda t: t.running & (t.filter_out_c > 200.0), 90.0),
    "egr_vvt": (lambda t: t.running & (t.load_pct > 20.0) & (t.coolant_c > 60.0), 90.0),
    "boost_control": (lambda t: t.running & (t.load_pct > 60.0), 40.0),
    "dpf": (lambda t: t.running & (t.filter_in_c > 250.0) & (t.load_pct > 40.0), 180.0),
    "nox_catalyst": (lambda t: t.running & (t.filter_out_c > 240.0), 150.0),
}


def complete_at(trace: Trace, monitor: str, since_s: float = 0.0) -> float:
    """Return when a monitor has run to its end after `since_s` (s); infinity: not in this cycle.

    A monitor of no name has run once the engine has turned for a minute. Raises KeyError for an
    unknown one.
    """
    if monitor:
        condition, long_s = _RUNS[monitor]
        enabled = condition(trace)
    else:
        enabled, long_s = trace.running, 60.0
    ran = np.cumsum(enabled & (trace.time_s >= since_s)) * STEP_S
    place = int(np.searchsorted(ran, long_s))
    return float(trace.time_s[place]) if place < len(ran) else float("inf")


def warmed_up_at(trace: Trace) -> float:
    """Return when the warm-up cycle was complete (s); infinity: it was not."""
    warm = (trace.coolant_c >= trace.coolant_c[0] + WARM_UP_K) & (trace.coolant_c >= WARM_UP_C)
    return float(trace.time_s[int(warm.argmax())]) if warm.any() else float("inf")


def counts_at(trace: Trace) -> float:
    """Return when the key cycle counted for the general denominator (s); infinity: never."""
    if trace.ambient_c[0] < -7.0 or trace.altitude_m > 2400.0:
        return float("inf")
    driving = trace.running & ((trace.speed_km_h > 5.0) | (trace.load_pct > 30.0))
    idling = trace.running & (trace.load_pct < 25.0) & (trace.speed_km_h < 1.5)
    ran = np.cumsum(trace.running) * STEP_S
    enough = (ran >= 600.0) & (np.cumsum(driving) * STEP_S >= 300.0)
    enough &= np.cumsum(idling) * STEP_S >= 30.0
    return float(trace.time_s[int(enough.argmax())]) if enough.any() else float("inf")
