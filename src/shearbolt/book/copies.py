"""Copies of a book that are consistent while it is in use, as a folder or one .zip."""

from __future__ import annotations

import os
import sqlite3
import zipfile
from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

from shearbolt.book.durable import make_folder, remove, sync_file, sync_folder
from shearbolt.book.evidence import attachment_path, evidence_path
from shearbolt.book.record import RECORD, Book
from shearbolt.book.telling import told
from shearbolt.book.writer import SIGNALS
from shearbolt.errors import BookError

Progress = Callable[[int, int], None]
"""Called with the bytes copied so far and the bytes of all files."""

_PART = ".part"


@dataclass(frozen=True, slots=True)
class Backup:
    """What a backup holds."""

    path: Path
    visits: int
    files: int
    size: int
    """Bytes of the files copied, the record's own included."""
    missing: tuple[str, ...]
    """Files that the record names and the book does not have."""


def copy_record(source: Path, target: Path) -> None:
    """Copy a record in one consistent state, others reading and writing meanwhile."""
    with closing(sqlite3.connect(source)) as one, closing(sqlite3.connect(target)) as other:
        one.backup(other)
        # So that the copy is one file, readable from a medium that cannot be written.
        other.execute("PRAGMA journal_mode = DELETE")
    sync_file(target)


def _referenced(record: Path) -> tuple[int, list[str]]:
    """Return the number of visits of a record and every file it needs, by path in the book."""
    root = Path()
    with closing(sqlite3.connect(record)) as raw:
        visits = raw.execute("SELECT id, sha256 FROM visits ORDER BY id").fetchall()
        parts = raw.execute("SELECT visit, name FROM visit_parts ORDER BY visit, seq").fetchall()
        kept = raw.execute("SELECT DISTINCT sha256 FROM note_attachments ORDER BY 1").fetchall()
    names = [evidence_path(root, sha256) for _, sha256 in visits if sha256 is not None]
    names += [root / SIGNALS / visit / name for visit, name in parts]
    names += [attachment_path(root, sha256) for (sha256,) in kept]
    return len(visits), [name.as_posix() for name in names]


def _owners(folder: Path) -> list[str]:
    return [f"owner/{path.name}" for path in sorted((folder / "owner").glob("*.csv"))]


def backup(book: Book, target: Path | str, progress: Progress | None = None) -> Backup:
    """Copy the whole book to a new folder (a book of its own) or, by its ending, a .zip file.

    The record is copied in one state and then the files it names, which are never altered, so
    writers need not wait. Nothing is left at `target` when it fails. Raises BookError when
    `target` exists or cannot be written.
    """
    target = Path(target).absolute()
    if target.exists():
        raise BookError(f"{target}: there is something of this name already; choose a new one.")
    if target.is_relative_to(book.folder):
        raise BookError(f"{target}: a backup cannot lie inside the book itself.")
    aside = target.with_name(target.name + _PART)
    record = target.with_name(target.name + ".record" + _PART)
    with told(target):
        make_folder(target.parent)
        remove(aside)
        remove(record)
        try:
            copy_record(book.folder / RECORD, record)
            visits, needed = _referenced(record)
            names = [*needed, *_owners(book.folder)]
            there = [name for name in names if (book.folder / name).is_file()]
            missing = tuple(name for name in names if name not in set(there))
            files = [(record, RECORD), *((book.folder / name, name) for name in there)]
            copy = _into_zip if target.suffix.lower() == ".zip" else _into_folder
            size = _told_along(copy(aside, files), files, progress)
            aside.replace(target)
            sync_folder(target.parent)
        finally:
            remove(aside)
            remove(record)
    return Backup(target, visits, len(files), size, missing)


def _told_along(
    steps: Iterator[int], files: list[tuple[Path, str]], progress: Progress | None
) -> int:
    whole = sum(path.stat().st_size for path, _ in files)
    done = 0
    for size in steps:
        done += size
        if progress is not None:
            progress(done, whole)
    return done


def copy_file(source: Path, target: Path) -> int:
    """Copy one file, synced; return its size."""
    make_folder(target.parent)
    done = 0
    with source.open("rb") as given, target.open("wb") as out:
        while chunk := given.read(1 << 20):
            out.write(chunk)
            done += len(chunk)
        out.flush()
        os.fsync(out.fileno())
    return done


def _into_folder(aside: Path, files: list[tuple[Path, str]]) -> Iterator[int]:
    for source, name in files:
        yield copy_file(source, aside / name)
    for folder in {(aside / name).parent for _, name in files}:
        sync_folder(folder)


def _into_zip(aside: Path, files: list[tuple[Path, str]]) -> Iterator[int]:
    # Stored as they are: recordings and columns are packed already.
    with zipfile.ZipFile(aside, "w", zipfile.ZIP_STORED, allowZip64=True) as packed:
        for source, name in files:
            packed.write(source, name)
            yield source.stat().st_size
    sync_file(aside)
