"""Rates of events: exact intervals, two rates compared, time without failure, Gamma-Poisson."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from shearbolt.reasoning.follow_up.chances import (
    beta_point,
    binomial_at_most,
    binomial_chance,
    chi_squared_point,
    gamma_below,
    gamma_point,
)

TwoSided = Literal["doubled", "small_chances"]
"""How two sides make one p: twice the smaller tail, or the sum of all chances no greater than that
of what was seen (Fisher's way). They differ; say which."""


@dataclass(frozen=True, slots=True)
class Interval:
    """An estimate with its interval."""

    value: float
    low: float
    high: float
    level: float
    """0.95 for 95 %."""


@dataclass(frozen=True, slots=True)
class Ratio:
    """Rate in the second exposure over the rate in the first."""

    interval: Interval
    p_value: float
    two_sided: TwoSided


def rate_interval(events: int, exposure: float, level: float = 0.95) -> Interval:
    """Give a rate with its exact interval (Garwood, Biometrika 1936).

    Raises ValueError for an exposure that is not positive.
    """
    if exposure <= 0.0:
        raise ValueError(f"a rate needs a positive exposure, not {exposure}")
    tail = (1.0 - level) / 2.0
    low = chi_squared_point(tail, 2 * events) / 2.0 if events else 0.0
    high = chi_squared_point(1.0 - tail, 2 * events + 2) / 2.0
    return Interval(events / exposure, low / exposure, high / exposure, level)


def rate_ratio(
    before: int,
    exposure_before: float,
    after: int,
    exposure_after: float,
    *,
    level: float = 0.95,
    two_sided: TwoSided = "doubled",
) -> Ratio:
    """Compare two Poisson rates given their total (conditional binomial; Przyborowski and
    Wilenski 1940), with the exact interval of Clopper and Pearson for their ratio.

    Raises ValueError for exposures that are not positive, or no events at all.
    """
    if exposure_before <= 0.0 or exposure_after <= 0.0 or before + after == 0:
        raise ValueError("two rates are compared by positive exposures and at least one event")
    n = before + after
    p = exposure_after / (exposure_before + exposure_after)
    tail = (1.0 - level) / 2.0
    low = beta_point(tail, after, n - after + 1) if after else 0.0
    high = beta_point(1.0 - tail, after + 1, n - after) if before else 1.0
    scale = exposure_before / exposure_after
    value = after / before * scale if before else math.inf
    interval = Interval(
        value,
        low / (1.0 - low) * scale,
        high / (1.0 - high) * scale if high < 1.0 else math.inf,
        level,
    )
    if two_sided == "doubled":
        lower = binomial_at_most(after, n, p)
        upper = 1.0 - binomial_at_most(after - 1, n, p)
        p_value = min(1.0, 2.0 * min(lower, upper))
    else:
        seen = binomial_chance(after, n, p) * (1.0 + 1e-7)
        chances = [binomial_chance(k, n, p) for k in range(n + 1)]
        p_value = min(1.0, math.fsum(one for one in chances if one <= seen))
    return Ratio(interval, p_value, two_sided)


def clean_time_needed(rate: float, confidence: float) -> float:
    """Give the time without failure that shows, with a confidence, a rate below this one
    (-ln(1 - C) / rate). It holds for a rate that is known, not for one estimated from few events.
    """
    return -math.log1p(-confidence) / rate


@dataclass(frozen=True, slots=True)
class RateBelief:
    """What is believed of a rate: Gamma(shape, exposure), mean shape / exposure."""

    shape: float
    exposure: float

    def after(self, events: float, exposure: float) -> RateBelief:
        """Give the belief after so many more events in so much more exposure."""
        return RateBelief(self.shape + events, self.exposure + exposure)

    def chance_below(self, rate: float) -> float:
        """Give the chance that the rate is below this one."""
        return gamma_below(self.shape, rate * self.exposure)

    def point(self, share: float) -> float:
        """Give the rate below which this share of the belief lies."""
        return gamma_point(share, self.shape) / self.exposure

    def chance_none(self, exposure: float) -> float:
        """Give the chance of no event in so much exposure."""
        return float((self.exposure / (self.exposure + exposure)) ** self.shape)


def exposure_to_show(belief: RateBelief, rate: float, confidence: float, failures: int) -> float:
    """Give the exposure after which, with so many failures, the rate is below this one with a
    confidence (NIST e-Handbook 8.3.1.5).
    """
    return gamma_point(confidence, belief.shape + failures) / rate - belief.exposure
