"""What pages make of documents: words first, nothing claimed that the document does not say."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone
from typing import Any, cast, get_args

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.made_documents import machine_document, yard_document, yard_machine
from tests.made_faults import fault, reasoned_fault, repair, spell

from shearbolt.app.documents import FaultDocument
from shearbolt.app.documents.values import (
    AdviceClass,
    Cause,
    Dm1Manner,
    EndedBy,
    EngineAdvice,
    FaultState,
    FollowupResult,
    Quality,
    RecognisedBy,
    StartFrom,
    VisitKind,
)
from shearbolt.web import phrases, words
from shearbolt.web.look import Look, look_of
from shearbolt.web.verdict import BY_LAMPS, NOT_JUDGED, fault_verdict, machine_verdict
from shearbolt.web.view_fault import fault_shown
from shearbolt.web.view_machine import machine_shown
from shearbolt.web.view_yard import yard_groups

LOOK = Look(now=datetime(2026, 5, 20, 9, 0, tzinfo=UTC))
AMERICAN = Look(now=LOOK.now, units="us")


def fault_document(**changes: Any) -> FaultDocument:
    made = {
        "schema": "shearbolt/fault/1",
        **reasoned_fault(root=None),
        "machine": "m3k2",
        "machine_name": "Forage harvester",
        "repairs": [repair()],
    }
    return cast(FaultDocument, {**made, **changes})


@pytest.mark.parametrize(
    ("table", "keys"),
    [
        (words.ADVICE, (*get_args(AdviceClass), "none")),
        (words.YARD_HEADS, (*get_args(AdviceClass), "none")),
        (words.ENGINE, get_args(EngineAdvice)),
        (words.STATES, get_args(FaultState)),
        (words.CAUSES, get_args(Cause)),
        (words.ENDED, get_args(EndedBy)),
        (words.HELD, (*get_args(FollowupResult), "unknown")),
        (words.KINDS, get_args(VisitKind)),
        (words.QUALITY, get_args(Quality)),
        (words.RECOGNISED, get_args(RecognisedBy)),
        (words.START_FROM, get_args(StartFrom)),
        (words.MANNERS, get_args(Dm1Manner)),
    ],
)
def test_every_key_of_a_document_has_its_words(
    table: dict[str, str], keys: tuple[str, ...]
) -> None:
    assert set(table) == set(keys)
    assert set(words.ADVICE_ORDER) == set(words.ADVICE)


def test_nothing_judged_is_said_to_be_so() -> None:
    verdict = machine_verdict(machine_document(), LOOK)
    assert (verdict.kind, verdict.word, verdict.line) == ("none", "No advice yet", NOT_JUDGED)
    assert verdict.rest == BY_LAMPS
    never = machine_verdict(machine_document(words="look at it first", because=["old"]), LOOK)
    assert (never.line, never.because) == ("Look at it first.", ("Old.",))
    assert fault_verdict(fault(), LOOK).kind == "none"
    shown = fault_shown(fault_document(**fault()), machine_document(), LOOK)
    assert (shown.suspects, shown.checks, shown.setting, shown.trend) == ((), (), "", "")
    assert shown.verdict.first_check is None


def test_the_verdict_of_a_machine_is_the_gravest_fault_that_holds_now() -> None:
    later = reasoned_fault(fault="f2", root=None)
    now = reasoned_fault(fault="f3", root=None, own_text="hot again")
    assert now["advice"] is not None
    now["advice"] = {**now["advice"], "applies_now": True}
    machine = machine_document(advice="finish_gently", faults=[later, now])
    verdict = machine_verdict(machine, LOOK)
    assert (verdict.kind, verdict.about, verdict.about_words) == (
        "finish_gently",
        "f3",
        "Hot again",
    )
    assert verdict.because == ("Engine coolant temperature: too high, worst level.",)
    assert not verdict.for_later
    alone = machine_verdict(machine_document(advice="keep_working", words="can go out"), LOOK)
    assert (alone.line, alone.about) == ("Can go out.", "")


def test_advice_says_each_thing_once() -> None:
    said = {
        "class": "finish_gently",
        "applies_now": True,
        "words": "Finish gently, to the yard: it is hot. Watch the gauge, and stop above 105 °C. "
        "Nobody near the fan.",
        "engine": "idle_then_off",
        "watch": {"words": "the gauge", "stop_at": "above 105 °C"},
        "until": "until the end of the day",
        "because": [],
        "cautions": ["Hot water"],
        "as_of": "2026-05-19T06:00:00.000000Z",
    }
    verdict = fault_verdict(fault(advice=said), LOOK)
    assert verdict.line == "To the yard: it is hot."
    assert verdict.rest == "Nobody near the fan."
    assert (verdict.watch, verdict.stop_at) == ("The gauge.", "Stop above 105 °C.")
    assert verdict.engine == "Let it idle for 2 to 3 minutes, then off."
    assert verdict.until == "The end of the day."
    assert verdict.cautions == ("Hot water.",)
    assert verdict.as_of == "Tue 19 May, 06:00 (yesterday)"
    stop = {**said, "class": "stop_now", "words": "Onto level ground, then the engine off at once."}
    verdict = fault_verdict(fault(advice=stop), LOOK)
    assert verdict.line == "Onto level ground, then the engine off at once."
    assert verdict.engine == ""


def test_a_check_that_cannot_be_done_is_not_the_first() -> None:
    made = reasoned_fault(root=None)
    assert made["checks"][0]["not_possible_because"]
    assert fault_verdict(made, LOOK).first_check is None
    made["checks"].append({**made["checks"][0], "words": "look", "not_possible_because": None})
    found = fault_verdict(made, LOOK).first_check
    assert found is not None
    assert (found.title, found.minutes, found.tools) == ("Look.", "about 20 min", "compressed air")
    assert found.settles == "it is truly so"
    assert found.cautions == ("Eye protection.",)


def test_the_first_check_stands_once() -> None:
    can = {**reasoned_fault()["checks"][0], "not_possible_because": None}
    checks = [{**can, "words": "c", "not_possible_because": "dark"}, {**can, "words": "a"}, can]
    shown = fault_shown(fault_document(checks=checks), machine_document(), LOOK)
    assert shown.verdict.first_check is not None
    assert shown.verdict.first_check.title == "A."
    assert [one.title for one in shown.checks] == ["C.", "Blow the cooler out from the clean side."]
    assert shown.checks[0].not_possible == "Dark."


@pytest.mark.parametrize(
    ("told", "shown"),
    [
        ("above 105 °C", "Stop above 105 °C."),
        ("Below 100 kPa", "Stop below 100 kPa."),
        ("the first smoke", "Stop at the first smoke."),
    ],
)
def test_when_to_stop_is_a_sentence(told: str, shown: str) -> None:
    advice = {**(reasoned_fault()["advice"] or {}), "watch": {"words": "it", "stop_at": told}}
    assert fault_verdict(fault(advice=advice), LOOK).stop_at == shown


def test_a_fault_tells_its_odds_its_setting_and_its_repair() -> None:
    shown = fault_shown(fault_document(), machine_document(repairs=[repair()]), LOOK)
    assert [(one.odds, one.percent) for one in shown.suspects] == [("about 4 in 5", 80)]
    assert shown.suspects[0].before == "70 % before anything was seen"
    fact = shown.suspects[0].evidence[0]
    assert fact.words.startswith("19 K above")
    assert (fact.speaks, fact.source) == ("clearly for it (+7 dB)", "from memory")
    assert fact.reason == "Air that is cooled less comes out hotter."
    assert fact.visits == (
        ("v5t8", "Thu 14 May, 06:12"),
        ("v5t9", "2.0 s after the recording began"),
    )
    assert (shown.other, shown.other_percent) == ("about 1 in 5", 20)
    assert shown.setting_figures[0] == "14 of 14 starts, on 5 days"
    assert shown.repairs[0].results == (
        ("too_early", "Too early to say", "Too early: 62 more clean hours."),
    )
    assert ("Still needed", "62.0 engine hours without it") in shown.figures
    assert shown.trend == "It comes as ever."
    assert shown.frozen[0][2][1] == ("Intake manifold temperature", "92 °C", 105)
    american = fault_shown(fault_document(), machine_document(), AMERICAN)
    assert american.frozen[0][2][1][1] == "198 °F"
    assert american.frozen[0][2][2][1] == "no value"


def test_faults_that_follow_stand_under_their_root() -> None:
    root = fault(fault="f1", root=None)
    child = fault(fault="f2", root="f1", text="no power")
    machine = machine_document(faults=[child, root])
    shown = machine_shown(machine, LOOK)
    assert [one.fault for one in shown.now] == ["f1"]
    assert [one.fault for one in shown.now[0].follows] == ["f2"]
    # A root that is not listed with it hides nothing.
    alone = machine_shown(machine_document(faults=[child]), LOOK)
    assert [one.fault for one in alone.now] == ["f2"]


def test_every_fault_of_a_machine_is_on_its_page() -> None:
    states = [(state, stale) for state in get_args(FaultState) for stale in (False, True)]
    faults = [
        fault(fault=f"f{i}", state=state, stale=stale) for i, (state, stale) in enumerate(states)
    ]
    shown = machine_shown(machine_document(faults=faults), LOOK)
    rows = (*shown.now, *shown.before, *shown.memories, *shown.wiped)
    assert sorted(one.fault for one in rows) == sorted(f"f{i}" for i in range(len(states)))


def test_the_yard_is_walked_from_the_worst() -> None:
    kinds = ["keep_working", None, "stop_now", "note_only", "finish_gently"]
    machines = [yard_machine(machine=f"m{i}", advice=kind) for i, kind in enumerate(kinds)]
    groups = yard_groups(yard_document(*machines), LOOK)
    assert [(one.head, [row.machine for row in one.rows]) for one in groups] == [
        ("Leave standing", ["m2"]),
        ("Only gently", ["m4"]),
        ("Not judged yet", ["m1"]),
        ("Can go out", ["m0", "m3"]),
    ]
    never = yard_groups(yard_document(yard_machine(last_visit=None, last_visit_end=None)), LOOK)
    assert (never[0].rows[0].seen, never[0].rows[0].old) == ("never looked at", True)


@pytest.mark.parametrize(
    ("seconds", "told"),
    [
        (0.3, "0.3 s"), (45, "45 s"), (60, "1 min"), (214, "3 min 34 s"), (7500, "2 h 5 min"),
        (3600 * 47, "47 h"), (3600 * 50, "2 days 2 h"),
    ],
)  # fmt: skip
def test_lengths_of_time_are_told_in_two_units(seconds: float, told: str) -> None:
    assert phrases.span(seconds) == told


@given(st.floats(0, 1e9))
def test_no_length_of_time_is_told_in_sixties(seconds: float) -> None:
    told = phrases.span(seconds)
    assert "60 " not in f" {told}".replace(",", "").split("days")[-1] or seconds >= 3600 * 48


@given(st.floats(0, 1))
def test_odds_are_near_what_they_say(probability: float) -> None:
    told = phrases.odds(probability)
    if told.startswith("about"):
        of, all_ = told.removeprefix("about ").split(" in ")
        assert abs(int(of) / int(all_) - probability) < 0.08
    else:
        assert (told == "hardly") == (probability < 0.5)


def test_times_are_those_of_the_zone_and_days_stay_days() -> None:
    east = Look(now=datetime(2026, 5, 20, 1, 0, tzinfo=timezone(timedelta(hours=10))))
    assert phrases.when("2026-05-19T20:30:00.000000Z", east) == "Wed 20 May, 06:30"
    assert phrases.when("2026-05-19T00:00:00.000000Z", east) == "Tue 19 May"
    assert phrases.when("2025-05-19T20:30:00.000000Z", LOOK) == "19 May 2025, 20:30"
    assert phrases.when(None, LOOK, 90.0) == "1 min 30 s after the recording began"
    assert phrases.when(None, LOOK) == "time not known"
    assert phrases.when("-0400-01-01T00:00:00.000000Z", LOOK).startswith("-0400")


@pytest.mark.parametrize(
    ("days", "told", "old"),
    [
        (0, "today", False), (1, "yesterday", False), (14, "14 days ago", False),
        (15, "15 days ago", True), (30, "4 weeks ago", True), (300, "10 months ago", True),
        (800, "2 years ago", True), (-1, "by its own time in the future", False),
    ],
)  # fmt: skip
def test_how_long_ago_is_told_and_doubted(days: int, told: str, old: bool) -> None:
    time = (LOOK.now - timedelta(days=days)).strftime("%Y-%m-%dT%H:%M:%S.%fZ")
    assert phrases.ago(time, LOOK) == told
    assert phrases.old(time, LOOK) is old
    assert phrases.old(None, LOOK)


def test_hints_for_the_command_line_stay_off_the_page() -> None:
    said = "No date is known for this recording; say when it began with --start."
    assert phrases.for_page(said) == "No date is known for this recording."
    assert phrases.for_page("Choose another with --port.") == "That was not understood."
    assert phrases.for_page("Two machines: a and b.") == "Two machines: a and b."


@given(st.dictionaries(st.text(max_size=20), st.text(max_size=200), max_size=4))
def test_no_cookie_breaks_the_look(cookies: dict[str, str]) -> None:
    look = look_of({**cookies, "shearbolt_name": "".join(cookies.values())}, LOOK.now)
    assert len(look.name) <= 60
    assert look.name.isprintable()


def test_spells_say_when_how_long_and_how_they_ended() -> None:
    spells = [spell(visit=f"v{i}", ended_by=how) for i, how in enumerate(get_args(EndedBy))]
    shown = fault_shown(fault_document(spells=spells * 2), machine_document(), LOOK)
    assert len(shown.spells) + len(shown.older_spells) == 2 * len(spells)
    assert shown.spells[0] == ("Thu 14 May, 06:20, for 1 min 1 s", words.ENDED["unknown"], "v4")
