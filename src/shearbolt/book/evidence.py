"""Recordings and attachments as files named by the SHA-256 of what they hold, never altered."""

from __future__ import annotations

import hashlib
import os
import threading
from collections.abc import Callable
from pathlib import Path
from typing import BinaryIO

from shearbolt.book.telling import told
from shearbolt.errors import BookDamaged, BookError

_CHUNK = 1 << 20
_COPIED = 1 << 22
"""Bytes copied at a time: between them the thread waits for its turn among the others."""
_WINDOW_LOG, _HASH_LOG, _MIN_MATCH = 17, 12, 6
"""For the fast strategy of zstd: candump text becomes about four times smaller, a few hundredths
more than at level 1 and in four fifths of the time, since the table stays in the nearest cache
(measured); higher levels cost time and gain nothing."""

Progress = Callable[[int], None]
"""Called with the number of original bytes worked off so far."""


def hash_file(path: Path, progress: Progress | None = None) -> str:
    """Return the SHA-256 of a file's bytes, in hexadecimal.

    Raises BookError when it cannot be read.
    """
    digest = hashlib.sha256()
    done = 0
    with told(path), path.open("rb", buffering=0) as source:
        while chunk := source.read(_CHUNK):
            digest.update(chunk)
            done += len(chunk)
            if progress is not None:
                progress(done)
    return digest.hexdigest()


def evidence_path(folder: Path, sha256: str) -> Path:
    """Return where a book in `folder` keeps the recording with this hash."""
    return folder / "evidence" / sha256[:2] / f"{sha256}.zst"


def attachment_path(folder: Path, sha256: str) -> Path:
    """Return where a book in `folder` keeps the attachment with this hash."""
    return folder / "attachments" / sha256[:2] / sha256


def open_evidence(folder: Path, sha256: str) -> BinaryIO:
    """Open a recording of the book: a stream of the original bytes.

    Raises BookDamaged when the book does not hold it.
    """
    import zstandard

    path = evidence_path(folder, sha256)
    try:
        packed = path.open("rb")
    except FileNotFoundError:
        raise BookDamaged(f"{path}: this recording is missing from the book.") from None
    return zstandard.ZstdDecompressor().stream_reader(packed, closefd=True, read_across_frames=True)


def verify_evidence(folder: Path, sha256: str) -> str | None:
    """Unpack a recording and compare its hash; return what is wrong, or None."""
    import zstandard

    digest = hashlib.sha256()
    try:
        with open_evidence(folder, sha256) as source:
            while chunk := source.read(_CHUNK):
                digest.update(chunk)
    except BookDamaged:
        return "missing"
    except (zstandard.ZstdError, OSError) as trouble:
        return f"cannot be unpacked ({trouble})"
    return None if digest.hexdigest() == sha256 else "holds other bytes than were brought in"


class EvidenceJob:
    """A recording on its way into the staging folder: copied, packed and hashed in a thread."""

    def __init__(
        self,
        source: Path,
        target: Path,
        progress: Progress | None,
        checkpoint: Callable[[str], None],
    ) -> None:
        self._source = source
        self._target = target
        self._progress = progress
        self._checkpoint = checkpoint
        self._trouble: BaseException | None = None
        self.stopping = threading.Event()
        """Set once the copying was given up."""
        self._sha256 = ""
        self._size = 0
        self._thread = threading.Thread(target=self._run, name="evidence", daemon=True)
        self._thread.start()

    def _run(self) -> None:
        try:
            with told(self._source):
                self._copy()
        except BaseException as trouble:
            self._trouble = trouble

    def _copy(self) -> None:
        import zstandard

        digest = hashlib.sha256()
        manner = zstandard.ZstdCompressionParameters(
            strategy=zstandard.STRATEGY_FAST,
            window_log=_WINDOW_LOG,
            hash_log=_HASH_LOG,
            min_match=_MIN_MATCH,
            write_checksum=True,
        )
        packer = zstandard.ZstdCompressor(compression_params=manner).compressobj()
        room = memoryview(bytearray(_COPIED))
        with self._source.open("rb", buffering=0) as source, self._target.open("wb") as out:
            while (count := source.readinto(room)) and not self.stopping.is_set():
                digest.update(room[:count])
                with told(self._target):
                    out.write(packer.compress(room[:count]))
                self._size += count
                if self._progress is not None:
                    self._progress(self._size)
                self._checkpoint("evidence chunk")
            with told(self._target):
                out.write(packer.flush())
                out.flush()
                os.fsync(out.fileno())
        if not self.stopping.is_set():
            self._sha256 = digest.hexdigest()
        self._checkpoint("evidence synced")

    def wait(self) -> str:
        """Wait for its end and return the SHA-256 of the original bytes.

        Raises BookError when the file could not be read or the copy not be written.
        """
        self._thread.join()
        if self._trouble is not None:
            raise self._trouble
        if not self._sha256:
            raise BookError(f"{self._source}: bringing it in was given up.")
        return self._sha256

    def give_up(self) -> None:
        """End early; the copy is useless afterwards."""
        self.stopping.set()
        self._thread.join()

    @property
    def sha256(self) -> str:
        """SHA-256 of the original bytes, waited for."""
        return self.wait()

    @property
    def size(self) -> int:
        """Bytes of the original, waited for."""
        self.wait()
        return self._size

    @property
    def path(self) -> Path:
        """The packed copy in the staging folder."""
        return self._target
