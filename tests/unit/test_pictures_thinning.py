"""Thinning out never loses a peak, and a gap stays a gap."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from shearbolt.app.picturing.thinning import parted, thinned


@st.composite
def samples(draw: st.DrawFn) -> tuple[list[float], list[float]]:
    steps = draw(st.lists(st.floats(0.0, 3.0), min_size=1, max_size=200))
    number = st.floats(-1e6, 1e6) | st.just(float("nan"))
    value = draw(st.lists(number, min_size=len(steps), max_size=len(steps)))
    return np.cumsum(steps).tolist(), value


@given(samples(), st.integers(1, 12))
def test_every_column_keeps_its_extremes(told: tuple[list[float], list[float]], n: int) -> None:
    at, value = np.asarray(told[0]), np.asarray(told[1])
    low, high = float(at[0]), float(at[-1]) + 1.0
    kept = thinned(at, value, low, high, n)
    assert (np.diff(kept) > 0).all(), "in their order, each once"
    column = np.minimum(((at - low) / (high - low) * n).astype(int), n - 1)
    for one in range(n):
        inside = value[column == one]
        drawn = value[kept][column[kept] == one]
        if np.isfinite(inside).any():
            assert np.nanmin(drawn) == np.nanmin(inside)
            assert np.nanmax(drawn) == np.nanmax(inside)
    gaps = np.flatnonzero(np.isnan(value))
    assert set(gaps) <= set(kept), "no gap is bridged"


@given(samples(), st.integers(1, 12))
def test_what_is_joined_keeps_its_ends(told: tuple[list[float], list[float]], n: int) -> None:
    at, value = np.asarray(told[0]), np.asarray(told[1])
    kept = set(thinned(at, value, float(at[0]), float(at[-1]), n).tolist())
    known = np.isfinite(value)
    before = np.concatenate([[False], known[:-1]])
    after = np.concatenate([known[1:], [False]])
    ends = np.flatnonzero(known & ~(before & after))
    assert set(ends.tolist()) <= kept


def test_a_million_samples_become_four_a_column_at_most() -> None:
    at = np.arange(1_000_000) / 100.0
    value = np.sin(at)
    value[777_777] = 40.0
    kept = thinned(at, value, 0.0, 10_000.0, 600)
    assert len(kept) <= 4 * 600
    assert 777_777 in kept, "one sample of 10 ms among three hours"


def test_samples_outside_are_left_out() -> None:
    at = np.asarray([-1.0, 0.0, 1.0, 2.0, 3.0])
    assert thinned(at, at.copy(), 0.0, 2.0, 10).tolist() == [1, 2, 3]


@pytest.mark.parametrize("longest", [1.0, 1.5])
def test_a_pause_parts_what_is_joined(longest: float) -> None:
    at, value = parted(np.asarray([0.0, 1.0, 4.0]), np.asarray([5.0, 6.0, 7.0]), longest)
    assert at.tolist() == [0.0, 1.0, 1.0, 4.0]
    assert [one if one == one else None for one in value.tolist()] == [5.0, 6.0, None, 7.0]
