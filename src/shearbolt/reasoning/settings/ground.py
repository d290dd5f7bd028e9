"""A machine's recorded time as rows of conditions: for each second, which hold, one bit each."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import numpy.typing as npt

from shearbolt.model.frames import F64, I64, U8
from shearbolt.model.instants import SECOND_US
from shearbolt.model.state import F32
from shearbolt.reasoning.phases import Flags, Rows
from shearbolt.reasoning.settings.setting import Op
from shearbolt.reasoning.settings.tables import QUIET_S, VisitTable, units_of_quantities

CUTS = (0.02, 0.05, 0.10, 0.20, 0.35, 0.50, 0.65, 0.80, 0.90, 0.95, 0.98)
"""Shares of the recorded time at which thresholds are tried; the winner's is refined afterwards."""
COARSE = frozenset({0.05, 0.20, 0.50, 0.80, 0.95})
"""Those that joins of conditions use."""
FEW_STATES = 6
"""A quantity with no more distinct values than this is taken as states."""
SAMPLED = 20_000
"""Rows from which thresholds are chosen."""
APART_S = 1_000_000
"""Seconds between the clocks of two visits: no lag reaches across."""
STALE_S = 2
"""A lagged row may be so much older than asked for."""


@dataclass(frozen=True, slots=True)
class Condition:
    """A quantity on one side of a threshold, or in one state."""

    quantity: str
    op: Op
    value: float
    coarse: bool


@dataclass(frozen=True, slots=True)
class Ground:
    """All visits of a machine, one after the other, and the conditions tried on them."""

    tables: tuple[VisitTable, ...]
    first: I64
    """First row of each visit, and the number of rows."""
    clock: I64
    """Second of each row on one clock for all visits, which stand APART_S apart."""
    cycle: I64
    """Key cycle of each row, numbered through."""
    conditions: tuple[Condition | None, ...]
    """One for each bit; None: filling."""
    bits: U8
    """(rows + 1, bits / 8), little end first; the last row is empty, for times without a row."""
    quantity: Rows
    """Number of the quantity of each bit."""
    coarse: Rows
    """Bits that joins use."""
    units: Mapping[str, str] = field(repr=False)
    _columns: dict[str, F32] = field(default_factory=dict, compare=False, repr=False)
    """Quantities asked for, laid out over all rows."""

    @property
    def rows(self) -> int:
        """Number of rows."""
        return int(self.first[-1])

    def span(self, visit: int) -> tuple[int, int]:
        """Give the first row of a visit and the row after its last."""
        return int(self.first[visit]), int(self.first[visit + 1])

    def visit_of(self, rows: Rows) -> Rows:
        """Give the visit of each row."""
        return np.asarray(np.searchsorted(self.first, rows, "right") - 1, np.intp)

    def lagged(self, rows: Rows, lag_s: int) -> Rows:
        """Give the rows so many seconds earlier; the empty one (`self.rows`) where none is."""
        if lag_s == 0:
            return rows
        wanted = self.clock[rows] - lag_s
        found = np.searchsorted(self.clock, wanted, "right") - 1
        good = (found >= 0) & (self.clock[np.maximum(found, 0)] >= wanted - STALE_S)
        return np.asarray(np.where(good, found, self.rows), np.intp)

    def held(self, rows: Rows, bits: Sequence[int]) -> Flags:
        """Tell for each row whether all of some conditions hold."""
        out = np.ones(len(rows), np.bool_)
        for bit in bits:
            out &= (self.bits[rows, bit >> 3] >> (bit & 7) & 1).astype(np.bool_)
        return out

    def flags(self, rows: Rows) -> npt.NDArray[np.uint8]:
        """Give the conditions of rows: rows' shape plus one axis of all bits, 0 or 1."""
        return np.unpackbits(self.bits[rows], axis=-1, bitorder="little")

    def without(self, quantities: Collection[str]) -> Ground:
        """Give the same ground without the conditions of some quantities.

        Every quantity has bytes of its own, so whole bytes go.
        """
        mine = [one is not None and one.quantity in quantities for one in self.conditions[::8]]
        if not any(mine):
            return self
        stays = np.flatnonzero(~np.asarray(mine, np.bool_))
        kept = (stays[:, None] * 8 + np.arange(8)).ravel()
        conditions = tuple(self.conditions[i] for i in kept.tolist())
        coarse = [i for i, one in enumerate(conditions) if one is not None and one.coarse]
        return replace(
            self,
            conditions=conditions,
            bits=np.ascontiguousarray(self.bits[:, stays]),
            quantity=self.quantity[kept],
            coarse=np.asarray(coarse, np.intp),
        )

    def values(self, quantity: str, rows: Rows) -> F32:
        """Give a quantity's values in rows; NaN where not known, and in the empty row."""
        column = self._columns.get(quantity)
        if column is None:
            column = np.full(self.rows + 1, np.nan, np.float32)
            for i, table in enumerate(self.tables):
                if quantity in table.columns:
                    column[self.first[i] : self.first[i + 1]] = table.columns[quantity]
            self._columns[quantity] = column
        return column[rows]

    def spn(self, quantity: str) -> int | None:
        """Give the parameter that told a quantity, by the last visit that had it."""
        for table in reversed(self.tables):
            if quantity in table.spns:
                return table.spns[quantity]
        return None


