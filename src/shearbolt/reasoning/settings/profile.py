"""The winner looked at closely: thresholds with their intervals, delay, persistence, hysteresis.

Profile likelihood: one number varies, the likelihood ratio is taken anew, and the values that lose
less than a bound make the interval (Lausen and Schumacher 1992 for thresholds chosen by the data).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from shearbolt.model.frames import F64
from shearbolt.reasoning.phases import Flags, Rows
from shearbolt.reasoning.settings.ground import Ground
from shearbolt.reasoning.settings.scores import log_ratio
from shearbolt.reasoning.settings.setting import Op
from shearbolt.reasoning.settings.stage import LAGS_S

THRESHOLD_DROP = 3.0
"""-ln 0.05. All starts lie on one side of a threshold, so its likelihood falls off at once there:
the ratio itself is the tail, not its chi-squared (as for the end of a uniform distribution)."""
DELAY_DROP = 1.92
"""Half of 3.84, the 95 % point of chi-squared with one degree of freedom."""
CLEAR_GAIN = 1.92
"""A persistence, or a hysteresis, is only said to be there when it gains so much."""
NEAR = 0.5
"""A longer delay must gain more than this (own rule)."""
HOLDS_S = (0, 2, 5, 10, 20, 30, 60)
"""Seconds for which a condition may have to hold before a controller sets the code."""
TRIED = 200
"""Thresholds tried in a profile."""
BANDS = (0.05, 0.1, 0.2, 0.3)
"""Hysteresis tried, as shares of the quantity's usual span (5 % to 95 %)."""


@dataclass(frozen=True, slots=True)
class Cut:
    """One term, with its threshold's interval."""

    quantity: str
    op: Op
    value: float
    low: float | None = None
    high: float | None = None

    def holds(self, values: F64) -> Flags:
        """Tell where it holds; NaN holds nothing."""
        with np.errstate(invalid="ignore"):
            if self.op == "<":
                return np.asarray(values < self.value)
            if self.op == ">":
                return np.asarray(values > self.value)
            return np.asarray(np.abs(values - self.value) < 0.5)


@dataclass(frozen=True, slots=True)
class Field:
    """Exposed rows and starts on which a profile is taken."""

    ground: Ground
    rows: Rows
    """Exposed rows, weighted by their visit's starts (see search.sample_rows)."""
    starts: Rows
    """First starts of bursts."""
    every: Rows
    """All starts: a threshold does not cut off one that it need not."""

    def score(self, cuts: Sequence[Cut], lag_s: int) -> float:
        """Log likelihood ratio of the joined cuts, as the search has it, without its costs."""
        held = self.joined(cuts, self.rows, 0)
        inside = self.joined(cuts, self.starts, lag_s)
        k = np.asarray([inside.sum()], np.float64)
        return float(log_ratio(k, len(self.starts), np.asarray([held.mean()]))[0])

    def joined(
        self, cuts: Sequence[Cut], rows: Rows, lag_s: int, *, unknown: bool = False
    ) -> Flags:
        """Tell for each row whether all cuts held so many seconds earlier.

        unknown: what a time that was not recorded counts as.
        """
        out = np.ones(len(rows), np.bool_)
        lagged = self.ground.lagged(rows, lag_s)
        for cut in cuts:
            out &= cut.holds(self.ground.values(cut.quantity, lagged).astype(np.float64))
        return out | (lagged == self.ground.rows) if unknown else out


def refined(field: Field, cuts: Sequence[Cut], lag_s: int) -> tuple[Cut, ...]:
    """Refine the threshold of every cut with the others fixed, twice round, and give intervals."""
    found = list(cuts)
    for _ in range(2 if len(found) > 1 else 1):
        for i, cut in enumerate(found):
            if cut.op in ("<", ">"):
                others = [one for j, one in enumerate(found) if j != i]
                found[i] = threshold(field, cut, others, lag_s)
    return tuple(found)


def threshold(field: Field, cut: Cut, others: Sequence[Cut], lag_s: int) -> Cut:
    """Profile one threshold: the likelihood-weighted mean, and the interval of THRESHOLD_DROP."""
    sign = 1.0 if cut.op == "<" else -1.0
    mine = _signed(field, cut, others, 0, field.rows)
    at_start = _signed(field, cut, others, lag_s, field.starts)
    if not len(mine) or not len(at_start):
        return cut
    known = np.unique(np.concatenate([mine, at_start]))
    middles = (known[1:] + known[:-1]) / 2.0
    if not len(middles):
        return cut
    tried = middles
    if len(middles) > TRIED:
        near = np.clip(np.searchsorted(middles, at_start), 0, len(middles) - 1)
        even = np.linspace(0, len(middles) - 1, TRIED).astype(np.intp)
        tried = middles[np.unique(np.concatenate([near, even]))]
    share = np.searchsorted(mine, tried) / len(field.rows)
    k = np.searchsorted(at_start, tried).astype(np.float64)
    score = log_ratio(k, len(field.starts), share)
    good = score >= score.max() - THRESHOLD_DROP
    places = np.flatnonzero(good)
    # The likelihood is a step function: an interval ends where the next step begins.
    low = float(tried[max(places[0] - 1, 0)])
    high = float(tried[min(places[-1] + 1, len(tried) - 1)])
    count = np.searchsorted(_signed(field, cut, others, lag_s, field.every), tried)
    good &= count == count[good].max()
    weight = np.where(good, np.exp(score - score.max()), 0.0)
    if len(tried) > 1:
        weight *= np.maximum(np.gradient(share), 1e-12)
    middle = float((weight * tried).sum() / weight.sum())
    among = tried[good]
    value = float(among[np.abs(among - middle).argmin()])
    ends = sorted((sign * low, sign * high))
    return replace(cut, value=sign * value, low=ends[0], high=ends[1])


