"""What no check may tell, and what must stand beside those that can hurt (reference sheet 4)."""

from __future__ import annotations

import re
from functools import cache

import pytest
from tests.made_cases import fault, symptom

from shearbolt.app.composing import check_words as words
from shearbolt.dictionary.checks import HANDS_OFF, Check, checks
from shearbolt.dictionary.sensor_kinds import SensorKind, sensor_kinds
from shearbolt.reasoning.checks import Asked, CheckContext, asked_of, next_checks
from shearbolt.reasoning.checks.fitting import cautions_of, fitting

EVEN: dict[str, float] = {}
ALL_WORDS = {
    **{f"steps {name}": words.check_words(name) for name in checks()},
    **{
        f"outcomes {name}": "; ".join(said for _, said in words.outcome_choices(name))
        for name in checks()
    },
    **{f"caution {key}": said for key, said in words.OWN_CAUTIONS.items()},
    **{f"not {key}": said for key, said in words.WHY_NOT.items()},
}
NEVER = (
    r"bridg", r"\bstraps?\b", r"jumper", r"\btie[ds]?\b", r"by-?pass", r"short (the|across|out)",
    r"screwdriver", r"start it (briefly|once|to see)", r"defeat", r"disable", r"\bforce", r"delete",
    r"refrigerant", r"open (the )?(rail|accumulator|brake)", r"crack (a|the) line",
)  # fmt: skip


@pytest.mark.parametrize("word", NEVER)
def test_what_is_never_said(word: str) -> None:
    assert [where for where, said in ALL_WORDS.items() if re.search(word, said, re.I)] == []


def test_unplug_tests_are_for_temperature_and_pressure_senders_with_the_engine_off() -> None:
    may = {one.kind for one in sensor_kinds().values() if one.unplug}
    assert may
    for kind in may:
        assert sensor_kinds()[kind].type in ("ntc", "ratiometric")
    assert "rail_pressure" not in may
    for one in checks().values():
        if one.touches == "unplug":
            assert one.engine == "off"
            assert "Engine off" in words.check_words(one.check)


BROUGHT = {"wiring": 0.2, "low_voltage": 0.2, "calibration": 0.2, "network": 0.2, "operator": 0.2}
"""Odds under which the classes bring their own checks to every fault."""


@cache
def every_check(name: str) -> tuple[tuple[Check, tuple[str, ...]], ...]:
    """All that fit a kind of sensor, however it fails, with their cautions."""
    context = CheckContext(system_v=12)
    found = []
    for group in ("unsaid", "symptom"):
        asked = Asked("f", None, sensor_kinds()[name], group)
        for one in fitting(asked, BROUGHT, context):
            found.append((one, cautions_of(one, asked, context)))
    return tuple(found)


LIMITED = [one for one in sensor_kinds().values() if one.limit]


def test_what_is_licensed_is_known() -> None:
    assert {one.kind for one in LIMITED if one.limit == "licensed"} >= {
        "rail_pressure", "brake", "steering", "air_conditioning", "lifting", "injector",
        "fuel_leak",
    }  # fmt: skip
    assert [one.kind for one in LIMITED if one.limit == "interlock"] == ["interlock_switch"]


@pytest.mark.parametrize("kind", LIMITED, ids=lambda one: one.kind)
def test_where_repair_is_licensed_or_a_switch_guards_nobody_measures(kind: SensorKind) -> None:
    for one, shown in every_check(kind.kind):
        elsewhere = one.by_class in ("low_voltage", "network")
        assert elsewhere or one.touches in HANDS_OFF, one.check
        assert elsewhere or one.engine not in ("seat", "crank"), one.check
        assert set(kind.cautions) <= set(shown)
        assert kind.limit != "licensed" or kind.cautions


@pytest.mark.parametrize("kind", list(sensor_kinds().values()), ids=lambda one: one.kind)
def test_unplugging_is_offered_for_no_other_kind(kind: SensorKind) -> None:
    offered = {one.check for one, _ in every_check(kind.kind) if one.touches == "unplug"}
    assert not offered or kind.unplug
    if kind.unplug:
        assert offered


