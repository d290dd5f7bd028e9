"""What lies ahead: forecasts, do it or call, service, the work list, words that decay."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.made_cases import (
    AMBER,
    DAY_US,
    RED,
    fault,
    machine,
    spell,
    symptom,
    told,
    visit,
)

from shearbolt.dictionary.fault_scales import scale_of_code, scale_of_symptom
from shearbolt.reasoning.advice import Now
from shearbolt.reasoning.follow_up import (
    Figures,
    Job,
    ServicePlan,
    ShopJob,
    StopHistory,
    courses,
    forecast,
    freshness,
    hours_per_day,
    not_offered,
    service_due,
    stop_history,
    words_of_service,
    work_list,
)
from shearbolt.reasoning.follow_up.courses import in_order
from shearbolt.reasoning.follow_up.forecast import interval_of

# Forecasts


def test_a_machine_seen_for_long_is_judged_by_itself() -> None:
    own = StopHistory("a", "tractor", 40, 2000.0)
    others = [StopHistory(f"o{i}", "tractor", 1, 2000.0) for i in range(3)]
    found = forecast(own, 20.0, others)
    assert found.chance == pytest.approx(math.exp(-20 * 40 / 2000), abs=0.03)
    assert found.low < found.chance < found.high
    assert found.base_rate > found.chance + 0.15
    assert found.siblings == 3
    assert interval_of(found).level == 0.9


def test_a_machine_seen_for_little_is_judged_by_its_kind() -> None:
    new = StopHistory("a", "baler", 0, 2.0)
    bad = [StopHistory(f"b{i}", "baler", 30, 600.0) for i in range(4)]
    good = [StopHistory(f"t{i}", "tractor", 1, 1500.0) for i in range(4)]
    among_balers = forecast(new, 20.0, [*bad, *good])
    among_tractors = forecast(replace(new, kind="tractor"), 20.0, [*bad, *good])
    assert among_balers.chance == pytest.approx(math.exp(-20 * 30 / 600), abs=0.12)
    assert among_tractors.chance > 0.9
    unknown = forecast(replace(new, kind=None), 20.0, [*bad, *good])
    assert among_balers.chance < unknown.chance < among_tractors.chance
    # Nobody knows it as well as a machine that has been seen.
    seen = forecast(StopHistory("a", "baler", 100, 2000.0), 20.0, [*bad, *good])
    assert among_balers.high - among_balers.low > seen.high - seen.low


@settings(max_examples=25)
@given(
    stops=st.integers(0, 60),
    hours=st.floats(1.0, 3000.0),
    ahead=st.floats(0.1, 200.0),
    others=st.lists(
        st.tuples(st.integers(0, 20), st.floats(1.0, 2000.0), st.sampled_from("xy")), max_size=5
    ),
)
def test_forecasts_are_chances(
    stops: int, hours: float, ahead: float, others: list[tuple[int, float, str]]
) -> None:
    siblings = [StopHistory(f"o{i}", kind, k, h) for i, (k, h, kind) in enumerate(others)]
    own = StopHistory("a", "x", stops, hours)
    found = forecast(own, ahead, siblings)
    assert 0.0 <= found.low <= found.high <= 1.0
    assert 0.0 < found.chance <= 1.0
    assert forecast(own, ahead * 2.0, siblings).chance <= found.chance + 1e-12
    assert forecast(own, 0.0, siblings).chance == pytest.approx(1.0)
    more = replace(own, stops=own.stops + 3)
    assert forecast(more, ahead, siblings).chance <= found.chance + 1e-9


def test_forecasts_are_calibrated_on_made_yards() -> None:
    """Machines vary within their kind, kinds within the yard; outcomes are drawn anew."""
    rng = np.random.default_rng(21)
    said: list[float] = []
    came: list[bool] = []
    base: list[float] = []
    inside = 0
    for _ in range(40):
        kinds = np.exp(rng.normal(math.log(1 / 60), 0.8, 3))
        yard, truth = [], []
        for i in range(9):
            rate = float(rng.gamma(3.0, kinds[i % 3] / 3.0))
            hours = float(rng.uniform(10.0, 400.0))
            yard.append(StopHistory(f"m{i}", f"k{i % 3}", int(rng.poisson(rate * hours)), hours))
            truth.append(rate)
        for own, rate in list(zip(yard, truth, strict=True))[:3]:
            found = forecast(own, 25.0, yard)
            chance = math.exp(-25.0 * rate)
            said.append(found.chance)
            base.append(found.base_rate)
            inside += found.low <= chance <= found.high
            came.append(bool(rng.random() < chance))
    p, q, y = np.array(said), np.array(base), np.array(came)
    assert float(p.mean()) == pytest.approx(float(y.mean()), abs=0.08)
    for low, high in ((0.0, 0.6), (0.6, 0.8), (0.8, 1.0)):
        some = (p >= low) & (p < high)
        spread = 3.0 * math.sqrt(0.25 / some.sum())
        assert float(p[some].mean()) == pytest.approx(float(y[some].mean()), abs=spread)
    # Sharper than the base rate, by Brier's score (Monthly Weather Review 1950).
    assert float(np.mean((p - y) ** 2)) < float(np.mean((q - y) ** 2))
    assert inside / len(said) > 0.82


def test_stops_of_a_case() -> None:
    hot, note, lamp = fault("hot", 110, 0), fault("n", 96, 18), fault("l", 4000, 31)
    word = symptom("s", "won't start")
    visits = [
        visit(0, told(hot, spell(100, 200), spell(300, 320)), told(note, spell(5, 9), shown=AMBER)),
        visit(2, told(lamp, spell(50, 90), shown=RED)),
        visit(4, told(word, sources=("hand",)), kind="by_hand"),
        visit(8),
    ]
    case = machine(visits, [hot, note, lamp, word])
    found = stop_history(case, "tractor")
    # Two spells within an hour are one stop; a lamp lit for all is not surely this one's.
    assert (found.stops, found.hours) == (2.0, 41.0)
    assert stop_history(case, "tractor", not_cured={"hot": 0.25}).stops == 1.25


def test_looking_back_is_refused() -> None:
    with pytest.raises(ValueError, match="ahead"):
        forecast(StopHistory("a", None, 0, 10.0), -1.0)


# Do it yourself or call

FIGURES = Figures(
    call_out=80.0, hourly_rate=90.0, distance_km=30.0, per_km=1.0, own_hour=30.0,
    standstill_hour=50.0, wait_h=4.0,
)  # fmt: skip
BOOST = fault("f", 102, 18)
JOBS = (Job("real_condition", 0.6, 1.0, 40.0), Job("sensor", 0.2, 0.5, 70.0, 0.9, 2.0))


def test_expected_costs_by_hand() -> None:
    found = courses(BOOST, machine([visit()], [BOOST]), JOBS, FIGURES, called_h=2.0)
    assert found.offered
    by_name = {one.course: one for one in found.costs}
    call = 80 + 2 * 30 * 1.0 + 2 * 90 + (0.6 * 40 + 0.2 * 70) + 6 * 50
    assert by_name["call"].expected == pytest.approx(call)
    first = 1.0 * 30 + 40 + 1.0 * 50
    second = 0.5 * 30 + 70 + 2.5 * 50
    mine = first + 0.4 * second + (0.4 - 0.18) * call
    assert by_name["yourself"].expected == pytest.approx(mine)
    assert by_name["yourself"].order == ("real_condition", "sensor")
    assert by_name["yourself"].chance_without_call == pytest.approx(0.78)
    assert by_name["yourself"].worst == pytest.approx(first + second + call)
    one = by_name["first_job_then_call"]
    assert one.expected == pytest.approx(first + 0.4 * call)
    assert [c.expected for c in found.costs] == sorted(c.expected for c in found.costs)
    assert found.odds == (("real_condition", 0.6), ("sensor", 0.2))
    assert found.break_even_probability == pytest.approx(first / call)


def test_at_the_break_even_both_cost_the_same() -> None:
    case = machine([visit()], [BOOST])
    slow = (Job("real_condition", 0.7, 6.0, 40.0),)
    found = courses(BOOST, case, slow, FIGURES, called_h=2.0)
    even = found.break_even_standstill
    assert even is not None
    there = courses(BOOST, case, slow, replace(FIGURES, standstill_hour=even), called_h=2.0)
    costs = {one.course: one.expected for one in there.costs}
    assert costs["call"] == pytest.approx(costs["yourself"])
    p = found.break_even_probability
    if p is not None:
        at = courses(
            BOOST,
            case,
            (replace(slow[0], probability=p),),
            FIGURES,
            called_h=2.0,
            called_parts=28.0,
        )
        both = {one.course: one.expected for one in at.costs}
        assert both["call"] == pytest.approx(both["yourself"])


def test_order_of_checks_of_the_reference() -> None:
    """Reference sheet section 7.9 (Kadane and Simon 1977): C-B-A costs 43.0 minutes, the least."""
    minutes = Figures(0, 0, 0, 0, 60.0, 0, 0)
    jobs = [
        Job("A", 0.5, 60 / 60, 0.0), Job("B", 0.3, 10 / 60, 0.0), Job("C", 0.2, 5 / 60, 0.0)
    ]  # fmt: skip
    assert [one.cause for one in in_order(jobs, minutes)] == ["C", "B", "A"]
    found = courses(BOOST, machine([visit()], [BOOST]), jobs, minutes, called_h=0.0)
    mine = next(one for one in found.costs if one.course == "yourself")
    assert mine.expected == pytest.approx(43.0)


@pytest.mark.parametrize(
    ("spn", "fmi", "why"),
    [
        (157, 18, "rail_pressure"),
        (985, 31, "air_conditioning"),
        (1087, 1, "brakes"),
        (1807, 2, "steering"),
        (1873, 2, "lifting_gear"),
        (1856, 2, "safety_function"),
    ],
)
def test_never_against_safety_or_licensed_practice(spn: int, fmi: int, why: str) -> None:
    code = fault("f", spn, fmi)
    case = machine([visit()], [code])
    found = courses(code, case, JOBS, FIGURES, called_h=2.0)
    assert (found.offered, found.not_offered_because, found.costs) == (False, why, ())
    assert found.break_even_probability is None


@pytest.mark.parametrize(
    ("words", "why"),
    [
        ("brakes pull to the left", "brakes"),
        ("air con blows warm", "air_conditioning"),
        ("accumulator on the loader soft", "accumulator"),
        ("orange cables under the floor chafed", "high_voltage"),
        ("lift sinks by itself", "lifting_gear"),
        ("flames under the bonnet", "fire"),
    ],
)
def test_nor_by_what_a_person_wrote(words: str, why: str) -> None:
    said = symptom("s", words)
    assert not_offered(said, machine([visit()], [said])) == why


def test_plain_faults_are_offered() -> None:
    for code in (fault("f", 100, 4), fault("f", 107, 0), fault("f", 96, 18)):
        assert not_offered(code, machine([visit()], [code])) is None
    said = symptom("s", "lift pump noisy")
    assert not_offered(said, machine([visit()], [said])) is None


def test_odds_beyond_one_are_refused() -> None:
    with pytest.raises(ValueError, match="more than 1"):
        courses(BOOST, machine([visit()], [BOOST]), (*JOBS, JOBS[0]), FIGURES, called_h=1.0)


# Service


def plan(name: str, every_h: float | None, every_days: float | None, last_h: float) -> ServicePlan:
    return ServicePlan(name, name, every_h, every_days, last_h, 0)


def test_service_by_hours_and_by_date() -> None:
    now = Now(100 * DAY_US, 700.0)
    plans = [
        plan("later", 500.0, 365.0, 600.0),
        plan("by_hours", 250.0, 365.0, 440.0),
        plan("by_date", 500.0, 90.0, 690.0),
        plan("soon", 250.0, None, 470.0),
        ServicePlan("none", "none", 250.0, None, None, None),
    ]
    found = service_due(plans, now, window_h=30.0, window_days=3.0, per_day_h=8.0)
    assert [(one.plan, one.due) for one in found] == [
        ("by_date", "overdue"),
        ("by_hours", "overdue"),
        ("soon", "before_window_ends"),
        ("later", "later"),
        ("none", "not_known"),
    ]
    by = {one.plan: one for one in found}
    assert (by["by_hours"].left_h, by["by_hours"].why) == (-10.0, "hours")
    assert (by["by_date"].left_days, by["by_date"].why) == (-10.0, "date")
    assert by["soon"].left_h == 20.0
    assert by["soon"].expected_us == 100 * DAY_US + round(2.5 * DAY_US)
    assert words_of_service(by["soon"])[0] == "service.before_window_ends"


def test_hours_a_day() -> None:
    visits = [visit(i, hours_start=100.0 + 4.0 * i, hours_end=101.0 + 4.0 * i) for i in (0, 5, 10)]
    assert hours_per_day(machine(visits, [])) == pytest.approx(4.0)
    assert hours_per_day(machine(visits[:1], [])) is None


# Words that decay


@pytest.mark.parametrize(
    ("days", "hours", "old"),
    [(1, 5.0, False), (13.9, 19.9, False), (14.5, 1.0, True), (1, 20.5, True)],
)
def test_not_looked_at_since(days: float, hours: float, old: bool) -> None:
    seen = visit(3)
    end_us = 3 * DAY_US + seen.latest_us
    now = Now(end_us + round(days * DAY_US), (seen.hours_end or 0.0) + hours)
    found = freshness(machine([seen], []), now)
    assert found.not_looked_at_since is old
    assert (found.hours, found.days) == pytest.approx((hours, days))


def test_a_note_is_no_look() -> None:
    noted = visit(30, kind="by_hand")
    now = Now(30 * DAY_US, 251.0)
    assert freshness(machine([visit(3), noted], []), now).not_looked_at_since
    assert freshness(machine([noted], []), now).not_looked_at_since
    assert freshness(machine([visit(3)], []), Now(None, None)).not_looked_at_since


# The work list


def shop(name: str, minutes: float, rate: float, **more: float | bool) -> ShopJob:
    return ShopJob(
        name, "m", "fault", minutes, float(more.get("parts", 0.0)), rate,
        float(more.get("cures", 0.9)), 3.0, bool(more.get("safety", False)),
    )  # fmt: skip


def test_work_list_by_what_each_job_buys() -> None:
    jobs = [
        shop("long", 300.0, 0.02),
        shop("short", 20.0, 0.02),
        shop("dear", 20.0, 0.02, parts=900.0),
        shop("brake", 240.0, 0.001, safety=True),
        shop("vain", 20.0, 0.02, cures=0.05),
    ]
    found = work_list(jobs, 40.0, standstill_hour=60.0, shop_hour=30.0, time_h=5.1)
    assert [one.job.job for one in found] == ["brake", "short", "long", "vain", "dear"]
    assert [one.fits for one in found] == [True, True, False, True, True]
    short = found[1]
    assert short.chance_before == pytest.approx(1 - math.exp(-0.8))
    assert short.risk_taken == pytest.approx(0.9 * (1 - math.exp(-0.8)))
    assert short.hours_saved == pytest.approx(0.9 * 0.8 * 3.0)
    assert short.value == pytest.approx(short.hours_saved * 60.0 - 10.0)
    with pytest.raises(ValueError, match="negative"):
        work_list(jobs, -1.0, standstill_hour=1.0, shop_hour=1.0)


def test_scales_of_kinds() -> None:
    assert scale_of_code(1675, 31) == "starts"
    assert scale_of_code(110, 0) is None
    assert scale_of_symptom("won't start") == "starts"
    assert scale_of_symptom("weak lift") is None
