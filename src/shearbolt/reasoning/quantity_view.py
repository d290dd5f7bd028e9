"""One visit as quantities: for each the best sender's reading, held for as long as it may count."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import cache
from typing import TypeVar, cast

import numpy as np

from shearbolt.dictionary.quantities import quantities
from shearbolt.dictionary.signals import row_of_spn
from shearbolt.model.frames import F64, I64
from shearbolt.model.instants import SECOND_US
from shearbolt.model.state import F32, StateColumn, StateKey
from shearbolt.reasoning.case import MachineCase, VisitCase
from shearbolt.reasoning.phases import Flags, Phases, Rows, phases_of
from shearbolt.reasoning.voltage import BANDS

__all__ = ["Flags", "OffTime", "Picked", "QuantityView", "Rows", "views_of"]

_T = TypeVar("_T")

SPARSE_SHARE = 0.1
"""A better parameter is passed over where it told fewer numbers than this share of the richest."""
PERIODS_HELD = 3.0
"""A reading counts for so many of its sender's own periods (common practice)."""
LEAST_HELD_S, MOST_HELD_S = 3.0, 30.0
MARGIN_HOURS = 0.1
"""Two steps of the hour meter (SPN 247: 0.05 h): less than that is no run in between."""
LIVELY_FUEL_L_H, LIVELY_V = 0.5, 13.5
"""Fuel flow, and voltage of a 12 V system, that a standing engine does not show."""
WARM_C = 60.0
"""A coolant this warm has been running for minutes."""
SPEED_SOURCES: tuple[tuple[str, float], ...] = (
    ("speed_kmh", 1.0),
    ("wheel_m_s", 3.6),
    ("ground_m_s", 3.6),
    ("front_axle_kmh", 1.0),
    ("gps_kmh", 1.0),
)
"""Quantities that tell ground speed, best first, with their factor to km/h."""


@dataclass(frozen=True, slots=True)
class Picked:
    """One sender's reading of a quantity."""

    quantity: str
    sender: StateKey
    unit: str
    resolution: float
    """Step of one raw count."""
    column: StateColumn
    numbers: int
    """Seconds with a number."""


@dataclass(frozen=True, slots=True)
class OffTime:
    """How long the engine had been off when the visit began."""

    seconds: float
    """Since the last visit's end."""
    sure: bool
    """The hour meter shows that it did not run in between."""


@cache
def _choices() -> Mapping[str, tuple[tuple[int, ...], str]]:
    return {one.key: (one.spns, one.unit) for one in quantities()}


@cache
def _resolution(spn: int) -> float:
    rows = row_of_spn(spn)
    return min((row.resolution for row in rows), default=0.0)


