"""The book itself: opening, the one writer, snapshots, and the files beside the record."""

from __future__ import annotations

import threading
import types
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import BinaryIO, Self

import numpy as np
from sqlalchemy import Connection, Engine, select

from shearbolt.book import evidence
from shearbolt.book import schema as t
from shearbolt.book.database import open_engine, refuse_newer, upgrade, version_of
from shearbolt.book.derived import DerivedFiles
from shearbolt.book.durable import make_folder
from shearbolt.book.lock import FileLock
from shearbolt.book.owner import OwnerFiles
from shearbolt.book.reads import Reads
from shearbolt.book.staging import StagedVisit, has_leftovers, sweep
from shearbolt.book.telling import BUSY, told
from shearbolt.book.writer import SIGNALS, Writer
from shearbolt.errors import BookBusy, BookDamaged, BookError
from shearbolt.model.frames import Frames, no_frames
from shearbolt.model.message import Message
from shearbolt.model.state import StateTable

RECORD = "book.sqlite"
LOCK = "writer.lock"
WAIT_S = 10.0
"""How long a writer waits for the one before it."""


def _nothing(_step: str) -> None:
    """Stand in for the checkpoint that crash tests pass."""


class _Snapshot(Reads):
    """One state of the record, whatever is written meanwhile."""

    def __init__(self, folder: Path, connection: Connection) -> None:
        self.folder = folder
        self._connection = connection

    @contextmanager
    def _connected(self) -> Iterator[Connection]:
        yield self._connection


