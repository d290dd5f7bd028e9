"""The demo: a season of the proving ground, written as recordings and filed like any other."""

from __future__ import annotations

import gzip
from pathlib import Path

import zstandard

from shearbolt.app.documents import AddDocument, NoteAsked, Progress
from shearbolt.book import Book
from shearbolt.model.instants import from_iso
from shearbolt.proving import DemoRecording, WrittenNote, demo_notes, demo_season
from shearbolt.recordings.writing import (
    write_asc,
    write_blf,
    write_candump,
    write_pycan_csv,
    write_trc,
)

WRITERS = {
    "candump": write_candump,
    "asc": write_asc,
    "blf": write_blf,
    "trc": write_trc,
    "csv": write_pycan_csv,
}


def write_season(folder: Path, progress: Progress) -> list[tuple[Path, DemoRecording]]:
    """Write the season's recordings; those already there are left alone."""
    folder.mkdir(parents=True, exist_ok=True)
    season = demo_season()
    written: list[tuple[Path, DemoRecording]] = []
    for i, one in enumerate(season):
        progress(i, len(season), f"Writing {one.file_name}")
        path = folder / one.file_name
        if not path.exists():
            _write(path, one)
        written.append((path, one))
    return written


def _write(path: Path, one: DemoRecording) -> None:
    # python-can chooses by the ending; the part must keep the recording's own.
    endings = [end for end in path.suffixes if end not in (".gz", ".zst")]
    plain = path.with_name(f".{path.stem}-part{endings[-1] if endings else ''}")
    try:
        WRITERS[one.file_format](plain, one.frames)
        data = plain.read_bytes()
    finally:
        plain.unlink(missing_ok=True)
    if path.suffix == ".gz":
        data = gzip.compress(data, 6, mtime=0)
    elif path.suffix == ".zst":
        data = zstandard.ZstdCompressor(level=10).compress(data)
    path.write_bytes(data)


def asked_of(note: WrittenNote) -> NoteAsked:
    """Turn a note of the season into what a person would type."""
    minutes = note.minutes_since_start
    return NoteAsked(
        text=note.text,
        machine=note.machine,
        hours=note.hours,
        date_us=from_iso(note.date),
        doing=note.doing,
        hot_cold="hot" if note.warmth == "hot" else ("cold" if note.warmth == "cold" else None),
        after_start=None if minutes is None else (f"{minutes:g} min" if minutes else "at once"),
    )


def given_start_us(one: DemoRecording) -> int | None:
    """Return when a recording with relative times began, as a person would say it."""
    return from_iso(one.truth.started_truly) if one.truth.time_base == "relative" else None


def asked_machine(one: DemoRecording) -> str | None:
    """Return the machine's name where a person must say it: nothing on its bus tells."""
    main = one.truth.machines[0]
    claimed = any(controller.claimed for controller in main.controllers)
    return None if main.vin_told or claimed else main.name


def name_machines(book: Path, told: AddDocument, one: DemoRecording) -> None:
    """Give machines met for the first time the names that their people use."""
    with Book.open(book) as opened, opened.writing() as writer:
        for visit in told["visits"]:
            ids = visit["machines"]
            for machine_id, true in zip(ids, one.truth.machines, strict=False):
                if not writer.machine(machine_id).name_given:
                    writer.rename_machine(machine_id, true.name)


__all__ = [
    "asked_machine",
    "asked_of",
    "demo_notes",
    "given_start_us",
    "name_machines",
    "write_season",
]
