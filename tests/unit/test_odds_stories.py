"""The six stories as made machines: which cause comes first, and which must not."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from tests.made_cases import (
    DAY_US,
    S,
    Values,
    fault,
    machine,
    running,
    spell,
    state,
    told,
    visit,
)
from tests.odds_made import all_odds, chances, evidence_keys

from shearbolt.model.fault import Spell
from shearbolt.reasoning.case import (
    Absence,
    FaultInVisit,
    MachineCase,
    NoteInVisit,
    RepairDone,
    VisitCase,
)

WORK_S = 1500


def worked(rng: np.random.Generator, load: float = 55.0) -> dict[str, Values]:
    """Make an hour's quarter of work: load that comes and goes, warm engine."""
    wave = load + 25.0 * np.sin(np.arange(WORK_S) / 70.0) + rng.normal(0.0, 3.0, WORK_S)
    pct = np.clip(wave, 5.0, 100.0)
    return {
        "load_pct": pct,
        "engine_rpm": 1900.0 - pct,
        "coolant_c": 84.0 + 0.03 * pct,
        "boost_kpa": 1.6 * pct,
        "battery_v": 14.1,
        "fuel_rate_l_h": 0.3 * pct,
    }


def test_the_hot_afternoon_was_not_the_sensor() -> None:
    """Story 1: charge air truly hot, coolant as always, no ambient."""
    rng = np.random.default_rng(1)
    hot = fault("f", 105, 16)
    visits: list[VisitCase] = []
    for day in range(5):
        columns = worked(rng, 50.0)
        intake = 30.0 + 0.35 * np.asarray(columns["load_pct"])
        spells: tuple[Spell, ...] = ()
        if day >= 3:
            ramp = np.linspace(0.0, 1.0, WORK_S)
            columns = worked(rng, 85.0)
            intake = 45.0 + 45.0 * ramp
            spells = (spell(1300, 1480, "recording_end"),)
        columns["intake_c"] = intake
        told_here = (told(hot, *spells),) if spells else ()
        visits.append(visit(day, *told_here, last_s=WORK_S, state=running(WORK_S, columns=columns)))
    odds = all_odds(machine(visits, [hot]))["f"]
    share = chances(odds)
    assert 0.7 < share["real_condition"] < 0.97
    assert odds.suspects[0].cause == "real_condition"
    assert {"in_scale", "came_gradually"} <= evidence_keys(odds)
    assert odds.probability_other > 0.005


def test_drop_outs_forty_seconds_before_the_code_are_a_wire() -> None:
    """Story 2: output speed falls to nothing for moments while ground speed goes on."""
    rng = np.random.default_rng(2)
    lost = fault("f", 191, 2, 3)
    visits = []
    for day in range(2):
        columns = worked(rng)
        shaft = np.full(WORK_S, 400.0)
        low = shaft.copy()
        for at in (500, 512, 530, 900, 915, 925, 1200):
            low[at] = 0.0
        columns["speed_kmh"] = 8.0
        wide: dict[str | tuple[str | int, int], Values] = {}
        wide.update(columns)
        table = state(WORK_S, {**wide, ("output_rpm", 3): shaft})
        for key, column in table.columns.items():
            if key.spn == 191:
                table.columns[key] = replace(column, low=low.astype(np.float32))  # type: ignore[index]
        spells = (spell(560, 600), spell(960, 990))
        visits.append(visit(day, told(lost, *spells), last_s=WORK_S, state=table))
    odds = all_odds(machine(visits, [lost]))["f"]
    share = chances(odds)
    assert "pulses_drop_out" in evidence_keys(odds)
    assert odds.suspects[0].cause == "wiring"
    assert share["wiring"] > 1.2 * share["sensor"]
    assert share.get("real_condition", 0.0) < 0.03


def cold_start(plateau_v: float) -> MachineCase:
    """Make five controllers with a code each at one start after four months of standing."""
    codes = [
        fault("engine", 168, 18, 0),
        fault("gearbox", 191, 2, 3),
        fault("cab", 639, 9, 33),
        fault("hydraulics", 1638, 4, 50),
        fault("brakes", 70, 2, 11),
    ]
    volts = np.full(300, 14.1)
    rpm = np.full(300, 900.0)
    rpm[:20] = 0.0
    rpm[20:25] = 170.0
    volts[:20] = 12.2
    volts[20:25] = plateau_v
    seen = [told(one, spell(22 + i, 40, count=1)) for i, one in enumerate(codes)]
    start = visit(
        120, *seen, last_s=300, hours_start=100.5, hours_end=101.0,
        state=state(300, {"engine_rpm": rpm, "battery_v": volts}),
    )  # fmt: skip
    calm = [
        visit(121 + day, last_s=600, heard=[0, 3, 33, 50, 11], hours_start=101.0 + day,
              state=running(600, battery_v=14.2))
        for day in range(2)
    ]  # fmt: skip
    before = visit(0, last_s=60, hours_start=100.0, hours_end=100.4, state=running(60))
    return machine([before, start, *calm], codes)


def test_fourteen_codes_on_the_first_of_april_are_the_voltage() -> None:
    """Story 3: one start, a plateau of 7.6 V, nothing afterwards."""
    found = all_odds(cold_start(7.6))
    for name, odds in found.items():
        assert odds.suspects[0].cause == "low_voltage", name
    assert chances(found["engine"])["low_voltage"] > 0.9
    assert "cranking_all_low" in evidence_keys(found["engine"])
    assert "stood_days" in {one.key for one in found["engine"].adjusted}
    follower = found["gearbox"]
    assert follower.root == "engine"
    assert follower.suspects == found["engine"].suspects
    assert follower.fault == "gearbox"


