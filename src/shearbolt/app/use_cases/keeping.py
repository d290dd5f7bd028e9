"""Keeping: exports, backups, checks of the book, repairs, names."""

from __future__ import annotations

from pathlib import Path
from zipfile import ZipFile

from shearbolt import book as books
from shearbolt.app.concluding.kept import conclusions_of
from shearbolt.app.concluding.record import read_machine
from shearbolt.app.documents import (
    BackupDocument,
    CheckDocument,
    ExportDocument,
    ImportBookDocument,
    Progress,
    Refused,
    RenameDocument,
    Wording,
)
from shearbolt.app.use_cases.opening import opened_book, tables_of
from shearbolt.book import Book
from shearbolt.errors import UsageError


def export_machine(
    book: Path, which: str, folder: str, *, progress: Progress, wording: Wording
) -> ExportDocument:
    """Write everything of a machine as one folder."""
    from shearbolt.app.carrying import export

    with opened_book(book) as opened:
        record = read_machine(opened, opened.machine(which))
        tables = tables_of(opened)
        concluded = conclusions_of(opened, record, tables)
        return export(opened, record, tables, concluded, Path(folder), progress)


def import_book(
    book: Path, folder: str, *, progress: Progress, wording: Wording
) -> ImportBookDocument:
    """Take in another book or a backup of one."""
    with opened_book(book) as opened:
        progress(0, 0, "Taking in the other book")
        brought = books.import_book(opened, folder)
    return {
        "schema": "shearbolt/import-book/1",
        "folder": folder,
        "machines": [*brought.machines_new, *brought.machines_known],
        "visits_added": len(brought.visits_new),
        "visits_known": len(brought.visits_known),
        "repairs_added": len(brought.repairs_new),
        "refused": [
            *(_refused(one, "missing or damaged in the other book") for one in brought.damaged),
            *(_refused(one, "differs, and was left as it is here") for one in brought.left),
        ],
    }


def _refused(file: str, reason: str) -> Refused:
    return {"file": file, "reason": reason}


def backup(book: Path, target: str, *, progress: Progress, wording: Wording) -> BackupDocument:
    """Copy the whole book, and check the copy."""
    with opened_book(book) as opened:
        done = books.backup(
            opened, target, lambda so_far, whole: progress(so_far, whole, "Copying the book")
        )
        machines = len(opened.machines())
    sound = not done.missing
    if done.path.is_dir():
        with Book.open(done.path, create=False) as copy:
            sound = sound and not books.check(copy)
    else:
        with ZipFile(done.path) as packed:
            sound = sound and packed.testzip() is None
    return {
        "schema": "shearbolt/backup/1",
        "target": str(done.path),
        "files": done.files,
        "bytes": done.size,
        "machines": machines,
        "visits": done.visits,
        "sound": sound,
    }


LOOKED_AT = {
    "record": "the record itself",
    "evidence": "recordings, against their hashes",
    "signals": "signals, every part read",
    "attachment": "photos and voice clips",
    "owner": "your own signals and code texts",
    "orphan": "files that nothing refers to",
}
"""What the integrity check looks at."""


def check(book: Path, *, progress: Progress, wording: Wording) -> CheckDocument:
    """Check the book's integrity."""
    with opened_book(book) as opened:
        findings = books.check(
            opened, lambda so_far, whole: progress(so_far, whole, "Checking the book")
        )
        visits = opened.visits()
    counts = {
        "record": 1,
        "evidence": sum(one.sha256 is not None for one in visits),
        "signals": sum(one.frames > 0 for one in visits),
    }
    wrong = {one.what for one in findings}
    return {
        "schema": "shearbolt/check/1",
        "book": str(book),
        "sound": not findings,
        "looked_at": [
            {
                "words": words,
                "count": counts.get(what, sum(one.what == what for one in findings)),
                "sound": what not in wrong,
            }
            for what, words in LOOKED_AT.items()
            if what in counts or what in wrong
        ],
        "problems": [{"where": one.path, "words": one.words} for one in findings],
    }


def rename_machine(book: Path, which: str, new_name: str, *, wording: Wording) -> RenameDocument:
    """Give a machine another name."""
    if not new_name.strip():
        raise UsageError("Give the machine's new name.")
    with opened_book(book) as opened, opened.writing() as writer:
        old = writer.machine(which)
        taken = [one for one in writer.machines() if one.id != old.id]
        if any(one.name.casefold() == new_name.strip().casefold() for one in taken):
            raise UsageError(f"Another machine is called {new_name.strip()!r} already.")
        renamed = writer.rename_machine(old.id, new_name)
    return {
        "schema": "shearbolt/rename/1",
        "machine": renamed.id,
        "machine_name": renamed.name,
        "old_name": old.name,
    }
