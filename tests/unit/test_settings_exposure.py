"""What a setting is searched on: tables, conditions, exposure and starts."""

from __future__ import annotations

import numpy as np
import pytest
from tests.made_settings import Yard, made_tables

from shearbolt.model.controller import ControllerSeen, Dm1Manner
from shearbolt.model.fault import FaultKey, FaultSeen, Spell
from shearbolt.model.state import F32, StateColumn, StateKey, StateTable
from shearbolt.model.visit import Quality
from shearbolt.reasoning.case import FaultCase, FaultInVisit, MachineCase, VisitCase
from shearbolt.reasoning.settings import (
    VisitTable,
    Watched,
    ground_of,
    settings_of,
    tables_of,
    watched,
)
from shearbolt.reasoning.settings.tables import cycles_of
from shearbolt.reasoning.settings.watch import MOST_UNITS, watch_of

SECOND_US = 1_000_000


def table(visit: str, columns: dict[str, F32], count: int) -> VisitTable:
    second = np.arange(count, dtype=np.int64)
    return VisitTable(visit, 0, second, np.zeros(count, np.int64), columns, {})


def spell(start_s: float, end_s: float, known: bool = True) -> Spell:
    return Spell(
        int(start_s * SECOND_US), known, int(end_s * SECOND_US), None, "healed", None, None
    )


FAULT = FaultCase("f1", "j1939", "c1", 3, 191, 2, None, "output speed")


def visit_case(
    name: str,
    spells: tuple[Spell, ...],
    columns: dict[int, F32],
    manner: Dm1Manner = "always",
    quality: Quality = "complete",
    seconds: int = 600,
) -> VisitCase:
    end_us = seconds * SECOND_US
    seen = FaultSeen(
        FaultKey("j1939", "can0", 3, 191, 2), ("dm1",), 0, end_us, "active", spells=spells
    )
    state = StateTable(
        np.arange(seconds, dtype=np.int64),
        {
            StateKey("can0", 0, spn): StateColumn(
                values, values, values, np.zeros(seconds, np.uint8)
            )
            for spn, values in columns.items()
        },
    )
    controller = ControllerSeen(
        "can0", 3, None, 10 * SECOND_US, end_us, 100, manner, 50, 0, 40, None
    )
    return VisitCase(
        name,
        "recording",
        quality,
        0,
        0,
        0,
        end_us,
        None,
        None,
        state,
        (controller,),
        (),
        (FaultInVisit("f1", seen),) if spells else (),
        (),
        (),
        (),
    )


def test_dead_time_is_no_exposure() -> None:
    ground = ground_of([table("v", {"load_pct": np.arange(100, dtype=np.float32)}, 100)])
    watch = watch_of(ground, [Watched("v", (20.4, 60.0), ((20.4, 40.9), (60.0, 61.0)), (5.5, 95))])
    exposed = np.flatnonzero(watch.exposed)
    expected = [*range(5, 21), *range(41, 61), *range(62, 96)]
    np.testing.assert_array_equal(exposed, expected)
    np.testing.assert_array_equal(watch.start_rows, [20, 60])
    # Within 30 s of exposed time: one burst.
    np.testing.assert_array_equal(watch.unit_rows, [20])


def test_a_spell_begun_before_is_no_start_and_no_exposure() -> None:
    ground = ground_of([table("v", {"load_pct": np.arange(100, dtype=np.float32)}, 100)])
    case = MachineCase(
        "m", "machine", (visit_case("v", (spell(12, 30, known=False),), {}, seconds=100),), (FAULT,)
    )
    (told,) = watched(case, FAULT)
    assert told.unknown == 1
    assert told.starts_s == ()
    watch = watch_of(ground, [told])
    assert watch.unknown == 1
    assert not watch.exposed[:31].any()
    assert watch.exposed[31:].all()


def test_lossy_and_unheard_visits_are_left_out() -> None:
    load = {92: np.arange(600, dtype=np.float32)}
    visits = (
        visit_case("lossy", (spell(20, 30),), load, quality="lossy"),
        visit_case("mute", (), load, manner="never_heard"),
        visit_case("clean", (), load),
        visit_case("with", (spell(100, 120),), load),
    )
    case = MachineCase("m", "machine", visits, (FAULT,))
    assert [one.visit for one in watched(case, FAULT)] == ["clean", "with"]


def test_many_bursts_are_thinned_evenly() -> None:
    ground = ground_of([table("v", {"load_pct": np.arange(30_000, dtype=np.float32)}, 30_000)])
    starts = tuple(float(at) for at in range(100, 29_000, 200))
    active = tuple((at, at + 2) for at in starts)
    watch = watch_of(ground, [Watched("v", starts, active, None)])
    assert len(watch.start_rows) == len(starts)
    assert len(watch.unit_rows) == MOST_UNITS
    assert watch.unit_rows[0] == 100
    assert watch.unit_rows[-1] == starts[-1]


