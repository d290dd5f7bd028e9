"""A machine at work: from what the driver does to every quantity of the machine over time."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Literal

import numpy as np

from shearbolt.model.frames import F64
from shearbolt.proving.physics import (
    HYDRAULIC_OIL,
    Battery,
    Flags,
    air_flow_kg_s,
    barometer_kpa,
    compressor_outlet_c,
    exhaust_filter_drop_kpa,
    filter_drop_kpa,
    lag,
    oil_pressure_kpa,
    wander,
)

STEP_S = 0.05
"""Spacing of every quantity."""
STEPS_A_SECOND = 20
_FUEL_KJ_L = 35_800.0
_COOLANT_SHARE = 0.16
"""Share of the fuel's heat that goes into the coolant; common practice, no source."""

Activity = Literal[
    "key_on", "crank", "idle", "mow", "road", "load", "chop", "queue", "regenerate", "key_off"
]


@dataclass(frozen=True, slots=True)
class Phase:
    """One stretch of work."""

    activity: Activity
    seconds: int
    soot_burner: bool = False
    """An active regeneration runs where nothing stops it."""


@dataclass(frozen=True, slots=True)
class _Manner:
    """What an activity asks of a machine."""

    speed_share: float
    """Engine speed in shares of rated; 0: idle speed."""
    load_pct: float
    load_noise: float = 2.0
    travel_km_h: float = 0.0
    pto: bool = False
    hydraulic_share: float = 0.05
    cycle_s: float = 0.0
    """Length of a to-and-fro cycle, 0: none."""
    hitch_pct: float = 100.0


_MANNERS: dict[Activity, _Manner] = {
    "key_on": _Manner(0, 0, 0),
    "crank": _Manner(0, 0, 0),
    "key_off": _Manner(0, 0, 0),
    "idle": _Manner(0, 14, 1.0),
    "queue": _Manner(0, 18, 2.0, pto=True),
    "mow": _Manner(0.9, 72, 7.0, 13.0, pto=True, hydraulic_share=0.25, hitch_pct=12.0),
    "chop": _Manner(0.92, 93, 4.0, 6.0, pto=True, hydraulic_share=0.45),
    "road": _Manner(0.82, 58, 14.0, 36.0),
    "load": _Manner(0.72, 55, 10.0, 6.0, hydraulic_share=0.8, cycle_s=36.0),
    "regenerate": _Manner(0.62, 30, 2.0),
}


@dataclass(frozen=True, slots=True)
class Build:
    """The machine's hardware."""

    displacement_l: float
    power_kw: float
    rated_rpm: float
    idle_rpm: float
    boost_kpa: float
    """Boost (gauge) at rated speed and full load."""
    engine_kj_k: float
    """Heat that warms block and coolant by 1 K."""
    radiator_kw_k: float
    hydraulic_kj_k: float = 400.0
    hydraulic_kw: float = 15.0
    """Heat put into the hydraulic oil at full flow."""
    transmission_kj_k: float = 250.0
    transmission_kw: float = 9.0
    output_rpm_a_km_h: float = 42.0
    """Output shaft speed at 1 km/h."""
    pto_rpm: float = 1000.0
    volts: Literal[12, 24] = 12
    particulate_filter: bool = False


@dataclass(frozen=True, slots=True)
class Day:
    """What the machine finds when the key is turned."""

    ambient_c: float = 15.0
    altitude_m: float = 240.0
    weather_kpa: float = 0.0
    """Barometer above or below the standard atmosphere."""
    coolant_c: float | None = None
    """Temperatures at the start; None: as cold as the air."""
    oil_c: float | None = None
    hydraulic_c: float | None = None
    transmission_c: float | None = None
    hours: float = 1000.0
    """Engine hours at the start."""
    fuel_pct: float = 70.0
    def_pct: float = 60.0
    soot_pct: float = 30.0
    ash_pct: float = 12.0
    radiator_share: float = 1.0
    """What is left of the radiator's cooling."""
    charge_cooler_share: float = 1.0
    battery: Battery = field(default_factory=Battery)
    inhibit_switch: bool = False
    """The driver has switched regeneration off."""


