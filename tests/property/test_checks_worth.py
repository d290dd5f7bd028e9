"""Whatever the odds: what knowing is worth is never negative, and the order holds its rules."""

from __future__ import annotations

from itertools import pairwise, permutations

import numpy as np
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from hypothesis.strategies import DrawFn, composite

from shearbolt.dictionary.checks import CLASSES, checks
from shearbolt.dictionary.sensor_kinds import FMI_GROUPS, sensor_kinds
from shearbolt.reasoning.checks import Asked, CheckContext, next_checks
from shearbolt.reasoning.checks.worth import (
    Candidate,
    Floats,
    expected_minutes,
    expected_of_pairs,
    ranked,
    worth_of,
)

PART = st.floats(0.0, 1.0, allow_nan=False)
COST = st.floats(0.5, 500.0, allow_nan=False)


@composite
def odds(draw: DrawFn, classes: int) -> Floats:
    found = np.array(draw(st.lists(PART, min_size=classes, max_size=classes)))
    assume(found.sum() > 1e-3)
    shares: Floats = found / found.sum()
    return shares


@composite
def costs(draw: DrawFn, classes: int) -> Floats:
    return np.array(draw(st.lists(COST, min_size=classes, max_size=classes)))


@composite
def candidate(draw: DrawFn, key: str, classes: int) -> Candidate:
    outcomes = draw(st.integers(2, 4))
    rows = np.array(
        draw(
            st.lists(
                st.lists(st.floats(0.001, 1.0), min_size=classes, max_size=classes),
                min_size=outcomes,
                max_size=outcomes,
            )
        )
    )
    repairs = np.array(
        draw(
            st.lists(
                st.lists(st.one_of(COST, st.just(np.inf)), min_size=classes, max_size=classes),
                min_size=outcomes,
                max_size=outcomes,
            )
        )
    )
    group = draw(st.sampled_from(("one", "two", key)))
    return Candidate(key, draw(COST), (), group, rows / rows.sum(axis=0), repairs)


def by_hand(chances: Floats, minutes: Floats) -> float:
    """All orders and all stops, tried out."""
    call, best = float(minutes[-1]), float(chances.sum() * minutes[-1])
    for order in permutations(range(len(chances) - 1)):
        left, spent = float(chances.sum()), 0.0
        for place in order:
            spent += left * float(minutes[place])
            left -= float(chances[place])
            best = min(best, spent + max(0.0, left) * call)
    return best


@settings(max_examples=60)
@given(odds(5), costs(5))
def test_no_order_and_no_stop_does_better(chances: Floats, minutes: Floats) -> None:
    found = float(expected_minutes(chances[None, :], minutes[None, :])[0])
    assert abs(found - by_hand(chances, minutes)) <= 1e-6 * (1.0 + found)


@settings(max_examples=80)
@given(odds(5), costs(5), candidate("a", 5))
def test_knowing_never_costs(chances: Floats, minutes: Floats, one: Candidate) -> None:
    # Not cut off at 0 here: the split by outcomes itself may not raise the expected cost.
    now = expected_minutes(chances[None, :], minutes[None, :])[0]
    after = expected_minutes(one.chances * chances, np.minimum(minutes, one.repairs)).sum()
    assert after <= now * (1.0 + 1e-9) + 1e-9
    assert worth_of(chances, minutes, one) >= 0.0


@settings(max_examples=40)
@given(odds(4), costs(4), candidate("a", 4), candidate("b", 4))
def test_a_second_check_never_makes_it_dearer(
    chances: Floats, minutes: Floats, one: Candidate, other: Candidate
) -> None:
    pairs = expected_of_pairs([one, other], chances, minutes)
    now = float(expected_minutes(chances[None, :], minutes[None, :])[0])
    alone = one.cost() + now - worth_of(chances, minutes, one)
    assert pairs["a", "b"] <= alone + 1e-6


@settings(max_examples=15)
@given(odds(4), costs(4), st.tuples(*(candidate(key, 4) for key in "abcd")))
def test_the_order_is_whole_and_does_not_hang_on_the_catalogues(
    chances: Floats, minutes: Floats, some: tuple[Candidate, ...]
) -> None:
    found = ranked(some, chances, minutes)
    assert sorted(one.key for one in found) == ["a", "b", "c", "d"]
    assert [one.key for one in ranked(some[::-1], chances, minutes)] == [one.key for one in found]
    for one in found:
        if one.worth > one.cost + 1e-6:
            assert one.pays


@settings(max_examples=60)
@given(
    st.lists(
        st.tuples(st.integers(1, 100), st.integers(1, 100)), min_size=2, max_size=5, unique=True
    )
)
def test_perfect_checks_of_one_fault_go_by_chance_over_cost(
    pairs: list[tuple[int, int]],
) -> None:
    """Heckerman, Breese and Rommelse 1995: the special case."""
    ratios = sorted(part / cost for part, cost in pairs)
    assume(all(b > a * 1.01 for a, b in pairwise(ratios)))
    size = len(pairs) + 1
    total = sum(part for part, _ in pairs)
    chances = np.array([*(part / total for part, _ in pairs), 0.0])
    minutes = np.array([*(1e8,) * len(pairs), 1e6])
    some = []
    for place, (_, cost) in enumerate(pairs):
        yes = np.eye(size)[place]
        here = np.where(yes > 0.0, 1e-6, np.inf)
        some.append(
            Candidate(
                str(place), float(cost), (), str(place), np.array([yes, 1.0 - yes]),
                np.array([here, np.full(size, np.inf)]),
            )
        )  # fmt: skip
    order = [int(one.key) for one in ranked(some, chances, minutes)]
    assert order == sorted(range(len(pairs)), key=lambda at: -pairs[at][0] / pairs[at][1])


@settings(max_examples=40)
@given(
    odds(len(CLASSES)),
    st.sampled_from(sorted(sensor_kinds())),
    st.sampled_from(FMI_GROUPS),
    st.sampled_from((None, 12, 24)),
    st.frozensets(
        st.sampled_from(("volts_differ", "power_lost", "moving_part", "implement", "high_voltage"))
    ),
)
def test_every_list_keeps_the_rules(
    chances: Floats, kind: str, group: object, volts: object, flags: frozenset[str]
) -> None:
    asked = Asked("f", None, sensor_kinds()[kind], group)  # type: ignore[arg-type]
    context = CheckContext(system_v=volts, flags=flags)  # type: ignore[arg-type]
    posterior = dict(zip(CLASSES, map(float, chances), strict=True))
    found = next_checks(asked, posterior, context)
    names = [one.check for one in found]
    assert len(set(names)) == len(names)
    assert "call_workshop" in names
    assert [one.gate for one in found if one.not_possible_because is None] == sorted(
        (one.gate for one in found if one.not_possible_because is None), reverse=True
    )
    reasons = [one.not_possible_because is not None for one in found]
    assert reasons == sorted(reasons)
    for one in found:
        assert one.worth_min >= 0.0
        assert one.minutes > 0.0
        assert set(one.tools) == set(checks()[one.check].tools)
        assert len(set(one.cautions)) == len(one.cautions)
