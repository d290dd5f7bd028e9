"""Gathering frames into columns, and what could not be read into reasons."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from typing import TypeAlias

import numpy as np

from shearbolt.errors import EmptyRecording
from shearbolt.model.frames import EXTENDED, I64, NOT_DATA, Frames, LongData, no_frames
from shearbolt.model.reading import NotRead
from shearbolt.recordings.recording import BLOCK_FRAMES

UNNAMED_CHANNEL = "0"
"""Channel of the recordings that name none."""
MOST_CHANNELS = 256
FD_LENGTHS = (0, 1, 2, 3, 4, 5, 6, 7, 8, 12, 16, 20, 24, 32, 48, 64)
"""Data bytes by data length code (ISO 11898-1, table of DLC for FD frames)."""

_NO_BYTES = b"\xff" * 8


class Unread:
    """Counts what could not be read, by reason, with the place of the first."""

    def __init__(self) -> None:
        self._found: dict[str, list[int | None]] = {}

    def add(
        self, reason: str, *, line: int | None = None, byte: int | None = None, count: int = 1
    ) -> None:
        """Count `count` more for a reason; the place of the first one stays."""
        known = self._found.get(reason)
        if known is None:
            self._found[reason] = [count, line, byte]
        else:
            known[0] = (known[0] or 0) + count

    def list(self) -> tuple[NotRead, ...]:
        """Return the reasons in the order in which they were met."""
        return tuple(NotRead(why, one[0] or 0, one[1], one[2]) for why, one in self._found.items())


class Channels:
    """Names of channels, numbered in the order in which they are met; names are only added."""

    def __init__(self) -> None:
        self._index: dict[str, int] = {}

    def index(self, name: str) -> int:
        """Return the number of a channel; raises ValueError with a reason beyond the last."""
        found = self._index.get(name)
        if found is None:
            if len(self._index) >= MOST_CHANNELS:
                raise ValueError(f"more than {MOST_CHANNELS} channels")
            found = self._index[name] = len(self._index)
        return found

    @property
    def names(self) -> tuple[str, ...]:
        """Names so far."""
        return tuple(self._index)


Row: TypeAlias = tuple[int, int, int, int, bytes, int]
"""One frame: instant, identifier, flags, number of its channel, data, length (0 to 64)."""


class Gather:
    """Builds Frames row by row, for readers of text."""

    def __init__(self, channels: Channels) -> None:
        self._channels = channels
        self.rows: list[Row] = []
        """Readers append to it; channel numbers are those that Channels gives."""

    def take(self) -> Frames:
        """Return the frames gathered so far and begin anew."""
        if not self.rows:
            return no_frames(self._channels.names)
        times, idents, flags, channels, data, lengths = zip(*self.rows, strict=True)
        self.rows.clear()
        flag, length = np.array(flags, np.uint8), np.array(lengths, np.uint8)
        long = np.flatnonzero((length > 8) & ((flag & NOT_DATA) == 0)).tolist()
        words = b"".join([(one + _NO_BYTES)[:8] for one in data])
        return Frames(
            np.array(times, np.int64),
            np.array(idents, np.uint32),
            flag,
            np.array(channels, np.uint8),
            length,
            np.frombuffer(words, np.dtype("<u8")).astype(np.uint64),
            self._channels.names,
            long_data_of(long, [data[row] for row in long]),
        )


def long_data_of(rows: Sequence[int], data: Sequence[bytes]) -> LongData:
    """Pack the data of the long frames at `rows`."""
    start = np.zeros(len(rows) + 1, np.int64)
    np.cumsum([len(one) for one in data], out=start[1:])
    return LongData(np.array(rows, np.int64), start, np.frombuffer(b"".join(data), np.uint8))


def joined(parts: Sequence[Frames], channels: tuple[str, ...]) -> Frames:
    """Put runs of frames one after another; their channel numbers are already the same."""
    if len(parts) == 1 and parts[0].channels == channels:
        return parts[0]
    counts = np.cumsum([0] + [len(one) for one in parts])
    bytes_before = np.cumsum([0] + [len(one.long_data.blob) for one in parts])
    long_data = LongData(
        np.concatenate([one.long_data.row + counts[i] for i, one in enumerate(parts)]),
        np.concatenate(
            [one.long_data.start[:-1] + bytes_before[i] for i, one in enumerate(parts)]
            + [bytes_before[-1:]]
        ),
        np.concatenate([one.long_data.blob for one in parts]),
    )
    return Frames(
        np.concatenate([one.time_us for one in parts]),
        np.concatenate([one.ident for one in parts]),
        np.concatenate([one.flags for one in parts]),
        np.concatenate([one.channel for one in parts]),
        np.concatenate([one.length for one in parts]),
        np.concatenate([one.word for one in parts]),
        channels,
        long_data,
    )


def in_blocks(
    parts: Iterable[Frames], name: str, not_read: Callable[[], tuple[NotRead, ...]]
) -> Iterator[Frames]:
    """Join runs of frames to blocks of about BLOCK_FRAMES.

    Raises EmptyRecording for the file `name` when there was no frame.
    """
    waiting: list[Frames] = []
    count = 0
    any_frame = False
    for one in parts:
        if not len(one):
            continue
        waiting.append(one)
        count += len(one)
        if count >= BLOCK_FRAMES:
            any_frame = True
            yield joined(waiting, one.channels)
            waiting, count = [], 0
    if waiting:
        any_frame = True
        yield joined(waiting, waiting[-1].channels)
    if not any_frame:
        raise EmptyRecording(name, "holds no frame" + _first_reason(not_read()) + ".")


def _first_reason(found: tuple[NotRead, ...]) -> str:
    """Say how much could not be read, and why at first."""
    if not found:
        return ""
    total = sum(one.count for one in found)
    first = found[0]
    places = "1 place" if total == 1 else f"{total} places"
    where = ""
    if first.line is not None:
        where = f" in line {first.line}"
    elif first.byte is not None:
        where = f" at byte {first.byte}"
    return f"; {places} could not be read, the first{where}: {first.reason}"


def check_identifier(ident: int, extended: bool) -> str:
    """Say what is wrong with an identifier; '' when nothing is."""
    if extended:
        return "" if 0 <= ident <= 0x1FFFFFFF else "identifier of more than 29 bits"
    return "" if 0 <= ident <= 0x7FF else "identifier of more than 11 bits, not marked as 29"


def identifier_flag(extended: bool) -> int:
    """Return the flag for the kind of identifier."""
    return EXTENDED if extended else 0


def reordered(frames: Frames, order: I64) -> Frames:
    """Return the rows `order` of frames, in that order (some rows may be left out)."""
    long = frames.long_data
    if len(long.row):
        place = np.full(len(frames), -1, np.int64)
        place[long.row] = np.arange(len(long.row))
        at = place[order]
        rows = np.flatnonzero(at >= 0)
        pieces = [
            long.blob[long.start[one] : long.start[one + 1]].tobytes() for one in at[rows].tolist()
        ]
        long = long_data_of(rows.tolist(), pieces)
    return Frames(
        frames.time_us[order],
        frames.ident[order],
        frames.flags[order],
        frames.channel[order],
        frames.length[order],
        frames.word[order],
        frames.channels,
        long,
    )


def left_aside(count: int, what: str, kinds: str) -> str:
    """Say as a doubt that some known things in a file are no frames."""
    return f"left aside, being no frames: {count} {what}{'' if count == 1 else 's'} of {kinds}"
