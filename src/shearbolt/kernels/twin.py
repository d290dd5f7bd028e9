"""The NumPy twin of the compiled kernel: the same results by whole-array operations."""

from __future__ import annotations

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
from shearbolt.model.frames import EXTENDED, F64, I64, NOT_DATA, U8, U64
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
        pdu1 = (ident & 0x00FF0000) < 0x00F00000
        # Identifier without priority, and without destination where the group has one.
        key = ident & np.where(pdu1, np.uint32(0x03FF00FF), np.uint32(0x03FFFFFF))
        whole = key.astype(np.uint64) | channel.astype(np.uint64) << np.uint64(26)
        places, index = _numbered(whole)
        if len(places) <= 0xFFFF:
            # A stable sort of 16-bit numbers is a radix sort: no comparison of rows.
            index = index.astype(np.uint16, copy=False)
        by = np.argsort(index, kind="stable")
        start = np.zeros(len(places) + 1, np.int64)
        np.cumsum(np.bincount(index, minlength=len(places)), out=start[1:])
        order = (by if row is None else row[by]).astype(np.int64, copy=False)
        return Groups(
            (places >> 26).astype(np.uint8),
            (places >> 8 & 0x3FFFF).astype(np.uint32),
            (places & 0xFF).astype(np.uint8),
            start,
            order,
            frames.time_us[order],
            frames.word[order],
        )

    def decode(self, word: U64, table: LayoutTable) -> Decoded:
        """Turn words into physical values."""
        shape = len(table), len(word)
        value: F64 = np.empty(shape, np.float64)
        status: U8 = np.empty(shape, np.uint8)
        counts: I64 = np.zeros((len(table), 4), np.int64)
        low: F64 = np.full(len(table), np.nan)
        high: F64 = np.full(len(table), np.nan)
        for k in range(len(table) if len(word) else 0):
            first, mask, top, _, _, absent, kinds = table.whole[k, :7]
            resolution, offset = table.real[k]
            raw = _raw(word, first, mask)
            lowest, highest = raw.min(), raw.max()
            plain = 0 if int(kinds) & OVERLAP else int(kinds)
            if plain & HAS_ABSENT and lowest >= absent:
                value[k] = np.nan
                status[k] = NOT_AVAILABLE
                counts[k, NOT_AVAILABLE] = len(word)
                continue
            value[k] = raw
            value[k] *= resolution
            value[k] += offset
            if plain & HAS_NUMBER and highest <= top:
                status[k] = NUMBER
                counts[k, NUMBER] = len(word)
            else:
                number, counts[k] = _sort_out(raw, table.whole[k], table.layouts[k], status[k])
                np.copyto(value[k], np.nan, where=~number)
                if not counts[k, NUMBER]:
                    continue
                numbers = raw[number]
                lowest, highest = numbers.min(), numbers.max()
            ends = (
                np.float64(lowest) * resolution + offset,
                np.float64(highest) * resolution + offset,
            )
            low[k], high[k] = min(ends), max(ends)
        return Decoded(value, status, counts, low, high)


def _sort_out(
    raw: npt.NDArray[np.unsignedinteger[Any]], whole: U64, layout: Layout, status: U8
) -> tuple[npt.NDArray[np.bool_], tuple[int, int, int, int]]:
    """Write the status of each raw value; return which are numbers, and the count of each status.

    The limits are compared in the raw values' own type, so that none of these is widened.
    """
    _, mask, top, error_low, error_high, absent_low, kinds = (int(one) for one in whole[:7])
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


def _numbered(key: U64) -> tuple[U64, npt.NDArray[np.integer[Any]]]:
    """Return the distinct keys, rising, and which of them each key is."""
    for multiplier in _MULTIPLIERS if len(key) else ():
        # A table by 16 bits of a product: usually no two different keys meet in one slot.
        slot = (key * np.uint64(multiplier) >> np.uint64(48)).astype(np.uint16)
        held = np.zeros(1 << 16, np.uint64)
        held[slot] = key
        if (held[slot] == key).all():
            used = np.zeros(1 << 16, np.bool_)
            used[slot] = True
            slots = np.flatnonzero(used)
            order = np.argsort(held[slots])
            number = np.zeros(1 << 16, np.uint16)
            number[slots[order]] = np.arange(len(slots), dtype=np.uint16)
            return held[slots[order]], number[slot]
    places, index = np.unique(key, return_inverse=True)
    return places, index


def _raw(word: U64, first: np.uint64, mask: np.uint64) -> npt.NDArray[np.unsignedinteger[Any]]:
    """Cut raw values out of words, in the narrowest numbers that are quick."""
    shifted = word >> first if first else word
    if mask <= 0xFFFF:
        narrow = shifted.astype(np.uint16)
        return narrow if mask == 0xFFFF else narrow & np.uint16(mask)
    if mask <= 0xFFFFFFFF:
        return shifted.astype(np.uint32) & np.uint32(mask)
    return shifted & mask
