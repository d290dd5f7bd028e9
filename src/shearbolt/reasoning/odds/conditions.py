"""Groups G, J and D from the setting found, and from what hand and foot did at the starts."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from shearbolt.model.instants import SECOND_US
from shearbolt.reasoning.company.values import Start
from shearbolt.reasoning.odds.scene import Found, Missing, Scene, rows_between
from shearbolt.reasoning.quantity_view import QuantityView

SURE_P = 0.05
"""A setting that is only possible counts up to this adjusted p."""
SHAKING = frozenset({
    "speed_kmh", "steering_rad", "steering_abs_rad", "yaw_rad_s", "pitch_deg", "hitch_pct",
    "front_hitch_pct", "slowing_kmh_s", "draft_n", "output_rpm", "wheel_m_s",
})  # fmt: skip
"""Quantities that stand for rough ground, bends and moving harness."""
HANDLED = frozenset({
    "brake", "brake_pedal_pct", "clutch", "park_brake", "neutral", "direction", "pto_engaged",
    "seat_belt", "gear",
})  # fmt: skip
"""What the driver's hand and foot do."""
DRIVING = frozenset({"load_pct", "torque_pct", "ambient_c", "fuel_rate_l_h", "boost_kpa"})
INTERMITTENT_FMIS = frozenset({2, 3, 4, 5, 6, 8, 9, 10, 19})
STANDING_KMH = 0.5
COLD_C, FAST_RPM = 45.0, 1600.0
"""Oil so cold is not yet thin, and so fast no engine idles (common practice)."""
RIDES = 0.5
"""Share of the driving before a start with a foot on brake or clutch that is 'riding' it."""
RIDE_S = 600
MOSTLY = 0.5


def look(scene: Scene) -> Iterator[Found | Missing]:
    """Judge the setting, standing still at the start, and riding of pedals."""
    yield from _setting(scene)
    if "interlock" in scene.row.traits:
        yield from _standing(scene)
    if "cold" in scene.row.traits:
        yield from _revved(scene)
    if {"hot", "slip"} & scene.row.traits:
        yield from _riding(scene)


def _setting(scene: Scene) -> Iterator[Found | Missing]:
    setting = scene.setting
    if setting is None or setting.status not in ("found", "possible"):
        yield Missing("shaken", "no_setting_found", ("more_starts",))
        return
    if not setting.found and (setting.p_adjusted is None or setting.p_adjusted > SURE_P):
        yield Missing("shaken", "no_setting_found", ("more_starts",))
        return
    values = (("starts_inside", float(setting.starts_inside)),
              ("starts", float(setting.starts_total)))  # fmt: skip
    at = scene.moments(scene.known)
    up = {one.quantity for one in setting.terms if one.op in (">", "in")}
    any_way = {one.quantity for one in setting.terms}
    states = {one.quantity for one in setting.terms if one.op == "=" and one.value}
    if up & SHAKING and scene.fault.fmi in INTERMITTENT_FMIS:
        yield Found("shaken", values, at)
    if states & HANDLED and {"interlock", "hot", "slip", "soot"} & scene.row.traits:
        yield Found("operated", values, at)
    if up & DRIVING and {"hot", "boost", "fuel", "filter"} & scene.row.traits:
        yield Found("heavy_work", values, at)
    if "cranking" in any_way and "voltage" not in scene.row.traits:
        yield Found("cranking_only", values, at)


def _standing(scene: Scene) -> Iterator[Found | Missing]:
    """Judge whether an interlock set its code with the machine at rest."""
    still: list[Start] = []
    judged = 0
    for one in scene.known:
        view = scene.machine.views.get(one.visit)
        speed = None if view is None else view.speed_kmh
        if view is None or speed is None:
            continue
        rows = rows_between(view, one.at_us - 3 * SECOND_US, one.at_us)
        told = speed[rows]
        told = told[~np.isnan(told)]
        if len(told):
            judged += 1
            if float(told.max()) < STANDING_KMH:
                still.append(one)
    if not judged:
        yield Missing("interlock_at_rest", "speed_not_told", ("speed_kmh",))
    elif len(still) > MOSTLY * judged:
        yield Found("interlock_at_rest", (("starts", float(len(still))),), scene.moments(still))


def _revved(scene: Scene) -> Iterator[Found | Missing]:
    """Judge whether the engine was made to run fast while its oil was cold."""
    fast: list[Start] = []
    judged = 0
    for one in scene.starts:
        view = scene.machine.views.get(one.visit)
        rpm = None if view is None else view.held("engine_rpm")
        warmth = None if view is None else view.held("oil_c")
        if view is not None and warmth is None:
            warmth = view.held("coolant_c")
        if view is None or rpm is None or warmth is None:
            continue
        rows = rows_between(view, one.at_us - 10 * SECOND_US, one.at_us)
        cold, speed = warmth[rows], rpm[rows]
        cold, speed = cold[~np.isnan(cold)], speed[~np.isnan(speed)]
        if len(cold) and len(speed):
            judged += 1
            if float(np.median(cold)) < COLD_C and float(speed.max()) > FAST_RPM:
                fast.append(one)
    if not judged:
        yield Missing("revved_cold", "oil_temperature_not_told", ("oil_c", "coolant_c"))
    elif len(fast) > MOSTLY * judged:
        yield Found("revved_cold", (("starts", float(len(fast))),), scene.moments(fast))


def _riding(scene: Scene) -> Iterator[Found | Missing]:
    """Judge whether a foot stood on brake or clutch while driving before the heat came."""
    shares: list[float] = []
    told: list[Start] = []
    for one in scene.starts:
        view = scene.machine.views.get(one.visit)
        share = None if view is None else _ridden(view, one)
        if share is not None:
            shares.append(share)
            told.append(one)
    if not shares:
        yield Missing("operated", "pedals_not_told", ("brake", "clutch"))
        return
    share = float(np.median(shares))
    values = (("share", share), ("starts", float(len(shares))))
    if share >= RIDES:
        yield Found("operated", values, scene.moments(told))
    elif share <= 0.1 and scene.quantity == "transmission_c":
        yield Found("never_operated", values, scene.moments(told))


def _ridden(view: QuantityView, one: Start) -> float | None:
    speed = view.speed_kmh
    pedals = [values for name in ("brake", "clutch") if (values := view.held(name)) is not None]
    if speed is None or not pedals:
        return None
    rows = rows_between(view, one.at_us - RIDE_S * SECOND_US, one.at_us)
    driving = rows[speed[rows] > 3.0]
    if len(driving) < 60:
        return None
    return max(float(np.mean(values[driving] == 1)) for values in pedals)
