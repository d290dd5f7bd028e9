"""Outings for tests of the proving ground: short, watched, of any machine with any cause."""

from __future__ import annotations

from dataclasses import replace

from shearbolt.proving.causes import cause
from shearbolt.proving.controllers import Machine
from shearbolt.proving.machines import FLEET
from shearbolt.proving.outing import Outing, work
from shearbolt.proving.plight import HEALTHY
from shearbolt.proving.trace import Activity, Day

MACHINES = {one.key: one for one in FLEET}
START: tuple[tuple[Activity, int], ...] = (("key_on", 4), ("crank", 2))


def worked(*parts: tuple[Activity, int]) -> tuple[tuple[Activity, int], ...]:
    return (*START, *parts)


def outing_of(
    machine: str | Machine,
    *parts: tuple[Activity, int],
    day: Day | None = None,
    causes: tuple[str, ...] = (),
    severity: float = 1.0,
) -> Outing:
    """Make a watched outing from key-on to the end of its parts."""
    one = MACHINES[machine] if isinstance(machine, str) else machine
    plight = HEALTHY
    for key in causes:
        plight = cause(key).worsen(plight, severity)
    found = Day() if day is None else day
    return Outing(
        "test.log",
        "candump",
        "2026-07-01T08:00:00Z",
        one,
        replace(found, plight=plight),
        work(*worked(*parts)),
        watched=True,
    )
