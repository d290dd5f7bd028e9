"""On which scale a fault's starts are counted: by its kind first, then by what fits best.

Starting trouble belongs to engine starts, what latches to key cycles, what has a setting to the
hours in that setting; for the rest, of the scales that the recordings tell, the one on which the
intervals vary least (minimal coefficient of variation; Duchesne and Lawless 2000).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from shearbolt.dictionary.fault_scales import scale_of_code, scale_of_symptom
from shearbolt.reasoning.between import Between
from shearbolt.reasoning.case import FaultCase
from shearbolt.reasoning.follow_up.line import Line, Scale, Window
from shearbolt.reasoning.settings import Setting

FITTED: tuple[Scale, ...] = ("loaded_hours", "fuel_l", "km", "starts")
"""Scales tried beside engine hours."""
LEAST_STARTS = 6
"""Fewer say nothing of intervals."""
CLEARLY = 0.75
"""Another scale's coefficient of variation must be below this share of that of engine hours."""


def scale_of(
    line: Line,
    fault: FaultCase,
    between: Between | None,
    setting: Setting | None,
    window: Window,
) -> Scale:
    """Choose the scale for a fault from what lies in a window, that before the repair."""
    if setting is not None and setting.found:
        return "setting_hours"
    told = (
        scale_of_symptom(fault.code or fault.text)
        if fault.kind == "symptom"
        else scale_of_code(fault.spn, fault.fmi)
    )
    if told == "starts" and _tells(line, window, "starts"):
        return "starts"
    if between is not None and between.steps == "once_per_key_cycle":
        return "key_cycles"
    if _mostly_on_already(line, window):
        return "key_cycles"
    return _best_fit(line, window)


def _tells(line: Line, window: Window, scale: Scale) -> bool:
    return any(one.amounts.get(scale, 0.0) > 0.0 for one, _, _ in line.within(window))


def _mostly_on_already(line: Line, window: Window) -> bool:
    """Tell whether most starts fell into blind time: it was on when anybody came to listen."""
    watched = {one.place for one in line.stretches if not one.recorded and one.watcher is not None}
    mine = [
        one for one in line.starts if window.holds_start(one) and not one.goes_on and not one.opened
    ]
    blind = [one for one in mine if not one.seen and one.place not in watched]
    return bool(mine) and 2 * len(blind) > len(mine)


def _best_fit(line: Line, window: Window) -> Scale:
    own = intervals(line, window, "engine_hours")
    if own is None or len(own) < LEAST_STARTS - 1:
        return "engine_hours"
    best: Scale = "engine_hours"
    least = CLEARLY * _variation(own)
    for scale in FITTED:
        other = intervals(line, window, scale)
        if other is not None and len(other) == len(own) and _variation(other) < least:
            best, least = scale, _variation(other)
    return best


def intervals(line: Line, window: Window, scale: Scale) -> list[float] | None:
    """Give the exposure between one start seen and the next; None: not known throughout."""
    found = positions(line, window, scale)
    return None if found is None else np.diff(found).tolist()


def positions(line: Line, window: Window, scale: Scale) -> list[float] | None:
    """Give the exposure of a window before each start seen in it; None: some stretch with exposure
    does not tell this scale."""
    at = 0.0
    found: list[float] = []
    for one, low, high in line.within(window):
        if not one.amounts:
            continue
        if scale not in one.amounts:
            return None
        whole = one.amounts[scale]
        if one.recorded:
            found += [
                at + whole * max(0.0, start.part - low)
                for start in line.starts
                if start.place == one.place and start.seen and window.holds_start(start)
            ]
        at += whole * (high - low)
    return found


def _variation(values: Sequence[float]) -> float:
    mean = float(np.mean(values))
    return float(np.std(values)) / mean if mean > 0.0 else float("inf")
