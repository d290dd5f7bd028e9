"""The way of the exhaust: particulate filter, regeneration and catalyst, second by second."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from shearbolt.model.frames import F64
from shearbolt.proving.hardware import Build
from shearbolt.proving.physics import GAS_CONSTANT_AIR, KELVIN, Flags
from shearbolt.proving.plight import Health

SWITCH, CLUTCH, BRAKE, PTO = 3703, 3704, 3705, 3706
PEDAL, GEAR, FAST, PARK = 3707, 3708, 3709, 3710
COLD_EXHAUST, FAULT, TIMEOUT, LOCKOUT, COLD_ENGINE = 3711, 3712, 3713, 3715, 3716
REASONS = (
    SWITCH, CLUTCH, BRAKE, PTO, PEDAL, GEAR, FAST, PARK, COLD_EXHAUST, FAULT, TIMEOUT, LOCKOUT,
    COLD_ENGINE,
)  # fmt: skip
"""SPNs of the reasons that keep active regeneration from starting (SAE J1939-71 DPFC1)."""
STANDING_ONLY = (CLUTCH, BRAKE, PEDAL, GEAR, FAST, PARK)
"""Reasons that hold only for a regeneration of the standing machine."""

_BEGINS_PCT = 80.0
_ENDS_PCT = 12.0
_LOCKOUT_PCT = 140.0
_TIMEOUT_S = 2700


def filter_factor(build: Build, soot_pct: F64, ash_pct: float) -> F64:
    """Return the Darcy factor: it grows with soot and ash."""
    return build.filter_factor * (1.0 + 1.2 * soot_pct / 100.0 + 0.8 * ash_pct / 100.0)


def gas_viscosity(temperature_c: F64) -> F64:
    """Return the viscosity (Pa s) of exhaust by Sutherland's formula, constants of air."""
    kelvin = temperature_c + KELVIN
    return np.asarray(1.716e-5 * (kelvin / KELVIN) ** 1.5 * 383.55 / (kelvin + 110.4), np.float64)


def filter_pressure_kpa(
    exhaust_kg_h: F64, temperature_c: F64, factor: F64 | float, inertial: float,
    behind_kpa: F64 | float = 101.325,
) -> F64:  # fmt: skip
    """Return the drop (kPa) over a filter by Darcy and Forchheimer: a mu Q + b rho Q^2.

    Q is the volume flow of gas that stands at the pressure before the filter, so the drop is in
    both sides of the equation and solved for. `factor` is a, `inertial` is b.
    """
    kelvin = temperature_c + KELVIN
    flow_kg_s = exhaust_kg_h / 3600.0
    # At 1 kPa; the true pressure divides both terms.
    volume = flow_kg_s * GAS_CONSTANT_AIR * kelvin / 1000.0
    push = factor * gas_viscosity(temperature_c) * volume + inertial * flow_kg_s * volume
    behind = np.asarray(behind_kpa, np.float64)
    return np.asarray((np.sqrt(behind**2 + 4.0 * push) - behind) / 2.0, np.float64)


@dataclass(frozen=True, slots=True)
class Hot:
    """The exhaust's state, one value a second."""

    before_c: F64
    filter_in_c: F64
    filter_out_c: F64
    soot_pct: F64
    burning: Flags
    """An active regeneration is under way."""
    reasons: dict[int, Flags]
    """By SPN: this keeps (or would keep) one from starting."""
    since_s: F64
    """Since the last finished active regeneration."""


@dataclass(frozen=True, slots=True)
class Course:
    """What decides about regeneration, one value a second."""

    load_pct: F64
    running: Flags
    air_c: F64
    coolant_c: F64
    speed_km_h: F64
    pto: Flags
    park: Flags
    brake: Flags
    clutch: Flags
    pedal_pct: F64
    asked: Flags
    """A regeneration of the standing machine is asked for."""


