"""Is a fault getting more frequent: Laplace's test, and the power-law process beside it.

Laplace (Cox and Lewis 1966; NIST e-Handbook 8.2.3.4): under a steady rate each start lies anywhere
in the exposure, so the mean of their places is that of uniforms; exactly so for few starts
(Irwin-Hall). Where intervals are more irregular than exponential the statistic is divided by their
coefficient of variation (Lewis and Robinson 1974). Starts known only by their number between two
looks enter at the middle of that time, with the variance that this leaves them. Power law:
MIL-HDBK-189C and NIST e-Handbook 8.1.7.2 (the Crow-AMSAA model).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from shearbolt.reasoning.follow_up.chances import (
    chi_squared_above,
    chi_squared_point,
    normal_two_sided,
    uniform_sum_below,
)
from shearbolt.reasoning.follow_up.line import Line, Window
from shearbolt.reasoning.follow_up.rates import Interval
from shearbolt.reasoning.settings import Words

Direction = Literal["rising", "falling", "steady", "unknown"]
LEAST_EVENTS = 5
LIMIT_P = 0.05
STEADY = (0.5, 2.0)
"""'Steady' is said where the exponent's 90 % interval lies within: the rate at the end is then
between half and twice its average (own rule); else nobody can tell."""
MOST_EXACT = 20
"""Up to so many starts the p of places all known is exact."""


@dataclass(frozen=True, slots=True)
class PowerLaw:
    """Power-law process: expected starts up to x are scale x^exponent."""

    exponent: float
    """Below 1: getting rarer. Maximum likelihood."""
    exponent_unbiased: float
    scale: float
    at_end: float
    """Intensity at the end, by the maximum-likelihood exponent."""
    at_end_unbiased: float
    interval: Interval
    """The exponent's interval of 90 %."""
    chi_squared: float
    """2 sum ln(T / x): against a steady rate, by `degrees`."""
    degrees: int
    p_value: float
    """Two-sided."""


@dataclass(frozen=True, slots=True)
class Trend:
    """Whether a fault gets more frequent."""

    direction: Direction
    z: float | None
    """Laplace, or Lewis-Robinson where intervals are irregular; positive: more often lately."""
    p_value: float | None
    events: int
    exposure: float
    """Hours that could be seen."""
    irregular: bool
    """Lewis-Robinson was used."""
    exact: bool
    power_law: PowerLaw | None
    """None where places are not all known, or starts are too few."""


def reversals(places: Sequence[float]) -> tuple[int, int]:
    """Count how often a later interval is longer than an earlier one, and of how many pairs."""
    gaps = np.diff([0.0, *places])
    pairs = [(a, b) for i, a in enumerate(gaps) for b in gaps[i + 1 :]]
    return sum(1 for a, b in pairs if b > a), len(pairs)


def laplace(places: Sequence[float], exposure: float) -> float:
    """Give Laplace's statistic for places observed up to a fixed exposure; positive: rising.

    Raises ValueError without a place, or with one beyond the exposure.
    """
    if not len(places) or min(places) < 0.0 or max(places) > exposure:
        raise ValueError("Laplace's test needs places within a positive exposure")
    n = len(places)
    shift = math.fsum(one - exposure / 2.0 for one in places)
    return math.sqrt(12.0 * n) * shift / (n * exposure)


def laplace_exact(places: Sequence[float], exposure: float) -> float:
    """Give the exact two-sided p of Laplace's test (twice the smaller tail)."""
    n = len(places)
    below = uniform_sum_below(n, math.fsum(places) / exposure)
    return min(1.0, 2.0 * min(below, 1.0 - below))


def variation(places: Sequence[float]) -> float:
    """Give the coefficient of variation of the intervals up to each place; 1 for exponential."""
    gaps = np.diff([0.0, *sorted(places)])
    mean = float(gaps.mean())
    return float(gaps.std(ddof=1)) / mean if len(gaps) > 1 and mean > 0.0 else 1.0


def power_law(places: Sequence[float], exposure: float) -> PowerLaw:
    """Fit a power-law process to places observed up to a fixed exposure.

    Raises ValueError for fewer than two places, or places that are not within the exposure.
    """
    n = len(places)
    if n < 2 or min(places) <= 0.0 or max(places) > exposure:
        raise ValueError("a power law needs two places or more, within the exposure")
    total = math.fsum(math.log(exposure / one) for one in places)
    return power_law_of(n, exposure, total)


def power_law_of(events: int, exposure: float, sum_of_logs: float) -> PowerLaw:
    """Fit it from the number of places and the sum of ln(exposure / place)."""
    n = events
    exponent, unbiased = n / sum_of_logs, (n - 1) / sum_of_logs
    chi_squared, degrees = 2.0 * sum_of_logs, 2 * n
    above = chi_squared_above(chi_squared, degrees)
    interval = Interval(
        exponent,
        chi_squared_point(0.05, degrees) / (2.0 * sum_of_logs),
        chi_squared_point(0.95, degrees) / (2.0 * sum_of_logs),
        0.90,
    )
    return PowerLaw(
        exponent,
        unbiased,
        n / exposure**exponent,
        exponent * n / exposure,
        unbiased * n / exposure,
        interval,
        chi_squared,
        degrees,
        min(1.0, 2.0 * min(above, 1.0 - above)),
    )


