"""A machine at work: from what the driver does to every quantity of the machine over time."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from shearbolt.model.frames import F64
from shearbolt.proving.drive import Drive, drive
from shearbolt.proving.electrics import electrics
from shearbolt.proving.exhaust import Course, burn, conversion, filter_factor, filter_pressure_kpa
from shearbolt.proving.hardware import Build
from shearbolt.proving.physics import (
    Battery,
    Flags,
    air_flow_kg_s,
    barometer_kpa,
    compressor_outlet_c,
    filter_drop_kpa,
    lag,
    oil_pressure_kpa,
    wander,
)
from shearbolt.proving.plight import HEALTHY, Health, Plight
from shearbolt.proving.warmth import Doing, Warmth, warm
from shearbolt.proving.work import STEP_S, STEPS_A_SECOND, Activity, Demand, Phase, demand

__all__ = [
    "STEPS_A_SECOND", "STEP_S", "Activity", "Build", "Day", "Phase", "Trace", "simulate",
]  # fmt: skip


@dataclass(frozen=True, slots=True)
class Day:
    """What the machine finds when the key is turned, and what is wrong with it."""

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
    ambient_k_h: float = 0.0
    """The air warms by so much an hour."""
    fuel_c: float | None = None
    def_c: float | None = None
    exhaust_c: float | None = None
    wet: float = 0.0
    """1 just washed or rained on, 0 dry."""
    since_regeneration_s: float = 41_000.0
    distance_km: float = 8100.0
    fuel_used_l: float | None = None
    """Ever; None: goes with the hours."""
    plight: Plight = HEALTHY

    def warmth(self) -> Warmth:
        """Return the temperatures at the start."""
        air = self.ambient_c
        hot = self.coolant_c is not None and self.coolant_c > air + 40.0

        def first(value: float | None, other: float) -> float:
            return other if value is None else value

        return Warmth(
            first(self.coolant_c, air),
            first(self.oil_c, air),
            first(self.hydraulic_c, air),
            first(self.transmission_c, air),
            first(self.fuel_c, air + (8.0 if hot else 0.0)),
            first(self.def_c, air + (3.0 if hot else 0.0)),
            first(self.exhaust_c, 220.0 if hot else air),
        )


@dataclass(frozen=True, slots=True)
class Trace:
    """Every quantity of one machine, one value each STEP_S seconds; all arrays of equal length.

    These are the true quantities; `sensing.sensed` gives what a controller reads of them.
    """

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
    """At the start; see `height_m`."""
    height_m: F64
    gear: F64
    """Negative: reverse."""
    direction: F64
    clutch: Flags
    """Clutch pedal down, or direction being changed."""
    slip_pct: F64
    brake: Flags
    in_gear: Flags
    """The direction lever is not in neutral."""
    seat: Flags
    """Someone sits on it."""
    park: Flags
    """Park lever set."""
    steering_pct: F64
    """-100 full left to 100 full right."""
    boom_pct: F64
    vibration_g: F64
    wet: F64
    air_filter_kpa: F64
    fuel_kpa: F64
    """Delivery pressure, gauge."""
    crankcase_kpa: F64
    water_ml: float
    coolant_level_pct: F64
    hydraulic_level_pct: F64
    cab_v: F64
    implement_v: F64
    """At the implement's controller."""
    pickup_down: Flags
    fill_pct: F64
    """Of the load."""
    alternator_a: F64
    charge: F64
    """Battery's state of charge, 0 to 1."""
    before_c: F64
    """Exhaust before oxidation catalyst."""
    since_regeneration_s: F64
    inhibited: Mapping[int, Flags]
    """By SPN: this keeps active regeneration from starting."""
    def_c: F64
    def_concentration_pct: float
    air_1_kpa: F64
    """Brake circuits."""
    air_2_kpa: F64
    torque_limit_pct: F64
    build: Build
    day: Day
    activity: tuple[tuple[Activity, int, int], ...]
    """Each phase: what, first step, step after its last."""
    noise_seed: int
    memo: dict[object, F64] = field(default_factory=dict, compare=False, repr=False)
    """What was worked out from this trace before."""

    @property
    def plight(self) -> Plight:
        """What is wrong with the machine."""
        return self.day.plight


def _seconds(values: F64 | Flags) -> F64:
    return np.asarray(values.reshape(-1, STEPS_A_SECOND).mean(axis=1), np.float64)


def _flags(values: Flags) -> Flags:
    return np.asarray(values.reshape(-1, STEPS_A_SECOND).mean(axis=1) > 0.5, np.bool_)