def burn(
    build: Build,
    health: Health,
    course: Course,
    *,
    start_c: float,
    soot_pct: float,
    switch: bool,
    held: frozenset[int],
    since_s: float,
) -> Hot:
    """Step filter and catalyst through the work, one second at a time.

    Soot is made with load and burns by itself above 250 °C (common practice), about 3 % of a full
    filter a minute above 530 °C. Active regeneration starts by itself at 80 % or where it is asked
    for, ends at 12 %, and is broken off by any reason that inhibits it.
    """
    count = len(course.load_pct)
    load = course.load_pct / 100.0
    idle_c = build.gas_idle_c + 0.5 * (course.air_c - 15.0)
    gas = np.where(course.running, idle_c + build.gas_load_k * load, course.air_c)
    slow = course.asked & course.running
    reasons: dict[int, Flags] = {
        SWITCH: np.full(count, switch),
        PTO: course.pto,
        COLD_EXHAUST: gas < 215.0,
        COLD_ENGINE: course.coolant_c < 65.0,
        PARK: slow & ~course.park,
        BRAKE: slow & course.brake,
        CLUTCH: slow & course.clutch,
        FAST: slow & (course.speed_km_h > 2.0),
        GEAR: slow & (course.speed_km_h > 0.5),
        PEDAL: slow & (course.pedal_pct > 90.0),
        FAULT: np.zeros(count, np.bool_),
        TIMEOUT: np.zeros(count, np.bool_),
        LOCKOUT: np.zeros(count, np.bool_),
    }
    for one in held:
        reasons[one] = np.ones(count, np.bool_)
    barred = np.zeros(count, np.bool_)
    for one in REASONS:
        if one == COLD_EXHAUST:
            # A standing machine's burner warms the exhaust by itself.
            barred |= reasons[one] & (~course.asked | (one in held))
        else:
            barred |= reasons[one]
    made = (2.0 + build.soot_pct_h * load) * health.soot / 3600.0 * course.running
    rows = []
    before = inside = outside = start_c
    soot, burning, burned_s = soot_pct, False, 0
    lift = build.regeneration_c * (0.55 + 0.45 * health.oxidation)
    for i, (hot, more, air, running, no, asked) in enumerate(
        zip(gas.tolist(), made.tolist(), course.air_c.tolist(), course.running.tolist(),
            barred.tolist(), course.asked.tolist(), strict=True)
    ):  # fmt: skip
        rows.append((before, inside, outside, soot, burning, since_s))
        since_s += 1.0
        if build.particulate_filter:
            if burning and (no or not running or soot <= _ENDS_PCT or burned_s > _TIMEOUT_S):
                if soot <= _ENDS_PCT:
                    since_s = 0.0
                reasons[TIMEOUT][i:] |= burned_s > _TIMEOUT_S
                burning = False
            elif not burning and running and not no and soot < _LOCKOUT_PCT:
                burning = burned_s <= _TIMEOUT_S and (asked or soot >= _BEGINS_PCT)
        burned_s = burned_s + 1 if burning else 0
        tau = 30.0 if running else 900.0
        before += ((hot if running else air) - before) / tau
        inside += (max(before, lift) - inside if burning else before - inside) / tau
        outside += (inside - outside) / (45.0 if running else 900.0)
        if build.particulate_filter:
            passive = 0.0
            if 250.0 < inside <= 500.0 and running:
                passive = 7.0 / 3600.0 * min(1.0, (inside - 250.0) / 120.0) * soot / 60.0
            active = 3.0 / 60.0 * min(1.0, max(0.0, (inside - 500.0) / 60.0))
            soot = max(0.0, soot + more - passive * health.oxidation - active)
    table = np.array(rows, np.float64).reshape(-1, 6).T
    reasons[LOCKOUT] = reasons[LOCKOUT] | (table[3] >= _LOCKOUT_PCT)
    return Hot(table[0], table[1], table[2], table[3], table[4].astype(np.bool_), reasons, table[5])


def def_quality(concentration_pct: float) -> float:
    """Return what fluid of a concentration (%, ISO 22241: 32.5) still does, 0 to 1."""
    return float(np.clip(1.0 - abs(concentration_pct - 32.5) / 32.5, 0.0, 1.0))


def conversion(build: Build, health: Health, catalyst_c: F64, def_pct: F64, def_c: F64) -> F64:
    """Return the share of NOx that the catalyst takes out.

    None below 190 °C, all that it can above 250 °C; nothing without fluid or with frozen fluid
    (-11 °C, ISO 22241).
    """
    hot = np.clip((catalyst_c - 190.0) / 60.0, 0.0, 1.0)
    fluid = (def_pct > 0.5) & (def_c > -11.0)
    share = build.scr_share * health.catalyst * min(1.0, health.doser)
    return np.asarray(hot * fluid * share * def_quality(health.def_concentration_pct), np.float64)
