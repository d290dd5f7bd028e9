"""Conditions that the data cannot tell apart, and the outing that would.

Cold oil, the first twenty minutes, the morning and the road to the field come together: among
conditions that fit the same starts in the same time, one winner would be an accident (Fisher, Rudin
and Dominici 2019, the set of good models).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from shearbolt.model.frames import F64
from shearbolt.reasoning.phases import Rows
from shearbolt.reasoning.settings.ground import Condition, Ground
from shearbolt.reasoning.settings.profile import Cut, Field, threshold
from shearbolt.reasoning.settings.scores import TERM_COST, log_ratio
from shearbolt.reasoning.settings.stage import LAGS_S, SAMPLED, inside_words

APART = 3.0
"""Log likelihood by which another condition may fall short and still not be told apart."""
SCREEN = 4.0
"""Beyond it, what the coarse thresholds of the search may hide."""
SCREEN_SHARE = 0.35
"""And this share of the winner's own score."""
MOST = 3
"""Alternatives listed, and terms in each."""


@dataclass(frozen=True, slots=True)
class Twin:
    """Another condition: its cuts and its score (with costs, as the winner's)."""

    cuts: tuple[Cut, ...]
    score: float
    lag_s: int


def cut_of(condition: Condition) -> Cut:
    """Make a cut of a condition of the search."""
    return Cut(condition.quantity, condition.op, condition.value)


def twins_of(field: Field, cuts: Sequence[Cut], lag_s: int, score: float) -> tuple[Twin, ...]:
    """List conditions of other quantities that fit within APART, the best first, at most a dozen.

    Tried are all single conditions, and the winner with one term replaced. `score` is the winner's,
    less its terms' costs.
    """
    ground = field.ground
    rows = field.rows[:: max(1, len(field.rows) // SAMPLED)]
    sample = ground.flags(rows)
    words = inside_words(ground, field.starts[None, :])[0]
    n = len(field.starts)
    used = {cut.quantity for cut in cuts}
    lags = sorted({0, lag_s})
    found: dict[frozenset[str], Twin] = {}
    keeps = [()] if len(cuts) == 1 else [(), *(_without(cuts, i) for i in range(len(cuts)))]
    for kept in keeps:
        # Held together with the terms that stay; 64 starts at most, one bit each.
        time = field.joined(kept, rows, 0)
        share = sample[time].sum(axis=0, dtype=np.float64) / len(rows)
        cost = TERM_COST * len(kept)
        for lag in lags:
            held = field.joined(kept, field.starts, lag)
            mask = sum(1 << i for i in np.flatnonzero(held).tolist())
            both = words[LAGS_S.index(lag)] & words.dtype.type(mask)
            fits = log_ratio(np.bitwise_count(both).astype(np.float64), n, share) - cost
            for bit in _best_by_quantity(ground, fits, score - SCREEN - SCREEN_SHARE * score):
                condition = ground.conditions[bit]
                if condition is None or (not kept and condition.quantity in used):
                    continue
                if condition.quantity in {one.quantity for one in kept} | (used if kept else set()):
                    continue
                _try(field, (*kept, cut_of(condition)), lag, score, found)
    return tuple(sorted(found.values(), key=lambda one: -one.score)[:12])


def _without(cuts: Sequence[Cut], i: int) -> tuple[Cut, ...]:
    return tuple(one for j, one in enumerate(cuts) if j != i)


def _best_by_quantity(ground: Ground, fits: F64, least: float) -> list[int]:
    good = np.flatnonzero(fits >= max(least, 0.5))
    best: dict[int, int] = {}
    for bit in good[np.argsort(-fits[good], kind="stable")].tolist():
        best.setdefault(int(ground.quantity[bit]), bit)
    return list(best.values())[:12]


def _try(
    field: Field, cuts: tuple[Cut, ...], lag: int, score: float, found: dict[frozenset[str], Twin]
) -> None:
    last = cuts[-1]
    if last.op in ("<", ">"):
        last = threshold(field, last, cuts[:-1], lag)
    better = (*cuts[:-1], last)
    mine = field.score(better, lag) - TERM_COST * (len(better) - 1)
    key = frozenset(one.quantity for one in better)
    if mine >= score - APART and (key not in found or mine > found[key].score):
        found[key] = Twin(better, mine, lag)


def outing(
    field: Field, holding: Sequence[Cut], without: Sequence[Cut], exposed: Rows, per_hour: float
) -> tuple[float, float]:
    """Give hours of `holding` and not `without` that would settle it, and those seen already.

    per_hour: starts in an hour of `holding`; with none in that many hours, a cause that starts it
    at this rate would have been seen with a chance of 95 % (Poisson).
    """
    apart = field.joined(holding, exposed, 0) & ~field.joined(without, exposed, 0)
    return -math.log(0.05) / max(per_hour, 1e-9), float(apart.sum()) / 3600.0
