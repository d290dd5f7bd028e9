"""Trend: published examples, exact small numbers, starts known by number alone."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.made_cases import S, controller, fault, machine, running, spell, told, visit

from shearbolt.reasoning.between import between_visits
from shearbolt.reasoning.follow_up import lines_of, rates_of, trend_of, trends_of, words_of_trend
from shearbolt.reasoning.follow_up.chances import normal_two_sided
from shearbolt.reasoning.follow_up.trend import (
    Placed,
    laplace,
    laplace_exact,
    power_law,
    power_law_of,
    reversals,
    trend_of_places,
    variation,
)

NIST = [5.0, 40.0, 43.0, 175.0, 389.0, 712.0, 747.0, 795.0, 1299.0, 1478.0]
"""NIST e-Handbook 8.2.3.4: failures of one system, observed to 1500 h."""


def test_laplace_of_the_handbook() -> None:
    """Reference sheet section 7.5: z -1.327, two-sided p 0.18."""
    assert laplace(NIST, 1500.0) == pytest.approx(-1.327, abs=5e-4)
    assert normal_two_sided(laplace(NIST, 1500.0)) == pytest.approx(0.18, abs=0.005)


def test_reversals_of_the_handbook() -> None:
    assert reversals(NIST) == (33, 45)


def test_power_law_of_the_handbook() -> None:
    """Reference sheet section 7.5; MIL-HDBK-189C test and estimates for time-terminated data."""
    found = power_law(NIST, 1500.0)
    assert found.chi_squared == pytest.approx(37.23, abs=0.005)
    assert found.degrees == 20
    # Improving: the upper tail is 0.0110.
    assert found.p_value == pytest.approx(2 * 0.0110, abs=2e-4)
    assert found.exponent == pytest.approx(0.5372, abs=5e-5)
    assert found.scale == pytest.approx(0.19666, abs=2e-4)
    assert found.at_end == pytest.approx(0.003582, abs=5e-7)
    assert 1 / found.at_end == pytest.approx(279, abs=0.5)
    assert found.exponent_unbiased == pytest.approx(0.4835, abs=5e-5)
    assert 1 / found.at_end_unbiased == pytest.approx(310, abs=0.5)


def test_second_published_power_law() -> None:
    """Birolini, example 7.25: 8 failures in 1200 h, sum of logarithms 20."""
    found = power_law_of(8, 1200.0, 20.0)
    assert (found.exponent, found.exponent_unbiased) == pytest.approx((0.40, 0.35), abs=5e-4)
    assert (found.at_end, found.at_end_unbiased) == pytest.approx((0.00267, 0.00233), abs=5e-6)


def test_exact_p_of_few_starts_by_simulation() -> None:
    places = [3.0, 50.0, 60.0, 88.0, 97.0]
    rng = np.random.default_rng(3)
    sums = rng.uniform(0, 100.0, (200_000, 5)).sum(axis=1)
    tail = min((sums <= sum(places)).mean(), (sums >= sum(places)).mean())
    assert laplace_exact(places, 100.0) == pytest.approx(2 * float(tail), abs=0.006)


@given(st.lists(st.floats(0.0, 100.0), min_size=1, max_size=20))
def test_exact_and_normal_p_agree_on_the_side(places: list[float]) -> None:
    exact = laplace_exact(places, 100.0)
    assert 0.0 <= exact <= 1.0
    mirrored = [100.0 - one for one in places]
    assert laplace_exact(mirrored, 100.0) == pytest.approx(exact, abs=1e-6)
    assert laplace(mirrored, 100.0) == pytest.approx(-laplace(places, 100.0), abs=1e-9)
    if len(places) >= 12:
        assert exact == pytest.approx(normal_two_sided(laplace(places, 100.0)), abs=0.02)


def test_irregular_intervals_are_judged_more_carefully() -> None:
    """Lewis and Robinson: the statistic is divided by the coefficient of variation."""
    places = (1.0, 1.5, 2.0, 2.4, 40.0, 41.0, 41.2, 41.9, 99.0)
    found = trend_of_places(Placed(100.0, places, ()))
    assert found.irregular
    assert not found.exact
    assert variation(places) > 1.5
    assert found.z == pytest.approx(laplace(places, 100.0) / variation(places))


@pytest.mark.parametrize("n", range(5))
def test_fewer_than_five_tell_nothing(n: int) -> None:
    found = trend_of_places(Placed(100.0, tuple(90.0 + i for i in range(n)), ()))
    assert (found.direction, found.z, found.p_value) == ("unknown", None, None)
    assert words_of_trend(found)[0][0] == "trend.too_few"


def test_directions() -> None:
    late = tuple(100.0 * (i / 10) ** 0.3 for i in range(1, 10))
    assert trend_of_places(Placed(100.0, late, ())).direction == "rising"
    early = tuple(100.0 - one for one in late)
    assert trend_of_places(Placed(100.0, early, ())).direction == "falling"
    even = tuple(5.0 + 10.0 * i for i in range(10))
    assert trend_of_places(Placed(100.0, even, ())).direction == "steady"
    few = tuple(10.0 + 20.0 * i for i in range(5))
    assert trend_of_places(Placed(100.0, few, ())).direction == "unknown"


def test_without_a_trend_few_are_told_one() -> None:
    rng = np.random.default_rng(9)
    wrong = 0
    for _ in range(800):
        n = int(rng.integers(5, 16))
        places = tuple(sorted(rng.uniform(0.0, 300.0, n).tolist()))
        wrong += trend_of_places(Placed(300.0, places, ())).direction in ("rising", "falling")
    assert wrong / 800 <= 0.06


def test_starts_known_by_number_alone() -> None:
    """Places within stretches are lost, and the test keeps its size: simulation."""
    stretches = ((10.0, 50.0), (60.0, 100.0))
    rng = np.random.default_rng(11)
    scores = []
    for _ in range(3000):
        places = np.sort(rng.uniform(0.0, 100.0, 12))
        seen = [p for p in places.tolist() if not any(a <= p < b for a, b in stretches)]
        grouped = tuple((a, b, int(((places >= a) & (places < b)).sum())) for a, b in stretches)
        z = trend_of_places(Placed(100.0, tuple(seen), grouped)).z
        assert z is not None
        scores.append(z)
    assert float(np.mean(scores)) == pytest.approx(0.0, abs=0.06)
    assert float(np.std(scores)) == pytest.approx(1.0, abs=0.05)


def test_all_in_one_hidden_stretch_tells_nothing() -> None:
    found = trend_of_places(Placed(100.0, (), ((0.0, 100.0, 9),)))
    assert found.z == 0.0
    assert found.direction == "unknown"


def test_places_beyond_the_exposure_are_refused() -> None:
    with pytest.raises(ValueError, match="within"):
        laplace([101.0], 100.0)
    with pytest.raises(ValueError, match="two places"):
        power_law([3.0], 100.0)


def test_trend_of_a_machine_in_hours_that_could_be_seen() -> None:
    code = fault("f", 110, 0)
    starts = [(), (), (), (300,), (), (200, 3000), (100, 1500, 3100), (50, 900, 2000, 3300)]
    visits = [
        visit(
            i,
            *([told(code, *(spell(at, at + 30) for at in some))] if some else []),
            last_s=3600,
            state=running(3600),
            controllers=(replace(controller(0), last_us=3600 * S),),
        )
        for i, some in enumerate(starts)
    ]
    case = machine(visits, [code])
    lines = lines_of(case, between_visits(case))
    found = trend_of(lines["f"])
    assert found.events == 10
    assert found.exposure == pytest.approx(8.0, abs=0.1)
    assert found.direction == "rising"
    assert trends_of(case, lines)["f"] == found
    rate = rates_of(case, lines)["f"]
    assert (rate.shape, rate.exposure) == (10.5, found.exposure)
    assert found.z is not None
    assert math.isfinite(found.z)
