"""What a single reading may not do: stand at its end, jump, freeze, or grow noisy."""

from __future__ import annotations

from collections.abc import Iterable
from statistics import median
from typing import NamedTuple

import numpy as np

from shearbolt.dictionary.plausibility import limits
from shearbolt.model.signal import ERROR
from shearbolt.model.state import F32
from shearbolt.reasoning.phases import stretches
from shearbolt.reasoning.plausibility.check import (
    Check,
    Finding,
    Look,
    figures,
    not_possible,
)
from shearbolt.reasoning.plausibility.driveline import steady
from shearbolt.reasoning.plausibility.temperatures import EXHAUST, FLUIDS
from shearbolt.reasoning.quantity_view import Flags, Picked, QuantityView, Rows

PRESSURES = ("oil_kpa", "boost_kpa", "manifold_abs_kpa", "rail_mpa", "fuel_kpa", "dpf_drop_kpa",
             "transmission_kpa", "crankcase_kpa")  # fmt: skip
NO_ZERO = ("oil_kpa", "fuel_kpa", "rail_mpa", "transmission_kpa")
"""Pressures that are not zero while the engine runs."""
ENDED = (*FLUIDS, *EXHAUST, *PRESSURES, "barometer_kpa", "air_filter_kpa", "pedal_pct",
         "coolant_level_pct", "fuel_level_pct", "soot_pct", "def_level_pct", "def_quality_pct",
         "nox_in_ppm", "nox_out_ppm", "hitch_pct", "draft_n", "brake_air_1_kpa",
         "brake_air_2_kpa")  # fmt: skip
"""Quantities that a sensor tells by voltage, resistance or a digital word with an error code."""
_ENDS: dict[str, tuple[float, float]] = {
    **dict.fromkeys(FLUIDS, (-39.0, 149.0)),
    **dict.fromkeys(EXHAUST, (-39.0, 990.0)),
    "oil_kpa": (-np.inf, 1000.0),
    "fuel_kpa": (-np.inf, 1000.0),
    "boost_kpa": (-np.inf, 500.0),
    "manifold_abs_kpa": (-np.inf, 500.0),
    "barometer_kpa": (40.0, 120.0),
}
"""Ends of a scale; an open NTC reads about -40, a shorted one above 150 degC (reference 6.10)."""


def end_of_scale(look: Look) -> Iterable[Finding]:
    """A reading at the electrical end of its scale, or one that its sender calls in error."""
    view, limit = look.view, limits("end_of_scale")
    running = view.running(engine_rpm=(limit["running_rpm"], np.inf))
    settled = running & view.settled(limit["settled_s"])
    found: list[Finding] = []
    judged = 0
    for quantity in ENDED:
        for picked in view.senders(quantity, mute=True):
            column = picked.column
            errors = np.flatnonzero(column.status == ERROR)
            if not picked.numbers and not len(errors):
                continue
            judged += 1
            low, high = _ENDS.get(quantity, (-np.inf, np.inf))
            at_end = np.zeros(len(column.last), np.bool_)
            if picked.numbers:
                if low > -np.inf:
                    at_end |= column.low <= low
                if high < np.inf:
                    at_end |= column.high >= high
                if quantity in NO_ZERO:
                    # Idle oil pressure may be low, but a sound one is never nothing.
                    at_end |= settled & (column.high <= 0.0)
            ends = np.flatnonzero(at_end)
            if len(ends) < limit["least_s"] and len(errors) < limit["least_s"]:
                continue
            rows = np.union1d(ends, errors)
            key = "at_end_of_scale" if len(ends) >= limit["least_s"] else "sender_calls_error"
            found.append(
                Finding(
                    "odd",
                    key,
                    (picked.sender,),
                    figures(
                        ("seconds", float(len(rows)), "s"),
                        ("seconds_error", float(len(errors)), "s"),
                        ("seconds_told", float(picked.numbers), "s"),
                        *(
                            [("value", float(column.last[ends[-1]]), picked.unit)]
                            if len(ends) and not np.isnan(column.last[ends[-1]])
                            else []
                        ),
                    ),
                    view.at_us(rows),
                )
            )
    if found:
        return found
    if not judged:
        return [not_possible("inputs_missing", "sensors")]
    return [Finding("ok", "no_end_of_scale", (), figures(("readings", float(judged), "-")))]


