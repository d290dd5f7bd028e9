"""Did that repair hold, from visits with spells to the answer and its words."""

from __future__ import annotations

import msgspec
import pytest
from tests.made_cases import (
    fault,
    machine,
    spell,
    symptom,
    told,
    visit,
)
from tests.made_repairs import CODE, answer, answers, ill, keys, look, repaired, well

from shearbolt.reasoning.between import between_visits
from shearbolt.reasoning.follow_up import (
    FollowUp,
    followups_of,
    lines_of,
    rates_of,
    trends_of,
)
from shearbolt.reasoning.standing import Standing


def test_held_after_enough_clean_hours() -> None:
    one = answer(repaired(ill(range(3)) + well(range(3, 15)), ("r", 3, 112.0)))
    assert (one.result, one.scale, one.grade) == ("held", "engine_hours", "hunch")
    assert (one.events_before, one.events_after) == (3, 0)
    assert one.exposure_before == pytest.approx(3.0, abs=0.06)
    assert one.exposure_after == pytest.approx(12.0, abs=0.01)
    expected = (one.exposure_before / (one.exposure_before + one.exposure_after)) ** 3
    assert one.p_clean_if_unchanged == pytest.approx(expected)
    assert one.p_unchanged is not None
    assert one.p_unchanged < 0.05
    assert one.still_needed == 0.0
    assert keys(one)[0] == "followup.held"
    assert one.held_at is not None
    assert one.held_at.visit == "v11"


def test_too_early_says_how_much_more() -> None:
    short = answer(repaired(ill(range(3)) + well(range(3, 6)), ("r", 3, 112.0)))
    assert short.result == "too_early"
    assert short.still_needed is not None
    more = well(range(3, 6)) + well(range(6, 6 + int(short.still_needed) + 1))
    assert answer(repaired(ill(range(3)) + more, ("r", 3, 112.0))).result == "held"
    assert "followup.still_needed" in keys(short)


def test_a_settled_cause_needs_less() -> None:
    case = repaired(ill(range(3)) + well(range(3, 6)), ("r", 3, 112.0))
    settled = answer(case, grades={("r", "f"): "check_settled"})
    hunch = answer(case)
    assert settled.grade == "check_settled"
    assert settled.still_needed is not None
    assert hunch.still_needed is not None
    assert settled.still_needed < hunch.still_needed


def test_it_came_back() -> None:
    visits = ill(range(3)) + well(range(3, 5)) + ill([5]) + well([6])
    one = answer(repaired(visits, ("r", 3, 112.0)))
    assert (one.result, one.events_after) == ("not_held", 1)
    assert one.first_return is not None
    assert (one.first_return.visit, one.first_return.seen) == ("v5", True)
    assert one.first_return.hours == pytest.approx(125.25)
    assert one.still_needed is None
    assert one.rate_ratio is not None
    assert one.rate_ratio.low < one.rate_ratio.value < one.rate_ratio.high
    assert "followup.came_back" in keys(one)


def test_held_is_revoked_and_tells_how_long_it_stood() -> None:
    visits = ill(range(3)) + well(range(3, 15)) + ill([20])
    one = answer(repaired(visits, ("r", 3, 112.0)))
    assert one.result == "not_held"
    assert one.held_at is not None
    assert one.held_at.visit == "v11"
    assert one.stood_days == pytest.approx(9.0, abs=0.05)
    assert one.stood_h == pytest.approx(44.25, abs=0.1)
    assert "followup.stood" in keys(one)


def test_only_the_start_that_opened_the_watch_is_left_out() -> None:
    opened = look(0, spell(0, 60, known=False), spell(900, 960))
    case = repaired([opened, *ill([1, 2]), *well([3])], ("r", 3, 112.0))
    assert answer(case).events_before == 3
    seen = look(0, spell(30, 60), spell(900, 960))
    assert answer(repaired([seen, *ill([1, 2]), *well([3])], ("r", 3, 112.0))).events_before == 4
    # The watch opens with the first visit, whether or not the fault was there.
    clean_first = repaired([*well([0]), *ill([1, 2, 3]), *well([4])], ("r", 4, 117.0))
    assert answer(clean_first).exposure_before == pytest.approx(4.0, abs=0.06)


