"""Temperatures against each other after a night, and how fast they may change."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from statistics import median
from typing import NamedTuple

import numpy as np

from shearbolt.dictionary.plausibility import limits
from shearbolt.model.frames import F64
from shearbolt.model.state import F32
from shearbolt.reasoning.phases import stretches
from shearbolt.reasoning.plausibility.check import (
    Check,
    Finding,
    Look,
    Result,
    figures,
    graded,
    not_possible,
)
from shearbolt.reasoning.quantity_view import Picked, QuantityView, Rows

FLUIDS = (
    "coolant_c",
    "oil_c",
    "fuel_c",
    "intake_c",
    "intake_air_c",
    "ambient_c",
    "hydraulic_c",
    "transmission_c",
    "def_c",
)
EXHAUST = ("dpf_in_c", "dpf_out_c", "doc_in_c", "scr_in_c", "exhaust_c")
TEMPERATURES = (*FLUIDS, *EXHAUST)
HEATED = frozenset({"coolant_c", "oil_c"})
"""What an engine block heater warms (reference sheet 6.1)."""
_SOAK = "SAE J1939-71 readings compared after a soak; reference sheet 6.1, limits common practice"


class Soaked(NamedTuple):
    """One temperature before the engine warmed it."""

    picked: Picked
    value_c: float
    row: int


def soaked(view: QuantityView) -> tuple[Soaked, ...]:
    """Give the temperatures of a visit before the engine ran (exhaust), or until shortly after.

    Empty where the engine ran from the first row on, so that nothing shows the cold machine.
    """

    def work() -> tuple[Soaked, ...]:
        phases = view.phases
        if phases is None or not len(view.second):
            return ()
        ran = np.flatnonzero(phases.running)
        if len(ran) and not phases.start_seen[ran[0]]:
            return ()
        start = int(ran[0]) if len(ran) else len(view.second)
        grace = limits("cold_soak")["grace_s"]
        found: list[Soaked] = []
        for quantity in TEMPERATURES:
            picked = view.pick(quantity)
            if picked is None:
                continue
            upto = start
            if quantity in FLUIDS and start < len(view.second):
                upto = int(np.searchsorted(view.second, view.second[start] + grace))
            early = _first_numbers(picked.column.last[:upto])
            if not len(early):
                continue
            # The first second of a controller's life may hold a stand-in.
            settled = early[1:6] if len(early) > 1 else early
            value = median(picked.column.last[settled].tolist())
            found.append(Soaked(picked, value, int(settled[0])))
        return tuple(found)

    return view.once("soaked", work)


def _first_numbers(values: F32, most: int = 6) -> Rows:
    """Give the rows of the first numbers, at most `most`."""
    for part in (60, len(values)):
        found = np.flatnonzero(~np.isnan(values[:part]))
        if len(found) >= most:
            break
    return found[:most]


def soak_known(view: QuantityView) -> bool | None:
    """Tell whether the engine had been off long enough: True surely, False as far as is known,
    None: no, or nothing tells.
    """
    off = view.off_before
    if off is None or off.seconds < limits("cold_soak")["off_h"] * 3600.0:
        return None
    return off.sure


def cold_soak(look: Look) -> Iterable[Finding]:
    """All temperatures should agree after a night's standing, before the engine warms them."""
    view, limit = look.view, limits("cold_soak")
    cold = soaked(view)
    if not cold:
        yield not_possible("no_cold_start", "rows_before_start")
        return
    sure = soak_known(view)
    if sure is None:
        yield not_possible("off_time_not_known", "off_before_8h")
        return
    fluids = [one for one in cold if one.picked.quantity in FLUIDS]
    if len(fluids) < limit["least"]:
        yield not_possible("too_few_temperatures", "temperatures")
        return
    heated = _heated(fluids)
    for one in cold:
        yield _against_others(view, one, fluids, heated, sure=sure)


def _against_others(
    view: QuantityView, one: Soaked, fluids: Sequence[Soaked], heated: bool, *, sure: bool
) -> Finding:
    """Judge one temperature by the median of the others (heated ones left out)."""
    limit = limits("cold_soak")
    others = [
        two.value_c
        for two in fluids
        if two is not one and not (heated and two.picked.quantity in HEATED)
    ]
    middle = median(others)
    off_k = one.value_c - middle
    agreeing = sum(abs(value - middle) <= limit["agree_k"] for value in others)
    if one.picked.quantity in EXHAUST:
        result = graded(abs(off_k), limit["exhaust_k"], limit["exhaust_k"])
    else:
        result = graded(abs(off_k), limit["agree_k"], limit["odd_k"])
    key = "soak_agrees" if result == "ok" else "soak_differs"
    oil_told = any(two.picked.quantity == "oil_c" for two in fluids)
    if one.picked.quantity in HEATED and result != "ok" and 0 < off_k < limit["heater_k"]:
        if heated:
            result, key = "ok", "block_heater"
        elif not oil_told:
            result, key = "doubtful", "block_heater_possible"
    if result == "odd" and (agreeing < limit["least_agreeing"] or agreeing < len(others)):
        result, key = "doubtful", "soak_differs_others_too"
    elif result == "odd" and not sure:
        result, key = "doubtful", "soak_differs_off_not_sure"
    return Finding(
        result,
        key,
        (one.picked.sender,),
        figures(
            ("reading", one.value_c, "degC"),
            ("median", middle, "degC"),
            ("difference", off_k, "K"),
            ("agreeing", agreeing, "-"),
        ),
        view.at_us(np.array([one.row], np.intp)),
    )


