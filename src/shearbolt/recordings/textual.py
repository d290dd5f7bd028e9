"""What the readers of text share: one pass over the lines, frames gathered on the way."""

from __future__ import annotations

from collections.abc import Iterator
from typing import BinaryIO

from shearbolt.model.frames import Frames
from shearbolt.model.instants import Instant
from shearbolt.model.reading import NotRead, TimeBase
from shearbolt.recordings.gather import Channels, Gather, Unread, in_blocks, left_aside
from shearbolt.recordings.recording import BLOCK_FRAMES, ByteSource, Progress
from shearbolt.recordings.text import chunks_of_lines


class TextRecording:
    """A Recording read line by line; a format adds `begin` and `read_lines`."""

    format = ""

    def __init__(self, source: ByteSource) -> None:
        self.source = source
        self.unread = Unread()
        self.channels = Channels()
        self.gather = Gather(self.channels)
        self.other_lines = 0
        """Lines of known kinds that are no frames."""
        self.said: list[str] = []
        """Doubts about this pass, beside those known at opening."""

    @property
    def time_base(self) -> TimeBase:
        """What its times count from."""
        return TimeBase.RELATIVE

    @property
    def started_us(self) -> Instant | None:
        """Start that the file's header names."""
        return None

    def begin(self) -> None:
        """Forget what an earlier pass left behind."""

    def read_lines(self, first: int, lines: list[str]) -> None:
        """Read a run of lines, the first of them number `first`, into `gather` and `unread`."""
        raise NotImplementedError

    def blocks(self, progress: Progress | None = None) -> Iterator[Frames]:
        """Give the frames block by block; raises EmptyRecording when there is none."""
        self.unread = Unread()
        self.channels = Channels()
        self.gather = Gather(self.channels)
        self.other_lines = 0
        self.said = []
        self.begin()
        with self.source.open(progress) as stream:
            yield from in_blocks(self._runs(stream), self.source.name, self.not_read)

    def _runs(self, stream: BinaryIO) -> Iterator[Frames]:
        """Give the frames as the chunks of lines yield them."""
        for first, lines in chunks_of_lines(stream):
            self.read_lines(first, lines)
            if len(self.gather.rows) >= BLOCK_FRAMES // 4:
                yield self.gather.take()
        yield self.gather.take()

    def not_read(self) -> tuple[NotRead, ...]:
        """Return what could not be read, of lines and of the compression."""
        return self.unread.list() + self.source.damage()

    def doubts(self) -> tuple[str, ...]:
        """Return what a person should know about how it was read."""
        if not self.other_lines:
            return tuple(self.said)
        kinds = "other kinds (remarks, statistics, bus states)"
        return (*self.said, left_aside(self.other_lines, "line", kinds))
