"""What the evidence on one fault is looked for in: its starts, its sensor, the visits around."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from shearbolt.dictionary.cause_priors import CausePrior
from shearbolt.dictionary.quantities import quantities
from shearbolt.dictionary.signals import row_of_spn
from shearbolt.model.frames import F64
from shearbolt.model.instants import SECOND_US
from shearbolt.model.signal import ERROR, NUMBER
from shearbolt.model.state import StateColumn, StateKey
from shearbolt.reasoning.case import FaultCase, MachineCase, VisitCase
from shearbolt.reasoning.company import Company
from shearbolt.reasoning.company.values import Start
from shearbolt.reasoning.odds.values import Fact, Moment
from shearbolt.reasoning.phases import Flags, Rows
from shearbolt.reasoning.plausibility.charts import Chart
from shearbolt.reasoning.plausibility.check import CheckResult
from shearbolt.reasoning.quantity_view import QuantityView
from shearbolt.reasoning.settings import Setting

MOST_MOMENTS = 20
NTC_ENDS_C = (-39.0, 149.0)
"""An open NTC reads about -40, a shorted one above 150 degC (reference sheet 6.10)."""
EXHAUST_ENDS_C = (-39.0, 990.0)
END_SHARE = 0.005
"""So near to an end of its scale (share of the span) a reading stands at it."""
BOUNDED: Mapping[str, tuple[float, float]] = {
    "oil_kpa": (-np.inf, 990.0),
    "fuel_kpa": (-np.inf, 990.0),
    "boost_kpa": (-np.inf, 480.0),
    "manifold_abs_kpa": (-np.inf, 490.0),
    "pedal_pct": (-np.inf, 100.5),
    "hitch_pct": (-np.inf, 100.5),
    "transmission_kpa": (-np.inf, 3990.0),
}
"""Ends of scales that are no true value; a floor of zero is judged by running instead."""
NO_ZERO = frozenset({"oil_kpa", "fuel_kpa", "rail_mpa", "transmission_kpa"})
"""Pressures that are not zero while the engine runs (SAE J1939-71 quantities; physics)."""


@dataclass(frozen=True, slots=True)
class Found:
    """One piece of evidence that was seen: a row of the table, its figures, where to look."""

    key: str
    values: tuple[Fact, ...] = ()
    at: tuple[Moment, ...] = ()


@dataclass(frozen=True, slots=True)
class Missing:
    """One piece of evidence that could not be judged, and for want of what."""

    key: str
    why: str
    missing: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Sensor:
    """The faulty reading in one visit."""

    key: StateKey
    column: StateColumn
    quantity: str
    ended: Flags
    """Rows in which it stood at an end of its scale or was called in error."""


@dataclass(frozen=True, slots=True)
class MachineScene:
    """What all faults of a machine share."""

    case: MachineCase
    views: Mapping[int, QuantityView]
    """By index of the visit; only visits with a state."""
    results: Mapping[str, tuple[CheckResult, ...]]
    """Results of the plausibility checks, by visit."""
    charts: tuple[Chart, ...]
    company: Company
    starts: Mapping[str, Sequence[Start]]
    """Spells of every fault."""
    _memo: dict[object, object] = field(default_factory=dict, compare=False, repr=False)

    def visit(self, index: int) -> VisitCase:
        """Give a visit by its index."""
        return self.case.visits[index]


@dataclass(frozen=True, slots=True)
class Scene:
    """One fault with all that evidence is looked for in."""

    machine: MachineScene
    fault: FaultCase
    row: CausePrior
    setting: Setting | None
    starts: Sequence[Start]
    """All its spells, in the order of visits and time."""
    quantity: str | None
    """Quantity that its parameter tells, where the state keeps it."""
    _memo: dict[object, object] = field(default_factory=dict, compare=False, repr=False)

    @property
    def known(self) -> list[Start]:
        """Spells whose start was seen."""
        return [one for one in self.starts if one.spell.start_known]

    @property
    def visits(self) -> list[int]:
        """Indices of the visits with a spell, in their order."""
        return sorted({one.visit for one in self.starts})

    def sensor(self, index: int) -> Sensor | None:
        """Give the faulty reading in a visit: the fault's own sender, else any; None: not told."""
        if index not in self._memo:
            self._memo[index] = self._sensor(index)
        return self._memo[index]  # type: ignore[return-value]

    def _sensor(self, index: int) -> Sensor | None:
        view = self.machine.views.get(index)
        if view is None or self.fault.spn is None or self.quantity is None:
            return None
        spn = self.fault.spn
        keys = sorted(key for key in view.visit.state.columns if key.spn == spn)
        here = {one.address for one in self.starts if one.visit == index}
        own = [key for key in keys if key.address in here or key.address == self.fault.address]
        if not (own or keys):
            return None
        key = (own or keys)[0]
        column = view.visit.state.columns[key]
        return Sensor(key, column, self.quantity, ended(view, column, self.quantity, spn))

    def moments(self, starts: Sequence[Start]) -> tuple[Moment, ...]:
        """Give the moments of starts, at most 20, evenly chosen."""
        some = list(starts)
        if len(some) > MOST_MOMENTS:
            some = [some[i] for i in np.linspace(0, len(some) - 1, MOST_MOMENTS).astype(int)]
        return tuple(Moment(self.machine.visit(one.visit).visit, one.at_us) for one in some)

    def about(self, *checks: str) -> Iterator[CheckResult]:
        """Give results of checks in all visits from the first spell on, and the visit before."""
        first = self.visits[0] if self.visits else 0
        for index in range(max(0, first - 1), len(self.machine.case.visits)):
            for one in self.machine.results.get(self.machine.visit(index).visit, ()):
                if one.check in checks:
                    yield one

    def is_about_it(self, result: CheckResult, *, any_of: bool = False) -> bool:
        """Tell whether a result's first reading (or any of them) is the fault's own.

        Another parameter of the same quantity stands for it where the fault's own is not told.
        """
        if self.fault.spn is None:
            return False
        about = result.about if any_of else result.about[:1]
        if any(one.spn == self.fault.spn for one in about):
            return True
        if self.quantity is None or any(self.sensor(i) is not None for i in self.machine.views):
            return False
        return any(one.spn in spns_of(self.quantity) for one in about)


