"""The search: quantities x thresholds x sides x lags x joins of up to three, for many arrangements
of a fault's starts at once.

Every arrangement, the real one and the shifted ones, goes through the same search, so that the
best score of the shifted ones says what the best score of chance looks like (max statistic;
Westfall and Young 1993). Joins are built forward from the best conditions of different quantities
(joining.py).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from shearbolt.model.frames import F64
from shearbolt.model.state import F32
from shearbolt.reasoning.phases import Rows
from shearbolt.reasoning.settings import joining
from shearbolt.reasoning.settings.scores import Shares, entropy, score_of
from shearbolt.reasoning.settings.stage import LAGS_S, Bits, Stage, inside_words

LAG_COST = 1e-3
"""Breaks ties between lags in favour of the shorter."""


@dataclass(frozen=True, slots=True)
class Best:
    """The best of one search for every arrangement; arrays of the arrangements' number."""

    score: F64
    """Log likelihood ratio less the cost of further terms."""
    bits: Rows
    """(arrangements, 3): conditions joined, -1 for none."""
    lag: Rows
    """Index into LAGS_S."""


def search(stage: Stage, rows: Rows) -> Best:
    """Search every arrangement of the starts in full: rows (arrangements, starts)."""
    words = inside_words(stage.ground, rows)
    return _best(stage, words, np.bitwise_count(words), rows.shape[1])


def _best(stage: Stage, words: Bits, counts: npt.NDArray[np.uint8], n: int) -> Best:
    gain = entropy(n)
    single = score_of(counts, n, gain, stage.shares)
    single -= (LAG_COST * np.arange(len(LAGS_S), dtype=np.float32))[:, None]
    flat = single.reshape(len(words), -1)
    at = flat.argmax(axis=1)
    score = flat[np.arange(len(words)), at].astype(np.float64)
    bits = np.full((len(words), 3), -1, np.intp)
    lag, bits[:, 0] = np.divmod(at, single.shape[2])
    if len(stage.ground.coarse):
        joined = joining.joins(stage, words, single, gain, LAG_COST)
        better = joined.score > score
        score[better] = joined.score[better]
        bits[better] = joined.bits[better]
        lag[better] = joined.lag[better]
    return Best(score, bits, lag)


def reaching(stage: Stage, rows: Rows, bar: float) -> int:
    """Count the arrangements whose best score, as `search` has it, is at least `bar`.

    Those that hold too few starts for it whatever else is joined are passed over (after Tarone
    1990, and the pruning of joins of Terada and others 2013): the count is the same.
    """
    n = rows.shape[1]
    words = inside_words(stage.ground, rows)
    counts = np.bitwise_count(words)
    gain = entropy(n)
    # A single condition can reach the bar only with so many starts inside ...
    able = (counts >= _least_counts(stage.shares.share, n, gain, bar)).any(axis=(1, 2))
    if len(stage.ground.coarse):
        # ... and a join only if its parts hold so many, were it as rare as can be.
        rare = joining.rarest_join(stage)
        least = _least_counts(rare, n, gain, bar + joining.TERM_COST)
        able |= (counts[:, :, stage.ground.coarse] >= least).any(axis=(1, 2))
    some = np.flatnonzero(able)
    if not len(some):
        return 0
    return int(np.count_nonzero(_best(stage, words[some], counts[some], n).score >= bar))


def _least_counts(
    share: npt.NDArray[np.floating], n: int, gain: F32, bar: float
) -> npt.NDArray[np.uint8]:
    """Give for each share the fewest starts of n inside that reach the bar; n + 1: none do."""
    k = np.arange(n + 1)
    score = score_of(k[:, None], n, gain, Shares.of(share))
    reach = score >= bar
    return np.where(reach.any(axis=0), reach.argmax(axis=0), n + 1).astype(np.uint8)
