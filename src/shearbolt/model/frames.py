"""Frames of a recording as columns: one array a field, one row a frame, in the file's own order."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
import numpy.typing as npt

I64: TypeAlias = npt.NDArray[np.int64]
F64: TypeAlias = npt.NDArray[np.float64]
U64: TypeAlias = npt.NDArray[np.uint64]
U32: TypeAlias = npt.NDArray[np.uint32]
U8: TypeAlias = npt.NDArray[np.uint8]

EXTENDED = 1
"""Flag: 29-bit identifier."""
REMOTE = 2
"""Flag: remote frame (a request without data; `length` is the length asked for)."""
ERROR = 4
"""Flag: error frame reported by the adapter; its identifier and data are no bus data."""
FD = 8
"""Flag: CAN FD frame."""
BITRATE_SWITCH = 16
"""Flag: CAN FD frame whose data part ran at the faster rate."""
ERROR_STATE = 32
"""Flag: CAN FD frame sent by an error-passive node."""
SENT = 64
"""Flag: sent by the recording device itself."""

NOT_DATA = REMOTE | ERROR
"""Frames with one of these flags carry no data."""


@dataclass(frozen=True, slots=True)
class LongData:
    """Whole data of the frames longer than 8 bytes (CAN FD), aside from the columns."""

    row: I64
    """Row of each long frame in its Frames, rising."""
    start: I64
    """Where each row's bytes begin in `blob`; one entry more than `row`, the last its end."""
    blob: U8
    """The bytes of all long frames, one after another."""


NO_LONG_DATA = LongData(np.empty(0, np.int64), np.zeros(1, np.int64), np.empty(0, np.uint8))


@dataclass(frozen=True, slots=True)
class Frames:
    """Columns of equal length n; row i is one frame as the adapter saw it."""

    time_us: I64
    """Instant of the frame, or microseconds from the recording's own zero."""
    ident: U32
    """Identifier as sent: 29 bits where EXTENDED is set, else 11 (for ERROR, the error class)."""
    flags: U8
    """EXTENDED, REMOTE, ERROR, FD, BITRATE_SWITCH, ERROR_STATE, SENT."""
    channel: U8
    """Index into `channels`."""
    length: U8
    """Number of data bytes, 0 to 64."""
    word: U64
    """First eight data bytes, byte 1 lowest; bytes the frame does not have are FF."""
    channels: tuple[str, ...]
    """Names of the interfaces or channels, as the recording calls them."""
    long_data: LongData = NO_LONG_DATA
    """Whole data of frames longer than 8 bytes."""

    def __len__(self) -> int:
        return len(self.time_us)

    def data(self, row: int) -> bytes:
        """Return the data bytes of one frame."""
        size = int(self.length[row])
        if self.flags[row] & NOT_DATA:
            return b""
        if size <= 8:
            return int(self.word[row]).to_bytes(8, "little")[:size]
        at = int(np.searchsorted(self.long_data.row, row))
        first, last = int(self.long_data.start[at]), int(self.long_data.start[at + 1])
        return self.long_data.blob[first:last].tobytes()


def no_frames(channels: tuple[str, ...] = ()) -> Frames:
    """Make Frames without a row."""
    return Frames(
        np.empty(0, np.int64),
        np.empty(0, np.uint32),
        np.empty(0, np.uint8),
        np.empty(0, np.uint8),
        np.empty(0, np.uint8),
        np.empty(0, np.uint64),
        channels,
    )


@dataclass(frozen=True, slots=True)
class PlainFrame:
    """One frame by itself, for careful parsers, writers and tests."""

    time_us: int
    ident: int
    data: bytes = b""
    flags: int = EXTENDED
    channel: str = "can0"
    length: int | None = None
    """Length where it is not that of `data` (remote frames)."""


def word_of(data: bytes) -> int:
    """Pack up to eight data bytes as Frames.word does: byte 1 lowest, missing bytes FF."""
    return int.from_bytes(data[:8].ljust(8, b"\xff"), "little")


def frames_from(rows: Sequence[PlainFrame], channels: tuple[str, ...] = ()) -> Frames:
    """Build columns from single frames; channels appear in order of first use after `channels`."""
    names = list(channels)
    index = {name: i for i, name in enumerate(names)}
    channel = np.empty(len(rows), np.uint8)
    long_row: list[int] = []
    long_start = [0]
    blob = bytearray()
    for i, one in enumerate(rows):
        if one.channel not in index:
            index[one.channel] = len(names)
            names.append(one.channel)
        channel[i] = index[one.channel]
        if len(one.data) > 8:
            long_row.append(i)
            blob += one.data
            long_start.append(len(blob))
    return Frames(
        np.array([one.time_us for one in rows], np.int64),
        np.array([one.ident for one in rows], np.uint32),
        np.array([one.flags for one in rows], np.uint8),
        channel,
        np.array([len(one.data) if one.length is None else one.length for one in rows], np.uint8),
        np.array([word_of(one.data) for one in rows], np.uint64),
        tuple(names),
        LongData(
            np.array(long_row, np.int64),
            np.array(long_start, np.int64),
            np.frombuffer(bytes(blob), np.uint8),
        ),
    )


def plain_frames(frames: Frames) -> list[PlainFrame]:
    """Unpack columns into single frames (tests, writers; slow on purpose of being simple)."""
    return [
        PlainFrame(
            int(frames.time_us[i]),
            int(frames.ident[i]),
            frames.data(i),
            int(frames.flags[i]),
            frames.channels[frames.channel[i]],
            int(frames.length[i]) if frames.flags[i] & REMOTE else None,
        )
        for i in range(len(frames))
    ]
