"""The order of checks: worked examples of decision-theoretic troubleshooting."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import permutations

import numpy as np
import pytest

from shearbolt.reasoning.checks.worth import (
    Candidate,
    Floats,
    expected_minutes,
    expected_of_pairs,
    ranked,
    worth_of,
)

OUT_OF_REACH = 1e6
CALL = 1e4


def perfect(key: str, place: int, minutes: float, classes: int, **more: object) -> Candidate:
    """A check that finds one class without fail, and puts it right at once."""
    yes = np.zeros(classes)
    yes[place] = 1.0
    found = np.full(classes, np.inf)
    found[place] = 1e-6
    group = str(more.get("group", key))
    setup = more.get("setup", ())
    assert isinstance(setup, tuple)
    return Candidate(
        key, minutes, setup, group, np.array([yes, 1.0 - yes]),
        np.array([found, np.full(classes, np.inf)]),
    )  # fmt: skip


def minutes_of(order: Sequence[str], odds: Mapping[str, tuple[float, float]]) -> float:
    """Expected minutes of perfect checks in an order, one fault."""
    left, spent = 1.0, 0.0
    for key in order:
        chance, cost = odds[key]
        spent += left * cost
        left -= chance
    return spent


# Reference sheet section 7.9: cause, chance, minutes (Kadane and Simon 1977).
SHEET = {"A injector": (0.5, 60.0), "B harness": (0.3, 10.0), "C filter": (0.2, 5.0)}


def test_the_sheets_orders_cost_what_it_says() -> None:
    said = {"CBA": 43.0, "BCA": 43.5, "BAC": 53.0, "CAB": 56.0, "ACB": 65.5, "ABC": 66.0}
    for order in permutations(SHEET):
        assert minutes_of(order, SHEET) == pytest.approx(said["".join(one[0] for one in order)])


def test_one_fault_and_perfect_checks_go_by_chance_over_cost() -> None:
    chances = np.array([*(chance for chance, _ in SHEET.values()), 0.0])
    minutes = np.array([*(OUT_OF_REACH,) * 3, CALL])
    some = [perfect(key, at, cost, 4) for at, (key, (_, cost)) in enumerate(SHEET.items())]
    found = ranked(some, chances, minutes)
    assert [one.key[0] for one in found] == ["C", "B", "A"]
    assert all(one.pays for one in found)
    best = min(permutations(SHEET), key=lambda order: minutes_of(order, SHEET))
    assert [one.key for one in found] == list(best)


def test_a_cheap_decisive_check_comes_before_a_dear_one() -> None:
    chances, minutes = np.array([0.5, 0.5, 0.0]), np.array([100.0, 100.0, 300.0])
    cheap = perfect("cheap", 0, 5.0, 3)
    dear = perfect("dear", 0, 80.0, 3, group="dear")
    vague = Candidate(
        "vague", 5.0, (), "vague", np.array([[0.6, 0.4, 0.5], [0.4, 0.6, 0.5]]),
        np.full((2, 3), np.inf),
    )  # fmt: skip
    assert ranked([dear, vague, cheap], chances, minutes)[0].key == "cheap"


def test_putting_right_goes_by_chance_over_cost_and_stops_for_the_call() -> None:
    def least(chances: list[float], minutes: list[float]) -> float:
        return float(expected_minutes(np.array([chances]), np.array([minutes]))[0])

    # 0.6/30 before 0.4/40: 30 + 0.4 x 40
    assert least([0.6, 0.4, 0.0], [30.0, 40.0, 300.0]) == pytest.approx(46.0)
    # The second try costs more than a call for the 10 % that are left: 30 + 0.1 x 50
    assert least([0.9, 0.1, 0.0], [30.0, 400.0, 50.0]) == pytest.approx(35.0)
    # None of these: the call at once, or after what is likely
    assert least([0.0, 0.0, 1.0], [30.0, 40.0, 300.0]) == pytest.approx(300.0)
    assert least([0.5, 0.0, 0.5], [30.0, 40.0, 300.0]) == pytest.approx(180.0)


def test_what_an_outcome_cannot_change_is_worth_nothing() -> None:
    chances, minutes = np.array([0.7, 0.3, 0.0]), np.array([50.0, 60.0, 300.0])
    same = Candidate("s", 5.0, (), "s", np.full((2, 3), 0.5), np.full((2, 3), np.inf))
    assert worth_of(chances, minutes, same) == pytest.approx(0.0, abs=1e-9)
    (one,) = ranked([same], chances, minutes)
    assert not one.pays


def test_finding_the_place_is_worth_something_even_when_the_class_is_sure() -> None:
    chances, minutes = np.array([1.0, 0.0]), np.array([120.0, 300.0])
    look = Candidate(
        "look", 15.0, (), "look", np.array([[0.5, 0.5], [0.5, 0.5]]),
        np.array([[15.0, np.inf], [np.inf, np.inf]]),
    )  # fmt: skip
    assert worth_of(chances, minutes, look) == pytest.approx(0.5 * (120.0 - 15.0))


def test_preparation_is_paid_once() -> None:
    chances = np.array([0.5, 0.3, 0.2, 0.0])
    minutes = np.array([OUT_OF_REACH, OUT_OF_REACH, OUT_OF_REACH, CALL])
    setup = (("plug_open", 10.0),)
    one = perfect("one", 0, 5.0, 4, setup=setup)
    two = perfect("two", 1, 5.0, 4, setup=setup)
    pairs = expected_of_pairs([one, two], chances, minutes)
    # 10 + 5, then with 0.5 left 5 more; the rest is the call
    assert pairs["one", "two"] == pytest.approx(15.0 + 0.5 * 5.0 + 0.2 * CALL, rel=1e-6)
    assert one.cost() == pytest.approx(15.0)
    assert one.cost({"plug_open"}) == pytest.approx(5.0)
    ready = ranked([one], chances, minutes, {"plug_open"})
    assert ready[0].cost == pytest.approx(5.0)


def test_two_checks_of_one_fact_do_not_count_twice() -> None:
    chances = np.array([0.5, 0.5, 0.0])
    minutes = np.array([100.0, 100.0, 300.0])
    half = np.array([[0.8, 0.2, 0.5], [0.2, 0.8, 0.5]])
    sure = np.array([[0.95, 0.05, 0.5], [0.05, 0.95, 0.5]])
    none = np.full((2, 3), np.inf)
    a = Candidate("a", 1.0, (), "fact", half, none)
    b = Candidate("b", 1.0, (), "fact", sure, none)
    c = Candidate("c", 1.0, (), "other fact", sure, none)
    pairs = expected_of_pairs([a, b, c], chances, minutes)
    assert pairs["a", "b"] > pairs["a", "c"]
    assert expected_of_pairs([], chances, minutes) == {}


def test_a_pair_that_pays_only_together_is_found() -> None:
    # Neither alone changes what to do first; both together do.
    chances = np.array([0.4, 0.6, 0.0])
    minutes = np.array([100.0, 100.0, 1000.0])
    weak = np.array([[0.55, 0.45, 0.5], [0.45, 0.55, 0.5]])
    none = np.full((2, 3), np.inf)
    some = [Candidate(key, 0.5, (), key, weak, none) for key in ("a", "b")]
    alone = [worth_of(chances, minutes, one) for one in some]
    assert alone == pytest.approx([0.0, 0.0])
    strong = np.array([[0.7, 0.3, 0.5], [0.3, 0.7, 0.5]])
    first = Candidate("first", 0.5, (), "first", strong, none)
    found = {one.key: one for one in ranked([some[0], first], chances, minutes)}
    assert found["first"].pays
    assert not found["a"].pays


def test_nothing_to_do_is_an_empty_order() -> None:
    empty: Floats = np.array([0.5, 0.5])
    assert ranked([], empty, np.array([10.0, 100.0])) == ()
