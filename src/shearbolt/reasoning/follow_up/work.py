"""The shop's work list: which job takes away most risk for its time and money, before a window."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True, slots=True)
class ShopJob:
    """One job that could be done before a stretch of work."""

    job: str
    machine: str
    kind: Literal["fault", "service", "check"]
    minutes: float
    parts: float
    """Cost of what it needs."""
    stop_rate: float
    """Stops an hour of work that come of what it is against."""
    cures: float
    """Chance that it takes them away."""
    stop_hours: float
    """Standstill that one stop brings."""
    safety: bool = False
    """It concerns a safety function: it comes first, whatever it costs."""


@dataclass(frozen=True, slots=True)
class Worth:
    """A job with what it buys."""

    job: ShopJob
    chance_before: float
    """Chance of at least one such stop in the window as things are."""
    chance_after: float
    risk_taken: float
    """Their difference."""
    hours_saved: float
    """Standstill expected to be saved in the window."""
    value: float
    """Cost of the standstill saved, less the job's own cost."""
    per_cost: float
    """Cost of standstill saved for one unit of cost (time and parts)."""
    fits: bool
    """It fits into the time that is left, after the jobs before it."""


def work_list(
    jobs: Sequence[ShopJob],
    window_h: float,
    *,
    standstill_hour: float,
    shop_hour: float,
    time_h: float = math.inf,
) -> tuple[Worth, ...]:
    """Order jobs by the risk that they take away for their time and cost; safety comes first.

    window_h: hours of work ahead; standstill_hour, shop_hour: what an hour of each costs; time_h:
    hours that the shop has until then. Raises ValueError for a negative window.
    """
    if window_h < 0.0:
        raise ValueError(f"a window of work has no negative length: {window_h} h")
    rated = [_worth(one, window_h, standstill_hour, shop_hour) for one in jobs]
    rated.sort(key=lambda one: (not one.job.safety, -one.per_cost, one.job.job))
    found: list[Worth] = []
    left_h = time_h
    for one in rated:
        hours = one.job.minutes / 60.0
        fits = hours <= left_h
        if fits:
            left_h -= hours
        found.append(
            Worth(
                one.job,
                one.chance_before,
                one.chance_after,
                one.risk_taken,
                one.hours_saved,
                one.value,
                one.per_cost,
                fits,
            )
        )
    return tuple(found)


def _worth(job: ShopJob, window_h: float, standstill_hour: float, shop_hour: float) -> Worth:
    stays = 1.0 - job.cures
    none = math.exp(-job.stop_rate * window_h)
    before, after = 1.0 - none, stays * (1.0 - none)
    saved_h = job.cures * job.stop_rate * window_h * job.stop_hours
    cost = job.minutes / 60.0 * shop_hour + job.parts
    worth = saved_h * standstill_hour
    per_cost = worth / cost if cost > 0.0 else math.inf if worth > 0.0 else 0.0
    return Worth(job, before, after, before - after, saved_h, worth - cost, per_cost, True)
