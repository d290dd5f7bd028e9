"""From the fields of MDF 4 bus records to frames, whoever read the records.

Fields and their names are those of ASAM MDF bus logging: CAN_DataFrame, CAN_RemoteFrame and
CAN_ErrorFrame with their components ID, IDE, DLC, DataLength, DataBytes, Dir, EDL, BRS, ESI.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any, Protocol

import numpy as np
import numpy.typing as npt

from shearbolt.model.frames import (
    BITRATE_SWITCH,
    ERROR,
    ERROR_STATE,
    EXTENDED,
    FD,
    REMOTE,
    SENT,
    Frames,
    no_frames,
)
from shearbolt.recordings.gather import (
    FD_LENGTHS,
    Channels,
    Unread,
    joined,
    long_data_of,
    reordered,
)

KINDS = {"CAN_DataFrame": 0, "CAN_RemoteFrame": REMOTE, "CAN_ErrorFrame": ERROR}
"""Flag of a frame by the name of its record's main channel."""
_FD_LENGTH = np.array(FD_LENGTHS, np.uint8)
_Column = npt.NDArray[Any]


class Fields(Protocol):
    """A run of records of one group, asked field by field."""

    @property
    def name(self) -> str:
        """Kind of record, a key of KINDS."""

    @property
    def size(self) -> int:
        """Records that the run should have."""

    @property
    def byte(self) -> int | None:
        """Where the run begins in the file, when that is known."""

    def has(self, field: str) -> bool:
        """Tell whether the group has a field."""

    def times(self) -> npt.NDArray[np.float64]:
        """Return the times in seconds from the start of the file."""

    def number(self, field: str, rows: int) -> _Column:
        """Read a field of whole numbers; zeros where the group does not have it."""

    def is_sent(self, rows: int) -> npt.NDArray[np.bool_]:
        """Read the direction, written as a number or as a word."""

    def bytes(self, rows: int) -> npt.NDArray[np.uint8]:
        """Read the data bytes, one row a frame."""


class FrameMaker:
    """Turns runs of records into frames; what cannot be right is counted in `unread`."""

    def __init__(self, channels: Channels, unread: Unread, start_us: int) -> None:
        """`start_us` is added to all times."""
        self.channels = channels
        self._unread = unread
        self._start_us = start_us

    def frames(self, run: Fields) -> Frames:
        """Turn one run of records into frames, in their order."""
        times = run.times()
        rows = len(times)
        if rows < run.size:
            self._unread.add("records missing from the file", count=run.size - rows, byte=run.byte)
        if not rows:
            return no_frames(self.channels.names)
        kind = KINDS[run.name]
        raw = run.number("ID", rows).astype(np.uint64)
        ident = (raw & 0x1FFFFFFF).astype(np.uint32)
        extended = run.number("IDE", rows) != 0
        if not run.has("IDE"):
            extended = ((raw & 0x80000000) != 0) | (ident > 0x7FF)
        flags = np.full(rows, kind, np.uint8)
        flags |= np.where(extended, EXTENDED, 0).astype(np.uint8)
        for field, flag in (("EDL", FD), ("BRS", BITRATE_SWITCH), ("ESI", ERROR_STATE)):
            flags |= np.where(run.number(field, rows) != 0, flag, 0).astype(np.uint8)
        flags |= np.where(run.is_sent(rows), SENT, 0).astype(np.uint8)
        code = np.clip(run.number("DLC", rows), 0, 15).astype(np.uint8)
        of_code = np.where(flags & FD, _FD_LENGTH[code], np.minimum(code, 8)).astype(np.uint8)
        size = run.number("DataLength", rows) if run.has("DataLength") else of_code
        data = np.full((rows, 64), 0xFF, np.uint8)
        channel = run.number("BusChannel", rows).astype(np.int64)
        sound = (channel >= 0) & (channel < 256)
        if kind == REMOTE:
            length = np.minimum(of_code, 8)
        elif kind == ERROR:
            length = np.zeros(rows, np.uint8)
            ident = np.zeros(rows, np.uint32)
            flags &= ~np.uint8(EXTENDED)
        else:
            given = run.bytes(rows)
            sound &= (size <= given.shape[1]) & np.isin(size, FD_LENGTHS)
            sound &= extended | (ident <= 0x7FF)
            length = np.where(sound, size, 0).astype(np.uint8)
            width = min(given.shape[1], 64)
            inside = np.arange(width) < length[:, None]
            data[:, :width] = np.where(inside, given[:, :width], 0xFF)
        bad = rows - int(np.count_nonzero(sound))
        if bad:
            self._unread.add("record whose fields cannot be right", count=bad, byte=run.byte)
        word = np.ascontiguousarray(data[:, :8]).view("<u8")[:, 0].astype(np.uint64)
        long_rows = np.flatnonzero(length > 8)
        frames = Frames(
            np.round(times * 1e6).astype(np.int64) + self._start_us,
            ident,
            flags,
            self._numbers(np.where(sound, channel, 0)),
            length.astype(np.uint8),
            word,
            self.channels.names,
            long_data_of(
                [int(one) for one in long_rows],
                [data[one, : length[one]].tobytes() for one in long_rows],
            ),
        )
        return frames if not bad else reordered(frames, np.flatnonzero(sound))

    def _numbers(self, channel: npt.NDArray[np.int64]) -> npt.NDArray[np.uint8]:
        """Turn the file's channel numbers into ours, in the order in which they are met."""
        values, first = np.unique(channel, return_index=True)
        table: npt.NDArray[np.uint8] = np.zeros(256, np.uint8)
        for value in values[np.argsort(first)]:
            table[value] = self.channels.index(str(value))
        number: npt.NDArray[np.uint8] = table[channel]
        return number


def merged(
    runs: list[Iterator[Frames]], channels: Channels, done: Callable[[int], None]
) -> Iterator[Frames]:
    """Merge the runs of several groups by time, keeping one run of each in memory.

    `done` is told the number of frames of each part handed on.
    """
    waiting: list[Frames | None] = [next(one, None) for one in runs]
    while any(one is not None for one in waiting):
        live = [one for one in waiting if one is not None]
        if len(runs) == 1:
            out = live[0]
            waiting[0] = next(runs[0], None)
        else:
            until = min(int(one.time_us.max(initial=-(1 << 62))) for one in live)
            parts = []
            for i, one in enumerate(waiting):
                if one is None:
                    continue
                taken = int(
                    np.searchsorted(np.maximum.accumulate(one.time_us), until, side="right")
                )
                parts.append(reordered(one, np.arange(taken)))
                if taken == len(one):
                    waiting[i] = next(runs[i], None)
                else:
                    waiting[i] = reordered(one, np.arange(taken, len(one)))
            whole = joined(parts, channels.names)
            out = reordered(whole, np.argsort(whole.time_us, kind="stable"))
        done(len(out))
        yield joined([out], channels.names)