@dataclass(frozen=True, slots=True)
class Trace:
    """Every quantity of one machine, one value each STEP_S seconds; all arrays of equal length."""

    time_s: F64
    key: Flags
    """Key on."""
    cranking: Flags
    running: Flags
    engine_rpm: F64
    load_pct: F64
    pedal_pct: F64
    fuel_l_h: F64
    boost_kpa: F64
    """Gauge."""
    barometer_kpa: F64
    ambient_c: F64
    intake_c: F64
    manifold_c: F64
    coolant_c: F64
    oil_c: F64
    oil_kpa: F64
    fuel_c: F64
    hydraulic_c: F64
    hydraulic_drop_kpa: F64
    """Over the hydraulic return filter."""
    transmission_c: F64
    transmission_kpa: F64
    battery_v: F64
    keyswitch_v: F64
    """At the engine controller."""
    speed_km_h: F64
    output_rpm: F64
    pto: Flags
    pto_rpm: F64
    hitch_pct: F64
    draft_n: F64
    fan_rpm: F64
    exhaust_kg_h: F64
    filter_in_c: F64
    filter_out_c: F64
    filter_drop_kpa: F64
    soot_pct: F64
    ash_pct: float
    regenerating: Flags
    inhibit_switch: bool
    def_pct: F64
    nox_in_ppm: F64
    nox_out_ppm: F64
    rail_mpa: F64
    fuel_pct: F64
    distance_m: F64
    hours: F64
    revolutions: F64
    altitude_m: float


def _spread(phases: Sequence[Phase]) -> tuple[F64, list[slice]]:
    """Lay the phases out in time: the time axis (s) and each phase's steps."""
    ends = np.cumsum([one.seconds for one in phases]) * STEPS_A_SECOND
    starts = np.concatenate(([0], ends[:-1]))
    axis = np.arange(int(ends[-1]), dtype=np.float64) * STEP_S
    return axis, [slice(int(a), int(b)) for a, b in zip(starts, ends, strict=True)]


def _warm(
    build: Build, day: Day, fuel_l_h: F64, work: F64, flow: F64, travel: F64, running: F64
) -> tuple[F64, F64, F64, F64]:
    """Warm coolant, engine, hydraulic and transmission oil (°C), step by step of one second.

    Inputs are one value a second: fuel rate, load share 0 to 1, hydraulic flow share, ground speed
    in shares of road speed, and 1 while running. Masses of minutes need no finer step.
    """
    air = day.ambient_c

    def first(value: float | None) -> float:
        return air if value is None else value

    coolant, oil = first(day.coolant_c), first(day.oil_c)
    hydraulic, transmission = first(day.hydraulic_c), first(day.transmission_c)
    radiator_kw_k = build.radiator_kw_k * day.radiator_share
    rows = np.empty((len(fuel_l_h), 4), np.float64)
    for i in range(len(fuel_l_h)):
        rows[i] = coolant, oil, hydraulic, transmission
        heat_kw = float(fuel_l_h[i]) / 3600.0 * _FUEL_KJ_L * _COOLANT_SHARE
        # The thermostat is shut below 82 °C and wide open at 92 °C; a twentieth is always lost.
        open_share = min(1.0, max(0.05 if running[i] else 0.01, (coolant - 82.0) / 10.0))
        coolant += (heat_kw - radiator_kw_k * open_share * (coolant - air)) / build.engine_kj_k
        oil += (coolant + 14.0 * float(work[i]) - oil) / 210.0
        hydraulic_kw = build.hydraulic_kw * float(flow[i]) - 0.09 * (hydraulic - air)
        hydraulic_kw -= 0.4 * max(0.0, hydraulic - 62.0) * float(running[i])
        hydraulic += hydraulic_kw / build.hydraulic_kj_k
        box_kw = build.transmission_kw * (0.25 * float(running[i]) + float(travel[i]))
        box_kw -= 0.05 * (transmission - air) + 0.35 * max(0.0, transmission - 78.0)
        transmission += box_kw / build.transmission_kj_k
    return rows[:, 0], rows[:, 1], rows[:, 2], rows[:, 3]


