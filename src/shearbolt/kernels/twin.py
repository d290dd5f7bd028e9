"""The NumPy twin of the compiled kernel: the same results by whole-array operations."""

from __future__ import annotations

import sys
from typing import Any

import numpy as np
import numpy.typing as npt

from shearbolt.kernels.interface import (
    HAS_ABSENT,
    HAS_NUMBER,
    OVERLAP,
    Columns,
    Decoded,
    FrameColumns,
    Groups,
    Layout,
    LayoutTable,
    Parsed,
    Text,
)
from shearbolt.kernels.twin_text import parse_candump
from shearbolt.model.frames import EXTENDED, F64, I64, NOT_DATA, U8, U32, U64
from shearbolt.model.signal import ERROR, NO_NUMBER, NOT_AVAILABLE, NUMBER


class NumpyKernel:
    """Kernel by NumPy alone; see `interface.Kernel` for what each method does."""

    @property
    def name(self) -> str:
        """Return 'numpy'."""
        return "numpy"

    def parse_candump(
        self,
        text: Text,
        start: int,
        stop: int,
        columns: Columns,
        channels: list[bytes],
        first_row: int = 0,
    ) -> Parsed:
        """Read whole lines of candump text."""
        return parse_candump(text, start, stop, columns, channels, first_row)

    def group(self, frames: FrameColumns) -> Groups:
        """Sort data frames by channel, group number and source."""
        ident, channel = frames.ident, frames.channel
        wanted = (frames.flags & (EXTENDED | NOT_DATA)) == EXTENDED
        row = None if wanted.all() else np.flatnonzero(wanted)
        if row is not None:
            ident, channel = ident[row], channel[row]
        pdu1 = (ident & np.uint32(0x00FF0000)) < np.uint32(0x00F00000)
        # Identifier without priority, and without destination where the group has one.
        key = ident & (np.uint32(0x03FFFFFF) - pdu1.astype(np.uint32) * np.uint32(0xFF00))
        if not len(channel) or channel.max() < 64:
            places, count, index = _numbered(key | channel.astype(np.uint32) << np.uint32(26))
        else:
            whole = key.astype(np.uint64) | channel.astype(np.uint64) << np.uint64(26)
            places, count, index = _numbered(whole)
        # A stable sort of 16-bit numbers is a radix sort: no comparison of rows.
        by = np.argsort(index, kind="stable")
        start = np.zeros(len(places) + 1, np.int64)
        np.cumsum(count, out=start[1:])
        order = (by if row is None else row[by]).astype(np.int64, copy=False)
        return Groups(
            (places >> 26).astype(np.uint8),
            (places >> 8 & 0x3FFFF).astype(np.uint32),
            (places & 0xFF).astype(np.uint8),
            start,
            order,
            frames.time_us.take(order, mode="clip"),
            frames.word.take(order, mode="clip"),
        )

    def decode(self, word: U64, table: LayoutTable) -> Decoded:
        """Turn words into physical values."""
        shape = len(table), len(word)
        value: F64 = np.empty(shape, np.float64)
        status: U8 = np.empty(shape, np.uint8)
        counts: I64 = np.zeros((len(table), 4), np.int64)
        low: F64 = np.full(len(table), np.nan)
        high: F64 = np.full(len(table), np.nan)
        word = np.ascontiguousarray(word)
        for k, layout in enumerate(table.layouts if len(word) else ()):
            first, mask, top, _, _, absent, kinds, _, _ = table.packed[k]
            resolution, offset = float(layout.resolution), float(layout.offset)
            raw = _raw(word, first, mask)
            plain = 0 if kinds & OVERLAP else kinds
            lowest = raw.min()
            if plain & HAS_ABSENT and lowest >= absent:
                value[k] = np.nan
                status[k] = NOT_AVAILABLE
                counts[k, NOT_AVAILABLE] = len(word)
                continue
            np.multiply(raw, resolution, out=value[k])
            value[k] += offset
            highest = raw.max()
            if plain & HAS_NUMBER and highest <= top:
                status[k] = NUMBER
                counts[k, NUMBER] = len(word)
            else:
                number, counts[k] = _sort_out(raw, table.packed[k], layout, status[k])
                np.copyto(value[k], np.nan, where=~number)
                if not counts[k, NUMBER]:
                    continue
                numbers = raw[number]
                lowest, highest = numbers.min(), numbers.max()
            ends = float(lowest) * resolution + offset, float(highest) * resolution + offset
            low[k], high[k] = min(ends), max(ends)
        return Decoded(value, status, counts, low, high)


