"""Distributions and rates against published values and exact sums."""

from __future__ import annotations

import math
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shearbolt.reasoning.follow_up.chances import (
    beta_below,
    beta_point,
    binomial_at_most,
    binomial_chance,
    chi_squared_above,
    chi_squared_point,
    gamma_above,
    gamma_below,
    gamma_point,
    normal_two_sided,
    uniform_sum_below,
)
from shearbolt.reasoning.follow_up.rates import (
    RateBelief,
    clean_time_needed,
    exposure_to_show,
    rate_interval,
    rate_ratio,
)


@pytest.mark.parametrize(
    ("shape", "x", "below", "above"),
    [
        (0.5, 0.3, 0.5614219739190003, 0.4385780260809997),
        (3.0, 2.5, 0.45618688411667035, 0.5438131158833297),
        (10.0, 17.5, 0.9798957243648997, 0.02010427563510031),
        (40.0, 30.0, 0.04625303764584204, 0.9537469623541579),
        (120.5, 150.0, 0.9942099329185022, 0.005790067081497721),
    ],
)
def test_gamma_agrees_with_another_library(
    shape: float, x: float, below: float, above: float
) -> None:
    """Values of scipy 1.17.1 (special.gammainc, gammaincc)."""
    assert gamma_below(shape, x) == pytest.approx(below, rel=1e-12)
    assert gamma_above(shape, x) == pytest.approx(above, rel=1e-12)


@pytest.mark.parametrize(
    ("a", "b", "x", "below"),
    [
        (0.5, 0.5, 0.2, 0.2951672353008665),
        (2.0, 3.0, 0.4, 0.5248),
        (11.0, 22.0, 0.2, 0.04108832102354057),
        (40.0, 1.5, 0.99, 0.847307938848001),
        (300.0, 200.0, 0.55, 0.011853654379737162),
    ],
)
def test_beta_agrees_with_another_library(a: float, b: float, x: float, below: float) -> None:
    """Values of scipy 1.17.1 (special.betainc)."""
    assert beta_below(a, b, x) == pytest.approx(below, rel=1e-12)


def test_points_agree_with_another_library() -> None:
    """Values of scipy 1.17.1 (special.gammaincinv, betaincinv)."""
    assert gamma_point(0.025, 3) == pytest.approx(0.6186721228956014, rel=1e-12)
    assert gamma_point(0.95, 0.5) == pytest.approx(1.920729410347062, rel=1e-12)
    assert gamma_point(0.975, 31) == pytest.approx(42.82686539480766, rel=1e-12)
    assert beta_point(0.025, 2, 10) == pytest.approx(0.02283119829995966, rel=1e-12)
    assert beta_point(0.975, 12, 800) == pytest.approx(0.024139003830640944, rel=1e-12)


@given(n=st.integers(1, 40), k=st.integers(0, 40), p=st.fractions(0, 1, max_denominator=50))
def test_binomial_tails_are_the_sums_of_their_terms(n: int, k: int, p: Fraction) -> None:
    exact = sum(
        (math.comb(n, i) * p**i * (1 - p) ** (n - i) for i in range(min(k, n) + 1)), Fraction(0)
    )
    assert binomial_at_most(k, n, float(p)) == pytest.approx(float(exact), rel=1e-9, abs=1e-12)
    if k <= n:
        term = math.comb(n, k) * p**k * (1 - p) ** (n - k)
        assert binomial_chance(k, n, float(p)) == pytest.approx(float(term), rel=1e-9, abs=1e-300)


@given(n=st.integers(1, 30), x=st.floats(0.01, 60.0))
def test_gamma_is_the_sum_of_poisson_terms(n: int, x: float) -> None:
    terms = [math.exp(i * math.log(x) - x - math.lgamma(i + 1)) for i in range(n)]
    assert gamma_above(n, x) == pytest.approx(math.fsum(terms), rel=1e-9, abs=1e-15)
    assert gamma_below(n, x) + gamma_above(n, x) == pytest.approx(1.0, abs=1e-12)


@given(share=st.floats(0.001, 0.999), a=st.floats(0.2, 80.0), b=st.floats(0.2, 80.0))
def test_points_are_the_inverse(share: float, a: float, b: float) -> None:
    assert gamma_below(a, gamma_point(share, a)) == pytest.approx(share, abs=1e-9)
    assert beta_below(a, b, beta_point(share, a, b)) == pytest.approx(share, abs=1e-6)


def test_ends_and_wrong_shapes() -> None:
    assert gamma_below(2.0, 0.0) == 0.0
    assert gamma_below(2.0, math.inf) == 1.0
    assert gamma_point(0.0, 3.0) == 0.0
    assert (beta_below(1, 2, 0.0), beta_below(1, 2, 1.0)) == (0.0, 1.0)
    assert binomial_chance(0, 3, 0.0) == 1.0
    assert binomial_at_most(-1, 3, 0.5) == 0.0
    for wrong in (0.0, -1.0):
        with pytest.raises(ValueError, match="positive shape"):
            gamma_below(wrong, 1.0)
        with pytest.raises(ValueError, match="positive shapes"):
            beta_below(1.0, wrong, 0.5)


def test_normal_and_chi_squared() -> None:
    assert normal_two_sided(1.959963984540054) == pytest.approx(0.05, rel=1e-12)
    assert normal_two_sided(-1.327) == pytest.approx(0.18451, abs=1e-5)
    # The 95 % points of every table: 3.841 (1 degree of freedom), 31.410 (20).
    assert chi_squared_point(0.95, 1) == pytest.approx(3.841, abs=5e-4)
    assert chi_squared_point(0.95, 20) == pytest.approx(31.410, abs=5e-4)
    assert chi_squared_above(37.23, 20) == pytest.approx(0.010980513849, rel=1e-9)


