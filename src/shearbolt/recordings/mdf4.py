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
from typing import Any, BinaryIO

import numpy as np
import numpy.typing as npt

from shearbolt.errors import MissingReader, RecordingError
from shearbolt.model.frames import Frames
from shearbolt.model.instants import Instant
from shearbolt.model.reading import NotRead, TimeBase
from shearbolt.recordings.dates import LOCAL_TIME
from shearbolt.recordings.gather import Channels, Unread, in_blocks
from shearbolt.recordings.mdf4_frames import KINDS, FrameMaker, merged
from shearbolt.recordings.mdf4_salvage import Salvage
from shearbolt.recordings.mdf4_structure import Fault, fault_of
from shearbolt.recordings.recording import BLOCK_FRAMES, Progress
from shearbolt.recordings.source import FileSource

_RUN = BLOCK_FRAMES // 2
_HEADER_AT, _START_AT = 64, 136
"""Where the header block begins, and its start time in it (ASAM MDF 4.1, HD block)."""
_LOCAL_FLAG = 1
_UNFINISHED = "the recorder never finished the file; it was read up to the last whole record in it"
_Column = npt.NDArray[Any]


_USUAL = (
    "the file's description of its records is lost; they were read in a usual layout, which all "
    "of the first ones fit"
)


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
            with path.open("rb") as plain:
                size = path.stat().st_size
                fault = fault_of(plain, size)
                unfinished = not self._source.head(8).startswith(b"MDF")
                file = None
                # Looked through first: what the library trips over may stand far in the file.
                if (
                    fault is None
                    and not unfinished
                    and not Salvage(plain, size, Unread(), search=False).damaged()
                ):
                    file = self._opened(path, folder)
                if unfinished:
                    self._told.append(_UNFINISHED)
                if file is None:
                    parts = self._salvaged(plain, size, fault, progress)
                    yield from in_blocks(parts, self._source.name, self.not_read)
                    return
            with closing(file):
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

    def _opened(self, path: Path, folder: str) -> Any | None:
        """Open with the library; None where it cannot."""
        from asammdf.blocks.mdf_v4 import MDF4

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
        except Exception:  # the library documents no error family of its own
            with suppress(Exception):
                file.close()
            return None
        return file

    def _merged(self, file: Any, progress: Progress | None) -> Iterator[Frames]:
        """Merge the groups as the library gives them."""
        groups = self._groups(file)
        total = sum(count for _, _, count in groups) or 1
        done = 0

        def told(count: int) -> None:
            nonlocal done
            done += count
            if progress is not None:
                progress(min(self._source.size, self._source.size * done // total))

        make = FrameMaker(self._channels, self._unread, self._start_us or 0)
        runs = [self._runs(file, make, index, name, count) for index, name, count in groups]
        yield from merged(runs, self._channels, told)

    def _salvaged(
        self, plain: BinaryIO, size: int, fault: Fault | None, progress: Progress | None
    ) -> Iterator[Frames]:
        """Read all that a damaged file still holds, block by block."""
        salvage = Salvage(plain, size, self._unread, search=True)
        if not salvage.readable:
            raise RecordingError(
                self._source.name,
                "is an MDF 4 file that cannot be opened: "
                f"{fault.words if fault else 'it is damaged'}. If it was cut short "
                "or copied badly, fetch it again from the recorder.",
            )

        if salvage.usual:
            self._told.append(_USUAL)

        def told(share: float) -> None:
            if progress is not None:
                progress(min(self._source.size, int(self._source.size * share)))

        make = FrameMaker(self._channels, self._unread, self._start_us or 0)
        yield from merged(salvage.runs(make, told), self._channels, lambda _: None)
        if fault and not self._unread.list():
            self._unread.add("block that is damaged", byte=fault.at)

    def _groups(self, file: Any) -> list[tuple[int, str, int]]:
        """Find the groups of frames: (index, name of their kind, records)."""
        found = []
        for index, group in enumerate(file.groups):
            names = {channel.name for channel in group.channels}
            for name in KINDS:
                if f"{name}.ID" in names or (name == "CAN_ErrorFrame" and name in names):
                    count = int(group.channel_group.cycles_nr)
                    if count:
                        found.append((index, name, count))
                    break
        if not found:
            self._told.append("the file holds measured signals, but no frames of a bus")
        return found

    def _runs(
        self, file: Any, make: FrameMaker, index: int, name: str, count: int
    ) -> Iterator[Frames]:
        """Read one group in runs; a run that cannot be read is counted and passed over."""
        for offset in range(0, count, _RUN):
            size = min(_RUN, count - offset)
            try:
                frames = make.frames(_Run(file, index, name, offset, size))
            except Exception:  # the library documents no error family of its own
                self._unread.add("records that the MDF 4 library could not give", count=size)
                continue
            if len(frames):
                yield frames


class _Run:
    """A run of records of one group, read field by field."""

    def __init__(self, file: Any, index: int, name: str, offset: int, size: int) -> None:
        self._file = file
        self._index = index
        self.name = name
        self.byte = None
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
