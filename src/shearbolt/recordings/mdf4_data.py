"""The data blocks of an MDF 4 file as one stream of bytes, lost stretches told apart.

Layouts of the blocks DT, SD, DZ, HL and DL after ASAM MDF 4.1.
"""

from __future__ import annotations

import re
import struct
import zlib
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from shearbolt.recordings.gather import Unread
from shearbolt.recordings.mdf4_blocks import HEADER_BYTES, Block, Blocks

DAMAGED_BLOCK = (
    "data block that is damaged: its last frames are lost, and one next to the damage may be wrong"
)
CUT_BLOCK = "data block that is cut short"
LOST_BLOCK = "data block that is lost"
BAD_HEADER = "data block whose header is damaged"
_DZ = struct.Struct("<2sBBLQQ")
_DL = struct.Struct("<B3xL")
_EQUAL_LENGTH = 1
_DEFLATE, _TRANSPOSED = 0, 1
_PIECE_BYTES = 1 << 22
_SALVAGE_BYTES = 64
_LARGEST_UNPACKED = 1 << 28
_ZEROS = re.compile(rb"\0{24,}")


@dataclass(frozen=True, slots=True)
class Segment:
    """One data block of a stream."""

    at: int
    """Position of the block."""
    data_at: int
    """Position of its bytes, packed or not."""
    stored: int
    """Bytes in the file."""
    size: int
    """Bytes once unpacked, by its header."""
    method: int = -1
    """-1 plain, else the way of packing by the DZ block."""
    columns: int = 0
    """Record length of a transposed block."""
    offset: int | None = None
    """Where its bytes stand in the stream; None where that is lost."""
    cut: bool = False
    """The file ends before it does."""
    nameless: bool = False
    """Its header is damaged: it is taken for a data block because of the link to it alone."""


@dataclass(frozen=True, slots=True)
class Piece:
    """Bytes of a stream that are one after another."""

    data: bytes
    offset: int | None
    """Where they stand in the stream; None where that is not known."""
    follows: bool
    """Nothing is missing between it and the piece before, whatever the offset."""
    at: int
    """Position in the file: of the bytes, or of their block where it is packed."""
    packed: bool


