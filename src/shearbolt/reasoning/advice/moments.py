"""What the machine did while a fault was on: engine, ground speed, temperatures, readings."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cache

import numpy as np
import numpy.typing as npt

from shearbolt.dictionary.advice_kinds import DangerousReading, dangerous_readings
from shearbolt.dictionary.quantities import quantities
from shearbolt.model.fault import FaultSeen, Spell
from shearbolt.model.frames import F64, I64
from shearbolt.model.instants import SECOND_US
from shearbolt.reasoning.case import FaultCase, VisitCase
from shearbolt.reasoning.voltage import nominal_v

RUNNING_RPM = 300.0
"""Faster than any starter turns it (common practice, no source)."""
MOVING_KMH = 0.5
LONGEST_GAP_S = 10
"""A stretch of readings goes on over so many seconds without one."""
CIRCUIT_FMIS = frozenset({3, 4, 5, 6})
SPEEDS: tuple[tuple[str, float], ...] = (
    ("speed_kmh", 1.0),
    ("wheel_m_s", 3.6),
    ("ground_m_s", 3.6),
    ("gps_kmh", 1.0),
    ("front_axle_kmh", 1.0),
)
Rows = npt.NDArray[np.bool_]


@dataclass(frozen=True, slots=True, eq=False)
class VisitView:
    """One visit with its quantities, each put together once."""

    visit: VisitCase
    _kept: dict[tuple[str, bool], F64 | None] = field(default_factory=dict, repr=False)

    def column(self, quantity: str, high: bool) -> F64 | None:
        """Give a quantity second by second: of all who tell it the highest, or the lowest.

        The first of the quantity's parameters that told a number counts; None: none did.
        """
        key = quantity, high
        if key not in self._kept:
            self._kept[key] = self._put_together(quantity, high)
        return self._kept[key]

    def _put_together(self, quantity: str, high: bool) -> F64 | None:
        for spn in _spns().get(quantity, ()):
            told = [
                np.asarray(one.high if high else one.low, np.float64)
                for key, one in sorted(self.visit.state.columns.items())
                if key.spn == spn
            ]
            fold = np.fmax if high else np.fmin
            values = np.asarray(fold.reduce(told), np.float64) if told else None
            if values is not None and bool(np.isfinite(values).any()):
                return values
        return None

    def within(self, first_s: int, last_s: int) -> slice:
        """Give the rows of the state between two seconds, both included."""
        second = self.visit.state.second
        return slice(
            int(np.searchsorted(second, first_s)), int(np.searchsorted(second, last_s, "right"))
        )


@dataclass(frozen=True, slots=True)
class Moment:
    """One spell of a fault in one visit."""

    view: VisitView
    seen: FaultSeen
    spell: Spell

    @property
    def visit(self) -> VisitCase:
        """The visit it lies in."""
        return self.view.visit

    @property
    def lasts_s(self) -> float:
        """How long it was listed."""
        return (self.spell.end_us - self.spell.start_us) / SECOND_US

    def rows(self) -> slice:
        """Give the seconds of the visit's state that lie in it, one second to each side."""
        return self.view.within(
            self.spell.start_us // SECOND_US - 1, self.spell.end_us // SECOND_US + 1
        )

    def values(self, quantity: str, high: bool) -> F64 | None:
        """Give the numbers of a quantity in it; None: none was told."""
        values = self.view.column(quantity, high)
        if values is None:
            return None
        within = values[self.rows()]
        within = within[np.isfinite(within)]
        return within if len(within) else None


@dataclass(frozen=True, slots=True)
class Danger:
    """A dangerous reading found."""

    reading: DangerousReading
    value: float
    """The worst of it."""
    at_us: int
    """When it had held long enough, by the visit's clock."""


@cache
def _spns() -> dict[str, tuple[int, ...]]:
    return {one.key: one.spns for one in quantities()}


def told(view: VisitView, quantity: str) -> bool:
    """Tell whether a visit has any number of a quantity."""
    return view.column(quantity, True) is not None


def moments_of(fault: FaultCase, views: Sequence[VisitView]) -> list[Moment]:
    """Give all spells of a fault with their visits."""
    return [
        Moment(view, one.seen, spell)
        for view in views
        for one in view.visit.faults
        if one.fault == fault.fault
        for spell in one.seen.spells
    ]


def engine_ran(moment: Moment) -> bool | None:
    """Tell whether the engine ran at any second of a spell; None: its speed was not told."""
    return _any(moment, "engine_rpm", RUNNING_RPM)