class Book(Reads):
    """The fleet's record in one folder. Safe to use from several threads."""

    def __init__(
        self, folder: Path, engine: Engine, wait_s: float, checkpoint: Callable[[str], None]
    ) -> None:
        self.folder = folder
        self.owner = OwnerFiles(folder)
        self.derived = DerivedFiles(folder)
        self._engine = engine
        self._wait_s = wait_s
        self.checkpoint = checkpoint
        """Told each step of a filing, by its name."""
        self._turn = threading.Lock()
        self._writing_thread: int | None = None

    @classmethod
    def open(
        cls,
        folder: Path | str,
        create: bool = True,
        *,
        wait_s: float = WAIT_S,
        checkpoint: Callable[[str], None] = _nothing,
    ) -> Book:
        """Open the book in a folder, make it where there is none, bring its schema up to date,
        and clear away what a program that died left half-done.

        `wait_s` bounds the wait for another writer; `checkpoint` is told each step of a filing
        (crash tests end the process there). Raises BookError, BookBusy, BookTooNew, BookDamaged.
        """
        folder = Path(folder).absolute()
        path = folder / RECORD
        if not create and not path.exists():
            raise BookError(f"{folder}: there is no book in this folder.")
        with told(folder):
            if folder.exists() and not folder.is_dir():
                raise BookError(f"{folder}: this is a file; a book is a folder.")
            make_folder(folder)
            version = version_of(path)
            refuse_newer(path, version)
            engine = open_engine(path)
            book = cls(folder, engine, wait_s, checkpoint)
            try:
                if version != t.HEAD:
                    with book.writers_turn():
                        if version_of(path) != t.HEAD:
                            checkpoint("before upgrade")
                            upgrade(engine)
                            checkpoint("after upgrade")
                if has_leftovers(folder):
                    book._sweep()
            except BaseException:
                book.close()
                raise
        return book

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        trouble: BaseException | None,
        trace: types.TracebackType | None,
    ) -> None:
        self.close()

    def close(self) -> None:
        """Let go of the record's file."""
        self._engine.dispose()

    @contextmanager
    def _connected(self) -> Iterator[Connection]:
        with self._engine.connect() as connection, connection.begin():
            yield connection

    @contextmanager
    def snapshot(self) -> Iterator[Reads]:
        """Give all reading methods on one unchanging state of the record."""
        with told(self.folder), self._connected() as connection:
            yield _Snapshot(self.folder, connection)

    # -- writing --------------------------------------------------------------------------------

    @contextmanager
    def writers_turn(self, wait_s: float | None = None) -> Iterator[None]:
        """Be the one writer among all threads and programs. Raises BookBusy."""
        wait_s = self._wait_s if wait_s is None else wait_s
        if self._writing_thread == threading.get_ident():
            raise RuntimeError("this thread is writing to the book already")
        busy = BookBusy(f"{self.folder}: {BUSY}.")
        if not self._turn.acquire(timeout=wait_s):
            raise busy
        lock = FileLock(self.folder / LOCK)
        try:
            if not lock.take(wait_s):
                raise busy
            self._writing_thread = threading.get_ident()
            yield
        finally:
            self._writing_thread = None
            lock.free()
            self._turn.release()

    @contextmanager
    def writing(self) -> Iterator[Writer]:
        """Give a writer: one transaction, committed when the block ends well, else undone.

        Staged files move into place just before the commit. Raises BookBusy, BookError.
        """
        with told(self.folder), self.writers_turn():
            connection = self._engine.connect().execution_options(book_writes=True)
            writer = Writer(self.folder, connection, self.checkpoint)
            try:
                with connection, connection.begin():
                    self.checkpoint("transaction begun")
                    yield writer
                    writer.settle()
                    self.checkpoint("before commit")
                self.checkpoint("after commit")
            except BaseException:
                # Asked of the record, because an interruption may have come after the commit.
                writer.unsettle(self.refers_to)
                raise

    def stage(self) -> StagedVisit:
        """Begin to bring a visit in; use it as a context manager. Raises BookError."""
        return StagedVisit(self.folder, self.checkpoint)

    def _sweep(self) -> None:
        try:
            with self.writers_turn(0.0):
                sweep(self.folder, self.refers_to)
        except BookBusy:
            return  # whoever writes now is alive; the next to open looks again

    def refers_to(self, path: Path) -> bool:
        """Tell whether the record refers to a file or folder of the book."""
        kind, name = path.relative_to(self.folder).parts[0], path.name.removesuffix(".zst")
        column = {
            "evidence": t.visits.c.sha256,
            SIGNALS: t.visits.c.id,
            "attachments": t.note_attachments.c.sha256,
        }[kind]
        return bool(self._rows(select(column).where(column == name).limit(1)))

    # -- files ----------------------------------------------------------------------------------

    def open_evidence(self, visit: str) -> BinaryIO:
        """Open a visit's recording: a stream of the original file's bytes.

        Raises NotInBook, BookError (a visit by hand has none), BookDamaged.
        """
        sha256 = self.visit(visit).sha256
        if sha256 is None:
            raise BookError(f"Visit {visit} was written down by hand and has no recording.")
        return evidence.open_evidence(self.folder, sha256)

    def open_attachment(self, sha256: str) -> BinaryIO:
        """Open a photo or voice clip. Raises BookDamaged when it is missing."""
        path = evidence.attachment_path(self.folder, sha256)
        try:
            return path.open("rb")
        except FileNotFoundError:
            raise BookDamaged(f"{path}: this attachment is missing from the book.") from None

    def signals_folder(self, visit: str) -> Path:
        """Return the folder of a visit's Parquet parts (it may not exist)."""
        return self.folder / SIGNALS / visit

    def frames(
        self,
        visit: str,
        pgns: Sequence[int] | None = None,
        sources: Sequence[int] | None = None,
    ) -> Frames:
        """Return a visit's frames in the order recorded: all, or the data frames of some groups
        and source addresses.

        Raises NotInBook, BookDamaged.
        """
        channels = self.visit(visit).channels
        folder = self.signals_folder(visit)
        if not folder.is_dir():
            return no_frames(channels)
        from shearbolt.book.signals import read_frames

        return read_frames(folder, channels, pgns, sources)

    def frame_blocks(
        self,
        visit: str,
        pgns: Sequence[int] | None = None,
        sources: Sequence[int] | None = None,
    ) -> Iterator[Frames]:
        """Give the same as `frames` in blocks of about a million, for long recordings."""
        channels = self.visit(visit).channels
        folder = self.signals_folder(visit)
        if folder.is_dir():
            from shearbolt.book.signals import read_blocks

            yield from read_blocks(folder, channels, pgns, sources)

    def state(self, visit: str) -> StateTable:
        """Return a visit's second-by-second state; empty where nothing was kept.

        Raises NotInBook, BookDamaged.
        """
        self.visit(visit)
        from shearbolt.book.state_file import STATE, read_state

        path = self.signals_folder(visit) / STATE
        return read_state(path) if path.exists() else StateTable(np.empty(0, np.int64), {})

    def messages(self, visit: str, pgns: Sequence[int] | None = None) -> list[Message]:
        """Return a visit's reassembled long messages, all or of some groups.

        Raises NotInBook, BookDamaged.
        """
        self.visit(visit)
        folder = self.signals_folder(visit)
        if not folder.is_dir():
            return []
        from shearbolt.book.signals import read_messages

        return read_messages(folder, pgns)