def test_repairs_with_no_look_between_are_credited_together() -> None:
    case = repaired(ill(range(3)) + well(range(3, 15)), ("a", 3, 111.5), ("b", 3, 113.0))
    one, other = answers(case)
    assert one.bundle == other.bundle == ("a", "b")
    assert one.result == other.result == "held"
    assert one.p_unchanged == other.p_unchanged
    assert "followup.bundle" in keys(one)


def test_each_repair_is_judged_against_what_was_true_before_it() -> None:
    visits = ill(range(4)) + ill(range(4, 8)) + well(range(8, 18))
    first, second = answers(repaired(visits, ("a", 4, 117.0), ("b", 8, 137.0)))
    assert first.result == "not_held"
    assert first.events_after == 4
    assert second.result == "held"
    # The first changed nothing: all before the second speaks, or the part since, the more careful.
    assert second.events_before in (4, 8)
    alone = ill(range(4, 8)) + well(range(8, 18))
    since = answer(repaired(alone, ("b", 4, 137.0)))
    assert since.p_clean_if_unchanged is not None
    assert second.p_clean_if_unchanged is not None
    assert second.p_clean_if_unchanged >= since.p_clean_if_unchanged - 1e-9


def test_a_second_repair_before_anybody_could_tell() -> None:
    """Between the two it ran clean, too short to tell: what was before the first still speaks."""
    visits = ill(range(4)) + well([4]) + well(range(5, 17))
    first, second = answers(repaired(visits, ("a", 4, 117.0), ("b", 5, 122.0)))
    assert first.result == "too_early"
    assert second.events_before == 4
    assert second.exposure_before == pytest.approx(5.0, abs=0.1)


def test_partly_better_begins_a_new_state() -> None:
    often = [look(i, *(spell(200 * k, 200 * k + 20) for k in range(1, 13))) for i in range(4)]
    rarer = [look(i, spell(1000, 1030)) if i % 4 == 0 else look(i) for i in range(4, 16)]
    first, second = answers(
        repaired([*often, *rarer, *well(range(16, 20))], ("a", 4, 117.0), ("b", 16, 178.0))
    )
    assert first.result == "not_held"
    assert first.p_partly is not None
    assert first.p_partly > 0.9
    assert first.remaining is not None
    assert first.remaining.high < 0.3
    assert "followup.partly" in keys(first)
    assert second.events_before == 3


def test_a_repair_while_it_was_recorded_cuts_the_visit() -> None:
    """Hours 115 to 117, repaired at 116: the start at 115.25 was before it, that at 116.5 after."""
    both = look(3, spell(900, 960), spell(5400, 5460), hours=2)
    one = answer(repaired([*ill(range(3)), both, *well([4])], ("r", 3, 116.0)))
    assert (one.result, one.events_before, one.events_after) == ("not_held", 4, 1)
    assert one.first_return is not None
    assert one.first_return.hours == pytest.approx(116.5)
    early = look(3, spell(900, 960), hours=2)
    clean = answer(repaired([*ill(range(3)), early, *well([4])], ("r", 3, 116.0)))
    assert (clean.result, clean.events_before) == ("too_early", 4)
    assert clean.exposure_after == pytest.approx(2.0, abs=0.05)


