"""The bit rate, found by listening alone."""

from __future__ import annotations

import pytest

from shearbolt.live.rates import LOOK_US, RateFinder


def listen(finder: RateFinder, good: int, errors: int, after_us: int) -> str:
    finder.begin(0)
    for _ in range(good):
        finder.hear(error=False)
    for _ in range(errors):
        finder.hear(error=True)
    return finder.judge(after_us)


def test_two_whole_frames_settle_the_rate_at_once() -> None:
    finder = RateFinder()
    assert finder.bitrate == 250_000
    assert listen(finder, 2, 0, 1_000) == "found"
    assert finder.bitrate == 250_000


def test_errors_alone_lead_on_to_the_other_rate() -> None:
    finder = RateFinder()
    assert listen(finder, 0, 10, 1_000) == "wrong"
    assert finder.bitrate == 500_000
    assert finder.wrong == {250_000}
    assert not finder.none_fits
    assert listen(finder, 5, 1, 1_000) == "found"


def test_silence_is_listened_to_for_a_whole_look() -> None:
    finder = RateFinder()
    assert listen(finder, 0, 0, LOOK_US - 1) == "wait"
    assert finder.judge(LOOK_US) == "silent"
    assert finder.bitrate == 500_000
    assert listen(finder, 0, 0, LOOK_US) == "silent"
    assert finder.bitrate == 250_000


@pytest.mark.parametrize(("good", "errors"), [(1, 0), (1, 9), (0, 9), (3, 4)])
def test_too_little_to_tell_is_waited_for(good: int, errors: int) -> None:
    assert listen(RateFinder(), good, errors, LOOK_US // 2) == "wait"


def test_errors_at_every_rate_mean_that_none_fits() -> None:
    finder = RateFinder()
    listen(finder, 0, 20, 1)
    listen(finder, 0, 20, 1)
    assert finder.none_fits
    assert listen(finder, 0, 0, LOOK_US) == "silent"
    assert not finder.none_fits


def test_judging_before_listening_is_a_mistake_of_ours() -> None:
    with pytest.raises(RuntimeError, match="begin"):
        RateFinder().judge(0)
