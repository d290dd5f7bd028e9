"""The first checks of whole cases, and what an answer does to the list."""

from __future__ import annotations

from typing import Any

import pytest
from tests.made_cases import fault, symptom

from shearbolt.app.composing.check_words import check_document, check_words
from shearbolt.app.documents.asking import Wording
from shearbolt.dictionary.cause_priors import CAUSES
from shearbolt.reasoning.case import CheckDone, RepairDone
from shearbolt.reasoning.checks import (
    CheckContext,
    NextCheck,
    answers_of,
    asked_of,
    next_checks,
)


def listed(spn: int, fmi: int, chances: dict[str, float], **context: Any) -> list[NextCheck]:
    flags = frozenset(context.pop("flags", ()))
    known = CheckContext(system_v=12, live=frozenset({spn}), flags=flags, **context)
    return list(next_checks(asked_of(fault("f", spn, fmi)), chances, known))


def names(found: list[NextCheck]) -> list[str]:
    return [one.check for one in found if one.not_possible_because is None]


def test_the_hot_afternoon_begins_at_the_coolers() -> None:
    chances = {
        "real_condition": 0.8,
        "sensor": 0.07,
        "wiring": 0.04,
        "operator": 0.03,
        "other": 0.06,
    }
    found = listed(105, 16, chances)
    assert found[0].check == "cooler_clean"
    assert found[0].minutes == pytest.approx(20.0)
    assert {"blow_out", "engine_off_key_out"} <= set(found[0].cautions)
    assert found[0].settles[0] == "real_condition"
    assert "coolant_level_cold" not in names(found)
    shown = check_document(found[0])
    assert "clean side" in shown["words"]
    assert shown["not_possible_because"] is None
    assert not any("replace" in check_words(one.check) for one in found)


def test_forty_seconds_late_looks_at_both_locks_then_wiggles() -> None:
    chances = {
        "wiring": 0.68,
        "sensor": 0.2,
        "shared_supply": 0.02,
        "calibration": 0.05,
        "other": 0.05,
    }
    found = listed(191, 2, chances, flags=("moving_part",))
    assert found[0].check == "harness_chafe"
    assert "one lock" in check_words("harness_chafe")
    assert "wiggle_code" in names(found)[:3]
    assert "key_on_engine_off" in next(one for one in found if one.check == "wiggle_code").cautions


@pytest.mark.parametrize(("spn", "fmi"), [(100, 4), (639, 9), (158, 18), (110, 3), (524_020, 31)])
def test_fourteen_codes_begin_at_the_earth_cable(spn: int, fmi: int) -> None:
    chances = {"low_voltage": 0.88, "wiring": 0.05, "sensor": 0.02, "network": 0.02, "other": 0.03}
    found = listed(spn, fmi, chances, flags=("volts_differ",))
    first = next(one for one in found if not one.gate)
    assert first.check == "earth_cable_drop"
    assert {"battery", "start_from_seat"} <= set(first.cautions)
    # Where the readings agree it may as well be the battery, and that is cheaper to ask.
    alike = listed(158, 18, chances)
    assert names(alike)[0] == "battery_rest"


def test_rodents_are_looked_for_after_long_standing() -> None:
    chances = {"wiring": 0.6, "sensor": 0.3, "other": 0.1}
    for flags in ((), ("stood_long",)):
        found = listed(110, 3, chances, flags=flags)
        assert "harness_chafe" in names(found)
    assert "animals nest" in check_words("harness_chafe")


def test_the_wagon_that_left_is_measured_at_its_power() -> None:
    chances = {
        "wiring": 0.72,
        "low_voltage": 0.12,
        "network": 0.05,
        "operator": 0.02,
        "other": 0.09,
    }
    flags = ("power_lost", "implement", "powered_terminators")
    found = listed(2200, 9, chances, flags=flags)
    assert found[0].check == "breakaway_plug"
    assert {"fuse_and_relay", "unit_power_under_load"} <= set(names(found)[:4])
    power = next(one for one in found if one.check == "unit_power_under_load")
    assert "clear_of_implement" in power.cautions
    assert "nobody stands near it" in check_words("unit_power_under_load")
    ohms = [one for one in found if one.check == "bus_60_ohm"]
    assert [one.not_possible_because for one in ohms] in ([], ["powered_terminators"])


