"""The exhaust's treatment: filter drop against flow, soot, NOx, reductant, temperatures."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Literal, NamedTuple

import numpy as np

from shearbolt.dictionary.plausibility import limits
from shearbolt.model.state import F32
from shearbolt.reasoning.phases import stretches
from shearbolt.reasoning.plausibility.air import DIESEL_KG_L, GAS_CONSTANT_AIR, KELVIN, air_share
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
from shearbolt.reasoning.quantity_view import Flags, QuantityView, Rows

FlowFrom = Literal["told", "air", "proxy"]
"""Exhaust flow as sent (SPN 3236), from air flow and fuel, or in proportion to speed times charge
density (displacement not known)."""


def gas_viscosity_pa_s(temperature_c: F32) -> F32:
    """Give the viscosity of exhaust by Sutherland's formula with the constants of air."""
    kelvin = temperature_c + np.float32(KELVIN)
    return (
        np.float32(1.716e-5 * 383.55)
        * (kelvin / KELVIN) ** np.float32(1.5)
        / (kelvin + np.float32(110.4))
    )


class FilterFit(NamedTuple):
    """Filter drop over viscosity times volume flow: a line (Darcy's law)."""

    flow_from: FlowFrom
    slope: float
    """kPa for each Pa m3 (flow told or from air: Pa s x m3/s), or for each unit of the proxy."""
    offset_kpa: float
    offset_error_kpa: float
    """Standard error of the offset."""
    correlation: float
    scatter_kpa: float
    top_kpa: float
    """Median drop at the highest tenth of flows."""
    reach: float
    """Flow at its 95th over its 5th percentile."""
    rows: Rows


def exhaust_flow(view: QuantityView) -> tuple[FlowFrom, F32] | None:
    """Give the exhaust's mass flow (kg/h; a proxy without a scale where nothing better is told)."""
    told = view.held("exhaust_kg_h")
    if told is not None:
        return "told", told
    air, fuel = view.held("air_kg_h"), view.held("fuel_rate_l_h")
    if air is not None:
        return "air", air if fuel is None else air + fuel * np.float32(DIESEL_KG_L)
    share = air_share(view)
    return None if share is None else ("proxy", share)


def filter_fit(view: QuantityView) -> FilterFit | None:
    """Fit the particulate filter's drop; None where too little of it was seen."""

    def work() -> FilterFit | None:
        drop, flow = view.held("dpf_drop_kpa"), exhaust_flow(view)
        hot = view.held("dpf_in_c")
        if hot is None:
            hot = view.held("dpf_out_c")
        if drop is None or flow is None or hot is None:
            return None
        limit = limits("dpf_flow")
        good = view.running() & ~np.isnan(drop) & (flow[1] > 0) & (hot > 0)
        rows = thin(np.flatnonzero(good))
        if len(rows) < limit["least_s"]:
            return None
        # Before the filter the gas stands at the outside pressure and the drop itself.
        behind = view.held("barometer_kpa")
        outside = np.float32(101.325) if behind is None else np.float32(np.nanmedian(behind))
        volume = flow[1][rows] / 3.6e6 * GAS_CONSTANT_AIR * (hot[rows] + KELVIN)
        volume = volume / (outside + np.clip(drop[rows], 0.0, 50.0))
        x = (gas_viscosity_pa_s(hot[rows]) * volume).astype(np.float64)
        y = drop[rows].astype(np.float64)
        low, high = np.percentile(x, (5, 95)).tolist()
        spread = float(np.sum((x - x.mean()) ** 2))
        if low <= 0 or spread <= 0:
            return None
        slope = float(np.sum((x - x.mean()) * (y - y.mean()))) / spread
        offset = float(y.mean() - slope * x.mean())
        rest = y - offset - slope * x
        scatter = float(np.sqrt(np.sum(rest**2) / max(1, len(x) - 2)))
        error = scatter * float(np.sqrt(1.0 / len(x) + x.mean() ** 2 / spread))
        correlation = float(np.corrcoef(x, y)[0, 1]) if float(np.std(y)) > 0 else 0.0
        top = float(np.median(y[x >= np.percentile(x, 90)]))
        return FilterFit(flow[0], slope, offset, error, correlation, scatter, top, high / low, rows)

    return view.once("filter fit", work)


