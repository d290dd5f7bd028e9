"""candump text: frames in blocks, read by the kernel, odd lines by the careful parser.

Times may be seconds since 1970 (-L, -t a), dates (-t A), seconds since the first frame (-t z) or
since the frame before (-t d). Which, is decided on the first frames and then kept.
"""

from __future__ import annotations

from collections.abc import Generator, Iterator
from contextlib import closing
from dataclasses import dataclass, field
from typing import BinaryIO

import numpy as np

from shearbolt.errors import EmptyRecording, ForeignRecording
from shearbolt.kernels import MAX_CHANNELS, Columns, Parsed, best, room_for
from shearbolt.model.frames import ERROR, I64, NO_LONG_DATA, Frames, LongData, word_of
from shearbolt.model.instants import Instant
from shearbolt.model.reading import NotRead, TimeBase
from shearbolt.recordings.candump_line import (
    LINE_TOO_LONG,
    LONGEST_LINE,
    LineFrame,
    NoFrame,
    TimeForm,
    explains_error,
    read_line,
)
from shearbolt.recordings.recording import BLOCK_FRAMES, ByteSource, Progress

CHUNK_BYTES = 1 << 20
"""Text read at a time: it stays in the processor's cache while it is parsed."""
PROBE_FRAMES = 4096
"""Frames looked at to tell what the times count from."""
OLDEST_CLOCK_US = 100_000_000 * 1_000_000
"""Times from here up (1973) are instants since 1970, smaller ones are relative."""
_TOO_MANY_CHANNELS = NoFrame(f"more than {MAX_CHANNELS} interfaces in one recording")
_NUL_BYTES = NoFrame("stretch of NUL bytes")
_GARBAGE_BEFORE = NoFrame("damage before a frame on the same line")


def looks_like(head: bytes) -> bool:
    """Tell from the first bytes of a file whether it holds candump text."""
    lines = head.removeprefix(b"\xef\xbb\xbf").lstrip(b"\0").split(b"\n")
    whole = lines[:-1] if len(lines) > 1 else lines
    return any(isinstance(read_line(line.strip(b"\0")), LineFrame) for line in whole[:200])


@dataclass(slots=True)
class _Found:
    """What one pass over the text has met so far."""

    not_read: dict[str, NotRead] = field(default_factory=dict)
    line: int = 1
    """Line to be read next."""
    frames: int = 0
    dated: int = 0
    timeless: int = 0
    clocked: int = 0
    """Frames with instants since 1970."""
    steps_back: int = 0
    longest_back_us: int = 0
    error_line: int = -1
    """Line of the last error frame, or of what explains it."""
    unended: bool = False
    """The last line had no line end."""

    def report(self, no: NoFrame, line: int, byte: int) -> None:
        """Count something that could not be read, first place kept."""
        if not no.reason:
            return
        known = self.not_read.get(no.reason)
        self.not_read[no.reason] = (
            NotRead(no.reason, no.count, line, byte)
            if known is None
            else NotRead(known.reason, known.count + no.count, known.line, known.byte)
        )


@dataclass(slots=True)
class _Block:
    """Rows being gathered for one block."""

    columns: Columns
    before_us: int = 0
    """Time of the line before its first."""
    rows: int = 0
    empty: list[int] = field(default_factory=list)
    """Rows of lines without a frame."""
    long_row: list[int] = field(default_factory=list)
    long_data: list[bytes] = field(default_factory=list)


