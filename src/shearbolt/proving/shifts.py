"""Days of work: which activities follow one another, and how a machine comes out of a night."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from shearbolt.proving.electrics import standing
from shearbolt.proving.plight import Plight
from shearbolt.proving.trace import Day, Trace
from shearbolt.proving.warmth import Warmth, rest
from shearbolt.proving.work import Activity, Phase


@dataclass(frozen=True, slots=True)
class Stretch:
    """One activity of a day's round, with how long it takes."""

    activity: Activity
    least_min: float
    most_min: float


ROUNDS: Mapping[str, tuple[Stretch, ...]] = {
    "mowing": (Stretch("road", 8, 20), Stretch("mow", 25, 70), Stretch("idle", 2, 6),
               Stretch("mow", 20, 50)),
    "tilling": (Stretch("road", 8, 20), Stretch("till", 40, 90), Stretch("idle", 2, 5)),
    "chopping": (Stretch("road", 10, 25), Stretch("chop", 25, 60), Stretch("queue", 2, 8),
                 Stretch("chop", 20, 55), Stretch("idle", 2, 8)),
    "carting": (Stretch("collect", 8, 14), Stretch("road", 6, 14), Stretch("queue", 3, 14),
                Stretch("tip", 3, 5), Stretch("road", 6, 14)),
    "clamp": (Stretch("push", 25, 60), Stretch("idle", 3, 10), Stretch("push", 15, 40)),
    "loading": (Stretch("load", 15, 40), Stretch("yard", 4, 12), Stretch("idle", 2, 8)),
    "yard": (Stretch("yard", 8, 20), Stretch("idle", 4, 12), Stretch("road", 3, 8)),
    "hauling": (Stretch("yard", 2, 4), Stretch("haul", 18, 40), Stretch("idle", 4, 12),
                Stretch("road", 15, 35)),
    "errands": (Stretch("town", 8, 20), Stretch("road", 10, 30), Stretch("idle", 1, 4)),
}  # fmt: skip
"""Kinds of days; a day repeats its round until it is over."""

USUAL: Mapping[str, tuple[str, ...]] = {
    "big_tractor": ("mowing", "tilling", "carting"),
    "new_tractor": ("carting", "mowing", "tilling"),
    "utility_tractor": ("yard", "mowing"),
    "forager": ("chopping",),
    "telehandler": ("loading", "clamp"),
    "truck": ("hauling",),
    "pickup": ("errands",),
    "loader_wagon": ("carting",),
}
"""What each machine of the yard does, the most usual first."""


def shift(
    kind: str, minutes: float, rng: np.random.Generator, *, after_run_s: int = 20, cold: bool = True
) -> tuple[Phase, ...]:
    """Lay out one stretch from key to key: start, warm up, rounds of work, cool down, key off.

    `minutes` is about how long the engine runs. Raises KeyError for a kind of day that is not in
    `ROUNDS`.
    """
    stretches = ROUNDS[kind]
    phases = [
        Phase("key_on", int(rng.integers(2, 6))),
        Phase("crank", int(rng.integers(1, 3)) + int(cold)),
        Phase("idle", int(rng.integers(40, 200)) if cold else int(rng.integers(8, 30))),
    ]
    left = minutes * 60.0 - phases[-1].seconds
    turn = 0
    while left > 0.0:
        one = stretches[turn % len(stretches)]
        seconds = min(left, 60.0 * float(rng.uniform(one.least_min, one.most_min)))
        phases.append(Phase(one.activity, max(5, round(seconds))))
        left -= seconds
        turn += 1
    phases.append(Phase("idle", int(rng.integers(20, 90))))
    if after_run_s > 0:
        phases.append(Phase("key_off", after_run_s))
    return tuple(phases)


_USED_L_H_KW = 0.095
"""Fuel of an ordinary working hour (L) for each kW of rated power."""


def after(
    trace: Trace,
    air: Sequence[tuple[float, float]],
    *,
    worked_h: float = 0.0,
    plight: Plight | None = None,
    wet: float = 0.0,
    filled: bool = True,
) -> Day:
    """Return what the next key finds: after `worked_h` unrecorded hours and a rest.

    `air` gives air temperatures over the rest as (hours, °C), see `weather.air_over`. Fuel and
    reductant are filled when low (`filled`). Soot goes on by the work: burnt off at 80 % unless
    something inhibits it. `plight` is what is wrong then (None: the same as before).
    """
    build, day = trace.build, trace.day
    new = day.plight if plight is None else plight
    warmth = Warmth(*(float(one[-1]) for one in (
        trace.coolant_c, trace.oil_c, trace.hydraulic_c, trace.transmission_c, trace.fuel_c,
        trace.def_c, trace.filter_out_c)))  # fmt: skip
    if worked_h > 0.5:
        warmth = Warmth(86.0, 92.0, 58.0, 74.0, warmth.fuel_c + 4.0, warmth.def_c, 300.0)
    stands_h = air[-1][0]
    cooled = rest(warmth, air)
    used_l = _USED_L_H_KW * build.power_kw * worked_h
    fuel = float(trace.fuel_pct[-1]) - used_l / build.fuel_tank_l * 100.0
    reductant = float(trace.def_pct[-1]) - used_l * build.def_share / build.def_tank_l * 100.0
    if filled:
        fuel = _filled(fuel, 30.0)
        reductant = _filled(reductant, 18.0)
    battery = replace(day.battery, charge=min(0.97, float(trace.charge[-1]) + 0.2 * worked_h))
    soot, since = _sooted(trace, new, worked_h)
    return replace(
        day,
        ambient_c=air[-1][1],
        coolant_c=cooled.coolant_c,
        oil_c=cooled.oil_c,
        hydraulic_c=cooled.hydraulic_c,
        transmission_c=cooled.transmission_c,
        fuel_c=cooled.fuel_c,
        def_c=cooled.def_c,
        exhaust_c=cooled.exhaust_c,
        hours=float(trace.hours[-1]) + worked_h,
        fuel_pct=max(5.0, fuel),
        def_pct=max(0.0, reductant),
        soot_pct=soot,
        since_regeneration_s=since,
        ash_pct=day.ash_pct + 0.012 * (worked_h + float(trace.hours[-1] - trace.hours[0])),
        battery=standing(battery, build, new.health, stands_h),
        distance_km=day.distance_km + float(trace.distance_m[-1]) / 1000.0 + 11.0 * worked_h,
        wet=wet,
        plight=new,
    )


def _filled(level: float, low: float) -> float:
    """Return a tank's level (%) when it is filled to 95 whenever it falls to `low`."""
    while level < low:
        level += 95.0 - low
    return min(95.0, level)


def _sooted(trace: Trace, plight: Plight, worked_h: float) -> tuple[float, float]:
    """Return soot (%) and seconds since the last active regeneration after unrecorded work."""
    soot, since = float(trace.soot_pct[-1]), float(trace.since_regeneration_s[-1])
    if not trace.build.particulate_filter:
        return soot, since
    # An ordinary hour is at half load and burns some by itself.
    gain = (2.0 + 0.5 * trace.build.soot_pct_h) * plight.health.soot - 1.8 * plight.health.oxidation
    held = bool(plight.inhibits) or trace.day.inhibit_switch or plight.health.oxidation < 0.6
    hours = worked_h
    since += worked_h * 3600.0
    while hours > 0.0:
        step = min(0.25, hours)
        hours -= step
        soot += max(0.0, gain) * step
        if soot >= 80.0 and not held:
            soot, since = 12.0, hours * 3600.0
    return min(soot, 200.0), since


__all__ = ["ROUNDS", "USUAL", "Stretch", "after", "shift"]