def simulate(
    build: Build,
    day: Day,
    phases: Sequence[Phase],
    rng: np.random.Generator,
    limit_pct: F64 | None = None,
) -> Trace:
    """Run a machine through phases of work and return all its quantities.

    `limit_pct` limits torque step by step, as a controller that derates does (None: never).
    """
    plight = day.plight
    health = plight.health
    asked = demand(build, phases, rng, plight.habits)
    count = len(asked.time_s)
    limit = np.full(count, 100.0) if limit_pct is None else limit_pct
    height_air = day.ambient_c + day.ambient_k_h * asked.time_s / 3600.0
    on = asked.turning.astype(np.float64)
    volts = electrics(
        build, health, day.battery, air_c=day.ambient_c, time_s=asked.time_s, step_s=STEP_S,
        speed_share=asked.speed_rpm / build.rated_rpm, running=asked.turning,
        cranking=asked.cranking,
    )  # fmt: skip
    drives = drive(build, health, asked, limit, float(volts.crank_rpm[0]), rng)
    speed_share = drives.rpm / build.rated_rpm
    flow = drives.flow_share
    second = slice(None, None, STEPS_A_SECOND)
    heat = warm(
        build,
        _with_day(health, day),
        day.warmth(),
        height_air[second],
        Doing(
            _seconds(drives.fuel_l_h), _seconds(drives.load_pct / 100.0), _seconds(speed_share),
            _seconds(flow * (0.25 + asked.hydraulic)), _seconds(drives.travel_km_h / 40.0),
            _seconds(drives.slip_kw), _seconds(on),
        ),
    )  # fmt: skip
    seconds = asked.time_s[second]

    def fine(values: F64) -> F64:
        return np.asarray(np.interp(asked.time_s, seconds, values), np.float64)

    coolant, oil, hydraulic = fine(heat.coolant_c), fine(heat.oil_c), fine(heat.hydraulic_c)
    transmission, reductant = fine(heat.transmission_c), fine(heat.def_c)
    height = day.altitude_m + np.cumsum(asked.slope * drives.travel_km_h) * STEP_S / 3.6
    barometer = barometer_kpa(height) + day.weather_kpa
    load = drives.load_pct
    leak = health.boost_leak * (0.3 + 0.7 * load / 100.0)
    full = build.boost_kpa * health.turbo * (1.0 - leak) * (barometer / 101.325) ** 0.3
    boost = lag(full * load / 100.0 * speed_share**1.3, 1.1, STEP_S)
    intake = height_air + 4.0 * lag(on, 60.0, STEP_S, float(on[0]))
    charge_c = compressor_outlet_c(intake, (barometer + boost) / barometer)
    cooling = build.charge_cooling * health.charge_cooler * day.charge_cooler_share
    manifold = lag(intake + 5.0 * on + (charge_c - intake) * (1.0 - cooling), 8.0, STEP_S)
    air = air_flow_kg_s(
        drives.rpm, barometer + boost, manifold, displacement_l=build.displacement_l,
        filling=build.filling,
    )  # fmt: skip
    exhaust = air * 3600.0 + drives.fuel_l_h * 0.832
    hot = burn(
        build,
        health,
        Course(
            _seconds(load), _flags(asked.turning), height_air[second], heat.coolant_c,
            _seconds(drives.travel_km_h), _flags(asked.pto), _flags(asked.park),
            _flags(asked.brake), _flags(asked.clutch), _seconds(drives.pedal_pct),
            _flags(asked.burner),
        ),
        start_c=day.warmth().exhaust_c,
        soot_pct=day.soot_pct,
        switch=day.inhibit_switch,
        held=plight.inhibits,
        since_s=day.since_regeneration_s,
    )  # fmt: skip
    soot, filter_in, filter_out = fine(hot.soot_pct), fine(hot.filter_in_c), fine(hot.filter_out_c)
    ash = day.ash_pct + health.ash_pct
    used = np.cumsum(drives.fuel_l_h) * STEP_S / 3600.0
    def_pct = np.clip(day.def_pct - used * build.def_share / build.def_tank_l * 100.0, 0.0, None)
    scr = conversion(build, health, filter_out, def_pct, reductant)
    noise = wander(rng, count, 18.0, 3.0, STEP_S)
    nox = asked.turning * (build.nox_idle_ppm + build.nox_load_ppm * load / 100.0 + noise)
    oil_kpa = _oil_pressure(build, health, drives, oil, asked)
    switched = np.repeat(hot.burning, STEPS_A_SECOND)
    feed = _fuel_pressure(build, health, drives, fine(heat.fuel_c), on)
    shaken = _vibration(asked, drives, speed_share, rng)
    air_1, air_2 = _brake_air(health, asked)
    down = _activity_is(asked, "collect") & (drives.travel_km_h > 5.0)
    moves = lag(np.abs(np.diff(down.astype(np.float64), prepend=float(down[0]))), 1.2, STEP_S)
    takes_a = 4.0 + 22.0 * np.clip(moves * 24.0, 0.0, 1.0) + 6.0 * down
    in_work = asked.hitch_pct < 50.0
    return Trace(
        time_s=asked.time_s,
        key=asked.key,
        cranking=asked.cranking,
        running=asked.turning,
        engine_rpm=drives.rpm,
        load_pct=load,
        pedal_pct=drives.pedal_pct,
        fuel_l_h=drives.fuel_l_h,
        boost_kpa=boost,
        barometer_kpa=barometer,
        ambient_c=height_air,
        intake_c=intake,
        manifold_c=manifold,
        coolant_c=coolant,
        oil_c=oil,
        oil_kpa=oil_kpa,
        fuel_c=fine(heat.fuel_c),
        hydraulic_c=hydraulic,
        hydraulic_drop_kpa=filter_drop_kpa(
            build.hydraulic_oil, hydraulic, flow * health.hydraulic_thickness,
            build.filter_clean_kpa, build.filter_bypass_kpa, free=health.hydraulic_filter,
        ),
        transmission_c=transmission,
        transmission_kpa=1750.0
        * health.transmission_pump ** (1.0 + np.clip((transmission - 60.0) / 60.0, 0.0, 1.0))
        * np.clip(speed_share * 2.2, 0.0, 1.0),
        battery_v=volts.battery_v,
        keyswitch_v=volts.keyswitch_v,
        speed_km_h=drives.travel_km_h,
        output_rpm=drives.travel_km_h * build.output_rpm_a_km_h * (1.0 + health.wheel_slip),
        pto=asked.pto,
        pto_rpm=lag(asked.pto * speed_share * build.pto_rpm / 0.9, 1.5, STEP_S),
        hitch_pct=lag(asked.hitch_pct, 1.2, STEP_S),
        draft_n=in_work * (4200.0 + wander(rng, count, 600.0, 1.0, STEP_S)),
        fan_rpm=drives.rpm * build.fan_ratio * fine(heat.fan),
        exhaust_kg_h=exhaust,
        filter_in_c=filter_in,
        filter_out_c=filter_out,
        filter_drop_kpa=filter_pressure_kpa(
            exhaust * (1.0 - health.filter_crack), filter_in, filter_factor(build, soot, ash),
            build.filter_inertial, barometer,
        ),
        soot_pct=soot,
        ash_pct=ash,
        regenerating=switched & (filter_in > 480.0),
        inhibit_switch=day.inhibit_switch,
        def_pct=def_pct,
        nox_in_ppm=nox,
        nox_out_ppm=nox * (1.0 - scr),
        rail_mpa=_rail_pressure(health, load, speed_share, feed, on),
        fuel_pct=np.clip(day.fuel_pct - used / build.fuel_tank_l * 100.0, 0.0, None),
        distance_m=np.cumsum(drives.travel_km_h) * STEP_S / 3.6,
        hours=day.hours + np.cumsum(on) * STEP_S / 3600.0,
        revolutions=day.hours * 60.0 * 1450.0 + np.cumsum(drives.rpm) * STEP_S / 60.0,
        altitude_m=day.altitude_m,
        height_m=height,
        gear=drives.gear * asked.direction,
        direction=asked.direction,
        clutch=asked.clutch,
        slip_pct=drives.slip_pct,
        brake=asked.brake,
        in_gear=asked.in_gear,
        seat=asked.seat,
        park=asked.park,
        steering_pct=asked.steering_pct,
        boom_pct=asked.boom_pct,
        vibration_g=shaken,
        wet=np.clip(day.wet * np.exp(-asked.time_s / 5400.0), 0.0, 1.0),
        air_filter_kpa=build.air_filter_kpa
        / health.air_filter
        * (air * 3600.0 / _rated_air_kg_h(build)) ** 1.8,
        fuel_kpa=feed,
        crankcase_kpa=on * (0.5 + 0.9 * load / 100.0) * (1.0 + 0.4 * (health.bearings - 1.0)),
        water_ml=health.water_in_fuel_ml,
        coolant_level_pct=health.coolant_level_pct + 0.02 * (coolant - 20.0)
        + lag(wander(rng, count, 0.6, 2.0, STEP_S) * shaken, 1.0, STEP_S),
        hydraulic_level_pct=health.hydraulic_level_pct - 0.03 * asked.boom_pct,
        cab_v=volts.cab_v,
        implement_v=np.clip(volts.battery_v - takes_a * (0.02 + health.implement_ohm), 0.0, None),
        pickup_down=down,
        fill_pct=np.clip(100.0 * lag(asked.loaded, 60.0, STEP_S), 0.0, 100.0),
        alternator_a=volts.alternator_a,
        charge=volts.charge,
        before_c=fine(hot.before_c),
        since_regeneration_s=fine(hot.since_s),
        inhibited={one: np.repeat(value, STEPS_A_SECOND) for one, value in hot.reasons.items()},
        def_c=reductant,
        def_concentration_pct=health.def_concentration_pct,
        air_1_kpa=air_1,
        air_2_kpa=air_2,
        torque_limit_pct=limit,
        build=build,
        day=day,
        activity=asked.activity,
        noise_seed=int(rng.integers(2**31)),
    )  # fmt: skip


