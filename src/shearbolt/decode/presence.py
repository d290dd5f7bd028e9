"""When each sender was heard, to the second, and when the engine ran."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from shearbolt.model.frames import ERROR, EXTENDED, I64, Frames
from shearbolt.model.instants import SECOND_US

JOIN_S = 2
"""Seconds unheard that still count as living: many senders speak only once a second."""
STILL_US = 2 * SECOND_US
"""A bus that says nothing for longer than this was not listened to, or was switched off: which, is
told from what came before and after."""
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
        self.stills: list[tuple[int, int]] = []
        """Steps longer than STILL_US without any frame."""
        self._last_us: int | None = None

    def feed(self, frames: Frames) -> None:
        """Take the frames of the next block."""
        self._find_stills(frames.time_us)
        time_us, ident, channel = frames.time_us, frames.ident, frames.channel
        heard = (frames.flags & (EXTENDED | ERROR)) == EXTENDED
        if not heard.all():
            time_us, ident, channel = time_us[heard], ident[heard], channel[heard]
        if not len(time_us):
            return
        sender = channel.astype(np.uint16) << np.uint16(8) | ident.astype(np.uint8)
        second = time_us // SECOND_US
        first = int(second.min())
        second -= first
        span = int(second.max()) + 1
        ids = np.flatnonzero(np.bincount(sender, minlength=1 << 16))
        if len(ids) * span <= TABLE_CELLS:
            dense = np.zeros(1 << 16, np.int64)
            dense[ids] = np.arange(len(ids)) * span
            present = np.zeros(len(ids) * span, bool)
            second += dense.take(sender)
            present[second] = True
            for i, one in enumerate(ids.tolist()):
                seconds = np.flatnonzero(present[i * span : (i + 1) * span]) + first
                self._stretches((one >> 8, one & 0xFF)).add_runs(seconds)
        else:
            for one in ids.tolist():
                seconds = np.unique(second[sender == one]) + first
                self._stretches((one >> 8, one & 0xFF)).add_runs(seconds)

    @property
    def pauses(self) -> list[tuple[int, int]]:
        """Those of the stills that are told as pauses of the recording."""
        return [(before, after) for before, after in self.stills if after - before > PAUSE_US]

    def _stretches(self, sender: Sender) -> Stretches:
        return self.senders.setdefault(sender, Stretches())

    def _find_stills(self, time_us: I64) -> None:
        if not len(time_us):
            return
        first_us = int(time_us[0])
        if self._last_us is not None and first_us - self._last_us > STILL_US:
            self.stills.append((self._last_us, first_us))
        for i in np.flatnonzero(np.diff(time_us) > STILL_US).tolist():
            self.stills.append((int(time_us[i]), int(time_us[i + 1])))
        self._last_us = int(time_us[-1])
