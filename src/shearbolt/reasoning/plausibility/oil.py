"""Engine oil pressure against speed and temperature."""

from __future__ import annotations

from collections.abc import Iterable
from typing import NamedTuple

import numpy as np

from shearbolt.dictionary.plausibility import limits
from shearbolt.reasoning.plausibility.check import (
    Check,
    Finding,
    Look,
    Result,
    figures,
    not_possible,
    thin,
)
from shearbolt.reasoning.quantity_view import QuantityView, Rows


class Follows(NamedTuple):
    """How oil pressure goes with speed while the engine is warm."""

    rows: Rows
    slope_kpa_1000rpm: float
    correlation: float
    distinct: int
    """Different values seen, counted up to 50."""
    span_rpm: float


def warm_rows(view: QuantityView) -> Rows:
    """Give running rows with warm oil (or, without oil temperature, warm coolant), settled."""

    def work() -> Rows:
        limit = limits("oil_pressure")
        oil = view.held("oil_kpa")
        if oil is None:
            return np.empty(0, np.intp)
        by = "oil_c" if view.alive("oil_c") else "coolant_c"
        if not view.alive(by):
            return np.empty(0, np.intp)
        good = view.running(**{by: (limit["warm_c"], np.inf)}) & ~np.isnan(oil)
        good &= view.settled(limit["settled_s"])
        return np.flatnonzero(good)

    return view.once("warm oil rows", work)


def follows(view: QuantityView) -> Follows | None:
    """Fit warm oil pressure over engine speed; None where there is too little of either."""

    def work() -> Follows | None:
        limit = limits("oil_pressure")
        rows = thin(warm_rows(view))
        if len(rows) < limit["least_s"]:
            return None
        rpm = view.values("engine_rpm")[rows].astype(np.float64)
        oil = view.values("oil_kpa")[rows].astype(np.float64)
        low, high = np.percentile(rpm, (5, 95)).tolist()
        if high - low < limit["span_rpm"]:
            return None
        distinct = len(np.unique(oil[:5000]))
        slope = float(np.polyfit(rpm, oil, 1)[0]) * 1000.0
        moving = float(np.std(oil)) > 0.0
        correlation = float(np.corrcoef(rpm, oil)[0, 1]) if moving else 0.0
        return Follows(rows, slope, correlation, min(distinct, 50), high - low)

    return view.once("oil follows", work)


def oil_pressure(look: Look) -> Iterable[Finding]:
    """Warm oil pressure rises with speed; a constant one is stuck, a default, or a switch."""
    view = look.view
    found = follows(view)
    if found is None:
        yield not_possible("oil_not_seen_warm", "warm_engine_at_several_speeds")
        return
    limit = limits("oil_pressure")
    oil = view.values("oil_kpa")[found.rows]
    picked = view.pick("oil_kpa")
    shown = figures(
        ("slope", found.slope_kpa_1000rpm, "kPa/1000rpm"),
        ("correlation", found.correlation, "-"),
        ("values", float(found.distinct), "-"),
        ("median", float(np.median(oil)), "kPa"),
        ("speeds", found.span_rpm, "rpm"),
    )
    result: Result
    if found.distinct <= 2 and float(np.ptp(view.values("oil_kpa")[warm_rows(view)])) in (
        0.0,
        200.0,
    ):
        switch = bool(np.isin(np.unique(oil), (0.0, 200.0)).all())
        result, key = ("doubtful", "oil_by_switch") if switch else ("odd", "oil_constant")
    elif found.slope_kpa_1000rpm < limit["slope"] or found.correlation < limit["correlation"]:
        # A variable pump or a modelled value may do so too.
        steady = picked is not None and float(np.std(oil)) <= 1.5 * picked.resolution
        result, key = "doubtful", "oil_regulated" if steady else "oil_does_not_follow"
    else:
        result, key = "ok", "oil_follows"
    moments = () if result == "ok" else view.at_us(found.rows)
    yield Finding(result, key, view.about("oil_kpa", "engine_rpm"), shown, moments)


def oil_low(look: Look) -> Iterable[Finding]:
    """Warm oil pressure is at least 50 kPa at idle and 100 kPa above 1200 rpm."""
    view, limit = look.view, limits("oil_low")
    rows = warm_rows(view)
    rpm, oil = view.values("engine_rpm"), view.values("oil_kpa")
    idle = rows[rpm[rows] <= limit["idle_rpm"]]
    fast = rows[rpm[rows] >= limit["fast_rpm"]]
    least = limit["least_s"]
    if len(idle) < least and len(fast) < least:
        yield not_possible("oil_not_seen_warm", "warm_engine")
        return
    at_idle = float(np.median(oil[idle])) if len(idle) >= least else np.nan
    at_speed = float(np.median(oil[fast])) if len(fast) >= least else np.nan
    shown = figures(
        *([("idle", at_idle, "kPa")] if len(idle) >= least else []),
        *([("at_speed", at_speed, "kPa")] if len(fast) >= least else []),
    )
    about = view.about("oil_kpa", "engine_rpm")
    result: Result = "ok"
    key, where = "oil_enough", rows[:0]
    if at_speed < limit["fast_kpa"] and not at_idle >= limit["idle_kpa"]:
        result, key, where = "odd", "oil_low_everywhere", fast
    elif at_speed < limit["fast_kpa"]:
        result, key, where = "odd", "oil_low_at_speed", fast
    elif at_idle < limit["idle_kpa"]:
        known = len(fast) >= least
        result, key, where = "odd", "oil_low_only_at_hot_idle" if known else "oil_low_at_idle", idle
    elif at_idle < limit["idle_doubtful_kpa"]:
        result, key, where = "doubtful", "oil_rather_low_at_hot_idle", idle
    yield Finding(result, key, about, shown, view.at_us(where))


CHECKS = (
    Check(
        "oil_pressure",
        (("oil_kpa",), ("engine_rpm",), ("oil_c", "coolant_c")),
        oil_pressure,
        "reference sheet 6.7; common practice",
    ),
    Check(
        "oil_low",
        (("oil_kpa",), ("engine_rpm",), ("oil_c", "coolant_c")),
        oil_low,
        "reference sheet 6.7; common practice",
    ),
)
