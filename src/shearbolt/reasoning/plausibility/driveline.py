"""Speeds against each other: ground speed, transmission, PTO, and an engine speed that is lost."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from shearbolt.dictionary.plausibility import limits
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
    thin,
)
from shearbolt.reasoning.quantity_view import (
    SPEED_SOURCES,
    Flags,
    Picked,
    QuantityView,
    Rows,
)

_SHEET = "reference sheet 6.11; common practice"
GROUND = frozenset({"ground_m_s", "gps_kmh"})
"""Sources that see the ground and so do not slip."""


def _sources(view: QuantityView) -> list[tuple[Picked, F32]]:
    """Give every sender of ground speed with its values in km/h."""
    return [
        (picked, view.held_of(picked) * np.float32(factor))
        for quantity, factor in SPEED_SOURCES
        for picked in view.senders(quantity)
    ]


def ground_speed(look: Look) -> Iterable[Finding]:
    """Two sources of ground speed agree within 3 % and, against the ground, slip."""
    view = look.view
    sources = _sources(view)
    if len(sources) < 2:
        yield not_possible("one_speed_only", "second_ground_speed")
        return
    judged = False
    one, a = sources[0]
    for two, b in sources[1:]:
        for finding in _two_speeds(view, one, a, two, b):
            judged = True
            yield finding
    if not judged:
        yield not_possible("never_moved", "ground_speed_above_10_km_h")


def _two_speeds(view: QuantityView, one: Picked, a: F32, two: Picked, b: F32) -> Iterable[Finding]:
    limit = limits("ground_speed")
    moving = np.fmax(a, b) >= limit["least_kmh"]
    both = moving & ~np.isnan(a) & ~np.isnan(b)
    lost = _lasting(both & (np.fmin(a, b) <= 0.5), int(limit["lost_s"]))
    about = (one.sender, two.sender)
    if len(lost):
        mute = one if float(np.median(a[lost])) <= 0.5 else two
        other = two if mute is one else one
        yield Finding(
            "odd", "speed_lost", (mute.sender, other.sender),
            figures(("seconds", float(len(lost)), "s"),
                    ("other", float(np.median(np.fmax(a, b)[lost])), "km/h")),
            view.at_us(lost),
        )  # fmt: skip
        return
    rows = thin(np.flatnonzero(both & (np.fmin(a, b) > 0.5)))
    if len(rows) < limit["least_s"]:
        return
    share = (float(np.median(a[rows] / b[rows])) - 1.0) * 100.0
    slips = (one.quantity in GROUND) != (two.quantity in GROUND)
    if slips and two.quantity not in GROUND:
        share = -share
    # Wheels slip, so they may be faster than the ground, not slower.
    size = share - limit["slip_pct"] if slips and share > 0 else abs(share)
    result = graded(size, limit["doubtful"], limit["odd"])
    yield Finding(
        result,
        "speeds_agree" if result == "ok" else "speeds_differ",
        about,
        figures(("difference", share, "%"), ("seconds", float(len(rows)), "s")),
        view.at_us(rows, 3) if result != "ok" else (),
    )


def _lasting(flags: Flags, seconds: int) -> Rows:
    """Give flagged rows that belong to a run of at least so many rows."""
    if np.count_nonzero(flags) < seconds:
        return np.empty(0, np.intp)
    rows = [np.arange(a, b) for a, b in stretches(flags) if b - a >= seconds]
    return np.concatenate(rows) if rows else np.empty(0, np.intp)


def steady(view: QuantityView) -> Flags:
    """Rows in which the engine runs and its speed changes by less than 30 rpm a second."""

    def work() -> Flags:
        phases, rpm = view.phases, view.held("engine_rpm")
        if phases is None or rpm is None:
            return np.zeros(len(view.second), np.bool_)
        calm = phases.running.copy()
        calm[1:] &= np.abs(rpm[1:] - rpm[:-1]) <= limits("shafts")["steady_rpm"]
        return calm

    return view.once("steady", work)


def ratio_to_engine(view: QuantityView, quantity: str) -> tuple[float, float, Rows] | None:
    """Give a shaft's ratio to the engine while steady: median, share of rows within 2 % of it,
    rows; None where the shaft hardly turned.
    """

    def work() -> tuple[float, float, Rows] | None:
        shaft, rpm = view.held(quantity), view.held("engine_rpm")
        if shaft is None or rpm is None:
            return None
        limit = limits("shafts")
        rows = thin(np.flatnonzero(steady(view) & (shaft >= limit["least_rpm"])))
        if len(rows) < limit["least_s"]:
            return None
        ratio = shaft[rows] / rpm[rows]
        middle = float(np.median(ratio))
        near = np.abs(ratio / middle - 1.0) <= limit["within_pct"] / 100.0
        return middle, float(np.mean(near)), rows

    return view.once(("ratio", quantity), work)


def _shaft(look: Look, quantity: str, zero: Rows) -> Iterable[Finding]:
    view, limit = look.view, limits("shafts")
    about = view.about(quantity, "engine_rpm")
    if len(zero):
        yield Finding(
            "odd" if quantity == "input_rpm" else "doubtful", "shaft_lost", about,
            figures(("seconds", float(len(zero)), "s")), view.at_us(zero),
        )  # fmt: skip
        return
    told = ratio_to_engine(view, quantity)
    if told is None:
        yield not_possible("shaft_never_turned", "shaft_turning")
        return
    middle, near, rows = told
    result: Result = graded(1.0 - near, 1.0 - limit["ok_share"], 1.0 - limit["odd_share"])
    if result == "odd":
        # Several gears, or a clutch or converter that slips, scatter too.
        result = "doubtful"
    yield Finding(
        result,
        "shaft_follows_engine" if result == "ok" else "shaft_scatters",
        about,
        figures(("ratio", middle, "-"), ("share_near", near * 100.0, "%")),
        view.at_us(rows, 5) if result != "ok" else (),
    )


def input_shaft(look: Look) -> Iterable[Finding]:
    """The transmission's input shaft turns with the engine in a fixed ratio, within 2 %."""
    view = look.view
    shaft, speed = view.values("input_rpm"), view.speed_kmh
    zero = np.empty(0, np.intp)
    if speed is not None:
        driven = view.running(engine_rpm=(1000.0, np.inf)) & (speed >= 10.0) & (shaft <= 1.0)
        zero = _lasting(driven, int(limits("shafts")["lost_s"]))
    return _shaft(look, "input_rpm", zero)


