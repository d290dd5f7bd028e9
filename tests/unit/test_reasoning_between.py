"""Between visits: what occurrence counts tell, by every way of counting, clears and stops."""

from __future__ import annotations

import pytest
from tests.made_cases import AMBER, clear, fault, machine, spell, told, visit

from shearbolt.app.composing.between_words import reset_words, unrecorded_words
from shearbolt.model.instants import SECOND_US
from shearbolt.reasoning.between import Between, Unrecorded, between_visits
from shearbolt.reasoning.case import FaultInVisit, VisitCase

F = fault("f1", 105, 16)


def at_onset(offset: int) -> FaultInVisit:
    """Two spells told before, in and after: the count steps when they begin."""
    return told(
        F,
        spell(50, 60, count=offset + 1),
        spell(90, 99, count=offset + 2),
        counts=((10, offset), (70, offset + 1), (120, offset + 2)),
    )


def at_end(offset: int) -> FaultInVisit:
    return told(
        F,
        spell(50, 60, count=offset),
        spell(90, 99, count=offset + 1),
        counts=((10, offset), (70, offset + 1), (120, offset + 2)),
    )


def per_cycle(offset: int) -> FaultInVisit:
    return told(F, spell(50, 60, count=offset), spell(90, 99, count=offset))


def of(*visits: VisitCase) -> Between:
    return between_visits(machine(visits, [F]))["f1"]


def later(*some: Unrecorded | None) -> list[tuple[int, int | None]]:
    return [(one.at_least, one.at_most) for one in some if one is not None]


def between_only(found: Between) -> list[Unrecorded]:
    return [one for one in found.unrecorded if one.after_visit is not None]


def test_four_more_times_while_nobody_was_recording() -> None:
    first = visit(0, at_onset(0), hours_start=5909.0, hours_end=5910.0)
    second = visit(1, told(F, counts=((5, 6),)), hours_start=5915.9, hours_end=5916.4)
    found = of(first, second)
    assert found.steps == "at_onset"
    (one,) = found.unrecorded
    assert (one.after_visit, one.before_visit) == ("v0", "v1")
    assert (one.from_h, one.to_h) == (5910.0, 5915.9)
    assert (one.at_least, one.at_most) == (4, 4)
    assert unrecorded_words(one) == (
        "4 more times while nobody was recording, between 5,910.0 and 5,915.9 h."
    )
    assert (found.at_least, found.at_most) == (4, 4)


@pytest.mark.parametrize(
    ("first", "second", "expected"),
    [
        # Steps at onset: a spell of the second visit is one of the starts counted.
        (at_onset(0), told(F, spell(5, 9, count=7)), [(4, 4)]),
        (at_onset(0), told(F, spell(5, 9, count=3)), []),
        # Listed from its first report on: it began before, and is shown all the same.
        (at_onset(0), told(F, spell(0, 9, known=False, count=3)), []),
        # Steps at the end: active now, so one start is not counted yet.
        (at_end(0), told(F, spell(5, 9, count=6)), [(4, 4)]),
        (at_end(0), told(F, counts=((5, 6),)), [(4, 4)]),
        (at_end(0), told(F, spell(5, 9, count=2)), []),
        (at_end(0), told(F, counts=((5, 2),)), []),
        # Once a key cycle: so many cycles had one start or more.
        (per_cycle(3), told(F, counts=((5, 5),)), [(2, None)]),
        (per_cycle(3), told(F, spell(5, 9, count=5)), [(1, None)]),
        (per_cycle(3), told(F, spell(5, 9, count=4)), [(0, None)]),
    ],
)
def test_counting_conventions(
    first: FaultInVisit, second: FaultInVisit, expected: list[tuple[int, int | None]]
) -> None:
    found = of(visit(0, first), visit(1, second))
    assert later(*between_only(found)) == expected


def test_an_active_spell_that_goes_on_is_not_counted_twice() -> None:
    first = visit(
        0,
        told(
            F,
            spell(50, 60, count=0),
            spell(90, 99, count=1),
            spell(400, 600, "recording_end", count=2),
            counts=((10, 0), (70, 1), (120, 2)),
        ),
    )
    # Its sender steps at the end; the spell was still on, and is over when the memory is read.
    second = visit(1, told(F, counts=((5, 3),)))
    assert later(*between_only(of(first, second))) == []


def test_a_spell_on_at_both_ends_is_one() -> None:
    one = told(
        F,
        spell(50, 60, count=1),
        spell(90, 99, count=2),
        spell(500, 600, "recording_end", count=3),
        counts=((10, 0), (70, 1), (120, 2)),
    )
    found = of(visit(0, one), visit(1, told(F, spell(0, 30, known=False, count=3))))
    assert between_only(found) == []
    # One step more: it went and came back, and the spell of the second visit may be that one.
    again = of(visit(0, one), visit(1, told(F, spell(0, 30, known=False, count=4))))
    assert later(*between_only(again)) == [(0, 1)]


def test_126_is_at_least() -> None:
    found = of(visit(0, at_onset(0)), visit(1, told(F, counts=((5, 126),))))
    (one,) = between_only(found)
    assert (one.at_least, one.at_most) == (124, None)
    assert "count_at_stop" in one.why
    assert found.at_most is None
    # From the stop on nothing more can be counted.
    full = of(visit(0, told(F, counts=((5, 126),))), visit(1, told(F, counts=((5, 126),))))
    assert later(*between_only(full)) == [(0, None)]