def quantity_of(spn: int | None) -> str | None:
    """Give the quantity that a parameter tells; None: none that the state keeps."""
    return next((one.key for one in quantities() if spn in one.spns), None)


def spns_of(quantity: str) -> tuple[int, ...]:
    """Give the parameters of a quantity. Raises StopIteration for a stranger."""
    return next(one.spns for one in quantities() if one.key == quantity)


def ends_of(quantity: str, spn: int) -> tuple[float, float]:
    """Give the values at and beyond which a reading stands at an end of its scale."""
    if quantity in BOUNDED:
        return BOUNDED[quantity]
    if quantity.endswith("_c"):
        hot = quantity in ("dpf_in_c", "dpf_out_c", "doc_in_c", "scr_in_c", "exhaust_c")
        return EXHAUST_ENDS_C if hot else NTC_ENDS_C
    rows = row_of_spn(spn)
    if not rows or quantity.endswith("_rpm") or "kmh" in quantity:
        return -np.inf, np.inf
    high = rows[0].high
    return -np.inf, high - END_SHARE * (high - rows[0].low)


def ended(view: QuantityView, column: StateColumn, quantity: str, spn: int) -> Flags:
    """Flag the rows in which a reading stands at an end of its scale, or is called in error."""
    low, high = ends_of(quantity, spn)
    with np.errstate(invalid="ignore"):
        flags = (column.low <= low) | (column.high >= high) | (column.status == ERROR)
        if quantity in NO_ZERO:
            running = view.running(engine_rpm=(600.0, np.inf)) & view.settled(10.0)
            flags |= running & (column.low <= 0.0)
    return np.asarray(flags, np.bool_)


def rows_between(view: QuantityView, from_us: float, until_us: float) -> Rows:
    """Give the rows of a stretch of the visit's clock."""
    second = view.second
    first = int(np.searchsorted(second, np.floor(from_us / SECOND_US), "left"))
    last = int(np.searchsorted(second, np.floor(until_us / SECOND_US), "right"))
    return np.arange(first, last, dtype=np.intp)


def numbers(column: StateColumn, rows: Rows) -> F64:
    """Give the numbers of some rows, in their order, without those that told none."""
    some = np.asarray(column.last[rows], np.float64)
    good = (column.status[rows] == NUMBER) & ~np.isnan(some)
    return np.asarray(some[good], np.float64)