@pytest.mark.parametrize(
    ("n", "x", "below"),
    [(5, 1.7, 0.1113185), (10, 6.3, 0.9217273236342131), (20, 8.0, 0.06095622637976894)],
)
def test_sums_of_uniforms(n: int, x: float, below: float) -> None:
    """Values of scipy 1.17.1 (stats.irwinhall)."""
    assert uniform_sum_below(n, x) == pytest.approx(below, rel=1e-8)
    assert (uniform_sum_below(n, 0.0), uniform_sum_below(n, n)) == (0.0, 1.0)


GARWOOD = {
    0: (0.0, 3.6889, 0.0, 2.9957),
    1: (0.0253, 5.5716, 0.0513, 4.7439),
    2: (0.2422, 7.2247, 0.3554, 6.2958),
    3: (0.6187, 8.7673, 0.8177, 7.7537),
    5: (1.6235, 11.6683, 1.9701, 10.5130),
    10: (4.7954, 18.3904, 5.4254, 16.9622),
    30: (20.2409, 42.8269, 21.5940, 40.6905),
}


@pytest.mark.parametrize("n", sorted(GARWOOD))
def test_exact_poisson_interval(n: int) -> None:
    """Garwood, Biometrika 1936; reference sheet section 7.1."""
    low95, high95, low90, high90 = GARWOOD[n]
    wide, narrow = rate_interval(n, 1.0), rate_interval(n, 1.0, 0.90)
    assert (wide.low, wide.high) == pytest.approx((low95, high95), abs=1e-4)
    # A one-sided bound of 95 % where nothing was seen.
    assert narrow.low == pytest.approx(low90, abs=1e-4)
    assert narrow.high == pytest.approx(high90, abs=1e-4)


def test_published_example_of_the_exact_poisson_test() -> None:
    """137 events in 24.19893: the R documentation's example; reference sheet section 7.1."""
    found = rate_interval(137, 24.19893)
    assert found.value == pytest.approx(5.6614, abs=1e-4)
    assert (found.low, found.high) == pytest.approx((4.7531, 6.6927), abs=1e-4)


def test_two_rates_published_examples() -> None:
    """11 in 800 against 21 in 3011, and 2 in 17877 against 9 in 16660; section 7.2."""
    by_chances = rate_ratio(21, 3011, 11, 800, two_sided="small_chances")
    assert by_chances.p_value == pytest.approx(0.07967, abs=1e-5)
    assert by_chances.interval.value == pytest.approx(1.9715, abs=1e-4)
    low_high = (by_chances.interval.low, by_chances.interval.high)
    assert low_high == pytest.approx((0.8584, 4.2773), abs=1e-4)
    assert rate_ratio(21, 3011, 11, 800).p_value == pytest.approx(0.1120, abs=1e-4)
    second = rate_ratio(9, 16660, 2, 17877)
    assert second.interval.value == pytest.approx(0.2071, abs=1e-4)
    assert second.p_value == pytest.approx(0.05011, abs=1e-5)
    assert (second.interval.low, second.interval.high) == pytest.approx((0.0218, 1.0005), abs=1e-4)


def test_two_rates_with_nothing_on_one_side() -> None:
    clean = rate_ratio(4, 100.0, 0, 50.0).interval
    assert (clean.value, clean.low) == (0.0, 0.0)
    assert clean.high < math.inf
    new = rate_ratio(0, 100.0, 2, 50.0).interval
    assert (new.value, new.high) == (math.inf, math.inf)
    assert new.low > 0.0


def test_rates_need_exposure() -> None:
    with pytest.raises(ValueError, match="positive exposure"):
        rate_interval(1, 0.0)
    for figures in ((1, 0.0, 1, 1.0), (1, 1.0, 1, 0.0), (0, 1.0, 0, 1.0)):
        with pytest.raises(ValueError, match="positive exposures"):
            rate_ratio(*figures)


@pytest.mark.parametrize(
    ("confidence", "factor"),
    [(0.6, 0.916), (0.8, 1.609), (0.9, 2.303), (0.95, 2.996), (0.99, 4.605)],
)
def test_time_without_failure(confidence: float, factor: float) -> None:
    """Reference sheet section 7.4."""
    assert clean_time_needed(1.0, confidence) == pytest.approx(factor, abs=5e-4)
    assert clean_time_needed(1 / 500, 0.9) == pytest.approx(1151, abs=0.5)


def test_gamma_poisson_of_the_handbook() -> None:
    """NIST e-Handbook 8.4.6: prior Gamma(2, 1400), goal 600 h at 80 %; section 7.3."""
    prior = RateBelief(2.0, 1400.0)
    assert exposure_to_show(prior, 1 / 600, 0.8, 2) == pytest.approx(1909, abs=1.0)
    seen = prior.after(2, 1909.0)
    assert (seen.shape, seen.exposure) == (4.0, 3309.0)
    assert seen.chance_below(1 / 600) == pytest.approx(0.800, abs=5e-4)
    assert 1 / seen.point(0.5) == pytest.approx(901, abs=1.0)
    lowers = [1 / seen.point(level) for level in (0.8, 0.9, 0.95)]
    assert lowers == pytest.approx([600, 495, 427], abs=1.0)
    assert seen.exposure / seen.shape == pytest.approx(827, abs=0.5)
    # No stop in 100 h: the negative binomial's first term.
    assert seen.chance_none(100.0) == pytest.approx((3309 / 3409) ** 4, rel=1e-12)