def _heated(fluids: Sequence[Soaked]) -> bool:
    """Tell whether coolant and oil are warm together while all else is equal: a block heater."""
    limit = limits("cold_soak")
    rest = [one.value_c for one in fluids if one.picked.quantity not in HEATED]
    heated = [one.value_c for one in fluids if one.picked.quantity in HEATED]
    if len(rest) < 2 or len(heated) < len(HEATED):
        return False
    if max(rest) - min(rest) > 2.0 * limit["agree_k"]:
        return False
    above = [value - median(rest) for value in heated]
    return all(limit["agree_k"] < one < limit["heater_k"] for one in above)


def warm_up(look: Look) -> Iterable[Finding]:
    """A cold engine under load warms by 0.5 to 3 K a minute until its thermostat opens."""
    view = look.view
    phases = view.phases
    assert phases is not None
    coolant, load = view.values("coolant_c"), view.values("load_pct")
    found: list[Finding] = []
    for first, end in stretches(phases.running):
        rows = first + np.flatnonzero(~np.isnan(coolant[first:end]))
        if len(rows) < 60 or np.isnan(load[rows]).all():
            continue
        minutes = (view.second[rows] - view.second[first]) / 60.0
        run = _Run(rows, minutes, coolant[rows].astype(np.float64), float(np.nanmean(load[rows])))
        found.extend(_reached(view, run))
        if phases.start_seen[first]:
            found.extend(_rise(view, run))
    return found or [not_possible("no_warm_up", "cold_start_under_load")]


class _Run(NamedTuple):
    """One stretch of running, the rows with a coolant temperature."""

    rows: Rows
    minutes: F64
    coolant_c: F64
    load_pct: float


def _reached(view: QuantityView, run: _Run) -> Iterable[Finding]:
    """Judge what a loaded engine reached in half an hour."""
    limit = limits("warm_up")
    late = run.coolant_c[run.minutes >= limit["never_min"]]
    if not len(late) or run.load_pct < limit["never_loaded_pct"]:
        return
    hottest = float(late.max())
    cold = hottest < limit["never_c"]
    yield Finding(
        "odd" if cold else "ok",
        "never_warm" if cold else "gets_warm",
        view.about("coolant_c"),
        figures(
            ("hottest", hottest, "degC"),
            ("minutes", float(run.minutes[-1]), "min"),
            ("load", run.load_pct, "%"),
        ),
        view.at_us(run.rows[-1:]) if cold else (),
    )


def _rise(view: QuantityView, run: _Run) -> Iterable[Finding]:
    """Judge how fast a cold engine warms, from its start to warm or to its end."""
    limit = limits("warm_up")
    c = run.coolant_c
    if c[0] > limit["cold_c"]:
        return
    warm = np.flatnonzero(c >= limit["warm_c"])
    end = int(warm[0]) if len(warm) else len(c) - 1
    took, rise = float(run.minutes[end] - run.minutes[0]), float(c[end] - c[0])
    fast = rise >= limit["rise_k"] and rise > limit["fast_k_min"] * took
    if not fast and (
        took < limit["least_min"] or (run.load_pct < limit["loaded_pct"] and not len(warm))
    ):
        return
    rate = rise / max(took, 1.0 / 60.0)
    result: Result
    if fast:
        result, key = "odd", "warms_too_fast"
    elif rate >= limit["slow_k_min"]:
        result, key = "ok", "warms_as_it_should"
    else:
        result, key = "odd" if took >= limit["slow_min"] else "doubtful", "warms_too_slowly"
    yield Finding(
        result,
        key,
        view.about("coolant_c"),
        figures(("rate", rate, "K/min"), ("minutes", took, "min"), ("load", run.load_pct, "%")),
        view.at_us(run.rows[[0, end]]) if result != "ok" else (),
    )


CHECKS = (
    Check("cold_soak", (("engine_rpm",), FLUIDS), cold_soak, _SOAK),
    Check(
        "warm_up",
        (("coolant_c",), ("engine_rpm",), ("load_pct",)),
        warm_up,
        "reference sheet 6.11; common practice, no source",
    ),
)
