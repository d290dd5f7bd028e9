"""Intake air: boost against load and barometer, air flow against both, the air filter."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from shearbolt.dictionary.plausibility import limits
from shearbolt.model.state import F32
from shearbolt.reasoning.plausibility.check import (
    Check,
    Finding,
    Look,
    Result,
    figures,
    graded,
    not_possible,
    thin,
)
from shearbolt.reasoning.quantity_view import QuantityView, Rows

GAS_CONSTANT_AIR = 287.05
"""J/(kg K), dry air (ISO 2533)."""
DIESEL_KG_L = 0.832
KELVIN = 273.15
STANDARD_KPA = 101.325


def charge_density_kg_m3(pressure_kpa: float, temperature_c: float) -> float:
    """Give the density of air by the ideal gas law (absolute pressure)."""
    return pressure_kpa * 1000.0 / (GAS_CONSTANT_AIR * (temperature_c + KELVIN))


def manifold_kpa(view: QuantityView) -> F32 | None:
    """Give the absolute manifold pressure: told, or gauge plus barometer (sea level if mute)."""

    def work() -> F32 | None:
        absolute = view.held("manifold_abs_kpa")
        if absolute is not None:
            return absolute
        boost, barometer = view.held("boost_kpa"), view.held("barometer_kpa")
        if boost is None:
            return None
        return boost + (np.float32(STANDARD_KPA) if barometer is None else barometer)

    return view.once("manifold", work)


def air_share(view: QuantityView) -> F32 | None:
    """Give what the air flow is in proportion to: speed times charge density (rpm kg/m3).

    Displacement and filling are not known; where the charge temperature is mute, 50 degC stands in.
    """

    def work() -> F32 | None:
        pressure, rpm = manifold_kpa(view), view.held("engine_rpm")
        if pressure is None or rpm is None:
            return None
        warm = view.held("intake_c")
        kelvin = np.float32(50.0 + KELVIN) if warm is None else warm + np.float32(KELVIN)
        return rpm * pressure * np.float32(1000.0 / GAS_CONSTANT_AIR) / kelvin

    return view.once("air share", work)


def boost_against_load(look: Look) -> Iterable[Finding]:
    """Boost rises with load and speed; exactly zero or unmoved at full load is the sensor."""
    view, limit = look.view, limits("boost_against_load")
    boost, rpm, load = view.values("boost_kpa"), view.values("engine_rpm"), view.values("load_pct")
    told = ~np.isnan(boost) & ~np.isnan(load)
    hard = np.flatnonzero(
        told & view.running(load_pct=(limit["hard_pct"], np.inf), engine_rpm=(1200.0, np.inf))
    )
    soft = np.flatnonzero(told & view.running(load_pct=(-np.inf, limit["soft_pct"])))
    if len(hard) < limit["least_s"] or len(soft) < limit["least_s"]:
        yield not_possible("never_loaded", "load")
        return
    at_load, at_idle = float(np.median(boost[hard])), float(np.median(boost[soft]))
    shown = figures(
        ("at_load", at_load, "kPa"), ("unloaded", at_idle, "kPa"),
        ("speed", float(np.median(rpm[hard])), "rpm"),
    )  # fmt: skip
    about = view.about("boost_kpa", "load_pct")
    rise = at_load - at_idle
    if float(np.ptp(boost[hard])) == 0.0 and rise == 0.0:
        # An engine without a turbocharger tells a true zero, but then it never told another.
        key = "boost_unmoved" if at_load else "boost_zero_at_load"
        result: Result = "odd" if at_load or _once_boosted(look) else "doubtful"
        yield Finding(result, key, about, shown, view.at_us(hard))
    elif rise < limit["rise_kpa"]:
        yield Finding("doubtful", "boost_low_at_load", about, shown, view.at_us(hard))
    else:
        yield Finding("ok", "boost_follows_load", about, shown)


def _once_boosted(look: Look) -> bool:
    """Tell whether earlier visits saw boost under load."""
    picked = look.view.pick("boost_kpa")
    return picked is not None and any(
        value > 10.0 for value in look.earlier(picked.sender, "boost_at_load")
    )


def boost_twins(look: Look) -> Iterable[Finding]:
    """Absolute manifold pressure is gauge boost plus the barometer."""
    view, limit = look.view, limits("boost_twins")
    gap = view.values("manifold_abs_kpa") - view.values("boost_kpa") - view.values("barometer_kpa")
    rows = thin(np.flatnonzero(~np.isnan(gap)))
    if len(rows) < limit["least_s"]:
        yield not_possible("too_short", "seconds_told")
        return
    middle = float(np.median(gap[rows]))
    result = graded(abs(middle), limit["doubtful"], limit["odd"])
    yield Finding(
        result,
        "boost_twins_agree" if result == "ok" else "boost_twins_differ",
        view.about("manifold_abs_kpa", "boost_kpa", "barometer_kpa"),
        figures(("difference", middle, "kPa")),
        view.at_us(rows) if result != "ok" else (),
    )


def exhaust_against_air(look: Look) -> Iterable[Finding]:
    """Exhaust flow is air flow plus fuel (mass is kept)."""
    view, limit = look.view, limits("exhaust_against_air")
    exhaust, air = view.values("exhaust_kg_h"), view.values("air_kg_h")
    expected = air + view.values("fuel_rate_l_h") * np.float32(DIESEL_KG_L)
    rows = thin(np.flatnonzero(view.running() & (expected > limit["least_kg_h"]) & (exhaust >= 0)))
    if len(rows) < limit["least_s"]:
        yield not_possible("too_short", "seconds_told")
        return
    share = float(np.median(exhaust[rows] / expected[rows])) - 1.0
    result = graded(abs(share) * 100.0, limit["doubtful"], limit["odd"])
    yield Finding(
        result,
        "exhaust_is_air_and_fuel" if result == "ok" else "exhaust_is_not_air_and_fuel",
        view.about("exhaust_kg_h", "air_kg_h", "fuel_rate_l_h"),
        figures(
            ("difference", share * 100.0, "%"),
            ("exhaust", float(np.median(exhaust[rows])), "kg/h"),
            ("expected", float(np.median(expected[rows])), "kg/h"),
        ),
        view.at_us(rows) if result != "ok" else (),
    )


def swept_l(view: QuantityView) -> tuple[float, float, Rows] | None:
    """Give what the told air flow makes of the engine's filling times displacement (L): median,
    relative spread, and rows; None where it cannot be told.

    Flow = filling x displacement / 2 x speed x density, four-stroke (reference sheet 6.3). Only
    under load, where little exhaust is led back.
    """

    def work() -> tuple[float, float, Rows] | None:
        share, air = air_share(view), view.held("air_kg_h")
        if share is None or air is None:
            return None
        limit = limits("air_flow")
        good = view.running(load_pct=(limit["load_pct"], np.inf)) & (air > 0) & (share > 0)
        rows = thin(np.flatnonzero(good))
        if len(rows) < limit["least_s"]:
            return None
        litres = air[rows] / share[rows] * np.float32(1000.0 * 2.0 / 60.0)
        low, middle, high = np.percentile(litres, (10, 50, 90)).tolist()
        return middle, (high - low) / middle, rows

    return view.once("swept", work)


def air_flow(look: Look) -> Iterable[Finding]:
    """The air flow told fits speed and charge density with one and the same displacement."""
    view, limit = look.view, limits("air_flow")
    told = swept_l(view)
    if told is None:
        yield not_possible("never_loaded", "load")
        return
    litres, spread, rows = told
    shown = figures(("swept", litres, "L"), ("spread", spread * 100.0, "%"))
    about = view.about("air_kg_h", "boost_kpa", "manifold_abs_kpa", "intake_c")
    if not limit["least_l"] <= litres <= limit["most_l"]:
        yield Finding("odd", "air_flow_of_no_engine", about, shown, view.at_us(rows))
        return
    result = graded(spread * 100.0, limit["doubtful"], limit["odd"])
    key = "air_flow_fits" if result == "ok" else "air_flow_scatters"
    yield Finding(result, key, about, shown, view.at_us(rows) if result != "ok" else ())


def air_filter_rows(view: QuantityView) -> Rows:
    """Give the rows of high air flow: above 80 % of the largest seen, and truly under load."""

    def work() -> Rows:
        share, drop = air_share(view), view.held("air_filter_kpa")
        if share is None or drop is None:
            return np.empty(0, np.intp)
        limit = limits("air_filter")
        hard = np.flatnonzero(
            view.running(load_pct=(limit["load_pct"], np.inf)) & ~np.isnan(share + drop)
        )
        if not len(hard):
            return hard
        top = float(np.percentile(share[thin(hard)], 98))
        return hard[share[hard] >= limit["flow_share"] * top]

    return view.once("air filter rows", work)


def air_filter(look: Look) -> Iterable[Finding]:
    """The air filter's drop at high flow: 1 to 2.5 kPa clean, change at 5 to 6.2 kPa."""
    view, limit = look.view, limits("air_filter")
    rows = air_filter_rows(view)
    if len(rows) < limit["least_s"]:
        yield not_possible("never_loaded", "load")
        return
    drop = view.values("air_filter_kpa")[rows]
    middle = float(np.median(drop))
    shown = figures(("drop", middle, "kPa"), ("seconds", float(len(rows)), "s"))
    about = view.about("air_filter_kpa")
    if float(np.max(drop)) == 0.0:
        yield Finding("doubtful", "air_filter_zero_at_flow", about, shown, view.at_us(rows))
        return
    result = graded(middle, limit["doubtful"], limit["odd"])
    key = "air_filter_free" if result == "ok" else "air_filter_choked"
    yield Finding(result, key, about, shown, view.at_us(rows) if result != "ok" else ())


CHECKS = (
    Check(
        "boost_against_load",
        (("boost_kpa",), ("load_pct",), ("engine_rpm",)),
        boost_against_load,
        "reference sheet 6.3; limits common practice",
    ),
    Check(
        "boost_twins",
        (("manifold_abs_kpa",), ("boost_kpa",), ("barometer_kpa",)),
        boost_twins,
        "reference sheet 6.3 (absolute = gauge + barometric)",
    ),
    Check(
        "exhaust_against_air",
        (("exhaust_kg_h",), ("air_kg_h",), ("fuel_rate_l_h",), ("engine_rpm",)),
        exhaust_against_air,
        "conservation of mass; reference sheet 6.3",
    ),
    Check(
        "air_flow",
        (("air_kg_h",), ("engine_rpm",), ("boost_kpa", "manifold_abs_kpa"), ("load_pct",)),
        air_flow,
        "ideal gas law; reference sheet 6.3",
    ),
    Check(
        "air_filter",
        (("air_filter_kpa",), ("engine_rpm",), ("boost_kpa", "manifold_abs_kpa"), ("load_pct",)),
        air_filter,
        "reference sheet 6.4; common practice",
    ),
)