def test_a_symptom_is_watched_by_the_person() -> None:
    weak = symptom("s", "weak lift")
    noted = [
        visit(i, told(weak, sources=("hand",)), kind="by_hand", hours_end=None, heard=())
        for i in range(0, 8, 2)
    ]
    later = [visit(i) for i in (20, 40)]
    one = answer(repaired([*noted, *later], ("r", 4, 131.0), faults=[weak]), fault="s")
    # The first note opened the watch; three more in the 30 h up to the last.
    assert (one.events_before, one.scale) == (3, "engine_hours")
    assert one.exposure_before == pytest.approx(31.0, abs=0.1)
    assert one.exposure_after == pytest.approx(170.0, abs=1.5)
    assert one.result == "held"
    again = visit(41, told(weak, sources=("hand",)), kind="by_hand", hours_end=None, heard=())
    back = repaired([*noted, *later, again], ("r", 4, 131.0), faults=[weak])
    assert answer(back, fault="s").result == "not_held"


def test_an_old_spell_going_on_is_no_return() -> None:
    """At the first look after the repair the code is still listed, its count unchanged, and heals:
    a latched code; with a risen count it came back."""
    sick = [
        look(i, listed=[told(CODE, spell(900, 3600, "key_off", count=i + 1))]) for i in range(3)
    ]
    same = look(3, listed=[told(CODE, spell(0, 30, known=False, count=3))])
    assert (
        answer(repaired([*sick, same, *well(range(4, 20))], ("r", 3, 112.0))).result != "not_held"
    )
    risen = look(3, listed=[told(CODE, spell(0, 30, known=False, count=4))])
    assert answer(repaired([*sick, risen, *well([4])], ("r", 3, 112.0))).result == "not_held"
    still = look(3, listed=[told(CODE, spell(0, 3600, "key_off", known=False, count=3))])
    assert answer(repaired([*sick, still], ("r", 3, 112.0))).result == "not_held"


def test_old_memories_are_not_judged() -> None:
    visits = [visit(i, told(CODE)) for i in range(4)]
    one = answer(repaired(visits, ("r", 2, 106.0)), standings={"f": Standing("unknown", True)})
    assert one.result is None
    assert keys(one) == ["followup.nothing_to_judge"]


def test_a_safety_function_needs_an_inspection_whatever_the_hours() -> None:
    brake = fault("f", 1087, 18)
    sick = [look(i, spell(900, 960), of=brake) for i in range(3)]
    one = answer(repaired([*sick, *well(range(3, 30))], ("r", 3, 112.0), faults=[brake]))
    assert (one.result, one.needs_inspection) == ("held", True)
    assert keys(one)[-1] == "followup.needs_inspection"
    assert not answer(repaired([*ill(range(3)), *well([3])], ("r", 3, 112.0))).needs_inspection


def test_without_a_start_before_nothing_is_ever_held() -> None:
    case = repaired([*well(range(3)), *well(range(3, 30))], ("r", 3, 112.0))
    one = answer(case)
    assert (one.result, one.still_needed, one.p_clean_if_unchanged) == ("too_early", None, None)
    assert "followup.no_start_before" in keys(one)


def test_after_a_repair_that_held_the_trend_begins_anew() -> None:
    case = repaired([*ill(range(6)), *well(range(6, 20))], ("r", 6, 127.0))
    lines = lines_of(case, between_visits(case))
    found = followups_of(case, {}, {}, between_visits(case), {}, lines=lines)
    assert found["f"][0].result == "held"
    assert trends_of(case, lines)["f"].events == 6
    assert trends_of(case, lines, found)["f"].events == 0
    before, since = rates_of(case, lines)["f"], rates_of(case, lines, found)["f"]
    assert (before.shape, since.shape) == (6.5, 0.5)
    assert since.exposure == pytest.approx(14.0, abs=0.01)


def test_answers_can_be_kept_and_read_again() -> None:
    visits = ill(range(3)) + well(range(3, 15)) + ill([20])
    one = answer(repaired(visits, ("r", 3, 112.0)))
    assert msgspec.msgpack.decode(msgspec.msgpack.encode(one), type=FollowUp) == one


def test_faults_without_a_repair_are_left_out() -> None:
    case = machine(ill(range(3)), [CODE])
    assert followups_of(case, {}, {}, between_visits(case), {}) == {}
