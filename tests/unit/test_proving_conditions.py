"""Every cause shows a code that it lists, or a reading plainly off, under its own conditions."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from shearbolt.proving.causes import CATALOGUE, Cause, cause
from shearbolt.proving.causes.conditions import CONDITIONS, Conditions, conditions_of
from shearbolt.proving.common_codes import codes_of
from shearbolt.proving.electrics import standing
from shearbolt.proving.faults import Fault, debounce
from shearbolt.proving.machines import FLEET
from shearbolt.proving.manners import manner_of
from shearbolt.proving.outing import on_until
from shearbolt.proving.physics import Battery
from shearbolt.proving.plight import HEALTHY, Plight
from shearbolt.proving.quantities import OWN_READINGS, TRUE_READINGS, true_reading
from shearbolt.proving.sensing import circuit_of, sensed
from shearbolt.proving.shifts import ROUNDS, USUAL, shift
from shearbolt.proving.trace import Day, Trace, simulate

MACHINES = {one.key: one for one in FLEET}
WARMTH = {
    "cold": Day(),
    "warm": Day(coolant_c=82.0, oil_c=86.0, hydraulic_c=55.0, transmission_c=70.0, exhaust_c=300.0),
    "hot": Day(coolant_c=92.0, oil_c=108.0, hydraulic_c=78.0, transmission_c=92.0, exhaust_c=380.0),
}
SEED = 1


@cache
def lived(machine: str, terms: Conditions, plight: Plight) -> Trace:
    build = MACHINES[machine].build
    assert build is not None
    battery = standing(Battery(), build, plight.health, terms.stood_h)
    day = replace(
        WARMTH[terms.start], ambient_c=terms.ambient_c, soot_pct=terms.soot_pct, wet=0.8,
        def_pct=40.0, battery=battery, plight=plight,
    )  # fmt: skip
    rng = np.random.default_rng(SEED)
    kind = terms.kind or USUAL[machine][0]
    phases = shift(kind, terms.minutes, rng, cold=terms.start == "cold")
    return simulate(build, day, phases, np.random.default_rng(SEED))


def trace_with(one: Cause, machine: str, terms: Conditions) -> Trace:
    """The trace with a cause; worked out afresh only where mechanics or habits change."""
    plight = one.worsen(HEALTHY, 1.0)
    deep = plight.health, plight.habits, plight.inhibits
    if deep == (HEALTHY.health, HEALTHY.habits, HEALTHY.inhibits):
        sound = lived(machine, terms, HEALTHY)
        return replace(sound, day=replace(sound.day, plight=plight), memo={})
    return lived(machine, terms, plight)


@cache
def watched(machine: str, implement: bool) -> tuple[Fault, ...]:
    there = [MACHINES[machine]] + ([MACHINES["loader_wagon"]] if implement else [])
    return tuple(
        code
        for each in there
        for one in each.controllers
        for code in codes_of(each, one, manner_of(each.key, one))
    )


def shown(one: Cause, machine: str, terms: Conditions) -> set[tuple[int, int]]:
    """Return which of a cause's codes some controller finds."""
    trace = trace_with(one, machine, terms)
    steps = on_until(trace)
    found = set()
    for code in watched(machine, "loader_wagon" in one.machines):
        if (code.spn, code.fmi) in one.shows:
            condition = code.watch(trace)[:steps]
            if condition.any() and debounce(condition, code.set_s, code.heal_s):
                found.add((code.spn, code.fmi))
    return found


def places(one: Cause, terms: Conditions) -> list[str]:
    if terms.machine is not None:
        return [terms.machine]
    return [key for key in one.machines if MACHINES[key].controllers]


CODED = [key for key in sorted(CATALOGUE) if conditions_of(key).by == "code"]
READ = [key for key in sorted(CATALOGUE) if conditions_of(key).by == "reading"]


@pytest.mark.parametrize("key", CODED)
def test_every_cause_shows_one_of_its_codes(key: str) -> None:
    one, terms = cause(key), conditions_of(key)
    short = replace(terms, minutes=min(terms.minutes, 8.0))
    assert any(
        shown(one, machine, each)
        for each in dict.fromkeys((short, terms))
        for machine in places(one, terms)
    )


@pytest.mark.parametrize("key", READ)
def test_what_sets_no_code_shows_in_a_reading(key: str) -> None:
    one, terms = cause(key), conditions_of(key)
    (machine, *_) = places(one, terms)
    # Bad fluid shows that a quality sensor is stuck, which good fluid hides.
    base = replace(HEALTHY, health=replace(HEALTHY.health, def_concentration_pct=6.0))
    before = base if key == "sensor.stuck.3516" else HEALTHY
    sound = lived(machine, terms, before)
    sick = lived(machine, terms, one.worsen(before, 1.0))
    assert shown(one, machine, terms) == set()
    off = []
    for spn in {*one.affects, *((3719,) if "injector" in key else ())}:
        if spn in TRUE_READINGS or spn in OWN_READINGS:
            usual = float(np.abs(true_reading(sound, spn)).max())
            apart = float(np.abs(sensed(sick, spn) - sensed(sound, spn)).max())
            off.append(apart > max(4.0 * circuit_of(spn).noise, 0.03 * usual))
    assert any(off)


def test_conditions_are_of_this_world() -> None:
    classes = {one.cause_class for one in CATALOGUE.values()}
    for key, terms in CONDITIONS.items():
        assert key in CATALOGUE or key in classes, key
        assert terms.note.endswith(".")
        assert terms.kind is None or terms.kind in ROUNDS
        assert terms.machine is None or terms.machine in MACHINES
    assert len(READ) <= 8
