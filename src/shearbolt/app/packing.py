"""A spool packed into one finished recording: whole under its name, or not there at all."""

from __future__ import annotations

import os
import re
import shutil
from dataclasses import dataclass
from pathlib import Path

from shearbolt.app.carried import FINISHED, events_beside
from shearbolt.live import Recovered, new_stem
from shearbolt.model.instants import Instant

_CHUNK = 1 << 20
_LEVEL = 3
"""zstd's own usual level: a small computer packs an hour of a busy bus in seconds."""
_STAMP = re.compile(rb"\((-?\d+)\.(\d{6})\)")


@dataclass(frozen=True, slots=True)
class Packed:
    """A finished recording."""

    path: Path
    size: int
    """Bytes as packed."""
    frames: int
    first_us: Instant | None
    last_us: Instant | None


def pack(ready: Recovered, folder: Path, aside: Path) -> Packed:
    """Pack a recovered spool into `folder`; `aside` is a folder of the same disk for the part.

    The name begins with the time of the first frame and ends with the spool's own mark, so that
    doing it twice gives one file. Raises OSError.
    """
    import zstandard

    source = ready.path
    with source.open("rb") as lines:
        first_us = _stamp(lines.readline())
    mark = source.stem.rpartition("-")[2]
    begun = new_stem(first_us).partition("-")[0] if first_us is not None else "00000000T000000Z"
    target = folder / f"{begun}-{mark}{FINISHED}"
    part = aside / f"{mark}.part"
    frames, last = 0, b""
    packer = zstandard.ZstdCompressor(level=_LEVEL, write_checksum=True).compressobj()
    with source.open("rb", buffering=0) as plain, part.open("wb") as out:
        while chunk := plain.read(_CHUNK):
            frames += chunk.count(b"\n")
            last = (last + chunk)[-4096:]
            out.write(packer.compress(chunk))
        out.write(packer.flush())
        out.flush()
        os.fsync(out.fileno())
    size = part.stat().st_size
    events = source.with_suffix(".events")
    if events.exists():
        # First the notes, then the recording: whoever sees the one finds the other.
        notes = aside / f"{mark}.events.part"
        shutil.copyfile(events, notes)
        with notes.open("rb+") as copy:
            os.fsync(copy.fileno())
        notes.replace(events_beside(target))
    part.replace(target)
    return Packed(target, size, frames, first_us, _last(last))


def _stamp(line: bytes) -> Instant | None:
    found = _STAMP.match(line)
    return None if found is None else int(found[1]) * 1_000_000 + int(found[2])


def _last(tail: bytes) -> Instant | None:
    lines = tail.rstrip(b"\n").rsplit(b"\n", 1)
    return _stamp(lines[-1])
