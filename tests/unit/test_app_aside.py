"""Work done aside: in order, trouble told, no thread left behind, memory bounded."""

from __future__ import annotations

import threading
import time
from collections.abc import Iterator

import pytest

from shearbolt.app.aside import WAITING, Aside


@pytest.fixture(autouse=True)
def no_thread_is_left() -> Iterator[None]:
    yield
    assert "aside" not in {one.name for one in threading.enumerate()}


def test_everything_is_done_in_order_when_the_context_ends() -> None:
    done: list[int] = []
    aside: Aside[int] = Aside(done.append)
    with aside:
        for number in range(50):
            aside.hand(number)
    assert done == list(range(50))


def test_it_is_really_done_aside() -> None:
    here = threading.get_ident()
    there: list[int] = []
    aside: Aside[int] = Aside(lambda one: there.append(threading.get_ident()))
    with aside:
        aside.hand(1)
    assert len(there) == 1
    assert there != [here]


def test_no_more_wait_than_are_allowed() -> None:
    go_on, taken, handed = threading.Event(), threading.Event(), threading.Semaphore(0)

    def work(one: int) -> None:
        taken.set()
        assert go_on.wait(30)

    def hand_all(aside: Aside[int]) -> None:
        for number in range(WAITING + 3):
            aside.hand(number)
            handed.release()

    with Aside(work) as aside:
        feeder = threading.Thread(target=hand_all, args=(aside,))
        feeder.start()
        assert taken.wait(30)
        # One is worked on, WAITING wait; the next is not taken before one of them is done.
        for _ in range(WAITING + 1):
            assert handed.acquire(timeout=30)
        assert not handed.acquire(timeout=0.05)
        go_on.set()
        feeder.join()


def test_trouble_is_raised_at_a_later_hand_over_and_nobody_waits_for_ever() -> None:
    def broken(one: int) -> None:
        raise ValueError(f"broken at {one}")

    def many() -> None:
        with Aside(broken) as aside:
            for number in range(100 * WAITING):
                aside.hand(number)

    with pytest.raises(ValueError, match="broken at 0"):
        many()


def test_trouble_with_the_last_is_raised_at_the_end() -> None:
    def broken(one: int) -> None:
        raise ValueError(f"broken at {one}")

    with pytest.raises(ValueError, match="broken at 7"), Aside(broken) as aside:
        aside.hand(7)


def test_an_error_lets_go_of_what_still_waits_and_is_the_one_that_is_told() -> None:
    begun, done = threading.Event(), list[int]()

    def work(one: int) -> None:
        begun.set()
        while not aside._given_up:
            time.sleep(0.001)
        done.append(one)

    aside: Aside[int] = Aside(work)

    def fail() -> None:
        aside.hand(1)
        assert begun.wait(30)
        aside.hand(2)
        raise KeyError("mine")

    with pytest.raises(KeyError, match="mine"), aside:
        fail()
    assert done == [1]