def _with_day(health: Health, day: Day) -> Health:
    """Put the day's own blocked radiator and the health together."""
    if day.radiator_share == 1.0:
        return health
    return replace(health, radiator=health.radiator * day.radiator_share)


def _rated_air_kg_h(build: Build) -> float:
    """Return the air that the engine takes at rated power, 50 °C behind the cooler."""
    one = air_flow_kg_s(
        np.array([build.rated_rpm]),
        np.array([101.325 + build.boost_kpa]),
        np.array([50.0]),
        displacement_l=build.displacement_l,
        filling=build.filling,
    )
    return float(one[0]) * 3600.0


def _activity_is(asked: Demand, *activities: Activity) -> Flags:
    flags = np.zeros(len(asked.time_s), np.bool_)
    for activity, first, last in asked.activity:
        if activity in activities:
            flags[first:last] = True
    return flags


def _oil_pressure(build: Build, health: Health, drives: Drive, oil_c: F64, asked: Demand) -> F64:
    """Return oil pressure, with what a low level does to it in bends and on slopes."""
    pressure = oil_pressure_kpa(
        drives.rpm, oil_c, rated_rpm=build.rated_rpm, rated_kpa=build.oil_kpa,
        relief_kpa=build.oil_relief_kpa * health.oil_relief, oil=build.engine_oil,
        looseness=health.bearings, thinness=health.oil_thinness,
    )  # fmt: skip
    if health.oil_level >= 0.75:
        return pressure
    tilt = np.abs(asked.steering_pct) / 100.0 * np.clip(drives.travel_km_h / 8.0, 0.0, 1.0)
    tilt = tilt + np.abs(asked.slope) * 8.0
    bare = np.clip((tilt - 1.6 * health.oil_level) * 1.8, 0.0, 1.0)
    low = max(0.0, 0.3 - health.oil_level) * 2.5
    return pressure * (1.0 - lag(np.clip(bare + low, 0.0, 0.97), 0.8, STEP_S))


