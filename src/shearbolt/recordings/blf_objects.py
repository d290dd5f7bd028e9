"""The objects inside a .blf recording: found one after another, then read as arrays.

Finding the objects is a loop over their headers; the fields of all frames of one type are then
taken together.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from shearbolt.model.frames import (
    BITRATE_SWITCH,
    ERROR,
    ERROR_STATE,
    EXTENDED,
    FD,
    I64,
    NOT_DATA,
    REMOTE,
    SENT,
    U8,
    U32,
    U64,
    Frames,
    no_frames,
)
from shearbolt.recordings.gather import FD_LENGTHS, Channels, Unread, long_data_of

SIGNATURE = b"LOBJ"
_HEADER = struct.Struct("<4sHHLL")
_LARGEST_OBJECT = 1 << 20
"""Bytes of one object inside a container; a longer one is damage."""
_LAST_KIND = 1023
"""No type of object known to anyone is beyond it."""
_LATEST_US = 100 * 366 * 86400 * 1_000_000
"""No recording runs for a century: later times are damage."""

_CAN_MESSAGE, _CAN_ERROR_EXT, _CAN_MESSAGE2 = 1, 73, 86
_CAN_FD_MESSAGE, _CAN_FD_MESSAGE_64 = 100, 101
_CAN_ERROR = 2
# Least bytes behind the object's own header that the fields of a type need.
_BODY = {
    _CAN_MESSAGE: 16,
    _CAN_MESSAGE2: 16,
    _CAN_ERROR: 4,
    _CAN_ERROR_EXT: 32,
    _CAN_FD_MESSAGE: 84,
    _CAN_FD_MESSAGE_64: 40,
}
_IDENT_EXTENDED = 0x80000000
_TEN_MICROSECONDS = 1
_FD_LENGTH = np.array(FD_LENGTHS, np.uint8)
_Wide = npt.NDArray[np.uint8]


@dataclass(slots=True)
class _Fields:
    """Fields of the frames of one type; `row` is their place among all objects found."""

    row: I64
    time_us: I64
    ident: U32
    flags: U8
    channel: npt.NDArray[np.int64]
    length: U8
    word: U64
    long: list[bytes]
    """Whole data of those of more than 8 bytes."""
    sound: npt.NDArray[np.bool_]


class ObjectReader:
    """Reads a row of objects that comes in pieces; keeps the object cut by a piece's end."""

    def __init__(self, channels: Channels, unread: Unread) -> None:
        self._channels = channels
        self._unread = unread
        self._tail = b""
        self.others = 0
        """Objects of types that are no CAN frames."""

    def break_off(self, byte: int) -> None:
        """Begin anew behind a gap; what waited for its rest is lost and told of."""
        if len(self._tail) >= 4:
            self._unread.add("record cut off by damage or by the file's end", byte=byte)
        self._tail = b""

    def read(self, piece: bytes, byte: int) -> Frames:
        """Read on; `byte` is the file position of the container that the piece came from."""
        data = self._tail + piece
        positions, kinds, headers, end = self._find(data, byte)
        self._tail = data[end:]
        if not positions:
            return no_frames(self._channels.names)
        # Fields are taken with fixed widths: a margin lets the last object be taken whole.
        wide = np.frombuffer(data + bytes(128), np.uint8)
        at = np.array(positions, np.int64)
        kind = np.array(kinds, np.int64)
        header = np.array(headers, np.int64)
        parts = []
        for types, read in (
            ((_CAN_MESSAGE, _CAN_MESSAGE2), _classic),
            ((_CAN_FD_MESSAGE,), _flexible),
            ((_CAN_FD_MESSAGE_64,), _flexible_64),
            ((_CAN_ERROR, _CAN_ERROR_EXT), _error),
        ):
            row = np.flatnonzero(np.isin(kind, types))
            if len(row):
                parts.append(read(wide, at[row], row, header[row]))
        return self._together(parts, byte)

    def _find(self, data: bytes, byte: int) -> tuple[list[int], list[int], list[int], int]:
        """Find the frames: where their bodies begin, their types and header sizes; and the end."""
        unpack = _HEADER.unpack_from
        positions: list[int] = []
        kinds: list[int] = []
        headers: list[int] = []
        at, size_of_all, others = 0, len(data), 0
        last = b""
        while at + 16 <= size_of_all:
            signature, header, version, size, kind = unpack(data, at)
            if signature != SIGNATURE:
                found = data.find(SIGNATURE, at, at + 12)
                if found < 0:
                    # Not the padding between two objects: something is lost here.
                    found = data.find(SIGNATURE, at)
                    self._unread.add("bytes that belong to no record", byte=byte)
                    if found < 0:
                        return positions, kinds, headers, max(at, size_of_all - 3)
                at = found
                continue
            if size % 4 == 0 and kind in _BODY and data[at : at + 16] == last:
                # Of one kind in a row, as most are: the whole run is found at once.
                run = _run_of(data, at, size)
                if version in (1, 2) and header >= 32 and size >= header + _BODY[kind]:
                    positions.extend(range(at, at + run * size, size))
                    kinds.extend([kind] * run)
                    headers.extend([header] * run)
                    at += run * size
                    last = b""
                    if run:
                        continue
            need = _BODY.get(kind)
            if size < header or header < 16 or size > _LARGEST_OBJECT:
                self._unread.add("record whose length cannot be right", byte=byte)
                at += 4
                continue
            if at + size > size_of_all:
                later = data.find(SIGNATURE, at + 4)
                if later > 0 and (need is None or size > need + header + 64):
                    self._unread.add("record whose length cannot be right", byte=byte)
                    at = later
                    continue
                break
            if need is None and kind > _LAST_KIND:
                self._unread.add("record of an impossible type", byte=byte)
            elif need is None:
                others += 1
            elif version not in (1, 2) or header < 32 or size < header + need:
                self._unread.add("record whose header contradicts itself", byte=byte)
            else:
                positions.append(at)
                kinds.append(kind)
                headers.append(header)
                last = data[at : at + 16]
            at += size
        self.others += others
        return positions, kinds, headers, at

    def _together(self, parts: list[_Fields], byte: int) -> Frames:
        """Put the frames of all types in the file's order, less those that cannot be right."""
        row = np.concatenate([one.row for one in parts])
        order = np.argsort(row, kind="stable")
        time_us = np.concatenate([one.time_us for one in parts])
        flags = np.concatenate([one.flags for one in parts])
        ident = np.concatenate([one.ident for one in parts])
        channel = np.concatenate([one.channel for one in parts])
        length = np.concatenate([one.length for one in parts])
        word = np.concatenate([one.word for one in parts])
        sound = np.concatenate([one.sound for one in parts])
        no_limit = (flags & ERROR) != 0
        sound &= no_limit | (ident <= np.where((flags & EXTENDED) != 0, 0x1FFFFFFF, 0x7FF))
        sound &= (time_us >= 0) & (time_us < _LATEST_US) & (channel < 256)
        long_of: dict[int, bytes] = {}
        for one in parts:
            long_row = one.row[(one.length > 8) & ((one.flags & NOT_DATA) == 0)]
            long_of.update(zip(long_row.tolist(), one.long, strict=True))
        bad = int(len(sound) - np.count_nonzero(sound))
        if bad:
            self._unread.add("record whose fields cannot be right", byte=byte, count=bad)
        keep = order[sound[order]]
        number, names = self._numbers(channel[keep])
        rows = row[keep]
        is_long = np.flatnonzero((length[keep] > 8) & ((flags[keep] & NOT_DATA) == 0))
        return Frames(
            time_us[keep],
            ident[keep],
            flags[keep],
            number,
            length[keep],
            word[keep],
            names,
            long_data_of(
                [int(one) for one in is_long], [long_of[int(rows[one])] for one in is_long]
            ),
        )

    def _numbers(self, channel: npt.NDArray[np.int64]) -> tuple[U8, tuple[str, ...]]:
        """Turn the file's channel numbers into ours, in the order in which they are met."""
        values, first = np.unique(channel, return_index=True)
        table: U8 = np.zeros(256, np.uint8)
        for value in values[np.argsort(first)]:
            table[value] = self._channels.index(str(value))
        number: U8 = table[channel]
        return number, self._channels.names


