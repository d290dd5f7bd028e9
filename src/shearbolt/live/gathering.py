"""From rows as the readers left them to frames in one order of time."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from shearbolt.live.clocks import StampFollower
from shearbolt.live.reader import Row
from shearbolt.model.frames import (
    BITRATE_SWITCH,
    ERROR,
    ERROR_STATE,
    EXTENDED,
    FD,
    REMOTE,
    SENT,
    Frames,
    LongData,
)
from shearbolt.model.instants import Instant

if TYPE_CHECKING:
    from can import Message

HOLD_BACK_US = 20_000
"""Frames younger than this wait for those of other channels that are older."""
_NO_BYTES = b"\xff" * 8


class Timed(NamedTuple):
    """One frame with its instant."""

    time_us: Instant
    channel: int
    ident: int
    flags: int
    length: int
    data: bytes


def timed(
    rows: Sequence[Row], channel: int, stamps: StampFollower, instant_us: Callable[[int], Instant]
) -> list[Timed]:
    """Give frames of one channel their instants and unpack them."""
    found: list[Timed] = []
    for heard_us, held_up_us, message in rows:
        at_us = instant_us(stamps.steady_us(message.timestamp, heard_us, held_up_us))
        data = bytes(message.data)
        flags = flags_of(message)
        length = message.dlc if flags & REMOTE else len(data)
        found.append(
            Timed(at_us, channel, message.arbitration_id & 0x1FFFFFFF, flags, length, data)
        )
    return found


def flags_of(message: Message) -> int:
    """Return the flags of model.frames for one message of the bus library."""
    flags = EXTENDED if message.is_extended_id else 0
    if message.is_error_frame:
        return ERROR
    if message.is_remote_frame:
        flags |= REMOTE
    if message.is_fd:
        flags |= FD
        if message.bitrate_switch:
            flags |= BITRATE_SWITCH
        if message.error_state_indicator:
            flags |= ERROR_STATE
    return flags if message.is_rx else flags | SENT


class Order:
    """Puts the frames of all channels into one order in which time always goes forward."""

    def __init__(self, names: tuple[str, ...]) -> None:
        self._names = names
        self._waiting: list[Timed] = []
        self._last_us: Instant | None = None

    def add(self, frames: Sequence[Timed]) -> None:
        """Add frames of one channel, in the order in which they came."""
        self._waiting.extend(frames)

    def take(self, until_us: Instant | None = None) -> Frames:
        """Give what came before an instant (None: everything), no two frames at the same time."""
        self._waiting.sort(key=lambda one: one.time_us)
        count = len(self._waiting)
        if until_us is not None:
            while count and self._waiting[count - 1].time_us > until_us:
                count -= 1
        ready, self._waiting = self._waiting[:count], self._waiting[count:]
        return self._frames(ready)

    def _frames(self, rows: Sequence[Timed]) -> Frames:
        times = np.array([one.time_us for one in rows], np.int64)
        if len(times):
            # Time goes on by one microsecond at least: t[i] >= t[i-1] + 1.
            steps = np.arange(len(times))
            least = times - steps
            if self._last_us is not None:
                least[0] = max(least[0], self._last_us + 1)
            times = np.maximum.accumulate(least) + steps
            self._last_us = int(times[-1])
        length = np.array([one.length for one in rows], np.uint8)
        words = b"".join([(one.data + _NO_BYTES)[:8] for one in rows])
        long_row = [i for i, one in enumerate(rows) if len(one.data) > 8]
        start = np.zeros(len(long_row) + 1, np.int64)
        np.cumsum([len(rows[i].data) for i in long_row], out=start[1:])
        blob = b"".join([rows[i].data for i in long_row])
        return Frames(
            times,
            np.array([one.ident for one in rows], np.uint32),
            np.array([one.flags for one in rows], np.uint8),
            np.array([one.channel for one in rows], np.uint8),
            length,
            np.frombuffer(words, np.dtype("<u8")).astype(np.uint64),
            self._names,
            LongData(np.array(long_row, np.int64), start, np.frombuffer(blob, np.uint8)),
        )