def _fuel_pressure(build: Build, health: Health, drives: Drive, fuel_c: F64, on: F64) -> F64:
    """Return fuel delivery pressure: the pump's, less what filter and wax in the cold take."""
    flow = 0.35 + 0.65 * drives.fuel_l_h / (build.fuel_l_kwh * build.power_kw)
    wax = 1.0 + 4.0 * np.clip((-8.0 - fuel_c) / 6.0, 0.0, 3.0)
    drop = 38.0 / health.fuel_filter * flow * wax
    return np.clip(470.0 * health.fuel_pump - drop, 0.0, None) * lag(on, 1.0, STEP_S, float(on[0]))


def _rail_pressure(health: Health, load: F64, speed_share: F64, feed: F64, on: F64) -> F64:
    """Return rail pressure (MPa): it cannot be held where delivery fails or injectors leak."""
    wanted = 20.0 + 80.0 * speed_share + 75.0 * load / 100.0 * speed_share
    held = np.clip(0.35 + feed / 190.0, 0.0, 1.0)
    leaks = 1.0 - health.rail_leak * (0.5 + 0.5 * load / 100.0)
    return np.asarray(lag(on * wanted * held * leaks, 0.25, STEP_S), np.float64)


def _vibration(asked: Demand, drives: Drive, speed_share: F64, rng: np.random.Generator) -> F64:
    """Return how hard the machine shakes (g), by ground, speed and engine."""
    ground = asked.rough * np.clip(drives.travel_km_h / 12.0, 0.0, 2.5) * 0.22
    lumps = np.exp(wander(rng, len(ground), 0.45, 0.8, STEP_S))
    return np.asarray(0.05 + 0.16 * speed_share + ground * lumps, np.float64)


def _brake_air(health: Health, asked: Demand) -> tuple[F64, F64]:
    """Return the air pressure of two brake circuits (kPa)."""
    ran = np.cumsum(asked.turning) * STEP_S
    start = 840.0 * float(np.exp(-6.0 * health.air_leak))
    if bool(asked.turning[0]):
        start = 840.0 * (1.0 - 0.55 * health.air_leak)
    top = 840.0 * (1.0 - 0.55 * health.air_leak)
    filled = start + (top - start) * (1.0 - np.exp(-ran / 90.0))
    governor = 20.0 * np.sin(asked.time_s / 23.0)
    used = 26.0 * lag(asked.brake.astype(np.float64), 4.0, STEP_S)
    return filled + governor - used, filled + governor - 4.0 - used
