"""Group D: do independent quantities tell the same story, and was there a reason for it?

What is high or low is judged by the machine's own running outside the fault's spells, never by a
table of values.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from shearbolt.dictionary.evidence_ratios import Companion, Direction, companions
from shearbolt.model.frames import F64
from shearbolt.model.instants import SECOND_US
from shearbolt.reasoning.company.values import Start
from shearbolt.reasoning.odds.scene import Found, Missing, Scene, rows_between
from shearbolt.reasoning.quantity_view import QuantityView

HIGH_FMIS = frozenset({0, 15, 16})
LOW_FMIS = frozenset({1, 17, 18})
"""Valid but beyond a level (SAE J1939-73); 'drifted' is found by comparing, at any level."""
LEAST_ROWS, LEAST_VISITS = 900, 2
"""Seconds and visits of the machine's own running that a comparison needs (own rule)."""
APART_S = 300
"""Running so near to a spell is not the machine's usual running."""
STANDS_OUT, USUAL = 0.93, 0.75
"""Share of its own running beyond which a reading stands out, and below which it is usual."""
LOAD_S = 240
HEAVY, LIGHT = 0.6, 0.25
DRIVEN = frozenset({"hot", "boost", "fuel", "slip", "filter"})
"""Kinds of codes whose quantity load and heat drive."""
MOSTLY = 0.5
COLD_C, COLD_RPM, COLD_S = 40.0, 1100.0, 15
ENOUGH_KPA, LOW_KPA = 300.0, 200.0
"""Oil pressure at speed with cold oil: the relief valve keeps a sound engine's at 300 to 600 kPa
(common practice, no source)."""


def look(scene: Scene) -> Iterator[Found | Missing]:
    """Judge companions of the faulty quantity, and the load behind it."""
    direction = direction_of(scene)
    if direction is not None and scene.quantity is not None:
        yield from _companions(scene, scene.quantity, direction)
    if direction == "down" and scene.quantity == "oil_kpa":
        yield from _cold_oil(scene)
    if direction is not None and DRIVEN & scene.row.traits:
        yield from _load(scene)


def direction_of(scene: Scene) -> Direction | None:
    """Tell whether the code says too high or too low; None: neither."""
    if scene.fault.fmi in HIGH_FMIS:
        return "up"
    return "down" if scene.fault.fmi in LOW_FMIS else None


def _companions(scene: Scene, quantity: str, direction: Direction) -> Iterator[Found | Missing]:
    rows = companions().get((quantity, direction), ())
    moved: list[str] = []
    calm: list[str] = []
    told_at: list[Start] = []
    for one in rows:
        usual = usual_of(scene, one.companion)
        if usual is None:
            continue
        places = []
        for start in scene.starts:
            value = _value_at(scene, start, one.companion)
            if value is not None:
                places.append(float(np.searchsorted(usual, value, "right")) / len(usual))
                told_at.append(start)
        if not places:
            continue
        place = float(np.median(places))
        beyond = place if one.companion_direction == "up" else 1.0 - place
        if beyond >= STANDS_OUT:
            moved.append(one.companion)
        elif beyond <= USUAL and _must_move(one):
            calm.append(one.companion)
    starts = list(dict.fromkeys(told_at))
    if moved:
        values = (("moved", float(len(moved))), ("calm", float(len(calm))), ("what", moved[0]))
        yield Found("same_story", values, scene.moments(starts))
    elif calm:
        still = (("calm", float(len(calm))), ("what", calm[0]))
        yield Found("neighbours_calm", still, scene.moments(starts))
    elif rows:
        yield Missing("same_story", "too_little_own_running", tuple(r.companion for r in rows))


CLOSE = frozenset({
    ("coolant_c", "oil_c"), ("oil_c", "coolant_c"), ("boost_kpa", "manifold_abs_kpa"),
    ("boost_kpa", "air_kg_h"),
})  # fmt: skip
"""Pairs so close that the one cannot truly leave its range without the other."""


def _must_move(one: Companion) -> bool:
    return (one.quantity, one.companion) in CLOSE


