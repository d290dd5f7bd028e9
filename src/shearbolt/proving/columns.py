"""Frames gathered in columns, put in order as one bus would carry them."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from shearbolt.model.frames import EXTENDED, F64, I64, U8, U32, U64, Frames, word_of
from shearbolt.proving.packing import Event

FRAME_250_US = 560
"""A 29-bit frame of 8 bytes takes about 140 bits: at 250 kbit/s so long."""
FRAME_500_US = 240
I32 = npt.NDArray[np.int32]


@dataclass(frozen=True, slots=True)
class _Part:
    """Some frames of one channel, in any order."""

    time_us: I64
    ident: U32
    flags: U8
    length: U8
    word: U64
    tag: I32


@dataclass(slots=True)
class Bus:
    """Collects what controllers want to send, then orders it."""

    frame_us: int = FRAME_250_US
    keeps: Callable[[str, I64, U32], npt.NDArray[np.bool_]] | None = None
    """Tells which frames of a channel make it, by instants (µs from the recording's zero) and
    identifiers; None: all of them."""
    _parts: dict[str, list[_Part]] = field(default_factory=dict)

    def add_words(
        self,
        channel: str,
        time_s: F64,
        ident: int,
        word: U64,
        *,
        length: int = 8,
        extended: bool = True,
    ) -> None:
        """Add many frames of one identifier: seconds from the recording's zero, packed words."""
        count = len(time_s)
        part = _Part(
            np.rint(time_s * 1e6).astype(np.int64),
            np.full(count, ident, np.uint32),
            np.full(count, EXTENDED if extended else 0, np.uint8),
            np.full(count, length, np.uint8),
            word,
            np.full(count, -1, np.int32),
        )
        self._parts.setdefault(channel, []).append(part)

    def add_events(self, events: Iterable[Event]) -> None:
        """Add single frames."""
        by_channel: dict[str, list[Event]] = {}
        for one in events:
            by_channel.setdefault(one.channel, []).append(one)
        for channel, few in by_channel.items():
            part = _Part(
                np.array([one.time_us for one in few], np.int64),
                np.array([one.ident for one in few], np.uint32),
                np.array([EXTENDED if one.extended else 0 for one in few], np.uint8),
                np.array([len(one.data) for one in few], np.uint8),
                np.array([word_of(one.data) for one in few], np.uint64),
                np.array([one.tag for one in few], np.int32),
            )
            self._parts.setdefault(channel, []).append(part)

    def frames(
        self, started_us: int, until_s: float, from_s: float = 0.0
    ) -> tuple[Frames, dict[int, int]]:
        """Return all frames in order of time, and the instant at which each tag was first sent.

        A tag of several frames is found only where all of them made it.

        On each channel a frame waits until the one before it is over, so that no two begin within
        `frame_us`; of two that want to begin at once the lower identifier goes first. Frames that
        would begin after `until_s` or before `from_s` are left out, as a recording cut there leaves
        them out.
        """
        channels = tuple(sorted(self._parts))
        gathered: list[tuple[_Part, int]] = []
        for index, channel in enumerate(channels):
            parts = self._parts[channel]
            whole = _Part(
                np.concatenate([one.time_us for one in parts]),
                np.concatenate([one.ident for one in parts]),
                np.concatenate([one.flags for one in parts]),
                np.concatenate([one.length for one in parts]),
                np.concatenate([one.word for one in parts]),
                np.concatenate([one.tag for one in parts]),
            )
            order = np.lexsort((whole.ident, whole.time_us))
            turn = np.arange(len(order), dtype=np.int64) * self.frame_us
            sent = turn + np.maximum.accumulate(whole.time_us[order] - turn)
            keep = (sent >= from_s * 1e6) & (sent < until_s * 1e6)
            if self.keeps is not None:
                keep &= self.keeps(channel, sent, whole.ident[order])
            order, sent = order[keep], sent[keep]
            part = _Part(
                sent,
                whole.ident[order],
                whole.flags[order],
                whole.length[order],
                whole.word[order],
                whole.tag[order],
            )
            gathered.append((part, index))
        times = np.concatenate([part.time_us for part, _ in gathered])
        order = np.argsort(times, kind="stable")
        times = times[order] + started_us
        tags = np.concatenate([part.tag for part, _ in gathered])[order]
        found = self._found(tags, times)
        frames = Frames(
            times,
            np.concatenate([part.ident for part, _ in gathered])[order],
            np.concatenate([part.flags for part, _ in gathered])[order],
            np.concatenate([np.full(len(p.time_us), i, np.uint8) for p, i in gathered])[order],
            np.concatenate([part.length for part, _ in gathered])[order],
            np.concatenate([part.word for part, _ in gathered])[order],
            channels,
        )
        return frames, found

    def _found(self, tags: I32, times: I64) -> dict[int, int]:
        """Return the first instant of each tag all of whose frames were sent."""
        every = [one.tag[one.tag >= 0] for parts in self._parts.values() for one in parts]
        wanted, most = np.unique(np.concatenate(every), return_counts=True)
        rows = np.flatnonzero(tags >= 0)
        there, first, many = np.unique(tags[rows], return_index=True, return_counts=True)
        whole = np.isin(there, wanted) & (many == most[np.searchsorted(wanted, there)])
        return {
            int(tag): int(times[rows[at]])
            for tag, at in zip(there[whole], first[whole], strict=True)
        }


def instants(
    rng: np.random.Generator, begin_s: float, end_s: float, period_s: float, first_s: float = 0.0
) -> F64:
    """Return when a controller sends a periodic group: its period with the jitter of its tasks.

    Jitter is half a millisecond, with a late task of up to 3 ms now and then.
    """
    times = np.arange(begin_s + first_s, end_s, period_s)
    late = np.where(rng.random(len(times)) < 0.02, 3e-3 * rng.random(len(times)), 0.0)
    noise = np.abs(rng.normal(0.0, 2.5e-4, len(times)))
    return np.asarray(times + np.minimum(noise + late, 0.4 * period_s), np.float64)
