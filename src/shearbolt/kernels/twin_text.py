"""Candump text by whole-array operations: lines of equal shape are checked and read together.

A shape is everything that is the same in all lines of a kind: length, form, digits of the time,
name, digits of the identifier, data bytes, direction. The first line not yet read tells the next
shape by a strict pattern; all lines of its length are then tried against it at once. Digits are
checked and read eight at a time, or looked up two at a time where fewer stand together; seconds
are read once for all neighbours that share them.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from shearbolt.kernels.interface import MAX_CHANNELS, Columns, Parsed, Text
from shearbolt.model.frames import EXTENDED, I64, SENT, U8, U32, U64

LINE = re.compile(
    rb"( {0,8}\()([0-9]{1,12})\.([0-9]{6})(\) {1,8})([!-~]{1,15})( {1,8})"
    rb"([0-9A-Fa-f]{8}|[0-9A-Fa-f]{3})"
    rb"(?:#((?:[0-9A-Fa-f]{2}){0,8})(?: ([RT]))?"
    rb"|( {1,8}\[[0-8]\] {0,8})((?:(?<= )[0-9A-Fa-f]{2}(?: [0-9A-Fa-f]{2}){0,7})?)( {0,8}))\r?"
)
"""One line of the fast forms, without its line feed; the compiled kernel reads exactly these."""

LONGEST = 192
"""No line of the fast forms has as many bytes; a longer one cut here is none of them either."""

_ZEROS = np.uint64(0x3030303030303030)
_HIGH = np.uint64(0x8080808080808080)
_WRONG = np.uint16(0x100)


def _pairs() -> npt.NDArray[np.uint16]:
    """Make the table of all two characters (the first lowest): their byte, or _WRONG."""
    table = np.full(1 << 16, _WRONG, np.uint16)
    digits = b"0123456789abcdefABCDEF"
    for high in digits:
        for low in digits:
            table[high | low << 8] = int(chr(high) + chr(low), 16)
    return table


_BYTE_OF = _pairs()


@dataclass(frozen=True, slots=True)
class _Shape:
    """Where the fields of one line lie, counted from its begin."""

    fixed: tuple[tuple[int, bytes], ...]
    """Texts that must stand at these places."""
    seconds: tuple[int, int]
    """Begin and number of digits."""
    ident: tuple[int, int]
    """Begin and number of digits."""
    data: tuple[int, ...]
    """Where each data byte's two digits begin."""
    name: bytes
    flags: int


def _shape(line: bytes) -> _Shape | None:
    """Tell the shape of one line without its line feed; None when it is not of the fast forms."""
    match = LINE.fullmatch(line)
    if match is None:
        return None
    wide = len(match[7]) == 8
    if int(match[7], 16) > (0x1FFFFFFF if wide else 0x7FF):
        return None
    if match[10] is None:
        spots = tuple(range(match.start(8), match.end(8), 2))
        between = [(match.end(7), b"#"), (match.end(8), line[match.end(8) :])]
    else:
        spots = tuple(range(match.start(11), match.end(11), 3))
        if int(match[10].strip()[1:2]) != len(spots):
            return None
        between = [(match.end(7), match[10]), (match.end(11), line[match.end(11) :])]
        between += [(spot + 2, b" ") for spot in spots[:-1]]
    head = [
        (0, match[1]),
        (match.end(2), b"."),
        (match.end(3), line[match.end(3) : match.start(7)]),
    ]
    return _Shape(
        tuple((at, text) for at, text in head + between if text),
        (match.start(2), len(match[2])),
        (match.start(7), len(match[7])),
        spots,
        match[5],
        EXTENDED * wide | SENT * (match[9] == b"T"),
    )


def _decimal(eight: U64) -> tuple[npt.NDArray[np.bool_], I64]:
    """Check and read eight decimal characters each, first character highest digit."""
    value = eight ^ _ZEROS
    wrong = value + np.uint64(0x7676767676767676)
    wrong |= value
    wrong &= _HIGH
    # Tens and ones to pairs, pairs to fours, fours to one number.
    for shift, factor, mask in (
        (8, 10, 0x00FF00FF00FF00FF),
        (16, 100, 0x0000FFFF0000FFFF),
        (32, 10000, 0xFFFFFFFF),
    ):
        low = value >> np.uint64(shift)
        value *= np.uint64(factor)
        value += low
        value &= np.uint64(mask)
    return wrong == 0, value.view(np.int64)