def test_the_controllers_of_brakes_and_steering_are_licensed_ground() -> None:
    asked = asked_of(fault("f", 158, 18, 11))
    plain = asked_of(fault("f", 158, 18, 0))
    assert plain.kind.limit == ""
    assert (asked.kind.limit, asked.kind.kind) in (
        ("licensed", plain.kind.kind),
        ("", "battery_voltage"),
    )
    silent = asked_of(fault("f", 2011, 9, 0))
    assert silent.kind.limit == "licensed"


def test_with_high_voltage_there_is_one_answer() -> None:
    asked = asked_of(fault("f", 110, 3))
    (only,) = next_checks(asked, EVEN, CheckContext(flags=frozenset({"high_voltage"})))
    assert only.check == "call_workshop"
    assert only.cautions[0] == "orange_cables"


@pytest.mark.parametrize(
    ("spn", "fmi", "caution"),
    [
        (110, 0, "hot_coolant"), (175, 3, "hot_oil"), (3251, 0, "hot_exhaust"),
        (3242, 3, "hot_exhaust"), (1873, 2, "raised_load"), (1883, 8, "shafts"),
        (127, 18, "hydraulic_jet"), (158, 18, "battery"), (94, 18, "fuel_fire"),
        (157, 18, "fuel_jet"), (1761, 3, "def_only"), (975, 7, "fan"), (521, 4, "licensed"),
    ],
)  # fmt: skip
def test_what_can_hurt_at_a_place_stands_beside_each_step_there(
    spn: int, fmi: int, caution: str
) -> None:
    asked = asked_of(fault("f", spn, fmi))
    found = next_checks(asked, EVEN, CheckContext(system_v=12))
    at_place = [
        one
        for one in found
        if checks()[one.check].touches not in ("ask", "call")
        and checks()[one.check].by_class not in ("low_voltage", "network")
    ]
    assert at_place
    assert all(caution in one.cautions for one in at_place), [one.check for one in at_place]


@pytest.mark.parametrize("name", list(checks()))
def test_the_engine_has_its_caution_and_the_words_agree(name: str) -> None:
    one = checks()[name]
    said = words.check_words(name).casefold()
    if one.engine in ("seat", "crank") and one.by != "technician":
        # Whatever runs is run from the seat; nobody reaches into it meanwhile.
        assert re.search(r"from the seat|after a regeneration that finished", said), said
    if one.engine == "crank":
        assert "neutral" in said
        assert "park lock" in said
    if one.touches in ("plug", "meter", "unplug", "swap", "open") and one.engine in (
        "off",
        "key_on",
    ):
        assert re.search(r"engine (off|stopped)|key off|after some hours at rest", said), said
    if "wiggle" in name:
        assert one.engine == "key_on"
        assert "key on, engine off" in said


def test_running_and_cranking_are_from_the_seat_in_the_open() -> None:
    for kind in sensor_kinds().values():
        for one, shown in every_check(kind.kind):
            if one.engine in ("seat", "crank"):
                assert "start_from_seat" in shown, one.check
            if one.engine == "seat":
                assert "in_the_open" in shown, one.check


def test_frost_and_regeneration_gates() -> None:
    weak = asked_of(symptom("s", "Won't crank"))
    cold = next_checks(
        weak, {"low_voltage": 0.8}, CheckContext(system_v=12, flags=frozenset({"frost"}))
    )
    assert "battery_frozen" in next(one for one in cold if one.check == "battery_rest").cautions
    soot = asked_of(fault("f", 3720, 16))
    full = next_checks(soot, {"ash": 0.8}, CheckContext(flags=frozenset({"soot_above_limit"})))
    assert full[0].check == "soot_stage"
    assert full[0].gate
    burn = next(one for one in full if one.check == "drop_after_regeneration")
    assert burn.not_possible_because == "soot_above_limit"


def test_the_gauge_is_a_workshops_and_never_to_see() -> None:
    oil = asked_of(fault("f", 100, 1))
    found = next_checks(oil, {"sensor": 0.9, "real_condition": 0.05}, CheckContext(system_v=12))
    assert [one.check for one in found[:2]] == ["oil_level_dipstick", "mechanical_gauge"]
    assert found[1].by == "technician"
    assert "gauge_first" in found[1].cautions
