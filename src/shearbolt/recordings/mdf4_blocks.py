"""The blocks of an MDF 4 file, read one by one so that a damaged one costs only itself.

ASAM MDF 4.1, block header: identification, reserved, length, number of links, links.
"""

from __future__ import annotations

import re
import struct
from bisect import bisect_right
from collections.abc import Iterator
from dataclasses import dataclass
from typing import BinaryIO

HEADER_BYTES = 24
FIRST_BLOCK = 64
"""Where the header block HD begins, behind the identification."""
_HEADER = struct.Struct("<4s4sQQ")
_MOST_LINKS = 1 << 20
_LONGEST_TEXT = 4096
_SCAN_BYTES = 1 << 20
_KNOWN = re.compile(
    rb"##(?:DG|CG|CN|CA|CC|CH|DT|DZ|DL|HL|SD|RD|SR|SI|TX|MD|FH|AT|EV)\0\0\0\0", re.DOTALL
)
_WITHOUT_LINKS = frozenset((b"DT", b"DZ", b"SD", b"RD", b"TX", b"MD"))


@dataclass(frozen=True, slots=True)
class Block:
    """Header of one block."""

    kind: bytes
    """Its two letters, e.g. b'CG'."""
    at: int
    """Byte of the file where it begins."""
    length: int
    """Bytes by its own header, header and links included."""
    links: tuple[int, ...]
    """Positions of other blocks; 0 for none."""

    @property
    def body_at(self) -> int:
        """Where its own data begin, behind the links."""
        return self.at + HEADER_BYTES + 8 * len(self.links)

    @property
    def end(self) -> int:
        """Byte behind its last."""
        return self.at + self.length

    def link(self, index: int) -> int:
        """Return a link, 0 where there is none."""
        return self.links[index] if index < len(self.links) else 0


class Blocks:
    """Reads blocks of one open file; nothing in it raises on damage."""

    def __init__(self, file: BinaryIO, size: int) -> None:
        """`size` is that of the file in bytes."""
        self._file = file
        self.size = size
        self._found: list[tuple[int, bytes]] | None = None

    def bytes_at(self, at: int, count: int) -> bytes:
        """Read up to `count` bytes at `at`; fewer at the end of the file."""
        if at < 0 or at >= self.size or count <= 0:
            return b""
        self._file.seek(at)
        return self._file.read(min(count, self.size - at))

    def header(self, at: int, *kinds: bytes) -> Block | None:
        """Read the header of a block of one of `kinds`; None where there is no such block.

        The block itself may end beyond the file.
        """
        if at < FIRST_BLOCK:
            return None
        head = self.bytes_at(at, HEADER_BYTES)
        if len(head) < HEADER_BYTES:
            return None
        mark, _, length, count = _HEADER.unpack(head)
        kind = mark[2:]
        if mark[:2] != b"##" or kind not in kinds or count > _MOST_LINKS:
            return None
        raw = self.bytes_at(at + HEADER_BYTES, 8 * count)
        # Data blocks of a recording that was never finished may have length 0.
        if len(raw) < 8 * count or (
            length < HEADER_BYTES + 8 * count and kind not in _WITHOUT_LINKS
        ):
            return None
        return Block(kind, at, length, struct.unpack(f"<{count}Q", raw))

    def body(self, block: Block, count: int) -> bytes:
        """Read the first `count` bytes of a block's own data; fewer where it ends before."""
        return self.bytes_at(block.body_at, min(count, max(block.end - block.body_at, 0)))

    def text(self, at: int) -> str:
        """Read a text block; '' where it is none."""
        block = self.header(at, b"TX", b"MD")
        if block is None:
            return ""
        return self.body(block, _LONGEST_TEXT).split(b"\0")[0].decode("utf-8", "replace")

    def chain(self, at: int, kind: bytes) -> Iterator[Block | int]:
        """Follow the first links of a list; a link that leads nowhere is given as its position.

        A list that comes back to itself ends there, with the position.
        """
        seen: set[int] = set()
        while at:
            block = self.header(at, kind)
            if block is None or at in seen:
                yield at
                return
            seen.add(at)
            yield block
            at = block.link(0)

    def found(self, *kinds: bytes) -> list[int]:
        """Search the whole file for headers of these kinds; positions, rising."""
        if self._found is None:
            self._found = list(self._scan())
        return [at for at, kind in self._found if kind in kinds]

    def next_after(self, at: int) -> int:
        """Return where the next block that the search found begins; else the file's end."""
        if self._found is None:
            self._found = list(self._scan())
        place = bisect_right(self._found, (at, b"~~"))
        return self._found[place][0] if place < len(self._found) else self.size

    def _scan(self) -> Iterator[tuple[int, bytes]]:
        """Search for what looks like the header of a block, whether a link leads to it or not."""
        at = FIRST_BLOCK
        while at < self.size:
            piece = self.bytes_at(at, _SCAN_BYTES + HEADER_BYTES)
            for match in _KNOWN.finditer(piece):
                if match.start() >= _SCAN_BYTES or match.start() + HEADER_BYTES > len(piece):
                    continue
                _, _, length, count = _HEADER.unpack_from(piece, match.start())
                kind = match.group()[2:4]
                if count > _MOST_LINKS or (kind in _WITHOUT_LINKS and count):
                    continue
                if length >= HEADER_BYTES + 8 * count or (kind in _WITHOUT_LINKS and not length):
                    yield at + match.start(), kind
            at += _SCAN_BYTES
