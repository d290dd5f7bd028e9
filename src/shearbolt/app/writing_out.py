"""Writing the proving ground's recordings in every format that is read here."""

from __future__ import annotations

import gzip
from collections.abc import Callable, Mapping
from importlib.util import find_spec
from pathlib import Path
from typing import TypeAlias

import zstandard

from shearbolt.errors import UsageError
from shearbolt.model.frames import Frames
from shearbolt.proving import DemoRecording
from shearbolt.recordings.writing import (
    write_asc,
    write_blf,
    write_candump,
    write_mdf4,
    write_pycan_csv,
    write_trc,
)

Writer: TypeAlias = Callable[[Path, Frames], None]
WRITERS: Mapping[str, Writer] = {
    "candump": write_candump,
    "asc": write_asc,
    "blf": write_blf,
    "trc": write_trc,
    "csv": write_pycan_csv,
    "mdf4": write_mdf4,
}
"""By format."""
ENDINGS = {"candump": ".log", "asc": ".asc", "blf": ".blf", "trc": ".trc", "csv": ".csv",
           "mdf4": ".mf4"}  # fmt: skip
_PACKED = (".gz", ".zst")


def can_write(file_format: str) -> bool:
    """Tell whether a format can be written here: MDF 4 needs the optional asammdf."""
    return file_format in WRITERS and (file_format != "mdf4" or find_spec("asammdf") is not None)


def write_recording(path: Path, file_format: str, frames: Frames) -> None:
    """Write frames in a format, packed as the name's ending says (.gz, .zst); whole or not at all.

    Raises UsageError for a format that cannot be written here.
    """
    if not can_write(file_format):
        more = " without the optional asammdf" if file_format == "mdf4" else ""
        raise UsageError(f"{path.name}: recordings of the format {file_format} cannot be written "
                         f"here{more}.")  # fmt: skip
    # python-can chooses by the ending; the part must keep the recording's own.
    plain = path.with_name(f".{path.name.partition('.')[0]}-part{ENDINGS[file_format]}")
    try:
        WRITERS[file_format](plain, frames)
        if path.suffix not in _PACKED:
            plain.replace(path)
            return
        data = plain.read_bytes()
    finally:
        plain.unlink(missing_ok=True)
    if path.suffix == ".gz":
        data = gzip.compress(data, 5, mtime=0)
    else:
        data = zstandard.ZstdCompressor(level=6).compress(data)
    part = path.with_name(f".{path.name}-part")
    part.write_bytes(data)
    part.replace(path)


def write_everywhere(folder: Path, one: DemoRecording) -> list[Path]:
    """Write one recording in every format that can be written here; return the files.

    A format that cannot hold it (several channels where it has none for them) still gets its
    frames; what a format loses is told where it is written (`recordings.writing`).
    """
    folder.mkdir(parents=True, exist_ok=True)
    stem = one.file_name.partition(".")[0]
    files = []
    for file_format, ending in ENDINGS.items():
        if can_write(file_format):
            path = folder / f"{stem}{ending}"
            write_recording(path, file_format, one.frames)
            files.append(path)
    return files


__all__ = ["ENDINGS", "WRITERS", "can_write", "write_everywhere", "write_recording"]
