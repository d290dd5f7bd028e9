"""Passive matching and what sessions make of finds."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.made_payloads import CAB, START_US, chatter, group_of, times, walk

from shearbolt.model.frames import F64, I64
from shearbolt.model.instants import SECOND_US
from shearbolt.reasoning.learning import (
    Found,
    Kept,
    Place,
    after_session,
    follow,
    joined,
    may_raise,
)

SEAT = Place(CAB, 71, 26, 1)
OTHER = Place(CAB, 71, 30, 1)
HEARD = {(CAB, 71)}


def worked(rng: np.random.Generator, seconds: int) -> tuple[I64, F64]:
    """Give an engine's speed second by second: it hunts, and drifts over the day."""
    second = START_US // SECOND_US + np.arange(seconds)
    rpm = 1500 + 300 * np.sin(np.arange(seconds) / 7) + 0.3 * np.arange(seconds)
    return second, rpm + np.cumsum(rng.normal(0, 15, seconds))


def test_a_byte_that_follows_a_known_quantity_is_found_with_scale_and_lag() -> None:
    rng = np.random.default_rng(1)
    second, rpm = worked(rng, 500)
    time_us = times(500.0, 0.2)
    data = np.full((len(time_us), 8), 0xFF, np.uint8)
    late = np.interp(time_us / SECOND_US - 2, second + 0.999, rpm)
    data[:, 4] = np.rint((late - 800) / 8).clip(0, 250)
    found = follow(joined([chatter(rng, 500.0, 2, period_s=0.5), group_of(time_us, data)]),
                   second, rpm)  # fmt: skip
    (one,) = found.follows
    assert (one.place.group, one.place.start_bit, one.place.bits) == (CAB, 32, 8)
    assert one.rho > 0.9
    assert one.p_value < 0.01
    assert one.lag_s == 2
    assert one.scale == pytest.approx(8.0, rel=0.05)
    assert one.offset == pytest.approx(800.0, abs=60.0)


def test_two_readings_that_only_drift_together_are_not_matched() -> None:
    """Both rise through the day: the common trend is no evidence."""
    finds = 0
    for seed in range(20):
        rng = np.random.default_rng(seed)
        second = START_US // SECOND_US + np.arange(600)
        known = 20 + np.arange(600) / 10 + rng.normal(0, 0.3, 600)
        time_us = times(600.0, 1.0)
        data = np.zeros((600, 8), np.uint8)
        data[:, 1] = (30 + np.arange(600) / 4 + rng.normal(0, 1, 600)).astype(np.uint8)
        data[:, 3] = walk(rng, 600)
        finds += bool(follow(group_of(time_us, data), second, known, seed=seed).follows)
    assert finds == 0


def test_too_little_movement_settles_nothing() -> None:
    second = START_US // SECOND_US + np.arange(600)
    still = follow(chatter(np.random.default_rng(2), 60.0), second, np.full(600, 3.0))
    assert not still.enough
    short = follow(chatter(np.random.default_rng(2), 60.0), second[:50], np.arange(50.0))
    assert not short.enough


@settings(max_examples=15, deadline=None)
@given(st.integers(0, 2**32 - 1))
def test_unrelated_payloads_follow_nothing(seed: int) -> None:
    rng = np.random.default_rng(seed)
    second, rpm = worked(rng, 320)
    assert follow(chatter(rng, 320.0, 2, period_s=0.5), second, rpm, seed=seed).follows == ()


def test_a_second_session_makes_it_learnt() -> None:
    (first,) = after_session((), [Found(SEAT, 0.002)], HEARD)
    assert first == Kept(SEAT, 1, 0.002, "candidate")
    (second,) = after_session([first], [Found(SEAT, 0.004)], HEARD)
    assert second == Kept(SEAT, 2, 0.004, "learnt")


def test_a_candidate_that_does_not_come_again_is_dropped() -> None:
    kept = [Kept(SEAT, 1, 0.002, "candidate"), Kept(OTHER, 1, 0.002, "candidate")]
    changes = after_session(kept, [Found(SEAT, 0.002)], HEARD)
    assert [(one.place, one.state) for one in changes] == [(SEAT, "learnt"), (OTHER, "dropped")]


def test_a_learnt_one_that_fails_is_a_candidate_again_then_dropped() -> None:
    learnt = Kept(SEAT, 2, 0.002, "learnt")
    (doubted,) = after_session([learnt], [], HEARD)
    assert (doubted.state, doubted.sessions) == ("candidate", 1)
    (gone,) = after_session([doubted], [], HEARD)
    assert gone.state == "dropped"
    assert after_session([gone], [], HEARD) == ()
    (anew,) = after_session([gone], [Found(SEAT, 0.003)], HEARD)
    assert (anew.state, anew.sessions) == ("candidate", 1)


def test_a_group_that_was_not_heard_is_no_miss() -> None:
    assert after_session([Kept(SEAT, 1, 0.002, "candidate")], [], {(65300, 3)}) == ()


@given(
    st.sampled_from(("note_only", "keep_working", "finish_gently", "stop_now")),
    st.sampled_from(("note_only", "keep_working", "finish_gently", "stop_now")),
)
def test_learnt_signals_never_lower_care(advice: str, by_learnt: str) -> None:
    """The field's rule 22: learnt signals may raise care, never lower it."""
    order = ("note_only", "keep_working", "finish_gently", "stop_now")
    assert order.index(may_raise(advice, by_learnt)) >= order.index(advice)
    with pytest.raises(ValueError, match="not in tuple"):
        may_raise(advice, "calm")
