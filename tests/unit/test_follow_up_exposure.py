"""On which scale, in which time: exposure of a fault before and after a repair."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from tests.made_cases import (
    S,
    clear,
    controller,
    fault,
    running,
    spell,
    told,
    visit,
)
from tests.made_repairs import CODE, HOUR, answer, ill, keys, look, repaired, well

from shearbolt.model.fault import Spell
from shearbolt.model.visit import TextAnswer
from shearbolt.reasoning.case import MachineCase, VisitCase
from shearbolt.reasoning.settings import Alternative, Setting, Term


def counted(day: int, count: int, **more: Any) -> VisitCase:
    """Make a short look in which the memory list tells the fault's count."""
    listed = told(CODE, counts=[(5, count)])
    begin = 100.0 + 5.0 * day
    more.setdefault("hours_end", begin + 1 / 60)
    return visit(day, listed, last_s=60, state=running(60), **more)


def stepping() -> VisitCase:
    """Make a visit that teaches how the counts step: at the onset."""
    return look(0, listed=[told(CODE, spell(900, 960, count=1), counts=[(100, 0), (1500, 1)])])


def test_counts_give_the_time_between_looks() -> None:
    before = [stepping(), counted(2, 3), counted(4, 6)]
    after = [counted(8, 6), counted(12, 6), counted(20, 6)]
    one = answer(repaired([*before, *after], ("r", 3, 121.5)))
    # Five starts that nobody recorded, in the 20 h between the looks.
    assert one.events_before == 6
    assert one.exposure_before == pytest.approx(21.5, abs=0.1)
    assert one.exposure_after == pytest.approx(78.5, abs=0.1)
    assert one.result == "held"


def test_a_count_that_rose_after_the_repair_is_a_return() -> None:
    visits = [stepping(), counted(2, 3), counted(4, 6), counted(8, 6), counted(12, 8)]
    one = answer(repaired(visits, ("r", 3, 121.5)))
    assert one.result == "not_held"
    assert one.events_after == 2
    assert one.first_return is not None
    assert not one.first_return.seen
    assert one.first_return.visit == "v12"


def test_a_count_that_rose_over_the_repair_itself_is_on_neither_side() -> None:
    visits = [stepping(), counted(2, 3), counted(4, 6), counted(8, 7), counted(20, 7)]
    one = answer(repaired(visits, ("r", 3, 130.0)))
    assert one.unsure_events == 1
    assert (one.events_before, one.events_after) == (6, 0)
    assert one.first_return is None
    assert one.exposure_after == pytest.approx(60.0, abs=0.1)
    assert "followup.unsure" in keys(one)


def test_counts_that_only_bound_are_taken_at_their_least() -> None:
    """How this sender's counts step is not known: a rise tells of one key cycle with it or more."""
    visits = [counted(0, 2), counted(2, 5), counted(4, 9)]
    one = answer(repaired([*visits, counted(8, 9), counted(20, 9)], ("r", 3, 121.5)))
    assert one.events_before == 7
    assert one.exposure_before == pytest.approx(21.5, abs=0.1)
    assert one.result == "held"


def test_short_looks_do_not_make_clean_key_cycles_of_the_time_between() -> None:
    on = [look(i, spell(0, 3000, known=False)) for i in range(6)]
    noted = [counted(8, 3), counted(40, 3)]
    one = answer(repaired([*on, *noted], ("r", 6, 127.0)))
    assert (one.scale, one.exposure_after) == ("key_cycles", 2.0)


def test_an_unseen_clear_only_bounds() -> None:
    """The count fell and nobody heard a clear: that time is blind, and what came since counts."""
    visits = [stepping(), counted(2, 5), counted(4, 5), counted(8, 0), counted(12, 0)]
    one = answer(repaired(visits, ("r", 2, 111.5)))
    assert one.exposure_after < 35.0
    back = [stepping(), counted(2, 5), counted(4, 5), counted(8, 2)]
    assert answer(repaired(back, ("r", 2, 111.5))).result == "not_held"


def test_time_that_nobody_could_see_is_no_clean_time() -> None:
    visits = [*ill(range(3)), look(3), look(40)]
    one = answer(repaired(visits, ("r", 3, 112.0)))
    assert one.result == "too_early"
    assert one.exposure_after == pytest.approx(2.0, abs=0.01)
    assert one.blind_h > 180.0
    assert "followup.blind" in keys(one)


def test_lossy_visits_give_no_clean_hours_but_returns() -> None:
    lossy = [look(i, quality="lossy") for i in range(3, 20)]
    one = answer(repaired([*ill(range(3)), *lossy], ("r", 3, 112.0)))
    assert (one.result, one.exposure_after) == ("too_early", 0.0)
    back = look(20, spell(900, 960), quality="lossy")
    assert answer(repaired([*ill(range(3)), *lossy, back], ("r", 3, 112.0))).result == "not_held"