_ONES = np.uint64(0x0101010101010101)


def _hexadecimal(eight: U64) -> tuple[npt.NDArray[np.bool_], U64]:
    """Check and read eight hexadecimal characters each, the first two to the lowest byte."""
    letter = eight >> np.uint64(6)
    letter &= _ONES
    value = eight & np.uint64(0x0F0F0F0F0F0F0F0F)
    value += letter * np.uint64(9)
    # Written back in capitals the digit must be the character again; 16 and more are none.
    again = value + np.uint64(0x0606060606060606)
    again >>= np.uint64(4)
    again &= _ONES
    again *= np.uint64(7)
    again += value
    again += _ZEROS
    letter <<= np.uint64(5)
    np.invert(letter, out=letter)
    letter &= eight
    wrong = np.bitwise_xor(letter, again, out=again)
    wrong |= value & np.uint64(0x1010101010101010)
    wrong |= eight & _HIGH
    low = value >> np.uint64(8)
    value <<= np.uint64(4)
    value |= low
    value &= np.uint64(0x00FF00FF00FF00FF)
    for shift, mask in ((8, 0x0000FFFF0000FFFF), (16, 0xFFFFFFFF)):
        value |= value >> np.uint64(shift)
        value &= np.uint64(mask)
    return wrong == 0, value


class _Lines:
    """Lines of equal length, copied together: eight bytes at any place as one number a line."""

    BEFORE = 16
    """Bytes copied before each line, so that numbers may be read up to their last digit."""

    def __init__(self, lines: U8) -> None:
        """Take lines as rows, shape (n, bytes), with BEFORE bytes before and 8 behind each."""
        self._lines = lines

    @classmethod
    def of(cls, padded: U8, begin: I64, length: int) -> _Lines:
        """Copy lines out of a text that has BEFORE bytes before it and 8 behind."""
        width = cls.BEFORE + length + 8
        every = np.ndarray((len(padded) - width + 1,), f"V{width}", padded, strides=(1,))
        return cls(every[begin].view(np.uint8).reshape(len(begin), width))

    def only(self, keep: npt.NDArray[np.bool_]) -> _Lines:
        """Return some of the lines."""
        return _Lines(self._lines[keep])

    def at(self, offset: int) -> U64:
        """Return the eight bytes from `offset` of every line."""
        n, width = self._lines.shape
        place = self.BEFORE + offset
        return np.ndarray((n,), "<u8", self._lines, place, (width,)).copy()

    def eight_bytes(self, offset: int) -> tuple[npt.NDArray[np.bool_], U64]:
        """Read sixteen digits that stand together, the first two to the lowest byte."""
        good, low = _hexadecimal(self.at(offset))
        high_good, high = _hexadecimal(self.at(offset + 8))
        good &= high_good
        high <<= np.uint64(32)
        high |= low
        return good, high

    def hexadecimal(
        self, offset: int, count: int, step: int, *, half: bool = False
    ) -> tuple[npt.NDArray[np.bool_], U8]:
        """Read `count` pairs of digits, one every `step` characters from `offset`.

        Returns which lines have nothing but digits there, and the bytes, shape (n, count). With
        `half` the first pair's first character counts as zero.
        """
        n, width = self._lines.shape
        place = self.BEFORE + offset
        pairs = np.ndarray((n, count), "<u2", self._lines, place, (width, step))
        if half:
            pairs = pairs.copy()
            pairs[:, 0] &= np.uint16(0xFF00)
            pairs[:, 0] |= np.uint16(0x30)
        # The table has an entry for any pair: nothing is ever clipped, but so it is not checked.
        found = _BYTE_OF.take(pairs, mode="clip")
        good: npt.NDArray[np.bool_] = np.logical_and.reduce(found < _WRONG, axis=1)
        return good, found.astype(np.uint8)

    def same(self, offset: int, text: bytes) -> npt.NDArray[np.bool_]:
        """Tell which of the lines have `text` at `offset`."""
        good: npt.NDArray[np.bool_]
        if len(text) == 1:
            good = self._lines[:, self.BEFORE + offset] == text[0]
            return good
        good = np.ones(len(self._lines), np.bool_)
        for at in range(0, len(text), 8):
            part = text[at : at + 8]
            mask = np.uint64(2 ** (8 * len(part)) - 1)
            wanted = np.uint64(int.from_bytes(part, "little"))
            good &= (self.at(offset + at) & mask) == wanted
        return good