@dataclass(frozen=True, slots=True)
class Placed:
    """Starts along the exposure: places known, and numbers within stretches."""

    exposure: float
    places: tuple[float, ...]
    grouped: tuple[tuple[float, float, int], ...]
    """Begin and end of stretches whose starts are known by number, and the number."""


def trend_of(line: Line, window: Window | None = None) -> Trend:
    """Tell the trend of a fault over a window of its line (all of it where none is given)."""
    return trend_of_places(placed_of(line, window or Window(None, None)))


def trend_of_places(placed: Placed) -> Trend:
    """Tell the trend of starts along the exposure, from five starts on."""
    n = len(placed.places) + sum(count for _, _, count in placed.grouped)
    exposure = placed.exposure
    if n < LEAST_EVENTS or exposure <= 0.0:
        return Trend("unknown", None, None, n, exposure, False, False, None)
    loose = any(count for _, _, count in placed.grouped)
    z = _score(placed, n)
    # Intervals tell their irregularity only where all places are known.
    spread = 1.0 if loose else variation(placed.places)
    irregular = spread > 1.0
    exact = not irregular and not placed.grouped and n <= MOST_EXACT
    if irregular:
        z /= spread
    p = laplace_exact(placed.places, exposure) if exact else normal_two_sided(z)
    inner = [min(max(one, exposure * 1e-9), exposure) for one in placed.places]
    law = None if loose else power_law(inner, exposure)
    direction: Direction = "unknown"
    if p < LIMIT_P:
        direction = "rising" if z > 0.0 else "falling"
    elif _is_steady(law, n):
        direction = "steady"
    return Trend(direction, z, p, n, exposure, irregular, exact, law)


def _is_steady(law: PowerLaw | None, events: int) -> bool:
    if law is None:
        return events >= 2 * LEAST_EVENTS
    return STEADY[0] <= law.interval.low and law.interval.high <= STEADY[1]


def _score(placed: Placed, n: int) -> float:
    """Give the score against a log-linear rate: a start counts at its place, or at the middle of
    the stretch that hides it. Without such stretches it is Laplace's statistic."""
    whole = placed.exposure
    middles = [(0.5 * (a + b), count) for a, b, count in placed.grouped]
    total = math.fsum(placed.places) + math.fsum(middle * count for middle, count in middles)
    squares = whole**2 / 3.0
    for begin, end, _ in placed.grouped:
        # Within a hidden stretch only its middle is seen: its own variance is lost.
        squares -= (end - begin) ** 3 / 12.0 / whole
    variance = squares - whole**2 / 4.0
    if variance <= 1e-12 * whole**2:
        return 0.0
    return (total - n * whole / 2.0) / math.sqrt(n * variance)


def placed_of(line: Line, window: Window) -> Placed:
    """Lay the starts of a window along its exposure (engine hours that could be seen)."""
    at = 0.0
    places: list[float] = []
    begins: dict[int, float] = {}
    ends: dict[int, float] = {}
    counted: set[int] = set()
    for stretch, low, high in line.within(window):
        amount = stretch.amounts.get("engine_hours", 0.0) * (high - low)
        if not stretch.recorded:
            begins.setdefault(stretch.place, at)
            ends[stretch.place] = at + amount
            if stretch.watcher is not None:
                counted.add(stretch.place)
        elif stretch.watcher is not None or stretch.place in counted:
            for start in line.starts:
                if start.place != stretch.place or start.goes_on or not window.holds_start(start):
                    continue
                if start.opened and window.begin is None:
                    continue
                if start.seen or start.place in counted:
                    part = max(0.0, start.part - low) / (high - low) if start.seen else 0.0
                    places.append(at + amount * min(part, 1.0))
        at += amount
    grouped: list[tuple[float, float, int]] = []
    for group in line.groups:
        inside = window.holds_group(group) and not group.bounds_only
        hidden = [place for place in range(group.after + 1, group.until + 1) if place in begins]
        if inside and group.at_least and hidden:
            grouped.append((begins[hidden[0]], ends[hidden[-1]], group.at_least))
    return Placed(at, tuple(sorted(places)), tuple(grouped))


def words_of_trend(one: Trend) -> tuple[Words, ...]:
    """Give what is to be said of a trend: message keys with figures."""
    if one.events < LEAST_EVENTS:
        return (("trend.too_few", (("events", one.events), ("needed", LEAST_EVENTS))),)
    facts = (("events", one.events), ("exposure_h", one.exposure), ("p_value", one.p_value))
    said: list[Words] = [(f"trend.{one.direction}", facts)]
    if one.irregular:
        said.append(("trend.irregular", ()))
    return tuple(said)
