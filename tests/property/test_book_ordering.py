from __future__ import annotations

import random

from hypothesis import given
from hypothesis import strategies as st

from shearbolt.book import Placing, order_visits

DAY_US = 86_400_000_000


def placing(
    id_: str,
    start_us: int | None = None,
    hours: float | None = None,
    *,
    day: bool = False,
    filed_us: int = 100 * DAY_US,
    end_us: int | None = None,
) -> Placing:
    return Placing(id_, start_us, end_us, day, hours, filed_us)


def test_visits_with_a_time_go_by_it_and_their_hours_do_not_matter() -> None:
    visits = [placing("b", 20, 5.0), placing("a", 10, 9.0), placing("c", 30)]
    assert order_visits(visits) == ["a", "b", "c"]


def test_overlapping_visits_go_by_their_starts_then_their_ends() -> None:
    visits = [placing("long", 10, end_us=90), placing("short", 10, end_us=20), placing("in", 15)]
    assert order_visits(visits) == ["short", "long", "in"]


def test_visit_without_a_time_stands_between_the_hours_of_its_neighbours() -> None:
    dated = [placing("a", 10, 100.0), placing("b", 20, 110.0), placing("c", 30, 120.0)]
    assert order_visits([*dated, placing("x", hours=105.0)]) == ["a", "x", "b", "c"]
    assert order_visits([*dated, placing("x", hours=110.0)]) == ["a", "b", "x", "c"]
    assert order_visits([*dated, placing("x", hours=50.0)]) == ["x", "a", "b", "c"]
    assert order_visits([*dated, placing("x", hours=500.0)]) == ["a", "b", "c", "x"]


def test_hour_meter_that_once_ran_backwards_is_outvoted() -> None:
    dated = [
        placing("a", 10, 100.0),
        placing("wrong", 15, 900.0),
        placing("b", 20, 110.0),
        placing("c", 30, 120.0),
    ]
    assert order_visits([*dated, placing("x", hours=115.0)]) == ["a", "wrong", "b", "x", "c"]


def test_visits_between_without_hours_do_not_part_it_from_the_one_before() -> None:
    dated = [placing("a", 10, 100.0), placing("?", 15), placing("b", 20, 110.0)]
    assert order_visits([*dated, placing("x", hours=105.0)]) == ["a", "x", "?", "b"]
    assert order_visits([*dated, placing("x", hours=99.0)]) == ["x", "a", "?", "b"]


def test_note_with_a_day_stays_in_that_day() -> None:
    dated = [
        placing("early", 2 * DAY_US + 6, 100.0),
        placing("late", 2 * DAY_US + 18, 108.0),
        placing("next", 3 * DAY_US + 6, 109.0),
    ]

    def with_hours(hours: float | None) -> list[str]:
        return order_visits([*dated, placing("x", 2 * DAY_US, hours, day=True)])

    assert with_hours(104.0) == ["early", "x", "late", "next"]
    assert with_hours(None) == ["early", "late", "x", "next"]
    assert with_hours(500.0) == ["early", "late", "x", "next"]
    assert with_hours(1.0) == ["x", "early", "late", "next"]


def test_visit_without_time_or_hours_is_no_younger_than_its_filing() -> None:
    dated = [placing("a", 10), placing("b", 2 * DAY_US)]
    assert order_visits([*dated, placing("x", filed_us=DAY_US)]) == ["a", "x", "b"]


def test_two_without_a_time_stand_by_their_hours() -> None:
    visits = [placing("y", hours=7.0), placing("a", 10, 5.0), placing("x", hours=6.0)]
    assert order_visits(visits) == ["a", "x", "y"]
    assert order_visits([placing("y", hours=7.0), placing("x", hours=6.0)]) == ["x", "y"]


_hours = st.none() | st.floats(0, 1000)
_exact = st.tuples(st.integers(0, 20 * DAY_US), _hours, st.just(False))
_day = st.tuples(st.integers(0, 20).map(lambda d: d * DAY_US), _hours, st.just(True))
_loose = st.tuples(st.none(), _hours, st.just(False))


@st.composite
def fleets(draw: st.DrawFn) -> list[Placing]:
    rows = draw(st.lists(st.one_of(_exact, _day, _loose), max_size=12))
    filed = draw(st.lists(st.integers(0, 30 * DAY_US), min_size=len(rows), max_size=len(rows)))
    return [
        Placing(f"v{i}", start, None, day, hours, filed[i])
        for i, (start, hours, day) in enumerate(rows)
    ]


@given(fleets(), st.randoms())
def test_order_is_the_same_whatever_order_they_came_in(
    visits: list[Placing], chance: random.Random
) -> None:
    order = order_visits(visits)
    assert sorted(order) == sorted(one.id for one in visits)
    shuffled = list(visits)
    chance.shuffle(shuffled)
    assert order_visits(shuffled) == order


@given(fleets())
def test_times_rise_and_days_are_kept(visits: list[Placing]) -> None:
    known = {one.id: one for one in visits}
    order = [known[id_] for id_ in order_visits(visits)]
    exact = [one.start_us for one in order if one.start_us is not None and not one.date_only]
    assert exact == sorted(exact)
    for at, one in enumerate(order):
        if not one.date_only or one.start_us is None:
            continue
        for before in order[:at]:
            if before.start_us is not None and not before.date_only:
                assert before.start_us < one.start_us + DAY_US
        for after in order[at + 1 :]:
            if after.start_us is not None and not after.date_only:
                assert after.start_us >= one.start_us


@given(
    st.lists(st.booleans(), min_size=1, max_size=12),
    st.randoms(),
)
def test_consistent_hours_bring_back_the_true_order(
    dated: list[bool], chance: random.Random
) -> None:
    visits = [
        placing(f"v{i:02d}", 1000 * i if known else None, float(i)) for i, known in enumerate(dated)
    ]
    chance.shuffle(visits)
    assert order_visits(visits) == sorted(one.id for one in visits)
