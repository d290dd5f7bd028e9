"""Thinning out samples so that no peak is lost: first, lowest, highest and last of each column."""

from __future__ import annotations

import numpy as np

from shearbolt.model.frames import F64, I64

MOST_COLUMNS = 2000
"""Columns of a picture's document: twice as many as a wide picture has pixels."""


def thinned(at: F64, value: F64, low: float, high: float, columns: int) -> I64:
    """Choose samples (rising indices): of each of `columns` equal parts of `low` to `high` the
    first, the lowest, the highest and the last.

    `at` rises; a NaN in `value` marks a gap and is kept, so that what it parts stays parted.
    Samples outside `low` to `high` are left out.
    """
    inside = np.flatnonzero((at >= low) & (at <= high))
    if len(inside) <= 4 * columns:
        return inside.astype(np.int64)
    column = np.zeros(len(inside), np.int64)
    if high > low:
        share = (at[inside] - low) / (high - low)
        column = np.minimum((share * columns).astype(np.int64), columns - 1)
    gap = np.isnan(value[inside])
    # A gap is a part of its own, so that first and last are those of what is joined.
    begun = np.concatenate([[False], np.diff(column) != 0])
    part = np.cumsum(begun | gap | np.concatenate([[False], gap[:-1]]))
    begins = np.flatnonzero(np.concatenate([[True], np.diff(part) != 0]))
    ends = np.concatenate([begins[1:], [len(inside)]]) - 1
    kept = [begins, ends, np.flatnonzero(gap)]
    numbers = value[inside]
    for filled, extreme in ((np.inf, np.minimum), (-np.inf, np.maximum)):
        known = np.where(gap, filled, numbers)
        best = np.repeat(extreme.reduceat(known, begins), ends - begins + 1)
        hits = np.flatnonzero((known == best) & ~gap)
        # The first hit of each part is enough.
        kept.append(hits[np.unique(part[hits], return_index=True)[1]])
    chosen: I64 = inside[np.unique(np.concatenate(kept))].astype(np.int64)
    return chosen


def parted(at: F64, value: F64, longest_s: float) -> tuple[F64, F64]:
    """Put a NaN after each sample that is followed by none for longer than `longest_s`."""
    far = np.flatnonzero(np.diff(at) > longest_s)
    # A twice-told moment keeps the order: the gap begins where the last sample was.
    return np.insert(at, far + 1, at[far]), np.insert(value, far + 1, np.nan)
