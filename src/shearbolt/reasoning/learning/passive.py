"""Passive matching: which unknown numbers go with a known quantity while the machine just works.

Ranks (Spearman) of values less their block's mean, so that a common drift over the day counts for
nothing, over lags; tested by permuting whole blocks with the largest figure over all fields and
lags (Westfall and Young 1993; Lahiri 2003 on blocks; both from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from shearbolt.model.frames import F64, I64
from shearbolt.model.instants import SECOND_US
from shearbolt.reasoning.learning.experiment import FOUND_P, numbers_of
from shearbolt.reasoning.learning.fields import fields_of
from shearbolt.reasoning.learning.places import Payloads, Place, overlap, raw_of

BLOCK_S = 20
"""Seconds of a block: longer than a reading's own memory at work, short enough to have many."""
LEAST_BLOCKS = 12
"""Fewer blocks of movement settle nothing."""
MOST_LAG_S = 3
LEAST_RHO = 0.8
"""A smaller rank correlation is a relation, not the same reading."""
PERMUTATIONS = 499
LEAST_BITS = 4
"""Narrower fields are no numbers."""
MOST_BITS = 16
"""Wider ones are two numbers, or a total."""
MOST_FIELDS = 400


@dataclass(frozen=True, slots=True)
class Follows:
    """A number that goes with a known quantity."""

    place: Place
    rho: float
    """Rank correlation within blocks; negative: it falls while the quantity rises."""
    p_value: float
    lag_s: int
    """So much later than the quantity."""
    scale: float
    offset: float
    """Quantity = raw x scale + offset, by least squares: a first guess for a row of one's own."""


@dataclass(frozen=True, slots=True)
class Passive:
    """What a search by passive matching gave."""

    follows: tuple[Follows, ...]
    """Best first."""
    heard: frozenset[tuple[int, int]]
    """Groups (group, address) that were heard."""
    looked_at: int
    blocks: int
    enough: bool
    """The quantity moved in enough blocks to settle anything."""


def follow(
    payloads: Payloads, second: I64, value: F64, *, seed: int = 0, also: tuple[Place, ...] = ()
) -> Passive:
    """Find numbers that follow a quantity.

    `second`: whole seconds by the clock of the payloads, rising; `value`: its number, NaN: none.
    `also`: places of an earlier session, judged as they were kept.
    """
    told = ~np.isnan(value)
    second, value = second[told], value[told]
    if len(second) < LEAST_BLOCKS * BLOCK_S:
        return Passive((), frozenset(), 0, 0, False)
    blocks = _blocks(second, value)
    if blocks.shape[0] < LEAST_BLOCKS:
        return Passive((), frozenset(), 0, int(blocks.shape[0]), False)
    places, raws, heard = _numbers(payloads, blocks, also)
    if not places:
        return Passive((), heard, 0, int(blocks.shape[0]), True)
    at = np.searchsorted(second, blocks.ravel())
    known = _ranked(value[at].reshape(blocks.shape))
    rng = np.random.default_rng(seed)
    orders = [rng.permutation(len(blocks)) for _ in range(PERMUTATIONS)]
    best = np.zeros(len(places))
    lags = np.zeros(len(places), np.int64)
    largest = np.zeros(PERMUTATIONS)
    for lag in range(-MOST_LAG_S, MOST_LAG_S + 1):
        # Block by block products: a permutation only picks other pairs of blocks.
        ranks = np.stack([_ranked(one[lag]) for one in raws])
        pairs = np.einsum("fbt,ct->fbc", ranks, known)
        size = np.sqrt((ranks**2).sum(axis=(1, 2)) * (known**2).sum())
        size[size == 0.0] = np.inf
        rows = np.arange(len(blocks))
        rho = pairs[:, rows, rows].sum(axis=1) / size
        better = np.abs(rho) > np.abs(best)
        best[better], lags[better] = rho[better], lag
        for i, order in enumerate(orders):
            shuffled = np.abs(pairs[:, rows, order].sum(axis=1) / size)
            largest[i] = max(largest[i], float(shuffled.max()))
    found: list[Follows] = []
    for i, place in enumerate(places):
        p_value = float(
            (1 + np.count_nonzero(largest >= abs(best[i]) - 1e-12)) / (1 + PERMUTATIONS)
        )
        if abs(best[i]) < LEAST_RHO or p_value >= FOUND_P:
            continue
        raw = raws[i][int(lags[i])].ravel()
        scale, offset = np.polyfit(raw, value[at], 1)
        found.append(
            Follows(
                place, round(float(best[i]), 4), p_value, int(lags[i]), float(f"{scale:.4g}"),
                float(f"{offset:.4g}"),
            )
        )  # fmt: skip
    return Passive(_distinct(found), heard, len(places), int(blocks.shape[0]), True)


def _distinct(found: list[Follows]) -> tuple[Follows, ...]:
    """Leave out what only follows as part of a place that follows better."""
    kept: list[Follows] = []
    for one in sorted(found, key=lambda one: (-abs(one.rho), one.place)):
        if not any(overlap(one.place, better.place) for better in kept):
            kept.append(one)
    return tuple(kept)


def _blocks(second: I64, value: F64) -> I64:
    """Cut unbroken time into blocks, shape (blocks, BLOCK_S), without those in which it stands."""
    kept: list[I64] = []
    at = 0
    while at + BLOCK_S <= len(second):
        end = at + BLOCK_S
        if second[end - 1] - second[at] != BLOCK_S - 1:
            at += 1
            continue
        if float(np.ptp(value[at:end])) > 0.0:
            kept.append(second[at:end])
        at = end
    return np.array(kept, np.int64).reshape(-1, BLOCK_S)


def _numbers(
    payloads: Payloads, blocks: I64, also: tuple[Place, ...]
) -> tuple[list[Place], list[dict[int, I64]], frozenset[tuple[int, int]]]:
    """Give every number, with its raw counts in the blocks for every lag."""
    places: list[Place] = []
    raws: list[dict[int, I64]] = []
    heard: set[tuple[int, int]] = set()
    for group, address in payloads.senders():
        own = payloads.of(group, address)
        if own.time_us[-1] < int(blocks[-1, 0]) * SECOND_US:
            continue
        heard.add((group, address))
        wanted = [one for one in also if (one.group, one.address) == (group, address)]
        wanted += [
            one
            for one in numbers_of(group, address, own.data, fields_of(own.data))
            if LEAST_BITS <= one.bits <= MOST_BITS
        ]
        at = {
            lag: np.maximum(
                np.searchsorted(own.time_us, (blocks + 1 + lag) * SECOND_US, side="left") - 1, 0
            )
            for lag in range(-MOST_LAG_S, MOST_LAG_S + 1)
        }
        for place in dict.fromkeys(wanted):
            if len(places) == MOST_FIELDS:
                break
            raw = raw_of(own.data, place)
            places.append(place)
            raws.append({lag: raw[rows] for lag, rows in at.items()})
    return places, raws, frozenset(heard)


def _ranked(values: F64 | I64) -> F64:
    """Rank all values less their block's mean (ties share their mean rank), centred; (b, t)."""
    wide = values.astype(np.float64)
    flat = (wide - wide.mean(axis=1, keepdims=True)).ravel()
    _, place, count = np.unique(np.round(flat, 9), return_inverse=True, return_counts=True)
    ends = np.cumsum(count)
    ranks = (ends - (count - 1) / 2.0)[place.ravel()]
    return np.asarray((ranks - ranks.mean()).reshape(values.shape), np.float64)
