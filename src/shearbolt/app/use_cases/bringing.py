"""Bringing in: recordings, notes by hand, the demo season."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

from shearbolt.app.composing.visits import visit_document
from shearbolt.app.documents import (
    AddDocument,
    DemoDocument,
    NoteAsked,
    NoteDocument,
    Progress,
    Refused,
    Wording,
)
from shearbolt.app.use_cases.looking import faults_of, yard_of
from shearbolt.app.use_cases.opening import opened_book, tables_of
from shearbolt.errors import ColumnsNeeded, RecordingError, UsageError


def add_recordings(
    book: Path,
    files: Sequence[str],
    *,
    machine: str | None,
    start_us: int | None,
    hours: float | None,
    columns: Mapping[str, str],
    progress: Progress,
    wording: Wording,
) -> AddDocument:
    """Bring recordings in, in the order of their own times; what cannot be is in `refused`.

    Raises Ambiguous, BookError, DictionaryError; UsageError for columns that do not fit, and
    ColumnsNeeded when the only file asks for them.
    """
    from shearbolt.app.filing import Asked, Filed, expand, file_recording, open_all
    from shearbolt.recordings import parse_columns

    wanted = ",".join(f"{key}={value}" for key, value in columns.items())
    asked = Asked(machine, start_us, hours, parse_columns(wanted) if columns else None)
    refused: list[Refused] = []
    filed: list[Filed] = []
    with opened_book(book) as opened:
        tables = tables_of(opened)
        try:
            recordings, not_taken = open_all(expand(files), asked)
        except ColumnsNeeded as trouble:
            if len(files) == 1:
                raise
            raise UsageError(f"{trouble.sentence} Bring that file in by itself.") from None
        refused.extend({"file": name, "reason": reason} for name, reason in not_taken)
        for _, path, recording in recordings:
            try:
                filed.append(
                    file_recording(opened, path, recording, tables.dictionary, asked, progress)
                )
            except RecordingError as trouble:
                refused.append({"file": str(path), "reason": trouble.reason})
        return {
            "schema": "shearbolt/add/1",
            "visits": [
                visit_document(opened, one.visit, tables, already=one.already) for one in filed
            ],
            "refused": refused,
        }


def note(book: Path, asked: NoteAsked, *, wording: Wording) -> NoteDocument:
    """File a note as a visit by hand; raises NoteNotUnderstood."""
    from shearbolt.app.notes import file_note

    with opened_book(book) as opened:
        visit = file_note(opened, asked)
        shown = visit_document(opened, visit, tables_of(opened))
    return {"schema": "shearbolt/note/1", **shown}


def demo(book: Path, folder: str, *, progress: Progress, wording: Wording) -> DemoDocument:
    """Generate recordings in `folder`, file them with the season's notes, and show them."""
    from shearbolt.app import demo as season

    written = season.write_season(Path(folder), progress)
    total: AddDocument = {"schema": "shearbolt/add/1", "visits": [], "refused": []}
    new = False
    for path, recording in written:
        told = add_recordings(
            book,
            [str(path)],
            machine=season.asked_machine(recording),
            start_us=season.given_start_us(recording),
            hours=None,
            columns={},
            progress=progress,
            wording=wording,
        )
        new = new or any(not one["already_in_book"] for one in told["visits"])
        season.name_machines(book, told, recording)
        total["visits"].extend(told["visits"])
        total["refused"].extend(told["refused"])
    if new:
        for one in season.demo_notes():
            note(book, season.asked_of(one), wording=wording)
    with opened_book(book) as opened:
        names = {one.id: one.name for one in opened.machines()}
        for visit in total["visits"]:
            visit["machine_name"] = names[visit["machine"]]
        return {
            "schema": "shearbolt/demo/1",
            "folder": folder,
            "book": str(book),
            "files": [str(path) for path, _ in written],
            "add": total,
            "yard": yard_of(opened),
            "faults": faults_of(opened, None, None, everything=False),
        }
