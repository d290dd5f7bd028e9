"""What every reader of recordings offers: frames in blocks, and what could not be read."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import BinaryIO, Protocol

from shearbolt.model.frames import Frames
from shearbolt.model.instants import Instant
from shearbolt.model.reading import NotRead, TimeBase

BLOCK_FRAMES = 1 << 19
"""Frames handed on at a time, about: enough to work in arrays, few enough for little memory."""

Progress = Callable[[int], None]
"""Called with the number of (compressed) file bytes worked off so far."""


class ByteSource(Protocol):
    """The bytes of a recording, decompressed on the way, openable as often as needed."""

    @property
    def name(self) -> str:
        """Path as the person gave it, for sentences about it."""

    @property
    def size(self) -> int:
        """Bytes of the file as it lies on disk."""

    def head(self, count: int) -> bytes:
        """Return the first decompressed bytes, at most `count`."""

    def open(self, progress: Progress | None = None) -> BinaryIO:
        """Open the decompressed stream from its start."""

    def damage(self) -> tuple[NotRead, ...]:
        """Return what decompression could not give, once the stream was read to its end."""


class Recording(Protocol):
    """One recording, opened and recognised."""

    @property
    def format(self) -> str:
        """Kind of file: candump, asc, blf, trc, csv, mdf4 or table."""

    @property
    def time_base(self) -> TimeBase:
        """What its times count from; known once opened."""

    @property
    def started_us(self) -> Instant | None:
        """Start that the file's own header names, where times are relative."""

    def blocks(self, progress: Progress | None = None) -> Iterator[Frames]:
        """Give the frames in the file's order, block by block, channels the same in every block
        so far as known (names are only ever appended).

        Raises EmptyRecording when there is none. May be called again for another pass.
        """

    def not_read(self) -> tuple[NotRead, ...]:
        """Return what could not be read, once the blocks were used up."""

    def doubts(self) -> tuple[str, ...]:
        """Return what a person should know about how it was read, once used up."""
