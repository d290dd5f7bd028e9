"""Confirmation on starts that the search did not use.

The key cycles with starts are dealt into folds. The whole search runs without one fold, and the
condition it finds is tried on that fold's starts, so that every start is judged once by a condition
that it had no part in choosing (Webb 2007, holdout evaluation; Stone 1974, cross-validation).
"""

from __future__ import annotations

import numpy as np

from shearbolt.model.frames import F64
from shearbolt.reasoning.phases import Rows
from shearbolt.reasoning.settings.chance import Cycles, cycles_of_fault
from shearbolt.reasoning.settings.ground import Ground
from shearbolt.reasoning.settings.scores import tail_of_unequal
from shearbolt.reasoning.settings.search import search
from shearbolt.reasoning.settings.stage import LAGS_S, Stage
from shearbolt.reasoning.settings.watch import Watch

FOLDS = 5
CONFIRM_P = 0.01


def _fold_of(cycle: Rows) -> tuple[Rows, int]:
    """Deal cycles into folds in turn; give each start's fold, and the number of folds."""
    _, number = np.unique(cycle, return_inverse=True)
    folds = min(FOLDS, int(number.max()) + 1)
    return np.asarray(number % folds, np.intp), folds


def confirmed_within(stage: Stage, watch: Watch) -> tuple[bool, float]:
    """Tell whether starts keep to conditions found without them, and the p-value.

    Each burst lies inside by chance as often as its own visit's exposed time does.
    """
    ground = stage.ground
    fold, folds = _fold_of(ground.cycle[watch.unit_rows])
    hits = 0
    chances: list[float] = []
    for i in range(folds):
        mine = fold == i
        if mine.all():
            return False, 1.0
        best = search(stage, watch.unit_rows[None, ~mine])
        bits = [bit for bit in best.bits[0].tolist() if bit >= 0]
        rows = ground.lagged(watch.unit_rows[mine], LAGS_S[int(best.lag[0])])
        hits += int(ground.held(rows, bits).sum())
        for visit in watch.unit_visit[mine].tolist():
            first, last = ground.span(visit)
            exposed = np.flatnonzero(watch.exposed[first:last])[::7] + first
            chances.append(float(ground.held(exposed, bits).mean()) if len(exposed) else 1.0)
    p = tail_of_unequal(np.asarray(chances), hits)
    return p < CONFIRM_P, p


def confirmed_between(ground: Ground, watch: Watch) -> tuple[bool, float]:
    """Tell the same of conditions that differ from cycle to cycle: whole cycles are held out."""
    cycles = cycles_of_fault(ground, watch)
    if cycles is None:
        return False, 1.0
    with_start = np.flatnonzero(cycles.started)
    folds = min(FOLDS, len(with_start))
    hits = 0
    chances: list[float] = []
    for i in range(folds):
        held_out = with_start[i::folds]
        kept = np.setdiff1d(with_start, held_out)
        if not len(kept):
            return False, 1.0
        bit, share = _best_of(cycles, kept)
        hits += int(np.count_nonzero(cycles.inside[held_out, bit] > 0.5))
        chances += [share] * len(held_out)
    p = tail_of_unequal(np.asarray(chances), hits)
    return p < CONFIRM_P, p


def _best_of(cycles: Cycles, kept: Rows) -> tuple[int, float]:
    """Give the condition that fits some cycles with starts best, and its share of all cycles."""
    share: F64 = cycles.inside.mean(axis=0)
    q = cycles.inside[kept].mean(axis=0)
    p = np.clip(share, 1e-3, 1 - 1e-3)
    q = np.clip(q, 1e-12, 1 - 1e-12)
    score = np.where(q > p, q * np.log(q / p) + (1 - q) * np.log((1 - q) / (1 - p)), 0.0)
    bit = int(score.argmax())
    return bit, float(share[bit])