def test_after_the_new_sensor_the_mark_then_the_teaching() -> None:
    chances = {
        "calibration": 0.8,
        "sensor": 0.07,
        "wiring": 0.06,
        "real_condition": 0.02,
        "other": 0.05,
    }
    found = listed(1873, 2, chances)
    assert found[0].check == "arm_mark"
    assert "lever_ends" in names(found)[:3]
    assert "raised_load" in found[0].cautions
    assert "nobody between the links" in check_words("arm_mark")


def test_queueing_asks_where_it_stands_first() -> None:
    chances = {"inhibited_regeneration": 0.82, "ash": 0.06, "real_condition": 0.07, "other": 0.05}
    found = listed(3719, 16, chances)
    assert found[0].check == "soot_stage"
    assert found[0].gate
    assert "regeneration_history" in names(found)[:3]
    assert {"no_regeneration_workshop", "regeneration_place"} <= set(found[0].cautions)


def test_a_code_that_is_not_public_begins_with_the_manual() -> None:
    assert names(listed(524_020, 31, {}))[0] == "manual_text"


def test_brakes_are_handed_over() -> None:
    found = listed(521, 4, {"sensor": 0.4, "wiring": 0.4, "other": 0.2})
    assert found[0].check == "call_workshop"


def test_our_own_adapter_comes_out_first() -> None:
    chances = {"network": 0.4, "wiring": 0.4, "other": 0.2}
    found = listed(639, 9, chances, flags=("plugged_in_just_before",))
    assert (found[0].check, found[0].gate) == ("adapter_unplugged", True)
    assert "adapter_unplugged" not in names(listed(639, 9, chances))


def test_flat_odds_still_name_something() -> None:
    asked = asked_of(symptom("s", "purple"))
    found = next_checks(asked, {})
    assert len([one for one in found if one.not_possible_because is None]) >= 2
    assert all(one.worth_min >= 0.0 for one in found)


def test_a_hopeless_case_is_a_call() -> None:
    found = next_checks(asked_of(fault("f", 110, 3)), {"other": 1.0}, CheckContext(system_v=12))
    assert found[0].check == "call_workshop"


def test_what_is_missing_is_said() -> None:
    asked = asked_of(fault("f", 110, 3))
    context = CheckContext(live=frozenset({190}), no_tools=frozenset({"multimeter"}))
    why = {
        one.check: one.not_possible_because
        for one in next_checks(asked, {"low_voltage": 0.5, "wiring": 0.3, "sensor": 0.2}, context)
    }
    assert why["wiggle_live"] == "not_sent"
    assert why["battery_rest"] == "volts_unknown"
    assert why["swap_twin"] == "no_twin"
    assert why["sensor_resistance"] == "no_tool"
    shown = check_document(
        next(
            one
            for one in next_checks(asked, {"wiring": 0.8, "sensor": 0.2}, context)
            if one.check == "wiggle_live"
        ),
        Wording(units="us"),
    )
    assert shown["not_possible_because"] == "this machine does not send that reading"


def done(check: str, outcome: str = "", value: float | None = None, **more: Any) -> CheckDone:
    return CheckDone(
        check, more.get("fault", "f"), outcome, value, None, more.get("at_us"),
        more.get("visits_before", 1),
    )  # fmt: skip


def test_ratios_are_those_of_the_field_sheet() -> None:
    """Reference sheet 'the field', section 5.2."""

    def ratio(check: str, outcome: str, of: str, against: str) -> float:
        (one,) = answers_of([done(check, outcome)])
        chances = {str(cause): chance for cause, chance in one.likelihood.items()}
        return chances[of] / chances[against]

    assert ratio("wiggle_live", "moved_the_reading", "wiring", "sensor") == pytest.approx(25, 0.01)
    assert ratio("wiggle_live", "no_change", "wiring", "sensor") == pytest.approx(0.5, 0.01)
    assert ratio("swap_twin", "went_with_the_part", "sensor", "wiring") == pytest.approx(50, 0.01)
    assert ratio("swap_twin", "stayed", "sensor", "wiring") == pytest.approx(0.03, 0.01)
    assert ratio("cold_soak", "off", "sensor", "real_condition") == pytest.approx(12, 0.1)
    assert ratio("cold_soak", "off", "sensor", "wiring") == pytest.approx(2, 0.1)
    assert ratio("cold_soak", "agrees", "real_condition", "sensor") == pytest.approx(3, 0.05)
    assert ratio("oil_pressure_at_rest", "not_zero", "sensor", "real_condition") == pytest.approx(
        15
    )
    assert ratio("fitted_before", "just_before_the_first_start", "calibration", "sensor") == (
        pytest.approx(8)
    )


