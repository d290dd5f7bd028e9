"""The score of a condition and the tails that the search needs."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from shearbolt.model.frames import F64
from shearbolt.model.state import F32

LEAST_SHARE = 1e-3
"""Conditions rarer than this count as this rare: a share that few seconds make up is not known
better (own rule; Tarone 1990: what can hardly be reached cannot be tested)."""
TERM_COST = 5.0
"""What each further joined condition must add to the log likelihood (own rule: the log of the
number of choices it opens, about as the criterion of Schwarz 1978 has it)."""


@dataclass(frozen=True, slots=True)
class Shares:
    """Shares of the exposed time, bounded to [LEAST_SHARE, 1 - LEAST_SHARE], and their logs."""

    share: F32
    log_in: F32
    log_out: F32

    @classmethod
    def of(cls, share: npt.NDArray[np.floating]) -> Shares:
        """Bound shares and take their logs."""
        bounded = np.clip(share, LEAST_SHARE, 1.0 - LEAST_SHARE).astype(np.float32)
        return cls(bounded, np.log(bounded), np.log1p(-bounded))

    def of_rows(self, rows: npt.NDArray[np.intp]) -> Shares:
        """Take rows of all three."""
        return Shares(self.share[rows], self.log_in[rows], self.log_out[rows])


def entropy(count: int) -> F32:
    """Give k log(k/n) + (n-k) log(1-k/n) for k = 0..n."""
    k = np.arange(count + 1, dtype=np.float64)
    with np.errstate(divide="ignore", invalid="ignore"):
        inside = np.where(k > 0, k * np.log(k / max(count, 1)), 0.0)
        outside = np.where(k < count, (count - k) * np.log1p(-k / max(count, 1)), 0.0)
    return (inside + outside).astype(np.float32)


def score_of(counts: npt.NDArray[np.integer], n: int, gain: F32, shares: Shares) -> F32:
    """Give `log_ratio` for whole counts from tables (`entropy`, Shares); shapes broadcast."""
    k = counts.astype(np.float32)
    found: F32 = gain[counts]
    found = found - np.float32(n) * shares.log_out
    found -= k * (shares.log_in - shares.log_out)
    found[k <= np.float32(n) * shares.share] = 0.0
    return found


def log_ratio(k: npt.NDArray[np.floating], n: float, share: npt.NDArray[np.floating]) -> F64:
    """Log likelihood ratio of 'inside more often' against 'no matter'; 0 where it is not so.

    k of n starts inside a condition that holds in `share` of the exposed time: binomial, as in the
    scan statistic (Kulldorff 1997); n > 0. Shapes broadcast.
    """
    p = np.clip(share, LEAST_SHARE, 1.0 - LEAST_SHARE)
    q = np.clip(np.asarray(k, np.float64) / n, 0.0, 1.0)
    with np.errstate(divide="ignore", invalid="ignore"):
        inside = np.where(q > 0, q * np.log(q / p), 0.0)
        outside = np.where(q < 1, (1 - q) * np.log((1 - q) / (1 - p)), 0.0)
    return np.where(q > p, n * (inside + outside), 0.0)


def tail_of_unequal(shares: F64, least: int) -> float:
    """Chance of at least so many successes of independent trials with these chances.

    Exact, by convolution (Poisson-binomial distribution; Hodges and Le Cam 1960 for its name).
    """
    chances = np.ones(1)
    for share in shares:
        chances = np.convolve(chances, [1.0 - share, share])
    return float(min(1.0, chances[least:].sum()))


def gumbel_of(maxima: F64) -> tuple[float, float]:
    """Fit location and scale of the largest-value distribution by moments (Gumbel 1958)."""
    scale = max(float(np.std(maxima)) * math.sqrt(6.0) / math.pi, 1e-6)
    return float(np.mean(maxima)) - 0.5772156649 * scale, scale


def gumbel_tail(value: float, location: float, scale: float) -> float:
    """Chance that a largest value is at least this."""
    return float(-np.expm1(-math.exp(min(700.0, -(value - location) / scale))))


def gumbel_point(chance: float, location: float, scale: float) -> float:
    """Value that a largest value exceeds with this chance."""
    return location - scale * math.log(-math.log1p(-chance))
