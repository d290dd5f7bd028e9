"""Bringing in: recordings, notes by hand, the demo season."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from contextlib import ExitStack
from pathlib import Path
from typing import TYPE_CHECKING

from shearbolt.app.documents import (
    AddDocument,
    DemoDocument,
    NoteAsked,
    NoteDocument,
    Progress,
    Refused,
    Wording,
)
from shearbolt.errors import ColumnsNeeded, UsageError

if TYPE_CHECKING:
    from shearbolt.app.filing import Asked, Filed
    from shearbolt.book import StagedVisit


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

    What listening left behind when it was broken off is filed with them, first.

    Raises Ambiguous, BookError, DictionaryError; UsageError for columns that do not fit, and
    ColumnsNeeded when the only file asks for them.
    """
    from shearbolt.app.freed_memory import keep_freed_memory

    keep_freed_memory()
    with ExitStack() as stack:
        ahead = None
        if len(files) == 1 and not columns:
            # Before anything else is even imported: that takes nearly as long as the packing.
            from shearbolt.app.uninterrupted import uninterrupted
            from shearbolt.book.staging import stage_ahead

            with uninterrupted():
                ahead = stage_ahead(book, Path(files[0]))
                if ahead is not None:
                    stack.enter_context(ahead)
        from shearbolt.app.filing import Asked
        from shearbolt.recordings import parse_columns

        wanted = ",".join(f"{key}={value}" for key, value in columns.items())
        asked = Asked(machine, start_us, hours, parse_columns(wanted) if columns else None)
        return _added(book, files, asked, progress, ahead)


def _added(
    book: Path,
    files: Sequence[str],
    asked: Asked,
    progress: Progress,
    ahead: StagedVisit | None,
) -> AddDocument:
    from shearbolt.app.bringing import bring
    from shearbolt.app.carried import SPOOLS, mark_carried
    from shearbolt.app.composing.news import what_is_new
    from shearbolt.app.composing.visits import visit_document
    from shearbolt.app.use_cases.opening import opened_book, tables_of

    with opened_book(book) as opened:
        tables = tables_of(opened)
        left_over: list[Filed] = []
        not_filed: list[Refused] = []
        if (opened.folder / SPOOLS).exists():
            # What listens is imported only where something was listened to.
            from shearbolt.app.spooled import file_left_over

            left_over, not_filed = file_left_over(opened, tables.dictionary, progress)
        try:
            brought = bring(opened, files, asked, progress, ahead=ahead)
        except ColumnsNeeded as trouble:
            if len(files) == 1:
                raise
            raise UsageError(f"{trouble.sentence} Bring that file in by itself.") from None
        mark_carried(brought.taken)
        with opened.snapshot() as reads:
            filed = [*left_over, *brought.filed]
            new = {one.visit.id for one in filed if not one.already}
            return {
                "schema": "shearbolt/add/1",
                "visits": [
                    visit_document(reads, one.visit, tables, already=one.already) for one in filed
                ],
                "refused": [*not_filed, *(_refused(*one) for one in brought.refused)],
                "new_since": what_is_new(reads, new, tables),
            }


def _refused(file: str, reason: str) -> Refused:
    return {"file": file, "reason": reason}


def note(book: Path, asked: NoteAsked, *, wording: Wording) -> NoteDocument:
    """File a note as a visit by hand; raises NoteNotUnderstood."""
    from shearbolt.app.composing.visits import visit_document
    from shearbolt.app.notes import file_note
    from shearbolt.app.use_cases.opening import opened_book, tables_of

    with opened_book(book) as opened:
        visit = file_note(opened, asked)
        shown = visit_document(opened, visit, tables_of(opened))
    return {"schema": "shearbolt/note/1", **shown}


def demo(book: Path, folder: str, *, progress: Progress, wording: Wording) -> DemoDocument:
    """Generate recordings in `folder`, file them with the season's notes, and show them."""
    from shearbolt.app import demo as season
    from shearbolt.app.composing.news import what_is_new
    from shearbolt.app.composing.visits import visit_document
    from shearbolt.app.use_cases.looking import faults_of, yard_of
    from shearbolt.app.use_cases.opening import opened_book, tables_of

    made = season.write_season(Path(folder), progress)
    with opened_book(book) as opened:
        filed, refused = season.file_season(opened, made, progress)
        progress(0, 0, "Looking at the yard")
        new = {one.visit.id for one in filed if not one.already}
        with opened.snapshot() as reads:
            tables = tables_of(opened)
            return {
                "schema": "shearbolt/demo/1",
                "folder": folder,
                "book": str(book),
                "files": [str(made.path(one)) for one in made.written],
                "add": {
                    "schema": "shearbolt/add/1",
                    "visits": [
                        visit_document(reads, one.visit, tables, already=one.already)
                        for one in filed
                    ],
                    "refused": [_refused(*one) for one in refused],
                    "new_since": what_is_new(reads, new, tables),
                },
                "yard": yard_of(opened),
                "faults": faults_of(opened, None, None, everything=False),
            }
