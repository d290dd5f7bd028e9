"""The bytes of a recording on disk: plain, gzip or zstd, told from the first bytes."""

from __future__ import annotations

import hashlib
import io
from collections.abc import Callable
from pathlib import Path
from typing import BinaryIO

from shearbolt.errors import EmptyRecording, RecordingError
from shearbolt.model.reading import NotRead
from shearbolt.recordings.recording import Progress

HEAD_BYTES = 1 << 16
"""Decompressed bytes that recognition looks at."""
_BUFFER_BYTES = 1 << 20


class FileSource:
    """A ByteSource over one file; decompresses on the way, in bounded memory."""

    def __init__(self, path: Path) -> None:
        """Look at the file; raises RecordingError with one sentence when it cannot be read."""
        self._path = path
        self._name = str(path)
        self._damage: tuple[NotRead, ...] = ()
        try:
            if path.is_dir():
                raise RecordingError(self._name, "is a folder; name the recordings in it instead.")
            if path.exists() and not path.is_file():
                raise RecordingError(self._name, "is no ordinary file.")
            with path.open("rb") as file:
                self._magic = file.read(4)
            self._size = path.stat().st_size
        except FileNotFoundError:
            raise RecordingError(self._name, "there is no such file.") from None
        except PermissionError:
            raise RecordingError(self._name, "may not be read (no permission).") from None
        except (OSError, ValueError) as trouble:
            raise RecordingError(self._name, f"cannot be read ({_words(trouble)}).") from trouble
        if not self._size:
            raise EmptyRecording(self._name, "is empty, zero bytes long.")

    @property
    def name(self) -> str:
        """Path as the person gave it."""
        return self._name

    @property
    def path(self) -> Path:
        """Where the file lies."""
        return self._path

    @property
    def size(self) -> int:
        """Bytes of the file as it lies on disk."""
        return self._size

    @property
    def compression(self) -> str:
        """How it is compressed: '', 'gzip' or 'zstd'."""
        if self._magic[:2] == b"\x1f\x8b":
            return "gzip"
        if self._magic == b"\x28\xb5\x2f\xfd" or (
            self._magic[1:] == b"\x2a\x4d\x18" and self._magic[0] >> 4 == 5
        ):
            return "zstd"
        return ""

    def head(self, count: int = HEAD_BYTES) -> bytes:
        """Return the first decompressed bytes, at most `count`."""
        with self.open() as stream:
            return _checked_read(self._name, stream, count)

    def open(self, progress: Progress | None = None) -> BinaryIO:
        """Open the decompressed stream from its start.

        Damage in the compression never raises: the stream skips it and `damage` tells of it.
        """
        self._damage = ()
        try:
            file = self._path.open("rb", buffering=0)
        except OSError as trouble:
            raise RecordingError(self._name, f"cannot be read ({_words(trouble)}).") from trouble
        counted: io.RawIOBase = _Counted(file, self._name, progress)
        if self.compression:
            # Late: most recordings are plain.
            from shearbolt.recordings.compression import Unpacked

            counted = Unpacked(counted, self.compression, self._note)
        return io.BufferedReader(counted, _BUFFER_BYTES)

    def damage(self) -> tuple[NotRead, ...]:
        """Return what decompression could not give, once the stream was read to its end."""
        return self._damage

    def _note(self, one: NotRead) -> None:
        """Keep one place of damage."""
        self._damage = (*self._damage, one)


class _Counted(io.RawIOBase):
    """The raw file, telling how far it was read."""

    def __init__(self, file: io.FileIO, name: str, progress: Callable[[int], None] | None) -> None:
        super().__init__()
        self._file = file
        self._name = name
        self._progress = progress
        self._done = 0

    def readable(self) -> bool:
        return True

    def readinto(self, buffer: memoryview | bytearray) -> int:  # type: ignore[override]
        try:
            count = self._file.readinto(buffer) or 0
        except OSError as trouble:
            raise RecordingError(self._name, f"cannot be read ({_words(trouble)}).") from trouble
        self._done += count
        if self._progress is not None and count:
            self._progress(self._done)
        return count

    def close(self) -> None:
        self._file.close()
        super().close()


def _checked_read(name: str, stream: BinaryIO, count: int) -> bytes:
    """Read up to `count` bytes, however the stream deals them out."""
    try:
        return stream.read(count)
    except OSError as trouble:
        raise RecordingError(name, f"cannot be read ({_words(trouble)}).") from trouble


def _words(trouble: Exception) -> str:
    """Say what the system said, without its numbers."""
    text = getattr(trouble, "strerror", None) or str(trouble)
    return str(text).lower()


def unpacked_sha256(path: Path) -> str | None:
    """Return the SHA-256 of a packed recording's bytes once unpacked; None where it is not packed.

    So a recording is known again whether it comes packed or not.
    """
    source = FileSource(path)
    if not source.compression:
        return None
    digest = hashlib.sha256()
    with source.open() as stream:
        while chunk := stream.read(1 << 20):
            digest.update(chunk)
    return digest.hexdigest()
