"""Fuel: rate against what was used, and steps of the tank's level."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from shearbolt.dictionary.plausibility import limits
from shearbolt.reasoning.plausibility.check import (
    Check,
    Finding,
    Look,
    figures,
    graded,
    not_possible,
)

_SHEET = "reference sheet 6.11; common practice"


def fuel_used(look: Look) -> Iterable[Finding]:
    """The fuel rate added up is what the total counter rose by."""
    view, limit = look.view, limits("fuel_used")
    total, rate = view.pick("fuel_used_l"), view.values("fuel_rate_l_h")
    assert total is not None
    told = np.flatnonzero(~np.isnan(total.column.last))
    first, last = int(told[0]), int(told[-1])
    counted = float(total.column.last[last]) - float(total.column.last[first])
    # A single-precision number steps by more than the counter does once it is large.
    step = max(total.resolution, float(np.spacing(total.column.last[last])))
    span = rate[first:last]
    seconds = int(view.second[last] - view.second[first])
    heard = int(np.count_nonzero(~np.isnan(span)))
    if seconds <= 0 or heard < limit["coverage"] * seconds:
        yield not_possible("recording_has_gaps", "unbroken_fuel_rate")
        return
    if counted < max(limit["least_l"], 2.0 * step / (limit["doubtful"] / 100.0)):
        yield not_possible("too_little_fuel_used", "fuel_used")
        return
    summed = float(np.nansum(span, dtype=np.float64)) / 3600.0 * seconds / heard
    share = (summed / counted - 1.0) * 100.0
    result = graded(abs(share), limit["doubtful"], limit["odd"])
    yield Finding(
        result,
        "fuel_adds_up" if result == "ok" else "fuel_does_not_add_up",
        view.about("fuel_rate_l_h", "fuel_used_l"),
        figures(("by_rate", summed, "L"), ("by_counter", counted, "L"), ("difference", share, "%")),
        view.at_us(told[[0, -1]]) if result != "ok" else (),
    )


def fuel_level(look: Look) -> Iterable[Finding]:
    """The tank's level (minute by minute, slosh averaged) steps up only at a stand, never down."""
    view, limit = look.view, limits("fuel_level")
    level, speed = view.values("fuel_level_pct"), view.speed_kmh
    minute = (view.second - view.second[0]) // 60
    begins = np.flatnonzero(np.diff(minute, prepend=minute[0] - 1))
    good = (~np.isnan(level)).astype(np.float64)
    count = np.add.reduceat(good, begins)
    total = np.add.reduceat(np.nan_to_num(level).astype(np.float64), begins)
    full = count >= limit["least_s"]
    rows, mean, at = begins[full], total[full] / count[full], minute[begins][full]
    if len(mean) < 3:
        yield not_possible("too_short", "minutes_told")
        return
    # Over two minutes, so that a filling or a theft cut by a minute's edge is seen whole.
    step = mean[2:] - mean[:-2]
    next_to = (at[2:] - at[:-2]) == 2
    fell = np.flatnonzero(next_to & (step < -limit["step_pct"]))
    rose = np.flatnonzero(next_to & (step > limit["step_pct"]))
    if speed is not None:
        moved = np.array(
            [np.nanmin(speed[rows[i] : rows[i + 2] + 1], initial=np.inf) > 2.0 for i in rose],
            np.bool_,
        )
        rose = rose[moved] if len(rose) else rose
    else:
        rose = rose[:0]
    shown = figures(
        ("largest_fall", float(max(0.0, -step[next_to].min(initial=0.0))), "%"),
        ("largest_rise", float(max(0.0, step[next_to].max(initial=0.0))), "%"),
        ("minutes", float(len(mean)), "min"),
    )
    about = view.about("fuel_level_pct")
    if len(fell):
        yield Finding("odd", "fuel_level_fell", about, shown, view.at_us(rows[fell + 1]))
    elif len(rose):
        yield Finding("odd", "fuel_level_rose_moving", about, shown, view.at_us(rows[rose + 1]))
    else:
        yield Finding("ok", "fuel_level_steady", about, shown)


CHECKS = (
    Check("fuel_used", (("fuel_rate_l_h",), ("fuel_used_l",)), fuel_used, _SHEET),
    Check("fuel_level", (("fuel_level_pct",),), fuel_level, _SHEET),
)
