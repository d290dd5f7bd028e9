"""Service due: by engine hours and by date, whichever comes first."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from shearbolt.model.instants import HOUR_US, Instant
from shearbolt.reasoning.advice.machine import OLD_DAYS, OLD_HOURS
from shearbolt.reasoning.advice.values import Now
from shearbolt.reasoning.case import MachineCase
from shearbolt.reasoning.settings import Words

DAY_US = 24 * HOUR_US
USUAL_DAY_H = 8.0
"""Engine hours a day where it is not known how much is worked (own choice)."""
Due = Literal["overdue", "before_window_ends", "later", "not_known"]
_RANK: dict[Due, int] = {"overdue": 0, "before_window_ends": 1, "later": 2, "not_known": 3}


@dataclass(frozen=True, slots=True)
class ServicePlan:
    """One service that the owner has set, and when it was last done."""

    plan: str
    what: str
    """In the owner's words."""
    every_h: float | None
    every_days: float | None
    last_h: float | None
    """Engine hours at which it was last done."""
    last_us: Instant | None


@dataclass(frozen=True, slots=True)
class ServiceDue:
    """When a service is due."""

    plan: str
    what: str
    due: Due
    left_h: float | None
    """Engine hours until it; negative: past."""
    left_days: float | None
    """Days until it by date alone; negative: past."""
    expected_us: Instant | None
    """When it is expected by the hours worked lately, or by date, whichever comes first."""
    why: Literal["hours", "date"] | None
    """Which of the two comes first."""


@dataclass(frozen=True, slots=True)
class Freshness:
    """How old what is known of a machine is."""

    not_looked_at_since: bool
    """More than 20 engine hours or 14 days: words like 'may go' no longer stand."""
    hours: float | None
    """Engine hours since the last look."""
    days: float | None


def freshness(case: MachineCase, now: Now) -> Freshness:
    """Tell how old the last look at a machine is; a note by hand is no look.

    Where neither hours nor date tell, the machine counts as not looked at.
    """
    last = next((one for one in reversed(case.visits) if one.kind != "by_hand"), None)
    if last is None:
        return Freshness(True, None, None)
    hours = days = None
    ended_h = last.hours_end if last.hours_end is not None else last.hours_start
    if ended_h is not None and now.hours is not None:
        hours = now.hours - ended_h
    if last.zero_us is not None and now.at_us is not None:
        days = (now.at_us - last.zero_us - last.latest_us) / DAY_US
    old = (hours is not None and hours > OLD_HOURS) or (days is not None and days > OLD_DAYS)
    return Freshness(old or (hours is None and days is None), hours, days)


def hours_per_day(case: MachineCase) -> float | None:
    """Give the engine hours a day between the first and the last look; None: not known."""
    known = [
        (visit.zero_us + visit.latest_us, visit.hours_end)
        for visit in case.visits
        if visit.zero_us is not None and visit.hours_end is not None
    ]
    if len(known) < 2:
        return None
    (first_us, first_h), (last_us, last_h) = min(known), max(known)
    days = (last_us - first_us) / DAY_US
    return max(0.0, last_h - first_h) / days if days >= 1.0 else None


def service_due(
    plans: Sequence[ServicePlan],
    now: Now,
    *,
    window_h: float = 0.0,
    window_days: float = 0.0,
    per_day_h: float | None = None,
) -> tuple[ServiceDue, ...]:
    """Tell what is due, the most urgent first.

    window_h, window_days: how long the machine must work now; per_day_h: engine hours that it works
    a day, for the expected date.
    """
    found = [_due(one, now, window_h, window_days, per_day_h) for one in plans]
    return tuple(sorted(found, key=lambda one: (_RANK[one.due], _urgency(one, per_day_h))))


def _due(
    plan: ServicePlan, now: Now, window_h: float, window_days: float, per_day_h: float | None
) -> ServiceDue:
    left_h = left_days = None
    if plan.every_h is not None and plan.last_h is not None and now.hours is not None:
        left_h = plan.last_h + plan.every_h - now.hours
    if plan.every_days is not None and plan.last_us is not None and now.at_us is not None:
        left_days = plan.every_days - (now.at_us - plan.last_us) / DAY_US
    by_hours_days = None
    if left_h is not None and per_day_h is not None and per_day_h > 0.0:
        by_hours_days = left_h / per_day_h
    expected = [one for one in (by_hours_days, left_days) if one is not None]
    due: Due = "later"
    if left_h is None and left_days is None:
        due = "not_known"
    elif (left_h is not None and left_h <= 0.0) or (left_days is not None and left_days <= 0.0):
        due = "overdue"
    elif (left_h is not None and left_h <= window_h) or (
        left_days is not None and left_days <= window_days
    ):
        due = "before_window_ends"
    why: Literal["hours", "date"] | None = None
    if left_h is not None or left_days is not None:
        hours_first = left_days is None or (
            left_h is not None
            and (left_h <= 0.0 or left_h / (per_day_h or USUAL_DAY_H) < left_days)
        )
        why = "hours" if hours_first else "date"
    at_us = None
    if expected and now.at_us is not None:
        at_us = now.at_us + round(min(expected) * DAY_US)
    return ServiceDue(plan.plan, plan.what, due, left_h, left_days, at_us, why)


def _urgency(one: ServiceDue, per_day_h: float | None) -> float:
    """Give days until it is due: engine hours by what is worked a day, else by a usual day."""
    found = [] if one.left_days is None else [one.left_days]
    if one.left_h is not None:
        found.append(one.left_h / (per_day_h or USUAL_DAY_H))
    return min(found, default=math.inf)


def words_of_service(one: ServiceDue) -> Words:
    """Give what is to be said of a service: a message key with its figures."""
    return (
        f"service.{one.due}",
        (
            ("what", one.what),
            ("left_h", one.left_h),
            ("left_days", one.left_days),
            ("expected_us", one.expected_us),
            ("why", one.why),
        ),
    )