class CandumpRecording:
    """A recording in candump text, console or log form (see `recording.Recording`)."""

    def __init__(self, source: ByteSource) -> None:
        """Open and tell what the times count from.

        Raises EmptyRecording without a single frame, ForeignRecording for other text.
        """
        self._source = source
        self._found = _Found()
        self._channels: list[bytes] = []
        self._delta = False
        with closing(self._pass(None, PROBE_FRAMES)) as probe:
            times = next(probe).time_us
        clock = int(np.count_nonzero(times >= OLDEST_CLOCK_US)) * 2 > len(times)
        self._base = TimeBase.ABSOLUTE if clock else TimeBase.RELATIVE
        self._delta = not clock and _are_differences(times)
        self._found = _Found()

    @property
    def format(self) -> str:
        """Return 'candump'."""
        return "candump"

    @property
    def time_base(self) -> TimeBase:
        """What the times count from."""
        return self._base

    @property
    def started_us(self) -> Instant | None:
        """Return None: candump text has no header."""
        return None

    def not_read(self) -> tuple[NotRead, ...]:
        """Return what could not be read, once the blocks were used up."""
        return (*self._found.not_read.values(), *self._source.damage())

    def doubts(self) -> tuple[str, ...]:
        """Return what a person should know about how it was read, once used up."""
        found, said = self._found, []
        if found.dated:
            said.append("Its dates name no time zone; they were taken as UTC.")
        if found.timeless:
            said.append(
                f"{found.timeless} frames have no time; each was given that of the frame before."
            )
        if self._delta:
            said.append("Its times are differences from frame to frame; they were added up.")
        other = found.frames - found.clocked if self._base is TimeBase.ABSOLUTE else found.clocked
        if other:
            said.append(f"{other} frames have times of another kind than the first ones.")
        if found.steps_back and not self._delta:
            said.append(
                f"Times step back {found.steps_back} times, by {found.longest_back_us / 1e6:g} s"
                " at most; they were kept as they are."
            )
        if found.unended:
            said.append("The last line has no line end and may be cut short.")
        return tuple(said)

    def blocks(self, progress: Progress | None = None) -> Iterator[Frames]:
        """Give the frames in the file's order, about BLOCK_FRAMES at a time.

        Raises EmptyRecording without a single frame, ForeignRecording for other text.
        """
        return self._pass(progress, BLOCK_FRAMES)

    def _pass(self, progress: Progress | None, block_frames: int) -> Generator[Frames, None, None]:
        self._found = found = _Found()
        self._channels = []
        last_raw = last_us = 0
        for block in self._gather(progress, block_frames, found):
            frames = self._finish(block)
            if not len(frames):
                continue
            if self._delta:
                np.cumsum(frames.time_us, out=frames.time_us)
                frames.time_us[:] += last_raw
                last_raw = int(frames.time_us[-1])
            self._watch_times(frames.time_us, last_us if found.frames else None, found)
            last_us = int(frames.time_us[-1])
            found.frames += len(frames)
            yield frames
        if not found.frames:
            raise self._nothing_in_it(found)

    def _nothing_in_it(self, found: _Found) -> EmptyRecording | ForeignRecording:
        if not found.not_read:
            return EmptyRecording(
                self._source.name, "holds no frame, only blank lines or comments."
            )
        first = min(found.not_read.values(), key=lambda one: one.byte or 0)
        return ForeignRecording(
            self._source.name,
            f"is no candump text: no line holds a frame (line {first.line}: {first.reason}).",
        )

    @staticmethod
    def _watch_times(times: I64, before: int | None, found: _Found) -> None:
        steps = np.diff(times) if before is None else np.diff(times, prepend=before)
        found.clocked += int(np.count_nonzero(times >= OLDEST_CLOCK_US))
        if len(steps) and int(steps.min()) < 0:
            found.steps_back += int(np.count_nonzero(steps < 0))
            found.longest_back_us = max(found.longest_back_us, -int(steps.min()))

    def _finish(self, block: _Block) -> Frames:
        """Cut a gathered block to the rows that hold a frame."""
        columns, rows = block.columns, block.rows
        names = tuple(name.decode("latin-1") for name in self._channels)
        parts = (
            columns.time_us[:rows],
            columns.ident[:rows],
            columns.flags[:rows],
            columns.channel[:rows],
            columns.length[:rows],
            columns.word[:rows],
        )
        long_row: I64 = np.array(block.long_row, np.int64)
        if block.empty:
            keep = np.ones(rows, np.bool_)
            keep[block.empty] = False
            long_row -= np.searchsorted(np.array(block.empty, np.int64), long_row)
            return Frames(
                parts[0][keep],
                parts[1][keep],
                parts[2][keep],
                parts[3][keep],
                parts[4][keep],
                parts[5][keep],
                names,
                _long_data(long_row, block.long_data),
            )
        return Frames(*parts, names, _long_data(long_row, block.long_data))

    def _gather(
        self, progress: Progress | None, block_frames: int, found: _Found
    ) -> Iterator[_Block]:
        """Fill blocks from the text, line by line, the last line with or without its end."""
        parse = best().parse_candump
        block = _Block(room_for(block_frames))
        with self._source.open(progress) as stream:
            for text, begin, end, byte in _whole_lines(stream, found):
                at = begin
                while at < end:
                    parsed = parse(text, at, end, block.columns, self._channels, block.rows)
                    if len(parsed.odd):
                        self._read_odd(text, byte, parsed, block, found)
                    block.rows += parsed.rows
                    found.line += parsed.rows
                    at = parsed.used
                    if block.rows == block_frames:
                        before_us = int(block.columns.time_us[-1])
                        yield block
                        block = _Block(room_for(block_frames), before_us)
        if block.rows:
            yield block

    def _read_odd(
        self, text: bytes, byte: int, parsed: Parsed, block: _Block, found: _Found
    ) -> None:
        """Read the lines that the kernel left, with care, into the rows kept for them."""
        columns = block.columns
        line_zero = found.line - block.rows
        for begin, end, row in parsed.odd.tolist():
            line = text[begin:end]
            number = line_zero + row
            before = int(columns.time_us[row - 1]) if row else block.before_us
            columns.time_us[row] = before
            if found.error_line == number - 1 and explains_error(line):
                block.empty.append(row)
                found.error_line = number
                continue
            read = self._with_care(line, number, byte + begin, found)
            channel = None if read is None else self._channel(read.channel)
            if read is None or channel is None:
                if read is not None:
                    found.report(_TOO_MANY_CHANNELS, number, byte + begin)
                block.empty.append(row)
                continue
            if read.form is TimeForm.NONE:
                found.timeless += 1
                columns.time_us[row] = 0 if self._delta else before
            else:
                found.dated += read.form is TimeForm.DATE
                columns.time_us[row] = read.time_us
            columns.ident[row] = read.ident
            columns.flags[row] = read.flags
            columns.channel[row] = channel
            columns.length[row] = read.length
            columns.word[row] = word_of(read.data)
            if len(read.data) > 8:
                block.long_row.append(row)
                block.long_data.append(read.data)
            if read.flags & ERROR:
                found.error_line = number

    def _channel(self, name: bytes) -> int | None:
        if name not in self._channels:
            if len(self._channels) >= MAX_CHANNELS:
                return None
            self._channels.append(name)
        return self._channels.index(name)

    @staticmethod
    def _with_care(line: bytes, number: int, byte: int, found: _Found) -> LineFrame | None:
        """Read one odd line; around damage, whatever whole frame its end still holds."""
        if byte == 0:
            line = line.removeprefix(b"\xef\xbb\xbf")
        bare = line.strip(b"\0\r")
        if len(bare) < len(line.strip(b"\r")):
            found.report(_NUL_BYTES, number, byte)
        read = read_line(bare)
        if isinstance(read, LineFrame):
            return read
        again = bare.rfind(b"(")
        if again > 0 and len(bare) <= LONGEST_LINE:
            rest = read_line(bare[again:])
            if isinstance(rest, LineFrame) and rest.form is not TimeForm.NONE:
                found.report(_GARBAGE_BEFORE, number, byte)
                return rest
        if bare:
            found.report(read, number, byte)
        return None