def _sort_out(
    raw: npt.NDArray[np.unsignedinteger[Any]], packed: tuple[int, ...], layout: Layout, status: U8
) -> tuple[npt.NDArray[np.bool_], tuple[int, int, int, int]]:
    """Write the status of each raw value; return which are numbers, and the count of each status.

    The limits are compared in the raw values' own type, so that none of these is widened.
    """
    _, mask, top, error_low, error_high, absent_low, kinds, _, _ = packed
    limit = raw.dtype.type
    error = (raw >= limit(error_low)) & (raw <= limit(error_high))
    absent = raw >= limit(absent_low) if kinds & HAS_ABSENT else np.zeros(len(raw), np.bool_)
    number = raw <= limit(top) if kinds & HAS_NUMBER else np.zeros(len(raw), np.bool_)
    if kinds & OVERLAP:
        absent &= ~error
        number &= ~(error | absent)
        for code in layout.reserved:
            if code <= mask:
                number &= raw != limit(code)
    # One kind at most holds now: NO_NUMBER less its distance to that kind.
    np.subtract(NO_NUMBER, number.view(np.uint8) * np.uint8(NO_NUMBER - NUMBER), out=status)
    status -= absent.view(np.uint8) * np.uint8(NO_NUMBER - NOT_AVAILABLE)
    status -= error.view(np.uint8) * np.uint8(NO_NUMBER - ERROR)
    numbers, absents, errors = (int(np.count_nonzero(one)) for one in (number, absent, error))
    return number, (numbers, absents, errors, len(raw) - numbers - absents - errors)


_MULTIPLIERS = (0x9E3779B97F4A7C15, 0xC2B2AE3D27D4EB4F, 0x165667B19E3779F9)


def _numbered(key: U32 | U64) -> tuple[I64, npt.NDArray[np.intp], npt.NDArray[np.integer[Any]]]:
    """Return the distinct keys, rising, how often each comes, and which of them each key is."""
    bits = 8 * key.itemsize
    for multiplier in _MULTIPLIERS if len(key) else ():
        # A table by the top 16 bits of a product: usually no two different keys meet in one slot.
        product = key * key.dtype.type(multiplier >> (64 - bits) | 1)
        slot = (product >> key.dtype.type(bits - 16)).astype(np.uint16)
        held = np.zeros(1 << 16, key.dtype)
        held[slot] = key
        # Slots are always within their table; 'clip' spares the check.
        if (held.take(slot, mode="clip") == key).all():
            counts = np.bincount(slot, minlength=1 << 16)
            slots = np.flatnonzero(counts)
            slots = slots[np.argsort(held[slots])]
            number = np.zeros(1 << 16, np.uint16)
            number[slots] = np.arange(len(slots), dtype=np.uint16)
            return held[slots].astype(np.int64), counts[slots], number.take(slot, mode="clip")
    places, index, count = np.unique(key, return_inverse=True, return_counts=True)
    if len(places) <= 1 << 16:
        index = index.astype(np.uint16, copy=False)
    return places.astype(np.int64), count, index


_ALIGNED: dict[int, type[np.unsignedinteger[Any]]] = (
    {8: np.uint8, 16: np.uint16, 32: np.uint32} if sys.byteorder == "little" else {}
)
"""Numbers that lie in a word as they lie in memory."""


def _raw(word: U64, first: int, mask: int) -> npt.NDArray[np.unsignedinteger[Any]]:
    """Cut raw values out of words, in the narrowest numbers that are quick."""
    bits = mask.bit_length()
    aligned = _ALIGNED.get(bits)
    if aligned is not None and first % bits == 0:
        return word.view(aligned)[first // bits :: 64 // bits].copy()
    shifted = word >> np.uint64(first) if first else word
    if bits <= 16:
        narrow = shifted.astype(np.uint16)
        return narrow if bits == 16 else narrow & np.uint16(mask)
    if bits <= 32:
        return shifted.astype(np.uint32) & np.uint32(mask)
    return shifted & np.uint64(mask)
