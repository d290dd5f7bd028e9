"""Distributions that the follow-up needs, by their textbook series: normal, gamma, beta, binomial.

Regularised incomplete gamma: series below a + 1, Lentz's continued fraction above; incomplete beta:
continued fraction with the symmetry relation (Abramowitz and Stegun 6.5 and 26.5). Relative errors
lie below 1e-12 where the arguments are those of counts and hours.
"""

from __future__ import annotations

import math
from collections.abc import Callable

_TINY = 1e-300
_CLOSE = 1e-16
_MOST_STEPS = 10_000


def normal_two_sided(z: float) -> float:
    """Give the chance that a standard normal lies further from 0 than z."""
    return math.erfc(abs(z) / math.sqrt(2.0))


def gamma_below(shape: float, x: float) -> float:
    """Give P(X <= x) of a gamma distribution with scale 1. Raises ValueError for shape <= 0."""
    if shape <= 0.0:
        raise ValueError(f"a gamma distribution has a positive shape, not {shape}")
    if x <= 0.0:
        return 0.0
    if math.isinf(x):
        return 1.0
    front = math.exp(shape * math.log(x) - x - math.lgamma(shape))
    if x < shape + 1.0:
        term = total = 1.0 / shape
        for step in range(1, _MOST_STEPS):
            term *= x / (shape + step)
            total += term
            if term < total * _CLOSE:
                break
        return min(1.0, front * total)
    return 1.0 - front * _gamma_fraction(shape, x)


def gamma_above(shape: float, x: float) -> float:
    """Give P(X > x) of a gamma distribution with scale 1, small tails included."""
    if x >= shape + 1.0 and not math.isinf(x):
        front = math.exp(shape * math.log(x) - x - math.lgamma(shape))
        return front * _gamma_fraction(shape, x)
    return 1.0 - gamma_below(shape, x)


def _gamma_fraction(shape: float, x: float) -> float:
    b = x + 1.0 - shape
    c = 1.0 / _TINY
    d = 1.0 / b
    out = d
    for i in range(1, _MOST_STEPS):
        factor = -i * (i - shape)
        b += 2.0
        d = 1.0 / (factor * d + b or _TINY)
        c = b + factor / c or _TINY
        out *= d * c
        if abs(d * c - 1.0) < 1e-15:
            break
    return out


def gamma_point(share: float, shape: float) -> float:
    """Give the x below which a gamma distribution with scale 1 has a share (0 to 1)."""
    if share <= 0.0:
        return 0.0
    high = shape + 1.0
    while gamma_below(shape, high) < share:
        high *= 2.0
    return _solved(lambda x: gamma_below(shape, x) - share, 0.0, high)


def chi_squared_above(x: float, degrees: float) -> float:
    """Give P(X > x) of a chi-squared distribution."""
    return gamma_above(degrees / 2.0, x / 2.0)


def chi_squared_point(share: float, degrees: float) -> float:
    """Give the x below which a chi-squared distribution has a share."""
    return 2.0 * gamma_point(share, degrees / 2.0)


def beta_below(a: float, b: float, x: float) -> float:
    """Give P(X <= x) of a beta distribution. Raises ValueError for a or b <= 0."""
    if a <= 0.0 or b <= 0.0:
        raise ValueError(f"a beta distribution has positive shapes, not {a} and {b}")
    if x <= 0.0:
        return 0.0
    if x >= 1.0:
        return 1.0
    front = math.exp(
        math.lgamma(a + b) - math.lgamma(a) - math.lgamma(b) + a * math.log(x) + b * math.log1p(-x)
    )
    if x < (a + 1.0) / (a + b + 2.0):
        return min(1.0, front * _beta_fraction(a, b, x) / a)
    return max(0.0, 1.0 - front * _beta_fraction(b, a, 1.0 - x) / b)


def _beta_fraction(a: float, b: float, x: float) -> float:
    c = 1.0
    d = 1.0 / (1.0 - (a + b) * x / (a + 1.0) or _TINY)
    out = d
    for m in range(1, _MOST_STEPS):
        even = m * (b - m) * x / ((a + 2 * m - 1.0) * (a + 2 * m))
        d = 1.0 / (1.0 + even * d or _TINY)
        c = 1.0 + even / c or _TINY
        out *= d * c
        odd = -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1.0))
        d = 1.0 / (1.0 + odd * d or _TINY)
        c = 1.0 + odd / c or _TINY
        out *= d * c
        if abs(d * c - 1.0) < 1e-15:
            break
    return out


def beta_point(share: float, a: float, b: float) -> float:
    """Give the x below which a beta distribution has a share."""
    return _solved(lambda x: beta_below(a, b, x) - share, 0.0, 1.0)


def binomial_chance(k: int, n: int, p: float) -> float:
    """Give the chance of exactly k of n, each with chance p."""
    if p in (0.0, 1.0):
        return 1.0 if k == (n if p else 0) else 0.0
    log = math.lgamma(n + 1) - math.lgamma(k + 1) - math.lgamma(n - k + 1)
    return math.exp(log + k * math.log(p) + (n - k) * math.log1p(-p))


def binomial_at_most(k: int, n: int, p: float) -> float:
    """Give the chance of k or fewer of n."""
    if k >= n:
        return 1.0
    return 0.0 if k < 0 else beta_below(n - k, k + 1, 1.0 - p)


def uniform_sum_below(n: int, x: float) -> float:
    """Give P(S <= x) of a sum of n independent uniforms on 0 to 1 (Irwin-Hall), n up to 20."""
    if x <= 0.0:
        return 0.0
    if x >= n:
        return 1.0
    if x > n / 2.0:
        return 1.0 - uniform_sum_below(n, n - x)
    terms = [
        (-1) ** k * math.comb(n, k) * (x - k) ** n / math.factorial(n)
        for k in range(math.floor(x) + 1)
    ]
    return min(1.0, max(0.0, math.fsum(terms)))


def _solved(rising: Callable[[float], float], low: float, high: float) -> float:
    """Find where a rising function passes 0, by halving."""
    for _ in range(200):
        middle = 0.5 * (low + high)
        if middle in (low, high):
            break
        if rising(middle) < 0.0:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)
