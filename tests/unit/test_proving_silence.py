"""Sound machines are silent: no code of any controller in any kind of work, cold or warm."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pytest

from shearbolt.proving.causes import cause
from shearbolt.proving.cycle import KeyCycle, live_through
from shearbolt.proving.machines import FLEET
from shearbolt.proving.outing import Outing
from shearbolt.proving.plight import HEALTHY
from shearbolt.proving.shifts import USUAL, shift
from shearbolt.proving.trace import Day

MACHINES = {one.key: one for one in FLEET}
WORK = [
    (key, kind)
    for key, kinds in USUAL.items()
    for kind in kinds
    if MACHINES[key].build is not None and MACHINES[key].controllers
]
HAULED_MIN, OTHER_MIN = 26.0, 16.0
"""A haul goes up and down hill; a quarter of an hour shows the rest of a day's round."""


def lived(key: str, kind: str, seed: int, day: Day) -> KeyCycle:
    wagon = MACHINES["loader_wagon"] if kind == "carting" else None
    minutes = HAULED_MIN if kind == "hauling" else OTHER_MIN
    rng = np.random.default_rng(seed)
    phases = shift(kind, minutes, rng, cold=day.coolant_c is None)
    started = "2025-06-10T08:00:00Z"
    return live_through(
        Outing("", "", started, MACHINES[key], day, phases, implement=wagon, watched=True), seed
    )


def codes(cycle: KeyCycle) -> Iterator[tuple[str, int, int]]:
    for index, found in cycle.found.items():
        if found.held or found.failed_s:
            fault = cycle.faults[index]
            yield fault.controller, fault.spn, fault.fmi


def warm(ambient_c: float) -> Day:
    return Day(
        ambient_c=ambient_c, coolant_c=82.0, oil_c=86.0, hydraulic_c=55.0, transmission_c=70.0
    )


@pytest.mark.parametrize(("key", "kind"), WORK)
def test_a_sound_machine_shows_no_code(key: str, kind: str) -> None:
    for seed, day in ((1, Day(ambient_c=12.0)), (2, warm(31.0)), (3, warm(3.0))):
        assert list(codes(lived(key, kind, seed, day))) == []


def test_only_a_cold_filter_bypasses_where_nothing_is_broken() -> None:
    """At 3 °C the oil is too thick for the clean return filter, and the code says what is so."""
    found = set(codes(lived("telehandler", "loading", 1, Day(ambient_c=3.0))))
    assert found == {("hydraulics", 1713, 0)}


def test_a_brake_is_ridden_only_against_the_engine() -> None:
    """Holding a loaded truck back downhill for a minute is no misuse."""
    code = ("transmission", 597, 31)
    sound = lived("truck", "hauling", 2, warm(18.0))
    assert sound.trace.brake.any()
    assert code not in set(codes(sound))
    day = warm(18.0)
    rides = cause("operator.rides_brake").worsen(HEALTHY, 1.0)
    for key, kind in (("big_tractor", "mowing"), ("telehandler", "clamp")):
        ridden = lived(key, kind, 2, Day(18.0, coolant_c=day.coolant_c, plight=rides))
        assert code in set(codes(ridden))
