"""One visit as columns of quantities, one row a second: what the search for settings reads."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from shearbolt.dictionary.quantities import quantities
from shearbolt.model.frames import F64, I64
from shearbolt.model.instants import SECOND_US
from shearbolt.model.state import F32
from shearbolt.reasoning.phases import Flags
from shearbolt.reasoning.quantity_view import QuantityView

DERIVED: Mapping[str, str] = {
    "minutes_since_start": "min",
    "engine_running": "state",
    "cranking": "state",
    "slowing_kmh_s": "km/h/s",
    "steering_abs_rad": "rad",
    "hour_utc": "h",
}
"""Quantities worked out here, with their units."""
LEFT_OUT = frozenset(
    {
        "engine_hours",
        "ash_pct",
        "wheel_m_s",
        "ground_m_s",
        "gps_kmh",
        "front_axle_kmh",
        "altitude_m",
    }
)
"""Only ever rising (it would stand for the calendar), told again by another, or a place."""
QUIET_S = 10
"""Nothing heard for so long ends a key cycle (own rule)."""
STOPPED_S = 5
"""An engine that stands so long after running begins a new key cycle, if it runs again: a restart
on the same key is rare (own rule)."""
SLOWING_S = 3
"""Ground speed is compared over so many seconds for slowing down."""


@dataclass(frozen=True, slots=True)
class VisitTable:
    """One visit: quantities second by second."""

    visit: str
    zero_us: int | None
    """Instant of the visit's own time 0; None: not known."""
    second: I64
    """Whole seconds of the visit's own clock, rising."""
    cycle: I64
    """Key cycle of each row, from 0, rising."""
    columns: Mapping[str, F32]
    """Quantity to values, as long as `second`; NaN where not known."""
    spns: Mapping[str, int]
    """Quantity to the parameter that told it."""


def units_of_quantities() -> dict[str, str]:
    """Give the unit of every quantity that a setting may name."""
    return {one.key: one.unit for one in quantities()} | dict(DERIVED)


def cycles_of(second: I64, running: Flags | None, stopped_s: F64 | None) -> I64:
    """Number the key cycles of a visit's rows, from 0.

    A new one begins after a gap of QUIET_S, and where an engine that ran has stood for STOPPED_S
    and runs again later.
    """
    begins = np.zeros(len(second), np.bool_)
    begins[1:] = np.diff(second) > QUIET_S
    if running is not None and stopped_s is not None and running.any():
        first, last = np.flatnonzero(running)[[0, -1]]
        stood = np.nan_to_num(stopped_s, nan=-1.0) >= STOPPED_S
        stood[: first + 1] = stood[last:] = False
        begins[1:] |= stood[1:] & ~stood[:-1]
    return np.cumsum(begins, dtype=np.int64)


def _slowing(second: I64, speed: F32) -> F32:
    """Return how much slower it got per second, over SLOWING_S; NaN across gaps."""
    out = np.full(len(speed), np.nan, np.float32)
    if len(speed) > SLOWING_S:
        whole = second[SLOWING_S:] - second[:-SLOWING_S] == SLOWING_S
        drop = (speed[:-SLOWING_S] - speed[SLOWING_S:]) / SLOWING_S
        out[SLOWING_S:] = np.where(whole, drop, np.nan)
    return out


def table_of(view: QuantityView) -> VisitTable:
    """Make the table of a visit from its view; what is not alive is left out."""
    second = view.second
    columns: dict[str, F32] = {}
    spns: dict[str, int] = {}
    for one in quantities():
        picked = None if one.key in LEFT_OUT else view.pick(one.key)
        if picked is not None:
            columns[one.key] = view.held_of(picked)
            spns[one.key] = picked.sender.spn
    speed = view.speed_kmh
    if speed is not None:
        columns["speed_kmh"] = speed
        columns["slowing_kmh_s"] = _slowing(second, speed)
    if "steering_rad" in columns:
        columns["steering_abs_rad"] = np.abs(columns["steering_rad"])
    phases = view.phases
    if phases is not None:
        minutes = np.where(phases.start_seen, phases.since_start_s / 60.0, np.nan)
        columns["minutes_since_start"] = minutes.astype(np.float32)
        known = phases.running | phases.stopped | phases.cranking
        columns["engine_running"] = np.where(known, phases.running, np.nan).astype(np.float32)
        columns["cranking"] = np.where(known, phases.cranking, np.nan).astype(np.float32)
    zero_us = view.visit.zero_us
    if zero_us is not None:
        hour = (zero_us / SECOND_US + second) % 86400 / 3600.0
        columns["hour_utc"] = hour.astype(np.float32)
    cycle = cycles_of(
        second,
        None if phases is None else phases.running,
        None if phases is None else phases.stopped_s,
    )
    return VisitTable(view.visit.visit, zero_us, second, cycle, columns, spns)