def test_while_it_is_active_it_cannot_start() -> None:
    long = [look(i, spell(600, 3000)) for i in range(3)]
    one = answer(repaired([*long, *well([3])], ("r", 3, 112.0)))
    assert one.exposure_before == pytest.approx(3 * 1200 / 3600, abs=0.01)


def test_spells_within_the_heal_delay_are_one_start() -> None:
    flicker = [look(i, *(spell(900 + 24 * k, 920 + 24 * k) for k in range(6))) for i in range(4)]
    one = answer(repaired([*flicker, *well([4])], ("r", 4, 117.0)))
    assert one.events_before == 4


def test_bursts_count_once_a_key_cycle() -> None:
    """16 starts in 4 bursts are four, not sixteen (section 3 row 11)."""
    bursts = [
        look(i, *(spell(900 + 80 * k, 920 + 80 * k) for k in range(4))) for i in range(0, 8, 2)
    ]
    quiet = well([1, 3, 5, 7])
    visits = sorted([*bursts, *quiet], key=lambda one: one.zero_us or 0)
    one = answer(repaired([*visits, *well(range(8, 12))], ("r", 8, 137.0)))
    assert one.in_bursts
    assert one.events_before == 4
    assert one.result == "too_early"
    assert "followup.in_bursts" in keys(one)


def test_what_was_on_whenever_anybody_came_is_counted_by_key_cycles() -> None:
    on = [look(i, spell(0, 3000, known=False)) for i in range(6)]
    one = answer(repaired([*on, *well(range(6, 20))], ("r", 6, 127.0)))
    assert one.scale == "key_cycles"
    # Of six key cycles with it the first opened the watch.
    assert (one.events_before, one.exposure_before) == (5, 6.0)
    assert (one.exposure_after, one.result) == (14.0, "held")


def test_starting_trouble_is_counted_by_starts() -> None:
    code = fault("f", 1675, 31)
    visits = []
    for i in range(12):
        rpm = [0.0] * 10 + [180.0] * 3 + [1500.0] * 587
        state = running(600, engine_rpm=rpm)
        spells = (spell(12, 40),) if i < 4 else ()
        listed = [told(code, *spells)] if spells else []
        visits.append(visit(i, *listed, state=state))
    one = answer(repaired(visits, ("r", 4, 117.0), faults=[code]))
    assert one.scale == "starts"
    assert (one.events_before, one.exposure_before, one.exposure_after) == (4, 4.0, 8.0)


def cold(below: float) -> tuple[Term, ...]:
    return (Term("hydraulic_c", 1638, "<", below, below - 1, below + 1, "degC"),)


def found_setting(*others: tuple[Term, ...]) -> Setting:
    return Setting(
        fault="f", status="found", found=True, family="within", terms=cold(22.0),
        cannot_be_told_apart=tuple(Alternative(terms, 9.0, 4) for terms in others),
        would_tell=None, starts_inside=4, starts_total=4, starts_unknown=0, days=4, cycles=4,
        exposure_inside_h=1.0, exposure_total_h=4.0, delay_s=0.0, delay_low_s=None,
        delay_high_s=None, persistence_s=None, hysteresis=None, p_adjusted=0.001,
        p_smallest=0.0001, starts_needed=None, confirmed=None, p_confirmed=None, permutations=400,
        still_running=False, spoken=(),
    )  # fmt: skip


def warming(day: int, cold_s: int, *spells: Spell) -> VisitCase:
    oil = [15.0] * cold_s + [45.0] * (HOUR - cold_s)
    return look(day, *spells, state=running(HOUR, hydraulic_c=oil, coolant_c=85.0))


def test_a_warm_week_does_not_acquit_a_cold_fault() -> None:
    sick = [warming(i, 900, spell(400, 460)) for i in range(4)]
    warm = [warming(i, 0) for i in range(4, 40)]
    case = repaired([*sick, *warm], ("r", 4, 117.0))
    one = answer(case, settings={"f": found_setting()})
    assert one.scale == "setting_hours"
    assert one.exposure_before == pytest.approx(4 * 840 / 3600, abs=0.02)
    assert (one.exposure_after, one.result) == (0.0, "too_early")
    assert answer(case).result == "held"
    mornings = [warming(i, 900) for i in range(40, 60)]
    longer = repaired([*sick, *warm, *mornings], ("r", 4, 117.0))
    assert answer(longer, settings={"f": found_setting()}).result == "held"


def test_of_settings_that_cannot_be_told_apart_the_more_careful_counts() -> None:
    sick = [warming(i, 900, spell(400, 460)) for i in range(4)]
    after = [look(i, state=running(HOUR, hydraulic_c=15.0, ambient_c=20.0)) for i in range(4, 24)]
    other = (Term("ambient_c", 171, "<", 10.0, 9.0, 11.0, "degC"),)
    chilly = [
        replace(one, state=running(HOUR, hydraulic_c=[15.0] * 900 + [45.0] * 2700, ambient_c=5.0))
        for one in sick
    ]
    case = repaired([*chilly, *after], ("r", 4, 117.0))
    assert answer(case, settings={"f": found_setting()}).result == "held"
    both = answer(case, settings={"f": found_setting(other)})
    assert (both.result, both.alternative, both.exposure_after) == ("too_early", 0, 0.0)