def _are_differences(times: I64) -> bool:
    """Tell whether relative times are differences from frame to frame (`candump -t d`).

    Times of a clock may step back now and then, and start over, but on the whole they rise;
    differences wander up and down without getting anywhere.
    """
    if len(times) < 4:
        return False
    steps = np.diff(times)
    if not steps[1:].any():
        # All equal but the first: one message at an even pace, if it is not a stuck clock.
        return bool(times[1] > 0)
    back = int(np.count_nonzero(steps < 0))
    return back * 10 >= len(steps) and abs(int(times[-1] - times[0])) * 4 < int(np.abs(steps).sum())


def _long_data(row: I64, data: list[bytes]) -> LongData:
    if not data:
        return NO_LONG_DATA
    start = np.zeros(len(data) + 1, np.int64)
    np.cumsum([len(one) for one in data], out=start[1:])
    return LongData(row, start, np.frombuffer(b"".join(data), np.uint8))


def _whole_lines(stream: BinaryIO, found: _Found) -> Iterator[tuple[bytes, int, int, int]]:
    """Cut a stream into stretches of whole lines: text, begin and end in it, byte position of text.

    Every stretch ends with a line feed; one is added where the stream's last line has none. A line
    beyond LONGEST_LINE is reported and left out, unless it is one of NUL bytes before a frame.
    """
    carry = b""
    at = 0
    skipping = False
    while chunk := stream.read(CHUNK_BYTES):
        first = 0
        if skipping or carry:
            # Only the line that began in the chunk before is copied together.
            first = chunk.find(b"\n") + 1
            if first and skipping:
                found.line += 1
            elif first:
                yield carry + chunk[:first], 0, len(carry) + first, at - len(carry)
            elif not skipping:
                carry += chunk
        if first or not (skipping or carry):
            skipping = False
            cut = chunk.rfind(b"\n") + 1
            if cut > first:
                yield chunk, first, cut, at
            carry = chunk[cut:]
        at += len(chunk)
        if len(carry) > LONGEST_LINE:
            if not carry.strip(b"\0"):
                carry = b"\0"
            else:
                found.report(LINE_TOO_LONG, found.line, at - len(carry))
                carry = b""
                skipping = True
    found.unended = skipping or bool(carry.strip(b"\0\r \t"))
    if carry:
        yield carry + b"\n", 0, len(carry) + 1, at - len(carry)
