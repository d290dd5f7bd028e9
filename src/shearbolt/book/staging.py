"""The staging folder: files wait there, synced, until the transaction that needs them commits.

Each stage is a folder under `staging/` with a lock file beside it, held while its process lives.
Before files are moved into place their destinations are written down (`intent.json`), so that
after a death in between whoever opens the book next can tell which files nobody refers to.
"""

from __future__ import annotations

import json
import secrets
import types
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Self

from shearbolt.book.durable import make_folder, move, remove, sync_file, sync_folder, write_whole
from shearbolt.book.evidence import EvidenceJob, Progress, attachment_path, hash_file
from shearbolt.book.lock import FileLock
from shearbolt.book.telling import told
from shearbolt.errors import BookError

if TYPE_CHECKING:
    from shearbolt.book.records import Part
    from shearbolt.book.signals_thread import SignalsThread
    from shearbolt.kernels import Groups
    from shearbolt.model.frames import Frames
    from shearbolt.model.message import Message
    from shearbolt.model.state import StateTable

STAGING = "staging"
_INTENT = "intent.json"
_EVIDENCE = "evidence.zst"
_SIGNALS = "signals"


class Stage:
    """A folder of files that will move into the book together, or vanish together."""

    def __init__(self, book: Path, checkpoint: Callable[[str], None]) -> None:
        self.book = book
        self.checkpoint = checkpoint
        self._moves: list[tuple[Path, Path]] = []
        self._moved: list[Path] = []
        with told(book):
            make_folder(book / STAGING)
            while True:
                self.folder = book / STAGING / secrets.token_hex(8)
                self._lock = FileLock(self.folder.with_suffix(".lock"))
                if self._lock.take():
                    break
            self.folder.mkdir()
        checkpoint("stage made")

    def will_move(self, source: Path, target: Path) -> None:
        """Schedule a staged, synced file or folder for its place in the book."""
        self._moves.append((source, target))

    def settle(self) -> None:
        """Move everything into place; called by the writer just before it commits.

        A target that is there already holds the same bytes (it is named by its hash) and is kept.
        """
        targets = [str(target.relative_to(self.book)) for _, target in self._moves]
        if not targets:
            return
        for source, _ in self._moves:
            sync_folder(source if source.is_dir() else source.parent)
        write_whole(self.folder / _INTENT, json.dumps(targets).encode())
        sync_folder(self.folder.parent)
        self.checkpoint("intent written")
        for source, target in self._moves:
            if not (target.is_file() and source.is_file()):
                self._moved.append(target)
                move(source, target)
            self.checkpoint("moved")
        self._moves = []

    def unsettle(self, is_referenced: Callable[[Path], bool]) -> None:
        """Delete what was moved into place for a transaction that then failed."""
        for target in self._moved:
            if not is_referenced(target):
                remove(target)
        self._moved = []

    def close(self) -> None:
        """Delete the staging folder and let go of it; what was settled stays."""
        if self._lock.held:
            remove(self.folder)
            self._lock.remove()


@dataclass(frozen=True, slots=True)
class Filled:
    """What another process put into a stage's folder: the recording packed, and its frames."""

    path: Path
    """The packed copy of the recording."""
    sha256: str
    """Of the original bytes."""
    size: int
    """Bytes of the original."""
    parts: tuple[Part, ...]
    frame_rows: int

    def wait(self) -> str:
        """Return the SHA-256 of the original bytes; there is nothing to wait for."""
        return self.sha256

    def give_up(self) -> None:
        """Do nothing: the copying has ended."""


def _signals_thread(folder: Path) -> SignalsThread:
    # Arrays are loaded only now: packing begins while they still are (`stage_ahead`).
    from shearbolt.book.signals_thread import SignalsThread

    return SignalsThread(folder)


class Filling:
    """Fills the folder of a stage that another process made and holds; synced like a stage."""

    def __init__(self, folder: Path, recording: Path) -> None:
        """Begin to copy a recording into `folder`, in a thread. Raises BookError."""
        self._folder = folder
        with told(folder):
            (folder / _SIGNALS).mkdir()
        self._job = EvidenceJob(recording, folder / _EVIDENCE, None, _nothing)
        self._signals: SignalsThread | None = None

    def _writer(self) -> SignalsThread:
        if self._signals is None:
            self._signals = _signals_thread(self._folder / _SIGNALS)
        return self._signals

    def frames(self, block: Frames, grouped: Groups | None = None) -> None:
        """Append frames in the recording's order. Raises BookError (a full disk).

        `grouped`: their order by groups, where the kernel has found it already.
        """
        with told(self._folder):
            self._writer().frames(block, grouped)

    def messages(self, messages: Iterable[Message]) -> None:
        """Append reassembled long messages. Raises BookError."""
        with told(self._folder):
            self._writer().messages(messages)

    def state(self, table: StateTable) -> None:
        """Keep the visit's second-by-second state. Raises BookError."""
        with told(self._folder):
            self._writer().state(table)

    def finish(self) -> Filled:
        """Write what is still held, and wait for the recording's copy. Raises BookError."""
        with told(self._folder):
            self._writer().finish()
        self._job.wait()
        sync_folder(self._folder / _SIGNALS)
        writer = self._writer()
        return Filled(self._job.path, self._job.sha256, self._job.size, writer.parts, writer.rows)

    def close(self) -> None:
        """End the copying and writing if they still run."""
        self._job.give_up()
        if self._signals is not None:
            self._signals.close()


