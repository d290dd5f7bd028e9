"""Where each signal lies in its group, and packing of signals into data bytes.

The table beside this file (`layouts.csv`) is the proving ground's own: it was typed from the
published tables by itself, so that one wrong row cannot pass both here and in the dictionary.
"""

from __future__ import annotations

import csv
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib import resources

import numpy as np
import numpy.typing as npt

from shearbolt.model.frames import F64, U64

NOT_AVAILABLE = float("nan")
"""Packed as 'not available'."""
ERROR = float("inf")
"""Packed as 'error'."""

_ALL_ONES = 0xFFFF_FFFF_FFFF_FFFF
_ERROR_BY_WIDTH = {2: 2, 3: 6, 4: 14, 8: 0xFE, 16: 0xFE00, 32: 0xFE000000}
_HIGHEST_BY_WIDTH = {8: 0xFA, 16: 0xFAFF, 32: 0xFAFFFFFF}


@dataclass(frozen=True, slots=True)
class Layout:
    """One signal in one group (SAE J1939-71 or ISO 11783-7)."""

    spn: int
    name: str
    pgn: int
    start_byte: int
    """First byte, counted from 1."""
    start_bit: int
    """First bit in that byte, counted from 1."""
    length_bits: int
    resolution: float
    """Physical step of one count, in `unit`."""
    offset: float
    """Physical value of raw zero, in `unit`."""
    unit: str
    source: str

    @property
    def first_bit(self) -> int:
        """First bit counted from 0 over the whole group."""
        return (self.start_byte - 1) * 8 + self.start_bit - 1

    @property
    def highest_raw(self) -> int:
        """Largest raw value that is a number (SAE J1939-71 5.1.4); any state for bit fields."""
        return _HIGHEST_BY_WIDTH.get(self.length_bits, (1 << self.length_bits) - 1)


@cache
def layouts() -> tuple[Layout, ...]:
    """Return every row of `layouts.csv`."""
    text = resources.files("shearbolt.proving").joinpath("layouts.csv").read_text("utf-8")
    return tuple(
        Layout(
            int(row["spn"]),
            row["name"],
            int(row["pgn"]),
            int(row["start_byte"]),
            int(row["start_bit"]),
            int(row["length_bits"]),
            float(row["resolution"]),
            float(row["offset"]),
            row["unit"],
            row["source"],
        )
        for row in csv.DictReader(text.splitlines())
    )


@cache
def group_layouts(pgn: int) -> tuple[Layout, ...]:
    """Return the rows of one group.

    Raises KeyError for a group that the table does not hold.
    """
    rows = tuple(one for one in layouts() if one.pgn == pgn)
    if not rows:
        raise KeyError(pgn)
    return rows


def raw_counts(layout: Layout, values: npt.ArrayLike) -> U64:
    """Turn physical values (in the layout's unit) into raw counts.

    Values outside the valid range stop at its ends, as a controller's do; NaN becomes 'not
    available' and infinity 'error' (SAE J1939-71 5.1.4).
    """
    value: F64 = np.asarray(values, np.float64)
    with np.errstate(invalid="ignore"):
        counts = np.rint((value - layout.offset) / layout.resolution)
        counts = np.clip(np.nan_to_num(counts, nan=0.0), 0, layout.highest_raw)
    raw = counts.astype(np.uint64)
    raw = np.where(np.isinf(value), np.uint64(_ERROR_BY_WIDTH[layout.length_bits]), raw)
    none = np.uint64((1 << layout.length_bits) - 1)
    return np.where(np.isnan(value), none, raw)


def pack_words(pgn: int, values: Mapping[int, npt.ArrayLike], count: int) -> U64:
    """Pack `count` instances of one group of at most 8 bytes into words, byte 1 lowest.

    `values` gives physical values by SPN, arrays of `count` or single numbers; every other bit of
    the group is sent as one ('not available'). Raises KeyError for an SPN outside the group.
    """
    rows = {one.spn: one for one in group_layouts(pgn)}
    word = np.full(count, _ALL_ONES, np.uint64)
    for spn, value in values.items():
        row = rows[spn]
        mask = ((1 << row.length_bits) - 1) << row.first_bit
        raw = np.broadcast_to(raw_counts(row, value), (count,))
        word = (word & np.uint64(_ALL_ONES ^ mask)) | (raw << np.uint64(row.first_bit))
    return word