def moved(moment: Moment) -> bool | None:
    """Tell whether the machine moved at any second of a spell; None: not told.

    A machine whose engine stood is taken as standing where no speed was told.
    """
    seen: list[bool] = []
    for quantity, factor in SPEEDS:
        one = _any(moment, quantity, MOVING_KMH / factor)
        if one is not None:
            seen.append(one)
    if seen:
        return any(seen)
    return False if engine_ran(moment) is False else None


def _any(moment: Moment, quantity: str, above: float) -> bool | None:
    values = moment.values(quantity, True)
    return bool((values > above).any()) if values is not None else None


def least(moment: Moment, quantity: str) -> float | None:
    """Return the lowest number of a quantity in a spell; None: none was told."""
    values = moment.values(quantity, False)
    return float(values.min()) if values is not None else None


def most(moment: Moment, quantity: str) -> float | None:
    """Return the highest number of a quantity in a spell; None: none was told."""
    values = moment.values(quantity, True)
    return float(values.max()) if values is not None else None


def dangers_for(fault: FaultCase, moment: Moment) -> list[Danger]:
    """Find the dangerous readings of a fault's own quantities in one of its spells.

    A circuit code of the same parameter says that its value is none.
    """
    found: list[Danger] = []
    for reading in dangerous_readings():
        if fault.spn not in reading.spns:
            continue
        if fault.fmi in CIRCUIT_FMIS and fault.spn in _spns().get(reading.bound.quantity, ()):
            continue
        danger = find_danger(moment.view, reading, moment.rows())
        if danger is not None:
            found.append(danger)
    return found


def dangers_at_end(view: VisitView, last_s: int = 60) -> list[Danger]:
    """Find the dangerous readings in the last seconds of a visit, whatever codes there are."""
    visit, second = view.visit, view.visit.state.second
    if not len(second):
        return []
    rows = view.within(int(second[-1]) - last_s, int(second[-1]))
    bad = {
        one.seen.key.spn
        for one in visit.faults
        if one.seen.key.fmi in CIRCUIT_FMIS and one.seen.spells
    }
    return [
        danger
        for reading in dangerous_readings()
        if not bad & set(_spns().get(reading.bound.quantity, ()))
        and (danger := find_danger(view, reading, rows)) is not None
    ]


def find_danger(view: VisitView, reading: DangerousReading, rows: slice) -> Danger | None:
    """Find where a reading lay beyond its limit for long enough and was plausible.

    No reading is one that stands at the electrical end of its scale or got there faster than the
    real thing can.
    """
    values = view.column(reading.bound.quantity, reading.bound.op == ">")
    if values is None:
        return None
    limit, rail = reading.bound.value, reading.rail
    if reading.doubles_at_24v and nominal_v(view.visit) == 24:
        limit, rail = 2.0 * limit, 2.0 * rail if rail is not None else None
    part, second = values[rows], view.visit.state.second[rows]
    beyond = part > limit if reading.bound.op == ">" else part < limit
    if rail is not None:
        beyond &= part < rail if reading.bound.op == ">" else part > rail
    told_now = np.isfinite(part)
    if reading.needs is not None:
        needed = view.column(reading.needs.quantity, False)
        if needed is None:
            return None
        # A second without the other reading says nothing of it, and breaks no stretch.
        told_now &= np.isfinite(needed[rows])
        beyond &= needed[rows] > reading.needs.value
    for first, last in _runs(second, beyond, np.flatnonzero(told_now)):
        if second[last] - second[first] < reading.hold_s:
            continue
        start = first + int(rows.start)
        if reading.rise_per_s is not None and _leapt(view, values, start, reading.rise_per_s):
            continue
        run = part[first : last + 1]
        run = run[np.isfinite(run)]
        worst = float(run.max() if reading.bound.op == ">" else run.min())
        held_us = int(second[first] * SECOND_US + reading.hold_s * SECOND_US)
        return Danger(reading, worst, held_us)
    return None


def _runs(second: I64, on: Rows, heard: I64) -> list[tuple[int, int]]:
    """Give first and last row of stretches of heard rows that are on, without a long gap."""
    if not len(heard):
        return []
    flags = on[heard]
    breaks = np.flatnonzero((np.diff(second[heard]) > LONGEST_GAP_S) | np.diff(flags)) + 1
    return [
        (int(heard[one[0]]), int(heard[one[-1]]))
        for one in np.split(np.arange(len(heard)), breaks)
        if flags[one[0]]
    ]


def _leapt(view: VisitView, values: F64, first: int, per_s: float) -> bool:
    """Tell whether a value came to where it is faster than the real thing can."""
    second = view.visit.state.second
    before = np.flatnonzero(np.isfinite(values[max(0, first - 120) : first]))
    if not len(before):
        return False
    last = max(0, first - 120) + int(before[-1])
    step_s = float(second[first] - second[last])
    return bool(abs(values[first] - values[last]) > per_s * max(step_s, 1.0))