def _electrics(
    build: Build, day: Day, axis: F64, running: Flags, cranking: Flags
) -> tuple[F64, F64]:
    """Return battery voltage and keyswitch voltage at the engine controller (V)."""
    battery = day.battery
    volts = np.full(len(axis), battery.rest_v)
    charged = lag(running.astype(np.float64), 2.5, STEP_S)
    volts += charged * (14.2 - battery.rest_v)
    keyswitch = volts - 0.1
    starts = np.flatnonzero(np.diff(cranking.astype(np.int8), prepend=0) == 1)
    for first in starts:
        stretch = np.flatnonzero(cranking & (axis >= axis[first]))
        since = axis[stretch] - axis[first]
        # The standing starter draws its stall current for the first half second.
        plateau = battery.cranking_v(day.ambient_c)
        volts[stretch] = plateau - 1.4 * battery.resistance * np.exp(-since / 0.25)
        keyswitch[stretch] = volts[stretch] - battery.cable_drop_v
    scale = build.volts / 12
    return volts * scale, keyswitch * scale


def simulate(build: Build, day: Day, phases: Sequence[Phase], rng: np.random.Generator) -> Trace:
    """Run a machine through phases of work and return all its quantities."""
    axis, places = _spread(phases)
    count = len(axis)
    speed, load, travel, flow, hitch = (np.zeros(count) for _ in range(5))
    pto, cranking, key, burner = (np.zeros(count, np.bool_) for _ in range(4))
    running = np.zeros(count, np.bool_)
    for phase, place in zip(phases, places, strict=True):
        manner = _MANNERS[phase.activity]
        size = place.stop - place.start
        turning = phase.activity not in ("key_on", "crank", "key_off")
        swing = np.zeros(size)
        if manner.cycle_s:
            swing = np.sin(2 * np.pi * axis[:size] / manner.cycle_s)
        share = manner.speed_share * (1.0 + 0.3 * swing)
        speed[place] = np.where(share > 0, share * build.rated_rpm, build.idle_rpm) * turning
        load[place] = manner.load_pct * (1.0 + 0.35 * swing)
        load[place] += wander(rng, size, manner.load_noise, 4.0, STEP_S)
        travel[place] = manner.travel_km_h * (np.abs(swing) if manner.cycle_s else 1.0)
        flow[place] = manner.hydraulic_share * (1.0 + 0.25 * swing)
        hitch[place] = manner.hitch_pct
        pto[place] = manner.pto
        running[place] = turning
        cranking[place] = phase.activity == "crank"
        key[place] = phase.activity != "key_off"
        burner[place] = phase.soot_burner
    already = bool(running[0])
    speed[cranking] = 190.0
    target = speed + running * wander(rng, count, 6.0, 1.5, STEP_S)
    rpm = np.clip(lag(target, 0.55, STEP_S, target[0] if already else 0.0), 0.0, None)
    load = np.clip(lag(load, 0.5, STEP_S), 0.0, 100.0) * running
    travel = np.clip(lag(travel, 2.5, STEP_S, travel[0] if already else 0.0), 0.0, None)
    travel *= 1.0 + wander(rng, count, 0.02, 6.0, STEP_S)
    speed_share = rpm / build.rated_rpm
    fuel = running * build.power_kw * 0.245 * load / 100.0 * speed_share
    fuel = fuel + running * 0.011 * build.power_kw * speed_share
    flow_share = speed_share * (0.3 + 0.7 * flow)

    def each_second(values: F64) -> F64:
        return np.asarray(values.reshape(-1, STEPS_A_SECOND).mean(axis=1), np.float64)

    on = running.astype(np.float64)
    masses = _warm(
        build,
        day,
        each_second(fuel),
        each_second(load / 100.0),
        each_second(flow_share * (0.25 + flow)),
        each_second(travel / 40.0),
        each_second(on),
    )
    seconds = axis[::STEPS_A_SECOND]
    coolant, oil, hydraulic, transmission = (np.interp(axis, seconds, one) for one in masses)

    barometer = barometer_kpa(day.altitude_m) + day.weather_kpa + np.zeros(count)
    boost = lag(build.boost_kpa * load / 100.0 * speed_share**1.3, 1.1, STEP_S)
    intake = day.ambient_c + 4.0 * lag(on, 60.0, STEP_S)
    charge = compressor_outlet_c(intake, (barometer + boost) / barometer)
    manifold = lag(
        intake + 5.0 + (charge - intake) * (1.0 - 0.85 * day.charge_cooler_share), 8.0, STEP_S
    )
    air = air_flow_kg_s(
        rpm, barometer + boost, manifold, displacement_l=build.displacement_l, filling=0.9
    )
    exhaust = air * 3600.0 + fuel * 0.832
    burning = burner & running & ~pto
    if day.inhibit_switch:
        burning = np.zeros(count, np.bool_)
    gas = np.where(running, 130.0 + 2.9 * load, day.ambient_c)
    gas = np.where(burning, np.maximum(gas, 575.0), gas)
    filter_in = lag(gas, 30.0, STEP_S, gas[0] if already else day.ambient_c)
    filter_out = lag(filter_in, 45.0, STEP_S)
    # About 3 % of soot a minute burn off above 530 °C; work brings 5 to 8 % an hour.
    rate = np.where(filter_in > 530.0, -3.0 / 60.0, 0.0) + load / 100.0 * 8.0 / 3600.0
    soot = np.clip(day.soot_pct + np.cumsum(rate * STEP_S), 0.0, None)
    scr = np.clip((filter_out - 190.0) / 60.0, 0.0, 1.0)
    nox = running * (320.0 + 5.5 * load + wander(rng, count, 18.0, 3.0, STEP_S))
    battery, keyswitch = _electrics(build, day, axis, running, cranking)
    fan = np.clip((coolant - 80.0) / 18.0, 0.12, 1.0) * speed_share * 2300.0
    in_work = hitch < 50.0
    hitch = lag(hitch, 1.2, STEP_S)
    used = np.cumsum(fuel) * STEP_S / 3600.0
    return Trace(
        time_s=axis,
        key=key,
        cranking=cranking,
        running=running,
        engine_rpm=rpm,
        load_pct=load,
        pedal_pct=np.clip((rpm - build.idle_rpm) / (build.rated_rpm - build.idle_rpm), 0, 1) * 100,
        fuel_l_h=fuel,
        boost_kpa=boost,
        barometer_kpa=barometer,
        ambient_c=day.ambient_c + np.zeros(count),
        intake_c=intake,
        manifold_c=manifold,
        coolant_c=coolant,
        oil_c=oil,
        oil_kpa=oil_pressure_kpa(rpm, oil, rated_rpm=build.rated_rpm, rated_kpa=370.0),
        fuel_c=day.ambient_c + 12.0 * lag(on, 900.0, STEP_S),
        hydraulic_c=hydraulic,
        hydraulic_drop_kpa=filter_drop_kpa(HYDRAULIC_OIL, hydraulic, flow_share, 30.0),
        transmission_c=transmission,
        transmission_kpa=1750.0 * np.clip(speed_share * 2.2, 0.0, 1.0),
        battery_v=battery,
        keyswitch_v=keyswitch,
        speed_km_h=travel,
        output_rpm=travel * build.output_rpm_a_km_h,
        pto=pto & running,
        pto_rpm=lag(pto * speed_share * build.pto_rpm / 0.9, 1.5, STEP_S),
        hitch_pct=hitch,
        draft_n=in_work * (4200.0 + wander(rng, count, 600.0, 1.0, STEP_S)),
        fan_rpm=lag(fan, 3.0, STEP_S),
        exhaust_kg_h=exhaust,
        filter_in_c=filter_in,
        filter_out_c=filter_out,
        filter_drop_kpa=exhaust_filter_drop_kpa(
            exhaust, filter_in, soot_pct=soot, ash_pct=day.ash_pct
        ),
        soot_pct=soot,
        ash_pct=day.ash_pct,
        regenerating=burning & (filter_in > 480.0),
        inhibit_switch=day.inhibit_switch,
        def_pct=day.def_pct - used / 6.0,
        nox_in_ppm=nox,
        nox_out_ppm=nox * (1.0 - 0.92 * scr),
        rail_mpa=running * (35.0 + 115.0 * load / 100.0),
        fuel_pct=day.fuel_pct - used / 4.0,
        distance_m=np.cumsum(travel) * STEP_S / 3.6,
        hours=day.hours + np.cumsum(on) * STEP_S / 3600.0,
        revolutions=day.hours * 60.0 * 1450.0 + np.cumsum(rpm) * STEP_S / 60.0,
        altitude_m=day.altitude_m,
    )
