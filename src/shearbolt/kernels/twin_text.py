"""Candump text by whole-array operations: lines of equal shape are checked and read together.

A shape is everything that is the same in all lines of a kind: length, form, digits of the time,
name, digits of the identifier, data bytes, direction. The first line not yet read tells the next
shape by a strict pattern; all lines of its length are then tried against it at once. Hexadecimal
digits are looked up two at a time, decimal digits are checked and added up eight at a time.
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
        found = _BYTE_OF[pairs]
        if count % 4:
            good = (found < _WRONG).all(axis=1)
        else:
            four = found.view("<u8")
            wrong = four[:, 0] if count == 4 else four[:, 0] | four[:, 1]
            good = wrong & np.uint64(0x0100010001000100) == 0
        return good, found.astype(np.uint8)

    def same(self, offset: int, text: bytes) -> npt.NDArray[np.bool_]:
        """Tell which of the lines have `text` at `offset`."""
        good = np.ones(len(self._lines), np.bool_)
        for at in range(0, len(text), 8):
            part = text[at : at + 8]
            mask = np.uint64(2 ** (8 * len(part)) - 1)
            wanted = np.uint64(int.from_bytes(part, "little"))
            good &= (self.at(offset + at) & mask) == wanted
        return good


def _seconds(lines: _Lines, begin: int, digits: int) -> tuple[npt.NDArray[np.bool_], I64]:
    """Read 1 to 12 digits as one or two groups of eight."""
    low = min(digits, 8)
    tail = lines.at(begin + digits - 8)
    if low < 8:
        keep = ~np.uint64(2 ** (8 * (8 - low)) - 1)
        tail = tail & keep | _ZEROS & ~keep
    good, value = _decimal(tail)
    if digits > 8:
        head = lines.at(begin + digits - 16)
        keep = ~np.uint64(2 ** (8 * (16 - digits)) - 1)
        head_good, head_value = _decimal(head & keep | _ZEROS & ~keep)
        good &= head_good
        value += head_value * 100_000_000
    return good, value


def _read(
    lines: _Lines, rows: I64, shape: _Shape, columns: Columns, first_row: int
) -> npt.NDArray[np.bool_]:
    """Read the lines `rows` that have this shape into the columns; tell which those were."""
    good = np.ones(len(rows), np.bool_)
    for at, text in shape.fixed:
        good &= lines.same(at, text)
    seconds_good, seconds = _seconds(lines, *shape.seconds)
    # The six digits after the point, with its two neighbours to the left made zeros.
    point = shape.seconds[0] + shape.seconds[1]
    micros = lines.at(point - 1) & ~np.uint64(0xFFFF) | np.uint64(0x3030)
    micros_good, fraction = _decimal(micros)
    at, digits = shape.ident
    if digits == 8:
        ident_good, octets = lines.hexadecimal(at, 4, 2)
        ident: U32 = octets.view(">u4")[:, 0].astype(np.uint32)
        ident_good &= ident <= np.uint32(0x1FFFFFFF)
    else:
        ident_good, octets = lines.hexadecimal(at - 1, 2, 2, half=True)
        ident = octets.view(">u2")[:, 0].astype(np.uint32)
        ident_good &= ident <= np.uint32(0x7FF)
    good &= seconds_good & micros_good & ident_good
    size = len(shape.data)
    bytes_of: U8 = np.full((len(rows), 8), 0xFF, np.uint8)
    if size:
        step = shape.data[1] - shape.data[0] if size > 1 else 2
        data_good, found = lines.hexadecimal(shape.data[0], size, step)
        good &= data_good
        bytes_of[:, :size] = found
    word: U64 = bytes_of.view("<u8")[:, 0]
    seconds *= 1_000_000
    seconds += fraction
    row = rows[good] + first_row
    taken: I64 | slice = row
    if len(row) < len(rows):
        seconds, ident, word = seconds[good], ident[good], word[good]
    elif row[-1] - row[0] == len(rows) - 1:
        # All lines are of this shape: written in one piece.
        taken = slice(int(row[0]), int(row[-1]) + 1)
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
    length = end - begin
    odd = np.zeros(len(end), np.bool_)
    named: dict[bytes, list[I64]] = {}
    by_length = np.argsort(np.minimum(length, LONGEST).astype(np.uint8), kind="stable")
    places = np.flatnonzero(np.diff(length[by_length])) + 1
    for rows in np.split(by_length, places):
        size = min(int(length[rows[0]]), LONGEST)
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
            good = _read(lines, rows, shape, columns, first_row)
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
    left = np.column_stack((begin[spots] + start, end[spots] + start, spots + first_row))
    return Parsed(len(end), start + len(part), left.astype(np.int64, copy=False))


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