def pto(look: Look) -> Iterable[Finding]:
    """An engaged PTO turns in a fixed ratio to the engine."""
    view = look.view
    shaft, engaged = view.values("pto_rpm"), view.held("pto_engaged")
    zero = np.empty(0, np.intp)
    if engaged is not None:
        driven = view.running(engine_rpm=(1000.0, np.inf)) & (engaged == 1) & (shaft <= 1.0)
        zero = _lasting(driven, int(limits("shafts")["lost_s"]))
    return _shaft(look, "pto_rpm", zero)


def output_shaft(look: Look) -> Iterable[Finding]:
    """The transmission's output shaft turns with the wheels in a fixed ratio."""
    view, limit = look.view, limits("output_shaft")
    shaft, speed = view.values("output_rpm"), view.speed_kmh
    if speed is None:
        yield not_possible("inputs_missing", "speed_kmh")
        return
    about = view.about("output_rpm", "speed_kmh")
    told = ~np.isnan(shaft) & ~np.isnan(speed)
    lost = _lasting(told & (speed >= 10.0) & (shaft <= 1.0), int(limit["lost_s"]))
    fastest = np.fmax.reduce([values for _, values in _sources(view)])
    still = _lasting(told & (fastest <= 0.1) & (shaft >= 200.0), int(limit["lost_s"]))
    if len(lost) or len(still):
        rows = lost if len(lost) else still
        key = "output_shaft_lost" if len(lost) else "output_shaft_turns_at_rest"
        yield Finding(
            "odd" if len(lost) else "doubtful", key, about,
            figures(("seconds", float(len(rows)), "s")), view.at_us(rows),
        )  # fmt: skip
        return
    rows = thin(np.flatnonzero(told & (speed >= limit["least_kmh"]) & (shaft > 1.0)))
    if len(rows) < limit["least_s"]:
        yield not_possible("never_moved", "ground_speed_above_10_km_h")
        return
    ratio = shaft[rows] / speed[rows]
    low, middle, high = np.percentile(ratio, (10, 50, 90)).tolist()
    spread = (high - low) / middle * 100.0
    result = graded(spread, limit["doubtful"], limit["odd"])
    yield Finding(
        "doubtful" if result == "odd" else result,
        "output_shaft_follows" if result == "ok" else "output_shaft_scatters",
        about,
        figures(("ratio", middle, "rpm/(km/h)"), ("spread", spread, "%")),
        view.at_us(rows, 5) if result != "ok" else (),
    )


def engine_speed_lost(look: Look) -> Iterable[Finding]:
    """An engine speed of zero while fuel flows and the battery charges is a lost speed sensor."""
    view, limit = look.view, limits("engine_speed_lost")
    rpm = view.values("engine_rpm")
    told = ~np.isnan(rpm)
    witnesses = np.zeros(len(rpm), np.int8)
    for quantity, least in (("fuel_rate_l_h", 1.0), ("oil_kpa", 100.0), ("load_pct", 5.0)):
        values = view.held(quantity)
        if values is not None:
            witnesses += values > least
    volts = view.held("battery_v")
    if volts is not None and view.system_v is not None:
        witnesses += volts > 13.5 * view.system_v / 12.0
    rows = _lasting(told & (rpm <= 1.0) & (witnesses >= 2), int(limit["lost_s"]))
    shown = figures(("seconds", float(len(rows)), "s"))
    about = view.about("engine_rpm")
    if len(rows):
        yield Finding("odd", "engine_speed_lost", about, shown, view.at_us(rows))
    elif int(np.count_nonzero(view.running())) < limit["least_s"]:
        yield not_possible("engine_never_ran", "engine_running")
    else:
        yield Finding("ok", "engine_speed_told", about, shown)


_SPEEDS = tuple(quantity for quantity, _ in SPEED_SOURCES)
CHECKS = (
    Check("ground_speed", (_SPEEDS,), ground_speed, _SHEET),
    Check("input_shaft", (("input_rpm",), ("engine_rpm",)), input_shaft, _SHEET),
    Check("output_shaft", (("output_rpm",), _SPEEDS), output_shaft, _SHEET),
    Check("pto", (("pto_rpm",), ("engine_rpm",)), pto, _SHEET),
    Check(
        "engine_speed_lost",
        (("engine_rpm",), ("fuel_rate_l_h", "oil_kpa"), ("battery_v", "load_pct")),
        engine_speed_lost,
        "own choice: two witnesses of a running engine",
    ),
)