def ground_of(tables: Sequence[VisitTable]) -> Ground:
    """Lay out the visits and choose the conditions, without regard to any fault."""
    tables = tuple(tables)
    units = units_of_quantities()
    sizes = [len(one.second) for one in tables]
    first = np.concatenate([[0], np.cumsum(sizes)]).astype(np.int64)
    clock = np.zeros(first[-1], np.int64)
    cycle = np.zeros(first[-1], np.int64)
    end, cycles = 0, 0
    for i, one in enumerate(tables):
        if not sizes[i]:
            continue
        span = slice(first[i], first[i + 1])
        clock[span] = one.second - one.second[0] + end
        end = int(clock[first[i + 1] - 1]) + APART_S
        if i and _goes_on(tables[i - 1], one):
            cycles -= 1
        cycle[span] = one.cycle + cycles
        cycles = int(cycle[first[i + 1] - 1]) + 1
    names = sorted({name for one in tables for name in one.columns})
    conditions: list[Condition | None] = []
    numbers: list[int] = []
    chosen: list[tuple[str, F64, list[Condition]]] = []
    for number, name in enumerate(names):
        edges, mine = _conditions_of(name, units.get(name, ""), _sample(tables, name))
        if mine:
            chosen.append((name, edges, mine))
            padded = -len(mine) % 8
            conditions += [*mine, *([None] * padded)]
            numbers += [number] * (len(mine) + padded)
    bits = np.zeros((int(first[-1]) + 1, len(conditions) // 8), np.uint8)
    at = 0
    for name, edges, mine in chosen:
        wide = (len(mine) + 7) // 8
        truth = _truth(edges, mine)
        for i, one in enumerate(tables):
            column = one.columns.get(name)
            if column is not None:
                bits[first[i] : first[i + 1], at : at + wide] = truth[_bins(edges, column)]
        at += wide
    coarse = [i for i, one in enumerate(conditions) if one is not None and one.coarse]
    return Ground(
        tables,
        first,
        clock,
        cycle,
        tuple(conditions),
        bits,
        np.asarray(numbers, np.intp),
        np.asarray(coarse, np.intp),
        units,
    )


def _goes_on(before: VisitTable, after: VisitTable) -> bool:
    """Tell whether a visit goes on in the key cycle of the one before: a log in several files."""
    if before.zero_us is None or after.zero_us is None:
        return False
    if not len(before.second) or not len(after.second):
        return False
    ended = before.zero_us // SECOND_US + int(before.second[-1])
    begun = after.zero_us // SECOND_US + int(after.second[0])
    return 0 <= begun - ended <= QUIET_S


def _sample(tables: Sequence[VisitTable], name: str) -> F64:
    """Take evenly spaced known values of a quantity, rising."""
    parts = [one.columns[name] for one in tables if name in one.columns]
    step = max(1, sum(map(len, parts)) // SAMPLED)
    values = np.concatenate([part[::step] for part in parts]).astype(np.float64)
    return np.sort(values[np.isfinite(values)])


def _conditions_of(name: str, unit: str, sample: F64) -> tuple[F64, list[Condition]]:
    """Choose a quantity's conditions, and the edges of the bins by which they are told.

    A quantity that never changes has none. States that are seen for less than a moment stay in:
    cranking is short.
    """
    distinct = np.unique(sample)
    if len(distinct) < 2:
        return np.empty(0), []
    middles = (distinct[1:] + distinct[:-1]) / 2.0
    if unit == "state" or len(distinct) <= FEW_STATES:
        some = distinct[:: max(1, len(distinct) // 16)]
        return middles, [Condition(name, "=", float(value), True) for value in some]
    found: dict[float, bool] = {}
    for share in CUTS:
        value = sample[min(int(share * len(sample)), len(sample) - 1)]
        place = min(int(np.searchsorted(distinct, value)), len(middles) - 1)
        cut = float(middles[place])
        found[cut] = found.get(cut, False) or share in COARSE
    edges = np.asarray(sorted(found))
    return edges, [
        Condition(name, op, float(edge), found[float(edge)]) for op in ("<", ">") for edge in edges
    ]


def _bins(edges: F64, column: F32) -> U8:
    """Tell between which edges values lie; the number of edges plus one where not known."""
    out = np.zeros(len(column), np.uint8)
    for edge in edges.tolist():
        out += column >= edge
    out[np.isnan(column)] = len(edges) + 1
    return out


def _truth(edges: F64, conditions: Sequence[Condition]) -> U8:
    """Tell for each bin (below, between, above the edges; last: not known) what holds, packed."""
    table = np.zeros((len(edges) + 2, len(conditions)), np.uint8)
    low = np.concatenate([[-np.inf], edges])
    high = np.concatenate([edges, [np.inf]])
    for i, one in enumerate(conditions):
        if one.op == "=":
            table[:-1, i] = (low <= one.value) & (one.value < high)
        elif one.op == "<":
            table[:-1, i] = high <= one.value
        else:
            table[:-1, i] = low >= one.value
    return np.packbits(table, axis=1, bitorder="little")
