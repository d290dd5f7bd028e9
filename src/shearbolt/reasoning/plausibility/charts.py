"""One chart per sensor over visits: has it moved from what it used to be?

A self-starting CUSUM (Hawkins 1987; Hawkins and Olwell 1998, chapter 7; CUSUM: Page 1954): each new
visit's trait is compared with all visits before it by Student's t and turned into a normal score,
so no run of visits has to be set aside first. Its decision limit is chosen so that all charts of a
machine together give one false alarm a season on average (run length: Siegmund 1985).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from shearbolt.dictionary.plausibility import limits
from shearbolt.reasoning.plausibility.trait import Sensor, Trait


@dataclass(frozen=True, slots=True)
class Point:
    """One visit on a chart."""

    visit: str
    value: float
    score: float
    """Standard-normal score against all visits before; 0 for the first two."""
    rising: float
    """Upper CUSUM after this visit."""
    falling: float
    """Lower CUSUM after this visit, positive."""


@dataclass(frozen=True, slots=True)
class Alarm:
    """A chart that left its limit."""

    visit: str
    """Visit in which it did."""
    direction: Literal["up", "down"]
    since: str
    """First visit of the run that led there: the estimate of when it began (Page 1954)."""
    before: float
    """Mean up to the change."""
    after: float
    """Mean from the change on."""


@dataclass(frozen=True, slots=True)
class Chart:
    """All visits of one sensor's trait."""

    sensor: Sensor
    trait: str
    unit: str
    limit: float
    """Decision limit, in standard deviations."""
    points: tuple[Point, ...]
    alarm: Alarm | None


def run_length(limit: float, allowance: float) -> float:
    """Give the average run length of a two-sided CUSUM of normal scores without any change.

    Siegmund's approximation (1985) of one side, b = limit + 1.166; two sides halve it.
    """
    b = limit + 1.166
    x = 2.0 * allowance * b
    return (math.exp(x) - x - 1.0) / (2.0 * allowance**2) / 2.0


def decision_limit(wanted_run: float, allowance: float) -> float:
    """Give the limit whose average run length is the wanted one."""
    low, high = 0.0, 50.0
    for _ in range(60):
        middle = (low + high) / 2.0
        if run_length(middle, allowance) < wanted_run:
            low = middle
        else:
            high = middle
    return high


def t_to_normal(t: float, freedom: int) -> float:
    """Turn Student's t into the normal score of equal probability (Wallace 1959)."""
    shrink = (8.0 * freedom + 1.0) / (8.0 * freedom + 3.0)
    size = shrink * math.sqrt(freedom * math.log1p(t * t / freedom))
    return math.copysign(size, t)


def chart(
    told: Sequence[tuple[str, Trait]], charts: int, repaired: frozenset[str] = frozenset()
) -> Chart:
    """Chart one trait over visits (visit, trait), in their order.

    `charts`: how many the machine has, which share its one false alarm. `repaired`: visits before
    which the sensor was worked on; there the chart starts anew. Raises ValueError for no visit.
    """
    if not told:
        raise ValueError("a chart needs at least one visit")
    first = told[0][1]
    limit = limits("charts")
    wanted = max(2, charts) * limit["visits_a_season"] * limit["seasons_clean"]
    allowance = limit["allowance"]
    bound = decision_limit(wanted, allowance)
    points: list[Point] = []
    alarm: Alarm | None = None
    learnt: list[float] = []
    up = down = 0.0
    up_from = down_from = 0
    for at, (visit, trait) in enumerate(told):
        if visit in repaired:
            learnt, up, down, alarm = [], 0.0, 0.0, None
        score = _score(trait, learnt)
        kept = max(-limit["winsor"], min(limit["winsor"], score))
        if up == 0.0:
            up_from = at
        if down == 0.0:
            down_from = at
        up = max(0.0, up + kept - allowance)
        down = max(0.0, down - kept - allowance)
        points.append(Point(visit, trait.value, score, up, down))
        if alarm is None and max(up, down) > bound:
            since = up_from if up > down else down_from
            alarm = _alarm(told, at, since, "up" if up > down else "down", learnt)
        if alarm is None:
            # One wild visit must not widen what all later ones are judged by.
            learnt.append(_tamed(trait, learnt, kept, score))
    return Chart(first.sensor, first.name, first.unit, bound, tuple(points), alarm)


def _spread(trait: Trait, learnt: Sequence[float]) -> tuple[float, float]:
    """Give mean and standard deviation to judge by: never less than the trait's own floor."""
    mean = math.fsum(learnt) / len(learnt)
    variance = math.fsum((one - mean) ** 2 for one in learnt) / (len(learnt) - 1)
    # What matters is then two deviations at least; a smaller change is not worth an alarm.
    floor = max(trait.spread, trait.matters / 2.0)
    return mean, math.sqrt(max(variance, floor**2))


def _score(trait: Trait, learnt: Sequence[float]) -> float:
    count = len(learnt)
    if count < 2:
        return 0.0
    mean, deviation = _spread(trait, learnt)
    t = (trait.value - mean) / deviation * math.sqrt(count / (count + 1.0))
    return t_to_normal(t, count - 1)


def _tamed(trait: Trait, learnt: Sequence[float], kept: float, score: float) -> float:
    if len(learnt) < 2 or kept == score:
        return trait.value
    mean, deviation = _spread(trait, learnt)
    return mean + kept * deviation


def _alarm(
    told: Sequence[tuple[str, Trait]],
    at: int,
    since: int,
    direction: Literal["up", "down"],
    learnt: Sequence[float],
) -> Alarm:
    before = learnt[: len(learnt) - (at - since)] or learnt
    after = [trait.value for _, trait in told[since : at + 1]]
    return Alarm(
        told[at][0],
        direction,
        told[since][0],
        math.fsum(before) / len(before),
        math.fsum(after) / len(after),
    )