def _run_of(data: bytes, at: int, size: int) -> int:
    """Count the whole objects from `at` on that have the header of the first one."""
    count, longest = 32, (len(data) - at) // size
    while True:
        count = min(count, longest)
        rows = np.frombuffer(data, np.uint8, count * size, at).reshape(count, size)
        heads = np.ascontiguousarray(rows[:, :16]).view("<u8")
        other = np.flatnonzero((heads != heads[:1]).any(axis=1)) if count else heads
        if len(other):
            return int(other[0])
        if count == longest:
            return count
        count *= 16


def _taken(wide: _Wide, at: I64, offset: I64 | int, count: int) -> _Wide:
    """Take `count` bytes at an offset of each object."""
    taken: _Wide = wide[(at + offset)[:, None] + np.arange(count)]
    return taken


def _number(taken: _Wide, first: int, width: int) -> npt.NDArray[np.uint64]:
    """Read bytes of each row as one little-endian number."""
    dtype = {1: "<u1", 2: "<u2", 4: "<u4", 8: "<u8"}[width]
    part = np.ascontiguousarray(taken[:, first : first + width])
    return part.view(dtype)[:, 0].astype(np.uint64)


def _times(wide: _Wide, at: I64) -> I64:
    """Read the instants; those beyond all sense come out negative."""
    head = _taken(wide, at, 16, 16)
    ten = _number(head, 0, 4) == _TEN_MICROSECONDS
    count = _number(head, 8, 8)
    sane = count < np.uint64(1 << 62)
    small = np.where(sane, count, 0).astype(np.int64)
    in_tens = np.where(small < _LATEST_US, small * 10, _LATEST_US)
    return np.where(sane, np.where(ten, in_tens, (small + 500) // 1000), -1)


def _words(data: _Wide, length: U8) -> U64:
    """Pack eight data bytes of each row, FF where the frame has none."""
    filled: U8 = np.where(np.arange(8) < length[:, None], data, 0xFF).astype(np.uint8)
    packed: U64 = filled.view("<u8")[:, 0].astype(np.uint64)
    return packed


def _identifiers(raw: npt.NDArray[np.uint64]) -> tuple[U32, U8]:
    """Split identifiers from their mark; bits that must be clear stay, to be noticed."""
    extended = (raw & np.uint64(_IDENT_EXTENDED)) != 0
    return (
        (raw & np.uint64(0x7FFFFFFF)).astype(np.uint32),
        np.where(extended, EXTENDED, 0).astype(np.uint8),
    )


def _mark(flags: U8, where: npt.NDArray[np.bool_], flag: int) -> U8:
    """Set a flag on some rows."""
    return np.where(where, flags | flag, flags).astype(np.uint8)


def _classic(wide: _Wide, at: I64, row: I64, header: I64) -> _Fields:
    """Types 1 and 86: channel, flags, length code, identifier, eight bytes."""
    body = _taken(wide, at, header, 16)
    ident, flags = _identifiers(_number(body, 4, 4))
    bits = body[:, 2]
    flags = _mark(flags, (bits & 0x80) != 0, REMOTE)
    flags = _mark(flags, (bits & 0x01) != 0, SENT)
    code = body[:, 3]
    length = np.minimum(code, 8).astype(np.uint8)
    no_data = (flags & REMOTE) != 0
    word = _words(body[:, 8:16], np.where(no_data, 0, length).astype(np.uint8))
    return _Fields(
        row,
        _times(wide, at),
        ident,
        flags,
        _number(body, 0, 2).astype(np.int64),
        length,
        word,
        [],
        code <= 15,
    )


def _flexible(wide: _Wide, at: I64, row: I64, header: I64) -> _Fields:
    """Type 100: as type 1, with CAN FD switches, the count of valid bytes and 64 bytes."""
    body = _taken(wide, at, header, 84)
    ident, flags = _identifiers(_number(body, 4, 4))
    bits, switches = body[:, 2], body[:, 13]
    flags = _mark(flags, (bits & 0x80) != 0, REMOTE)
    flags = _mark(flags, (bits & 0x01) != 0, SENT)
    flags = _mark(flags, (switches & 0x1) != 0, FD)
    flags = _mark(flags, (switches & 0x3) == 0x3, BITRATE_SWITCH)
    flags = _mark(flags, (switches & 0x5) == 0x5, ERROR_STATE)
    return _of_lengths(
        wide, at, row, flags, ident, _number(body, 0, 2), body[:, 3], body[:, 14], body[:, 20:84]
    )


def _flexible_64(wide: _Wide, at: I64, row: I64, header: I64) -> _Fields:
    """Type 101: only as many data bytes as are valid, behind 40 bytes of fields."""
    body = _taken(wide, at, header, 40)
    ident, flags = _identifiers(_number(body, 4, 4))
    bits = _number(body, 12, 4)
    flags = _mark(flags, (bits & np.uint64(0x10)) != 0, REMOTE)
    flags = _mark(flags, body[:, 34] != 0, SENT)
    flags = _mark(flags, (bits & np.uint64(0x1000)) != 0, FD)
    flags = _mark(flags, (bits & np.uint64(0x3000)) == 0x3000, BITRATE_SWITCH)
    flags = _mark(flags, (bits & np.uint64(0x5000)) == 0x5000, ERROR_STATE)
    # Fewer bytes may be stored than are valid; the missing ones are zero (common practice).
    size = _number(_taken(wide, at, 8, 4), 0, 4).astype(np.int64)
    outside = body[:, 35].astype(np.int64)
    stored = np.where(outside > 0, np.minimum(outside, size), size) - header - 40
    data = _taken(wide, at, header + 40, 64)
    data = np.where(np.arange(64) < stored[:, None], data, 0).astype(np.uint8)
    return _of_lengths(
        wide, at, row, flags, ident, body[:, 0].astype(np.uint64), body[:, 1], body[:, 2], data
    )


def _of_lengths(
    wide: _Wide,
    at: I64,
    row: I64,
    flags: U8,
    ident: U32,
    channel: npt.NDArray[np.uint64],
    code: U8,
    valid: U8,
    data: _Wide,
) -> _Fields:
    """Settle the lengths of frames that may be CAN FD: the code and the valid bytes must agree."""
    is_fd = (flags & FD) != 0
    of_code = np.where(is_fd, _FD_LENGTH[np.minimum(code, 15)], np.minimum(code, 8)).astype(
        np.uint8
    )
    no_data = (flags & REMOTE) != 0
    sound = (code <= 15) & (no_data | (valid == of_code))
    length = of_code
    word = _words(data[:, :8], np.where(no_data, 0, length).astype(np.uint8))
    long_rows = np.flatnonzero((length > 8) & ~no_data)
    long = [data[one, : length[one]].tobytes() for one in long_rows]
    return _Fields(
        row, _times(wide, at), ident, flags, channel.astype(np.int64), length, word, long, sound
    )


def _error(wide: _Wide, at: I64, row: I64, header: I64) -> _Fields:
    """Types 2 and 73: an error frame of a channel; its further fields are no bus data."""
    count = len(row)
    return _Fields(
        row,
        _times(wide, at),
        np.zeros(count, np.uint32),
        np.full(count, ERROR, np.uint8),
        _number(_taken(wide, at, header, 2), 0, 2).astype(np.int64),
        np.zeros(count, np.uint8),
        np.full(count, np.iinfo(np.uint64).max, np.uint64),
        [],
        np.ones(count, np.bool_),
    )