def test_after_a_clear_it_must_be_tested_first() -> None:
    cleared = look(3, clears=(clear(10.0),), state=running(HOUR, coolant_c=20.0))
    colds = [look(i, state=running(HOUR, coolant_c=20.0)) for i in range(4, 24)]
    one = answer(repaired([*ill(range(3)), cleared, *colds], ("r", 3, 112.0)))
    # All earlier starts came with coolant at 85 degC: cold running tested nothing.
    assert (one.result, one.exposure_after) == ("too_early", 0.0)
    assert one.not_tested == pytest.approx(21.0, abs=0.01)
    assert "followup.not_tested" in keys(one)
    warm = [look(i) for i in range(4, 24)]
    tested = answer(repaired([*ill(range(3)), cleared, *warm], ("r", 3, 112.0)))
    assert tested.not_tested == pytest.approx(1.5, abs=0.05)
    assert tested.result == "held"


def readiness(state: str) -> tuple[TextAnswer, ...]:
    return (TextAnswer(20 * S, "can0", 0, "dm5", (("active", 0), ("components", state))),)


def test_readiness_tells_whether_the_monitor_ran() -> None:
    cleared = look(3, clears=(clear(10.0),))
    case = repaired([*ill(range(3)), cleared, *well(range(4, 24))], ("r", 3, 112.0))
    not_yet = {f"v{i}": readiness("not complete") for i in range(3, 24)}
    one = answer(case, answers=not_yet)
    assert (one.result, one.exposure_after) == ("too_early", 0.0)
    ran = {**not_yet, **{f"v{i}": readiness("complete") for i in range(5, 24)}}
    ready = answer(case, answers=ran)
    assert ready.result == "held"
    assert ready.not_tested == pytest.approx(2.0, abs=0.01)


def test_an_empty_memory_clears_the_time_between() -> None:
    """After a clear, readiness that names no codes at all tells that none came in between."""
    cleared = look(3, clears=(clear(10.0),))
    case = repaired([*ill(range(3)), cleared, look(10)], ("r", 3, 112.0))
    none = (
        TextAnswer(
            20 * S,
            "can0",
            0,
            "dm5",
            (("active", 0), ("previously_active", 0), ("components", "complete")),
        ),
    )
    blind = answer(case)
    told_so = answer(case, answers={"v10": none})
    assert told_so.exposure_after > blind.exposure_after + 30.0
    assert told_so.result == "held"


def test_a_controller_that_reports_only_while_active_is_heard_by_its_life() -> None:
    quiet = replace(
        controller(0, reports=0), last_us=HOUR * S, dm1_manner="never_heard", dm1_all_clear=0
    )
    telling = replace(controller(0), last_us=HOUR * S, dm1_manner="while_active")
    sick = [look(i, spell(900, 960), controllers=(telling,)) for i in range(3)]
    calm = [look(i, controllers=(quiet,)) for i in range(3, 20)]
    assert answer(repaired([*sick, *calm], ("r", 3, 112.0))).result == "held"
    mute = [look(i, spell(900, 960)) for i in range(3)]
    assert answer(repaired([*mute, *calm], ("r", 3, 112.0))).exposure_after == 0.0


def test_a_road_vehicle_tells_by_what_its_memory_lists() -> None:
    """Cleared after the repair and listed again: it came back. Listed on without a clear: the old
    memory, which says nothing. No codes at all (SAE J1979 PID 01): clean in between."""
    code = fault("f", None, None, 0x7E8, kind="obd", code="P0299")
    listed = told(code, sources=("obd03",), state="active")
    wiped = replace(clear(30.0, "obd04"), controller=None)
    none = {"v5": (TextAnswer(20 * S, "can0", 0x7E8, "obd01", (("codes", 0),)),)}

    def case(*later: VisitCase) -> MachineCase:
        visits = [visit(0, listed), visit(1, listed), *later]
        return repaired(visits, ("r", 2, 106.5), faults=[code])

    cleared = visit(2, listed, clears=(wiped,))
    assert answer(case(visit(2, listed), visit(5, listed))).result == "too_early"
    back = answer(case(cleared, visit(5, listed)))
    assert back.result == "not_held"
    assert back.first_return is not None
    assert back.first_return.visit == "v5"
    clean = answer(case(cleared, visit(5)), answers=none)
    assert clean.result == "too_early"
    # From the clear to the answer 15 h, less half an hour until it can have been tested.
    assert clean.exposure_after == pytest.approx(14.5, abs=0.1)