def _nothing(_step: str) -> None:
    """Stand in for the checkpoint of crash tests."""


class StagedVisit(Stage):
    """A visit on its way in: the recording, its frames and messages, photos and voice clips."""

    def __init__(self, book: Path, checkpoint: Callable[[str], None]) -> None:
        super().__init__(book, checkpoint)
        self._job: EvidenceJob | Filled | None = None
        self._signals: SignalsThread | None = None

    def adopt(self, filled: Filled) -> None:
        """Take over what another process put into this stage's folder (`Filling`)."""
        self._job = filled

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        trouble: BaseException | None,
        trace: types.TracebackType | None,
    ) -> None:
        self.close()

    @property
    def job(self) -> EvidenceJob | Filled | None:
        """The copying of the recording, once begun."""
        return self._job

    @property
    def frame_rows(self) -> int:
        """Frames staged so far."""
        if isinstance(self._job, Filled):
            return self._job.frame_rows
        return 0 if self._signals is None else self._signals.rows

    @property
    def parts(self) -> tuple[Part, ...]:
        """Parquet files staged so far."""
        if isinstance(self._job, Filled):
            return self._job.parts
        return () if self._signals is None else self._signals.parts

    @property
    def signals_folder(self) -> Path:
        """Folder of the staged Parquet parts."""
        return self.folder / _SIGNALS

    def _writer(self) -> SignalsThread:
        if self._signals is None:
            self.signals_folder.mkdir()
            self._signals = _signals_thread(self.signals_folder)
        return self._signals

    def evidence(self, path: Path, progress: Progress | None = None) -> EvidenceJob:
        """Begin to copy the recording: packed and hashed in one pass, in a thread of its own.

        Wait for the returned job before filing (filing does); `progress` is called in the thread.
        """
        target = self.folder / _EVIDENCE
        job = EvidenceJob(Path(path), target, progress, self.checkpoint)
        self._job = job
        return job

    def frames(self, block: Frames, grouped: Groups | None = None) -> None:
        """Append frames in the recording's order. Raises BookError (a full disk).

        `grouped`: their order by groups, where the kernel has found it already.
        """
        with told(self.folder):
            self._writer().frames(block, grouped)
        self.checkpoint("frames staged")

    def messages(self, messages: Iterable[Message]) -> None:
        """Append reassembled long messages. Raises BookError."""
        with told(self.folder):
            self._writer().messages(messages)
        self.checkpoint("messages staged")

    def state(self, table: StateTable) -> None:
        """Keep the visit's second-by-second state. Raises BookError."""
        with told(self.folder):
            self._writer().state(table)
        self.checkpoint("state staged")

    def attachment(self, path: Path) -> str:
        """Stage a photo or voice clip and return its SHA-256. Raises BookError."""
        sha256 = hash_file(path)
        staged = self.folder / f"attachment-{sha256}"
        with told(path):
            staged.write_bytes(path.read_bytes())
            sync_file(staged)
        self.will_move(staged, attachment_path(self.book, sha256))
        return sha256

    def finish(self) -> None:
        """Write the frames and messages still held. Raises BookError."""
        if self._signals is not None:
            with told(self.folder):
                self._signals.finish()
            self.checkpoint("signals finished")

    def close(self) -> None:
        """End copying and writing if they still run, and delete what was not filed."""
        if self._job is not None:
            self._job.give_up()
        if self._signals is not None:
            self._signals.close()
        super().close()


def stage_ahead(book: Path, recording: Path) -> StagedVisit | None:
    """Begin to pack a recording for a book in this folder before the book itself is opened.

    The packing takes about as long as it does to load what reads and files, so it is begun first.
    The stage has to be closed, whatever becomes of the recording. None: it cannot be done, and
    whoever opens the book or the recording will say why.
    """
    if not recording.is_file():
        return None
    try:
        stage = StagedVisit(book.absolute(), _nothing)
    except BookError:
        return None
    stage.evidence(recording)
    return stage


def sweep(book: Path, is_referenced: Callable[[Path], bool]) -> int:
    """Delete what dead processes left behind and nothing in the record refers to.

    The caller holds the writer's lock. `is_referenced` is asked about paths in the book folder.
    Returns how many stages were swept.
    """
    staging = book / STAGING
    if not staging.is_dir():
        return 0
    swept = 0
    names = {entry.name.removesuffix(".lock") for entry in staging.iterdir()}
    for name in sorted(names):
        lock = FileLock(staging / f"{name}.lock")
        if not lock.take():
            continue  # its process lives
        folder = staging / name
        for target in _intended(folder / _INTENT):
            if not is_referenced(book / target):
                remove(book / target)
        remove(folder)
        lock.remove()
        swept += 1
    return swept


def _intended(path: Path) -> list[str]:
    """Return the destinations written down; none where the writing itself was cut short."""
    try:
        found = json.loads(path.read_bytes())
    except (FileNotFoundError, ValueError):
        return []
    return [str(one) for one in found]


def has_leftovers(book: Path) -> bool:
    """Tell, cheaply, whether any stage exists."""
    staging = book / STAGING
    return staging.is_dir() and any(staging.iterdir())