def dpf_flow(look: Look) -> Iterable[Finding]:
    """The filter's drop rises in a line with viscosity times flow, through zero."""
    view, limit = look.view, limits("dpf_flow")
    fit = filter_fit(view)
    if fit is None or fit.reach < limit["reach"]:
        yield not_possible("flow_hardly_varied", "exhaust_flow_varied")
        return
    shown = figures(
        ("slope", fit.slope, "kPa/(Pa m3)" if fit.flow_from != "proxy" else "-"),
        ("offset", fit.offset_kpa, "kPa"), ("correlation", fit.correlation, "-"),
        ("scatter", fit.scatter_kpa, "kPa"), ("at_high_flow", fit.top_kpa, "kPa"),
        ("flow_reach", fit.reach, "-"),
    )  # fmt: skip
    about = view.about("dpf_drop_kpa", "exhaust_kg_h", "air_kg_h", "dpf_in_c")
    result: Result = "ok"
    key = "filter_drop_follows_flow"
    # The inertial term bends the line, so a fitted offset counts only where it is sure and large.
    offset = abs(fit.offset_kpa) - 2.0 * fit.offset_error_kpa
    if fit.top_kpa < -limit["zero_kpa"]:
        result, key = "odd", "filter_drop_negative"
    elif fit.top_kpa < limit["zero_kpa"] and fit.reach >= limit["wide_reach"]:
        result, key = "odd", "filter_drop_missing"
    elif fit.correlation < limit["correlation"] and fit.reach >= limit["wide_reach"]:
        result = "odd" if len(fit.rows) >= limit["sure_s"] else "doubtful"
        key = "filter_drop_without_flow"
    elif offset > limit["offset_kpa"] and fit.reach >= limit["wide_reach"]:
        result, key = "doubtful", "filter_drop_offset"
    yield Finding(result, key, about, shown, view.at_us(fit.rows, 5) if result != "ok" else ())


