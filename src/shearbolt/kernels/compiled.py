"""The compiled kernel: `_compiled.c` behind the common interface.

Importing this module fails with ImportError where the extension was not built.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt

from shearbolt.kernels import _compiled
from shearbolt.kernels.interface import (
    Columns,
    Decoded,
    FrameColumns,
    Groups,
    LayoutTable,
    Parsed,
    Text,
    layout_table,
)
from shearbolt.model.frames import F64, I64, U8, U64


class CompiledKernel:
    """Kernel in C; see `interface.Kernel` for what each method does."""

    @property
    def name(self) -> str:
        """Return 'compiled'."""
        return "compiled"

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
        rows, used, odd = _compiled.parse_candump(
            text,
            start,
            stop,
            columns.time_us,
            columns.ident,
            columns.flags,
            columns.channel,
            columns.length,
            columns.word,
            channels,
            first_row,
        )
        left: I64 = np.frombuffer(odd, np.int64)
        return Parsed(rows, used, left.reshape(-1, 3))

    def group(self, frames: FrameColumns) -> Groups:
        """Sort data frames by channel, group number and source."""
        index: npt.NDArray[np.int32] = np.empty(len(frames.ident), np.int32)
        keys, starts = _compiled.group_mark(
            _plain(frames.ident), _plain(frames.flags), _plain(frames.channel), index
        )
        place: I64 = np.frombuffer(keys, np.int64)
        start: I64 = np.frombuffer(starts, np.int64)
        kept = int(start[-1])
        order: I64 = np.empty(kept, np.int64)
        time_us: I64 = np.empty(kept, np.int64)
        word: U64 = np.empty(kept, np.uint64)
        _compiled.group_move(
            index, start.copy(), _plain(frames.time_us), _plain(frames.word), order, time_us, word
        )
        return Groups(
            (place >> 26).astype(np.uint8),
            (place >> 8 & 0x3FFFF).astype(np.uint32),
            (place & 0xFF).astype(np.uint8),
            start,
            order,
            time_us,
            word,
        )

    def decode(self, word: U64, table: LayoutTable) -> Decoded:
        """Turn words into physical values."""
        k = len(table)
        value: F64 = np.empty((k, len(word)), np.float64)
        status: U8 = np.empty((k, len(word)), np.uint8)
        counts: I64 = np.empty((k, 4), np.int64)
        low: F64 = np.empty(k, np.float64)
        high: F64 = np.empty(k, np.float64)
        _compiled.decode(
            _plain(word), table.whole, table.real, value, status, counts, low, high, np.nan
        )
        for row in table.far_holes:
            # Rare: reserved values of a wide field, of an owner's table perhaps.
            from shearbolt.kernels.twin import NumpyKernel

            one = NumpyKernel().decode(word, layout_table([table.layouts[row]]))
            value[row], status[row], counts[row] = one.value[0], one.status[0], one.counts[0]
            low[row], high[row] = one.low[0], one.high[0]
        return Decoded(value, status, counts, low, high)


def _plain(column: npt.NDArray[Any]) -> npt.NDArray[Any]:
    return np.ascontiguousarray(column)
