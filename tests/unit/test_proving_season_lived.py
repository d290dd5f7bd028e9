"""Seasons that are lived: calendars, unrecorded hours, blame, counts, notes, truth, cases."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from functools import cache
from itertools import pairwise
from typing import get_args

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from shearbolt.model.fault import COUNT_FULL
from shearbolt.model.instants import from_iso
from shearbolt.model.signal import NUMBER
from shearbolt.proving import GROUPS, CaseData, Season, as_json, case, demo_group, dumped, season
from shearbolt.proving.calendar import CAMPAIGNS, FIRST_CUT, LAST_BEET, calendar
from shearbolt.proving.cases import look_heard, some_shifts
from shearbolt.proving.causes import CATALOGUE, REPAIRS, Active, Course, cause, repair
from shearbolt.proving.chance_plans import drawn_causes, looks_over, trouble_of
from shearbolt.proving.cycle import live_through
from shearbolt.proving.faults import count_kept, count_sent
from shearbolt.proving.lives import AT_WORK
from shearbolt.proving.looks import FORMATS, format_of, phases_of
from shearbolt.proving.machines import TELEHANDLER, TRUCK, UTILITY_TRACTOR
from shearbolt.proving.memory import Kept, Store
from shearbolt.proving.plans import (
    LookPlan,
    MachinePlan,
    Mending,
    Trouble,
    actives_of,
    another,
    hours_of,
    shift_at,
    time_at,
)
from shearbolt.proving.season_truth import settings_of
from shearbolt.proving.shifts import ROUNDS, USUAL
from shearbolt.proving.truth import Cause as CauseClass
from shearbolt.proving.truth import CountSteps
from shearbolt.proving.unrecorded import CameOn, Rate, counted, draw
from shearbolt.proving.weather import weather_at
from shearbolt.proving.yard import live_season, play_look, with_brought

UTILITY, LOADER = 7, 6
"""Groups of the demo that take least time to live."""


@cache
def lived(number: int) -> Season:
    return demo_group(number)


# The calendar


@pytest.mark.parametrize("machine", sorted(CAMPAIGNS))
def test_a_year_of_work_from_first_cut_to_last_beet(machine: str) -> None:
    shifts = calendar(machine, 3)
    assert {one.kind for one in shifts} <= set(USUAL[machine])
    first, last = shifts[0].start, shifts[-1].end
    if machine != "utility_tractor":
        assert (first.month, first.day) >= FIRST_CUT
    assert (last.month, last.day) <= (LAST_BEET[0], LAST_BEET[1] + 1)
    assert 150.0 < shifts[-1].before_h + shifts[-1].hours < 1200.0
    done = 0.0
    for one in shifts:
        assert one.before_h == pytest.approx(done)
        assert one.kind in ROUNDS
        done += one.hours
    for one, other in pairwise(shifts):
        assert other.rest_h * 3600.0 == pytest.approx((other.start - one.end).total_seconds())
        assert other.rest_h > 0.05


def test_nobody_mows_in_the_rain_nor_on_sundays() -> None:
    for seed in range(3):
        for one in calendar("big_tractor", seed, weather=seed):
            assert one.start.weekday() != 6
            if one.kind == "mowing":
                noon = one.start.replace(hour=12, minute=0, second=0)
                assert weather_at(noon, seed).rain_mm <= 3.0


def test_the_same_seed_the_same_year() -> None:
    assert calendar("truck", 5) == calendar("truck", 5)
    assert calendar("truck", 5) != calendar("truck", 6)
    assert {one.kind for one in calendar("forager", 1)} == {"chopping"}
    with pytest.raises(KeyError):
        calendar("loader_wagon")


@given(st.floats(0.0, 700.0))
def test_hours_and_moments_go_together(hours: float) -> None:
    shifts = calendar("telehandler", 2)
    whole = shifts[-1].before_h + shifts[-1].hours
    hours = min(hours, whole)
    one, into = shift_at(shifts, hours)
    assert one.before_h + into == pytest.approx(hours)
    moment = time_at(shifts, hours)
    assert one.start <= moment <= one.end + timedelta(seconds=1)
    assert hours_of(shifts, hours) == hours


def test_a_date_between_shifts_is_the_end_of_the_last() -> None:
    shifts = calendar("truck", 2)
    one, other = next((a, b) for a, b in pairwise(shifts) if a.start.date() != b.start.date())
    assert hours_of(shifts, f"{other.start:%m-%d} 0") == pytest.approx(one.before_h + one.hours)
    assert hours_of(shifts, f"{other.start:%m-%d}") == pytest.approx(other.before_h)
    assert hours_of(shifts, "01-01") == 0.0
    with pytest.raises(ValueError, match="month"):
        hours_of(shifts, "13-01")


# Counts


@given(
    st.sampled_from(get_args(CountSteps)), st.integers(0, COUNT_FULL), st.integers(1, 400),
    st.integers(0, 400),
)  # fmt: skip
def test_counts_never_fall_and_stop_at_126(
    steps: CountSteps, before: int, started: int, healed: int
) -> None:
    sent = count_sent(steps, before, started)
    kept = count_kept(steps, before, started, min(started, healed))
    assert before <= sent <= COUNT_FULL
    assert before <= kept <= COUNT_FULL
    if steps == "never":
        assert sent == kept == before


def _rate(a_start: float, an_hour: float) -> Rate:
    outing = lived(UTILITY).looks[1].outing
    assert outing is not None
    fault = live_through(outing, 1).faults[0]
    return Rate(fault, "utility_tractor", a_start, an_hour, 10.0)


def test_what_comes_once_a_start_comes_with_every_start() -> None:
    rng = np.random.default_rng(1)
    (came,) = draw((_rate(1.0, 0.0),), 50.0, 18, rng)
    assert (came.times, came.cycles) == (18, 18)
    assert draw((_rate(0.0, 0.0),), 50.0, 18, rng) == ()


def test_hourly_codes_come_by_the_hour() -> None:
    rng = np.random.default_rng(2)
    rate = _rate(0.0, 0.4)
    drawn = [draw((rate,), 50.0, 18, rng) for _ in range(300)]
    times = [few[0].times if few else 0 for few in drawn]
    assert np.mean(times) == pytest.approx(20.0, abs=0.9)
    assert all(one.cycles <= min(18, one.times) for few in drawn for one in few)


def test_each_manner_counts_in_its_own_way() -> None:
    came = CameOn(_rate(0.5, 1.0), 9, 4)
    assert [counted(one, came) for one in ("onset", "end", "key_cycle", "never")] == [9, 9, 4, 0]


# A machine's season


def plan(**changes: object) -> MachinePlan:
    base = MachinePlan(
        TELEHANDLER,
        3000.0,
        troubles=(Trouble("wiring.chafed_steering.191", 20.0, 10.0, 0.3),),
        mendings=(
            Mending(60.0, ("new_sensor",), "New output speed sensor", ((191, 2),)),
            Mending(90.0, ("mend_wire",), "Wire mended", ((191, 2),), cleared=True),
        ),
        looks=(LookPlan(40.0, "work", 90), LookPlan(75.0, "work", 90, tester=True),
               LookPlan(110.0, "start", 90, tester=True)),
        writes=1.0,
    )  # fmt: skip
    return replace(base, **changes)  # type: ignore[arg-type]


@cache
def telehandler() -> Season:
    shifts = some_shifts("telehandler", 4, 125.0)
    return live_season((plan(),), 4, shifts={"the telehandler": shifts})


def test_a_cause_shows_between_its_onset_and_its_cure() -> None:
    (machine,) = telehandler().truth.machines
    (true,) = (one for one in machine.faults if (one.spn, one.fmi) == (191, 2))
    assert true.cause == "wiring.chafed_steering.191"
    assert true.cause_class == "wiring"
    assert all(one.to_hours > 3019.0 for one in true.counts)
    assert all(one.from_hours < 3091.0 for one in true.counts)
    assert {one.recorded for one in true.counts} == {True, False}
    assert true.times == sum(one.times for one in true.counts)
    counts = [one.count_after for one in true.counts]
    assert counts == sorted(counts)


def test_repairs_are_told_with_what_they_did() -> None:
    (machine,) = telehandler().truth.machines
    (true,) = machine.causes
    assert [(one.repair, one.outcome) for one in true.repairs] == [
        ("new_sensor", "not"), ("mend_wire", "cured"),
    ]  # fmt: skip
    assert true.left_at_end < AT_WORK
    assert [one.spn for one in true.settings] != []
    written = telehandler().repairs
    assert [one.text for one in written] == ["New output speed sensor", "Wire mended"]
    assert [one.hours for one in written] == [3060.0, 3090.0]


def test_codes_cleared_are_gone_at_the_next_look() -> None:
    recordings = [play_look(one) for one in telehandler().looks]
    held = [{(f.spn, f.fmi): f for f in one.truth.faults if f.told_in} for one in recordings]
    assert (191, 2) in held[1]
    assert (191, 2) not in held[2]
    # Old memories of the engine went with the clear.
    assert not any(one.stale for one in held[2].values())


def test_counts_go_on_from_look_to_look() -> None:
    kept: dict[tuple[str, str, int | None, int | None], int] = {}
    for look in lived(UTILITY).looks:
        for fault in play_look(look).truth.faults:
            if fault.count_before is None or fault.count_after is None:
                continue
            key = (fault.machine, fault.controller, fault.spn, fault.fmi)
            assert fault.count_before >= kept.get(key, 0), (look.file_name, key)
            assert fault.count_after >= fault.count_before
            kept[key] = fault.count_after
    assert max(kept.values()) > 1


def test_hours_go_on_from_look_to_look() -> None:
    ended = 0.0
    for look in lived(LOADER).looks:
        (machine,) = play_look(look).truth.machines
        assert machine.hours_start is not None
        assert machine.hours_end is not None
        assert ended < machine.hours_start < machine.hours_end
        ended = machine.hours_end


def test_a_night_leaves_machines_cold_and_work_leaves_them_warm() -> None:
    for look in (*lived(UTILITY).looks, *lived(LOADER).looks):
        assert look.outing is not None
        day = look.outing.day
        assert day.coolant_c is not None
        if look.part == "start":
            assert day.coolant_c < day.ambient_c + 45.0
        elif look.machine == "the clamp loader":
            assert day.coolant_c > 60.0


def test_what_is_played_is_what_was_lived() -> None:
    look = lived(UTILITY).looks[1]
    assert look.outing is not None
    played = play_look(look)
    cycle = live_through(look.outing, look.seed)
    told = {(f.spn, f.fmi) for f in played.truth.faults if "dm1" in f.told_in}
    assert told == {
        (cycle.faults[i].spn, cycle.faults[i].fmi) for i, one in cycle.found.items() if one.held
    }
    again = play_look(look)
    assert again.truth == played.truth
    assert np.array_equal(again.frames.word, played.frames.word)


def test_notes_are_what_a_driver_could_have_seen() -> None:
    (machine,) = telehandler().truth.machines
    shown = {(one.spn, one.fmi) for one in machine.faults}
    notes = [one for one in telehandler().notes if one.kind == "code"]
    assert notes
    for one in notes:
        assert (one.spn, one.fmi) in shown
        assert one.text == f"{one.spn}-{one.fmi}"
        assert one.hours is not None
        assert 3000.0 <= one.hours <= machine.hours_end
        assert one.doing == "loading" or one.doing == "pushing up the clamp"
    assert live_season((plan(writes=0.0),), 4, shifts={
        "the telehandler": some_shifts("telehandler", 4, 125.0)}).notes == ()  # fmt: skip


def test_the_same_seed_gives_the_same_season() -> None:
    shifts = some_shifts("telehandler", 4, 125.0)
    again = live_season((plan(),), 4, shifts={"the telehandler": shifts})
    assert dumped(again.truth) == dumped(telehandler().truth)
    assert again.notes == telehandler().notes
    other = live_season((plan(),), 5, shifts={"the telehandler": shifts})
    assert dumped(other.truth) != dumped(telehandler().truth)


def test_two_causes_are_told_apart_by_living_without_each() -> None:
    both = plan(
        troubles=(
            Trouble("wiring.open.1638", 10.0),
            Trouble("wiring.chafed_steering.191", 5.0, 0.0, 0.3),
        ),
        mendings=(),
        looks=(LookPlan(40.0, "work", 120),),
    )
    shifts = some_shifts("telehandler", 4, 60.0)
    made = live_season((both,), 4, shifts={"the telehandler": shifts})
    behind = {(one.spn, one.fmi): one.cause for one in made.truth.machines[0].faults}
    assert behind[1638, 3] == "wiring.open.1638"
    assert behind[191, 2] == "wiring.chafed_steering.191"
    told = {(f.spn, f.fmi): f for f in play_look(made.looks[0]).truth.faults if f.told_in}
    assert told[1638, 3].words == CATALOGUE["wiring.open.1638"].words
    assert told[1638, 3].cause == "wiring"


def test_a_sound_machine_has_no_cause_behind_its_codes() -> None:
    sound = plan(troubles=(), mendings=(), looks=(LookPlan(30.0, "start", 120),))
    shifts = some_shifts("telehandler", 4, 40.0)
    made = live_season((sound,), 4, shifts={"the telehandler": shifts})
    (machine,) = made.truth.machines
    assert machine.causes == ()
    assert all(one.cause == "" for one in machine.faults)


def test_a_controller_exchanged_starts_with_an_empty_memory() -> None:
    swapped = plan(swaps=((50.0, "transmission", 77_123),), mendings=())
    shifts = some_shifts("telehandler", 4, 125.0)
    made = live_season((swapped,), 4, shifts={"the telehandler": shifts})
    (swap,) = (one for look in made.looks for one in play_look(look).truth.swaps)
    assert swap.controller == "transmission"
    assert swap.new.identity_number == 77_123
    assert swap.old.place == swap.new.place


def test_brought_troubles_are_added_once() -> None:
    base = plan(
        mendings=(Mending(10.0, ("new_sensor",), "New boost sensor", ((102, 18),)),), troubles=()
    )
    more = with_brought(base).troubles
    assert [one.cause for one in more] == ["calibration.wrong_boost_sensor"]
    assert with_brought(with_brought(base)).troubles == more


def test_another_of_its_kind_is_another_machine() -> None:
    other = another(TRUCK, "the old truck", 4, "XCH05TRXCK1900999")
    assert other.key == TRUCK.key
    assert other.vin == "XCH05TRXCK1900999"
    names = {one.name for one in TRUCK.controllers} | {one.name for one in other.controllers}
    assert len(names) == 2 * len(TRUCK.controllers)
    for one, mine in zip(TRUCK.controllers, other.controllers, strict=True):
        assert one.name.place == mine.name.place
    assert b"XCH05TRXCK1900999" in b"".join(other.controller("engine").texts.values())
    assert another(UTILITY_TRACTOR, "x", 4).build != UTILITY_TRACTOR.build


# Looks


@pytest.mark.parametrize("part", ["start", "work", "end"])
@pytest.mark.parametrize("kind", sorted(ROUNDS))
def test_looks_take_their_time_and_their_part(part: str, kind: str) -> None:
    one = LookPlan(1.0, part, 150)  # type: ignore[arg-type]
    phases = phases_of(one, kind, 120.0, np.random.default_rng(3))
    assert abs(sum(each.seconds for each in phases) - 150) <= 25
    assert (phases[0].activity == "key_on") == (part == "start")
    assert (phases[-1].activity == "key_off") == (part == "end")
    assert {each.activity for each in phases} & {each.activity for each in ROUNDS[kind]}


def test_formats_by_their_endings() -> None:
    assert {
        format_of(f"{one}{packed}") for one in FORMATS for packed in ("", ".gz", ".zst")
    } == set(FORMATS.values())
    with pytest.raises(KeyError):
        format_of("xls")


# Truth as data


def test_truth_is_json() -> None:
    text = dumped(lived(LOADER).truth)
    told = json.loads(text)
    (machine,) = told["machines"]
    assert machine["name"] == "the clamp loader"
    assert {one["cause_class"] for one in machine["causes"]} == {"low_voltage", "network"}
    truth = as_json(play_look(lived(LOADER).looks[0]).truth)
    assert json.loads(json.dumps(truth))["machines"][0]["controllers"][0]["name"]
    with pytest.raises(TypeError, match="truth holds no"):
        as_json(object())


def test_settings_that_truly_matter() -> None:
    (steering,) = settings_of(cause("wiring.chafed_steering.191"))
    assert (steering.quantity, steering.op, steering.value) == ("spn", ">", 72.0)
    cold = settings_of(cause("real_condition.hydraulic_oil_cold"))
    assert [(one.spn, one.op) for one in cold] == [(1638, "<")]
    assert settings_of(cause("wiring.open.110")) == ()
    (start,) = settings_of(cause("low_voltage.battery_old"))
    assert start.quantity == "cranking"


def test_every_class_comes_into_the_demo() -> None:
    keys = [one.cause for group in GROUPS for plan in group for one in plan.troubles]
    assert {CATALOGUE[one].cause_class for one in keys} == set(get_args(CauseClass))
    machines = [plan.machine.name for group in GROUPS for plan in group]
    assert len(set(machines)) == len(machines) == 10
    looks = [one for group in GROUPS for plan in group for one in plan.looks]
    notes = [one for group in GROUPS for plan in group for one in plan.happenings]
    assert 70 <= len(looks) <= 110
    assert len(looks) + len(notes) >= 100
    forms = {format_of(one.form) for one in looks}
    assert forms >= {"candump", "asc", "blf", "trc", "csv"}
    packed = {one.form.rpartition(".")[2] for one in looks}
    assert {"gz", "zst"} <= packed
    for group in GROUPS:
        for each in group:
            for key in [one.cause for one in each.troubles]:
                on = {"loader_wagon"} if key.startswith("wiring.implement") else {each.machine.key}
                assert on & set(CATALOGUE[key].machines), key
            for mending in each.mendings:
                assert all(one in REPAIRS for one in mending.repairs)


def test_some_repairs_of_the_demo_cure_and_some_do_not() -> None:
    outcomes = []
    for group in GROUPS:
        for each in group:
            shifts = calendar(each.machine.key, 1)
            for active in actives_of(shifts, each.troubles, each.mendings):
                outcomes += [one.cure(active.cause.key) for at, one in active.repairs
                             if at >= active.course.from_h]  # fmt: skip
    assert sum(one >= 0.85 for one in outcomes) >= 15
    assert sum(one < 0.02 for one in outcomes) >= 10
    assert any(0.02 <= one < 0.85 for one in outcomes)


# Seasons by chance, and cases


@cache
def drift() -> CaseData:
    return case(3, "telehandler", ("sensor.drift.110",), 1.0, 0.04, hours=30.0, look_s=300)


def test_a_case_is_signals_and_faults_without_frames() -> None:
    made = drift()
    recorded = sum(one.look.seconds for one in made.looks) / 3600.0
    assert recorded / made.truth.worked_h == pytest.approx(0.04, abs=0.016)
    assert [one.cause for one in made.truth.causes] == ["sensor.drift.110"]
    for look in made.looks:
        assert look.recording is None
        assert look.hours_start < look.hours_end
        coolant = [one for one in look.signals if one.spn == 110]
        assert len(coolant) == 1
        (one,) = coolant
        numbers = one.value[one.status == NUMBER]
        assert len(numbers)
        assert np.array_equal(numbers, np.rint(numbers))  # 1 K a count (SAE J1939-71)
        assert look.started_us <= one.time_us[0] <= one.time_us[-1] <= look.ended_us


def test_a_case_says_the_same_as_its_frames() -> None:
    made = drift()
    look = look_heard(made.looks[0].look, frames=True)
    assert look.recording is not None
    told = {(f.spn, f.fmi): f for f in look.recording.truth.faults if "dm1" in f.told_in}
    heard = {(f.key.spn, f.key.fmi): f for f in look.faults if "dm1" in f.sources}
    assert set(told) == set(heard)
    for key, true in told.items():
        assert [one.count_start for one in heard[key].spells] == [one.count for one in true.spells]
        starts = [one.start_us for one in heard[key].spells]
        for start, spell in zip(starts, true.spells, strict=True):
            assert abs(start - spell.first_listed_us) < 60_000
    row = next(one for one in look.signals if one.spn == 190)
    frames = look.recording.frames
    rows = (frames.ident & 0x3FFFFFF) == 0xF00400
    raw = frames.word[rows] >> np.uint64(24) & np.uint64(0xFFFF)
    assert np.median(raw.astype(float) * 0.125) == pytest.approx(
        float(np.median(row.value)), rel=0.02
    )


def test_cases_are_the_same_by_their_arguments() -> None:
    again = case(3, "telehandler", ("sensor.drift.110",), 1.0, 0.04, hours=30.0, look_s=300)
    assert dumped(again.truth) == dumped(drift().truth)
    for one, other in zip(again.looks, drift().looks, strict=True):
        assert one.faults == other.faults
        for a, b in zip(one.signals, other.signals, strict=True):
            assert np.array_equal(a.value, b.value, equal_nan=True)
    assert dumped(case(4, "telehandler", coverage=0.01, hours=20.0).truth) != dumped(drift().truth)
    with pytest.raises(KeyError):
        case(1, "nobody")
    with pytest.raises(KeyError):
        case(1, "truck", ("no.such",))
    with pytest.raises(ValueError, match="share"):
        case(1, "truck", coverage=1.5)


def test_other_samples_of_a_kind_differ() -> None:
    one = case(3, "utility_tractor", (), coverage=0.02, hours=15.0, perturb=0.1)
    other = case(3, "utility_tractor", (), coverage=0.02, hours=15.0)
    assert one.plan.machine.build != other.plan.machine.build


def test_full_time_logging_records_every_shift_whole() -> None:
    made = case(2, "utility_tractor", (), coverage=1.0, hours=2.5, signals=False)
    assert len(made.looks) == made.truth.shifts
    recorded = sum(one.look.seconds for one in made.looks) / 3600.0
    assert recorded == pytest.approx(made.truth.worked_h, rel=0.1)
    assert all(one.look.part == "whole" for one in made.looks)


def test_a_season_by_chance_covers_what_is_asked() -> None:
    made = season(5, ["utility_tractor"], {"utility_tractor": ["sensor.stuck.100"]}, 0.01)
    (machine,) = made.truth.machines
    assert made.truth.coverage == pytest.approx(0.01, abs=0.004)
    assert [one.cause for one in machine.causes][:1] == ["sensor.stuck.100"]
    assert len(made.looks) == len(machine.visits)
    for one, look in zip(machine.visits, made.looks, strict=True):
        assert from_iso(one.started) <= from_iso(f"{look.started:%Y-%m-%dT%H:%M:%S}Z")


@given(st.integers(0, 10_000), st.sampled_from(sorted(CAMPAIGNS)))
def test_causes_by_chance_fit_their_machine(seed: int, machine: str) -> None:
    rng = np.random.default_rng(seed)
    keys = drawn_causes(machine, rng)
    assert len({CATALOGUE[one].cause_class for one in keys}) == len(keys) == 2
    for key in keys:
        assert machine in CATALOGUE[key].machines
        one = trouble_of(key, 200.0, rng)
        assert isinstance(one.at, float)
        assert 0.0 <= one.at <= 110.0
        assert one.at + one.grows_h <= 200.0
        assert 0.0 < one.peak <= 1.0


def test_coverage_is_a_share() -> None:
    shifts = calendar("truck", 1)
    rng = np.random.default_rng(1)
    assert looks_over(shifts, 0.0, rng) == ()
    assert len(looks_over(shifts, 1.0, rng)) == len(shifts)
    with pytest.raises(ValueError, match="share"):
        looks_over(shifts, -0.1, rng)


def test_store_after_unrecorded_hours_is_no_less() -> None:
    store = Store((Kept(100, 4, 3, "wiring", "x", mil=True, permanent=True),))
    assert store.code(100, 4) is not None
    active = Active(cause("ash.full"), Course(10.0, 20.0), ((50.0, repair("new_filter")),))
    assert active.severity(40.0) == 1.0
    assert active.severity(51.0) == 0.0
    assert datetime(2025, 5, 4, tzinfo=UTC).year == calendar("truck", 1)[0].start.year