class _Jumps(NamedTuple):
    rows: Rows
    largest: float


_NO_JUMPS = _Jumps(np.empty(0, np.intp), 0.0)


def _jumps(view: QuantityView, picked: Picked, limit: float) -> _Jumps:
    """Find changes larger than `limit` within a second or from one second to the next.

    The first seconds of a sender's life, or after it was silent, do not count: it may begin with
    a stand-in.
    """
    column, second = picked.column, view.second
    dense = picked.numbers == len(column.last)
    at = np.arange(len(column.last)) if dense else np.flatnonzero(~np.isnan(column.last))
    last = column.last if dense else column.last[at]
    change = np.abs(last[1:] - last[:-1])
    inside = column.high - column.low
    wide = np.flatnonzero(inside > limit)
    jumped = np.flatnonzero(change > limit)
    if not len(wide) and not len(jumped):
        return _NO_JUMPS
    gap = np.diff(second[at])
    jumped = jumped[gap[jumped] <= 2]
    begun = np.concatenate((at[:1], at[1:][gap > 5]))
    rows: Rows = np.union1d(wide, at[jumped + 1])
    back = begun[np.maximum(np.searchsorted(begun, rows, "right") - 1, 0)]
    rows = rows[second[rows] - second[back] > limits("steps")["settled_s"]]
    if not len(rows):
        return _NO_JUMPS
    sizes = [change[jumped].max(initial=0.0), np.nanmax(inside[rows])]
    return _Jumps(rows, float(max(sizes)))


def steps(look: Look) -> Iterable[Finding]:
    """No reading changes faster than the mass or volume behind it allows."""
    view = look.view
    calm = steady(view)
    found: list[Finding] = []
    judged = 0
    for parameter, bound in limits("steps").items():
        if parameter not in _STEPPED:
            continue
        for picked in view.senders(parameter):
            judged += 1
            jumps = _jumps(view, picked, bound)
            rows = jumps.rows
            if parameter in PRESSURES and len(rows):
                # A pressure may follow the engine: only where speed is steady on both sides.
                before = np.maximum(rows - 1, 0)
                rows = rows[calm[rows] & calm[before]]
            if not len(rows):
                continue
            sure = parameter in FLUIDS or len(rows) >= 2
            found.append(
                Finding(
                    "odd" if sure else "doubtful",
                    "jumped",
                    (picked.sender,),
                    figures(
                        ("jumps", float(len(rows)), "-"),
                        ("largest", jumps.largest, picked.unit),
                        ("most_a_second", bound, picked.unit),
                    ),
                    view.at_us(rows),
                )
            )
    if found:
        return found
    if not judged:
        return [not_possible("inputs_missing", "sensors")]
    return [Finding("ok", "no_jumps", (), figures(("readings", float(judged), "-")))]


_STEPPED = frozenset((*FLUIDS, *EXHAUST, "oil_kpa", "barometer_kpa", "soot_pct", "def_level_pct"))


class _Blocks(NamedTuple):
    """Stretches of ten minutes of running without a gap: first rows, one more than blocks."""

    first: Rows
    size: int


def _blocks(view: QuantityView, seconds: int) -> _Blocks:
    def work() -> _Blocks:
        phases = view.phases
        if phases is None:
            return _Blocks(np.empty(0, np.intp), seconds)
        dense = phases.running.copy()
        dense[1:] &= view.second[1:] - view.second[:-1] <= 2
        firsts = [
            np.arange(a, b - seconds + 1, seconds) for a, b in stretches(dense) if b - a >= seconds
        ]
        return _Blocks(np.concatenate(firsts) if firsts else np.empty(0, np.intp), seconds)

    return view.once(("blocks", seconds), work)


def _ranges(view: QuantityView, picked: Picked, blocks: _Blocks) -> F32:
    """Give highest less lowest in each block, seen every tenth second; NaN where not told."""

    def work() -> F32:
        held = view.held_of(picked)[blocks.first[:, None] + np.arange(0, blocks.size, 10)]
        return np.asarray(held.max(axis=1) - held.min(axis=1), np.float32)

    return view.once(("ranges", picked.sender, blocks.size), work)


