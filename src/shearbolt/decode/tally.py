"""Counts over a whole recording: groups, other identifiers, and what each parameter showed."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np

from shearbolt.decode.columns import DecodedBlock, GroupRun
from shearbolt.model.frames import ERROR, EXTENDED, F64, I64, REMOTE, U8, Frames
from shearbolt.model.instants import SECOND_US
from shearbolt.model.layout import SignalRow
from shearbolt.model.signal import ERROR as READING_ERROR
from shearbolt.model.signal import NO_NUMBER, NOT_AVAILABLE, NUMBER, SignalSeen
from shearbolt.model.visit import GroupSeen, IdSeen

STEPS_KEPT = 2000
"""Steps between frames kept to tell a group's usual period."""


@dataclass(slots=True)
class Beat:
    """How often something comes."""

    count: int = 0
    first_us: int = 0
    last_us: int = 0
    steps_us: list[int] = field(default_factory=list)
    previous_us: int | None = None
    _median: tuple[int, float | None] = (0, None)
    """Of how many steps the period was told last, and what it was."""

    def add(self, time_us: I64) -> None:
        """Add instants in the order of the recording."""
        if not len(time_us):
            return
        low, high = int(time_us.min()), int(time_us.max())
        self.first_us = low if not self.count else min(self.first_us, low)
        self.last_us = high if not self.count else max(self.last_us, high)
        room = STEPS_KEPT - len(self.steps_us)
        if room > 0 and self.previous_us is not None:
            self.steps_us.append(int(time_us[0]) - self.previous_us)
            room -= 1
        if room > 0:
            self.steps_us.extend(np.diff(time_us[: room + 1]).tolist())
        self.previous_us = int(time_us[-1])
        self.count += len(time_us)

    @property
    def period_s(self) -> float | None:
        """Median step in seconds; None with fewer than two."""
        if self._median[0] != len(self.steps_us):
            steps_us, half = sorted(self.steps_us), len(self.steps_us) // 2
            # The middle one, or the mean of the two in the middle.
            median_s = round((steps_us[half] + steps_us[-half - 1]) / 2 / SECOND_US, 6)
            # Each parameter of a group asks for it.
            self._median = len(steps_us), median_s
        return self._median[1]


@dataclass(slots=True)
class _Shown:
    """What one parameter showed so far."""

    row: SignalRow
    counts: list[int]
    low: float = math.inf
    high: float = -math.inf
    first: float | None = None
    last: float | None = None

    def add(self, value: F64, status: U8, counts: list[int], low: float, high: float) -> None:
        for i in range(4):
            self.counts[i] += counts[i]
        if not counts[NUMBER]:
            return
        self.low = min(self.low, low)
        self.high = max(self.high, high)
        if counts[NUMBER] == len(status):
            first, last = value[0], value[-1]
        else:
            where = np.flatnonzero(status == NUMBER)
            first, last = value[where[0]], value[where[-1]]
        if self.first is None:
            self.first = float(first)
        self.last = float(last)


class Tally:
    """Counts groups, identifiers and parameter readings, block by block."""

    def __init__(self) -> None:
        self.beats: dict[tuple[int, int, int], Beat] = {}
        """Keyed by (channel, pgn, source)."""
        self._known: dict[tuple[int, int, int], bool] = {}
        self._shown: dict[tuple[int, int, int, int], _Shown] = {}
        self._long_beats: dict[tuple[int, int, int, int], Beat] = {}
        self._ids: dict[tuple[int, int, bool], int] = {}
        self.frames = 0
        self.error_frames = 0
        self.remote_frames = 0

    def feed(self, block: DecodedBlock) -> None:
        """Count one block."""
        frames = block.frames
        self.frames += len(frames)
        self._count_others(frames)
        for group in block.groups:
            key = group.channel, group.pgn, group.source
            self.beats.setdefault(key, Beat()).add(group.time_us)
            self._known[key] = bool(group.rows)
            self._count_readings(group)
        for column in block.long_columns:
            channel = frames.channels.index(column.channel)
            counts = np.bincount(column.status, minlength=4).tolist()
            numbers = column.value[column.status == NUMBER]
            where = channel, column.row.pgn, column.address, column.row.spn
            shown = self._shown.setdefault(where, _Shown(column.row, [0, 0, 0, 0]))
            self._long_beats.setdefault(where, Beat()).add(column.time_us)
            if len(numbers):
                low, high = float(numbers.min()), float(numbers.max())
            else:
                low, high = math.inf, -math.inf
            shown.add(column.value, column.status, counts, low, high)

    def _count_readings(self, group: GroupRun) -> None:
        if group.decoded is None:
            return
        counts = group.decoded.counts.tolist()
        low, high = group.decoded.low.tolist(), group.decoded.high.tolist()
        for i, row in enumerate(group.rows):
            where = group.channel, group.pgn, group.source, row.spn
            shown = self._shown.setdefault(where, _Shown(row, [0, 0, 0, 0]))
            shown.add(group.decoded.value[i], group.decoded.status[i], counts[i], low[i], high[i])

    def _count_others(self, frames: Frames) -> None:
        flags = frames.flags
        error = (flags & ERROR) != 0
        self.error_frames += int(np.count_nonzero(error))
        self.remote_frames += int(np.count_nonzero(flags & REMOTE))
        short = (flags & (EXTENDED | ERROR)) == 0
        if not short.any():
            return
        key = frames.channel[short].astype(np.int64) << 32 | frames.ident[short]
        for one, count in zip(*np.unique(key, return_counts=True), strict=True):
            where = int(one) >> 32, int(one) & 0xFFFFFFFF, False
            self._ids[where] = self._ids.get(where, 0) + int(count)

    def groups(
        self, channels: tuple[str, ...], read_elsewhere: frozenset[int]
    ) -> tuple[GroupSeen, ...]:
        """Return the groups heard; `read_elsewhere` are read by other decoders than the table."""
        return tuple(
            GroupSeen(
                channels[channel],
                pgn,
                source,
                beat.count,
                beat.first_us,
                beat.last_us,
                beat.period_s,
                self._known[channel, pgn, source] or pgn in read_elsewhere,
            )
            for (channel, pgn, source), beat in sorted(self.beats.items())
        )

    def other_ids(self, channels: tuple[str, ...]) -> tuple[IdSeen, ...]:
        """Return the 11-bit identifiers heard."""
        return tuple(
            IdSeen(channels[channel], ident, extended, count)
            for (channel, ident, extended), count in sorted(self._ids.items())
        )

    def signals(self, channels: tuple[str, ...]) -> tuple[SignalSeen, ...]:
        """Return what each parameter showed."""
        seen: list[SignalSeen] = []
        for (channel, pgn, source, spn), shown in sorted(self._shown.items()):
            beat = (
                self._long_beats.get((channel, pgn, source, spn))
                or self.beats[channel, pgn, source]
            )
            numbers = shown.counts[NUMBER]
            seen.append(
                SignalSeen(
                    channels[channel],
                    source,
                    spn,
                    pgn,
                    sum(shown.counts),
                    numbers,
                    shown.counts[NOT_AVAILABLE] + shown.counts[NO_NUMBER],
                    shown.counts[READING_ERROR],
                    beat.first_us,
                    beat.last_us,
                    beat.period_s,
                    shown.low if numbers else None,
                    shown.high if numbers else None,
                    shown.first,
                    shown.last,
                    shown.row.resolution,
                    shown.row.unit,
                )
            )
        return tuple(seen)