def soot_against_drop(look: Look) -> Iterable[Finding]:
    """Soot load and filter drop tell the same story, by the filter's own earlier slopes."""
    view, limit = look.view, limits("soot_against_drop")
    fit, soot = filter_fit(view), view.values("soot_pct")
    picked = view.pick("dpf_drop_kpa")
    if fit is None or fit.reach < limits("dpf_flow")["reach"] or picked is None:
        yield not_possible("flow_hardly_varied", "exhaust_flow_varied")
        return
    clean = sorted(look.earlier(picked.sender, f"dpf_slope_{fit.flow_from}"))
    if len(clean) < limit["least_visits"]:
        yield not_possible("no_baseline", "earlier_visits")
        return
    # Slopes of a clean filter lie at the low end of its own history.
    base = clean[len(clean) // 5]
    load = float(np.nanmedian(soot[fit.rows]))
    if base <= 0 or np.isnan(load):
        yield not_possible("no_baseline", "earlier_visits")
        return
    times = fit.slope / base
    shown = figures(("soot", load, "%"), ("slope_times_clean", times, "-"))
    about = view.about("dpf_drop_kpa", "soot_pct")
    if times >= limit["high_times"] and load <= limit["low_pct"]:
        yield Finding("doubtful", "drop_high_soot_low", about, shown, view.at_us(fit.rows, 5))
    elif times <= limit["low_times"] and load >= limit["high_pct"]:
        yield Finding("doubtful", "drop_low_soot_high", about, shown, view.at_us(fit.rows, 5))
    else:
        yield Finding("ok", "soot_fits_drop", about, shown)


class Conversion(NamedTuple):
    """What the catalyst takes out of the NOx."""

    share: float
    before_ppm: float
    after_ppm: float
    ready_told: bool
    rows: Rows


def conversion(view: QuantityView) -> Conversion | None:
    """Give the catalyst's conversion above 250 degC, both sensors at temperature and supplied.

    Where the readiness bits are mute, from five minutes of warm running on.
    """

    def work() -> Conversion | None:
        limit = limits("nox")
        before, after = view.held("nox_in_ppm"), view.held("nox_out_ppm")
        hot = view.held("scr_in_c")
        if hot is None:
            hot = view.held("dpf_out_c")
        phases = view.phases
        if before is None or after is None or hot is None or phases is None:
            return None
        good = phases.running & (hot >= limit["warm_c"]) & (before >= limit["least_ppm"])
        good &= ~np.isnan(after)
        burning = view.regenerating
        if burning is not None:
            good &= ~burning
        bits = [view.held(f"nox_{side}_{bit}") for side in ("in", "out") for bit in
                ("ready", "power")]  # fmt: skip
        for bit in bits:
            if bit is not None:
                good &= bit == 1
        ready = bits[0] is not None and bits[2] is not None
        if not ready:
            good &= view.settled(limit["unready_s"])
        rows = thin(np.flatnonzero(good))
        if len(rows) < limit["least_s"]:
            return None
        into, out = float(before[rows].mean()), float(after[rows].mean())
        return Conversion(1.0 - out / into, into, out, ready, rows)

    return view.once("conversion", work)


def nox(look: Look) -> Iterable[Finding]:
    """A warm catalyst takes out 70 to 95 % of the NOx."""
    view, limit = look.view, limits("nox")
    found = conversion(view)
    if found is None:
        yield not_possible("catalyst_never_ready", "catalyst_above_250_degC")
        return
    shown = figures(
        ("conversion", found.share * 100.0, "%"), ("before", found.before_ppm, "ppm"),
        ("after", found.after_ppm, "ppm"), ("seconds", float(len(found.rows)), "s"),
    )  # fmt: skip
    about = view.about("nox_out_ppm", "nox_in_ppm")
    result: Result
    if found.share * 100.0 > limit["most_pct"]:
        result, key = "odd", "nox_after_below_zero"
    else:
        result = graded(100.0 - found.share * 100.0, 100.0 - limit["ok_pct"],
                        100.0 - limit["odd_pct"])  # fmt: skip
        key = "nox_converted" if result == "ok" else "nox_not_converted"
    if result == "odd" and not found.ready_told:
        result = "doubtful"
    yield Finding(result, key, about, shown, view.at_us(found.rows) if result != "ok" else ())


def def_quality(look: Look) -> Iterable[Finding]:
    """Reductant holds 32.5 % urea (ISO 22241); 0 is water, above 40 % another fluid."""
    view, limit = look.view, limits("def_quality")
    values, cold = view.values("def_quality_pct"), view.held("def_c")
    good = ~np.isnan(values)
    if cold is not None:
        good &= ~(cold < limit["thawed_c"])
    rows = thin(np.flatnonzero(good))
    if len(rows) < limit["least_s"]:
        yield not_possible("reductant_frozen_or_short", "thawed_reductant")
        return
    middle = float(np.median(values[rows]))
    result = graded(abs(middle - limit["nominal_pct"]), limit["doubtful"], limit["odd"])
    if result == "ok":
        key = "reductant_as_it_should_be"
    elif middle < limit["water_pct"]:
        key = "reductant_is_water"
    else:
        key = "reductant_thin" if middle < limit["nominal_pct"] else "reductant_wrong_fluid"
    yield Finding(
        result, key, view.about("def_quality_pct"), figures(("concentration", middle, "%")),
        view.at_us(rows, 3) if result != "ok" else (),
    )  # fmt: skip


def exhaust_temperature(look: Look) -> Iterable[Finding]:
    """After ten minutes of idling 80 to 300 degC; 500 to 680 degC while a filter burns free."""
    view, limit = look.view, limits("exhaust_temperature")
    burning = view.regenerating
    judged = False
    idle = view.running(engine_rpm=(-np.inf, limit["idle_rpm"]), load_pct=(-np.inf, 30.0))
    if burning is not None:
        idle &= ~_soon_after(view, burning, limit["after_burning_s"])
    idle_rows = _late(idle, int(limit["idle_s"]))
    for quantity in ("dpf_in_c", "dpf_out_c", "doc_in_c", "scr_in_c", "exhaust_c"):
        values = view.held(quantity)
        if values is None:
            continue
        rows = idle_rows[~np.isnan(values[idle_rows])]
        if len(rows) >= 10:
            judged = True
            middle = float(np.median(values[rows]))
            beyond = max(limit["idle_low_c"] - middle, middle - limit["idle_high_c"])
            result = graded(beyond, 0.0, limit["margin_k"])
            key = "exhaust_idles_as_it_should" if result == "ok" else "exhaust_idle_unlikely"
            shown = figures(("idle", middle, "degC"), ("seconds", float(len(rows)), "s"))
            yield Finding(result, key, view.about(quantity), shown,
                          view.at_us(rows, 5) if result != "ok" else ())  # fmt: skip
    inlet = view.held("dpf_in_c")
    if burning is not None and inlet is not None:
        rows = _late(burning & ~np.isnan(inlet), int(limit["burning_s"]))
        if len(rows) >= 10:
            judged = True
            middle, top = float(np.median(inlet[rows])), float(np.max(inlet[rows]))
            result = "ok"
            key = "burns_hot_enough"
            if top > limit["too_hot_c"]:
                result, key = "odd", "burns_too_hot"
            elif middle < limit["burning_low_c"]:
                result, key = "doubtful", "burns_too_cold"
            shown = figures(("inlet", middle, "degC"), ("highest", top, "degC"))
            yield Finding(result, key, view.about("dpf_in_c"), shown,
                          view.at_us(rows, 5) if result != "ok" else ())  # fmt: skip
    if not judged:
        yield not_possible("never_long_at_idle", "ten_minutes_of_idling")


def _late(flags: Flags, after: int) -> Rows:
    """Give flagged rows that lie at least `after` rows into their stretch."""
    rows = [np.arange(a + after, b) for a, b in stretches(flags) if b - a > after]
    return np.concatenate(rows) if rows else np.empty(0, np.intp)


def _soon_after(view: QuantityView, burning: Flags, seconds: float) -> Flags:
    """Flag rows while a filter burns, and for some time after."""
    marks = np.where(burning, np.arange(len(burning)), -1)
    last = np.maximum.accumulate(marks)
    since = view.second - view.second[np.maximum(last, 0)]
    return np.asarray((last >= 0) & (since <= seconds), np.bool_)


CHECKS = (
    Check(
        "dpf_flow",
        (
            ("dpf_drop_kpa",),
            ("engine_rpm",),
            ("dpf_in_c", "dpf_out_c"),
            ("exhaust_kg_h", "air_kg_h", "boost_kpa", "manifold_abs_kpa"),
        ),
        dpf_flow,
        "Darcy-Forchheimer; reference sheet 6.8, line and zero measured on an open recording",
    ),
    Check(
        "soot_against_drop",
        (("soot_pct",), ("dpf_drop_kpa",), ("engine_rpm",)),
        soot_against_drop,
        "reference sheet 6.8; common practice",
    ),
    Check(
        "nox",
        (("nox_in_ppm",), ("nox_out_ppm",), ("scr_in_c", "dpf_out_c"), ("engine_rpm",)),
        nox,
        "reference sheet 6.11; common practice",
    ),
    Check("def_quality", (("def_quality_pct",),), def_quality, "ISO 22241"),
    Check(
        "exhaust_temperature",
        (("engine_rpm",), ("dpf_in_c", "dpf_out_c", "doc_in_c", "scr_in_c", "exhaust_c")),
        exhaust_temperature,
        "reference sheet 6.11; common practice",
    ),
)
