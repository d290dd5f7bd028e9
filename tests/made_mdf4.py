"""MDF 4 bus logs as a recorder writes them: the description first, then the records.

Built block by block after ASAM MDF 4.1, independently of the readers and of the library's writer,
which puts the description last. Every record's place in the file is known.
"""

from __future__ import annotations

import struct
import zlib
from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import pairwise

from shearbolt.model.frames import (
    BITRATE_SWITCH,
    ERROR,
    ERROR_STATE,
    EXTENDED,
    FD,
    REMOTE,
    SENT,
    PlainFrame,
)

START_US = 1_777_700_000_000_000
_LENGTHS = (0, 1, 2, 3, 4, 5, 6, 7, 8, 12, 16, 20, 24, 32, 48, 64)
_KINDS = {0: "CAN_DataFrame", REMOTE: "CAN_RemoteFrame", ERROR: "CAN_ErrorFrame"}
_FIXED = 15
"""Bytes of a record before its data bytes."""


@dataclass
class Made:
    """A file and where everything stands in it."""

    data: bytes
    frames: list[PlainFrame]
    places: list[list[tuple[int, int]]] = field(default_factory=list)
    """Stretches (first byte, byte behind the last) of each frame's record, and of its data bytes
    where they are apart; for packed data, its blocks."""
    data_at: int = 0
    """Where the first data block begins."""
    blocks: list[int] = field(default_factory=list)
    """Positions of the data blocks."""
    lists: list[int] = field(default_factory=list)
    """Positions of the DL blocks."""


