"""How much a visit counts on each scale: running hours, starts, key cycles, load, fuel, way."""

from __future__ import annotations

import numpy as np

from shearbolt.model.instants import SECOND_US
from shearbolt.reasoning.case import VisitCase
from shearbolt.reasoning.follow_up.line import Scale
from shearbolt.reasoning.phases import Flags
from shearbolt.reasoning.quantity_view import QuantityView
from shearbolt.reasoning.settings import Term, VisitTable, table_of

LOADED_PCT = 50.0
"""From here up an engine works (own rule)."""
HOUR_S = 3600.0
Spans = tuple[tuple[float, float], ...]


def table_once(view: QuantityView) -> VisitTable:
    """Give the table of a view, made once."""
    return view.once("follow-up table", lambda: table_of(view))


def exposed_rows(view: QuantityView, heard_s: tuple[float, float], active_s: Spans) -> Flags:
    """Tell the rows in which a fault could start: its sender heard, itself not active."""
    second = view.second
    rows = (second >= np.floor(heard_s[0])) & (second <= heard_s[1])
    for begin, end in active_s:
        rows &= ~((second > np.floor(begin)) & (second <= end))
    return np.asarray(rows, np.bool_)


def amounts_of(
    visit: VisitCase, view: QuantityView | None, heard_s: tuple[float, float], active_s: Spans
) -> dict[Scale, float]:
    """Give the exposure of a fault in one visit on each scale that the visit tells.

    heard_s, active_s: seconds of the visit's clock. Without a second-by-second state the hour
    meter counts, else the time its sender was heard.
    """
    if view is None or not len(view.second):
        return _without_state(visit, heard_s, active_s)
    rows = exposed_rows(view, heard_s, active_s)
    phases = view.phases
    running = rows if phases is None else rows & phases.running
    found: dict[Scale, float] = {"engine_hours": float(running.sum()) / HOUR_S}
    cycles = table_once(view).cycle[rows]
    found["key_cycles"] = float(len(np.unique(cycles)))
    if phases is not None:
        begun = phases.running & phases.start_seen & (phases.since_start_s == 0.0)
        found["starts"] = float(begun.sum())
    for scale, quantity in (("loaded_hours", "load_pct"), ("fuel_l", "fuel_rate_l_h")):
        values = view.held(quantity)
        if values is None:
            continue
        told = running & np.isfinite(values)
        if scale == "loaded_hours":
            found["loaded_hours"] = float((values[told] >= LOADED_PCT).sum()) / HOUR_S
        else:
            found["fuel_l"] = float(values[told].sum()) / HOUR_S
    speed = view.speed_kmh
    if speed is not None:
        found["km"] = float(speed[rows & np.isfinite(speed)].sum()) / HOUR_S
    return found


def _without_state(
    visit: VisitCase, heard_s: tuple[float, float], active_s: Spans
) -> dict[Scale, float]:
    begin, end = heard_s
    span = max(end - begin, 0.0)
    active = sum(max(0.0, min(b, end) - max(a, begin)) for a, b in active_s)
    hours = span / HOUR_S
    if visit.hours_start is not None and visit.hours_end is not None:
        hours = max(visit.hours_end - visit.hours_start, 0.0) or hours
    free = 1.0 - min(1.0, active / span) if span > 0.0 else 0.0
    return {"engine_hours": hours * free, "key_cycles": 1.0}


def part_before(
    visit: VisitCase,
    view: QuantityView | None,
    heard_s: tuple[float, float],
    active_s: Spans,
    at_s: float,
) -> float:
    """Give the share of a visit's exposure that lies before a moment."""
    if view is not None and len(view.second):
        rows = exposed_rows(view, heard_s, active_s)
        phases = view.phases
        rows = rows if phases is None else rows & phases.running
        whole = int(rows.sum())
        if whole:
            return float(rows[view.second < at_s].sum()) / whole
    begin, end = heard_s
    return min(1.0, max(0.0, (at_s - begin) / (end - begin))) if end > begin else 0.0


def hours_inside(
    view: QuantityView | None,
    terms: tuple[Term, ...],
    heard_s: tuple[float, float],
    active_s: Spans,
) -> float:
    """Give the exposure (h) of one visit in a setting; what it does not tell is not inside."""
    if view is None or not len(view.second):
        return 0.0
    return float(rows_inside(view, terms, heard_s, active_s).sum()) / HOUR_S


def rows_inside(
    view: QuantityView,
    terms: tuple[Term, ...],
    heard_s: tuple[float, float],
    active_s: Spans,
) -> Flags:
    """Tell the exposed rows in which all terms of a setting hold."""
    rows = exposed_rows(view, heard_s, active_s)
    columns = table_once(view).columns
    for term in terms:
        values = columns.get(term.quantity)
        if values is None or term.value is None:
            return np.zeros(len(rows), np.bool_)
        with np.errstate(invalid="ignore"):
            if term.op == "<":
                rows &= values < term.value
            elif term.op == ">":
                rows &= values > term.value
            else:
                rows &= np.abs(values - term.value) < 0.5
    return rows


def whole_visit_s(visit: VisitCase) -> tuple[float, float]:
    """Give a visit's first and last second."""
    return visit.earliest_us / SECOND_US, visit.latest_us / SECOND_US