def usual_of(scene: Scene, quantity: str) -> F64 | None:
    """Give a quantity's sorted values while running warm, away from the fault's spells.

    None: too little of it was seen.
    """
    key = ("usual", quantity)
    if key not in scene._memo:
        scene._memo[key] = _usual(scene, quantity)
    return scene._memo[key]  # type: ignore[return-value]


def _usual(scene: Scene, quantity: str) -> F64 | None:
    pieces: list[F64] = []
    for index, view in scene.machine.views.items():
        values = view.held(quantity)
        if values is None:
            continue
        good = view.settled(600.0) & ~np.isnan(values)
        for one in scene.starts:
            if one.visit == index:
                from_s = one.at_us / SECOND_US - APART_S
                until_s = one.spell.end_us / SECOND_US + APART_S
                good &= (view.second < from_s) | (view.second > until_s)
        rows = np.flatnonzero(good)
        if len(rows) >= 60:
            pieces.append(np.asarray(values[rows[:: 1 + len(rows) // 4000]], np.float64))
    total = sum(map(len, pieces))
    if len(pieces) < LEAST_VISITS or total < LEAST_ROWS:
        return None
    return np.sort(np.concatenate(pieces))


def _value_at(scene: Scene, start: Start, quantity: str) -> float | None:
    """Give the median of a quantity in the half minute round a start."""
    view = scene.machine.views.get(start.visit)
    values = None if view is None else view.held(quantity)
    if view is None or values is None:
        return None
    rows = rows_between(view, start.at_us - 20 * SECOND_US, start.at_us + 10 * SECOND_US)
    told = values[rows]
    told = told[~np.isnan(told)]
    return float(np.median(told)) if len(told) else None


def _cold_oil(scene: Scene) -> Iterator[Found | Missing]:
    """Judge the oil pressure at speed while the oil was cold, since the code was first seen."""
    told: list[float] = []
    first = scene.visits[0] if scene.visits else 0
    for index, view in scene.machine.views.items():
        sensor, warmth = scene.sensor(index), view.held("oil_c")
        if warmth is None:
            warmth = view.held("coolant_c")
        if index < first or sensor is None or warmth is None:
            continue
        cold = view.running(engine_rpm=(COLD_RPM, np.inf)) & view.settled(20.0)
        rows = np.flatnonzero(cold & (warmth < COLD_C) & ~sensor.ended)
        values = sensor.column.last[rows]
        values = values[~np.isnan(values)]
        if len(values) >= COLD_S:
            told.append(float(np.median(values)))
    if not told:
        yield Missing("enough_cold", "not_seen_cold_at_speed", ("oil_c", "coolant_c"))
        return
    kpa = float(np.median(told))
    values_told = (("cold_kpa", kpa), ("visits", float(len(told))))
    if kpa >= ENOUGH_KPA:
        yield Found("enough_cold", values_told, scene.moments(scene.starts))
    elif kpa < LOW_KPA:
        yield Found("low_cold_too", values_told, scene.moments(scene.starts))


def _load(scene: Scene) -> Iterator[Found | Missing]:
    """Compare the load of the minutes before the starts with the machine's usual load."""
    usual = usual_of(scene, "load_pct")
    if usual is None:
        yield Missing("heavy_work", "too_little_own_running", ("load_pct",))
        return
    places: list[float] = []
    told: list[Start] = []
    for one in scene.known:
        view = scene.machine.views.get(one.visit)
        mean = None if view is None else _mean_before(view, one)
        if mean is not None:
            places.append(float(np.mean(usual <= mean)))
            told.append(one)
    if not places:
        return
    place = float(np.median(places))
    values = (("share", place), ("starts", float(len(places))))
    if place >= HEAVY:
        yield Found("heavy_work", values, scene.moments(told))
    elif place <= LIGHT:
        yield Found("light_work", values, scene.moments(told))


def _mean_before(view: QuantityView, one: Start) -> float | None:
    load = view.held("load_pct")
    if load is None:
        return None
    rows = rows_between(view, one.at_us - LOAD_S * SECOND_US, one.at_us)
    told = load[rows]
    told = told[~np.isnan(told)]
    return float(np.mean(told)) if len(told) >= LOAD_S * MOSTLY else None
