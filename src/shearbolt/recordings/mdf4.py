"""Bus logs in ASAM MDF 4, through asammdf, which is an optional package.

Memory is bounded as far as the library bounds it: records are asked for in runs, but the
library keeps its own index of the file, and packed blocks are unpacked whole.
"""

from __future__ import annotations

import logging
import shutil
import struct
import tempfile
from collections.abc import Iterator
from contextlib import closing, suppress
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from shearbolt.errors import MissingReader, RecordingError
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
from shearbolt.model.instants import Instant
from shearbolt.model.reading import NotRead, TimeBase
from shearbolt.recordings.dates import LOCAL_TIME
from shearbolt.recordings.gather import (
    FD_LENGTHS,
    Channels,
    Unread,
    in_blocks,
    joined,
    long_data_of,
    reordered,
)
from shearbolt.recordings.mdf4_structure import fault_of
from shearbolt.recordings.recording import BLOCK_FRAMES, Progress
from shearbolt.recordings.source import FileSource

_RUN = BLOCK_FRAMES // 2
_KINDS = {"CAN_DataFrame": 0, "CAN_RemoteFrame": REMOTE, "CAN_ErrorFrame": ERROR}
_HEADER_AT, _START_AT = 64, 136
"""Where the header block begins, and its start time in it (ASAM MDF 4.1, HD block)."""
_LOCAL_FLAG = 1
_FD_LENGTH = np.array(FD_LENGTHS, np.uint8)
_Column = npt.NDArray[Any]


