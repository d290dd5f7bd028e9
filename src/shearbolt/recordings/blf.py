"""Recordings of kind .blf: a container of objects, most of them packed with deflate.

There is no public standard of this form; the layout read here is common practice, checked
against python-can's reader and writer. A file header is followed by objects, each beginning with
'LOBJ', its sizes and its type. Objects of type 10 are log containers whose (unpacked) contents,
one after another, are again a row of objects that may run over from one container to the next.
"""

from __future__ import annotations

import struct
import zlib
from collections.abc import Iterator
from datetime import UTC, datetime
from typing import BinaryIO

from shearbolt.model.frames import Frames
from shearbolt.model.instants import Instant
from shearbolt.model.reading import NotRead, TimeBase
from shearbolt.recordings.blf_objects import SIGNATURE, ObjectReader
from shearbolt.recordings.dates import LOCAL_TIME, instant_of
from shearbolt.recordings.gather import Channels, Unread, in_blocks, left_aside
from shearbolt.recordings.recording import ByteSource, Progress

_FILE_HEADER = struct.Struct("<4sLBBBBBBBBQQLL8H8H")
_OBJECT = struct.Struct("<4sHHLL")
_CONTAINER = struct.Struct("<H6xL4x")
_LOG_CONTAINER = 10
_CONTAINER_HEADER = b"\x10\x00"
_PLAIN, _DEFLATE = 0, 2
_LARGEST_OBJECT = 1 << 26
"""Bytes of one outer object; a longer one is damage, not data."""
_READ_BYTES = 1 << 20
_SALVAGE_PIECE = 64


def looks_like(head: bytes) -> bool:
    """Tell whether the first bytes of a file are of this kind, its header damaged or not."""
    return head.startswith(b"LOGG") or (
        SIGNATURE in head[:1024] and head.count(SIGNATURE) >= 1 and b"\0" in head[:1024]
    )


class BlfRecording:
    """A .blf recording."""

    format = "blf"

    def __init__(self, source: ByteSource) -> None:
        """Read the file header; raises RecordingError when the file cannot be opened."""
        self._source = source
        self._unread = Unread()
        self._objects: ObjectReader | None = None
        self._started: Instant | None = None
        self._header_size = 0
        self._told_size = 0
        head = source.head(_FILE_HEADER.size)
        if len(head) == _FILE_HEADER.size and head.startswith(b"LOGG"):
            fields = _FILE_HEADER.unpack(head)
            self._header_size = fields[1] if _FILE_HEADER.size <= fields[1] <= 4096 else 0
            self._told_size = fields[10]
            self._started = _system_time(fields[14:22])

    @property
    def time_base(self) -> TimeBase:
        """Times count from the start of the recording."""
        return TimeBase.RELATIVE

    @property
    def started_us(self) -> Instant | None:
        """Start by the header, its local date read as UTC."""
        return self._started

    def blocks(self, progress: Progress | None = None) -> Iterator[Frames]:
        """Give the frames block by block; raises EmptyRecording when there is none."""
        self._unread = Unread()
        self._objects = ObjectReader(Channels(), self._unread)
        with self._source.open(progress) as stream:
            yield from in_blocks(
                self._runs(stream, self._objects), self._source.name, self.not_read
            )

    def not_read(self) -> tuple[NotRead, ...]:
        """Return what could not be read, once the blocks were used up."""
        return self._unread.list() + self._source.damage()

    def doubts(self) -> tuple[str, ...]:
        """Return what a person should know about how it was read."""
        told = [] if self._started is None else [LOCAL_TIME]
        if self._objects is not None and self._objects.others:
            kinds = "other kinds (statistics, markers, other buses)"
            told.append(left_aside(self._objects.others, "record", kinds))
        return tuple(told)

    def _runs(self, stream: BinaryIO, objects: ObjectReader) -> Iterator[Frames]:
        """Give the frames of one container after another."""
        outer = _Outer(stream, self._unread)
        if self._header_size:
            outer.skip(self._header_size)
        else:
            self._unread.add("file header that contradicts itself", byte=0)
        for position, kind, body in outer.objects():
            if kind != _LOG_CONTAINER and body[4:6] == _CONTAINER_HEADER:
                # Only containers have so short a header: the type is what is damaged.
                self._unread.add("log container whose type is damaged", byte=position)
            elif kind != _LOG_CONTAINER:
                # Older files hold their objects without containers.
                yield objects.read(body, position)
                continue
            if len(body) < _OBJECT.size + _CONTAINER.size:
                self._unread.add("log container that is cut short", byte=position)
                continue
            method, size = _CONTAINER.unpack_from(body, _OBJECT.size)
            packed = body[_OBJECT.size + _CONTAINER.size :]
            if method == _PLAIN:
                yield objects.read(packed, position)
            elif method == _DEFLATE:
                data, whole = _inflate(packed)
                if not whole:
                    self._unread.add(
                        "log container that is damaged: its last frames are lost, and one next "
                        "to the damage may be wrong",
                        byte=position,
                    )
                elif size != len(data):
                    self._unread.add("log container that is not as long as it says", byte=position)
                yield objects.read(data, position)
                if not whole:
                    objects.break_off(position)
            else:
                self._unread.add("log container packed in an unknown way", byte=position)
                objects.break_off(position)
        objects.break_off(outer.position)
        if self._told_size > outer.position:
            self._unread.add(
                f"file that is shorter than its header says ({outer.position} of "
                f"{self._told_size} bytes)",
                byte=outer.position,
            )


