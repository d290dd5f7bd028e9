"""Cranking as a visit shows it: when, how fast, and at which voltage on its plateau."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from shearbolt.model.frames import F64
from shearbolt.model.instants import SECOND_US
from shearbolt.model.state import StateTable
from shearbolt.reasoning.case import VisitCase
from shearbolt.reasoning.voltage import nominal_v

CRANKING_RPM = (20.0, 400.0)
"""Engine speed while a starter turns it (common practice, no source)."""
SLOW_RPM = 250.0
"""Slower than this, a low voltage is the voltage of cranking, not of the first instant."""
LOW_PLATEAU_V = 8.5
"""Plateau of a 12 V system that speaks for a weak feed (field practice; the reference sheet
section 6.5 allows 8.5 V at the battery at -18 degC, and a key-switch reading
stands some tenths below it). Double for 24 V."""
RESET_V = 7.5
"""One second this low resets many controllers (section 6.5: 7 V, one decimal of margin)."""
LONGEST_S = 30
MAX_BEFORE_S = 4
"""Controllers may wake only while the starter turns: codes of so long before belong to it."""


@dataclass(frozen=True, slots=True)
class Crank:
    """One time that the starter turned the engine."""

    first_s: int
    last_s: int
    """Seconds of the visit's own clock."""
    slowest_rpm: float | None
    plateau_v: float | None
    """Median voltage after the first second, all senders together; None: not told."""
    samples: int
    """Seconds with a voltage after the first."""
    low: bool
    """Two samples or more after the first second below the limit, engine slow: a weak feed, which
    a healthy start is not (a healthy tractor was measured at 7.75 V, then 9.3 V a second later)."""

    @property
    def from_us(self) -> int:
        """Earliest instant of codes that belong to it."""
        return (self.first_s - MAX_BEFORE_S) * SECOND_US

    @property
    def until_us(self) -> int:
        """End of cranking."""
        return (self.last_s + 1) * SECOND_US


def cranks_of(visit: VisitCase) -> tuple[Crank, ...]:
    """Find the times that the engine was cranked in a visit, from engine speed or the starter."""
    state = visit.state
    if not len(state):
        return ()
    slow = _column(state, 190, "last")
    high = _column(state, 190, "high")
    starter = _column(state, 1675, "last")
    on = np.zeros(len(state), bool)
    if slow is not None and high is not None:
        # A second in which the engine fires holds the last of cranking.
        low = _column(state, 190, "low")
        assert low is not None
        on |= (low >= CRANKING_RPM[0]) & (low < CRANKING_RPM[1]) | (
            (slow >= CRANKING_RPM[0]) & (slow < CRANKING_RPM[1])
        )
    if starter is not None:
        on |= (starter >= 1) & (starter <= 2)
    volts = _voltage(state)
    nominal = nominal_v(visit)
    found: list[Crank] = []
    for first, last in _runs(state.second, on):
        if last - first > LONGEST_S:
            continue
        rows = (state.second >= first) & (state.second <= last)
        if slow is not None and _stops(state.second, slow, last):
            continue
        found.append(_crank(state, rows, first, last, slow, volts, nominal))
    return tuple(found)


def _stops(second: np.ndarray, rpm: F64, last: int) -> bool:
    """Tell whether the engine came down through this speed: it had run just before."""
    before = (second < last) & (second >= last - 8) & (rpm > 550.0)
    after = (second > last) & (second <= last + 8) & (rpm > 550.0)
    return bool(before.any() and not after.any())


def _crank(
    state: StateTable,
    rows: np.ndarray,
    first: int,
    last: int,
    rpm: F64 | None,
    volts: F64 | None,
    nominal: int | None,
) -> Crank:
    speeds = rpm[rows] if rpm is not None else np.empty(0)
    speeds = speeds[np.isfinite(speeds) & (speeds >= CRANKING_RPM[0])]
    slowest = float(speeds.min()) if len(speeds) else None
    if volts is None:
        return Crank(first, last, slowest, None, 0, False)
    settled = volts[rows & (state.second > first)]
    settled = settled[np.isfinite(settled)]
    plateau = float(np.median(settled)) if len(settled) else None
    factor = 2.0 if nominal == 24 else 1.0
    enough = np.count_nonzero(settled < LOW_PLATEAU_V * factor) >= 2
    deep = np.count_nonzero(settled < RESET_V * factor) >= 1 and len(settled) >= 2
    turning = slowest is None or slowest < SLOW_RPM
    return Crank(first, last, slowest, plateau, len(settled), bool((enough or deep) and turning))


def _runs(second: np.ndarray, on: np.ndarray) -> list[tuple[int, int]]:
    at = second[on]
    if not len(at):
        return []
    cut = np.flatnonzero(np.diff(at) > 3) + 1
    return [(int(one[0]), int(one[-1])) for one in np.split(at, cut)]


def _column(state: StateTable, spn: int, which: str) -> F64 | None:
    """Give one parameter of all its senders: the highest of the second for 'high', else fmin."""
    some = [
        np.asarray(getattr(column, which), np.float64)
        for key, column in sorted(state.columns.items())
        if key.spn == spn
    ]
    if not some:
        return None
    fold = np.fmax if which == "high" else np.fmin
    return np.asarray(fold.reduce(some), np.float64)


def _voltage(state: StateTable) -> F64 | None:
    """Give the lowest system voltage of each second, of all senders."""
    told = [one for one in (_column(state, spn, "low") for spn in (158, 168)) if one is not None]
    return np.asarray(np.fmin.reduce(told), np.float64) if told else None
