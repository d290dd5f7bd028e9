"""What is known of a kind of fault's rate from all machines that had it (empirical Bayes).

People repair after a bad week, so the rate before a repair is taken too high; the kind's own spread
says how high rates of this kind usually are (Hauer 1997, on before-and-after studies). Counts of
machines are negative binomial; shape and mean by greatest marginal likelihood over a grid.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from shearbolt.reasoning.follow_up.rates import RateBelief

LEAST_MACHINES = 3
"""Fewer say nothing of how machines differ."""
_SHAPES = np.geomspace(0.2, 50.0, 40)
_STEPS = np.geomspace(0.05, 20.0, 80)
"""Means tried, as multiples of the pooled rate."""


def belief_of_kind(counts: Sequence[tuple[int, float]]) -> RateBelief | None:
    """Give the belief of a kind's rate from (starts, exposure) of each machine that could have
    shown it; None: fewer than three machines, or no start at all.

    The machine that is judged belongs among them no more than any other.
    """
    useful = [(k, hours) for k, hours in counts if hours > 0.0]
    total = sum(k for k, _ in useful)
    if len(useful) < LEAST_MACHINES or not total:
        return None
    pooled = total / math.fsum(hours for _, hours in useful)
    best = -math.inf
    found: RateBelief | None = None
    for shape in _SHAPES.tolist():
        exposure = shape / (pooled * _STEPS)
        log = np.zeros(len(_STEPS))
        for k, hours in useful:
            log += math.lgamma(shape + k) - math.lgamma(shape)
            log += shape * np.log(exposure / (exposure + hours))
            log += k * np.log(hours / (exposure + hours))
        at = int(np.argmax(log))
        if log[at] > best:
            best = float(log[at])
            found = RateBelief(shape, float(exposure[at]))
    return found
