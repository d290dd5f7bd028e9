"""Bringing many recordings in at once: read by several processes, filed by one in their order.

Reading and decoding takes the time, and recordings know nothing of each other until they are
filed; so each is read by a process of a pool into a stage that this process holds, and filed here
in the order of the recordings' own times, exactly as one after another would be. A visit is filed
as soon as those before it are, so whatever stops the work leaves whole visits and nothing else.
"""

from __future__ import annotations

import contextlib
import os
import signal
import threading
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass, field
from multiprocessing import get_context
from pathlib import Path
from typing import Any

from shearbolt.app import reading_apart as apart
from shearbolt.app.carried import heard_by
from shearbolt.app.documents import Progress
from shearbolt.app.filing import (
    Asked,
    Filed,
    expand,
    file_read,
    file_recording,
    open_all,
)
from shearbolt.book import Book, StagedVisit
from shearbolt.dictionary.merged import Dictionary, dictionary_of
from shearbolt.errors import RecordingError
from shearbolt.model.instants import Instant

POOL_S = 5.0
"""Less work than this is done sooner than a pool is started (measured: 1.5 s, and 4 s on a small
computer that is busy)."""
TEXT_PACE, OTHER_PACE = 30e6, 5e6
"""Bytes a second that one process reads and files: candump text, and every other form
(measured here)."""
PACKED = 4.0
"""How much more a packed file holds than its size says (measured: three to six times)."""
MOST_PROCESSES = 8
"""More only wait for the disk and the one who files."""
LOOK_S = 0.2
"""Time between two looks at how far the readers have come, for the progress bar."""


@dataclass(slots=True)
class Brought:
    """What became of the files."""

    filed: list[Filed] = field(default_factory=list)
    """In the order of the recordings' own times."""
    refused: list[tuple[str, str]] = field(default_factory=list)
    """File and reason."""
    taken: list[Path] = field(default_factory=list)
    """Files whose bytes the book holds now, new or known before."""

    def add(self, path: Path, filed: Filed) -> None:
        """Note that a file is in the book."""
        self.filed.append(filed)
        self.taken.append(path)


def bring(
    book: Book,
    files: Sequence[str],
    asked: Asked,
    progress: Progress,
    *,
    processes: int | None = None,
    ahead: StagedVisit | None = None,
) -> Brought:
    """Bring recordings and folders of them in, in the order of their own times.

    `processes` says how many read at once (1: this one alone); None: as many as it is worth. The
    book holds the same afterwards whatever their number. `ahead`: a stage in which the packing of
    the only recording was begun; it is the caller's to close.

    Raises BookError, DictionaryError, and ColumnsNeeded for a table that needs a person's word.
    """
    paths = expand(files)
    dictionary = dictionary_of(book.owner.signals(), book.owner.codes())
    if processes is None:
        processes = _worth(book, paths)
    if processes > 1 and len(paths) > 1:
        return _Crew(book, asked, dictionary, progress, processes).bring(paths)
    opened, refused = open_all(paths, asked, timed=len(paths) > 1)
    brought = Brought(refused=refused)
    for _, path, recording in opened:
        try:
            done = file_recording(
                book,
                path,
                recording,
                dictionary,
                asked,
                progress,
                heard_by(path),
                ahead if len(paths) == 1 else None,
            )
            brought.add(path, done)
        except RecordingError as trouble:
            brought.refused.append((str(path), trouble.reason))
    return brought


def _worth(book: Book, paths: Sequence[Path]) -> int:
    """Say how many processes these files are worth; those known already cost next to nothing."""
    work_s = [
        _work_s(path, size) for path in paths if (size := _size(path)) and not book.holds_size(size)
    ]
    if len(work_s) < 2 or sum(work_s) < POOL_S:
        return 1
    return min(os.cpu_count() or 1, len(work_s), MOST_PROCESSES)


def _work_s(path: Path, size: int) -> float:
    """Estimate how long one process takes for a file, from its name and size alone."""
    name = path.name.lower()
    packed = name.endswith((".gz", ".zst"))
    name = name.removesuffix(".gz").removesuffix(".zst")
    pace = TEXT_PACE if name.endswith((".log", ".txt", ".candump")) else OTHER_PACE
    return size * (PACKED if packed else 1.0) / pace


def _size(path: Path) -> int:
    try:
        return path.stat().st_size
    except OSError:
        return 0


@dataclass(slots=True)
class _Turn:
    """A recording between being read and being filed."""

    path: Path
    stage: StagedVisit
    task: Future[apart.Taken]


