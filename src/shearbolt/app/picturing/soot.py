"""Soot in a machine's particulate filter, and when it was burned off."""

from __future__ import annotations

import numpy as np

from shearbolt.app.picturing.asked import Asked, named
from shearbolt.app.picturing.documents import SootPicture, Stretch
from shearbolt.app.picturing.thinning import MOST_COLUMNS, parted, thinned
from shearbolt.app.picturing.units import figure, shown_in
from shearbolt.app.samples import tidy
from shearbolt.model.frames import F64
from shearbolt.model.instants import SECOND_US
from shearbolt.reasoning.phases import Flags
from shearbolt.reasoning.quantity_view import QuantityView, views_of

READINGS = ("soot_pct", "dpf_drop_kpa")
"""Soot load as the engine reckons it; else the pressure that is lost in the filter."""
APART_S = 30
"""Readings farther apart than this are not joined."""


def soot_picture(asked: Asked) -> SootPicture:
    """Show a machine's soot load over its engine hours; where those are not told, over the hours
    recorded, one visit after the other."""
    views = views_of(asked.case)
    reading = next((one for one in READINGS if any(view.alive(one) for view in views)), None)
    told = [view for view in views if reading is not None and view.alive(reading)]
    scale_hours = bool(told) and all(_hours(view) is not None for view in told)
    at: list[F64] = []
    value: list[F64] = []
    looks: list[Stretch] = []
    regenerations: list[Stretch] = []
    recorded = 0.0
    for view in told:
        assert reading is not None
        hours = _hours(view)
        zero = hours[0] if scale_hours and hours is not None else recorded
        length_h = float(view.second[-1] - view.second[0] + 1) / 3600.0
        factor = 1.0
        if scale_hours and hours is not None and hours[1] > hours[0]:
            factor = (hours[1] - hours[0]) / length_h
        place = zero + (view.second - view.second[0]) / 3600.0 * factor
        whole = view.values(reading).astype(np.float64)
        # The seconds of a visit are numbered on; a pause in them is a gap.
        apart, parts = parted(view.second.astype(np.float64), whole, APART_S)
        at.append(np.interp(apart, view.second, place))
        value.append(parts)
        at.append(place[-1:])
        value.append(np.full(1, np.nan))
        looks.append({"start": tidy(float(place[0])), "end": tidy(float(place[-1])), "words": ""})
        burning = view.regenerating
        if burning is not None:
            regenerations += _stretches(place, burning)
        recorded += length_h
    low = looks[0]["start"] if looks else 0.0
    high = max((one["end"] for one in looks), default=1.0)
    shown = shown_in(named(reading)[1] if reading is not None else "", asked.units)
    all_at = np.concatenate(at) if at else np.empty(0)
    all_value = np.concatenate(value) if value else np.empty(0)
    chosen = thinned(all_at, all_value, low, high, MOST_COLUMNS)
    return {
        "what": "soot",
        "about": asked.record.machine.id,
        "machine_name": asked.record.machine.name,
        "title": "Pressure lost in the particulate filter, and when it was burned clean"
        if reading == "dpf_drop_kpa"
        else "Soot in the particulate filter, and when it was burned off",
        "lines": _lines(all_value, regenerations, shown.unit, shown.factor, len(told)),
        "scale": "hours" if scale_hours else "recorded",
        "low": low,
        "high": high,
        "unit": shown.unit,
        "at": [tidy(one) for one in all_at[chosen].tolist()],
        "value": [
            None if np.isnan(one) else tidy(shown.of(one)) for one in all_value[chosen].tolist()
        ],
        "looks": looks,
        "regenerations": regenerations,
    }


def _hours(view: QuantityView) -> tuple[float, float] | None:
    """Give the engine hours of a visit's first and last second; None: not told."""
    start, end = view.visit.hours_start, view.visit.hours_end
    if start is None:
        return None
    if end is None:
        end = start + (view.visit.latest_us - view.visit.earliest_us) / SECOND_US / 3600.0
    return start, end


def _stretches(place: F64, flags: Flags) -> list[Stretch]:
    edge = np.diff(np.concatenate([[0], flags.astype(np.int8), [0]]))
    return [
        {"start": tidy(float(place[a])), "end": tidy(float(place[b - 1])), "words": ""}
        for a, b in zip(
            np.flatnonzero(edge == 1).tolist(), np.flatnonzero(edge == -1).tolist(), strict=True
        )
    ]


def _lines(
    value: F64, regenerations: list[Stretch], unit: str, factor: float, visits: int
) -> list[str]:
    known = value[~np.isnan(value)] * factor
    if not len(known):
        return ["This machine tells no soot load."]
    low, high = figure(float(known.min())), figure(float(known.max()))
    lines = [
        f"{visits} visit{' tells' if visits == 1 else 's tell'} of it: between {low} and {high} "
        f"{unit}."
    ]
    count = len(regenerations)
    burned = "No active regeneration was recorded."
    if count:
        burned = f"{count} active regeneration{' was' if count == 1 else 's were'} recorded."
    return [*lines, burned]
