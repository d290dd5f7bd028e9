"""What the search knows of one fault's exposed time: the same for every arrangement of starts."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
import numpy.typing as npt

from shearbolt.model.state import F32
from shearbolt.reasoning.phases import Flags, Rows
from shearbolt.reasoning.settings.ground import Ground
from shearbolt.reasoning.settings.scores import LEAST_SHARE, Shares
from shearbolt.reasoning.settings.watch import Watch

Bits: TypeAlias = npt.NDArray[np.unsignedinteger]
"""Starts inside a condition, one bit each; as wide as their number needs."""
U64: TypeAlias = npt.NDArray[np.uint64]

LAGS_S = (0, 2, 5, 10, 20, 30, 60)
"""Seconds from the condition to the code that are tried."""
SAMPLED = 4096
"""Exposed rows from which shares of the time are taken."""
NARROWER = 0.8
"""A join must narrow the time to so much of its narrowest part (own rule)."""
_TRANSPOSE = (
    (np.uint64(7), np.uint64(0x00AA00AA00AA00AA)),
    (np.uint64(14), np.uint64(0x0000CCCC0000CCCC)),
    (np.uint64(28), np.uint64(0x00000000F0F0F0F0)),
)
"""Shifts and masks that turn 8 x 8 bits about their diagonal (Warren 2002, Hacker's Delight)."""


@dataclass(frozen=True, slots=True)
class Stage:
    """Shares of the exposed time for conditions and for pairs of the coarse ones."""

    ground: Ground
    units: int
    """Bursts of the fault."""
    sampled: int
    """Rows behind the shares: of the visits with starts, weighted by their starts."""
    shares: Shares
    """Of every bit."""
    packed: U64
    """(coarse, sampled / 64): which of the rows hold a coarse condition."""
    pair: F32
    """(coarse, coarse)."""
    usable: Flags
    """(coarse, coarse): pairs that may be joined."""
    pairs: Shares
    """The same, bounded; 1 where the pair may not be joined: it scores nothing."""
    groups: Rows
    """First of each quantity among the coarse bits."""


def sample_rows(ground: Ground, watch: Watch, most: int = SAMPLED) -> Rows:
    """Take exposed rows of the visits with starts, evenly, in proportion to the starts.

    Each visit's starts are so compared with the same visit's time (case-crossover; Maclure 1991).
    """
    visits, counts = np.unique(watch.unit_visit, return_counts=True)
    parts: list[Rows] = []
    for visit, count in zip(visits.tolist(), counts.tolist(), strict=True):
        first, last = ground.span(visit)
        rows = np.flatnonzero(watch.exposed[first:last]) + first
        wanted = max(1, round(most * count / len(watch.unit_visit)))
        parts.append(rows[((np.arange(wanted) + 0.5) * len(rows) / wanted).astype(np.intp)])
    return np.concatenate(parts)


def stage_of(ground: Ground, watch: Watch) -> Stage:
    """Prepare the search for one fault, which has at least one start."""
    sample = ground.flags(sample_rows(ground, watch))
    share = sample.mean(axis=0, dtype=np.float32)
    some = sample[:, ground.coarse].T
    padded = np.zeros((len(some), -(-len(sample) // 64) * 64), np.uint8)
    padded[:, : len(sample)] = some
    packed: U64 = np.packbits(padded, axis=1, bitorder="little").view(np.uint64)
    pair = _shares_of_pairs(packed, len(sample))
    mine = share[ground.coarse]
    usable = (pair <= NARROWER * np.minimum(mine[:, None], mine)) & (pair >= LEAST_SHARE)
    numbers = ground.quantity[ground.coarse]
    groups = np.flatnonzero(np.diff(numbers, prepend=-1)) if len(numbers) else numbers
    return Stage(
        ground,
        len(watch.unit_rows),
        len(sample),
        Shares.of(share),
        packed,
        pair,
        usable,
        Shares.of(np.where(usable, pair, 1.0)),
        groups,
    )


def _shares_of_pairs(packed: U64, rows: int) -> F32:
    """Give the share of rows in which two conditions hold, for every pair; by counting bits."""
    out = np.zeros((len(packed), len(packed)), np.float32)
    for i, one in enumerate(packed):
        both = np.bitwise_count(packed[i:] & one).sum(axis=1, dtype=np.int64)
        out[i, i:] = out[i:, i] = both / rows
    return out


def inside_words(ground: Ground, rows: Rows) -> Bits:
    """Give for every arrangement, lag and bit the starts inside, one bit each.

    rows: (arrangements, starts up to 64). Result: (arrangements, lags, bits).
    """
    count = rows.shape[1]
    lagged = np.full((len(rows), len(LAGS_S), -(-count // 8) * 8), ground.rows, np.intp)
    for i, lag in enumerate(LAGS_S):
        lagged[:, i, :count] = ground.lagged(rows, lag)
    wide = ground.bits.shape[1]
    told = ground.bits[lagged].reshape(len(rows), len(LAGS_S), -1, 8, wide)
    # Eight starts by eight conditions in one word, turned about.
    word = np.ascontiguousarray(told.swapaxes(-1, -2)).view(np.uint64)[..., 0]
    for shift, mask in _TRANSPOSE:
        swap = (word ^ (word >> shift)) & mask
        word ^= swap ^ (swap << shift)
    turned = word.view(np.uint8).reshape(*told.shape[:3], wide * 8)
    octets = turned.shape[2]
    size = 1 if octets == 1 else 2 if octets == 2 else 4 if octets <= 4 else 8
    out = np.zeros((*turned.shape[:2], wide * 8, size), np.uint8)
    out[..., :octets] = turned.swapaxes(-1, -2)
    found: Bits = out.view(f"<u{size}")[..., 0]
    return found