@dataclass(frozen=True, slots=True)
class QuantityView:
    """The quantities of one visit. Everything is worked out when first asked for, then kept."""

    visit: VisitCase
    before: VisitCase | None = None
    """The machine's visit before it with a state of its own; None: the first."""
    _memo: dict[object, object] = field(default_factory=dict, compare=False, repr=False)

    def once(self, key: object, work: Callable[[], _T]) -> _T:
        """Give `work()`, done once for each key of this view."""
        if key not in self._memo:
            self._memo[key] = work()
        return cast("_T", self._memo[key])

    # What was told

    @property
    def second(self) -> I64:
        """Whole seconds of the visit's own clock, one a row."""
        return self.visit.state.second

    @property
    def _by_spn(self) -> Mapping[int, tuple[tuple[StateKey, StateColumn, int], ...]]:
        def work() -> Mapping[int, tuple[tuple[StateKey, StateColumn, int], ...]]:
            found: dict[int, list[tuple[StateKey, StateColumn, int]]] = {}
            for key, column in self.visit.state.columns.items():
                numbers = int(len(column.last) - np.count_nonzero(np.isnan(column.last)))
                found.setdefault(key.spn, []).append((key, column, numbers))
            return {
                spn: tuple(sorted(some, key=lambda one: (-one[2], one[0])))
                for spn, some in found.items()
            }

        return self.once("by spn", work)

    def senders(self, quantity: str, *, mute: bool = False) -> tuple[Picked, ...]:
        """Give every sender of a quantity that told numbers, the best first.

        Best is the first parameter of the table's choices that told not far fewer numbers than
        the richest, and among its senders the richest. `mute`: those that told none as well.
        Raises KeyError for a quantity that the table does not have.
        """

        def work() -> tuple[Picked, ...]:
            spns, unit = _choices()[quantity]
            found = [
                Picked(quantity, key, unit, _resolution(spn), column, numbers)
                for spn in spns
                for key, column, numbers in self._by_spn.get(spn, ())
                if numbers or mute
            ]
            richest = max((one.numbers for one in found), default=0)
            return tuple(sorted(found, key=lambda one: one.numbers < SPARSE_SHARE * richest))

        return self.once(("senders", quantity, mute), work)

    def pick(self, quantity: str) -> Picked | None:
        """Give the best sender of a quantity; None: no number in this visit."""
        some = self.senders(quantity)
        return some[0] if some else None

    def alive(self, quantity: str) -> bool:
        """Tell whether a quantity told any number."""
        return bool(self.senders(quantity))

    def about(self, *wanted: str) -> tuple[StateKey, ...]:
        """Give the senders picked for quantities, those that are alive."""
        return tuple(one.sender for q in wanted if (one := self.pick(q)) is not None)

    # Values

    def held(self, quantity: str) -> F32 | None:
        """Give the best sender's last number, held for three of its periods (3 to 30 s), NaN where
        there is none as young; None: the quantity is not alive.
        """
        picked = self.pick(quantity)
        return None if picked is None else self.held_of(picked)

    def values(self, quantity: str) -> F32:
        """Give `held`. Raises KeyError where the quantity is not alive."""
        found = self.held(quantity)
        if found is None:
            raise KeyError(quantity)
        return found

    def held_of(self, picked: Picked) -> F32:
        """Give `held` of one sender."""

        def work() -> F32:
            last = picked.column.last
            if picked.numbers == len(last):
                return last
            at = np.flatnonzero(~np.isnan(last))
            told = self.second[at]
            period = float(np.median(np.diff(told[:2000]))) if len(at) > 1 else 1.0
            keep = min(max(LEAST_HELD_S, PERIODS_HELD * period), MOST_HELD_S)
            ends = np.append(at[1:], len(last))
            out = np.full(len(last), np.nan, np.float32)
            out[at[0] :] = np.repeat(last[at], ends - at)
            # Few numbers stand for longer than they may.
            for i in np.flatnonzero(self.second[ends - 1] - told > keep).tolist():
                stale = np.searchsorted(self.second, told[i] + keep, "right")
                out[stale : ends[i]] = np.nan
            return out

        return self.once(("held", picked.sender), work)

    def at_us(self, rows: Rows, most: int = 20) -> tuple[int, ...]:
        """Give the instants of rows by the visit's own clock, at most `most`, evenly chosen."""
        if len(rows) > most:
            rows = rows[np.linspace(0, len(rows) - 1, most).astype(np.intp)]
        return tuple((self.second[rows] * SECOND_US).tolist())

    # What is worked out

    @property
    def system_v(self) -> int | None:
        """12 or 24: the system voltage told by the median (`voltage.BANDS`); else None."""

        def work() -> int | None:
            volts = self.held("battery_v")
            if volts is None or np.isnan(volts).all():
                return None
            middle = float(np.nanmedian(volts))
            return next((nominal for low, high, nominal in BANDS if low <= middle <= high), None)

        return self.once("system voltage", work)

    @property
    def phases(self) -> Phases | None:
        """What the engine did; None where no engine speed was told."""

        def work() -> Phases | None:
            rpm = self.held("engine_rpm")
            if rpm is None:
                return None
            return phases_of(self.second, rpm, self.held("starter"), self.lively)

        return self.once("phases", work)

    @property
    def lively(self) -> Flags:
        """Rows in which other readings show a running engine: fuel flows, or a battery charges."""

        def work() -> Flags:
            found = np.zeros(len(self.second), np.bool_)
            fuel, volts = self.held("fuel_rate_l_h"), self.held("battery_v")
            if fuel is not None:
                found |= fuel > LIVELY_FUEL_L_H
            if volts is not None and self.system_v is not None:
                found |= volts > LIVELY_V * self.system_v / 12.0
            return found

        return self.once("lively", work)

    @property
    def off_before(self) -> OffTime | None:
        """How long it had been off when the visit began; None: not known, or it ran in between."""
        before, visit = self.before, self.visit
        if before is None or before.zero_us is None or visit.zero_us is None:
            return None
        ended = before.zero_us + before.latest_us
        seconds = (visit.zero_us + visit.earliest_us - ended) / SECOND_US
        if seconds < 0:
            return None
        if before.hours_end is None or visit.hours_start is None:
            return OffTime(seconds, False)
        if visit.hours_start - before.hours_end > MARGIN_HOURS:
            return None
        return OffTime(seconds, True)

    @property
    def stood_s(self) -> F64 | None:
        """Seconds the engine has been standing (NaN while it does not), with the time before the
        visit where that is sure; None where no engine speed was told.
        """

        def work() -> F64 | None:
            phases = self.phases
            if phases is None:
                return None
            stood = phases.stopped_s
            off = self.off_before
            if off is None or not off.sure or not len(stood) or np.isnan(stood[0]):
                return stood
            ran = np.flatnonzero(~phases.stopped)
            upto = int(ran[0]) if len(ran) else len(stood)
            stood = stood.copy()
            stood[:upto] += off.seconds
            return stood

        return self.once("stood", work)

    @property
    def speed_kmh(self) -> F32 | None:
        """Ground speed (km/h) by the best source that is alive."""
        for quantity, factor in SPEED_SOURCES:
            values = self.held(quantity)
            if values is not None:
                return values if factor == 1.0 else values * np.float32(factor)
        return None

    @property
    def regenerating(self) -> Flags | None:
        """Rows in which a particulate filter burns free actively; None where not told."""
        state = self.held("regeneration")
        return None if state is None else np.asarray(state == 1)

    def running(self, **bounds: tuple[float, float]) -> Flags:
        """Rows in which the engine runs and quantities lie within bounds (low, high; inclusive).

        A quantity that is not alive is no bound. No row where no engine speed is told.
        """
        phases = self.phases
        if phases is None:
            return np.zeros(len(self.second), np.bool_)
        found = phases.running.copy()
        for quantity, (low, high) in bounds.items():
            values = self.held(quantity)
            if values is not None:
                if low > -np.inf:
                    found &= values >= low
                if high < np.inf:
                    found &= values <= high
        return found

    def settled(self, seconds: float) -> Flags:
        """Rows in which the engine has been running for so long: since its start, or, where that
        was not seen, since the recording began unless a warm coolant (60 degC) shows that it ran
        before. No row where no engine speed is told.
        """
        phases = self.phases
        if phases is None:
            return np.zeros(len(self.second), np.bool_)
        found: Flags = phases.since_start_s >= seconds
        coolant = self.held("coolant_c")
        if coolant is not None:
            found |= phases.running & ~phases.start_seen & (coolant >= WARM_C)
        return found


def views_of(case: MachineCase) -> tuple[QuantityView, ...]:
    """Give a view of each visit of a machine that has a second-by-second state, in their order."""
    found: list[QuantityView] = []
    before: VisitCase | None = None
    for visit in case.visits:
        if len(visit.state):
            found.append(QuantityView(visit, before))
            before = visit
    return tuple(found)
