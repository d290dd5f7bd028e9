"""Whether the blocks of an MDF 4 file hang together, before the library is trusted with it.

The library follows links wherever they lead: on a damaged file it may turn in a circle or take
a length of many gigabytes at its word. This walk finds both first (ASAM MDF 4.1, block header:
identification, reserved, length, number of links, links).
"""

from __future__ import annotations

import struct
from dataclasses import dataclass
from typing import BinaryIO

_HEADER = struct.Struct("<4s4xQQ")
_FIRST_BLOCK = 64
_MOST_LINKS = 1 << 20
_MOST_BLOCKS = 1 << 22
# Kinds whose first link leads to the next of the same list, which must end.
_LISTS = frozenset((b"##DG", b"##CG", b"##CN", b"##DL", b"##FH", b"##AT", b"##CH", b"##EV"))


@dataclass(frozen=True, slots=True)
class Fault:
    """What is wrong with the blocks of a file."""

    words: str
    """For a person, in the middle of a sentence."""
    at: int
    """Byte of the block."""


def fault_of(file: BinaryIO, size: int) -> Fault | None:
    """Say what is wrong with the blocks of a file of `size` bytes; None when they hang together.

    Every link must lead to a block inside the file, and no list may come back to itself.
    """
    waiting = [_FIRST_BLOCK]
    following: dict[int, int] = {}
    seen: set[int] = set()
    while waiting:
        at = waiting.pop()
        if at in seen:
            continue
        seen.add(at)
        if len(seen) > _MOST_BLOCKS:
            return Fault("it has too many blocks", at)
        file.seek(at)
        head = file.read(_HEADER.size)
        if len(head) < _HEADER.size:
            return Fault("it ends too early", at)
        kind, length, count = _HEADER.unpack(head)
        if not kind.startswith(b"##"):
            return Fault("one of its blocks is damaged", at)
        if length < _HEADER.size + 8 * count or count > _MOST_LINKS:
            return Fault("one of its blocks is damaged", at)
        if at + length > size:
            return Fault("it ends too early", at)
        links = struct.unpack(f"<{count}Q", file.read(8 * count))
        if kind in _LISTS and links and links[0]:
            following[at] = links[0]
        if any(one and (one > size - _HEADER.size or one < _FIRST_BLOCK) for one in links):
            return Fault("it ends too early, or one of its links is damaged", at)
        waiting += [one for one in links if one]
    circle = _circle(following)
    return Fault("one of its lists runs in a circle", circle) if circle else None


def _circle(following: dict[int, int]) -> int:
    """Return a block to which following the first links comes back; 0 when there is none."""
    settled: set[int] = set()
    for start in following:
        path: set[int] = set()
        at: int | None = start
        while at is not None and at not in settled:
            if at in path:
                return at
            path.add(at)
            at = following.get(at)
        settled |= path
    return 0
