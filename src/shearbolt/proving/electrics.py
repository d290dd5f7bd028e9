"""Battery, starter, alternator and the grounds between them."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from shearbolt.model.frames import F64
from shearbolt.proving.hardware import Build
from shearbolt.proving.physics import Battery, Flags, lag
from shearbolt.proving.plight import Health


@dataclass(frozen=True, slots=True)
class Volts:
    """Voltages (V, of the system) and currents (A) over time."""

    battery_v: F64
    """At its terminals."""
    keyswitch_v: F64
    """At the engine controller."""
    cab_v: F64
    """At the cab's controllers."""
    alternator_a: F64
    charge: F64
    """State of charge, 0 to 1."""
    crank_rpm: F64
    """What the starter would turn the engine at."""


def standing(battery: Battery, build: Build, health: Health, hours: float) -> Battery:
    """Return the battery after standing with the key off.

    The machine takes its standing current, and the battery loses about 3 % a month by itself
    (common practice).
    """
    taken = (build.parasitic_a + health.parasitic_a) * hours / build.battery_ah
    return replace(battery, charge=max(0.0, battery.charge - taken - 4e-5 * hours))


def electrics(
    build: Build,
    health: Health,
    battery: Battery,
    *,
    air_c: float,
    time_s: F64,
    step_s: float,
    speed_share: F64,
    running: Flags,
    cranking: Flags,
) -> Volts:
    """Work out voltages and currents; all series are of `time_s`."""
    battery = replace(
        battery,
        charge=battery.charge * health.battery_charge,
        resistance=battery.resistance * health.battery_resistance,
    )
    scale = build.volts / 12
    on = running.astype(np.float64)
    room = health.alternator * build.alternator_a * np.clip(0.3 + 1.0 * speed_share, 0.0, 1.0) * on
    spare = room - build.load_a * on
    hungry = np.clip((1.0 - battery.charge) * 90.0, 2.0, 60.0)
    into = np.where(running, np.clip(spare, -np.inf, hungry), -1.2)
    # An hour changes the charge so little that its feedback may wait for the next day.
    charge = np.clip(
        battery.charge + np.cumsum(into) * step_s / 3600.0 / build.battery_ah, 0.0, 1.0
    )
    rests = np.interp(charge, *REST_TABLE)
    regulated = build.charging_v + health.regulator_v - 0.01 * (air_c - 25.0)
    charged = np.where(spare >= 0.0, regulated, rests - 0.25 + 0.006 * np.clip(spare, -60, 0))
    share = lag(on, 2.5, step_s, float(on[0]))
    volts = rests + share * (charged - rests)
    current = build.load_a * on + 6.0
    ground = current * (health.ground_ohm + health.feed_ohm)
    keyswitch = volts - 0.1 - ground
    cab = volts - 0.06 - 0.5 * ground
    plateau = battery.cranking_v(air_c)
    # The starter's own cables carry its current; a bad ground is in its way too.
    through = build.cranking_a * (1.0 + 0.006 * max(0.0, 25.0 - air_c))
    ground_drop = min(3.6, 0.55 * through * health.ground_ohm)
    for first in np.flatnonzero(np.diff(cranking.astype(np.int8), prepend=0) == 1):
        stretch = np.flatnonzero(cranking & (time_s >= time_s[first]))
        since = time_s[stretch] - time_s[first]
        # The standing starter draws its stall current for the first half second.
        volts[stretch] = plateau - 1.4 * battery.resistance * np.exp(-since / 0.25)
        lost = battery.cable_drop_v + ground_drop + 25.0 * health.feed_ohm
        keyswitch[stretch] = volts[stretch] - lost
        cab[stretch] = volts[stretch] - 0.2 - 0.3 * ground_drop - 12.0 * health.feed_ohm
    turning = 205.0 * np.clip((plateau - ground_drop - 4.5) / 5.6, 0.0, 1.15)
    return Volts(
        volts * scale,
        np.clip(keyswitch, 0.0, None) * scale,
        np.clip(cab, 0.0, None) * scale,
        np.clip(build.load_a * on + np.clip(into, 0.0, None), 0.0, room),
        charge,
        np.full(len(time_s), turning),
    )


REST_TABLE = ((0.0, 0.25, 0.5, 0.75, 1.0), (11.89, 12.06, 12.24, 12.45, 12.65))
"""State of charge and rest voltage, the usual table of lead-acid batteries at 26.7 °C."""