def test_answers_carry_their_fact_and_figure() -> None:
    (one,) = answers_of([done("reference_voltage", value=4.1, at_us=7)])
    assert (one.check, one.fault, one.outcome, one.group) == (
        "reference_voltage", "f", "low", "reference_voltage",
    )  # fmt: skip
    assert set(one.likelihood) == set(CAUSES)
    assert one.at_us == 7
    assert one.figures == (("measured_v", 4.1),)
    assert one.source


def test_what_says_nothing_is_left_out() -> None:
    assert answers_of([done("wiggle_live", "could_not")]) == ()
    assert answers_of([done("wiggle_live", "sang"), done("sing", "low")]) == ()
    assert answers_of([done("wiggle_live")]) == ()
    assert answers_of([done("battery_rest", value=11.5)]) == ()
    known = answers_of([done("battery_rest", value=11.5)], CheckContext(system_v=12))
    assert [one.outcome for one in known] == ["flat"]


def test_the_last_answer_counts() -> None:
    twice = [done("wiggle_live", "moved_the_reading"), done("wiggle_live", "no_change")]
    assert [one.outcome for one in answers_of(twice)] == ["no_change"]
    other = [done("wiggle_live", "no_change"), done("wiggle_live", "no_change", fault="g")]
    assert len(answers_of(other)) == 2


def test_an_answer_moves_the_list_at_once() -> None:
    chances = {"wiring": 0.5, "sensor": 0.4, "other": 0.1}
    asked, context = asked_of(fault("f", 110, 3)), CheckContext(system_v=12)
    before = names(list(next_checks(asked, chances, context)))
    seen = [done("look_at_plug", "wet_or_corroded")]
    after = next_checks(asked, {"wiring": 0.87, "sensor": 0.12, "other": 0.01}, context, seen)
    assert "look_at_plug" in before
    assert "look_at_plug" not in names(list(after))
    # The place is known now, so nothing more pays.
    assert not any(one.pays for one in after)
    # Repaired since: it may be asked again.
    mended = [RepairDone("r", ("f",), 10.0, None, 2, "plug")]
    again = next_checks(asked, chances, context, seen, mended)
    assert "look_at_plug" in names(list(again))
    elsewhere = next_checks(
        asked, chances, context, [done("look_at_plug", "wet_or_corroded", fault="g")]
    )
    assert "look_at_plug" in names(list(elsewhere))


def test_one_fact_is_asked_once_and_what_failed_is_told() -> None:
    asked, context = asked_of(fault("f", 1873, 2)), CheckContext(system_v=12)
    chances = {"calibration": 0.5, "sensor": 0.3, "wiring": 0.2}
    found = next_checks(asked, chances, context, [done("lever_ends", "jumps")])
    assert not {"lever_ends", "sweep_by_hand"} & {one.check for one in found}
    found = next_checks(asked, chances, context, [done("lever_ends", "could_not")])
    gave_up = next(one for one in found if one.check == "lever_ends")
    assert gave_up.not_possible_because == "could_not_before"


def test_minutes_fall_with_what_is_ready() -> None:
    asked, chances = (
        asked_of(fault("f", 105, 2)),
        {"sensor": 0.5, "real_condition": 0.4, "other": 0.1},
    )
    cold = next_checks(asked, chances, CheckContext(system_v=12))
    soaked = next_checks(
        asked, chances, CheckContext(system_v=12, ready=frozenset({"cold_night", "listening"}))
    )
    first = {one.check: one for one in cold}
    then = {one.check: one for one in soaked}
    assert then["cold_soak"].cost_min == pytest.approx(5.0)
    assert then["cold_soak"].waits == ()
    if "cold_soak" in first:
        assert first["cold_soak"].waits == ("cold_night",)
        assert first["cold_soak"].minutes == pytest.approx(10.0)
        assert "after a night's standing" in check_document(first["cold_soak"])["words"]
