"""What of the time since a clear was a test at all: monitors that must run before a fault returns.

After a clear a controller must first test again: hours before that are not clean, they are not
tested (Sun and Zhao 2013, on processes of observation). Readiness tells it where it was asked for
(SAE J1939-73 DM5, DM26; SAE J1979 PID 01); else the conditions of the fault's earlier starts stand
in for what the controller needs to test, and half an hour of them counts as a test (own rule; the
monitors' own times are not public).
"""

from __future__ import annotations

import numpy as np

from shearbolt.model.instants import SECOND_US
from shearbolt.reasoning.case import FaultCase, VisitCase
from shearbolt.reasoning.follow_up.building import Builder
from shearbolt.reasoning.follow_up.line import Line
from shearbolt.reasoning.phases import Flags
from shearbolt.reasoning.quantity_view import QuantityView
from shearbolt.reasoning.senders import senders_in
from shearbolt.reasoning.standing import clear_reaches

NEEDED_H = 0.5
"""So long must the conditions of earlier starts have held since a clear."""
COOLANT_MARGIN_K = 10.0
"""So much colder than at any earlier start still counts as the same."""
MONITORS: tuple[tuple[str, frozenset[int]], ...] = (
    ("dpf", frozenset({81, 3241, 3242, 3245, 3246, 3251, 3700, 3719, 3720})),
    ("nox_catalyst", frozenset({1761, 3031, 3360, 3361, 3363, 3516, 4334, 4360, 4363, 4364, 5246})),
    ("exhaust_gas_sensor", frozenset({3216, 3226})),
    ("egr_vvt", frozenset({27, 411, 412, 2659, 2791})),
    ("boost_control", frozenset({102, 641, 1127, 1188})),
    ("fuel", frozenset({94, 157, 164, 651, 652, 653, 654, 655, 656})),
    ("misfire", frozenset({1322, 1323, 1324, 1325, 1326, 1327, 1328})),
)
"""Monitor that tests a parameter; all others belong to 'components' (common practice, no source).
"""


def monitor_of(spn: int | None) -> str:
    """Give the monitor that tests a parameter."""
    return next((name for name, spns in MONITORS if spn in spns), "components")


def untested(builder: Builder, fault: FaultCase, line: Line) -> dict[tuple[int, bool], float]:
    """Give, by (place, recorded), the share of a stretch's exposure that tested nothing.

    Stretches that were tests altogether are left out.
    """
    found: dict[tuple[int, bool], float] = {}
    done_h = NEEDED_H
    told: bool | None = None
    """What readiness said last: whether the monitor had run."""
    monitor = monitor_of(fault.spn)
    for stretch in line.stretches:
        visit = builder.case.visits[stretch.place]
        key = stretch.place, stretch.recorded
        if not stretch.recorded:
            hours = stretch.amounts.get("engine_hours", 0.0)
            if told is False:
                found[key] = 1.0
            elif done_h < NEEDED_H and hours > 0.0:
                found[key] = min(1.0, (NEEDED_H - done_h) / hours)
            done_h += hours
            continue
        clear_s = _cleared_s(builder, visit, fault)
        if clear_s is not None:
            done_h, told = 0.0, None
        ready = _ready(builder, visit, fault, monitor, clear_s)
        hours = stretch.amounts.get("engine_hours", 0.0)
        enabled_h = _enabled_h(builder, fault, line, visit, stretch.place, hours, clear_s)
        if ready is not None:
            told = ready
        if told is False:
            found[key] = 1.0
        elif told is None and done_h < NEEDED_H and hours > 0.0:
            short = NEEDED_H - done_h
            share = 1.0 if enabled_h <= short else min(1.0, short / hours)
            # Before the clear it was a test, but that time lies before the watch anew.
            found[key] = share
        done_h += enabled_h
    return found


def _cleared_s(builder: Builder, visit: VisitCase, fault: FaultCase) -> float | None:
    senders = senders_in(visit, fault, builder.faults)
    found = [
        one.at_us / SECOND_US
        for one in visit.clears
        if senders
        and (one.controller is None or (one.channel, one.controller) in senders)
        and clear_reaches(one, fault.spn, fault.fmi, False)
    ]
    return max(found, default=None)


def _ready(
    builder: Builder, visit: VisitCase, fault: FaultCase, monitor: str, clear_s: float | None
) -> bool | None:
    """Tell whether the fault's monitor had run when its sender last told readiness."""
    senders = senders_in(visit, fault, builder.faults)
    answers = sorted(builder.answers.get(visit.visit, ()), key=lambda one: one.at_us)
    ready: bool | None = None
    for answer in answers:
        of_sender = (answer.channel, answer.address) in senders
        if answer.what == "obd01":
            of_sender = answer.address == fault.address
        if answer.what not in ("dm5", "dm26", "obd01") or not of_sender:
            continue
        state = dict(answer.values).get(monitor)
        if state is None or (clear_s is not None and answer.at_us / SECOND_US < clear_s):
            continue
        # DM26 speaks of this key cycle: that it has not run now says nothing of earlier ones.
        if state == "complete" or answer.what != "dm26":
            ready = state == "complete"
    return ready


def _enabled_h(
    builder: Builder,
    fault: FaultCase,
    line: Line,
    visit: VisitCase,
    place: int,
    hours: float,
    clear_s: float | None,
) -> float:
    """Give the hours of a visit, since a clear in it, under the conditions of earlier starts."""
    view = builder.views.get(visit.visit)
    if view is None or not len(view.second) or not hours:
        return hours
    running, coolant_c = _conditions(builder, line, place)
    rows = np.ones(len(view.second), np.bool_)
    if clear_s is not None:
        rows &= view.second > clear_s
    rows &= _holding(view, running, coolant_c)
    return float(rows.sum()) / 3600.0


def _holding(view: QuantityView, running: bool, coolant_c: float | None) -> Flags:
    rows = np.ones(len(view.second), np.bool_)
    if running and view.phases is not None:
        rows &= view.phases.running
    coolant = view.held("coolant_c")
    if coolant_c is not None and coolant is not None:
        with np.errstate(invalid="ignore"):
            rows &= coolant >= coolant_c - COOLANT_MARGIN_K
    return rows


def _conditions(builder: Builder, line: Line, place: int) -> tuple[bool, float | None]:
    """Give whether all starts before a visit came with the engine running, and the coldest coolant
    (degC) among them; None: not known."""
    running = True
    coldest: list[float] = []
    for start in line.starts:
        if start.place > place or not start.seen:
            continue
        view = builder.views.get(builder.case.visits[start.place].visit)
        row = _row_at(view, start.at_s)
        if view is None or row is None:
            continue
        if view.phases is not None:
            running = running and bool(view.phases.running[row])
        coolant = view.held("coolant_c")
        if coolant is not None and np.isfinite(coolant[row]):
            coldest.append(float(coolant[row]))
    return running, min(coldest, default=None)


def _row_at(view: QuantityView | None, at_s: float) -> int | None:
    if view is None or not len(view.second):
        return None
    return max(int(np.searchsorted(view.second, np.floor(at_s), "right")) - 1, 0)
