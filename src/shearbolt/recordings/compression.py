"""Decompression that survives damage: what can be unpacked is given, the rest is told of.

gzip (RFC 1952) and zstd (RFC 8878), each with any number of members or frames. After a damaged
place the next member or frame is looked for; inside one, nothing after the damage can be had.
"""

from __future__ import annotations

import io
import zlib
from collections.abc import Callable, Generator
from typing import Protocol

import zstandard

from shearbolt.model.reading import NotRead

_READ_BYTES = 1 << 14
# A piece of input bounds the output of one call: 1032:1 for deflate, and for zstd a block of
# 128 KiB from four bytes.
_GZIP_PIECE = 1 << 13
_ZSTD_PIECE = 1 << 10
_TRIAL_BYTES = 1 << 12
_MAGIC = {"gzip": b"\x1f\x8b\x08", "zstd": b"\x28\xb5\x2f\xfd"}


class _Bad(Exception):
    """The compressed bytes contradict themselves; `salvaged` came out before that."""

    def __init__(self, salvaged: bytes) -> None:
        super().__init__()
        self.salvaged = salvaged


class _Decoder(Protocol):
    """One member or frame being unpacked."""

    piece: int
    rest: bytes
    ended: bool

    def feed(self, piece: bytes) -> bytes:
        """Unpack a piece; raises _Bad."""


class _Gzip:
    """One gzip member."""

    piece = _GZIP_PIECE

    def __init__(self) -> None:
        self._inner = zlib.decompressobj(wbits=31)
        self.rest = b""
        self.ended = False

    def feed(self, piece: bytes) -> bytes:
        """Unpack a piece; on damage unpack again byte by byte, up to the bad one."""
        before = self._inner.copy()
        try:
            data = self._inner.decompress(piece)
        except zlib.error:
            out = []
            for at in range(len(piece)):
                try:
                    out.append(before.decompress(piece[at : at + 1]))
                except zlib.error:
                    break
            raise _Bad(b"".join(out)) from None
        self.ended = self._inner.eof
        self.rest = self._inner.unused_data
        return data


class _Zstd:
    """One zstd frame."""

    piece = _ZSTD_PIECE

    def __init__(self) -> None:
        self._inner = zstandard.ZstdDecompressor().decompressobj()
        self.rest = b""
        self.ended = False

    def feed(self, piece: bytes) -> bytes:
        """Unpack a piece."""
        try:
            data = self._inner.decompress(piece)
        except zstandard.ZstdError:
            raise _Bad(b"") from None
        self.ended = self._inner.eof
        self.rest = self._inner.unused_data if self.ended else b""
        return data


class Unpacked(io.RawIOBase):
    """The decompressed bytes of a stream."""

    def __init__(self, raw: io.RawIOBase, kind: str, note: Callable[[NotRead], None]) -> None:
        """Unpack `raw` as `kind` ('gzip' or 'zstd'); each damaged place goes to `note`."""
        super().__init__()
        self._raw = raw
        self._kind = kind
        self._note = note
        self._pending = memoryview(b"")
        self._given = 0
        self._pieces = self._unpack()

    def readable(self) -> bool:
        """Tell that it can be read."""
        return True

    def readinto(self, buffer: memoryview | bytearray) -> int:  # type: ignore[override]
        """Fill `buffer` with decompressed bytes; 0 at the end."""
        while not self._pending:
            piece = next(self._pieces, None)
            if piece is None:
                return 0
            self._pending = memoryview(piece)
        count = min(len(buffer), len(self._pending))
        buffer[:count] = self._pending[:count]
        self._pending = self._pending[count:]
        return count

    def close(self) -> None:
        """Close the file below as well."""
        self._pieces.close()
        self._raw.close()
        super().close()

    def _decoder(self) -> _Decoder:
        """Start a member or frame."""
        return _Gzip() if self._kind == "gzip" else _Zstd()

    def _more(self) -> bytes:
        """Read on in the compressed file."""
        return self._raw.read(_READ_BYTES) or b""

    def _damaged(self, reason: str) -> None:
        """Tell of a damaged place, at the decompressed byte where it is felt."""
        self._note(NotRead(f"{self._kind} compression: {reason}", 1, byte=self._given))

    def _unpack(self) -> Generator[bytes, None, None]:
        """Give decompressed pieces, member after member."""
        waiting = self._more()
        while waiting:
            decoder = self._decoder()
            if self._kind == "zstd" and _skippable(waiting):
                waiting = self._skip(waiting)
                continue
            first = True
            while not decoder.ended:
                if not waiting:
                    waiting = self._more()
                    if not waiting:
                        self._damaged("the file ends too early")
                        return
                piece, waiting = waiting[: decoder.piece], waiting[decoder.piece :]
                try:
                    data = decoder.feed(piece)
                except _Bad as bad:
                    self._given += len(bad.salvaged)
                    if bad.salvaged:
                        yield bad.salvaged
                    self._damaged("damaged from here to the next whole part, or to the end")
                    waiting = self._resync((piece[4:] if first else piece) + waiting)
                    break
                first = False
                if data:
                    self._given += len(data)
                    yield data
            else:
                waiting = self._next_part(decoder.rest + waiting)

    def _next_part(self, waiting: bytes) -> bytes:
        """Go on behind a whole member or frame; b'' at the end of the file."""
        if self._kind == "gzip":
            # Zeros may follow the last member (common practice of tape and block devices).
            waiting = waiting.lstrip(b"\0")
        while len(waiting) < 4:
            more = self._more()
            if not more:
                break
            waiting = (waiting + more).lstrip(b"\0") if self._kind == "gzip" else waiting + more
        if not waiting or waiting.startswith(_MAGIC[self._kind]) or _skippable(waiting):
            return waiting
        self._damaged("something else follows the packed data")
        return self._resync(waiting)

    def _skip(self, waiting: bytes) -> bytes:
        """Step over a skippable zstd frame (RFC 8878 3.1.2)."""
        if len(waiting) < 8:
            waiting += self._more()
        length = 8 + int.from_bytes(waiting[4:8], "little")
        while len(waiting) < length:
            length -= len(waiting)
            waiting = self._more()
            if not waiting:
                self._damaged("the file ends too early")
                return b""
        return waiting[length:] or self._more()

    def _resync(self, waiting: bytes) -> bytes:
        """Find the next member or frame that unpacks; b'' when there is none."""
        magic = _MAGIC[self._kind]
        while True:
            at = waiting.find(magic)
            if at < 0:
                tail = waiting[-len(magic) + 1 :]
                more = self._more()
                if not more:
                    return b""
                waiting = tail + more
                continue
            waiting = waiting[at:]
            while len(waiting) < _TRIAL_BYTES:
                more = self._more()
                if not more:
                    break
                waiting += more
            try:
                trial = self._decoder().feed(waiting[:_TRIAL_BYTES])
            except _Bad:
                waiting = waiting[1:]
                continue
            if trial or len(waiting) >= _TRIAL_BYTES:
                return waiting
            waiting = waiting[1:]


def _skippable(waiting: bytes) -> bool:
    """Tell whether a zstd skippable frame begins here."""
    return len(waiting) >= 4 and waiting[1:4] == b"\x2a\x4d\x18" and waiting[0] >> 4 == 5
