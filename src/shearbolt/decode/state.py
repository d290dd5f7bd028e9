"""Decoded columns to the second-by-second state that is kept with a visit."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from shearbolt.model.frames import I64, U8
from shearbolt.model.instants import SECOND_US
from shearbolt.model.signal import SignalColumn
from shearbolt.model.state import F32, SILENT, StateColumn, StateKey, StateTable


class _Gathered:
    """Pieces of one parameter: seconds with their last, lowest, highest number and last status."""

    def __init__(self) -> None:
        self.second: list[I64] = []
        self.last: list[F32] = []
        self.low: list[F32] = []
        self.high: list[F32] = []
        self.status: list[U8] = []


@dataclass(frozen=True, slots=True)
class _Cuts:
    """Where the seconds of a run of instants begin and end."""

    order: I64 | None
    """Rows in the order of their seconds; None where they are."""
    second: I64
    first: I64
    end: I64


def _cuts(time_us: I64) -> _Cuts:
    second = time_us // SECOND_US
    order = None
    if (second[1:] < second[:-1]).any():
        order = np.argsort(second, kind="stable")
        second = second[order]
    first = np.concatenate(([0], np.flatnonzero(second[1:] != second[:-1]) + 1))
    return _Cuts(order, second[first], first, np.append(first[1:], len(second)))


class StateBuilder:
    """Takes decoded columns block by block; gives the state table at the end.

    `spns` are the parameters kept. Memory is four small numbers a second and parameter.
    """

    def __init__(self, spns: Iterable[int]) -> None:
        self._spns = frozenset(spns)
        self._gathered: dict[StateKey, _Gathered] = {}

    def feed(self, columns: Iterable[SignalColumn]) -> None:
        """Take the columns of the next block, in the order of the recording."""
        time_us: I64 | None = None
        cuts = _cuts(np.zeros(1, np.int64))
        for column in columns:
            if column.row.spn in self._spns and len(column.time_us):
                if column.time_us is not time_us:
                    # The parameters of one group share their instants.
                    time_us = column.time_us
                    cuts = _cuts(time_us)
                self._take(column, cuts)

    def _take(self, column: SignalColumn, cuts: _Cuts) -> None:
        first, end = cuts.first, cuts.end
        number, status = column.value, column.status
        if cuts.order is not None:
            number, status = number[cuts.order], status[cuts.order]
        low = np.fmin.reduceat(number, first)
        high = np.fmax.reduceat(number, first)
        last = number[end - 1]
        # The last number of a second counts, even where the very last sample was none.
        for i in np.flatnonzero(np.isnan(last) & ~np.isnan(low)).tolist():
            some = number[first[i] : end[i]]
            last[i] = some[~np.isnan(some)][-1]
        key = StateKey(column.channel, column.address, column.row.spn)
        kept = self._gathered.setdefault(key, _Gathered())
        kept.second.append(cuts.second)
        kept.last.append(last.astype(np.float32))
        kept.low.append(low.astype(np.float32))
        kept.high.append(high.astype(np.float32))
        kept.status.append(status[end - 1])

    def finish(self) -> StateTable:
        """Put the pieces together; a second cut by a block boundary becomes one again."""
        joined = {key: _join(one) for key, one in sorted(self._gathered.items())}
        self._gathered.clear()
        if not joined:
            return StateTable(np.empty(0, np.int64), {})
        # Many parameters come in the same seconds; each such row of seconds counts once.
        distinct = {one[0].tobytes(): one[0] for one in joined.values()}
        second = np.unique(np.concatenate(list(distinct.values())))
        columns: dict[StateKey, StateColumn] = {}
        for key, (seconds, last, low, high, status) in joined.items():
            if len(seconds) == len(second):
                columns[key] = StateColumn(last, low, high, status)
                continue
            at = np.searchsorted(second, seconds)
            columns[key] = StateColumn(
                _spread(last, at, len(second)),
                _spread(low, at, len(second)),
                _spread(high, at, len(second)),
                _spread_status(status, at, len(second)),
            )
        return StateTable(second, columns)


def _join(one: _Gathered) -> tuple[I64, F32, F32, F32, U8]:
    second = np.concatenate(one.second)
    last, low = np.concatenate(one.last), np.concatenate(one.low)
    high, status = np.concatenate(one.high), np.concatenate(one.status)
    order = np.argsort(second, kind="stable")
    second, last, low = second[order], last[order], low[order]
    high, status = high[order], status[order]
    first = np.flatnonzero(np.diff(second, prepend=second[0] - 1))
    if len(first) == len(second):
        return second, last, low, high, status
    end = np.append(first[1:], len(second)) - 1
    # The later piece tells the last number, unless it holds none.
    latest = last[end]
    gaps = np.isnan(latest)
    latest[gaps] = last[first][gaps]
    return (
        second[first],
        latest,
        np.fmin.reduceat(low, first),
        np.fmax.reduceat(high, first),
        status[end],
    )


def _spread(values: F32, at: I64, rows: int) -> F32:
    spread = np.full(rows, np.nan, np.float32)
    spread[at] = values
    return spread


def _spread_status(values: U8, at: I64, rows: int) -> U8:
    spread = np.full(rows, SILENT, np.uint8)
    spread[at] = values
    return spread