class _Outer:
    """The outer row of objects, read from a stream; steps over damage."""

    def __init__(self, stream: BinaryIO, unread: Unread) -> None:
        self._stream = stream
        self._unread = unread
        self._buffer = b""
        self._at = 0
        self._before = 0

    @property
    def position(self) -> int:
        """Byte of the file that comes next."""
        return self._before + self._at

    def _have(self, count: int) -> bool:
        """Hold at least `count` bytes ahead; False at the end of the file."""
        while len(self._buffer) - self._at < count:
            more = self._stream.read(max(_READ_BYTES, count))
            if not more:
                return False
            self._before += self._at
            self._buffer = self._buffer[self._at :] + more
            self._at = 0
        return True

    def skip(self, count: int) -> None:
        """Step over bytes."""
        self._at += count if self._have(count) else len(self._buffer) - self._at

    def objects(self) -> Iterator[tuple[int, int, bytes]]:
        """Give (position, type, whole object); the last may be cut short by the file's end."""
        damaged = False
        while True:
            if not self._find(damaged):
                return
            position = self.position
            if not self._have(_OBJECT.size):
                self._unread.add("file that ends inside a record", byte=position)
                self._at = len(self._buffer)
                return
            _, header, _, size, kind = _OBJECT.unpack_from(self._buffer, self._at)
            damaged = size < _OBJECT.size or size > _LARGEST_OBJECT or not 16 <= header <= size
            if damaged:
                self._unread.add("record whose length cannot be right", byte=position)
                self._at += 4
                continue
            whole = self._have(size)
            body = self._buffer[self._at : self._at + size]
            if not whole:
                later = body.find(SIGNATURE, 4)
                if later > 0 and kind != _LOG_CONTAINER:
                    self._unread.add("record whose length cannot be right", byte=position)
                    self._at += 4
                    damaged = True
                    continue
                inner = self._next_container()
                if inner > 0:
                    # The length reaches beyond the file, and yet containers follow: it is wrong.
                    body = self._buffer[self._at : self._at + inner]
                else:
                    self._unread.add("file that ends inside a record", byte=position)
            elif kind == _LOG_CONTAINER and (inner := self._swallowed(size)) > 0:
                self._unread.add("record whose length cannot be right", byte=position)
                body = body[:inner]
            yield position, kind, body
            self._at += len(body)

    def _next_container(self) -> int:
        """Return how far ahead the next log container begins; -1 when none is in sight."""
        at = self._at + 4
        while (at := self._buffer.find(SIGNATURE, at)) >= 0:
            if _is_container(self._buffer, at):
                return at - self._at
            at += 4
        return -1

    def _swallowed(self, size: int) -> int:
        """Return where a log container begins inside a packed one, which cannot be; else -1."""
        method = self._buffer[self._at + 16] if size > 16 else _PLAIN
        if method != _DEFLATE:
            return -1
        at = self._next_container()
        return at if at < size else -1

    def _find(self, damaged: bool) -> bool:
        """Go to the next signature; False at the end of the file."""
        start = self.position
        while self._have(4):
            found = self._buffer.find(SIGNATURE, self._at)
            if found >= 0:
                lost = self._before + found - start
                self._at = found
                # Up to seven bytes of padding stand between two objects.
                if lost > 7 and not damaged:
                    self._unread.add("bytes that belong to no record", byte=start)
                return True
            self._at = max(len(self._buffer) - 3, self._at)
            if not self._have(4):
                break
        left = self._before + len(self._buffer) - start
        self._at = len(self._buffer)
        if left > 7 and not damaged:
            self._unread.add("bytes that belong to no record", byte=start)
        return False


def _is_container(buffer: bytes, at: int) -> bool:
    """Tell whether the header of a log container stands here."""
    if len(buffer) - at < _OBJECT.size + _CONTAINER.size:
        return False
    _, header, _, size, kind = _OBJECT.unpack_from(buffer, at)
    return bool(kind == _LOG_CONTAINER and header == 16 and 32 <= size <= _LARGEST_OBJECT)


def _inflate(packed: bytes) -> tuple[bytes, bool]:
    """Unpack a container; on damage what comes out before it, and False."""
    try:
        inner = zlib.decompressobj()
        data = inner.decompress(packed, _LARGEST_OBJECT)
        if inner.eof or inner.unconsumed_tail:
            return data, inner.eof
        return data, False
    except zlib.error:
        inner = zlib.decompressobj()
        out = []
        for at in range(0, len(packed), _SALVAGE_PIECE):
            try:
                out.append(inner.decompress(packed[at : at + _SALVAGE_PIECE]))
            except zlib.error:
                break
        return b"".join(out), False


def _system_time(fields: tuple[int, ...]) -> Instant | None:
    """Read a SYSTEMTIME as if it were UTC; None when it is unset or no date."""
    year, month, _, day, hour, minute, second, millisecond = fields
    try:
        moment = datetime(year, month, day, hour, minute, second, millisecond * 1000, tzinfo=UTC)
    except ValueError:
        return None
    return instant_of(moment)
