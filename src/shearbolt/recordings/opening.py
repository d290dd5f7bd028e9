"""Opening a recording: its kind is told from the content, never from the name."""

from __future__ import annotations

from pathlib import Path

from shearbolt.errors import ForeignRecording, RecordingError
from shearbolt.recordings.columns import TableColumns
from shearbolt.recordings.recording import Recording
from shearbolt.recordings.source import HEAD_BYTES, FileSource

_FOREIGN = (
    (b"PK\x03\x04", "is a zip archive or a spreadsheet file; unpack it, or save the sheet as CSV."),
    (b"\xd0\xcf\x11\xe0", "is an office document; save the sheet as CSV."),
    (b"%PDF", "is a PDF document, not a recording of a bus."),
    (b"SQLite format 3", "is a database, not a recording of a bus."),
    (b"BZh", "is packed with bzip2; unpack it first."),
    (b"\xfd7zXZ\x00", "is packed with xz; unpack it first."),
    (b"7z\xbc\xaf", "is a 7z archive; unpack it first."),
    (b"MDF     3", "is an MDF file of version 3; only version 4 can be read."),
)
_KNOWN = "candump text, .asc, .blf, .trc, python-can's .csv, MDF 4, or a table with columns"


def open_recording(path: str | Path, *, columns: TableColumns | None = None) -> Recording:
    """Open a recording of any known kind, plain or compressed with gzip or zstd.

    `columns` says which columns of a table are which, where that cannot be told; the kinds with a
    form of their own do not need it and leave it aside. Raises
    EmptyRecording, ForeignRecording, MissingReader or RecordingError with one sentence, and
    ColumnsNeeded for a table whose columns cannot be told.
    """
    source = FileSource(Path(path))
    head = source.head(HEAD_BYTES)
    if not head:
        if source.damage():
            raise RecordingError(source.name, f"is damaged: nothing of its {_packed(source)}.")
        raise ForeignRecording(source.name, "holds nothing once unpacked.")
    # Each kind's module is imported when its turn comes: most need nothing but text.
    if head.startswith((b"MDF     4", b"UnFinMF 4")):
        from shearbolt.recordings.mdf4 import Mdf4Recording

        return Mdf4Recording(source)
    for magic, sentence in _FOREIGN:
        if head.startswith(magic):
            raise ForeignRecording(source.name, sentence)
    from shearbolt.recordings import blf

    if blf.looks_like(head):
        return blf.BlfRecording(source)
    found = _text(source, head)
    return found if found is not None else _table(source, columns)


def _text(source: FileSource, head: bytes) -> Recording | None:
    """Open one of the textual kinds with a form of its own; None when it is none."""
    from shearbolt.recordings import asc, candump, pycan_csv, trc

    if trc.looks_like(head):
        return trc.TrcRecording(source)
    if pycan_csv.looks_like(head):
        return pycan_csv.PycanCsvRecording(source)
    if candump.looks_like(head):
        return candump.CandumpRecording(source)
    if asc.looks_like(head):
        return asc.AscRecording(source)
    return None


def _table(source: FileSource, columns: TableColumns | None) -> Recording:
    """Open a table."""
    from shearbolt.recordings.table import TableRecording

    return TableRecording(source, columns, foreign=f"is no recording in a known form ({_KNOWN}).")


def _packed(source: FileSource) -> str:
    """Name what could not be unpacked."""
    return f"{source.compression} packing could be undone" if source.compression else "content"
