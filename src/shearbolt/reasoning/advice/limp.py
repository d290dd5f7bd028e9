"""Limp mode: power held back by a controller, with its cause, what lifts it, what it allows.

Told by what is asked of the engine (SPN 3644, 5246), by torque against this engine's own best at
the same speed (SPN 3357, 513 below 512 with the pedal down), and by codes that say so. A torque
curve is no limit: only less than this engine has shown at the same speed counts.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from shearbolt.dictionary.advice_kinds import AdviceKind
from shearbolt.dictionary.company_roles import plays
from shearbolt.model.fault import Lamps
from shearbolt.model.frames import F64, I64
from shearbolt.model.instants import SECOND_US
from shearbolt.reasoning.advice.moments import Rows, VisitView
from shearbolt.reasoning.case import FaultCase

LimpBy = Literal[
    "derate_request", "inducement", "torque_limit", "held_below_demand", "code", "symptom"
]
BIN_RPM = 200.0
LEAST_RPM = 1000.0
"""Below this the torque curve is steep, and pedal down means setting off."""
LIMIT_SHARE = 0.88
"""Available torque below this share of its own best at that speed is a limit (own choice)."""
HELD_SHARE = 0.75
"""Torque below this share of its own best, although more is asked (own choice)."""
DEMAND_GAP_PCT = 20.0
PEDAL_PCT = 85.0
REQUEST_PCT = 5.0
HOLD_S = 10
"""A turbocharger has caught up by then."""
BEST_S = 30
"""The own best must have been shown for so many seconds in all."""


@dataclass(frozen=True, slots=True)
class Limp:
    """One stretch of limited power."""

    visit: str
    from_us: int
    until_us: int
    by: tuple[LimpBy, ...]
    left_pct: float | None
    """Share of the torque that was left; None: not told."""
    level: int | None
    """Inducement level where that is the reason (1 least, 5 final)."""
    cause: str | None
    """The fault that brings it; None: no code explains it."""
    release: str
    """What lifts it: message key; 'cause' where it is not known."""
    allows: str
    """What may be done meanwhile: light_work, road_home, yard_only (message keys)."""


def limp_modes(
    views: Sequence[VisitView],
    faults: Sequence[FaultCase],
    kinds: Mapping[str, AdviceKind],
    roots: Mapping[str, str],
) -> tuple[Limp, ...]:
    """Find limited power in all visits, with the fault that stood gravest when it began."""
    best_limit = _best(views, "torque_limit_pct")
    best_torque = _best(views, "torque_pct")
    found: list[Limp] = []
    for view in views:
        found.extend(_in_visit(view, faults, kinds, roots, best_limit, best_torque))
    return tuple(found)


def _in_visit(
    view: VisitView,
    faults: Sequence[FaultCase],
    kinds: Mapping[str, AdviceKind],
    roots: Mapping[str, str],
    best_limit: Mapping[int, float],
    best_torque: Mapping[int, float],
) -> list[Limp]:
    second = view.visit.state.second
    parts: list[tuple[LimpBy, int, int, float | None, int | None]] = []
    request = view.column("derate_pct", True)
    if request is not None:
        for first, last in _stretches(second, (request > REQUEST_PCT) & (request <= 100.0)):
            asked = float(np.nanmax(request[first : last + 1]))
            parts.append(("derate_request", first, last, max(0.0, 100.0 - asked), None))
    level = view.column("inducement", True)
    if level is not None:
        for first, last in _stretches(second, (level >= 1.0) & (level <= 5.0)):
            parts.append(("inducement", first, last, None, int(np.nanmax(level[first : last + 1]))))
    limit = _share_of_best(view, "torque_limit_pct", best_limit)
    if limit is not None:
        for first, last in _stretches(second, limit < LIMIT_SHARE):
            parts.append(
                ("torque_limit", first, last, 100.0 * _least(limit[first : last + 1]), None)
            )
    held = _held(view, best_torque)
    if held is not None:
        for first, last in _stretches(second, held < HELD_SHARE):
            parts.append(
                ("held_below_demand", first, last, 100.0 * _least(held[first : last + 1]), None)
            )
    spans = [
        (by, int(second[a]) * SECOND_US, (int(second[b]) + 1) * SECOND_US, left, grade)
        for by, a, b, left, grade in parts
    ]
    spans.extend(_codes(view, faults))
    return [_limp(view, one, faults, kinds, roots) for one in _joined(spans)]


_Span = tuple[LimpBy, int, int, float | None, int | None]


def _codes(view: VisitView, faults: Sequence[FaultCase]) -> list[_Span]:
    """Give the spells of codes that only say that power is limited."""
    known = {one.fault: one for one in faults}
    found: list[_Span] = []
    for one in view.visit.faults:
        code = known.get(one.fault)
        if code is None:
            continue
        induced = plays("inducement", code.spn, code.fmi)
        if induced or plays("derate", code.spn, code.fmi):
            found.extend(
                ("code", spell.start_us, spell.end_us, None, None) for spell in one.seen.spells
            )
    return found


def _joined(spans: Sequence[_Span]) -> list[list[_Span]]:
    """Join what overlaps: one limit told in several ways."""
    groups: list[list[_Span]] = []
    until = 0
    for one in sorted(spans, key=lambda span: span[1]):
        if groups and one[1] <= until + HOLD_S * SECOND_US:
            groups[-1].append(one)
            until = max(until, one[2])
        else:
            groups.append([one])
            until = one[2]
    return groups


def _limp(
    view: VisitView,
    group: Sequence[_Span],
    faults: Sequence[FaultCase],
    kinds: Mapping[str, AdviceKind],
    roots: Mapping[str, str],
) -> Limp:
    from_us = min(one[1] for one in group)
    until_us = max(one[2] for one in group)
    lefts = [one[3] for one in group if one[3] is not None]
    levels = [one[4] for one in group if one[4] is not None]
    left = min(lefts) if lefts else None
    level = max(levels) if levels else None
    cause = _cause(view, faults, roots, from_us, until_us, level is not None)
    release = kinds[cause].release if cause is not None and cause in kinds else ""
    allows = "light_work"
    if (level is not None and level >= 3) or (left is not None and left < 50.0):
        allows = "yard_only"
    elif level is not None or (left is not None and left < 75.0):
        allows = "road_home"
    by = tuple(sorted({one[0] for one in group}))
    return Limp(
        view.visit.visit, from_us, until_us, by, left, level, cause, release or "cause", allows
    )


def _cause(
    view: VisitView,
    faults: Sequence[FaultCase],
    roots: Mapping[str, str],
    from_us: int,
    until_us: int,
    induced: bool,
) -> str | None:
    """Find the fault that stood when power was limited: of the gravest lamp, then the latest."""
    known = {one.fault: one for one in faults}
    standing: list[tuple[int, int, str]] = []
    for one in view.visit.faults:
        code = known.get(one.fault)
        if code is None:
            continue
        treats = plays("treatment", code.spn, code.fmi)
        if not treats and (induced or not plays("limiter", code.spn, code.fmi)):
            continue
        for spell in one.seen.spells:
            if spell.start_us <= until_us and spell.end_us >= from_us - 30 * SECOND_US:
                standing.append((_gravity(one.seen.lamps), spell.start_us, one.fault))
    if not standing:
        return None
    fault = max(standing)[2]
    return roots.get(fault, fault)


def _gravity(lamps: Lamps) -> int:
    lit = ("on", "slow", "fast")
    if lamps.red_stop in lit:
        return 2
    return 1 if lamps.amber_warning in lit or lamps.mil in lit else 0


def _best(views: Sequence[VisitView], quantity: str) -> dict[int, float]:
    """Learn the most that this engine has shown at each speed, for half a minute in all."""
    shown: dict[int, list[F64]] = {}
    for view in views:
        values, rpm = view.column(quantity, True), view.column("engine_rpm", True)
        if values is None or rpm is None:
            continue
        good = np.isfinite(values) & np.isfinite(rpm) & (rpm >= LEAST_RPM)
        place = np.floor(rpm[good] / BIN_RPM).astype(np.int64)
        for one in np.unique(place).tolist():
            shown.setdefault(one, []).append(values[good][place == one])
    best: dict[int, float] = {}
    for one, some in shown.items():
        told = np.concatenate(some)
        if len(told) >= 2 * BEST_S:
            best[one] = float(np.partition(told, len(told) - BEST_S)[len(told) - BEST_S])
    return best


def _share_of_best(view: VisitView, quantity: str, best: Mapping[int, float]) -> F64 | None:
    values, rpm = view.column(quantity, True), view.column("engine_rpm", True)
    if values is None or rpm is None or not best:
        return None
    share = np.full(len(values), np.nan)
    good = np.isfinite(values) & np.isfinite(rpm) & (rpm >= LEAST_RPM)
    place = np.full(len(values), -1, np.int64)
    place[good] = np.floor(rpm[good] / BIN_RPM).astype(np.int64)
    for one, most in best.items():
        if most > 0.0:
            here = place == one
            share[here] = values[here] / most
    return share


def _held(view: VisitView, best: Mapping[int, float]) -> F64 | None:
    """Give the share of the own best torque where pedal and demand ask for more; else NaN."""
    share = _share_of_best(view, "torque_pct", best)
    torque, demand = view.column("torque_pct", True), view.column("demand_pct", True)
    pedal = view.column("pedal_pct", True)
    if share is None or torque is None or demand is None or pedal is None:
        return None
    asked = (pedal >= PEDAL_PCT) & (demand - torque >= DEMAND_GAP_PCT)
    return np.where(asked, share, np.nan)


def _stretches(second: I64, on: Rows) -> list[tuple[int, int]]:
    """Give first and last row of stretches that lasted."""
    at = np.flatnonzero(on)
    if not len(at):
        return []
    cut = np.flatnonzero(np.diff(second[at]) > 3) + 1
    return [
        (int(one[0]), int(one[-1]))
        for one in np.split(at, cut)
        if second[one[-1]] - second[one[0]] >= HOLD_S
    ]


def _least(values: F64) -> float:
    told = values[np.isfinite(values)]
    return float(told.min()) if len(told) else 1.0