def _constant(picked: Picked, blocks: _Blocks, candidates: Flags) -> Flags:
    """Keep the candidate blocks in which at least 30 numbers came, all exactly the same."""
    sure = candidates.copy()
    for i in np.flatnonzero(candidates).tolist():
        part = slice(blocks.first[i], blocks.first[i] + blocks.size)
        low, high = (
            np.fmin.reduce(picked.column.low[part]),
            np.fmax.reduce(picked.column.high[part]),
        )
        told = int(np.count_nonzero(~np.isnan(picked.column.last[part])))
        sure[i] = told >= limits("frozen")["numbers"] and low == high
    return sure


FAST = (("oil_kpa", "engine_rpm", "span_rpm"), ("boost_kpa", "load_pct", "span_pct"),
        ("manifold_abs_kpa", "load_pct", "span_pct"), ("rail_mpa", "load_pct", "span_pct"),
        ("dpf_drop_kpa", "load_pct", "span_pct"), ("dpf_in_c", "load_pct", "span_pct"),
        ("dpf_out_c", "load_pct", "span_pct"), ("doc_in_c", "load_pct", "span_pct"),
        ("scr_in_c", "load_pct", "span_pct"), ("nox_in_ppm", "load_pct", "span_pct"))  # fmt: skip
"""Reading, the neighbour that drives it, and by how much that must move in ten minutes."""
SLOW = ("coolant_c", "oil_c", "hydraulic_c", "transmission_c", "fuel_c", "intake_c")
"""Bodies with thermal mass: half an hour, and other temperatures that moved a good deal."""


def frozen(look: Look) -> Iterable[Finding]:
    """A reading exactly constant for ten minutes (slow bodies: thirty) while neighbours move."""
    view, limit = look.view, limits("frozen")
    quick = _blocks(view, int(limit["fast_s"]))
    if not len(quick.first):
        return [not_possible("never_ran_ten_minutes", "ten_minutes_of_running")]
    slow = _blocks(view, int(limit["slow_s"]))
    found: list[Finding] = []
    judged = 0
    for quantity, driver, span in FAST:
        picked, by = view.pick(quantity), view.pick(driver)
        if picked is None or by is None:
            continue
        moved = _ranges(view, by, quick) >= limit[span]
        spread = _ranges(view, picked, quick)
        judged += int(np.count_nonzero(moved & ~np.isnan(spread)))
        still = _constant(picked, quick, moved & (spread == 0.0))
        if still.any():
            found.append(_still(view, picked, quick, still, (by,)))
    warm = [picked for quantity in SLOW if (picked := view.pick(quantity)) is not None]
    spreads = {one.quantity: _ranges(view, one, slow) for one in warm}
    for picked in warm:
        others = [values for key, values in spreads.items() if key != picked.quantity]
        if len(others) < 2 or not len(slow.first):
            continue
        moved = np.sum([values >= limit["span_k"] for values in others], axis=0) >= 2
        judged += int(np.count_nonzero(moved & ~np.isnan(spreads[picked.quantity])))
        still = _constant(picked, slow, moved & (spreads[picked.quantity] == 0.0))
        if picked.quantity == "coolant_c":
            # A thermostat may hold a warm engine to the degree.
            still &= picked.column.last[slow.first] < limit["thermostat_c"]
        if still.any():
            by_these = tuple(one for one in warm if one is not picked)
            found.append(_still(view, picked, slow, still, by_these))
    if found:
        return found
    if not judged:
        return [not_possible("neighbours_hardly_moved", "moving_neighbours")]
    return [Finding("ok", "nothing_frozen", (), figures(("stretches", float(judged), "-")))]