def _signed(field: Field, cut: Cut, others: Sequence[Cut], lag_s: int, rows: Rows) -> F64:
    """Give a cut's quantity where the other cuts hold, rising; negative for '>'."""
    lagged = field.ground.lagged(rows, lag_s)
    values = field.ground.values(cut.quantity, lagged).astype(np.float64)
    values = values[field.joined(others, rows, lag_s) & np.isfinite(values)]
    return np.sort(values if cut.op == "<" else -values)


@dataclass(frozen=True, slots=True)
class Delay:
    """From the condition to the code."""

    lag_s: int
    low_s: float
    """Interval of lag and persistence together."""
    high_s: float
    persistence_s: int
    score: float


def delay_of(field: Field, cuts: Sequence[Cut]) -> Delay:
    """Profile lag and persistence over their grids.

    The condition must have held for `persistence` up to `lag` before the code; what was not
    recorded speaks against nothing. A persistence is only taken where it gains CLEAR_GAIN over the
    best lag without one; of delays as good within NEAR the smallest. The interval is that of
    DELAY_DROP.
    """
    grid: list[tuple[int, int, float]] = []
    n = len(field.starts)
    ever = np.ones(len(field.rows), np.bool_)
    inside = {lag: np.ones(n, np.bool_) for lag in LAGS_S}
    back = 0
    for hold in HOLDS_S:
        for step in _looks(back, hold):
            ever &= field.joined(cuts, field.rows, step, unknown=step > 0)
            for lag in LAGS_S:
                inside[lag] &= field.joined(cuts, field.starts, lag + step, unknown=step > 0)
        back = hold
        share = np.asarray([ever.mean()])
        for lag in LAGS_S:
            k = np.asarray([float(inside[lag].sum())])
            grid.append((lag, hold, float(log_ratio(k, n, share)[0])))
    plain = [one for one in grid if one[1] == 0]
    most = max(score for _, _, score in grid)
    most_plain = max(score for _, _, score in plain)
    among = grid if most > most_plain + CLEAR_GAIN else plain
    top = max(score for _, _, score in among)
    lag, hold, score = min(
        (one for one in among if one[2] >= top - NEAR), key=lambda one: (one[0] + one[1], one[1])
    )
    delays = [one[0] + one[1] for one in among if one[2] >= top - DELAY_DROP]
    return Delay(lag, min(delays), max(delays), hold, score)


def _looks(back: int, hold: int) -> list[int]:
    """Give the seconds to look back: each up to 10, then every fifth."""
    if hold == 0:
        return [0]
    return [step for step in range(back + 1, hold + 1) if step <= 10 or step % 5 == 0]


def hysteresis_of(field: Field, cuts: Sequence[Cut], lag_s: int, exposed: Rows) -> float | None:
    """Profile how far beyond its threshold the first cut still counts, once it was reached.

    exposed: whole visits' rows to follow it on, rising, that hold all of the field's. None: nothing
    speaks for it.
    """
    first = cuts[0]
    if first.op not in ("<", ">") or not len(exposed):
        return None
    ground = field.ground
    sign = 1.0 if first.op == "<" else -1.0
    values = sign * ground.values(first.quantity, exposed).astype(np.float64)
    told = values[np.isfinite(values)]
    if not len(told):
        return None
    span = float(np.subtract(*np.percentile(told, [95, 5])))
    new_visit = np.diff(ground.visit_of(exposed), prepend=-1) != 0
    lagged = ground.lagged(field.starts, lag_s)
    starts = np.searchsorted(exposed, lagged[lagged < ground.rows])
    rest = field.joined(cuts[1:], exposed, 0)
    shares = np.searchsorted(exposed, field.rows)
    scores: list[tuple[float, float]] = []
    for band in (0.0, *BANDS):
        with np.errstate(invalid="ignore"):
            on = values < sign * first.value
            off = ~(values < sign * first.value + band * span) | new_visit
        mark = np.where(on | off, np.arange(len(values)), 0)
        held = on[np.maximum.accumulate(mark)] & rest
        k = np.asarray([float(held[starts].sum())])
        score = log_ratio(k, len(field.starts), np.asarray([held[shares].mean()]))
        scores.append((float(score[0]), band * span))
    best = max(scores)
    return best[1] if best[0] >= scores[0][0] + CLEAR_GAIN and best[1] > 0 else None
