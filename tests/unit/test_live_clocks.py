"""Times of listening: never back, whatever the computer's or the adapter's clock does."""

from __future__ import annotations

import math
from itertools import pairwise

import pytest

from shearbolt.live.clocks import Clocks, StampFollower, Timeline, system_clocks
from shearbolt.model.instants import HOUR_US, SECOND_US

START_US = 1_780_000_000 * SECOND_US


class SetClock:
    """Two clocks that a test moves."""

    def __init__(self) -> None:
        self.steady = 5_000_000
        self.wall = START_US

    def clocks(self) -> Clocks:
        return Clocks(lambda: self.wall, lambda: self.steady)

    def go_on(self, us: int) -> None:
        self.steady += us
        self.wall += us


@pytest.mark.parametrize("by_us", [HOUR_US, -HOUR_US])
def test_a_clock_set_by_an_hour_moves_no_instant(by_us: int) -> None:
    clock = SetClock()
    line = Timeline(clock.clocks())
    clock.go_on(SECOND_US)
    assert line.now_us() == START_US + SECOND_US
    clock.wall += by_us
    clock.go_on(SECOND_US)
    assert line.now_us() == START_US + 2 * SECOND_US
    assert line.jumped_us() == by_us
    assert line.jumped_us() == 0


def test_slow_adjustment_of_the_clock_is_no_jump() -> None:
    clock = SetClock()
    line = Timeline(clock.clocks())
    for _ in range(100):
        clock.go_on(SECOND_US)
        clock.wall += 5_000
        assert line.jumped_us() == 0


def test_the_computers_steady_clock_goes_on() -> None:
    clocks = system_clocks()
    first = clocks.steady_us()
    assert clocks.steady_us() >= first
    assert clocks.wall_us() > START_US / 2


def heard(
    follower: StampFollower, stamps_s: list[float], arrivals_us: list[int], held_up_us: int = 0
) -> list[int]:
    return [
        follower.steady_us(stamp_s, at_us, held_up_us)
        for stamp_s, at_us in zip(stamps_s, arrivals_us, strict=True)
    ]


def test_spacing_is_that_of_the_stamps_not_of_the_arrivals() -> None:
    delays = [300, 9_000, 2_500, 0, 15_000, 700]
    stamps = [100.0 + 0.01 * i for i in range(6)]
    arrivals = [7_000_000 + 10_000 * i + delay for i, delay in enumerate(delays)]
    times = heard(StampFollower(), stamps, arrivals)
    steps = [b - a for a, b in pairwise(times[3:])]
    assert all(abs(step - 10_000) < 50 for step in steps)
    assert all(time <= at for time, at in zip(times, arrivals, strict=True))


def test_frames_keep_their_order_while_the_least_delay_is_still_being_learnt() -> None:
    delays = [9_000, 4_000, 6_000, 300, 2_000, 0]
    arrivals = [7_009_000 + 10 * i for i in range(6)]
    stamps = [(at - delay) / 1e6 for at, delay in zip(arrivals, delays, strict=True)]
    times = heard(StampFollower(), stamps, arrivals)
    assert times == sorted(times)


@pytest.mark.parametrize("by_s", [3600.0, -3600.0])
def test_an_adapters_clock_that_jumps_is_anchored_anew(by_s: float) -> None:
    follower = StampFollower()
    stamps = [5000.0 + 0.1 * i + (by_s if i >= 10 else 0.0) for i in range(20)]
    arrivals = [1_000_000 + 100_000 * i for i in range(20)]
    times = heard(follower, stamps, arrivals)
    assert follower.jumps == 1
    assert not follower.useless
    assert all(abs(time - at) < 1_000 for time, at in zip(times, arrivals, strict=True))


def test_frames_that_waited_while_the_reader_was_held_up_keep_their_spacing() -> None:
    follower = StampFollower()
    heard(follower, [100.0, 100.01], [1_000_000, 1_010_000])
    # Held up for 4 s: what waited comes at once.
    stamps = [100.02 + 0.5 * i for i in range(9)]
    times = heard(follower, stamps, [5_020_000 + 10 * i for i in range(9)], 4_000_000)
    assert follower.jumps == 0
    assert [round((b - a) / 1e6, 2) for a, b in pairwise(times)] == [0.5] * 8


def test_a_slow_adapter_clock_is_followed() -> None:
    follower = StampFollower()
    arrivals = [100_000 * i for i in range(1, 60_000)]
    stamps = [10.0 + at * (1 - 100e-6) / 1e6 for at in arrivals]  # loses 0.36 s an hour
    times = heard(follower, stamps, arrivals)
    assert follower.jumps == 0
    assert max(abs(time - at) for time, at in zip(times, arrivals, strict=True)) < 1_000


@pytest.mark.parametrize("stamp_s", [0.0, -1.0, math.nan, math.inf])
def test_without_a_stamp_the_arrival_counts(stamp_s: float) -> None:
    assert StampFollower().steady_us(stamp_s, 77) == 77


def test_stamps_that_stand_still_are_no_longer_used() -> None:
    follower = StampFollower()
    arrivals = [100_000 * i for i in range(200)]
    times = heard(follower, [12.5] * 200, arrivals)
    assert follower.useless
    assert times[-1] == arrivals[-1]
