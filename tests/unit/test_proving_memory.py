"""Fault memory over key cycles: two trips, clean cycles, counts by convention, clears."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from tests.played_outings import MACHINES, outing_of

from shearbolt.model.frames import F64
from shearbolt.proving.controllers import Machine
from shearbolt.proving.cycle import KeyCycle, live_through
from shearbolt.proving.detecting import Clear, Standing, find
from shearbolt.proving.diagnostic_packing import DM3, DM11
from shearbolt.proving.faults import AMBER, AMBER_AND_MIL, Fault, during
from shearbolt.proving.memory import FORGETS_AFTER, Entry, Kept, Store
from shearbolt.proving.outing import Outing
from shearbolt.proving.trace import STEP_S, Day
from shearbolt.proving.truth import CountSteps

WARM = Day(ambient_c=20.0, coolant_c=84.0, oil_c=88.0, transmission_c=66.0)
BOOST = (102, 18)


def entry(cycle: KeyCycle, controller: str, spn: int, fmi: int, at_s: float) -> Entry | None:
    _, one = cycle.place(controller)
    for row in cycle.recall(one).entries(at_s):
        if (row.spn, row.fmi) == (spn, fmi):
            return row
    return None


def tractor(seconds: int, leaks: bool, stores: dict[tuple[str, str], Store]) -> Outing:
    causes = ("real_condition.boost_leak",) if leaks else ()
    outing = outing_of("new_tractor", ("mow", seconds), ("idle", 20), day=WARM, causes=causes)
    return replace(outing, stores=stores)


def test_emission_code_needs_two_trips_and_heals_over_three() -> None:
    # Heavy-duty OBD: pending, then confirmed with MIL and permanent code, then three clean cycles.
    first = live_through(tractor(150, True, {}), 1)
    end = first.outing.seconds - 1.0
    row = entry(first, "engine", *BOOST, end)
    assert row is not None
    assert (row.pending, row.active, row.mil, row.permanent) == (True, False, False, False)
    second = live_through(tractor(150, True, first.stores_after()), 2)
    row = entry(second, "engine", *BOOST, 140.0)
    assert row is not None
    assert (row.pending, row.active, row.mil, row.permanent) == (False, True, True, True)
    assert row.lamps.mil == "on"
    stores = second.stores_after()
    for number, lit in enumerate((True, True, False)):
        kept = stores["new_tractor", "engine"].code(*BOOST)
        assert kept is not None
        assert (kept.mil, kept.permanent, kept.clean) == (True, True, number)
        clean = live_through(tractor(150, False, stores), 3 + number)
        row = entry(clean, "engine", *BOOST, end)
        assert row is not None
        assert row.active, "it stands until three clean cycles have passed"
        stores = clean.stores_after()
        kept = stores["new_tractor", "engine"].code(*BOOST)
        assert kept is not None
        assert kept.mil == lit
    assert kept is not None
    assert (kept.had_mil, kept.permanent, kept.pending) == (True, False, False)
    assert kept.count >= 1


def test_a_clean_trip_drops_the_pending_code() -> None:
    pending = Store((Kept(*BOOST, 0, "real_condition", "", pending=True, remembered=False),))
    stores = {("new_tractor", "engine"): pending}
    clean = live_through(tractor(150, False, stores), 4)
    assert clean.stores_after()["new_tractor", "engine"].code(*BOOST) is None
    short = live_through(tractor(5, False, stores), 4)
    kept = short.stores_after()["new_tractor", "engine"].code(*BOOST)
    assert kept is not None, "its monitor did not run: nothing is known"
    assert kept.pending


def stepping(machine: Machine, steps: CountSteps) -> Machine:
    one = machine.controller("engine")
    return machine.with_controller(replace(one, count_steps=steps))


SCRIPTED = Fault(
    "engine", 639, 9, AMBER, during((20.0, 25.0), (40.0, 45.0), (56.0, 1e9)), 1.0, 2.0, "network",
    "",
)  # fmt: skip


@pytest.mark.parametrize(
    ("steps", "told", "kept"),
    [
        # field practice: a rise at the onset, at the end, once a key cycle, or never
        ("onset", [5, 5, 6, 7], 7),
        ("end", [4, 5, 5, 6], 7),
        ("key_cycle", [5, 5, 5, 5], 5),
        ("never", [4, 4, 4, 4], 4),
    ],
)
def test_counts_go_over_key_cycles(steps: CountSteps, told: list[int], kept: int) -> None:
    machine = stepping(MACHINES["big_tractor"], steps)
    store = Store((Kept(639, 9, 4, "network", ""),))
    outing = replace(
        outing_of(machine, ("idle", 60)),
        faults=(SCRIPTED,),
        stores={("big_tractor", "engine"): store},
        watched=False,
    )
    cycle = live_through(outing, 3)
    cycle.faults = (replace(SCRIPTED, count_before=4),)
    cycle._find(0)
    rows = [entry(cycle, "engine", 639, 9, at) for at in (22.0, 30.0, 42.0, 60.0)]
    assert [row.count for row in rows if row is not None] == told
    after = cycle.stores_after()["big_tractor", "engine"].code(639, 9)
    assert after is not None
    assert after.count == kept


def condition(*windows: tuple[float, float], seconds: float = 100.0) -> np.ndarray:
    time_s: F64 = np.arange(0.0, seconds, STEP_S)
    flags = np.zeros(len(time_s), np.bool_)
    for first, last in windows:
        flags |= (time_s >= first) & (time_s < last)
    return flags


def test_a_clear_makes_what_stands_come_again_from_zero() -> None:
    flags = condition((10.0, 80.0))
    plain = find(0, SCRIPTED, flags, Standing(count=4), ())
    (spell,) = plain.held
    assert spell.set_s == pytest.approx(11.0)
    assert spell.heal_s == pytest.approx(82.0)
    cleared = find(0, SCRIPTED, flags, Standing(count=4), (Clear(30.0, "dm11"),))
    one, two = cleared.held
    assert one.heal_s == pytest.approx(30.0)
    assert two.set_s == pytest.approx(31.0)
    assert (one.before, two.before) == (4, 0)
    assert (one.nth, two.nth) == (1, 1)


def test_a_clear_of_memories_leaves_what_stands() -> None:
    flags = condition((10.0, 20.0), (60.0, 70.0))
    cleared = find(0, SCRIPTED, flags, Standing(count=4), (Clear(15.0, "dm3"),))
    assert [(one.nth, one.before) for one in cleared.held] == [(1, 4), (2, 4)]
    between = find(0, SCRIPTED, flags, Standing(count=4), (Clear(40.0, "dm3"),))
    assert [(one.nth, one.before) for one in between.held] == [(1, 4), (1, 0)]


def test_clears_take_all_but_permanent_codes() -> None:
    store = Store(
        (
            Kept(102, 18, 3, "real_condition", "", mil=True, permanent=True),
            Kept(105, 16, 2, "real_condition", ""),
        ),
        mil_km=30.0,
    )
    outing = replace(outing_of("truck", ("idle", 30)), stores={("truck", "engine"): store})
    cycle = live_through(outing, 6)
    _, engine = cycle.place("engine")
    assert cycle.ask_clear(engine, DM11, 20.0) == 3, "the engine runs: busy"
    assert cycle.ask_clear(engine, DM11, 2.0) == 0
    recall = cycle.recall(engine)
    before = {one.spn: one.active for one in recall.entries(1.0)}
    # With the MIL on for boost, torque is limited as well (1569).
    assert before == {102: True, 105: False, 1569: True}
    (left,) = (one for one in recall.entries(3.0) if one.spn != 1569)
    assert (left.spn, left.active, left.permanent, left.previous) == (102, False, True, False)
    assert recall.distances(3.0)[0] == 0.0
    assert recall.complete(3.0) == frozenset()
    assert recall.complete(1.0) == recall.manner.monitors
    assert cycle.ask_clear(engine, DM3, 2.5) == 0


def test_one_code_is_cleared_alone() -> None:
    # SAE J1939-73 DM22 (reference sheet 2.7): unknown fault 2, no longer active 4
    store = Store((Kept(105, 16, 2, "real_condition", ""), Kept(94, 18, 1, "real_condition", "")))
    outing = replace(outing_of("truck", ("idle", 30)), stores={("truck", "engine"): store})
    cycle = live_through(outing, 6)
    _, engine = cycle.place("engine")
    assert cycle.ask_clear_one(engine, 100, 1, False, 2.0) == (3, 2)
    assert cycle.ask_clear_one(engine, 105, 16, True, 2.0) == (19, 4)
    assert cycle.ask_clear_one(engine, 105, 16, False, 2.0) == (2, 0xFF)
    assert [one.spn for one in cycle.recall(engine).entries(3.0)] == [94]
    assert cycle.ask_clear_one(engine, 94, 18, False, 20.0) == (3, 1), "the engine runs"


def test_emission_controllers_forget_and_others_do_not() -> None:
    old = Kept(105, 16, 2, "real_condition", "", warm_ups=FORGETS_AFTER - 1)
    day = Day(ambient_c=20.0, coolant_c=48.0, oil_c=48.0)
    for machine, forgets in (("new_tractor", True), ("big_tractor", False)):
        outing = outing_of(machine, ("idle", 20), ("mow", 500), day=day)
        outing = replace(outing, stores={(machine, "engine"): Store((old,))})
        kept = live_through(outing, 7).stores_after()[machine, "engine"].code(105, 16)
        assert (kept is None) == forgets, machine


def test_counters_go_on() -> None:
    outing = outing_of("truck", ("haul", 500), ("idle", 60), ("town", 120), day=WARM)
    cycle = live_through(outing, 8)
    _, engine = cycle.place("engine")
    before, after = Store(), cycle.stores_after()["truck", "engine"]
    driven = float(cycle.trace.distance_m[-1]) / 1000.0
    assert after.clear_km - before.clear_km == pytest.approx(driven, rel=0.01)
    assert after.clear_min - before.clear_min == pytest.approx(cycle.trace.running.sum() / 1200.0)
    assert (after.cycles, after.denominator) == (before.cycles + 1, before.denominator + 1)
    recall = cycle.recall(engine)
    assert recall.complete(1.0, this_cycle=True) == frozenset()
    assert {"components", "fuel"} <= recall.complete(600.0, this_cycle=True)


def test_mil_belongs_to_whoever_keeps_emission_codes() -> None:
    assert AMBER_AND_MIL.mil == "on"
    cycle = live_through(outing_of("big_tractor", ("idle", 10)), 1)
    assert all(fault.lamps.mil == "off" for fault in cycle.faults)
    cycle = live_through(outing_of("truck", ("idle", 10)), 1)
    lit = {fault.controller for fault in cycle.faults if fault.lamps.mil == "on"}
    assert lit == {"engine"}
