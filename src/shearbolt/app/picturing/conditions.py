"""The condition map: where the machine spent its time, and where the fault started."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from shearbolt.app.composing.setting_words import terms_words
from shearbolt.app.picturing.asked import Asked, fault_of, levels_of, limit_of, named, shown_of
from shearbolt.app.picturing.documents import Axis, ConditionsPicture, Panel, Start
from shearbolt.app.picturing.units import Shown, spent
from shearbolt.app.samples import tidy
from shearbolt.book import records as r
from shearbolt.dictionary.quantities import quantities
from shearbolt.model.frames import F64, I64
from shearbolt.reasoning.phases import Rows
from shearbolt.reasoning.settings import (
    Ground,
    Setting,
    Term,
    ground_of,
    tables_of,
    watched,
)
from shearbolt.reasoning.settings.watch import Watch, watch_of

STEPS_ALONE, STEPS_X, STEPS_Y = 20, 18, 10
"""About so many steps, over one quantity and over two."""
MOST_LEVELS = 9
"""More distinct values than this are no states."""
EDGE_SHARE = 0.002
"""So much of the time may lie beyond either end of an axis; it is counted in the last step."""
USUAL = ("load_pct", "engine_rpm", "coolant_c", "minutes_since_start", "speed_kmh")
"""What is shown where no condition is known, the first that the machine tells."""


@dataclass(frozen=True, slots=True)
class _Side:
    """One axis with the rows' places on it."""

    axis: Axis
    shown: Shown
    rows: F64
    """Values of the exposed rows, as shown; NaN where not told."""
    starts: F64
    """Values at the starts, as shown; NaN where not told."""


def conditions_picture(asked: Asked, fault: r.Fault) -> ConditionsPicture:
    """Show where a machine spent its time, over the first one or two terms of a fault's setting,
    or over what it tells of its work where nothing is known of the setting."""
    setting = asked.setting(fault.id)
    ground = ground_of(tables_of(asked.case))
    watch = watch_of(ground, watched(asked.case, fault_of(asked.case, fault.id)))
    terms = [one for one in setting.terms if one.value is not None] if setting is not None else []
    names = list(dict.fromkeys(one.quantity for one in terms))[:2]
    if not names:
        names = _usual(ground, fault)
    exposed = np.flatnonzero(watch.exposed)
    lag = round(setting.delay_s) if setting is not None and setting.delay_s else 0
    panels: list[Panel] = []
    if len(exposed):
        panels = _panels(asked, ground, watch, exposed, names, terms, lag)
    return {
        "what": "conditions",
        "about": fault.id,
        "machine_name": asked.record.machine.name,
        "title": asked.words(fault),
        "lines": _lines(asked, setting, terms, len(exposed) / 3600.0, watch, lag),
        "panels": panels,
    }


def _usual(ground: Ground, fault: r.Fault) -> list[str]:
    """Choose what to show without a setting: the fault's own reading first."""
    told = {name for one in ground.tables for name in one.columns}
    own = next((one.key for one in quantities() if fault.spn in one.spns), "")
    return [one for one in dict.fromkeys((own, *USUAL)) if one in told][:2]


def _lines(
    asked: Asked,
    setting: Setting | None,
    terms: Sequence[Term],
    hours: float,
    watch: Watch,
    lag: int,
) -> list[str]:
    if not hours:
        return ["No recording shows when this fault could have started."]
    starts = len(watch.start_rows)
    lines = [f"Looked at for {spent(hours)}; {starts} start{'' if starts == 1 else 's'} seen."]
    if setting is not None and terms:
        words = terms_words(setting.terms, asked.units)
        sure = "" if setting.found else " Too few starts to be sure."
        came = "start came" if setting.starts_total == 1 else "starts came"
        lines.append(f"{setting.starts_inside} of {setting.starts_total} {came} {words}.{sure}")
        if setting.exposure_inside_h is not None:
            so = spent(setting.exposure_inside_h)
            lines.append(f"Of that time the machine worked so for {so}.")
        if lag:
            lines.append(f"Shown is how it was {lag} s before each code, when it began.")
        for one in setting.cannot_be_told_apart[:1]:
            lines.append(f"It could as well be {terms_words(one.terms, asked.units)}.")
    else:
        lines.append("No condition is known yet under which it starts.")
    if watch.unknown:
        lines.append(
            f"{watch.unknown} spell{' was' if watch.unknown == 1 else 's were'} on already when "
            "the recording began, and left out."
        )
    return lines