def test_a_good_plateau_speaks_against_it() -> None:
    odds = all_odds(cold_start(10.8))["gearbox"]
    assert "cranking_good" in evidence_keys(odds)
    assert chances(odds).get("low_voltage", 0.0) < 0.25


def left_the_bus(claimed_us: int | None) -> MachineCase:
    """Make a tractor that misses its wagon twice, and how the wagon came back."""
    gone = fault("f", 639, 9, 0)
    visits = []
    for day in range(3):
        away = Absence("can0", 128, 100 * S, 103 * S, "silence", claimed_us)
        again = Absence("can0", 128, 300 * S, 304 * S, "silence", claimed_us)
        visits.append(
            visit(day, told(gone, spell(102, 110), spell(302, 310)), heard=[0, 128],
                  state=running(600, battery_v=14.0), absences=(away, again))
        )  # fmt: skip
    return machine(visits, [gone])


def test_the_wagon_that_logged_in_anew_had_lost_its_power() -> None:
    """Story 4: silence, then a fresh claim: its own plug, not the bus."""
    odds = all_odds(left_the_bus(104 * S))["f"]
    share = chances(odds)
    assert odds.suspects[0].cause == "wiring"
    assert share["wiring"] > 0.55
    assert share["network"] < 0.2
    assert {"power_lost", "one_unit_dark"} <= evidence_keys(odds)
    assert "error_frames" in {one.key for one in odds.not_used}
    cut = chances(all_odds(left_the_bus(None))["f"])
    assert cut["network"] > share["network"]


def new_sensor(hours: float | None = 99.0) -> MachineCase:
    """Make a hitch whose range is narrower since its sender was replaced."""
    rng = np.random.default_rng(5)
    other = fault("old", 1873, 4, 0)
    fresh = fault("f", 1873, 2, 0)
    visits = []
    for day in range(6):
        swing = 50.0 + 50.0 * np.sin(np.arange(WORK_S) / 80.0)
        columns = worked(rng)
        seen: tuple[FaultInVisit, ...] = ()
        if day < 3:
            seen = (told(other, spell(100 + day, 130)),) if day == 1 else ()
        else:
            swing = 12.0 + 0.59 * swing
            seen = (told(fresh, spell(400, 420), spell(800, 815)),)
        columns["hitch_pct"] = swing
        visits.append(visit(day, *seen, last_s=WORK_S, state=running(WORK_S, columns=columns)))
    case = machine(visits, [other, fresh])
    done_h = visits[3].hours_start
    assert done_h is not None
    repair = RepairDone(
        "r1", ("old",), None if hours is None else done_h - 1.0, 2 * DAY_US, 3,
        "Rear hitch position sender replaced",
    )  # fmt: skip
    return replace(case, repairs=(repair,))


def test_after_the_new_sensor_it_is_the_calibration() -> None:
    """Story 5: smooth, shifted, begun within hours of the repair."""
    odds = all_odds(new_sensor())["f"]
    assert odds.suspects[0].cause == "calibration"
    assert {"opened_before", "range_shifted"} <= evidence_keys(odds)
    share = chances(odds)
    assert share["calibration"] > 2.0 * share.get("wiring", 0.0)


def queueing(inhibited: float) -> MachineCase:
    """Make nine days of soot that rises while what forbids a regeneration stands on."""
    rng = np.random.default_rng(6)
    soot = fault("f", 3719, 16, 0)
    visits = []
    for day in range(4):
        columns = worked(rng, 35.0)
        load = 60.0 + 13.0 * day
        columns["soot_pct"] = np.linspace(load, load + 4.0, WORK_S)
        columns["regeneration"] = 0.0
        columns["inhibit_pto"] = inhibited
        columns["inhibit_switch"] = 0.0
        spells = (spell(900, 1480, "recording_end"),) if day == 3 else ()
        seen = (told(soot, *spells),) if spells else ()
        visits.append(visit(day, *seen, last_s=WORK_S, state=running(WORK_S, columns=columns)))
    return machine(visits, [soot])


def test_queueing_at_the_clamp_keeps_it_from_burning() -> None:
    """Story 6: filter and burner work; the work pattern stops them."""
    odds = all_odds(queueing(1.0))["f"]
    share = chances(odds)
    assert odds.suspects[0].cause == "inhibited_regeneration"
    assert share["inhibited_regeneration"] > 0.8
    assert share.get("ash", 0.0) < 0.05
    (first,) = [one for one in odds.suspects[0].evidence if one.key == "kept_from_burning"]
    assert ("what", "inhibit_pto") in first.values
    free = chances(all_odds(queueing(0.0))["f"])
    assert free["inhibited_regeneration"] < 0.35


def test_a_wash_before_a_circuit_code() -> None:
    code = fault("f", 110, 3)
    note = NoteInVisit("event", "washed her down", None, None, None, None)
    by_hand = visit(0, kind="by_hand", heard=[], notes=(note,), last_s=0)
    later = visit(1, told(code, spell(10, 30)), state=running(60))
    odds = all_odds(machine([by_hand, later], [code]))["f"]
    assert "washed" in evidence_keys(odds)
    long_after = visit(9, told(code, spell(10, 30)), state=running(60))
    assert "washed" not in evidence_keys(all_odds(machine([by_hand, long_after], [code]))["f"])
