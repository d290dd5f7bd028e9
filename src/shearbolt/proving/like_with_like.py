"""Comparing like with like: what a look would have found with fewer causes at work before it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from shearbolt.proving.blame import Code
from shearbolt.proving.causes import Active
from shearbolt.proving.cycle import KeyCycle
from shearbolt.proving.memory import Store
from shearbolt.proving.plight import Plight
from shearbolt.proving.trace import Day
from shearbolt.proving.truth import Cause

_SOOTY = ("inhibited_regeneration", "real_condition.oxidation_aged",
          "real_condition.soot_from_engine", "calibration.injector_codes")  # fmt: skip
"""Causes that let soot pile up."""
_WARM_C = (88.0, 96.0, 62.0, 82.0)
"""What coolant, engine oil, hydraulic and gearbox oil come to in ordinary work."""


def step_of(severity: float) -> int:
    """Return severities alike as one number: a factor of 1.8 makes a difference."""
    return round(1.7 * float(np.log(max(severity, 1e-3))))


def sooty(few: Sequence[Active]) -> bool:
    """Tell whether soot piles up with these causes at work."""
    return any(one.cause.key.startswith(_SOOTY) for one in few)


_FROM_COLD = ("sensor.drift", "sensor.stuck", "operator.revs_cold", "wiring.resistance",
              "calibration.hydraulic_sensor_kind")  # fmt: skip
"""Causes that show most at a start after a night."""


def as_after_a_break(day: Day, few: Sequence[Active]) -> Day:
    """Return a start as most of a day's are, with the engine still warm from the shift before.

    Left as it is where a cold start is what brings a cause to light; other fluids stay cold.
    """
    if any(one.cause.key.startswith(_FROM_COLD) for one in few):
        return day
    return replace(
        day, coolant_c=max(60.0, day.coolant_c or 0.0), oil_c=max(55.0, day.oil_c or 0.0)
    )


def as_without(day: Day, few: Sequence[Active], plight: Plight) -> Day:
    """Return what a look would have found had only a few of the causes been at work before it."""
    warm = [
        None if value is None else min(value, most)
        for value, most in zip(
            (day.coolant_c, day.oil_c, day.hydraulic_c, day.transmission_c), _WARM_C, strict=True
        )
    ]
    low = any(one.cause.cause_class == "low_voltage" for one in few)
    battery = day.battery if low else replace(day.battery, charge=max(0.85, day.battery.charge))
    return replace(
        day,
        coolant_c=warm[0],
        oil_c=warm[1],
        hydraulic_c=warm[2],
        transmission_c=warm[3],
        soot_pct=day.soot_pct if sooty(few) else min(40.0, day.soot_pct),
        battery=battery,
        plight=plight,
    )


def with_true_causes(cycle: KeyCycle, blame: Mapping[Code, tuple[object, str]]) -> KeyCycle:
    """Return a key cycle whose faults carry their true causes."""
    faults = tuple(
        replace(one, cause=both[0], words=both[1])  # type: ignore[arg-type]
        if (both := blame.get((one.controller, one.spn, one.fmi)))
        else one
        for one in cycle.faults
    )
    return replace(cycle, faults=faults)


def remembered(stores: Mapping[tuple[str, str], Store]) -> dict[Code, tuple[Cause, str]]:
    """Return the true causes of all that controllers keep from before."""
    return {
        (controller, one.spn, one.fmi): (one.cause, one.words)
        for (_, controller), store in stores.items()
        for one in store.kept
    }
