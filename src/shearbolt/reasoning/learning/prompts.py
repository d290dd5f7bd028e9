"""The prompts of an experiment: what was asked for when, and how chance could have dealt it."""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass

import numpy as np

from shearbolt.model.frames import F64
from shearbolt.model.instants import SECOND_US

LEAST_EACH = 3
"""Fewer stretches of a state are no experiment."""
LEAST_HOLD_US = 2 * SECOND_US
"""A state that is held shorter cannot be told from the movement itself."""
LEAST_SPREAD_US = 4 * SECOND_US // 10
"""Standard deviation of the holds: at equal ones, whatever blinks by itself would keep step."""
MOST_ORDERS = 5000
"""Up to so many orders of the commands are all tried; beyond, RANDOM_ORDERS drawn ones."""
RANDOM_ORDERS = 1999
FIRST_HOLD = 1.0
"""Of the state before the first prompt as much counts as the shortest hold."""


@dataclass(frozen=True, slots=True)
class Prompts:
    """A sequence of commands: from each instant on a state (1 or 0) was asked for."""

    at_us: tuple[int, ...]
    """Rising."""
    states: tuple[int, ...]
    """One for each instant, 1 or 0."""
    until_us: int
    """When the last state may have ended."""
    before: int | None = None
    """State before the first instant; None: not known."""

    @property
    def hold_us(self) -> int:
        """Shortest time that a state was held."""
        ends = (*self.at_us[1:], self.until_us)
        return min((b - a for a, b in zip(self.at_us, ends, strict=False)), default=0)

    @property
    def stretches(self) -> tuple[tuple[int, int, int], ...]:
        """Give (from, until, state) of each stretch, the one before the first prompt included."""
        ends = (*self.at_us[1:], self.until_us)
        told = list(zip(self.at_us, ends, self.states, strict=True)) if self.at_us else []
        if self.before is not None and told:
            first = self.at_us[0]
            told.insert(0, (first - int(FIRST_HOLD * self.hold_us), first, self.before))
        return tuple(told)

    @property
    def amiss(self) -> str | None:
        """Say why this is no experiment, as a key: 'not_rising', 'not_alternating', 'too_few',
        'too_short', 'too_regular'; None: it is one.
        """
        if any(b <= a for a, b in itertools.pairwise((*self.at_us, self.until_us))):
            return "not_rising"
        states = [state for _, _, state in self.stretches]
        if any(a == b for a, b in itertools.pairwise(states)):
            return "not_alternating"
        if min(states.count(0), states.count(1)) < LEAST_EACH:
            return "too_few"
        if self.hold_us < LEAST_HOLD_US:
            return "too_short"
        holds = [b - a for a, b in itertools.pairwise(self.at_us)]
        return "too_regular" if float(np.std(holds)) < LEAST_SPREAD_US else None


def orders_of(states: tuple[int, ...], seed: int) -> tuple[F64, bool]:
    """Give the orders in which the same commands could have come, shape (orders, stretches), the
    true one first; and whether these are all there are.

    All of them up to MOST_ORDERS, else RANDOM_ORDERS drawn by `seed`.
    """
    count, ones = len(states), sum(states)
    true = np.array(states, np.float64)
    if math.comb(count, ones) <= MOST_ORDERS:
        rows = np.zeros((math.comb(count, ones), count))
        for row, places in enumerate(itertools.combinations(range(count), ones)):
            rows[row, list(places)] = 1.0
        same = np.flatnonzero((rows == true).all(axis=1))[0]
        rows[[0, same]] = rows[[same, 0]]
        return rows, True
    rng = np.random.default_rng(seed)
    drawn = [rng.permutation(true) for _ in range(RANDOM_ORDERS)]
    return np.vstack([true, *drawn]), False


def weights_of(orders: F64) -> F64:
    """Give weights, shape (stretches, orders), that make a score of the means of the stretches.

    The score is the mean over the stretches of state 1 less that over those of state 0: 1 for a
    bit that goes with every command, -1 for one that does the opposite. It knows nothing of the
    stretches' neighbours, so that permuting the commands is the same as permuting what was heard.
    """
    ones = orders.sum(axis=1, keepdims=True)
    weights = orders / ones - (1.0 - orders) / (orders.shape[1] - ones)
    return np.asarray(weights.T, np.float64)


def smallest_p(states: tuple[int, ...], seed: int = 0) -> float:
    """Give the smallest p-value that these commands could give at all."""
    orders, _ = orders_of(states, seed)
    weights = weights_of(orders)
    perfect = np.abs(np.array(states, np.float64) @ weights)
    return float(np.count_nonzero(perfect >= perfect[0] - 1e-9) / len(orders))