def _seconds(lines: _Lines, begin: int, digits: int) -> tuple[npt.NDArray[np.bool_], I64]:
    """Read 1 to 12 digits as one or two groups of eight."""
    parts = [_last(lines.at(begin + digits - 8), min(digits, 8))]
    if digits > 8:
        parts.append(_last(lines.at(begin + digits - 16), digits - 8))
    fresh = np.ones(len(parts[0]), np.bool_)
    fresh[1:] = parts[0][1:] != parts[0][:-1]
    for part in parts[1:]:
        fresh[1:] |= part[1:] != part[:-1]
    first = np.flatnonzero(fresh)
    good, value = _decimal(parts[0][first])
    for part in parts[1:]:
        high_good, high = _decimal(part[first])
        good &= high_good
        value += high * 100_000_000
    times = np.diff(first, append=len(fresh))
    return np.repeat(good, times), np.repeat(value, times)


def _last(eight: U64, digits: int) -> U64:
    """Make zeros of all but the last `digits` of eight characters."""
    if digits == 8:
        return eight
    keep = ~np.uint64(2 ** (8 * (8 - digits)) - 1)
    return eight & keep | _ZEROS & ~keep


def _read(
    lines: _Lines,
    rows: I64,
    shape: _Shape,
    columns: Columns,
    first_row: int,
    good: npt.NDArray[np.bool_],
) -> npt.NDArray[np.bool_]:
    """Read the lines `rows` that have this shape into the columns; tell which those were.

    Only those that are `good` beforehand can be. Where `rows` are all there are in one stretch,
    rows that are not of this shape may be written too.
    """
    for at, text in shape.fixed:
        good &= lines.same(at, text)
    seconds_good, seconds = _seconds(lines, *shape.seconds)
    # The six digits after the point, with its two neighbours to the left made zeros.
    point = shape.seconds[0] + shape.seconds[1]
    micros = lines.at(point - 1) & ~np.uint64(0xFFFF) | np.uint64(0x3030)
    micros_good, fraction = _decimal(micros)
    at, digits = shape.ident
    ident: U32
    if digits == 8:
        ident_good, packed = _hexadecimal(lines.at(at))
        ident = packed.astype(np.uint32)
        ident.byteswap(inplace=True)
        ident_good &= ident <= np.uint32(0x1FFFFFFF)
    else:
        ident_good, octets = lines.hexadecimal(at - 1, 2, 2, half=True)
        ident = octets.view(">u2")[:, 0].astype(np.uint32)
        ident_good &= ident <= np.uint32(0x7FF)
    good &= seconds_good & micros_good & ident_good
    size = len(shape.data)
    step = shape.data[1] - shape.data[0] if size > 1 else 2
    word: U64
    if size == 8 and step == 2:
        data_good, word = lines.eight_bytes(shape.data[0])
        good &= data_good
    else:
        bytes_of: U8 = np.full((len(rows), 8), 0xFF, np.uint8)
        if size:
            data_good, found = lines.hexadecimal(shape.data[0], size, step)
            good &= data_good
            bytes_of[:, :size] = found
        word = bytes_of.view("<u8")[:, 0].astype(np.uint64, copy=False)
    seconds *= 1_000_000
    seconds += fraction
    taken: I64 | slice
    if rows[-1] - rows[0] == len(rows) - 1:
        taken = slice(first_row + int(rows[0]), first_row + int(rows[-1]) + 1)
    else:
        taken = rows[good] + first_row
        if len(taken) < len(rows):
            seconds, ident, word = seconds[good], ident[good], word[good]
    columns.time_us[taken] = seconds
    columns.ident[taken] = ident
    columns.flags[taken] = shape.flags
    columns.length[taken] = size
    columns.word[taken] = word
    return good


