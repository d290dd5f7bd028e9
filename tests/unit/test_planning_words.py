"""Words of what lies ahead: no number that is not there, and no room overrun."""

from __future__ import annotations

import math
from datetime import UTC

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.made_cases import fault, machine, told, visit
from tests.made_cases import spell as made_spell
from tests.made_faults import reasoned_fault

from shearbolt.app.composing.handover_words import day, handover_sheet, weight_words
from shearbolt.app.composing.planning_words import (
    CAUSE_WORK,
    WHY_NOT,
    courses_words,
    forecast_words,
    hours_text,
    service_words,
    share_text,
    short,
)
from shearbolt.app.owner_costs import NEEDED, OwnerCosts, as_kept, changed
from shearbolt.app.planned import not_cured, plan_of
from shearbolt.app.use_cases.planning import OPTIONS
from shearbolt.book.work_records import ServiceDone, ServiceJob
from shearbolt.dictionary.cause_priors import CAUSES
from shearbolt.errors import UsageError
from shearbolt.model.instants import HOUR_US
from shearbolt.reasoning.advice import Now
from shearbolt.reasoning.follow_up import (
    Figures,
    Job,
    ServicePlan,
    StopHistory,
    courses,
    forecast,
    service_due,
    stop_history,
)
from shearbolt.reasoning.follow_up.courses import LICENSED_SPNS

DAY_US = 24 * HOUR_US
NOW = Now(1000 * DAY_US, 500.0)


@pytest.mark.parametrize(
    ("value", "words"),
    [(0.0, "0 %"), (0.004, "under 1 %"), (0.82, "82 %"), (0.997, "over 99 %"), (1.0, "100 %")],
)
def test_a_chance_is_never_rounded_to_certainty(value: float, words: str) -> None:
    assert share_text(value) == words


def test_hours_read_as_people_write_them() -> None:
    assert [hours_text(one) for one in (0.5, 2.0, 12.4, 1234.0)] == [
        "0.5 h", "2 h", "12 h", "1,234 h",
    ]  # fmt: skip


@given(st.text(max_size=120), st.integers(4, 60))
def test_a_shortened_text_keeps_to_its_room_and_says_so(text: str, room: int) -> None:
    found = short(text, room)
    whole = " ".join(text.split())
    assert len(found) <= room
    assert found == whole if len(whole) <= room else found.endswith("…")


def test_every_cause_and_every_reason_has_words() -> None:
    assert set(CAUSE_WORK) == set(CAUSES)
    assert {why for why, _ in LICENSED_SPNS} <= set(WHY_NOT)
    assert set(OPTIONS) == set(NEEDED)


@pytest.mark.parametrize(
    ("last_h", "last_days_ago", "words"),
    [
        # The meter stands at 500 h, and it is due every 500 h or 365 days.
        (470.0, None, "Due in 470 h."),
        (10.0, None, "Due in 10 h, before the window ends."),
        (-50.0, None, "Overdue by 50 h."),
        (470.0, 400.0, "Overdue by 35 days."),
        (470.0, 364.0, "Due in 1 day."),
        (None, None, "Nobody wrote down when it was last done, so when it is due is not known."),
    ],
)
def test_service_in_words(last_h: float | None, last_days_ago: float | None, words: str) -> None:
    last_us = None if last_days_ago is None else round((1000 - last_days_ago) * DAY_US)
    plan = ServicePlan("j", "oil", 500.0, 365.0, last_h, last_us)
    (due,) = service_due([plan], NOW, window_h=15.0)
    assert service_words(due) == words


def test_hours_come_first_though_nobody_knows_how_much_is_worked_a_day() -> None:
    plan = ServicePlan("j", "oil", 500.0, 365.0, 20.0, 990 * DAY_US)
    (due,) = service_due([plan], NOW, window_h=40.0)
    assert (due.due, due.why) == ("before_window_ends", "hours")
    assert service_words(due) == "Due in 20 h, before the window ends."


def test_the_latest_of_all_times_counts() -> None:
    job = ServiceJob("j", "m", "oil", 500.0, None, None, False, 0)
    done = [
        ServiceDone("s1", "j", 900.0, 5, False, None, False, 1),
        ServiceDone("s2", "j", None, 9, False, None, False, 2),
        ServiceDone("s3", "j", 400.0, None, False, None, False, 3),
    ]
    plan = plan_of(job, done)
    assert (plan.last_h, plan.last_us) == (900.0, 9)
    assert plan_of(job, ()).last_h is None


def test_a_forecast_says_what_it_rests_on() -> None:
    own = StopHistory("a", "machine", 1.0, 400.0)
    said = forecast_words(forecast(own, 40.0, [StopHistory("b", "machine", 3.0, 500.0)]), ["hot"])
    text = " ".join(said)
    assert "1 stop in 400 h" in text
    assert "this book knows about" in text
    assert "1 other machine of its kind" in text
    assert "hot." in text
    unseen = " ".join(forecast_words(forecast(StopHistory("a", None, 0.0, 0.0), 40.0), []))
    assert "no engine hours" in unseen


def test_stops_before_a_cure_count_less() -> None:
    hot = fault("hot", 110, 0)
    case = machine([visit(0, told(hot, made_spell(100, 200))), visit(8)], [hot])
    assert stop_history(case, None, not_cured={"hot": not_cured(())}).stops == 1.0


def test_courses_say_where_they_break_even() -> None:
    boost = fault("f", 102, 18)
    figures = Figures(80.0, 90.0, 30.0, 1.0, 30.0, 50.0, 4.0)
    found = courses(
        boost, machine([visit()], [boost]), (Job("sensor", 0.6, 1.0, 40.0),), figures, called_h=2.0
    )
    text = " ".join(courses_words(found, "EUR"))
    even = found.break_even_probability
    assert even is not None
    assert share_text(even) in text
    brake = fault("b", 1087, 1)
    none = courses(brake, machine([visit()], [brake]), (), figures, called_h=2.0)
    assert "no matter of money" in courses_words(none, "EUR")[0]


def test_owner_costs_change_one_by_one() -> None:
    one = changed(OwnerCosts(), {"call_out": 80.0, "per_km": None})
    assert as_kept(one) == {"call_out": 80.0}
    assert one.figures() is None
    for bad in (-1.0, math.nan, math.inf):
        with pytest.raises(UsageError, match="--call-out"):
            changed(one, {"call_out": bad})
    full = changed(one, dict.fromkeys(NEEDED, 1.0))
    assert full.figures() == Figures(*[1.0] * 7)


def test_a_weight_of_evidence_is_told_as_odds() -> None:
    # 10 decibans are ten times the odds (Good 1950).
    assert weight_words(10.0) == "for it, 10 times the odds"
    assert weight_words(-3.0103).startswith("against it, 2 times")


def test_a_day_is_that_day_wherever_it_is_read() -> None:
    assert day("2026-05-14T00:00:00.000000Z", UTC) == "14 May 2026"
    assert day(None) == "date not known"


def test_the_sheet_tells_what_the_fault_tells() -> None:
    from tests.made_documents import machine_document, tells_document

    sheet = handover_sheet(
        reasoned_fault(), machine_document(), tells_document(), [], [], 0, zone=UTC
    )
    assert sheet["title"]
    assert any("SPN 105 FMI 16" in one for one in sheet["facts"])
    assert sheet["suspects"]
    assert sheet["done"] == []
