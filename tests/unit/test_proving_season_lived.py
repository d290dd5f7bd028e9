"""Seasons that are lived: calendars, unrecorded hours, blame, counts, notes, truth, cases."""

from __future__ import annotations

import json
from dataclasses import replace
from functools import cache
from typing import get_args

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from shearbolt.model.fault import COUNT_FULL
from shearbolt.model.instants import SECOND_US, from_iso
from shearbolt.proving import GROUPS, Season, as_json, demo_group, dumped
from shearbolt.proving.calendar import calendar
from shearbolt.proving.cases import some_shifts
from shearbolt.proving.causes import CATALOGUE, REPAIRS, cause
from shearbolt.proving.cycle import live_through
from shearbolt.proving.faults import count_kept, count_sent
from shearbolt.proving.lives import AT_WORK
from shearbolt.proving.looks import FORMATS, format_of, phases_of
from shearbolt.proving.machines import TELEHANDLER, TRUCK, UTILITY_TRACTOR
from shearbolt.proving.plans import (
    LookPlan,
    MachinePlan,
    Mending,
    Trouble,
    actives_of,
    another,
)
from shearbolt.proving.season_truth import settings_of
from shearbolt.proving.shifts import ROUNDS
from shearbolt.proving.trace import STEPS_A_SECOND
from shearbolt.proving.truth import Cause as CauseClass
from shearbolt.proving.truth import CountSteps
from shearbolt.proving.unrecorded import CameOn, Rate, counted, draw
from shearbolt.proving.yard import live_season, play_look, with_brought

UTILITY, LOADER = 7, 6
"""Groups of the demo that take least time to live."""


@cache
def lived(number: int) -> Season:
    return demo_group(number)


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
        assert day.coolant_c < day.ambient_c + 45.0
        if look.part == "work" and look.machine == "the clamp loader":
            trace = live_through(look.outing, look.seed).trace
            assert trace.coolant_c[look.outing.lead_s * STEPS_A_SECOND] > 60.0


def test_a_recording_amid_work_is_of_a_key_cycle_that_began_before() -> None:
    """Thermal state, debouncing and counts come from the key, not from the recording's start."""
    (look,) = (one for one in telehandler().looks if one.part == "work" and one.tester)
    assert look.outing is not None
    assert not look.outing.shows_key_on
    assert look.outing.begins_with_key
    assert 300 < look.outing.lead_s <= 1900
    played = play_look(look)
    started_us = from_iso(played.truth.started_truly)
    assert started_us <= int(played.frames.time_us[0]) < started_us + SECOND_US
    length_us = int(played.frames.time_us[-1]) - started_us
    assert length_us == pytest.approx(look.seconds * SECOND_US, abs=SECOND_US)
    (machine,) = played.truth.machines
    assert machine.hours_end is not None
    assert machine.hours_start is not None
    recorded_h = machine.hours_end - machine.hours_start
    assert recorded_h == pytest.approx(look.seconds / 3600.0, abs=0.001)
    for fault in played.truth.faults:
        for spell in fault.spells:
            assert spell.first_listed_us >= started_us
            assert spell.start_known or spell.set_us < started_us + 5 * SECOND_US


def test_what_stands_since_before_the_recording_has_stepped_its_count_already() -> None:
    """A count that steps once in a key cycle does not step in the middle of it."""
    look = next(one for one in lived(UTILITY).looks if one.part == "work")
    assert look.outing is not None
    cycle = live_through(look.outing, look.seed)
    seen = 0
    for true in play_look(look).truth.faults:
        index = next(
            (i for i, one in enumerate(cycle.faults) if (one.spn, one.fmi) == (true.spn, true.fmi)),
            -1,
        )
        if true.spells and cycle.found[index].held[0].set_s < look.outing.lead_s:
            seen += 1
            assert true.count_before == cycle.faults[index].count_before + 1
            assert {one.count for one in true.spells} == {true.count_before}
    assert seen >= 1


def test_a_logger_keeps_whole_shifts_thinned() -> None:
    (look,) = (one for one in lived(UTILITY).looks if one.part == "whole")
    assert look.outing is not None
    assert look.outing.shows_key_on
    assert look.file_name.endswith("_logger.log.zst")
    frames = play_look(look).frames
    assert look.seconds > 3600.0
    for ident in np.unique(frames.ident):
        steps_us = np.diff(frames.time_us[frames.ident == ident])
        parameter_group = int(ident) >> 8 & 0xFFFF
        if parameter_group < 0xEA00 or parameter_group >= 0xF000:
            assert np.median(steps_us) > 0.9 * SECOND_US if len(steps_us) > 50 else True


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
    assert 60 <= len(looks) <= 110
    assert len(looks) + len(notes) >= 95
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