def test_a_fall_without_a_clear_heard_is_an_unseen_clear() -> None:
    found = of(visit(0, at_onset(4)), visit(1, told(F, counts=((5, 2),))))
    (reset,) = found.resets
    assert (reset.count_before, reset.count_after, reset.heard) == (6, 2, False)
    assert reset_words(reset) == (
        "Its count fell from 6 to 2 and no clear was heard, between 101.0 and 105.0 h."
    )
    (one,) = between_only(found)
    assert (one.at_least, one.at_most, one.why) == (2, None, ("count_after_unseen_clear",))


def test_a_clear_heard_starts_the_count_again() -> None:
    first = visit(0, at_onset(4), clears=(clear(300),))
    found = of(first, visit(1, told(F, counts=((5, 3),))))
    (reset,) = found.resets
    assert (reset.count_before, reset.heard) == (6, True)
    assert later(*between_only(found)) == [(3, 3)]


def test_a_clear_that_was_refused_resets_nothing() -> None:
    first = visit(0, at_onset(4), clears=(clear(300, result="refused"),))
    found = of(first, visit(1, told(F, counts=((5, 7),))))
    assert found.resets == ()
    assert later(*between_only(found)) == [(1, 1)]


def test_the_old_count_again_after_a_clear_tells_nothing_new() -> None:
    first = visit(0, at_onset(4), clears=(clear(300),))
    found = of(first, visit(1, told(F, counts=((5, 6),))))
    assert found.resets == ()
    (one,) = between_only(found)
    assert (one.at_least, one.at_most, one.why) == (0, None, ("kept_over_clear",))


def test_a_memory_after_a_clear_without_counts_came_at_least_once() -> None:
    first = visit(0, told(F, spell(50, 60)), clears=(clear(300),))
    found = of(first, visit(1, told(F)))
    (one,) = between_only(found)
    assert (one.at_least, one.at_most, one.why) == (1, None, ("listed_after_clear",))


def test_before_the_first_visit() -> None:
    found = of(visit(0, told(F, counts=((5, 9),))))
    (one,) = found.unrecorded
    assert (one.after_visit, one.at_least, one.at_most) == (None, 9, None)
    assert unrecorded_words(one) == "At least 9 times before the first visit, at 100.0 h."
    assert found.at_least == 0


def test_counts_that_never_step_tell_nothing() -> None:
    quiet = told(F, spell(50, 60, count=0), spell(90, 99, count=0))
    found = of(visit(0, quiet), visit(1, told(F, counts=((5, 0),))))
    assert found.steps == "never"
    assert found.unrecorded == ()
    assert (found.at_least, found.at_most) == (0, None)


def test_an_unknown_way_of_counting_gives_only_a_lower_bound() -> None:
    found = of(visit(0, told(F, counts=((5, 2),))), visit(1, told(F, spell(5, 9, count=5))))
    assert found.steps == "unknown"
    (one,) = between_only(found)
    assert (one.at_least, one.at_most) == (2, None)
    assert "steps_unknown" in one.why
    assert found.at_most is None


def test_counts_not_available_are_no_counts() -> None:
    found = of(visit(0, told(F, counts=((5, None),))), visit(1, told(F, counts=((5, None),))))
    assert found.unrecorded == ()
    assert found.resets == ()


def test_steps_within_one_recording_that_no_spell_shows() -> None:
    found = of(visit(0, at_onset(0)), visit(1, told(F, counts=((100, 2), (400, 5)))))
    (one,) = between_only(found)
    assert (one.after_visit, one.before_visit) == ("v1", "v1")
    assert (one.at_least, one.at_most) == (3, 3)
    assert one.from_h is not None
    assert one.to_h is not None
    assert 105.0 < one.from_h < one.to_h < 106.0
    assert one.from_us == 86400 * SECOND_US + 100 * SECOND_US


def test_hours_and_dates_may_be_unknown() -> None:
    none = {"hours_start": None, "hours_end": None, "zero_us": None}
    found = of(visit(0, at_onset(0), **none), visit(1, told(F, counts=((5, 6),)), **none))
    (one,) = found.unrecorded
    assert (one.from_h, one.to_h, one.from_us, one.to_us) == (None, None, None, None)
    assert unrecorded_words(one) == "4 more times while nobody was recording."


def test_each_sender_counts_in_its_own_way() -> None:
    other = fault("f2", 191, 2, 3)
    one = visit(
        0,
        at_onset(0),
        told(
            other,
            spell(50, 60, count=0),
            spell(90, 99, count=1),
            counts=((10, 0), (70, 1), (120, 2)),
            shown=AMBER,
        ),
    )
    two = visit(1, told(F, spell(5, 9, count=3)), told(other, spell(5, 9, count=3)))
    found = between_visits(machine([one, two], [F, other]))
    assert (found["f1"].steps, found["f2"].steps) == ("at_onset", "at_end")
    assert found["f1"].at_least == 0
    assert found["f2"].at_least == 1
