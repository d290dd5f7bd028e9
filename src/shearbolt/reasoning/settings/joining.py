"""Joins of two and three conditions, built forward from the best of different quantities."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from shearbolt.model.frames import F64
from shearbolt.model.state import F32
from shearbolt.reasoning.phases import Rows
from shearbolt.reasoning.settings.scores import LEAST_SHARE, TERM_COST, Shares, score_of
from shearbolt.reasoning.settings.stage import NARROWER, Bits, Stage

__all__ = ["TERM_COST", "Joined", "joins", "rarest_join"]

BEAM = 4
"""Quantities from which pairs are built, and pairs from which triples are."""
LAGS_JOINED = 3
"""Lags at which joins are tried: those with the best single conditions."""
THIRDS = 8
"""Third conditions of a pair whose share of the time is counted out; chosen by an estimate."""


@dataclass(frozen=True, slots=True)
class Joined:
    """The best join of every arrangement; -inf where there is none."""

    score: F64
    bits: Rows
    lag: Rows


@dataclass(frozen=True, slots=True)
class _Pairs:
    """The best pairs of every arrangement: arrays (arrangements, BEAM), the best first."""

    score: F32
    """Without costs."""
    lag: Rows
    """Index among the lags that joins use."""
    first: Rows
    """Index among the coarse bits."""
    second: Rows


def rarest_join(stage: Stage) -> F32:
    """Give for each coarse condition the least share of the time that a join with it can have.

    A third condition may bring it down to LEAST_SHARE wherever a pair is usable.
    """
    share = stage.shares.share[stage.ground.coarse]
    found: F32 = np.where(stage.usable.any(axis=1), np.float32(LEAST_SHARE), share)
    return found


def joins(stage: Stage, words: Bits, single: F32, gain: F32, lag_cost: float) -> Joined:
    """Find the best pair or triple of every arrangement.

    words, single: (arrangements, lags, bits), starts inside and scores of single conditions.
    """
    coarse = stage.ground.coarse
    some = single[:, :, coarse]
    tops = np.argsort(-some.max(axis=2), axis=1, kind="stable")[:, :LAGS_JOINED]
    lags = np.sort(tops, axis=1)
    row = np.arange(len(words))[:, None]
    inside = words[row, lags][:, :, coarse]
    pairs = _pairs(stage, inside, some[row, lags], gain, (lag_cost * lags).astype(np.float64))
    bits = np.full((len(words), 3), -1, np.intp)
    bits[:, 0], bits[:, 1] = coarse[pairs.first[:, 0]], coarse[pairs.second[:, 0]]
    lag = lags[row, pairs.lag]
    best = Joined(pairs.score[:, 0].astype(np.float64) - TERM_COST, bits, lag[:, 0].copy())
    score, which, third = _thirds(stage, inside, pairs, gain, (lag_cost * lag).astype(np.float64))
    better = np.flatnonzero(score > best.score)
    beam, triple = which[better], third[better]
    best.score[better] = score[better]
    best.lag[better] = lag[better, beam]
    best.bits[better] = np.stack(
        [coarse[pairs.first[better, beam]], coarse[pairs.second[better, beam]], coarse[triple]], 1
    )
    return best


def _pairs(stage: Stage, inside: Bits, single: F32, gain: F32, lag_cost: F64) -> _Pairs:
    n = len(gain) - 1
    seeds = _leaders(single, stage.groups)
    seeded = np.take_along_axis(inside, seeds, axis=2)
    counts = np.bitwise_count(seeded[..., None] & inside[:, :, None, :])
    score = score_of(counts, n, gain, stage.pairs.of_rows(seeds))
    score -= lag_cost.astype(np.float32)[..., None, None]
    score[~stage.usable[seeds]] = -np.inf
    flat = score.reshape(len(inside), -1)
    few = min(BEAM, flat.shape[1])
    order = np.argpartition(-flat, few - 1, axis=1)[:, :few]
    found = np.take_along_axis(flat, order, axis=1)
    rank = np.argsort(-found, axis=1, kind="stable")
    order, found = np.take_along_axis(order, rank, 1), np.take_along_axis(found, rank, 1)
    lag, seed, second = np.unravel_index(order, score.shape[1:])
    row = np.arange(len(inside))[:, None]
    return _Pairs(found, lag, seeds[row, lag, seed], second)


def _leaders(scores: F32, groups: Rows) -> Rows:
    """Give the best bit of each of the best BEAM quantities: (..., BEAM), of (..., bits)."""
    tops = np.maximum.reduceat(scores, groups, axis=-1)
    few = min(BEAM, len(groups))
    chosen = np.argsort(-tops, axis=-1, kind="stable")[..., :few]
    ends = np.append(groups[1:], scores.shape[-1])
    longest = int((ends - groups).max())
    reach = groups[chosen][..., None] + np.arange(longest)
    valid = reach < ends[chosen][..., None]
    reach = np.minimum(reach, scores.shape[-1] - 1)
    spread = reach.reshape(*reach.shape[:-2], -1)
    values = np.take_along_axis(scores, spread, axis=-1).reshape(reach.shape)
    values = np.where(valid, values, -np.inf)
    return np.take_along_axis(reach, values.argmax(axis=-1)[..., None], axis=-1)[..., 0]


def _thirds(
    stage: Stage, inside: Bits, pairs: _Pairs, gain: F32, lag_cost: F64
) -> tuple[F64, Rows, Rows]:
    """Find the best third condition for the best pairs of every arrangement, at the pair's lag.

    Gives score (with costs), which of the pairs, and the third's index among the coarse bits.
    """
    n = len(gain) - 1
    row = np.arange(len(inside))[:, None]
    there = inside[row, pairs.lag]
    both = np.take_along_axis(there, pairs.first[..., None], 2) & np.take_along_axis(
        there, pairs.second[..., None], 2
    )
    counts = np.bitwise_count(both & there)
    share = stage.shares.share[stage.ground.coarse]
    pair = stage.pair[pairs.first, pairs.second]
    # As if the third depended on one of the two alone: good enough to choose whom to count out.
    narrow = np.minimum(
        stage.pair[pairs.first] / share[pairs.first][..., None],
        stage.pair[pairs.second] / share[pairs.second][..., None],
    )
    guess = score_of(counts, n, gain, Shares.of(pair[..., None] * narrow))
    few = min(THIRDS, guess.shape[2])
    thirds = np.argpartition(-guess, few - 1, axis=2)[:, :, :few]
    time = stage.packed[pairs.first] & stage.packed[pairs.second]
    held = np.bitwise_count(time[:, :, None, :] & stage.packed[thirds])
    true_share = held.sum(axis=3, dtype=np.int64) / stage.sampled
    score = score_of(np.take_along_axis(counts, thirds, 2), n, gain, Shares.of(true_share))
    good = (true_share <= NARROWER * pair[..., None]) & (true_share >= LEAST_SHARE)
    good &= np.isfinite(pairs.score)[..., None]
    final = score - 2 * TERM_COST - lag_cost[..., None]
    final = np.where(good, final, -np.inf).reshape(len(inside), -1)
    at = final.argmax(axis=1)
    beam, place = np.divmod(at, few)
    here = np.arange(len(inside))
    return final[here, at].astype(np.float64), beam, thirds[here, beam, place]
