"""Whether a place follows each command, or has a rhythm of its own that kept step by chance.

Something that blinks at the pace of the commands agrees with most of them, in whatever order the
states are dealt. But its changes drift against the commands, whose times were drawn; those of a
place that follows come after nearly the same wait each time. Tested by dealing the same holds in
another order: what follows is in step with the true order alone.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from shearbolt.model.frames import F64, I64
from shearbolt.model.instants import SECOND_US
from shearbolt.reasoning.learning.prompts import Prompts

ORDERS = 999
LEAST_SHARE = 0.8
"""Share of the commands after which a change must be seen."""


@dataclass(frozen=True, slots=True)
class Waits:
    """How a place changed after the commands."""

    wait_s: F64
    """From each command to its change; NaN: none was seen."""
    p_value: float
    """Share of the orders of the holds that keep step with the changes as well as the true one."""

    @property
    def enough(self) -> bool:
        """Tell whether a change was seen after enough of the commands."""
        seen = np.count_nonzero(~np.isnan(self.wait_s))
        return bool(seen >= LEAST_SHARE * len(self.wait_s) - 1e-9)


def waits_of(
    time_us: I64, high: npt.NDArray[np.bool_], prompts: Prompts, near_us: int, seed: int
) -> Waits:
    """Find the change after each command, near a wait of `near_us`, and test its being in step.

    `high`: at each of the times whether the place shows state 1.
    """
    turned = np.flatnonzero(high[1:] != high[:-1]) + 1
    turned_us, rises = time_us[turned], high[turned]
    changes = np.full(len(prompts.at_us), np.nan)
    for i, (at, state) in enumerate(zip(prompts.at_us, prompts.states, strict=True)):
        from_us = at + near_us - max(SECOND_US, prompts.hold_us // 4)
        until_us = at + near_us + prompts.hold_us // 2
        fits = (turned_us >= from_us) & (turned_us < until_us) & (rises == bool(state))
        hits = np.flatnonzero(fits)
        if len(hits):
            changes[i] = (int(turned_us[hits[0]]) - prompts.at_us[0]) / SECOND_US
    wait_s = changes - (np.array(prompts.at_us) - prompts.at_us[0]) / SECOND_US
    seen = ~np.isnan(changes)
    if np.count_nonzero(seen) < 3:
        return Waits(wait_s, 1.0)
    holds = np.array([b - a for a, b in itertools.pairwise(prompts.at_us)]) / SECOND_US
    rng = np.random.default_rng(seed)
    true = float(np.std(wait_s[seen]))
    as_good = 1
    for _ in range(ORDERS):
        dealt = np.concatenate(([0.0], np.cumsum(rng.permutation(holds))))
        as_good += bool(np.std(changes[seen] - dealt[seen]) <= true + 1e-9)
    return Waits(wait_s, as_good / (ORDERS + 1))
