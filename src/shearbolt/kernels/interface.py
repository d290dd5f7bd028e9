"""What a kernel must do, and the plain columns it works on. No I/O, no state between calls.

Two implementations give equal results, bit for bit: `compiled` (one C file) and `numpy`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import isfinite
from typing import Protocol, TypeAlias

import numpy as np

from shearbolt.model.frames import F64, I64, U8, U32, U64

Text: TypeAlias = bytes | bytearray | memoryview
"""Bytes of text, one contiguous buffer."""

MAX_CHANNELS = 256
"""Channel names that fit a column of one byte."""


@dataclass(frozen=True, slots=True)
class Columns:
    """Room for frames, filled by a parser row by row; same columns as model.frames.Frames."""

    time_us: I64
    ident: U32
    flags: U8
    channel: U8
    length: U8
    word: U64

    def __len__(self) -> int:
        return len(self.time_us)


def room_for(rows: int) -> Columns:
    """Make columns with room for `rows` frames, contents undefined."""
    return Columns(
        np.empty(rows, np.int64),
        np.empty(rows, np.uint32),
        np.empty(rows, np.uint8),
        np.empty(rows, np.uint8),
        np.empty(rows, np.uint8),
        np.empty(rows, np.uint64),
    )


@dataclass(frozen=True, slots=True)
class Parsed:
    """What a parser did with a stretch of text: every whole line took one row."""

    rows: int
    """Rows taken, and so lines worked off; their columns are filled but for the odd ones."""
    used: int
    """Where in the text the first line begins that was not worked off."""
    odd: I64
    """Lines left to the careful parser, shape (m, 3): begin and end in the text (without the
    line feed), and the row kept free for it (all zero until somebody fills it)."""


@dataclass(frozen=True, slots=True)
class Groups:
    """Frames sorted by who sent which group: g groups, n frames, stable within a group."""

    channel: U8
    """Channel index of each group, shape (g,); groups rise by channel, group number, source."""
    pgn: U32
    """Parameter group number of each group (g,); the destination of PDU1 groups is dropped."""
    source: U8
    """Source address of each group (g,)."""
    start: I64
    """Where each group begins in the arrays below, shape (g + 1,), the last its end."""
    order: I64
    """Row in the original columns, shape (n,)."""
    time_us: I64
    """Instants in the new order (n,)."""
    word: U64
    """First eight data bytes in the new order (n,)."""

    def __len__(self) -> int:
        return len(self.pgn)


@dataclass(frozen=True, slots=True)
class Layout:
    """Where one parameter lies in a word, and what its raw values mean (SAE J1939-71).

    Raw values from `error_low` to `error_high` are 'error', those from `absent_low` up 'not
    available'; of the rest those up to `number_top` are numbers but for the `reserved` ones.
    All others are no numbers either.
    """

    first_bit: int
    """First bit counted from 0, byte 1 lowest."""
    bits: int
    """Width, 1 to 64; must end within the word."""
    resolution: float
    """Physical step of one raw count."""
    offset: float
    """Physical value of raw zero."""
    number_top: int
    """Highest raw value that is a number; -1: none is."""
    error_low: int
    error_high: int
    absent_low: int
    """Lowest raw value that means 'not available'; 2**bits where none does."""
    reserved: tuple[int, ...] = ()
    """Raw values up to `number_top` that mean nothing."""


@dataclass(frozen=True, slots=True)
class LayoutTable:
    """Layouts of k parameters of one group, checked and packed once for many calls."""

    layouts: tuple[Layout, ...]
    whole: U64
    """Shape (k, 9): first bit, mask, number top, error low, error high, absent low, what there is
    (HAS_NUMBER, HAS_ABSENT, OVERLAP), and one bit for each reserved value, 0-63 and 64-127.
    An empty error range is (1, 0)."""
    real: F64
    """Shape (k, 2): resolution, offset."""
    packed: tuple[tuple[int, ...], ...]
    """The rows of `whole` as plain numbers."""
    far_holes: tuple[int, ...] = ()
    """Rows with reserved values that have no bit in `whole`."""

    def __len__(self) -> int:
        return len(self.layouts)


HAS_NUMBER = 1
"""There are raw values that are numbers."""
HAS_ABSENT = 2
"""There are raw values that mean 'not available'."""
OVERLAP = 4
"""The ranges overlap or have holes, so that no border alone settles what a value is."""
HOLES_END = 128
"""Reserved raw values from here up have no bit in LayoutTable.whole."""


def layout_table(layouts: Sequence[Layout]) -> LayoutTable:
    """Pack layouts for `Kernel.decode`.

    Raises ValueError when one does not end within the 64 bits of a word, or when its resolution or
    offset is not finite.
    """
    for one in layouts:
        if one.bits < 1 or one.first_bit < 0 or one.first_bit + one.bits > 64:
            raise ValueError(f"bits {one.first_bit} to {one.first_bit + one.bits} leave the word")
        if not (isfinite(one.resolution) and isfinite(one.offset)):
            raise ValueError(f"resolution {one.resolution} or offset {one.offset} is no number")
    packed = tuple(_packed(one) for one in layouts)
    whole = np.array(packed, np.uint64).reshape(-1, 9)
    real = np.array([(one.resolution, one.offset) for one in layouts], np.float64).reshape(-1, 2)
    far = (i for i, one in enumerate(layouts) if max(one.reserved, default=0) >= HOLES_END)
    return LayoutTable(tuple(layouts), whole, real, packed, tuple(far))


def _packed(one: Layout) -> tuple[int, ...]:
    mask = 2**one.bits - 1
    low, high = max(one.error_low, 0), min(one.error_high, mask)
    if low > high:
        low, high = 1, 0
    top = min(one.number_top, mask)
    absent = max(one.absent_low, 0)
    overlap = (low <= high and (low <= top or high >= absent)) or absent <= top or one.reserved
    kinds = HAS_NUMBER * (top >= 0) + HAS_ABSENT * (absent <= mask) + OVERLAP * bool(overlap)
    holes = sum(1 << code for code in set(one.reserved) if 0 <= code < HOLES_END)
    return (
        one.first_bit,
        mask,
        max(top, 0),
        low,
        high,
        min(absent, mask),
        kinds,
        holes & 2**64 - 1,
        holes >> 64,
    )


@dataclass(frozen=True, slots=True)
class Decoded:
    """Columns of k parameters over n samples of their group."""

    value: F64
    """Physical values, shape (k, n); NaN where there is no number."""
    status: U8
    """NUMBER, NOT_AVAILABLE, ERROR, NO_NUMBER (model.signal), shape (k, n)."""
    counts: I64
    """Samples of each status, shape (k, 4)."""
    low: F64
    """Smallest number of each parameter, shape (k,); NaN where there is none."""
    high: F64
    """Largest number of each parameter, shape (k,); NaN where there is none."""


class FrameColumns(Protocol):
    """The columns of Frames or Columns that `Kernel.group` reads."""

    @property
    def time_us(self) -> I64:
        """Instants."""

    @property
    def ident(self) -> U32:
        """Identifiers."""

    @property
    def flags(self) -> U8:
        """Flags of model.frames."""

    @property
    def channel(self) -> U8:
        """Channel indices."""

    @property
    def word(self) -> U64:
        """First eight data bytes."""


class Kernel(Protocol):
    """The loops over every byte and every frame."""

    @property
    def name(self) -> str:
        """Return 'compiled' or 'numpy'."""

    def parse_candump(
        self,
        text: Text,
        start: int,
        stop: int,
        columns: Columns,
        channels: list[bytes],
        first_row: int = 0,
    ) -> Parsed:
        """Read whole lines of `candump` text from text[start:stop] into columns[first_row:].

        Read here, with every character checked: `(seconds.micros) name ID#DATA`, with or without
        a last ` R` or ` T` (sent), and `(seconds.micros)  name  ID  [n]  BB BB ...`; identifiers
        of 3 or 8 hexadecimal digits within their 11 or 29 bits, up to 8 data bytes, names of up
        to 15 printable characters, line ends LF or CRLF. All other lines come back as `odd`.
        Stops before a line that is not ended by `stop`, or when the columns are full. New channel
        names are appended to `channels` in order of first use.

        Raises ValueError when `start`, `stop` or `first_row` are out of range.
        """

    def group(self, frames: FrameColumns) -> Groups:
        """Sort the data frames with 29-bit identifiers by channel, group number and source.

        Frames with the flags REMOTE or ERROR, and
        those with 11 bits, are left out. The priority is dropped, and for PDU1 groups (PDU format
        below 240) the destination (SAE J1939-21 5.2).
        """

    def decode(self, word: U64, table: LayoutTable) -> Decoded:
        """Turn the words of one group into physical values: raw x resolution + offset.

        Bytes that a frame does not have are FF in its word, and so 'not available'.
        """