class Mdf4Recording:
    """A bus log in MDF 4."""

    format = "mdf4"

    def __init__(self, source: FileSource) -> None:
        """Read the start from the header; raises MissingReader without the optional package."""
        try:
            from asammdf.blocks.mdf_v4 import MDF4  # noqa: F401  (only whether it is there)
        except ImportError:
            raise MissingReader(
                source.name,
                "is an MDF 4 recording; to read it install the optional reader: "
                "python -m bootstrap setup, in Shearbolt's own folder.",
            ) from None
        self._source = source
        self._unread = Unread()
        self._channels = Channels()
        self._told: list[str] = []
        self._start_us: Instant | None = None
        self._local = False
        head = source.head(256)
        if len(head) >= _START_AT + 13 and head[_HEADER_AT : _HEADER_AT + 4] == b"##HD":
            start_ns, _, _, flags = struct.unpack_from("<QhhB", head, _START_AT)
            if 0 < start_ns < 1 << 62:
                self._start_us = start_ns // 1000
                self._local = bool(flags & _LOCAL_FLAG)

    @property
    def time_base(self) -> TimeBase:
        """Absolute when the header has a start, else relative."""
        return TimeBase.RELATIVE if self._start_us is None else TimeBase.ABSOLUTE

    @property
    def started_us(self) -> Instant | None:
        """None: the start is already part of every instant."""
        return None

    def not_read(self) -> tuple[NotRead, ...]:
        """Return what could not be read, once the blocks were used up."""
        return self._unread.list() + self._source.damage()

    def doubts(self) -> tuple[str, ...]:
        """Return what a person should know about how it was read."""
        return (LOCAL_TIME, *self._told) if self._local else tuple(self._told)

    def blocks(self, progress: Progress | None = None) -> Iterator[Frames]:
        """Give the frames block by block, all groups merged by time.

        Raises EmptyRecording when there is none, RecordingError when the library cannot open it.
        """
        self._unread = Unread()
        self._channels = Channels()
        self._told = []
        with tempfile.TemporaryDirectory(prefix="shearbolt-") as folder:
            path = self._seekable(Path(folder))
            with closing(self._opened(path, folder)) as file:
                yield from in_blocks(self._merged(file, progress), self._source.name, self.not_read)

    def _seekable(self, folder: Path) -> Path:
        """Return a file that the library may open: a copy where it is packed or unfinished.

        The library finishes an unfinished file in place, and evidence is never altered.
        """
        if not self._source.compression and self._source.head(8).startswith(b"MDF"):
            return self._source.path
        copy = folder / "recording.mf4"
        with self._source.open() as packed, copy.open("wb") as plain:
            shutil.copyfileobj(packed, plain, 1 << 20)
        return copy

    def _opened(self, path: Path, folder: str) -> Any:
        """Open with the library, whose every complaint becomes one sentence."""
        from asammdf.blocks.mdf_v4 import MDF4

        if self._source.head(8).startswith(b"MDF"):
            with path.open("rb") as plain:
                if fault := fault_of(plain, path.stat().st_size):
                    raise RecordingError(
                        self._source.name,
                        f"is an MDF 4 file that cannot be opened: {fault}. If it was cut short "
                        "or copied badly, fetch it again from the recorder.",
                    )
        # The library writes what it dislikes to its log; ours is the report of the reader.
        logging.getLogger("asammdf").setLevel(logging.CRITICAL)
        # Made in two steps, so that what a failing start leaves open can be closed.
        file = MDF4.__new__(MDF4)
        try:
            MDF4.__init__(
                file,
                str(path),
                original_name=str(path),
                __internal__=True,
                temporary_folder=folder,
            )
        except Exception as trouble:  # the library documents no error family of its own
            with suppress(Exception):
                file.close()
            raise RecordingError(
                self._source.name,
                "is an MDF 4 file that is damaged or was never finished; it cannot be opened "
                f"({type(trouble).__name__}).",
            ) from trouble
        return file

    def _merged(self, file: Any, progress: Progress | None) -> Iterator[Frames]:
        """Merge the groups by time, keeping one run of each in memory."""
        groups = self._groups(file)
        total = sum(count for _, _, count in groups) or 1
        done = 0
        runs = [self._runs(file, index, name, count) for index, name, count in groups]
        waiting: list[Frames | None] = [next(one, None) for one in runs]
        while any(one is not None for one in waiting):
            live = [one for one in waiting if one is not None]
            if len(groups) == 1:
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
                whole = joined(parts, self._channels.names)
                out = reordered(whole, np.argsort(whole.time_us, kind="stable"))
            done += len(out)
            if progress is not None:
                progress(min(self._source.size, self._source.size * done // total))
            yield joined([out], self._channels.names)

    def _groups(self, file: Any) -> list[tuple[int, str, int]]:
        """Find the groups of frames: (index, name of their kind, records)."""
        found = []
        for index, group in enumerate(file.groups):
            names = {channel.name for channel in group.channels}
            for name in _KINDS:
                if f"{name}.ID" in names or (name == "CAN_ErrorFrame" and name in names):
                    count = int(group.channel_group.cycles_nr)
                    if count:
                        found.append((index, name, count))
                    break
        if not found:
            self._told.append("the file holds measured signals, but no frames of a bus")
        return found

    def _runs(self, file: Any, index: int, name: str, count: int) -> Iterator[Frames]:
        """Read one group in runs; a run that cannot be read is counted and passed over."""
        for offset in range(0, count, _RUN):
            size = min(_RUN, count - offset)
            try:
                frames = self._frames(_Run(file, index, name, offset, size))
            except Exception:  # the library documents no error family of its own
                self._unread.add("records that the MDF 4 library could not give", count=size)
                continue
            if len(frames):
                yield frames

    def _frames(self, run: _Run) -> Frames:
        """Turn one run of records into frames."""
        times = run.times()
        rows = len(times)
        if rows < run.size:
            self._unread.add("records missing from the file", count=run.size - rows)
        if not rows:
            return no_frames(self._channels.names)
        kind = _KINDS[run.name]
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
            self._unread.add("record whose fields cannot be right", count=bad)
        word = np.ascontiguousarray(data[:, :8]).view("<u8")[:, 0].astype(np.uint64)
        long_rows = np.flatnonzero(length > 8)
        frames = Frames(
            np.round(times * 1e6).astype(np.int64) + (self._start_us or 0),
            ident,
            flags,
            self._numbers(np.where(sound, channel, 0)),
            length.astype(np.uint8),
            word,
            self._channels.names,
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
            table[value] = self._channels.index(str(value))
        number: npt.NDArray[np.uint8] = table[channel]
        return number


class _Run:
    """A run of records of one group, read field by field."""

    def __init__(self, file: Any, index: int, name: str, offset: int, size: int) -> None:
        self._file = file
        self._index = index
        self.name = name
        self._offset = offset
        self.size = size
        self._names = {one.name for one in file.groups[index].channels}

    def has(self, field: str) -> bool:
        """Tell whether the group has a field."""
        return f"{self.name}.{field}" in self._names

    def times(self) -> npt.NDArray[np.float64]:
        """Return the times in seconds from the start of the file."""
        found = self._file.get_master(
            self._index, record_offset=self._offset, record_count=self.size
        )
        return np.asarray(found, np.float64)

    def _samples(self, field: str) -> _Column:
        """Read one field raw."""
        found = self._file.get(
            f"{self.name}.{field}",
            group=self._index,
            samples_only=True,
            raw=True,
            ignore_invalidation_bits=True,
            record_offset=self._offset,
            record_count=self.size,
        )
        return np.asarray(found[0])

    def number(self, field: str, rows: int) -> _Column:
        """Read a field of whole numbers; zeros where the group does not have it."""
        if not self.has(field):
            return np.zeros(rows, np.int64)
        return self._samples(field)[:rows].astype(np.int64)

    def is_sent(self, rows: int) -> npt.NDArray[np.bool_]:
        """Read the direction, written as a number or as a word."""
        if not self.has("Dir"):
            return np.zeros(rows, np.bool_)
        found = self._samples("Dir")[:rows]
        if found.dtype.kind in "SU":
            return np.asarray(np.char.lower(found.astype("U")) == "tx", np.bool_)
        return np.asarray(found != 0, np.bool_)

    def bytes(self, rows: int) -> npt.NDArray[np.uint8]:
        """Read the data bytes, one row a frame."""
        found = self._samples("DataBytes")[:rows]
        return np.ascontiguousarray(found).view(np.uint8).reshape(rows, -1)