def _panels(
    asked: Asked,
    ground: Ground,
    watch: Watch,
    exposed: Rows,
    names: Sequence[str],
    terms: Sequence[Term],
    lag: int,
) -> list[Panel]:
    begun = ground.lagged(watch.start_rows, lag)
    sides: list[_Side] = []
    steps = STEPS_ALONE if len(names) < 2 else STEPS_X
    for i, name in enumerate(names):
        term = next((one for one in terms if one.quantity == name), None)
        shown = shown_of(name, asked.units)
        rows = ground.values(name, exposed).astype(np.float64) * shown.factor + shown.offset
        starts = ground.values(name, begun).astype(np.float64) * shown.factor + shown.offset
        if np.isnan(rows).all():
            continue
        axis = _axis(name, term, shown, rows, starts, steps if not i else STEPS_Y)
        sides.append(_Side(axis, shown, rows, starts))
    if len(sides) == 2 and not any(one.axis["levels"] for one in sides):
        return [_both(*sides)]
    return [_alone(one) for one in sides]


def _axis(name: str, term: Term | None, shown: Shown, rows: F64, starts: F64, steps: int) -> Axis:
    words, unit = named(name)
    known = rows[~np.isnan(rows)]
    distinct = np.unique(known)
    state = unit == "state" or (term is not None and term.op == "=")
    if state and len(distinct) <= MOST_LEVELS:
        top = max(1, round(float(distinct[-1])))
        told = levels_of(name, unit)
        levels = [told[i] if i < len(told) else str(i) for i in range(top + 1)]
        inside = [False] * (top + 1)
        if term is not None and term.value is not None and 0 <= round(term.value) <= top:
            inside[round(term.value)] = True
        return {
            "name": words,
            "unit": "",
            "edges": [i - 0.5 for i in range(top + 2)],
            "levels": levels,
            "limit": None,
            "inside": inside,
        }
    limit = limit_of(term, shown) if term is not None else None
    low, high = np.quantile(known, [EDGE_SHARE, 1.0 - EDGE_SHARE]).tolist()
    extra = starts[~np.isnan(starts)].tolist()
    if limit is not None:
        extra.append(limit["value"])
    low, high = min([low, *extra]), max([high, *extra])
    return {
        "name": words,
        "unit": shown.unit,
        "edges": edges_of(low, high, steps),
        "levels": [],
        "limit": limit,
        "inside": [],
    }


def edges_of(low: float, high: float, steps: int) -> list[float]:
    """Give about `steps` equal steps that hold `low` to `high`, with edges at round figures."""
    if not high > low:
        low, high = low - 0.5, high + 0.5
    rough = (high - low) / steps
    power = 10.0 ** np.floor(np.log10(rough))
    step = next(m * power for m in (1.0, 2.0, 2.5, 5.0, 10.0) if m * power >= rough * 0.999)
    first, last = int(np.floor(low / step + 1e-9)), int(np.ceil(high / step - 1e-9))
    return [tidy(i * step) for i in range(first, max(last, first + 1) + 1)]


def _places(edges: Sequence[float], values: F64) -> I64:
    """Give the step of each value; what lies beyond either end in the last one."""
    found = np.searchsorted(np.asarray(edges), values, "right") - 1
    return np.clip(found, 0, len(edges) - 2).astype(np.int64)


def _alone(side: _Side) -> Panel:
    known = side.rows[~np.isnan(side.rows)]
    wide = len(side.axis["edges"]) - 1
    counted = np.bincount(_places(side.axis["edges"], known), minlength=wide)
    starts = side.starts[~np.isnan(side.starts)]
    return {
        "x": side.axis,
        "y": None,
        "hours": [(counted / 3600.0).tolist()],
        "starts": [{"x": tidy(one), "y": None} for one in starts.tolist()],
        "unknown_starts": len(side.starts) - len(starts),
    }


def _both(x: _Side, y: _Side) -> Panel:
    wide, tall = len(x.axis["edges"]) - 1, len(y.axis["edges"]) - 1
    known = ~(np.isnan(x.rows) | np.isnan(y.rows))
    cell = _places(y.axis["edges"], y.rows[known]) * wide + _places(x.axis["edges"], x.rows[known])
    counted = np.bincount(cell, minlength=wide * tall).reshape(tall, wide)
    both = ~(np.isnan(x.starts) | np.isnan(y.starts))
    starts: list[Start] = [
        {"x": tidy(a), "y": tidy(b)}
        for a, b in zip(x.starts[both].tolist(), y.starts[both].tolist(), strict=True)
    ]
    return {
        "x": x.axis,
        "y": y.axis,
        "hours": (counted / 3600.0).tolist(),
        "starts": starts,
        "unknown_starts": int(np.count_nonzero(~both)),
    }
