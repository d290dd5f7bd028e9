"""Charts over visits: false alarms, detection, run lengths of the literature."""

from __future__ import annotations

import math
from statistics import NormalDist

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from shearbolt.reasoning.plausibility.charts import (
    Chart,
    chart,
    decision_limit,
    run_length,
    t_to_normal,
)
from shearbolt.reasoning.plausibility.trait import Sensor, Trait

SENSOR = Sensor(0, 110)


def drawn(values: list[float], *, spread: float = 0.1, matters: float = 0.2, charts: int = 10,
          repaired: frozenset[str] = frozenset()) -> Chart:  # fmt: skip
    told = [
        (f"v{i}", Trait(SENSOR, "soak", value, "K", spread, matters))
        for i, value in enumerate(values)
    ]
    return chart(told, charts, repaired)


@pytest.mark.parametrize(("limit", "run"), [(4.0, 168.0), (5.0, 465.0)])
def test_run_length_of_the_literature(limit: float, run: float) -> None:
    """Two-sided CUSUM with k = 0.5: 168 at h = 4 and 465 at h = 5 (Hawkins and Olwell 1998)."""
    assert run_length(limit, 0.5) == pytest.approx(run, rel=0.02)


@given(st.floats(50.0, 1e6), st.floats(0.25, 1.0))
def test_the_limit_has_the_wanted_run_length(wanted: float, allowance: float) -> None:
    assert run_length(decision_limit(wanted, allowance), allowance) == pytest.approx(
        wanted, rel=1e-6
    )


@pytest.mark.parametrize("t", [0.3, 1.0, 2.0, 4.0])
def test_scores_of_student_t(t: float) -> None:
    """Wallace's approximation against the closed forms for 1 and 2 degrees of freedom."""
    cauchy = 0.5 + math.atan(t) / math.pi
    two = 0.5 + t / (2.0 * math.sqrt(2.0 + t * t))
    for freedom, probability, within in ((1, cauchy, 0.06), (2, two, 0.03)):
        assert t_to_normal(t, freedom) == pytest.approx(
            NormalDist().inv_cdf(probability), abs=within
        )
    assert t_to_normal(-t, 3) == -t_to_normal(t, 3)


def test_at_most_one_false_alarm_a_machine_and_season() -> None:
    """20 sensors, 100 visits: 40 healthy machines, designed for half an alarm each."""
    rng = np.random.default_rng(2026)
    alarms = sum(
        drawn(rng.normal(0.0, 1.0, 100).tolist(), charts=20).alarm is not None for _ in range(800)
    )
    assert alarms <= 30


def test_coarse_and_heavy_tailed_readings_raise_no_more_alarms() -> None:
    rng = np.random.default_rng(11)
    coarse = sum(
        drawn(np.round(rng.normal(0, 0.4, 100)).tolist(), spread=0.3, matters=1.0).alarm is not None
        for _ in range(100)
    )
    heavy = sum(
        drawn(rng.standard_t(3, 100).tolist(), charts=20).alarm is not None for _ in range(100)
    )
    assert coarse <= 5
    assert heavy <= 10


def test_a_lasting_shift_is_found_and_dated() -> None:
    rng = np.random.default_rng(4)
    values = rng.normal(0.0, 1.0, 60)
    values[30:] += 3.0
    found = drawn(values.tolist()).alarm
    assert found is not None
    assert found.direction == "up"
    assert 30 <= int(found.visit[1:]) <= 36
    assert 27 <= int(found.since[1:]) <= 32
    assert found.after - found.before == pytest.approx(3.0, abs=1.2)


def test_a_slow_drift_is_found() -> None:
    rng = np.random.default_rng(8)
    values = rng.normal(0.0, 1.0, 100) - np.maximum(0.0, np.arange(100) - 40) * 0.08
    found = drawn(values.tolist()).alarm
    assert found is not None
    assert found.direction == "down"


def test_one_wild_visit_is_no_drift() -> None:
    values = np.random.default_rng(4).normal(0.0, 1.0, 60)
    values[30] = 40.0
    assert drawn(values.tolist()).alarm is None


def test_a_change_too_small_to_matter_is_left_alone() -> None:
    values = [0.0] * 20 + [0.5] * 80
    assert drawn(values, matters=8.0).alarm is None
    assert drawn([0.0] * 20 + [8.0] * 20, matters=8.0).alarm is not None


def test_a_chart_starts_anew_after_a_repair() -> None:
    rng = np.random.default_rng(4)
    values = np.concatenate([rng.normal(0, 1, 30), rng.normal(5, 1, 30)]).tolist()
    assert drawn(values).alarm is not None
    assert drawn(values, repaired=frozenset({"v30"})).alarm is None


@given(st.lists(st.floats(-1e6, 1e6), min_size=1, max_size=40))
def test_any_values_give_finite_points(values: list[float]) -> None:
    found = drawn(values)
    assert len(found.points) == len(values)
    assert all(math.isfinite(one.score + one.rising + one.falling) for one in found.points)


def test_no_visit_is_no_chart() -> None:
    with pytest.raises(ValueError, match="at least one"):
        chart([], 3)