class _Crew:
    """The pool, and the one who files what it reads."""

    def __init__(
        self,
        book: Book,
        asked: Asked,
        dictionary: Dictionary,
        progress: Progress,
        processes: int,
    ) -> None:
        self._book = book
        self._asked = asked
        self._dictionary = dictionary
        self._progress = progress
        self._processes = processes
        self._brought = Brought()

    def bring(self, paths: Sequence[Path]) -> Brought:
        """Read all and file all."""
        context = get_context("spawn")
        # Bytes worked off, one number a file: the readers write it, the bar reads it.
        self._done: Any = context.Array("q", len(paths) or 1, lock=False)
        stopping = context.Event()
        pool = ProcessPoolExecutor(
            self._processes,
            mp_context=context,
            initializer=apart.begin,
            initargs=(
                self._book.owner.signals(),
                self._book.owner.codes(),
                self._asked,
                stopping,
                self._done,
            ),
        )
        self._pool = pool
        self._sizes = [_size(one) for one in paths]
        with contextlib.ExitStack() as stages:
            try:
                self._file_all(paths, self._ordered(paths), stages)
            finally:
                # Those at work end at their next block; no stage is let go of before they have.
                stopping.set()
                pool.shutdown(wait=True, cancel_futures=True)
        return self._brought

    def _ordered(self, paths: Sequence[Path]) -> list[int]:
        """Find each recording's own time, and give those that can be read in their order."""
        with _undisturbed():
            tasks = [
                self._submit(apart.look, i, str(path), self._book.holds_size(self._sizes[i]))
                for i, path in enumerate(paths)
            ]
        times: list[tuple[Instant, int]] = []
        self._known: dict[int, str] = {}
        for i, (path, task) in enumerate(zip(paths, tasks, strict=True)):
            self._progress(sum(self._sizes[:i]), sum(self._sizes), f"Looking at {path.name}")
            seen = self._result(task, lambda path=path, i=i: apart.look_here(path, self._asked))
            if seen.refused is not None:
                self._brought.refused.append((str(path), seen.refused))
                continue
            times.append((seen.own_time_us, i))
            if seen.sha256 is not None:
                self._known[i] = seen.sha256
        # By time alone: files of the same instant keep the order in which they were given.
        return [i for _, i in sorted(times, key=lambda one: one[0])]

    def _result(self, task: Future[Any], instead: Any) -> Any:
        """Wait for a task; one whose process died (out of memory, say) is done here instead."""
        try:
            while not wait([task], LOOK_S).done:
                self._tell()
            return task.result()
        except BrokenProcessPool:
            return instead()
        except KeyboardInterrupt:
            # The data-frame library ends its work at Ctrl-C in a reader, too, and tells of it
            # there: it is one interruption, told once.
            raise KeyboardInterrupt from None

    def _tell(self, words: str | None = None) -> None:
        done = sum(min(a, b) for a, b in zip(self._done, self._sizes, strict=False))
        if done or words:
            self._progress(done, sum(self._sizes), words or self._words)

    _words = "Reading"

    def _submit(self, work: Callable[..., Any], *arguments: Any) -> Future[Any]:
        """Hand work to the pool; a pool that broke gives a task that failed."""
        try:
            return self._pool.submit(work, *arguments)
        except BrokenProcessPool as trouble:
            failed: Future[Any] = Future()
            failed.set_exception(trouble)
            return failed

    def _file_all(
        self, paths: Sequence[Path], ordered: Sequence[int], stages: contextlib.ExitStack
    ) -> None:
        waiting: deque[int] = deque(ordered)
        turns: deque[tuple[int, _Turn | Filed]] = deque()
        while waiting or turns:
            # One more than can be read at once: nobody idles, and little lies staged.
            while waiting and len(turns) <= self._processes:
                i = waiting.popleft()
                turns.append((i, self._begin(i, paths[i], stages)))
            i, turn = turns.popleft()
            self._words = f"Reading {paths[i].name}"
            if isinstance(turn, Filed):
                self._brought.add(paths[i], turn)
            else:
                self._finish(turn)
            self._done[i] = self._sizes[i]

    def _begin(self, i: int, path: Path, stages: contextlib.ExitStack) -> _Turn | Filed:
        if i in self._known:
            known = self._book.visit_by_sha256(self._known[i])
            if known is not None:
                return Filed(known, True)
        stage = stages.enter_context(self._book.stage())
        return _Turn(path, stage, self._submit(apart.read, i, str(path), str(stage.folder)))

    def _finish(self, turn: _Turn) -> None:
        taken: apart.Taken | None = self._result(turn.task, lambda: None)
        with turn.stage as stage:
            if taken is None:
                self._read_here(turn.path)
            elif taken.refused is not None:
                self._brought.refused.append((str(turn.path), taken.refused))
            else:
                assert taken.read is not None
                assert taken.filled is not None
                self._tell(f"Keeping {turn.path.name}")
                stage.adopt(taken.filled)
                done = file_read(
                    self._book,
                    stage,
                    taken.read,
                    taken.filled.sha256,
                    self._asked,
                    heard_by(turn.path),
                )
                self._brought.add(turn.path, done)

    def _read_here(self, path: Path) -> None:
        """Read a recording in this process, because the one that should have is dead."""
        opened, refused = open_all([path], self._asked, timed=False)
        self._brought.refused.extend(refused)
        for _, _, recording in opened:
            try:
                done = file_recording(
                    self._book,
                    path,
                    recording,
                    self._dictionary,
                    self._asked,
                    self._progress,
                    heard_by(path),
                )
                self._brought.add(path, done)
            except RecordingError as trouble:
                self._brought.refused.append((str(path), trouble.reason))


@contextlib.contextmanager
def _undisturbed() -> Iterator[None]:
    """Start processes that a Ctrl-C at the keyboard does not reach: it is for this one to act."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    before = signal.signal(signal.SIGINT, signal.SIG_IGN)
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)
