"""The capture spool: what is heard, as candump -L text on the disk, synced about once a second.

    spool/20260514T061209Z-7f3a1c.log      the frames
    spool/20260514T061209Z-7f3a1c.events   what happened beside them (events.py)

Whatever ends the program or the power, a spool is read up to the last whole line: a tail that
was cut anywhere, or whose blocks the disk never filled, is taken off by `recover`.
"""

from __future__ import annotations

import errno
import os
import secrets
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import BinaryIO, Protocol

from shearbolt.errors import SpoolStopped
from shearbolt.live.events import Event, event_line, read_events
from shearbolt.model.instants import Instant

SPOOL = "spool"
"""Folder of the spools inside a book's."""
FRAMES, EVENTS, LOCK = ".log", ".events", ".lock"
SYNC_US = 800_000
"""Time between syncs: with the sync itself under a second."""
_CHUNK = 1 << 16


class SpoolFile(Protocol):
    """What is asked of an open spool file (tests bring one on a full disk)."""

    def write(self, data: bytes, /) -> int | None:
        """Write, perhaps not all of it; return how much. Raises OSError."""

    def fileno(self) -> int:
        """Return its file number."""

    def truncate(self, size: int, /) -> int:
        """Cut it to a size."""

    def close(self) -> None:
        """Close it."""


OpenFile = Callable[[Path], SpoolFile]


def _open_new(path: Path) -> SpoolFile:
    return path.open("xb", buffering=0)


def new_stem(at_us: Instant) -> str:
    """Make the name of a spool begun at an instant; two never get the same."""
    at = datetime.fromtimestamp(max(0, at_us) // 1_000_000, UTC)
    return f"{at:%Y%m%dT%H%M%SZ}-{secrets.token_hex(3)}"


class Spool:
    """One spool being written. Not for use by several threads at once."""

    def __init__(self, folder: Path, stem: str, open_file: OpenFile = _open_new) -> None:
        """Make the files, with their folder. Raises SpoolStopped."""
        self.path = folder / f"{stem}{FRAMES}"
        """The frames."""
        self.bytes = 0
        """Bytes of whole lines written."""
        self._unsynced = False
        self._untold: list[Event] = []
        try:
            folder.mkdir(parents=True, exist_ok=True)
            self._frames = open_file(self.path)
            self._events = open_file(self.path.with_suffix(EVENTS))
            sync_folder(folder)
        except OSError as trouble:
            raise self._stopped(trouble) from trouble

    def write(self, lines: bytes) -> None:
        """Append whole lines.

        Raises SpoolStopped when the disk does not take them; what was written before stays whole.
        """
        if not lines:
            return
        try:
            _write_all(self._frames, lines)
        except OSError as trouble:
            self._cut_back()
            raise self._stopped(trouble) from trouble
        self.bytes += len(lines)
        self._unsynced = True

    def tell(self, event: Event) -> None:
        """Note an event, to be written with the next sync."""
        self._untold.append(event)

    def sync(self, at_us: Instant) -> None:
        """Put everything so far on the disk. Raises SpoolStopped."""
        try:
            if self._unsynced:
                _sync(self._frames)
                self._untold.append(Event(at_us, "synced", None, (("bytes", self.bytes),)))
                self._unsynced = False
            if self._untold:
                lines = "".join(map(event_line, self._untold)).encode()
                self._untold.clear()
                _write_all(self._events, lines)
                _sync(self._events)
        except OSError as trouble:
            self._cut_back()
            raise self._stopped(trouble) from trouble

    def close(self, last: Event | None = None) -> None:
        """Write the last event if the disk takes it, and close the files."""
        try:
            if last is not None:
                self._untold.append(last)
            if self._untold:
                self.sync(self._untold[-1].at_us)
        except SpoolStopped:
            pass  # told already, or told by the missing last event when the spool is taken up
        finally:
            self._frames.close()
            self._events.close()

    def _cut_back(self) -> None:
        try:
            self._frames.truncate(self.bytes)
        except OSError:
            return  # the cut line is taken off when the spool is taken up

    def _stopped(self, trouble: OSError) -> SpoolStopped:
        if trouble.errno in (errno.ENOSPC, errno.EDQUOT, errno.EFBIG):
            why = "the disk is full"
        else:
            why = trouble.strerror or str(trouble)
        return SpoolStopped(
            f"{self.path}: {why}; listening stopped, and what was heard until then is kept there."
        )


def _write_all(out: SpoolFile, data: bytes) -> None:
    """Write all of it, however little the system takes at a time."""
    rest = memoryview(data)
    while rest:
        taken = out.write(bytes(rest)) or 0
        if not taken:
            raise OSError(errno.ENOSPC, "the disk takes no more")
        rest = rest[taken:]


def _sync(out: SpoolFile) -> None:
    getattr(os, "fdatasync", os.fsync)(out.fileno())


def sync_folder(folder: Path) -> None:
    """Put a folder's own entries on the disk, where the system can."""
    if not hasattr(os, "O_DIRECTORY"):
        return
    handle = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


@dataclass(frozen=True, slots=True)
class Recovered:
    """A spool made ready to be filed."""

    path: Path
    """The frames, whole lines only."""
    size: int
    """Bytes of them; 0: nothing was heard."""
    cut: int
    """Bytes taken off the end: a line that was cut, blocks that were never filled."""
    lost: int
    """Bytes that had been put on the disk and are gone all the same; 0 but on a bad disk."""
    events: tuple[Event, ...]
    finished: bool
    """Listening ended in good order; False: the program was killed or the power went."""


def recover(path: Path) -> Recovered:
    """Take the damaged end off a spool that nobody writes any more.

    Doing so twice changes nothing. Raises SpoolStopped when the file cannot be read.
    """
    events_path = path.with_suffix(EVENTS)
    try:
        with path.open("r+b") as frames:
            before = frames.seek(0, os.SEEK_END)
            size = _whole_end(frames, before)
            if size < before:
                frames.truncate(size)
                frames.flush()
                os.fsync(frames.fileno())
        events = read_events(events_path.read_bytes()) if events_path.exists() else ()
    except OSError as trouble:
        raise SpoolStopped(
            f"{path}: this spool of an earlier session cannot be read ({trouble.strerror})."
        ) from trouble
    synced = max((one.number("bytes") for one in events if one.what == "synced"), default=0)
    return Recovered(
        path,
        size,
        before - size,
        max(0, synced - size),
        events,
        any(one.what in ("stopped", "disk_full") for one in events),
    )


def _whole_end(frames: BinaryIO, size: int) -> int:
    """Find the end of the last whole line before a tail of NUL bytes and a cut line."""
    end = size
    in_tail = True
    while end > 0:
        begin = max(0, end - _CHUNK)
        frames.seek(begin)
        chunk = frames.read(end - begin)
        if in_tail:
            chunk = chunk.rstrip(b"\0")
            in_tail = not chunk
        at = chunk.rfind(b"\n")
        if at >= 0:
            return begin + at + 1
        end = begin
    return 0


def spools(folder: Path) -> list[Path]:
    """Return the spools in a folder, the oldest first; there may be none, and no folder."""
    return sorted(folder.glob(f"*{FRAMES}")) if folder.is_dir() else []


def remove(path: Path) -> None:
    """Remove a spool with its events, once its visit is in the book."""
    path.unlink(missing_ok=True)
    path.with_suffix(EVENTS).unlink(missing_ok=True)
