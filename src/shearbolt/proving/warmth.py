"""Heat of a machine: masses that warm at work and cool through the night."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields
from itertools import pairwise

import numpy as np

from shearbolt.model.frames import F64
from shearbolt.proving.hardware import Build
from shearbolt.proving.plight import Health

FUEL_KJ_L = 35_800.0
"""Lower heating value of diesel fuel."""


@dataclass(frozen=True, slots=True)
class Warmth:
    """Temperatures (°C) of all that holds heat."""

    coolant_c: float
    oil_c: float
    hydraulic_c: float
    transmission_c: float
    fuel_c: float
    def_c: float
    exhaust_c: float
    """Of filter and catalyst."""

    @classmethod
    def cold(cls, air_c: float) -> Warmth:
        """Return a machine as cold as the air."""
        return cls(*(air_c for _ in fields(cls)))


REST_H: dict[str, float] = {
    "coolant_c": 2.1,
    "oil_c": 2.2,
    "hydraulic_c": 2.4,
    "transmission_c": 2.4,
    "fuel_c": 3.0,
    "def_c": 2.8,
    "exhaust_c": 0.7,
}
"""Hours in which each mass comes two thirds of the way to the air; common practice, no source."""


def rest(before: Warmth, air: Sequence[tuple[float, float]]) -> Warmth:
    """Let a machine stand with the key off.

    `air` gives air temperatures as (hours since key-off, °C), joined by straight lines; see
    `weather.air_over`. Each mass follows it by Newton's law of cooling.
    """
    now = {one.name: getattr(before, one.name) for one in fields(Warmth)}
    for (from_h, from_c), (to_h, to_c) in pairwise(air):
        outside = (from_c + to_c) / 2.0
        for name, tau_h in REST_H.items():
            keep = float(np.exp(-(to_h - from_h) / tau_h))
            now[name] = outside + (now[name] - outside) * keep
    return Warmth(**now)


@dataclass(frozen=True, slots=True)
class Doing:
    """What heats the machine, one value a second; arrays of one length."""

    fuel_l_h: F64
    work: F64
    """Engine load, 0 to 1."""
    speed: F64
    """Engine speed in shares of rated."""
    flow: F64
    """Hydraulic power in shares of full."""
    travel: F64
    """Ground speed in shares of road speed."""
    slip_kw: F64
    """Heat of slipping clutches and dragging brakes in the transmission."""
    running: F64


@dataclass(frozen=True, slots=True)
class Heat:
    """Temperatures (°C) and fan, one value a second."""

    coolant_c: F64
    oil_c: F64
    hydraulic_c: F64
    transmission_c: F64
    fuel_c: F64
    def_c: F64
    fan: F64
    """Fan speed in shares of its highest at that engine speed."""


def warm(build: Build, health: Health, start: Warmth, air: F64, doing: Doing) -> Heat:
    """Step every mass through the work, one second at a time.

    `air` is the air temperature (°C), one value a second. Masses of minutes need no finer step.
    """
    coolant, oil, hydraulic = start.coolant_c, start.oil_c, start.hydraulic_c
    transmission, fuel, reductant = start.transmission_c, start.fuel_c, start.def_c
    fan = build.fan_idle_share
    radiator = build.radiator_kw_k * health.radiator * health.water_pump
    radiator *= min(1.0, health.coolant_level_pct / 35.0)
    shuts, opens = health.thermostat_open, 1.0 - health.thermostat_shut
    sharp = max(1.0, build.thermostat_span_k)
    columns = (doing.fuel_l_h, doing.work, doing.speed, doing.flow, doing.travel, doing.slip_kw,
               doing.running, air)  # fmt: skip
    rows = []
    for litres, work, speed, flow, travel, slip_kw, running, outside in zip(
        *(one.tolist() for one in columns), strict=True
    ):
        rows.append((coolant, oil, hydraulic, transmission, fuel, reductant, fan))
        pull = (coolant - build.fan_engages_c) / (build.fan_full_c - build.fan_engages_c)
        wanted = min(1.0, max(build.fan_idle_share, pull)) * health.fan
        fan += (wanted - fan) / 12.0
        # Of little fuel a larger share ends in the walls.
        share = build.coolant_heat_share * (1.0 + (1.0 - work) ** 2)
        heat_kw = litres / 3600.0 * FUEL_KJ_L * share
        open_share = (coolant - build.thermostat_opens_c) / sharp
        least = max(0.03 if running else 0.01, shuts)
        open_share = max(min(open_share, opens, 1.0), least)
        draught = 0.12 + 0.88 * min(1.0, fan * (0.4 + 0.8 * speed) + 0.35 * travel)
        lost_kw = radiator * open_share * draught * (coolant - outside)
        coolant += (heat_kw - lost_kw) / build.engine_kj_k
        oil += (coolant + (14.0 + 20.0 * max(0.0, 1.0 - health.oil_level)) * work - oil) / 210.0
        hydraulic_kw = build.hydraulic_kw * flow * (1.0 + 2.0 * health.hydraulic_leak)
        shared_kw = build.shared_oil_kw_k * (transmission - hydraulic)
        hydraulic_kw += shared_kw - 0.09 * (hydraulic - outside)
        cooler_kw_k = build.hydraulic_cooler_kw_k * health.hydraulic_cooler
        hydraulic_kw -= cooler_kw_k * max(0.0, hydraulic - 58.0) * running
        hydraulic += hydraulic_kw / build.hydraulic_kj_k
        box_kw = build.transmission_kw * (0.25 * running + travel) + slip_kw
        box_kw -= 0.05 * (transmission - outside) + shared_kw
        cooler_kw_k = build.transmission_cooler_kw_k * health.transmission_cooler
        box_kw -= cooler_kw_k * max(0.0, transmission - 76.0)
        transmission += box_kw / build.transmission_kj_k
        fuel += (outside + 18.0 * running * (0.4 + 0.6 * work) - fuel) / 5400.0
        # Above freezing the tank only follows the air; below, the coolant heats it.
        heated = 10.0 if running and reductant < -4.0 and coolant > 40.0 else 0.0
        reductant += (outside + 3.0 * running - reductant) / 6000.0 + heated / 600.0
    table = np.array(rows, np.float64).reshape(-1, 7).T
    return Heat(*table)
