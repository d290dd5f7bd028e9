"""Integrity of a book: its record, every recording, every column file, and files nobody names."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from sqlalchemy import select, text

from shearbolt.book import schema as t
from shearbolt.book.evidence import attachment_path, evidence_path, hash_file, verify_evidence
from shearbolt.book.record import RECORD, Book
from shearbolt.book.records import Part
from shearbolt.book.writer import SIGNALS
from shearbolt.errors import BookError

Progress = Callable[[int, int], None]
"""Called with the number of files looked at and of all files."""


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing that is not as it should be."""

    what: Literal["record", "evidence", "signals", "attachment", "owner", "orphan"]
    path: str
    """File or folder, by its path in the book."""
    words: str
    """What is wrong with it."""
    visit: str | None = None
    """The visit it belongs to."""


def check(book: Book, progress: Progress | None = None) -> list[Finding]:
    """Read the whole book and return what is wrong with it; nothing is changed.

    Raises BookDamaged when the record itself cannot be read at all, BookBusy when a writer does
    not end in time.
    """
    from shearbolt.book.signals import verify_part

    findings = list(_record(book))
    with book.snapshot() as reads:
        visits = [one for one in reads.visits() if one.sha256 is not None]
        parts = reads._rows(select(t.visit_parts).order_by(t.visit_parts.c.visit))
        kept = reads._rows(select(t.note_attachments.c.sha256).distinct())
    total = len(visits) + len(parts) + len(kept)
    done = 0

    def step() -> None:
        nonlocal done
        done += 1
        if progress is not None:
            progress(done, total)

    for one in visits:
        assert one.sha256 is not None
        wrong = verify_evidence(book.folder, one.sha256)
        if wrong is not None:
            path = evidence_path(Path(), one.sha256).as_posix()
            findings.append(Finding("evidence", path, wrong, one.id))
        step()
    for row in parts:
        part = Part(row["name"], row["rows"], row["size"], row["sha256"])
        wrong = verify_part(book.signals_folder(row["visit"]), part)
        if wrong is not None:
            path = f"{SIGNALS}/{row['visit']}/{part.name}"
            findings.append(Finding("signals", path, wrong, row["visit"]))
        step()
    for row in kept:
        kept_as = attachment_path(book.folder, row["sha256"])
        wrong = None if kept_as.is_file() else "missing"
        if wrong is None and hash_file(kept_as) != row["sha256"]:
            wrong = "holds other bytes than were kept"
        if wrong is not None:
            path = kept_as.relative_to(book.folder).as_posix()
            findings.append(Finding("attachment", path, wrong))
        step()
    for load, name in ((book.owner.signals, "signals.csv"), (book.owner.codes, "codes.csv")):
        try:
            load()
        except BookError as trouble:
            findings.append(Finding("owner", f"owner/{name}", trouble.sentence))
    findings += _orphans(book)
    return findings


def _record(book: Book) -> Iterator[Finding]:
    with book._reading() as connection:
        for (words,) in connection.execute(text("PRAGMA integrity_check")):
            if words != "ok":
                yield Finding("record", RECORD, str(words))
        for row in connection.execute(text("PRAGMA foreign_key_check")):
            yield Finding("record", RECORD, f"a row of {row[0]} refers to a missing {row[2]}")


def _orphans(book: Book) -> list[Finding]:
    """Return files in the book's own folders that nothing refers to."""
    found = [path for path in _own_files(book.folder) if not book.refers_to(path)]
    if not found:
        return []
    # A visit may have been on its way in just then: look again while nobody writes.
    with book.writers_turn():
        return [
            Finding("orphan", path.relative_to(book.folder).as_posix(), "nothing refers to it")
            for path in found
            if path.exists() and not book.refers_to(path)
        ]


def _own_files(folder: Path) -> Iterator[Path]:
    for kind in ("evidence", "attachments"):
        yield from sorted(path for path in (folder / kind).glob("*/*") if path.is_file())
    yield from sorted((folder / SIGNALS).glob("*"))
