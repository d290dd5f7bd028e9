"""Group S: soot, regenerations and what forbids them, ash."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from shearbolt.reasoning.odds.scene import Found, Missing, Scene
from shearbolt.reasoning.odds.values import Moment
from shearbolt.reasoning.phases import Flags, stretches
from shearbolt.reasoning.quantity_view import QuantityView

FORBIDS = ("inhibit_switch", "inhibit_clutch", "inhibit_brake", "inhibit_pto", "inhibit_pedal",
           "inhibit_neutral", "inhibit_speed_high", "inhibit_park", "inhibit_cold",
           "inhibit_fault", "inhibit_timeout", "inhibit_lockout", "inhibit_permanent",
           "inhibit_warm_up", "inhibit_speed_low", "regeneration_inhibited")  # fmt: skip
"""SPN 3702 to 3717 (SAE J1939-71): what keeps an active regeneration from starting."""
ASKS_PCT = 60.0
"""Soot from which a machine wants to burn free; where SPN 3700 does not say so (own choice)."""
LEAST_S = 300
MOSTLY, HARDLY = 0.6, 0.15
ASH_HIGH_PCT = 80.0
FALLEN = 0.5
"""A regeneration that leaves less than this share of the soot is finished (own rule)."""
FAST_TIMES = 3.0
"""So many times as fast as on the machine's earlier visits is 'too fast' (own rule)."""


@dataclass
class _Seen:
    asked_s: int = 0
    forbidden_s: int = 0
    started: int = 0
    finished: int = 0
    ash_pct: float | None = None
    told: bool = False


def look(scene: Scene) -> Iterator[Found | Missing]:
    """Judge what the filter's readings tell round a fault of soot, drop or ash."""
    if "soot" not in scene.row.traits:
        return
    seen = _Seen()
    at: list[Moment] = []
    worst: dict[str, int] = {}
    last = scene.visits[-1] if scene.visits else -1
    for index, view in scene.machine.views.items():
        if index > last:
            continue
        asked = _asked(view)
        if asked is None:
            continue
        seen.told = True
        forbidden = np.zeros(len(asked), np.bool_)
        for name in FORBIDS:
            values = view.held(name)
            if values is not None:
                on = asked & (values == 1)
                worst[name] = worst.get(name, 0) + int(on.sum())
                forbidden |= on
        seen.asked_s += int(asked.sum())
        seen.forbidden_s += int(forbidden.sum())
        if forbidden.any() and len(at) < 20:
            first = int(view.second[np.flatnonzero(forbidden)[0]])
            at.append(Moment(view.visit.visit, first * 1_000_000))
        _burns(view, seen)
        ash = view.held("ash_pct")
        if ash is not None and not np.isnan(ash).all():
            seen.ash_pct = max(seen.ash_pct or 0.0, float(np.nanmax(ash)))
    if not seen.told:
        yield Missing("kept_from_burning", "soot_not_told", ("soot_pct", "regeneration"))
        return
    yield from _forbidden(seen, worst, at)
    if seen.started >= 3 and seen.finished <= seen.started / 3.0:
        counts = (("started", float(seen.started)), ("finished", float(seen.finished)))
        yield Found("starts_not_finished", counts)
    if seen.ash_pct is not None and seen.ash_pct >= ASH_HIGH_PCT:
        yield Found("ash_told", (("ash_pct", seen.ash_pct),))
    yield from _by_checks(scene)
    yield from _filling(scene)


def _forbidden(seen: _Seen, worst: dict[str, int], at: list[Moment]) -> Iterator[Found | Missing]:
    if not worst:
        yield Missing("kept_from_burning", "reasons_not_told", FORBIDS[:1])
    elif seen.asked_s < LEAST_S:
        yield Missing("kept_from_burning", "soot_never_asked", ("soot_pct",))
    else:
        share = seen.forbidden_s / seen.asked_s
        most = max(worst, key=lambda name: worst[name] if name != FORBIDS[-1] else -1)
        values = (("share", share), ("asked_s", float(seen.asked_s)), ("what", most))
        if share >= MOSTLY:
            yield Found("kept_from_burning", values, tuple(at))
        elif share <= HARDLY:
            yield Found("nothing_forbids", values)


def _asked(view: QuantityView) -> Flags | None:
    """Flag the running in which soot asked for a regeneration; None: neither is told."""
    soot, state = view.held("soot_pct"), view.held("regeneration")
    if soot is None and state is None:
        return None
    asked = np.zeros(len(view.second), np.bool_)
    with np.errstate(invalid="ignore"):
        if soot is not None:
            asked |= soot >= ASKS_PCT
        if state is not None:
            asked |= state == 2
            asked &= ~(state == 1)
    return np.asarray(asked & view.settled(300.0), np.bool_)


def _burns(view: QuantityView, seen: _Seen) -> None:
    """Count regenerations begun and finished in a visit."""
    burning, soot = view.regenerating, view.held("soot_pct")
    if burning is None:
        return
    for first, end in stretches(burning):
        if first == 0:
            continue
        cut = end == len(burning)
        if soot is None or np.isnan(soot[first - 1]):
            continue
        left = soot[end - 1]
        if left <= FALLEN * soot[first - 1]:
            seen.started += 1
            seen.finished += 1
        elif not cut:
            seen.started += 1


def _by_checks(scene: Scene) -> Iterator[Found]:
    for one in scene.about("exhaust_temperature", "soot_against_drop"):
        if one.because.key == "burns_too_cold":
            values = tuple((figure.name, figure.value) for figure in one.figures)
            yield Found("burns_too_cold", values, (Moment(one.visit, one.moments_us[0]),))
        elif one.because.key == "drop_high_soot_low":
            values = tuple((figure.name, figure.value) for figure in one.figures)
            yield Found("clean_yet_high", values, (Moment(one.visit, one.moments_us[0]),))


def _filling(scene: Scene) -> Iterator[Found | Missing]:
    """Compare how fast soot rises now with how it rose before the fault's first spell."""
    first = scene.visits[0] if scene.visits else 0
    before: list[float] = []
    after: list[float] = []
    for index, view in scene.machine.views.items():
        rate = _rate_pct_h(view)
        if rate is not None:
            (before if index < first else after).append(rate)
    if len(before) < 3 or not after:
        yield Missing("fills_fast", "no_baseline", ("earlier_visits",))
        return
    was, now = float(np.median(before)), float(np.median(after))
    if was > 0.0 and now >= FAST_TIMES * was:
        yield Found("fills_fast", (("before_pct_h", was), ("now_pct_h", now)))


def _rate_pct_h(view: QuantityView) -> float | None:
    """Give how fast soot rises while running without a regeneration; None: not seen for long."""
    soot, burning = view.held("soot_pct"), view.regenerating
    if soot is None:
        return None
    good = view.running() & ~np.isnan(soot)
    if burning is not None:
        good &= ~burning
    longest = max(stretches(good), key=lambda one: one[1] - one[0], default=(0, 0))
    seconds = longest[1] - longest[0]
    if seconds < 480:
        return None
    rose = float(soot[longest[1] - 1] - soot[longest[0]])
    return max(0.0, rose) / seconds * 3600.0
