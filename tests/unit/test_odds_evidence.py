"""Each kind of evidence on made machines: seen where it is, and not where it is not."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
import pytest
from tests.made_cases import (
    DAY_US,
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
from shearbolt.reasoning.case import FaultCase, FaultInVisit, MachineCase, NoteInVisit, RepairDone
from shearbolt.reasoning.odds import FaultOdds

LONG_S = 1500


def odds_in(case: MachineCase, name: str = "f") -> FaultOdds:
    """Give the odds of one fault."""
    return all_odds(case)[name]


def work(**more: Values) -> dict[str, Values]:
    """Make work with a load that swings."""
    pct = 50.0 + 30.0 * np.sin(np.arange(LONG_S) / 60.0)
    columns: dict[str, Values] = {
        "load_pct": pct, "coolant_c": 82.0 + 0.02 * pct, "battery_v": 14.0,
        "engine_rpm": 1900.0 - 2.0 * pct, "boost_kpa": 1.5 * pct,
    }  # fmt: skip
    columns.update(more)
    return columns


def days(
    code: FaultCase,
    spells: Mapping[int, tuple[Spell, ...]],
    count: int,
    columns: Mapping[str, Values],
    faulty: Mapping[str, Values],
) -> MachineCase:
    """Make visits of work; on days with spells some columns are others."""
    visits = []
    for day in range(count):
        here = {**columns, **faulty} if day in spells else columns
        seen: tuple[FaultInVisit, ...] = (told(code, *spells[day]),) if day in spells else ()
        visits.append(visit(day, *seen, last_s=LONG_S, state=running(LONG_S, columns=here)))
    return machine(visits, [code])


def test_neighbours_that_move_and_that_do_not() -> None:
    hot = fault("f", 110, 16)
    ramp = np.linspace(82.0, 112.0, LONG_S)
    spells = {3: (spell(1300, 1490, "recording_end"),)}
    usual = work(oil_c=95.0 + np.random.default_rng(3).normal(0.0, 1.0, LONG_S))
    with_oil = days(hot, spells, 4, usual, {"coolant_c": ramp, "oil_c": ramp + 16.0})
    alone = days(hot, spells, 4, usual, {"coolant_c": ramp})
    moved, calm = odds_in(with_oil), odds_in(alone)
    assert "same_story" in evidence_keys(moved)
    assert "neighbours_calm" in evidence_keys(calm)
    assert chances(moved)["real_condition"] > chances(calm)["real_condition"]
    assert chances(calm)["sensor"] > 2.0 * chances(moved)["sensor"]


def test_a_reading_at_its_end_without_a_circuit_code() -> None:
    code = fault("f", 110, 16)
    values = np.full(LONG_S, 85.0)
    values[1000:1400] = 210.0
    case = days(code, {1: (spell(1003, 1390),)}, 2, work(), {"coolant_c": values})
    odds = odds_in(case)
    assert {"end_of_scale", "step_to_end"} <= evidence_keys(odds)
    assert chances(odds)["real_condition"] < 0.5
    assert chances(odds)["wiring"] > 0.2


def test_twins_on_one_supply() -> None:
    oil, boost = fault("oil", 100, 4), fault("boost", 102, 4)
    low = np.full(LONG_S, 300.0)
    low[700:800] = np.inf
    down = np.full(LONG_S, 80.0)
    down[700:800] = np.inf
    table = running(LONG_S, columns=work(oil_kpa=low, boost_kpa=down))
    seen = (told(oil, spell(702, 800)), told(boost, spell(702, 800)))
    case = machine([visit(0, *seen, last_s=LONG_S, state=table)], [oil, boost])
    both = all_odds(case)
    assert {"twins_step"} <= evidence_keys(both["oil"])
    assert both["oil"].suspects[0].cause == "shared_supply"
    calm = running(LONG_S, columns=work(oil_kpa=low, boost_kpa=80.0))
    alone = machine([visit(0, told(oil, spell(702, 800)), last_s=LONG_S, state=calm)], [oil])
    odds = odds_in(alone, "oil")
    assert "twins_sound" in evidence_keys(odds)
    assert chances(odds).get("shared_supply", 0.0) < 0.06


def test_several_controllers_and_a_low_voltage_while_running() -> None:
    codes = [fault("f", 110, 3, 0), fault("g", 191, 2, 3), fault("h", 70, 2, 33)]
    volts = np.full(LONG_S, 14.0)
    volts[690:720] = 9.0
    seen = [told(one, spell(700 + i, 730)) for i, one in enumerate(codes)]
    table = running(LONG_S, columns=work(battery_v=volts))
    case = machine([visit(0, *seen, last_s=LONG_S, state=table)], codes)
    odds = odds_in(case)
    assert {"low_while_running", "many_units"} <= evidence_keys(odds)
    sound = machine(
        [visit(0, seen[0], last_s=LONG_S, state=running(LONG_S, columns=work()))], codes[:1]
    )
    assert "only_running" in evidence_keys(odds_in(sound))
    assert chances(odds)["low_voltage"] > 4.0 * chances(odds_in(sound)).get("low_voltage", 0.0)


def test_a_charging_code_with_sound_voltage_elsewhere() -> None:
    code = fault("f", 168, 18, 33)
    volts = work()
    table = running(LONG_S, columns=volts)
    case = machine([visit(0, told(code, spell(700, 900)), last_s=LONG_S, state=table)], [code])
    assert "charging_good" in evidence_keys(odds_in(case))


def test_a_filter_switch_that_closes_only_with_cold_oil() -> None:
    code = fault("f", 1713, 0, 0)
    oil = np.linspace(8.0, 60.0, LONG_S)
    columns = work(hydraulic_c=oil, hydraulic_filter=(oil < 25.0).astype(float))
    case = days(code, {0: (spell(20, 480),)}, 1, columns, {})
    odds = odds_in(case)
    assert "only_while_cold" in evidence_keys(odds)
    assert odds.suspects[0].cause == "real_condition"
    assert chances(odds)["real_condition"] > 0.75


def test_hot_idle_oil_pressure_is_the_oil() -> None:
    code = fault("f", 100, 1)
    rpm = np.where(np.arange(LONG_S) % 300 < 150, 750.0, 1800.0)
    kpa = np.where(rpm < 1000.0, 40.0, 260.0)
    columns = work(engine_rpm=rpm, oil_kpa=kpa, coolant_c=92.0)
    case = days(code, {0: (spell(400, 450), spell(700, 750))}, 1, columns, {})
    odds = odds_in(case)
    assert "oil_low_hot_idle" in evidence_keys(odds)
    assert chances(odds)["real_condition"] > 0.75


def test_oil_pressure_with_cold_oil_tells_a_scaled_sensor() -> None:
    code = fault("f", 100, 18)
    warm = np.linspace(5.0, 95.0, LONG_S)
    leak = np.where(warm < 45.0, 400.0, 400.0 - 3.6 * (warm - 45.0))
    spells = {0: (spell(1300, 1480),)}
    columns = work(coolant_c=warm, oil_kpa=leak)
    real = odds_in(days(code, spells, 1, columns, {}))
    scaled = odds_in(days(code, spells, 1, {**columns, "oil_kpa": 0.4 * leak}, {}))
    assert "enough_cold" in evidence_keys(real)
    assert "low_cold_too" in evidence_keys(scaled)
    assert chances(scaled)["sensor"] > 2.0 * chances(real)["sensor"]


def test_codes_of_fed_sensors_within_a_minute() -> None:
    codes = [fault("f", 100, 2), fault("g", 102, 2)]
    seen = [told(one, spell(300 + 20 * i, 400)) for i, one in enumerate(codes)]
    odds = odds_in(machine([visit(0, *seen, state=running())], codes))
    assert "twins_coded" in evidence_keys(odds)
    assert chances(odds)["shared_supply"] > 2.0 * odds.prior["shared_supply"]


def test_a_stand_in_value_is_no_stuck_sensor() -> None:
    erratic, circuit = fault("f", 100, 2), fault("g", 100, 3)
    seen = (told(erratic, spell(5, 900)), told(circuit, spell(8, 1490)))
    swing = np.where(np.arange(LONG_S) % 200 < 100, 900.0, 1900.0)
    table = running(LONG_S, columns=work(oil_kpa=200.0, engine_rpm=swing, coolant_c=90.0))
    case = machine([visit(0, *seen, last_s=LONG_S, state=table)], [erratic, circuit])
    assert "frozen" not in evidence_keys(odds_in(case))
    alone = machine([visit(0, seen[0], last_s=LONG_S, state=table)], [erratic])
    assert "frozen" in evidence_keys(odds_in(alone))


def repaired(text: str, *, after: bool, about: tuple[str, ...] = ("f",)) -> FaultOdds:
    """Make a circuit code on days 0 to 3, a repair before day 4, and days after it."""
    code = fault("f", 110, 3)
    spells = {day: (spell(100, 200),) for day in range(4)}
    if after:
        spells |= {day: (spell(100, 200),) for day in range(4, 8)}
    case = days(code, spells, 14, work(), {})
    done = RepairDone("r1", about, 119.5, 3 * DAY_US + 1, 4, text)
    return odds_in(replace(case, repairs=(done,)))


def test_repairs_that_did_not_help_and_that_did() -> None:
    unchanged = repaired("new coolant sensor", after=True)
    assert "sensor_changed_unchanged" in evidence_keys(unchanged)
    assert chances(unchanged)["sensor"] < 0.5 * unchanged.prior["sensor"]
    held = repaired("plug cleaned", after=False)
    assert "wire_mended_held" in evidence_keys(held)
    assert chances(held)["wiring"] > held.prior["wiring"]
    assert not evidence_keys(repaired("codes cleared", after=True)) & {
        "sensor_changed_unchanged", "wire_mended_unchanged",
    }  # fmt: skip
    assert "sensor_changed_unchanged" not in evidence_keys(
        repaired("new coolant sensor", after=True, about=())
    )


@pytest.mark.parametrize(
    ("text", "key"),
    [("software updated", "software_before"), ("new battery fitted", "wired_on")],
)
def test_what_was_done_in_the_hours_before(text: str, key: str) -> None:
    code = fault("f", 191, 2)
    case = days(code, {2: (spell(100, 200),)}, 3, work(), {})
    done = RepairDone("r1", (), 108.0, 2 * DAY_US - 1, 2, text)
    assert key in evidence_keys(odds_in(replace(case, repairs=(done,))))
    late = RepairDone("r1", (), 80.0, -9 * DAY_US, 0, text)
    assert key not in evidence_keys(odds_in(replace(case, repairs=(late,))))


def test_deliveries_rodents_and_jump_starts() -> None:
    for words, spn, fmi, key in (
        ("fuel delivered", 97, 31, "delivered"),
        ("mice in the cab", 191, 2, "rodents"),
        ("jump started it", 639, 9, "jump_started"),
        ("welded on the loader frame", 100, 2, "welded"),
    ):
        code = fault("f", spn, fmi)
        note = NoteInVisit("event", words, None, None, None, None)
        by_hand = visit(0, kind="by_hand", heard=[], notes=(note,), last_s=0)
        later = visit(1, told(code, spell(10, 30)), state=running(60))
        assert key in evidence_keys(odds_in(machine([by_hand, later], [code]))), words
    code = fault("f", 191, 2)
    note = NoteInVisit("event", "fuel delivered", None, None, None, None)
    by_hand = visit(0, kind="by_hand", heard=[], notes=(note,), last_s=0)
    later = visit(1, told(code, spell(10, 30)), state=running(60))
    assert "delivered" not in evidence_keys(odds_in(machine([by_hand, later], [code])))


def test_one_driver_among_others() -> None:
    code = fault("f", 177, 16)
    hours = 25 * 3600
    visits = []
    for day in range(4):
        name = "Ines" if day < 2 else "Tom"
        note = NoteInVisit("text", f"driver: {name}", None, None, None, None)
        spells = tuple(spell(100 + 50 * i, 120 + 50 * i) for i in range(3)) if day < 2 else ()
        seen = (told(code, *spells),) if spells else ()
        visits.append(visit(day * 2, *seen, last_s=hours, notes=(note,)))
    odds = odds_in(machine(visits, [code]))
    assert "one_driver" in evidence_keys(odds)
    unknown = odds_in(machine([replace(one, notes=()) for one in visits], [code]))
    assert "one_driver" in {one.key for one in unknown.not_used}


def test_what_another_code_of_the_circuit_says() -> None:
    low, wrong = fault("f", 102, 18), fault("g", 102, 13)
    seen = (told(low, spell(100, 200)), told(wrong, spell(50, 300)))
    case = machine([visit(0, *seen, state=running())], [low, wrong])
    odds = odds_in(case)
    assert "sibling_calibration" in evidence_keys(odds)
    assert chances(odds)["calibration"] > 3.0 * odds.prior["calibration"]


def test_revving_a_cold_engine_and_riding_the_brake() -> None:
    high = fault("f", 100, 16)
    columns = work(oil_c=15.0, coolant_c=15.0, engine_rpm=2000.0)
    cold = odds_in(days(high, {0: (spell(60, 100),)}, 1, columns, {}))
    assert "revved_cold" in evidence_keys(cold)
    hot = fault("f", 177, 16, 3)
    columns = work(speed_kmh=12.0, brake=1.0)
    table = running(LONG_S, columns=columns)
    ridden = machine([visit(0, told(hot, spell(1200, 1400)), last_s=LONG_S, state=table)], [hot])
    assert "operated" in evidence_keys(odds_in(ridden))
    assert chances(odds_in(ridden))["operator"] > 2.0 * odds_in(ridden).prior["operator"]


def test_an_interlock_at_rest() -> None:
    code = fault("f", 598, 31, 0)
    standing = running(600, speed_kmh=0.0)
    odds = odds_in(machine([visit(0, told(code, spell(100, 130)), state=standing)], [code]))
    assert "interlock_at_rest" in evidence_keys(odds)
    silent = state(600, {"engine_rpm": 900.0})
    unknown = odds_in(machine([visit(0, told(code, spell(100, 130)), state=silent)], [code]))
    assert "interlock_at_rest" in {one.key for one in unknown.not_used}


def test_soot_that_burns_off_but_comes_back_fast() -> None:
    code = fault("f", 3719, 16)
    slow = np.linspace(30.0, 31.0, LONG_S)
    fast = np.linspace(82.0, 90.0, LONG_S)
    columns = work(soot_pct=slow, regeneration=0.0, inhibit_pto=0.0)
    spells = {4: (spell(1200, 1490, "recording_end"),)}
    odds = odds_in(days(code, spells, 5, columns, {"soot_pct": fast}))
    assert {"fills_fast", "nothing_forbids"} <= evidence_keys(odds)
    assert odds.suspects[0].cause == "real_condition"


def test_an_old_memory_has_no_odds() -> None:
    old = fault("f", 100, 1)
    memory = told(old, counts=((10, 3),))
    assert all_odds(machine([visit(0, memory)], [old])) == {}


def test_a_code_off_the_dash_has_its_prior() -> None:
    code = fault("f", 110, 16, kind="hand")
    by_hand = told(code, sources=("hand",), state="active")
    case = machine([visit(0, by_hand, kind="by_hand", heard=[])], [code])
    odds = odds_in(case)
    assert odds.posterior == pytest.approx(odds.prior)
    assert "check" in {one.key for one in odds.not_used if one.state == "not_done"}