def _still(
    view: QuantityView, picked: Picked, blocks: _Blocks, still: Flags, by: tuple[Picked, ...]
) -> Finding:
    rows = blocks.first[still]
    value = float(np.fmax.reduce(picked.column.last[rows[0] : rows[0] + blocks.size]))
    # Zero may be the true floor of a scale: an engine without a turbocharger, a covered hose.
    zero = value == 0.0 and picked.quantity in ("boost_kpa", "dpf_drop_kpa")
    return Finding(
        "doubtful" if zero else "odd",
        "frozen",
        (picked.sender, *(one.sender for one in by)),
        figures(
            ("value", value, picked.unit),
            ("minutes", float(len(rows) * blocks.size / 60.0), "min"),
        ),
        view.at_us(rows),
    )


NOISY = ("oil_kpa", "boost_kpa", "fuel_kpa", "rail_mpa", "dpf_drop_kpa", "coolant_c", "oil_c",
         "hydraulic_c", "transmission_c", "intake_c", "dpf_in_c", "dpf_out_c", "battery_v",
         "pedal_pct", "transmission_kpa", "engine_rpm", "output_rpm")  # fmt: skip


def noise_levels(view: QuantityView) -> tuple[tuple[Picked, int, float, float], ...]:
    """Give sender, stratum of speed and load, mean absolute second difference, and its rows.

    Only where speed and load were steady for three seconds, so that it is not the work that
    moves; nine strata of speed and load.
    """

    def work() -> tuple[tuple[Picked, int, float, float], ...]:
        limit = limits("noise")
        rpm, load = view.held("engine_rpm"), view.held("load_pct")
        if rpm is None or load is None or len(rpm) < 3:
            return ()
        calm = steady(view).copy()
        calm[1:] &= np.abs(load[1:] - load[:-1]) <= limit["steady_pct"]
        centre = calm[1:-1] & calm[2:] & calm[:-2] & (view.second[2:] - view.second[:-2] == 2)
        rows = np.flatnonzero(centre) + 1
        # A whole day of work needs not every second of it.
        rows = rows[:: max(1, len(rows) // 20_000)]
        if not len(rows):
            return ()
        stratum = np.digitize(rpm[rows], (1000.0, 1600.0)) * 3 + np.digitize(
            load[rows], (25.0, 60.0)
        )
        found: list[tuple[Picked, int, float, float]] = []
        for quantity in NOISY:
            picked = view.pick(quantity)
            if picked is None:
                continue
            x = picked.column.last
            second = np.abs(x[rows - 1] - 2.0 * x[rows] + x[rows + 1])
            good = ~np.isnan(second)
            count = np.bincount(stratum[good], minlength=9)
            total = np.bincount(stratum[good], second[good], minlength=9)
            for at in np.flatnonzero(count >= limit["least_s"]).tolist():
                found.append((picked, at, float(total[at] / count[at]), float(count[at])))
        return tuple(found)

    return view.once("noise", work)


def noise(look: Look) -> Iterable[Finding]:
    """A reading five times as noisy as on its earlier visits at the same speed and load."""
    view, limit = look.view, limits("noise")
    found: list[Finding] = []
    judged = 0
    for picked, stratum, level, rows in noise_levels(view):
        earlier = look.earlier(picked.sender, f"noise_{stratum}")
        if len(earlier) < limit["least_visits"]:
            continue
        judged += 1
        base = max(median(earlier), limit["steps"] * picked.resolution)
        times = level / base
        if times >= limit["odd_times"]:
            shown = figures(("times", times, "-"), ("level", level, picked.unit),
                            ("seconds", rows, "s"))  # fmt: skip
            found.append(Finding("odd", "noisy", (picked.sender,), shown))
    if found:
        return found
    if not judged:
        return [not_possible("no_baseline", "earlier_visits")]
    return [Finding("ok", "as_calm_as_before", (), figures(("readings", float(judged), "-")))]


CHECKS = (
    Check(
        "end_of_scale", (), end_of_scale,
        "SAE J1939-71 error codes; reference sheet 6.9 and 6.10",
    ),
    Check("steps", (), steps, "reference sheet 6.11 (10 K/s); other limits common practice"),
    Check("frozen", (("engine_rpm",), ("load_pct",)), frozen, "common practice, no source"),
    Check("noise", (("engine_rpm",), ("load_pct",)), noise,
          "common practice, no source; own baseline by speed and load"),
)  # fmt: skip
