"""Engine and drive line: what the demand becomes with the power that there is."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from shearbolt.model.frames import F64
from shearbolt.proving.hardware import Build
from shearbolt.proving.physics import lag, wander
from shearbolt.proving.plight import Health
from shearbolt.proving.work import STEP_S, Demand

GRAVITY = 9.80665
AIR_KG_M3 = 1.2
_LINE_SHARE = 0.84
"""Share of the engine's power that reaches the wheels."""
_STEPS = 12
_LOWEST_RATIO = 11.0


@dataclass(frozen=True, slots=True)
class Drive:
    """Engine and drive line over time; arrays of one length."""

    rpm: F64
    load_pct: F64
    pedal_pct: F64
    fuel_l_h: F64
    travel_km_h: F64
    gear: F64
    slip_pct: F64
    slip_kw: F64
    """Heat of clutch and brakes in the transmission's oil."""
    flow_share: F64
    """Hydraulic flow in shares of the pump's at rated speed."""


def road_power_kw(build: Build, travel_km_h: F64, slope: F64, loaded: F64) -> F64:
    """Return the engine power (kW) that driving takes: rolling, slope and air.

    The sum of resistances of any textbook of vehicle dynamics; negative downhill.
    """
    speed = travel_km_h / 3.6
    mass = (build.mass_t + build.payload_t * loaded) * 1000.0
    force = mass * GRAVITY * (build.rolling + slope) + 0.5 * AIR_KG_M3 * build.drag_m2 * speed**2
    return np.asarray(force * speed / 1000.0 / _LINE_SHARE, np.float64)


def stepped_gear(build: Build, travel_km_h: F64) -> tuple[F64, F64]:
    """Return gear (from 1; 0 standing) and engine speed (rpm) of a gearbox in steps."""
    ratios = np.geomspace(_LOWEST_RATIO, build.top_ratio, _STEPS)
    output = travel_km_h * build.output_rpm_a_km_h
    shift = 0.86 * build.rated_rpm
    index = np.searchsorted(-ratios * 1.0, -shift / np.clip(output, 1e-6, None))
    index = np.clip(index, 0, _STEPS - 1)
    moving = travel_km_h > 0.5
    return (
        np.where(moving, index + 1.0, 0.0),
        np.where(moving, np.maximum(output * ratios[index], build.idle_rpm), build.idle_rpm),
    )


def drive(
    build: Build,
    health: Health,
    asked: Demand,
    limit_pct: F64,
    crank_rpm: float,
    rng: np.random.Generator,
) -> Drive:
    """Work out speed, load and travel: a load beyond the engine's pulls it down its torque rise.

    `limit_pct` limits torque; on the road the machine then slows, at work the engine lugs.
    """
    count = len(asked.time_s)
    running = asked.turning
    already = bool(running[0])
    wish = np.clip(lag(asked.travel_km_h, 2.5, STEP_S), 0.0, None)
    wish = wish * (1.0 + wander(rng, count, 0.02, 6.0, STEP_S))
    target = asked.speed_rpm.copy()
    if build.stepped:
        _, needed = stepped_gear(build, wish)
        target = np.where(running & (wish > 0.5), needed, target)
    have = build.power_kw * np.clip(target / build.rated_rpm, 0.25, 1.0) ** 0.7
    have = have * np.clip(limit_pct, 10.0, 100.0) / 100.0
    takes = road_power_kw(build, wish, asked.slope, asked.loaded) * asked.road
    share = takes / np.clip(have, 1.0, None)
    # What the road takes beyond the engine's power costs speed; power goes about with its square.
    spare = np.clip(1.0 - asked.load_pct / 100.0, 0.2, 1.0)
    slower = np.clip((share / spare), 1.0, None) ** -0.75
    travel = np.clip(lag(wish * slower, 1.5, STEP_S), 0.0, None) * running
    gear, needed = stepped_gear(build, travel)
    if build.stepped:
        target = np.where(running & (travel > 0.5), needed, target)
    else:
        gear = np.ceil(np.clip(travel - 0.5, 0.0, None) / 4.5)
    road_pct = np.clip(share * np.minimum(slower**1.33, 1.0), -0.2, 1.0) * 100.0
    wanted = asked.load_pct + road_pct
    roof = np.clip(limit_pct, 10.0, 100.0)
    over = np.clip((wanted - roof) / build.torque_rise_pct, 0.0, 1.0)
    target = target * (1.0 - build.torque_rise_span * over * ~asked.road)
    target = np.where(asked.cranking, crank_rpm, target)
    target = target + running * wander(rng, count, 6.0, 1.5, STEP_S)
    rpm = np.clip(lag(target, 0.55, STEP_S, float(target[0]) if already else 0.0), 0.0, None)
    load = np.clip(lag(wanted, 0.5, STEP_S), 3.0, roof) * running
    speed = rpm / build.rated_rpm
    fuel = running * build.power_kw * build.fuel_l_kwh * load / 100.0 * speed
    fuel = fuel + running * 0.011 * build.power_kw * speed
    slip = health.clutch_slip_pct * load / 100.0 * (travel > 0.5)
    slip = slip + 60.0 * asked.clutch * (travel > 0.5)
    pulled = build.power_kw * load / 100.0
    braked = np.where(asked.brake & (travel > 1.0), 0.04 * build.power_kw, 0.0)
    pedal = np.clip((rpm - build.idle_rpm) / (build.rated_rpm - build.idle_rpm), 0.0, 1.0)
    if build.stepped:
        pedal = np.where(travel > 0.5, np.clip(wanted / 100.0, 0.0, 1.0), pedal)
    return Drive(
        rpm=rpm,
        load_pct=load,
        pedal_pct=pedal * 100.0,
        fuel_l_h=fuel,
        travel_km_h=travel,
        gear=gear,
        slip_pct=np.clip(slip, 0.0, 100.0),
        slip_kw=0.3 * pulled * np.clip(slip, 0.0, 40.0) / 100.0 + braked,
        flow_share=speed * (0.3 + 0.7 * asked.hydraulic),
    )