class _File:
    """Blocks in the order of the file, with links to one another by number."""

    def __init__(self) -> None:
        self.blocks: list[tuple[bytes, list[int], bytes]] = []
        self.lengths: dict[int, int] = {}

    def add(self, kind: bytes, links: Sequence[int], body: bytes) -> int:
        """Add a block; links are numbers of blocks, 0 for none; return its number, from 1."""
        self.blocks.append((kind, list(links), body))
        return len(self.blocks)

    def text(self, text: str) -> int:
        """Add a text block."""
        raw = text.encode() + b"\0"
        return self.add(b"TX", [], raw + bytes(-len(raw) % 8))

    def places(self) -> list[int]:
        """Return where each block begins; 0 for the number 0."""
        out, at = [0], 64
        for _, links, body in self.blocks:
            out.append(at)
            at += -(-(24 + 8 * len(links) + len(body)) // 8) * 8
        return out

    def bytes(self, unfinished: bool) -> bytes:
        """Write it all."""
        places = self.places()
        mark = b"UnFinMF " if unfinished else b"MDF     "
        out = bytearray(mark + b"4.10    " + b"made    " + bytes(4) + struct.pack("<H", 410))
        out += bytes(64 - len(out))
        if unfinished:
            out[60] = 0x01 | 0x04
        for number, (kind, links, body) in enumerate(self.blocks, 1):
            out += bytes(places[number] - len(out))
            length = self.lengths.get(number, 24 + 8 * len(links) + len(body))
            out += struct.pack("<2s2s4xQQ", b"##", kind, length, len(links))
            out += struct.pack(f"<{len(links)}Q", *(places[one] for one in links)) + body
        return bytes(out)


def _channel(file: _File, name: str, following: int, **at: int) -> int:
    """Add a CN block."""
    body = struct.pack(
        "<BBBBLLLLBxHdddddd",
        at.get("stored", 0),
        at.get("sync", 0),
        at.get("data_type", 0),
        at.get("bit", 0),
        at["byte"],
        at["bits"],
        *(0, 0, 0, 0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0),
    )
    links = [following, at.get("inside", 0), file.text(name), 0, at.get("scale", 0)]
    return file.add(b"CN", [*links, at.get("data", 0), 0, 0], body)


def _group(file: _File, kind: str, width: int, variable: int | None, **of: int) -> int:
    """Add a CG block with its channels; `variable` is the block with its data bytes."""
    scale = file.add(b"CC", [0, 0, 0, 0], struct.pack("<BBHHHdddd", 1, 0, 0, 0, 2, 0, 0, 0, 1e-9))
    fields = [
        ("ID", {"byte": 8, "bits": 29}),
        ("IDE", {"byte": 11, "bit": 7, "bits": 1}),
        ("BusChannel", {"byte": 12, "bits": 4}),
        ("Dir", {"byte": 12, "bit": 4, "bits": 1}),
        ("EDL", {"byte": 12, "bit": 5, "bits": 1}),
        ("BRS", {"byte": 12, "bit": 6, "bits": 1}),
        ("ESI", {"byte": 12, "bit": 7, "bits": 1}),
        ("DLC", {"byte": 13, "bits": 4}),
        ("DataLength", {"byte": 14, "bits": 8}),
    ]
    if width:
        data = {"byte": _FIXED, "bits": 8 * width, "data_type": 10}
        if variable is not None:
            data |= {"stored": 1, "bits": 64, "data": variable}
        fields.append(("DataBytes", data))
    inside = 0
    for name, at in reversed(fields):
        inside = _channel(file, f"{kind}.{name}", inside, **at)
    bits = 8 * (_FIXED - 8 + width)
    event = _channel(file, kind, 0, byte=8, bits=bits, data_type=10, inside=inside)
    time = _channel(file, "Timestamp", event, byte=0, bits=64, stored=2, sync=1, scale=scale)
    return file.add(
        b"CG",
        [of.get("following", 0), time, 0, 0, 0, 0],
        struct.pack("<QQHH4xLL", of.get("id", 0), of.get("cycles", 0), 6, 46, _FIXED + width, 0),
    )


def _record(one: PlainFrame, kind: int, width: int, place: int | None) -> bytes:
    """Pack one record."""
    size = len(one.data) if one.length is None else one.length
    flags = int(one.channel) | (0x10 if one.flags & SENT else 0)
    for flag, bit in ((FD, 0x20), (BITRATE_SWITCH, 0x40), (ERROR_STATE, 0x80)):
        flags |= bit if one.flags & flag else 0
    ident = one.ident | (0x8000_0000 if one.flags & EXTENDED else 0)
    time_ns = (one.time_us - START_US) * 1000
    out = struct.pack("<QLBBB", time_ns, ident, flags, _LENGTHS.index(size), size)
    if place is not None:
        return out + struct.pack("<Q", place)
    return out + one.data.ljust(width, b"\0") if not kind else out + bytes(width)


def _kind(one: PlainFrame) -> int:
    return one.flags & (REMOTE | ERROR)


def _header(file: _File) -> int:
    """Add the HD block; its first data group follows."""
    body = struct.pack("<QhhBBBxdd", START_US * 1000, 0, 0, 2, 0, 0, 0.0, 0.0)
    return file.add(b"HD", [0, 0, 0, 0, 0, 0], body)


def made(
    frames: Sequence[PlainFrame],
    *,
    unsorted: bool = False,
    variable: bool = False,
    block_bytes: int = 0,
    packed: str = "",
    unfinished: bool = False,
    equal: bool = False,
    lists_last: bool = False,
) -> Made:
    """Write frames, at least one.

    `unsorted`: one stream with an identifier before each record, data of variable length in
    records of their own, directly before their frame. `variable`: data bytes apart. `block_bytes`:
    a list of blocks of so many bytes. `packed`: 'deflate' or 'transposed'. `unfinished`: neither
    counts nor the last length were written. `equal`: the list says the length of all once.
    `lists_last`: the lists stand behind the data blocks that they name.
    """
    kinds = [one for one in (0, REMOTE, ERROR) if any(_kind(it) == one for it in frames)]
    wide = 64 if any(len(one.data) > 8 for one in frames) else 8
    file = _File()
    _header(file)
    out = Made(b"", list(frames))
    streams: list[tuple[list[bytes], list[int | None], int, int]] = []
    groups: list[int] = []
    apart: list[tuple[int, int, int, int]] = []
    if unsorted:
        ids = {one: i + 1 for i, one in enumerate(kinds)}
        own = 0
        if variable:
            sizes = [] if unfinished else [len(one.data) for one in frames if not _kind(one)]
            head = struct.pack("<QQHH4xLL", 9, len(sizes), 1, 0, sum(sizes), 0)
            own = file.add(b"CG", [0] * 6, head)
        following = own
        for one in reversed(kinds):
            width = 0 if one == REMOTE else 8 if variable and not one else wide
            cycles = 0 if unfinished else sum(_kind(it) == one for it in frames)
            link = own if variable and not one else None
            at = {"id": ids[one], "cycles": cycles, "following": following}
            following = _group(file, _KINDS[one], width, link, **at)
        parts: list[bytes] = []
        numbers: list[int | None] = []
        place = 0
        for i, it in enumerate(frames):
            kind = _kind(it)
            elsewhere = variable and not kind
            width = 0 if kind == REMOTE else 8 if elsewhere else wide
            if elsewhere:
                parts.append(struct.pack("<BL", 9, len(it.data)) + it.data)
                numbers.append(None)
            record = _record(it, kind, width, place if elsewhere else None)
            parts.append(bytes((ids[kind],)) + record)
            numbers.append(i)
            if elsewhere:
                place += 4 + len(it.data)
        groups.append(file.add(b"DG", [0, following, 0, 0], bytes((1,)) + bytes(7)))
        streams.append((parts, numbers, groups[-1], 0))
    else:
        for one in kinds:
            rows = [i for i, it in enumerate(frames) if _kind(it) == one]
            elsewhere = variable and not one
            width = 0 if one == REMOTE else 8 if elsewhere else wide
            stride = _FIXED + width
            store, places = b"", []
            for i in rows:
                places.append(len(store))
                store += struct.pack("<L", len(frames[i].data)) + frames[i].data
            link = file.add(b"SD", [], store) if elsewhere else None
            if link is not None:
                ends = [*places[1:], len(store)]
                apart += [
                    (i, link, *it)
                    for i, it in zip(rows, zip(places, ends, strict=True), strict=True)
                ]
            cycles = 0 if unfinished else len(rows)
            group = _group(file, _KINDS[one], width, link, cycles=cycles)
            groups.append(file.add(b"DG", [0, group, 0, 0], bytes(8)))
            records = [
                _record(frames[i], one, width, places[n] if elsewhere else None)
                for n, i in enumerate(rows)
            ]
            streams.append((records, list(rows), groups[-1], stride))
    file.blocks[0][1][0] = groups[0]
    for before, behind in pairwise(groups):
        file.blocks[before - 1][1][0] = behind
    _data(
        file,
        out,
        streams,
        block_bytes,
        packed,
        equal=equal,
        unfinished=unfinished,
        apart=apart,
        lists_last=lists_last,
    )
    out.data = file.bytes(unfinished)
    return out


def _data(
    file: _File,
    out: Made,
    streams: list[tuple[list[bytes], list[int | None], int, int]],
    block_bytes: int,
    packed: str,
    *,
    equal: bool,
    unfinished: bool,
    apart: list[tuple[int, int, int, int]],
    lists_last: bool,
) -> None:
    """Add the data blocks, and say where the records stand."""
    spans: list[tuple[int, list[int], int, int, int]] = []
    numbers, lists = [], []
    for parts, frames, group, stride in streams:
        stream = b"".join(parts)
        step = block_bytes or max(len(stream), 1)
        cuts = list(range(0, len(stream), step))
        listed = bool(block_bytes or packed)
        before = len(file.blocks) + 1
        ahead = 0 if lists_last or not listed else -(-len(cuts) // 4) + bool(packed)
        own = [before + ahead + i for i in range(len(cuts))]
        top = own[0]
        if ahead:
            top, more = _list(file, own, cuts, step, packed, equal=equal)
            lists += more
        for at in cuts:
            _block(file, stream[at : at + step], packed, stride)
        numbers += own
        if listed and not ahead:
            top, more = _list(file, own, cuts, step, packed, equal=equal)
            lists += more
        file.blocks[group - 1][1][2] = top
        at = 0
        waiting: list[tuple[int, int]] = []
        for part, i in zip(parts, frames, strict=True):
            waiting.append((at, at + len(part)))
            at += len(part)
            if i is not None:
                spans += [(i, own, step, first, last) for first, last in waiting]
                waiting = []
    places = file.places()
    found: list[list[tuple[int, int]]] = [[] for _ in out.frames]
    for i, own, step, first, last in spans:
        for index in range(first // step, (last - 1) // step + 1):
            begin = places[own[index]]
            body_at = begin + 24 - index * step
            if packed:
                found[i].append((begin, begin + 24 + len(file.blocks[own[index] - 1][2])))
            else:
                start, stop = max(first, index * step), min(last, index * step + step)
                found[i].append((body_at + start, body_at + stop))
    for i, number, first, last in apart:
        found[i].append((places[number] + 24 + first, places[number] + 24 + last))
    out.places = found
    out.blocks = [places[one] for one in numbers]
    out.lists = [places[one] for one in lists]
    out.data_at = min(out.blocks, default=0)
    if unfinished and numbers:
        file.lengths[numbers[-1]] = 24


def _list(
    file: _File, own: list[int], cuts: list[int], step: int, packed: str, *, equal: bool
) -> tuple[int, list[int]]:
    """Add DL blocks that name four data blocks each; return the first one, and all."""
    made_lists: list[int] = []
    following = 0
    for start in reversed(range(0, len(own), 4)):
        some = own[start : start + 4]
        if equal:
            body = struct.pack("<B3xLQ", 1, len(some), step)
        else:
            body = struct.pack(f"<B3xL{len(some)}Q", 0, len(some), *cuts[start : start + 4])
        following = file.add(b"DL", [following, *some], body)
        made_lists.insert(0, following)
    if packed:
        body = struct.pack("<HBx4x", 1 if equal else 0, packed == "transposed")
        following = file.add(b"HL", [following], body)
    return following, made_lists


def _block(file: _File, data: bytes, packed: str, stride: int) -> None:
    """Add a DT or DZ block."""
    if not packed:
        file.add(b"DT", [], data)
        return
    method, columns, stored = 0, 0, data
    if packed == "transposed" and stride:
        method, columns = 1, stride
        rows = len(data) // stride
        area = data[: rows * stride]
        stored = b"".join(area[i::stride] for i in range(stride)) + data[rows * stride :]
    body = zlib.compress(stored)
    head = struct.pack("<2sBBLQQ", b"DT", method, 0, columns, len(data), len(body))
    file.add(b"DZ", [], head + body)