class DataReader:
    """Finds and unpacks data blocks; what is lost is told to `unread`."""

    def __init__(self, blocks: Blocks, unread: Unread, *, unfinished: bool, search: bool) -> None:
        """`unfinished`: the last length may not have been written; `search`: look for lost blocks
        in the whole file, which is worth its time only where something is damaged."""
        self._blocks = blocks
        self._unread = unread
        self._unfinished = unfinished
        self._search = search
        self.reached: set[int] = set()
        """Positions of all data blocks that a link leads to."""
        self.foreign = False
        """Some data are in a form that only the library reads (ASAM MDF 4.2 and later)."""

    def segments(self, link: int, expected: int | None) -> tuple[list[Segment], bool]:
        """List the data blocks behind a link, in order; and whether the list is whole.

        `expected`: bytes that a block standing alone should have.
        """
        if not link:
            return [], True
        if self._blocks.header(link, b"LD", b"DV", b"DI", b"RD", b"RV", b"RI", b"GD"):
            self.foreign = True
            self._unread.add("data in a form that is not read from a damaged file", byte=link)
            return [], True
        top = self._blocks.header(link, b"HL", b"DL")
        if top is not None and top.kind == b"HL":
            link = top.link(0)
            top = self._blocks.header(link, b"DL")
            if top is None:
                self._unread.add("list of data blocks that breaks off", byte=link)
                return [], False
        if top is None:
            found = self._segment(link, 0, expected, alone=True)
            return ([found], True) if found else ([], False)
        return self._listed(link)

    def _listed(self, link: int) -> tuple[list[Segment], bool]:
        """Read the data blocks of a DL list."""
        out: list[Segment] = []
        whole = True
        wanted: list[tuple[int, int | None]] = []
        for one in self._blocks.chain(link, b"DL"):
            if isinstance(one, int):
                self._unread.add("list of data blocks that breaks off", byte=one)
                whole = False
            else:
                some, sound = self._entries(one, len(wanted))
                wanted += some
                if not sound:
                    self._unread.add("list of data blocks that breaks off", byte=one.at)
                    whole = False
        packed = any(self._blocks.header(at, b"DZ") for at, _ in wanted)
        running: int | None = 0
        for i, (at, offset) in enumerate(wanted):
            offset = running if offset is None else offset
            following = wanted[i + 1][1] if i + 1 < len(wanted) else None
            expected = following - offset if following is not None and offset is not None else None
            found = self._segment(at, offset, expected, alone=False, packed=packed)
            if found:
                out.append(found)
                running = None if offset is None else offset + found.size
            else:
                whole = False
                running = None
        return out, whole

    def _entries(self, block: Block, before: int) -> tuple[list[tuple[int, int | None]], bool]:
        """Give position and offset in the stream of each data block that a DL block names; and
        whether it names as many as it says."""
        links = [one for one in block.links[1:] if one]
        raw = self._blocks.body(block, _DL.size + 8 * max(len(block.links) - 1, 1))
        if len(raw) < _DL.size + 8:
            return [(one, None) for one in links], False
        flags, stated = _DL.unpack_from(raw)
        if len(links) < max(stated, len(block.links) - 1, 1):
            # Which of them is missing cannot be told, nor so where the others belong.
            return [(one, None) for one in links], self._unfinished and not links
        if flags & _EQUAL_LENGTH:
            (each,) = struct.unpack_from("<Q", raw, _DL.size)
            return [(one, (before + i) * each) for i, one in enumerate(links)], True
        count = min((len(raw) - _DL.size) // 8, len(links))
        known = struct.unpack_from(f"<{count}Q", raw, _DL.size)
        offsets: list[int | None] = [*known, *[None] * (len(links) - count)]
        return list(zip(links, offsets, strict=True)), True

    def segment(self, at: int) -> Segment | None:
        """Read the header of a data block that no list names."""
        return self._segment(at, None, None, alone=True)

    def _segment(
        self,
        at: int,
        offset: int | None,
        expected: int | None,
        *,
        alone: bool,
        packed: bool = False,
    ) -> Segment | None:
        """Read the header of one data block; without a sound one, take its place from the list.

        `packed`: others of the list are, so that a block without header is no plain one.
        """
        self.reached.add(at)
        block = self._blocks.header(at, b"DT", b"SD", b"DZ")
        if block is not None and block.kind == b"DZ":
            return self._packed(block, offset)
        data_at = at + HEADER_BYTES
        if data_at > self._blocks.size:
            self._unread.add(LOST_BLOCK, byte=min(at, self._blocks.size))
            return None
        if block is None and not self._search:
            self._unread.add(BAD_HEADER, byte=at)
            return None
        size = block.length - HEADER_BYTES if block else -1
        limit = self._blocks.next_after(at) if self._search else self._blocks.size
        open_end = self._unfinished and size <= 0
        if block is None or (size <= 0 and (expected or open_end)):
            # An unpacked block whose header is lost still has its bytes where the list says.
            if block is None and (packed or self._looks_packed(at)):
                self._unread.add(LOST_BLOCK, byte=at)
                return None
            size = limit - data_at if expected is None else min(expected, limit - data_at)
            if size <= 0:
                if block is None:
                    self._unread.add(LOST_BLOCK, byte=at)
                    return None
                size = 0
            elif not open_end:
                self._unread.add(BAD_HEADER, byte=at)
        elif expected is not None and size != expected and self._search:
            better = min(expected, limit - data_at)
            if (not alone or size < expected) and better > 0 and better != size:
                self._unread.add(BAD_HEADER, byte=at)
                size = better
        elif (
            alone
            and expected is None
            and self._search
            and data_at + size > self._blocks.size > limit
        ):
            # It reaches beyond the file, and yet blocks follow: its length is wrong.
            self._unread.add(BAD_HEADER, byte=at)
            size = limit - data_at
        stored = min(size, self._blocks.size - data_at)
        if stored < size and not open_end:
            self._unread.add(CUT_BLOCK, byte=self._blocks.size)
        return Segment(at, data_at, stored, size, offset=offset, nameless=block is None)

    def _looks_packed(self, at: int) -> bool:
        """Tell whether the rest of a DZ header stands behind a damaged beginning."""
        raw = self._blocks.bytes_at(at + HEADER_BYTES, _DZ.size)
        return len(raw) == _DZ.size and raw[:2] in (b"DT", b"SD") and raw[2] < 6 and raw[3] == 0

    def _packed(self, block: Block, offset: int | None) -> Segment | None:
        """Read the rest of a DZ header."""
        raw = self._blocks.bytes_at(block.body_at, _DZ.size)
        if len(raw) < _DZ.size:
            self._unread.add(CUT_BLOCK, byte=block.at)
            return None
        kind, method, _, columns, size, stored = _DZ.unpack(raw)
        data_at = block.body_at + _DZ.size
        if kind not in (b"DT", b"SD") or size > _LARGEST_UNPACKED:
            self.foreign |= kind in (b"DV", b"DI", b"RD", b"RV", b"RI")
            self._unread.add(BAD_HEADER, byte=block.at)
            return None
        if method not in (_DEFLATE, _TRANSPOSED):
            self.foreign = True
            self._unread.add("data block packed in an unknown way", byte=block.at)
            return None
        if stored != block.length - HEADER_BYTES - _DZ.size:
            self._unread.add(BAD_HEADER, byte=block.at)
            limit = self._blocks.next_after(block.at) if self._search else self._blocks.size
            stored = min(max(stored, block.length - HEADER_BYTES - _DZ.size), limit - data_at)
        have = max(min(stored, self._blocks.size - data_at), 0)
        return Segment(block.at, data_at, have, size, method, columns, offset, cut=have < stored)

    def kind_of(self, at: int) -> bytes:
        """Tell what a block found by the search holds: b'DT', b'SD' or b'' for neither."""
        block = self._blocks.header(at, b"DT", b"SD", b"DZ")
        if block is None or block.kind != b"DZ":
            return block.kind if block else b""
        kind = self._blocks.bytes_at(block.body_at, 2)
        return kind if kind in (b"DT", b"SD") else b""

    def pieces(self, segments: list[Segment]) -> Iterator[Piece]:
        """Give the bytes of data blocks, unpacked, in pieces of some megabytes."""
        for one in segments:
            if one.method >= 0:
                data = self._unpacked(one)
                yield Piece(data, one.offset, False, one.at, packed=True)
                continue
            for start in range(0, one.stored, _PIECE_BYTES):
                count = min(_PIECE_BYTES, one.stored - start)
                data = self._blocks.bytes_at(one.data_at + start, count)
                offset = None if one.offset is None else one.offset + start
                yield Piece(data, offset, start > 0, one.data_at + start, packed=False)

    def _unpacked(self, segment: Segment) -> bytes:
        """Unpack one block; on damage what surely or probably stood before it."""
        packed = self._blocks.bytes_at(segment.data_at, segment.stored)
        data, whole = _inflated(packed, segment.size)
        if whole and len(data) != segment.size:
            self._unread.add("data block that is not as long as it says", byte=segment.at)
        elif not whole:
            cut = segment.cut
            lost = LOST_BLOCK if segment.method == _TRANSPOSED else DAMAGED_BLOCK
            self._unread.add(CUT_BLOCK if cut else lost, byte=segment.at)
        if segment.method == _TRANSPOSED:
            return _turned_back(data, segment) if whole else b""
        return data


def _turned_back(data: bytes, segment: Segment) -> bytes:
    """Undo the transposition; b'' where bytes are missing."""
    rows = segment.size // segment.columns if segment.columns else 0
    area = rows * segment.columns
    if not area:
        return data
    if len(data) < area:
        return b""
    turned = np.frombuffer(data, np.uint8, area).reshape(segment.columns, rows).T
    return turned.tobytes() + data[area:]


def _inflated(packed: bytes, size: int) -> tuple[bytes, bool]:
    """Inflate; on damage what comes out before it, and False.

    Packed data has no long row of zeros: where there is one, the bytes before it are trusted alone.
    """
    inner = zlib.decompressobj()
    try:
        data = inner.decompress(packed, size + 1)
        if inner.eof:
            return data, True
    except zlib.error:
        pass
    if hole := _ZEROS.search(packed):
        packed = packed[: hole.start()]
    inner = zlib.decompressobj()
    out = []
    for at in range(0, len(packed), _SALVAGE_BYTES):
        try:
            out.append(inner.decompress(packed[at : at + _SALVAGE_BYTES]))
        except zlib.error:
            break
    return b"".join(out)[:size], False
