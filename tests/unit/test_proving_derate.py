"""Derate and inducement: torque that is left, levels over hours, and what they tell."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from tests.played_outings import outing_of

from shearbolt.proving.bus import play
from shearbolt.proving.cycle import live_through
from shearbolt.proving.derate import INDUCEMENT, LEVEL_LIMIT, PROTECTION, derate
from shearbolt.proving.faults import AMBER, Fault, during
from shearbolt.proving.memory import Store
from shearbolt.proving.reports import Held
from shearbolt.proving.trace import STEP_S, Day

HOT = Day(ambient_c=27.0, coolant_c=96.0, oil_c=99.0, radiator_share=0.15)
EMPTY = Day(ambient_c=20.0, coolant_c=84.0, def_pct=3.0)
LIMITED = Fault("engine", 110, 0, AMBER, during(), 0.0, 0.0, "real_condition", "", derate_pct=60.0)


def test_limit_is_led_down_and_up() -> None:
    trace = live_through(outing_of("truck", ("idle", 60)), 1).trace
    held = [Held(0, 1, 10.0, 30.0, AMBER)]
    quiet = np.zeros(len(trace.time_s), np.bool_)
    limit = derate(trace, [LIMITED], [held], [quiet], 0.0).limit_pct
    at = {second: limit[int(second / STEP_S)] for second in (9, 11, 13, 20, 29, 32, 50)}
    assert at[9] == 100.0
    # 6 % a second down, 3 % a second up
    assert at[11] == pytest.approx(94.0, abs=1.0)
    assert at[13] == pytest.approx(82.0, abs=1.0)
    assert at[20] == at[29] == 60.0
    assert at[32] == pytest.approx(66.0, abs=1.0)
    assert at[50] == 100.0
    pending = [replace(held[0], confirmed=False)]
    assert not derate(trace, [LIMITED], [pending], [quiet], 0.0).limits


def test_an_overheated_engine_is_limited_and_says_so() -> None:
    outing = outing_of("forager", ("chop", 300), day=HOT)
    played = play(outing, 4)
    found = {
        (one.controller, one.spn, one.fmi)
        for one in (played.faults[i] for i, held in played.held.items() if held)
    }
    assert {("engine", 110, 16), ("engine", 110, 0), ("engine", PROTECTION, 31)} <= found
    assert played.trace.torque_limit_pct.min() == pytest.approx(60.0, abs=0.5)
    free = live_through(replace(outing, watched=False), 4).trace
    limited = played.trace.torque_limit_pct < 65.0
    assert played.trace.load_pct[limited].mean() < free.load_pct[limited].mean()
    ident = 3 << 26 | 61443 << 8
    words = played.frames.word[played.frames.ident == ident]
    told = ((words >> np.uint64(48)) & np.uint64(0xFF)).astype(np.float64) * 0.4
    assert told.min() == pytest.approx(60.0, abs=0.5)
    assert told[:50].max() == 100.0


def test_inducement_goes_on_over_key_cycles_and_ends_with_the_want() -> None:
    outing = outing_of("truck", ("idle", 60), day=EMPTY)
    levels = []
    stores: dict[tuple[str, str], Store] = {}
    for hours in (0.0, 2.5, 4.5, 21.0):
        kept = {key: replace(one, induced_s=hours * 3600.0) for key, one in stores.items()}
        cycle = live_through(replace(outing, stores=kept), 3)
        assert cycle.limited is not None
        levels.append(int(cycle.limited.severity[-1]))
        limit = cycle.limited.limit_pct[-1]
        assert limit == pytest.approx(LEVEL_LIMIT[levels[-1]], abs=1.0)
        codes = {(one.spn, one.fmi) for i in cycle.found for one in (cycle.faults[i],)}
        level_code = {1: 15, 2: 16, 3: 16, 5: 0}[levels[-1]]
        assert (INDUCEMENT, level_code) in codes
        stores = cycle.stores_after()
        assert stores["truck", "engine"].induced_s > hours * 3600.0
    assert levels == [1, 2, 3, 5]
    filled = replace(outing, day=replace(EMPTY, def_pct=80.0), stores=stores)
    long = replace(filled, phases=(*filled.phases, replace(filled.phases[-1], seconds=560)))
    after = live_through(long, 3).stores_after()
    assert after["truck", "engine"].induced_s == 0.0


def test_severity_is_sent() -> None:
    played = play(outing_of("truck", ("idle", 60), day=EMPTY), 3)
    ident = 6 << 26 | 65110 << 8
    words = played.frames.word[played.frames.ident == ident]
    # SPN 5246: byte 6, bits 6 to 8
    severity = (words >> np.uint64(45)) & np.uint64(7)
    assert set(severity.tolist()) == {0, 1}
