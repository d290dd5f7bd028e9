"""Did it hold: the exact predictive rule and the posterior of cured, partly better, unchanged.

(a) If nothing had changed, n starts in the exposure T before and t after come, given their number,
independently to either: the chance that all lie before is (T / (T + t))^n, whatever the rate
(Nelson 1982 and Lawless 2003, on prediction). It is also exact when the repair followed at once on
the n-th start.
(b) The chance that nothing changed, after the clean run: the share of cures is known beforehand
(Berkson and Gage 1952; Maller and Zhou 1996), the rate is not and is integrated out with the prior
1 / rate, or with that of the fault's kind where that is the more careful (Hauer 1997: people repair
after a bad week). A cure leaves nothing or a tenth of the rate, as likely either. How the rest
divides into partly better and unchanged is not known; the chance of 'unchanged' is the greatest
over all divisions, that is with nobody partly better (robust Bayes; Berger 1990).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache
from typing import Literal

import numpy as np

from shearbolt.dictionary.repair_grades import RepairGrade
from shearbolt.model.frames import F64
from shearbolt.reasoning.follow_up.chances import binomial_at_most
from shearbolt.reasoning.follow_up.rates import Interval, RateBelief, Ratio, rate_ratio

Result = Literal["held", "not_held", "too_early"]
LIMIT = 0.05
"""Both (a) and (b) must fall below it."""
REMNANT = 0.1
"""A cure may leave this share of the rate: another, rarer cause of the same code."""
_GRID = 400


@dataclass(frozen=True, slots=True)
class Seen:
    """What was seen before and after a repair, on one scale."""

    events_before: int
    exposure_before: float
    events_after: int
    exposure_after: float


@dataclass(frozen=True, slots=True)
class Verdict:
    """The answer and its figures."""

    result: Result
    p_clean_if_unchanged: float | None
    """Chance of a run at least as clean if nothing had changed; None: no start before."""
    p_unchanged: float
    p_partly: float
    still_needed: float | None
    """Clean exposure until 'held'; None: it came back, or no start before it tells a rate."""
    ratio: Ratio | None
    """Rate after over rate before; None without both exposures or any start."""
    remaining: Interval | None
    """Where it came back: the share of the rate that is left if it is no more than before."""


def judge(seen: Seen, grade: RepairGrade, kind: RateBelief | None = None) -> Verdict:
    """Judge a repair by what was seen before and after it.

    `kind` is the belief of such faults' rate on the same scale. Raises ValueError for negative
    figures.
    """
    n, upto = seen.events_before, seen.exposure_before
    k, since = seen.events_after, seen.exposure_after
    if min(n, k) < 0 or min(upto, since) < 0.0:
        raise ValueError(f"counts and exposures are not negative: {seen}")
    known = n > 0 and upto > 0.0
    p_clean = _at_least_as_clean(n, upto, k, since) if known else None
    unchanged, partly = _posterior(seen, grade, kind)
    ratio = rate_ratio(n, upto, k, since) if upto > 0.0 and since > 0.0 and n + k else None
    if k:
        remaining = _remaining(seen) if known and since > 0.0 else None
        return Verdict("not_held", p_clean, unchanged, partly, None, ratio, remaining)
    needed = needed_exposure(n, upto, grade, kind) if known else None
    held = needed is not None and p_clean is not None and p_clean < LIMIT and unchanged < LIMIT
    still = None if needed is None else 0.0 if held else max(0.0, needed - since)
    return Verdict("held" if held else "too_early", p_clean, unchanged, partly, still, ratio, None)


def _at_least_as_clean(n: int, upto: float, k: int, since: float) -> float:
    if k == 0:
        return float((upto / (upto + since)) ** n)
    return binomial_at_most(k, n + k, since / (upto + since))


def needed_exposure(
    events: int, exposure: float, grade: RepairGrade, kind: RateBelief | None = None
) -> float:
    """Give the clean exposure after which a repair is held, for starts and exposure before it.

    Raises ValueError without a start or an exposure.
    """
    if events < 1 or exposure <= 0.0:
        raise ValueError("without a start before it, no clean run shows that a repair held")
    by_rule = exposure * math.expm1(-math.log(LIMIT) / events)
    if _p_unchanged(events, exposure, by_rule, grade, kind) < LIMIT:
        return by_rule
    low = high = by_rule
    while _p_unchanged(events, exposure, high, grade, kind) >= LIMIT:
        low, high = high, high * 2.0
    for _ in range(50):
        middle = 0.5 * (low + high)
        if _p_unchanged(events, exposure, middle, grade, kind) < LIMIT:
            high = middle
        else:
            low = middle
    return high


def _clean(n: int, upto: float, since: float, share: float, kind: RateBelief | None) -> float:
    """Give the chance of a clean run if a share of the rate is left."""
    exact = float((upto / (upto + share * since)) ** n)
    return exact if kind is None else max(exact, kind.after(n, upto).chance_none(share * since))


def _cured(n: int, upto: float, since: float, kind: RateBelief | None) -> float:
    return 0.5 + 0.5 * _clean(n, upto, since, REMNANT, kind)


def _p_unchanged(
    n: int, upto: float, since: float, grade: RepairGrade, kind: RateBelief | None
) -> float:
    unchanged = (1.0 - grade.cured) * _clean(n, upto, since, 1.0, kind)
    # For a kind's belief each side takes what is the more careful: a cure the exact chance.
    return unchanged / (unchanged + grade.cured * _cured(n, upto, since, None))


def _posterior(seen: Seen, grade: RepairGrade, kind: RateBelief | None) -> tuple[float, float]:
    """Give the chances of unchanged and of partly better."""
    n, upto, k, since = (
        seen.events_before,
        seen.exposure_before,
        seen.events_after,
        seen.exposure_after,
    )
    rest = 1.0 - grade.cured
    if n == 0 or upto <= 0.0 or since <= 0.0:
        if k == 0:
            return rest, 0.0
        return 1.0 - grade.partly, grade.partly
    shares = _shares()
    if k == 0:
        unchanged = _p_unchanged(n, upto, since, grade, kind)
        partly = grade.partly * rest * float(np.mean((upto / (upto + shares * since)) ** n))
        cured = grade.cured * _cured(n, upto, since, None)
        return unchanged, (1.0 - unchanged) * partly / (partly + cured)
    likelihood = _came_back(seen, shares)
    unchanged = (1.0 - grade.partly) * rest * float(_came_back(seen, np.ones(1))[0])
    partly = grade.partly * rest * float(np.mean(likelihood))
    partly += 0.5 * grade.cured * float(_came_back(seen, np.full(1, REMNANT))[0])
    return unchanged / (unchanged + partly), partly / (unchanged + partly)


@cache
def _shares() -> F64:
    return (np.arange(_GRID) + 0.5) / _GRID


def _came_back(seen: Seen, shares: F64) -> F64:
    """Give the likelihood of what was seen for shares of the rate that are left, without a common
    factor (rate integrated out with the prior 1 / rate)."""
    n, upto, k, since = (
        seen.events_before,
        seen.exposure_before,
        seen.events_after,
        seen.exposure_after,
    )
    log = k * np.log(shares) - (n + k) * np.log1p(shares * since / upto)
    # Scaled by its greatest over 0 to 1, so that no product underflows.
    best = min(1.0, k * upto / (n * since)) if n else 1.0
    top = k * math.log(best) - (n + k) * math.log1p(best * since / upto)
    return np.asarray(np.exp(log - top), np.float64)


def _remaining(seen: Seen) -> Interval:
    """Give the share of the rate that is left, uniform beforehand on 0 to 1: median and 95 %."""
    shares = _shares()
    mass = np.cumsum(_came_back(seen, shares))
    low, middle, high = (
        float(shares[np.searchsorted(mass, mass[-1] * at)]) for at in (0.025, 0.5, 0.975)
    )
    return Interval(middle, low, high, 0.95)
