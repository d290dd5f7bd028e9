"""Calendars of work, seasons by chance, and cases straight for the reasoning."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from functools import cache
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from shearbolt.model.instants import from_iso
from shearbolt.model.signal import NUMBER
from shearbolt.proving import CaseData, case, dumped, season
from shearbolt.proving.calendar import CAMPAIGNS, FIRST_CUT, LAST_BEET, calendar
from shearbolt.proving.cases import look_heard
from shearbolt.proving.causes import CATALOGUE, Active, Course, cause, repair
from shearbolt.proving.chance_plans import drawn_causes, looks_over, trouble_of
from shearbolt.proving.memory import Kept, Store
from shearbolt.proving.plans import (
    hours_of,
    shift_at,
    time_at,
)
from shearbolt.proving.shifts import ROUNDS, USUAL
from shearbolt.proving.weather import weather_at

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
