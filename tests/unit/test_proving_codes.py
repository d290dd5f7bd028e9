"""What controllers find by themselves: each true cause shows as its own code, health as none."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from tests.played_outings import MACHINES, outing_of

from shearbolt.proving.common_codes import codes_of
from shearbolt.proving.cycle import live_through
from shearbolt.proving.faults import debounce
from shearbolt.proving.manners import manner_of
from shearbolt.proving.trace import Activity, Day
from shearbolt.proving.watches import recent

Parts = tuple[tuple[Activity, int], ...]
Code = tuple[str, int, int]
WARM = Day(ambient_c=20.0, coolant_c=84.0, oil_c=88.0, hydraulic_c=50.0, transmission_c=66.0)
COOL = Day(ambient_c=12.0)


def codes(
    machine: str, causes: tuple[str, ...], day: Day, *parts: tuple[Activity, int]
) -> set[Code]:
    cycle = live_through(outing_of(machine, *parts, day=day, causes=causes), 5)
    return {
        (fault.controller, fault.spn, fault.fmi)
        for fault in (cycle.faults[index] for index, one in cycle.found.items() if one.failed_s)
    }


HEALTHY_DAYS: tuple[tuple[str, Parts], ...] = (
    ("big_tractor", (("idle", 40), ("mow", 300), ("road", 120), ("till", 120))),
    ("new_tractor", (("idle", 40), ("collect", 200), ("haul", 200), ("queue", 60))),
    ("utility_tractor", (("idle", 40), ("mow", 200), ("yard", 120))),
    ("forager", (("idle", 40), ("road", 100), ("chop", 300))),
    ("telehandler", (("idle", 40), ("load", 300))),
    ("truck", (("idle", 40), ("haul", 300), ("town", 120))),
)


@pytest.mark.parametrize(("machine", "parts"), HEALTHY_DAYS)
@pytest.mark.parametrize("air_c", [-3.0, 16.0, 32.0])
def test_a_sound_machine_sets_no_code(machine: str, parts: Parts, air_c: float) -> None:
    found = codes(machine, (), Day(ambient_c=air_c), *parts)
    # Cold oil closes the filter switch of a sound machine (reference sheet 6.6).
    assert found - {("hydraulics", 1713, 0)} == set()


@pytest.mark.parametrize(
    ("machine", "cause", "day", "parts", "code"),
    [
        # Circuits: the pin tells (reference sheet 6.9, 6.10)
        ("big_tractor", "wiring.open.110", COOL, (("idle", 20),), ("engine", 110, 3)),
        ("big_tractor", "wiring.short_minus.110", COOL, (("idle", 20),), ("engine", 110, 4)),
        ("big_tractor", "wiring.open.100", COOL, (("idle", 20),), ("engine", 100, 4)),
        ("big_tractor", "wiring.short_plus.100", COOL, (("idle", 20),), ("engine", 100, 3)),
        ("new_tractor", "wiring.open.3251", WARM, (("idle", 20),), ("treatment", 3251, 4)),
        ("telehandler", "wiring.open.191", WARM, (("load", 60),), ("transmission", 191, 8)),
        ("truck", "wiring.chafed_vibration.100", WARM, (("haul", 200),), ("engine", 100, 2)),
        ("new_tractor", "wiring.short_minus.91", COOL, (("idle", 20),), ("transmission", 91, 19)),
        # Sensors
        ("new_tractor", "sensor.drift.105", COOL, (("idle", 20),), ("engine", 105, 20)),
        ("truck", "sensor.offset.3251", COOL, (("idle", 20),), ("engine", 3251, 20)),
        ("big_tractor", "sensor.stuck.100", WARM, (("mow", 120),), ("engine", 100, 2)),
        ("new_tractor", "sensor.noisy.1873", WARM, (("mow", 60),), ("tractor", 1873, 2)),
        ("telehandler", "sensor.noisy.520203", WARM, (("load", 60),), ("hydraulics", 520_203, 2)),
        # Supplies
        ("new_tractor", "shared_supply.short.engine_a", COOL, (("idle", 20),), ("engine", 3509, 4)),
        ("new_tractor", "shared_supply.over.engine_a", COOL, (("idle", 20),), ("engine", 3509, 3)),
        ("utility_tractor", "low_voltage.battery_old", Day(ambient_c=14.0), (("idle", 20),),
         ("engine", 158, 18)),
        ("big_tractor", "low_voltage.alternator_dead", COOL, (("mow", 200),), ("engine", 168, 18)),
        ("big_tractor", "low_voltage.regulator_high", COOL, (("mow", 60),), ("engine", 168, 16)),
        # Network and feeds
        ("new_tractor", "wiring.feed_loose.transmission", WARM, (("mow", 90),),
         ("engine", 639, 9)),
        ("new_tractor", "wiring.feed_loose.transmission", WARM, (("mow", 90),),
         ("transmission", 627, 2)),
        ("new_tractor", "network.mute.treatment", WARM, (("mow", 90),), ("engine", 639, 9)),
        ("new_tractor", "network.no_terminator", WARM, (("mow", 40),), ("transmission", 639, 19)),
        ("new_tractor", "network.babble.cab", WARM, (("mow", 60),), ("engine", 639, 2)),
        # What is really so
        ("big_tractor", "real_condition.bearings_worn", WARM, (("mow", 60), ("idle", 60)),
         ("engine", 100, 18)),
        ("big_tractor", "real_condition.coolant_low", COOL, (("idle", 30),), ("engine", 111, 1)),
        ("big_tractor", "real_condition.water_in_fuel", COOL, (("idle", 20),), ("engine", 97, 31)),
        ("big_tractor", "real_condition.boost_leak", WARM, (("mow", 120),), ("engine", 102, 18)),
        ("truck", "real_condition.brake_air_leaks", WARM, (("haul", 60),), ("brakes", 1087, 18)),
        ("telehandler", "real_condition.hydraulic_filter_plugged", WARM, (("load", 60),),
         ("hydraulics", 1713, 0)),
        # Use
        ("big_tractor", "operator.leaves_seat", WARM, (("mow", 60), ("queue", 240)),
         ("cab", 520_201, 31)),
        ("big_tractor", "operator.park_dragged", WARM, (("road", 60),), ("transmission", 70, 31)),
        ("big_tractor", "operator.starts_in_gear", COOL, (("idle", 20),),
         ("transmission", 524_020, 31)),
        ("big_tractor", "operator.pto_at_speed", WARM, (("idle", 20), ("mow", 60)),
         ("cab", 1883, 31)),
        # Settings
        ("big_tractor", "calibration.pedal_not_taught", COOL, (("idle", 20),), ("engine", 91, 13)),
        ("big_tractor", "calibration.hitch_not_taught", WARM, (("road", 60),),
         ("implement_gateway", 1873, 13)),
        ("big_tractor", "calibration.wheel_size", WARM, (("road", 90),), ("cab", 84, 13)),
    ],
)  # fmt: skip
def test_a_cause_shows_as_its_code(
    machine: str, cause: str, day: Day, parts: Parts, code: Code
) -> None:
    assert code in codes(machine, (cause,), day, *parts)


def test_soot_and_inhibits_show_at_the_treatment() -> None:
    day = Day(ambient_c=12.0, soot_pct=103.0, inhibit_switch=True)
    found = codes("new_tractor", (), day, ("road", 90), ("queue", 30))
    assert {("treatment", 3719, 16), ("treatment", 3703, 31)} <= found


def test_the_wagon_notices_its_own_cable() -> None:
    outing = outing_of(
        "big_tractor", ("idle", 20), ("collect", 420), day=WARM, causes=("wiring.wagon_cable",)
    )
    cycle = live_through(replace(outing, implement=MACHINES["loader_wagon"]), 5)
    assert {cycle.faults[spell.fault].spn for spell in cycle.held("wagon")} == {521_010}
    assert cycle.stores_after()["loader_wagon", "wagon"].code(521_010, 5) is not None


def test_who_is_without_power_notices_nothing() -> None:
    outing = outing_of(
        "new_tractor", ("mow", 120), day=WARM, causes=("wiring.feed_loose.transmission",)
    )
    cycle = live_through(outing, 5)
    _, box = cycle.place("transmission")
    alive = cycle.lives(box)
    assert len(alive) > 3
    for spell in cycle.held("transmission"):
        assert any(begin <= spell.set_s < end + 0.1 for begin, end, _ in alive)


def test_every_code_is_watched_once_a_controller() -> None:
    for machine in MACHINES.values():
        for controller in machine.controllers:
            rows = codes_of(machine, controller, manner_of(machine.key, controller))
            keys = [(one.spn, one.fmi) for one in rows]
            assert len(keys) == len(set(keys))
            assert all(0 <= spn < 1 << 19 and 0 <= fmi < 32 for spn, fmi in keys)


def test_recent_counts_the_last_seconds() -> None:
    events = np.zeros(200, np.bool_)
    events[[10, 30, 150]] = True
    counted = recent(events, 2.0)
    assert counted[30] == 2
    assert counted[60] == 1
    assert counted[75] == 0
    assert counted[150] == 1
    assert recent(np.ones(5, np.bool_), 60.0).tolist() == [1, 2, 3, 4, 5]


def test_debounce_of_nothing_and_of_all() -> None:
    assert debounce(np.zeros(40, np.bool_), 1.0, 1.0) == ()
    assert debounce(np.ones(40, np.bool_), 1.0, 1.0) == ((1.0, None),)