def test_constant_and_missing_quantities_have_no_conditions() -> None:
    rng = np.random.default_rng(0)
    load = rng.normal(50, 10, 500).astype(np.float32)
    load[100:200] = np.nan
    ground = ground_of(
        [
            table(
                "v",
                {
                    "load_pct": load,
                    "barometer_kpa": np.full(500, 100.0, np.float32),
                    "boost_kpa": np.full(500, np.nan, np.float32),
                },
                500,
            )
        ]
    )
    assert {one.quantity for one in ground.conditions if one is not None} == {"load_pct"}
    # Where it is not known, neither side holds.
    assert not ground.flags(np.arange(100, 200)).any()
    for bit, one in enumerate(ground.conditions):
        if one is not None:
            known = np.r_[0:100, 200:500]
            wanted = load[known] < one.value if one.op == "<" else load[known] > one.value
            np.testing.assert_array_equal(ground.flags(known)[:, bit].astype(bool), wanted)


def test_states_are_told_one_by_one() -> None:
    state = np.repeat(np.array([0, 1, 3], np.float32), 50)
    ground = ground_of([table("v", {"brake": state}, 150)])
    conditions = [one for one in ground.conditions if one is not None]
    assert [(one.op, one.value) for one in conditions] == [("=", 0.0), ("=", 1.0), ("=", 3.0)]
    flags = ground.flags(np.arange(150))
    for bit, one in enumerate(conditions):
        np.testing.assert_array_equal(flags[:, bit].astype(bool), state == one.value)


def test_key_cycles_begin_after_quiet_and_after_standing() -> None:
    second = np.r_[0:100, 130:230].astype(np.int64)
    running = np.zeros(200, np.bool_)
    running[10:40] = running[60:90] = running[110:180] = True
    stopped_s = np.full(200, np.nan)
    for first, last in ((0, 10), (40, 60), (90, 110), (180, 200)):
        stopped_s[first:last] = np.arange(last - first)
    cycle = cycles_of(second, running, stopped_s)
    # Standing from row 40 (known 5 s later), the gap at row 100; standing at the end is no new one.
    assert np.flatnonzero(np.diff(cycle)).tolist()[0] == 44
    assert cycle[99] != cycle[100]
    assert cycle[-1] == cycle[150]


def test_a_log_in_several_files_is_one_key_cycle() -> None:
    values = np.arange(100, dtype=np.float32)
    parts = [
        VisitTable(
            f"v{i}",
            zero_s * SECOND_US,
            np.arange(100, dtype=np.int64),
            np.zeros(100, np.int64),
            {"load_pct": values},
            {},
        )
        for i, zero_s in enumerate((0, 100, 205, 400))
    ]
    assert ground_of(parts).cycle[::100].tolist() == [0, 0, 0, 1]


def test_a_table_comes_from_a_visit() -> None:
    rng = np.random.default_rng(2)
    rpm = np.r_[np.zeros(20), np.full(3, 200.0), np.full(577, 900.0)].astype(np.float32)
    speed = np.clip(np.cumsum(rng.normal(0, 1, 600)), 0, 40).astype(np.float32)
    visit = visit_case("v", (spell(100, 120),), {190: rpm, 84: speed})
    case = MachineCase("m", "machine", (visit,), (FAULT,))
    (made,) = tables_of(case)
    assert made.spns["engine_rpm"] == 190
    assert made.columns["minutes_since_start"][23 + 60] == pytest.approx(1.0)
    assert np.isnan(made.columns["minutes_since_start"][5])
    assert made.columns["cranking"][21] == 1.0
    assert made.columns["slowing_kmh_s"][10] == pytest.approx((speed[7] - speed[10]) / 3, abs=1e-5)
    setting = settings_of(case)["f1"]
    assert (setting.status, setting.starts_total) == ("cannot_tell", 1)
    assert setting.p_smallest == 1.0


def test_no_visits_and_no_quantities_are_no_error() -> None:
    assert settings_of(MachineCase("m", "machine", (), (FAULT,)))["f1"].status == "no_starts"
    ground = ground_of(made_tables(np.random.default_rng(0), Yard(0)))
    assert ground.rows == 0
    bare = MachineCase(
        "m", "machine", (visit_case("v", (spell(50, 60), spell(300, 310)), {}),), (FAULT,)
    )
    assert settings_of(bare)["f1"].status == "cannot_tell"