def parse_candump(
    text: Text,
    start: int,
    stop: int,
    columns: Columns,
    channels: list[bytes],
    first_row: int,
) -> Parsed:
    """Read whole lines of candump text; see `interface.Kernel.parse_candump`."""
    whole = np.frombuffer(text, np.uint8)
    if not 0 <= start <= stop <= len(whole):
        raise ValueError(f"text[{start}:{stop}] is outside its {len(whole)} bytes")
    if not 0 <= first_row <= len(columns):
        raise ValueError(f"row {first_row} is outside the {len(columns)} rows of the columns")
    part = whole[start:stop]
    end: I64 = np.flatnonzero(part == 0x0A)[: len(columns) - first_row]
    if not len(end):
        return Parsed(0, start, np.empty((0, 3), np.int64))
    part = part[: end[-1] + 1]
    begin = np.concatenate(([0], end[:-1] + 1))
    padded = np.zeros(len(part) + _Lines.BEFORE + LONGEST + 8, np.uint8)
    padded[_Lines.BEFORE : _Lines.BEFORE + len(part)] = part
    length = np.minimum(end - begin, LONGEST)
    odd = np.zeros(len(end), np.bool_)
    named: dict[bytes, list[I64]] = {}
    left = _usual(part, padded, begin, length, columns, first_row, named)
    by_length = left[np.argsort(length[left].astype(np.uint8), kind="stable")]
    places = np.flatnonzero(np.diff(length[by_length])) + 1
    for rows in np.split(by_length, places) if len(by_length) else ():
        size = int(length[rows[0]])
        lines = _Lines.of(padded, begin[rows], size)
        while len(rows):
            # The first of this length that is of a fast form tells the shape; others are odd.
            shape = None
            first = 0
            while shape is None and first < len(rows):
                at = int(begin[rows[first]])
                shape = _shape(part[at : at + size].tobytes())
                first += shape is None
            odd[rows[:first]] = True
            if first:
                lines = lines.only(np.arange(len(rows)) >= first)
                rows = rows[first:]
            if shape is None:
                break
            good = _read(lines, rows, shape, columns, first_row, np.ones(len(rows), np.bool_))
            named.setdefault(shape.name, []).append(rows[good])
            if good.all():
                break
            lines = lines.only(~good)
            rows = rows[~good]
    _name_channels(named, columns, channels, odd, first_row)
    spots = np.flatnonzero(odd)
    for column in (columns.time_us, columns.ident, columns.flags, columns.channel, columns.length):
        column[first_row + spots] = 0
    columns.word[first_row + spots] = 0
    lines_left = np.column_stack((begin[spots] + start, end[spots] + start, spots + first_row))
    return Parsed(len(end), start + len(part), lines_left.astype(np.int64, copy=False))


def _usual(
    part: U8,
    padded: U8,
    begin: I64,
    length: I64,
    columns: Columns,
    first_row: int,
    named: dict[bytes, list[I64]],
) -> I64:
    """Read the lines of one shape where nearly all are of that; return the rows of the others.

    All lines are tried then, in one stretch, so that nothing has to be picked out and put back.
    """
    rows = np.arange(len(begin))
    size = int(np.bincount(length).argmax())
    alike = length == size
    if np.count_nonzero(alike) * 8 < len(rows) * 7:
        return rows
    at = int(begin[alike.argmax()])
    shape = _shape(part[at : at + size].tobytes())
    if shape is None:
        return rows
    lines = _Lines.of(padded, begin, size)
    good = _read(lines, rows, shape, columns, first_row, alike)
    named[shape.name] = [rows[good]]
    return np.flatnonzero(~good)


def _name_channels(
    named: dict[bytes, list[I64]],
    columns: Columns,
    channels: list[bytes],
    odd: npt.NDArray[np.bool_],
    first_row: int,
) -> None:
    """Number the channels in order of first use; lines of a name too many become odd."""
    rows_of = {name: np.concatenate(parts) for name, parts in named.items()}
    for name, rows in sorted(rows_of.items(), key=lambda item: int(item[1].min())):
        if name not in channels:
            if len(channels) >= MAX_CHANNELS:
                odd[rows] = True
                continue
            channels.append(name)
        columns.channel[rows + first_row] = channels.index(name)
