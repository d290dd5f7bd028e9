"""When each sender was heard, to the second, and when the engine ran."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from shearbolt.model.frames import ERROR, EXTENDED, I64, Frames
from shearbolt.model.instants import SECOND_US

JOIN_S = 2
"""Seconds unheard that still count as living: many senders speak only once a second."""
PAUSE_US = 5 * SECOND_US
"""Steps longer than this are told as pauses of the recording."""
TABLE_CELLS = 1 << 22
"""Largest table of senders by seconds made for one block; beyond it, sorting is cheaper."""

Sender = tuple[int, int]
"""(channel index, source address)."""


class Stretches:
    """Growing list of stretches of whole seconds, kept sorted and joined across short gaps."""

    def __init__(self, join_s: int = JOIN_S) -> None:
        self._join_s = join_s
        self.spans: list[list[int]] = []
        """[first second, last second], rising."""

    def add(self, seconds: Iterable[int]) -> None:
        """Add seconds, rising within one call; earlier ones than before find their place."""
        for second in seconds:
            spans = self.spans
            if spans and spans[-1][0] <= second <= spans[-1][1] + 1 + self._join_s:
                spans[-1][1] = max(spans[-1][1], second)
            elif not spans or second > spans[-1][1]:
                spans.append([second, second])
            else:
                self._insert(second)

    def _insert(self, second: int) -> None:
        self.spans.append([second, second])
        self.spans.sort()
        joined: list[list[int]] = []
        for first, last in self.spans:
            if joined and first <= joined[-1][1] + 1 + self._join_s:
                joined[-1][1] = max(joined[-1][1], last)
            else:
                joined.append([first, last])
        self.spans = joined

    def add_runs(self, seconds: I64) -> None:
        """Add a rising array of seconds run by run."""
        if not len(seconds):
            return
        cut = np.flatnonzero(np.diff(seconds) > 1 + self._join_s) + 1
        for run in np.split(seconds, cut):
            self.add((int(run[0]),))
            if self.spans[-1][0] <= int(run[0]) <= self.spans[-1][1]:
                self.spans[-1][1] = max(self.spans[-1][1], int(run[-1]))
            else:
                self.add(run.tolist())

    def covered_s(self, first_us: int, last_us: int) -> int:
        """Return how many seconds of (first_us, last_us) lie within the stretches."""
        first, last = first_us // SECOND_US, last_us // SECOND_US
        return sum(max(0, min(b, last) - max(a, first)) for a, b in self.spans)

    def end_after(self, at_us: int) -> int | None:
        """Return the last second of the stretch that holds an instant, or None."""
        at = at_us // SECOND_US
        for first, last in self.spans:
            if first - 1 <= at <= last + 1:
                return last
        return None

    def lived_before_s(self, at_us: int) -> int:
        """Return for how many seconds the stretch that holds an instant had lasted by then."""
        at = at_us // SECOND_US
        for first, last in self.spans:
            if first <= at <= last + 1:
                return at - first
        return 0

    @property
    def total_s(self) -> int:
        """Seconds covered in all."""
        return sum(last - first + 1 for first, last in self.spans)


class Presence:
    """When each sender was heard."""

    def __init__(self) -> None:
        self.senders: dict[Sender, Stretches] = {}
        self.pauses: list[tuple[int, int]] = []
        self._last_us: int | None = None

    def feed(self, frames: Frames) -> None:
        """Take the frames of the next block."""
        self._find_pauses(frames.time_us)
        heard = (frames.flags & (EXTENDED | ERROR)) == EXTENDED
        sender = (frames.channel.astype(np.int64) << 8 | (frames.ident & 0xFF))[heard]
        second = frames.time_us[heard] // SECOND_US
        if not len(sender):
            return
        first = int(second.min())
        span = int(second.max()) - first + 1
        known = np.zeros(1 << 16, bool)
        known[sender] = True
        ids = np.flatnonzero(known)
        if len(ids) * span <= TABLE_CELLS:
            dense = np.zeros(1 << 16, np.int64)
            dense[ids] = np.arange(len(ids)) * span
            present = np.zeros(len(ids) * span, bool)
            present[dense[sender] + (second - first)] = True
            for i, one in enumerate(ids.tolist()):
                seconds = np.flatnonzero(present[i * span : (i + 1) * span]) + first
                self._stretches((one >> 8, one & 0xFF)).add_runs(seconds)
        else:
            for one in ids.tolist():
                self._stretches((one >> 8, one & 0xFF)).add_runs(np.unique(second[sender == one]))

    def _stretches(self, sender: Sender) -> Stretches:
        return self.senders.setdefault(sender, Stretches())

    def _find_pauses(self, time_us: I64) -> None:
        if not len(time_us):
            return
        before = np.concatenate(
            ([time_us[0] if self._last_us is None else self._last_us], time_us[:-1])
        )
        for i in np.flatnonzero(time_us - before > PAUSE_US).tolist():
            self.pauses.append((int(before[i]), int(time_us[i])))
        self._last_us = int(time_us[-1])
