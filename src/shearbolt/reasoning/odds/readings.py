"""Group A: how the faulty reading itself looked when the code began.

The raw reading comes before the code: a controller waits seconds before it sets one, so the window
reaches back over that delay.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from shearbolt.model.instants import SECOND_US
from shearbolt.model.signal import NUMBER
from shearbolt.reasoning.company.values import Start
from shearbolt.reasoning.odds.scene import Found, Missing, Scene, Sensor, numbers, rows_between
from shearbolt.reasoning.phases import Rows
from shearbolt.reasoning.quantity_view import QuantityView

BEFORE_S, AFTER_S = 40, 5
"""Where to look round a start: debounce up to 30 s, reports once a second (SAE J1939-73)."""
OFTEN_A_MINUTE = 3
"""Drop-outs in a minute that are 'comes and goes' (reference sheet section 5.2)."""
STEP_SHARE = 0.25
"""A step from normal to the end is at least this share of what lies between (own rule)."""
MOSTLY = 0.5
LEVEL_FMIS = frozenset({0, 1, 15, 16, 17, 18})
"""The value is valid and beyond a level (SAE J1939-73): no circuit failure."""
CIRCUIT_FMIS = frozenset({3, 4, 5, 6})
"""A circuit failure by the code itself: that its reading is at the end is no news."""
JUMPS_OF = 0.06
"""A change within a second of this share of what the reading covers is a jump (own rule)."""
GRADUAL_S = 20
"""Numbers in so many seconds before the start show how it came there."""
PULSES = frozenset({"engine_rpm", "output_rpm", "input_rpm", "pto_rpm", "front_pto_rpm",
                    "speed_kmh", "wheel_m_s", "front_axle_kmh", "fan_rpm"})  # fmt: skip


def look(scene: Scene) -> Iterator[Found | Missing]:
    """Judge the reading at every start; what holds for at least half of them is evidence."""
    told = [(one, sensor) for one in scene.starts if (sensor := scene.sensor(one.visit))]
    if not told:
        why = "reading_not_kept" if scene.quantity is None else "reading_not_told"
        wanted = (scene.quantity,) if scene.quantity else ()
        for key in ("end_of_scale", "step_to_end", "in_scale", "comes_and_goes"):
            yield Missing(key, why, wanted)
        return
    at_end: list[Start] = []
    stepped: list[Start] = []
    inside: list[Start] = []
    slow: list[Start] = []
    jumped: list[Start] = []
    for one, sensor in told:
        view = scene.machine.views[one.visit]
        rows = _window(view, one)
        if not len(rows):
            continue
        if sensor.ended[rows].any():
            at_end.append(one)
            if _steps_to_end(view, sensor, rows):
                stepped.append(one)
        elif len(numbers(sensor.column, rows)):
            inside.append(one)
            if _jumps(sensor, rows, scene):
                jumped.append(one)
            elif one.spell.start_known and _gradual(sensor, view, one):
                slow.append(one)
    count = max(1, len(at_end) + len(inside))
    circuit = scene.fault.fmi in CIRCUIT_FMIS
    if len(at_end) >= MOSTLY * count and not circuit:
        yield _found(scene, "end_of_scale", at_end, count)
    if stepped and len(stepped) >= MOSTLY * len(at_end):
        yield _found(scene, "step_to_end", stepped, count)
    elif scene.fault.fmi in CIRCUIT_FMIS and not any(one.spell.start_known for one in scene.starts):
        yield Missing("step_to_end", "start_not_seen")
    if jumped and len(jumped) >= MOSTLY * count and "temperature" in scene.row.traits:
        yield _found(scene, "jumps_in_range", jumped, count)
    elif inside and not at_end and scene.fault.fmi in LEVEL_FMIS:
        yield _found(scene, "in_scale", inside, count)
    if slow and len(slow) >= MOSTLY * count and scene.fault.fmi in LEVEL_FMIS:
        yield _found(scene, "came_gradually", slow, count)
    yield from _coming_and_going(scene)


def _found(scene: Scene, key: str, starts: list[Start], of: int) -> Found:
    values = (("starts", float(len(starts))), ("of", float(of)))
    return Found(key, values, scene.moments(starts))


def _window(view: QuantityView, one: Start) -> Rows:
    from_us = one.at_us - (BEFORE_S * SECOND_US if one.spell.start_known else 0)
    return rows_between(view, from_us, one.at_us + AFTER_S * SECOND_US)


def _steps_to_end(view: QuantityView, sensor: Sensor, rows: Rows) -> bool:
    """Tell whether it went from a sound number to the end between two rows next to each other."""
    if rows[0] > 0:
        rows = np.arange(rows[0] - 1, rows[-1] + 1)
    sound = (sensor.column.status[rows] == NUMBER) & ~sensor.ended[rows]
    sound &= ~np.isnan(sensor.column.last[rows])
    gap = np.diff(view.second[rows])
    leaves = sound[:-1] & sensor.ended[rows][1:] & (gap <= 2)
    if not leaves.any():
        # Within one second: its lowest or highest is at the end, its last is not.
        return bool((sensor.ended[rows] & sound[np.r_[0, : len(rows) - 1]]).any())
    last = np.asarray(sensor.column.last[rows], np.float64)
    worst = np.fmax(
        np.abs(sensor.column.high[rows][1:] - last[:-1]),
        np.abs(sensor.column.low[rows][1:] - last[:-1]),
    )
    errors = sensor.column.status[rows][1:] != NUMBER
    span = _span(sensor, rows)
    with np.errstate(invalid="ignore"):
        return bool((leaves & (errors | (worst >= STEP_SHARE * span))).any())


def _span(sensor: Sensor, rows: Rows) -> float:
    """Give what the reading covers in its visit where it is sound: its own scale of movement."""
    sound = np.asarray(sensor.column.last[~sensor.ended], np.float64)
    sound = sound[~np.isnan(sound)]
    if not len(sound):
        return 0.0
    low, high = np.percentile(sound, (2, 98)).tolist()
    return max(float(high - low), 0.1 * abs(float(high)))


def _jumps(sensor: Sensor, rows: Rows, scene: Scene) -> bool:
    """Tell whether a temperature jumped within its range, by the limits of the check of steps."""
    if scene.quantity is None:
        return False
    visit = scene.machine.views
    for one in scene.about("steps"):
        if one.result == "odd" and scene.is_about_it(one):
            second = {us // SECOND_US for us in one.moments_us}
            view = next((v for v in visit.values() if v.visit.visit == one.visit), None)
            if view is not None and view.visit.state.columns.get(sensor.key) is sensor.column:
                near = set(view.second[rows].tolist())
                if second & near:
                    return True
    return False


def _gradual(sensor: Sensor, view: QuantityView, one: Start) -> bool:
    """Tell whether it moved to the limit in small steps."""
    rows = rows_between(view, one.at_us - 60 * SECOND_US, one.at_us)
    if not len(rows) or sensor.ended[rows].any():
        return False
    told = numbers(sensor.column, rows)
    if len(told) < GRADUAL_S:
        return False
    span = _span(sensor, rows)
    moved = float(np.ptp(told)) > 0.0
    return moved and span > 0.0 and float(np.abs(np.diff(told)).max()) <= max(JUMPS_OF * span, 2.0)


def _coming_and_going(scene: Scene) -> Iterator[Found | Missing]:
    """Count how often the reading leaves its scale and comes back, in the visits with spells."""
    worst = 0
    where: list[Start] = []
    for index in scene.visits:
        sensor, view = scene.sensor(index), scene.machine.views.get(index)
        if sensor is None or view is None:
            continue
        leaves = _leavings(sensor, view)
        if not len(leaves):
            continue
        second = view.second[leaves]
        most = int((np.searchsorted(second, second + 60, "left") - np.arange(len(second))).max())
        if most >= OFTEN_A_MINUTE:
            worst = max(worst, most)
            where.extend(one for one in scene.starts if one.visit == index)
    spells = _spells_a_minute(scene)
    if worst >= OFTEN_A_MINUTE or spells > OFTEN_A_MINUTE:
        values = (("drop_outs_a_minute", float(worst)), ("spells_a_minute", float(spells)))
        key = "pulses_drop_out" if scene.quantity in PULSES else "comes_and_goes"
        yield Found(key, values, scene.moments(where or scene.starts))


def _leavings(sensor: Sensor, view: QuantityView) -> Rows:
    """Give the rows in which it left its scale and was back within seconds."""
    if sensor.quantity in PULSES:
        return _pulse_losses(sensor, view)
    bad = sensor.ended
    begins = bad & ~np.concatenate((bad[:1], bad[:-1]))
    rows = np.flatnonzero(begins)
    back = [
        row
        for row in rows.tolist()
        if (~bad[row : row + 12]).any() or sensor.column.status[row] == NUMBER
    ]
    return np.asarray(back, np.intp)


def _pulse_losses(sensor: Sensor, view: QuantityView) -> Rows:
    """Give the rows in which a turning shaft read nothing for a moment, both sides turning."""
    low, last = sensor.column.low, sensor.column.last
    held = np.asarray(last, np.float64)
    told = np.flatnonzero(~np.isnan(held))
    if len(told) < 3:
        return np.empty(0, np.intp)
    values, least = held[told], np.asarray(low[told], np.float64)
    turning = max(1e-9, 0.1 * float(np.nanpercentile(values, 90)))
    before, after = values[:-2], values[2:]
    lost = (least[1:-1] <= 0.1 * turning) & (before > turning) & (after > turning)
    near = view.second[told[2:]] - view.second[told[:-2]] <= 5
    rows = told[1:-1][lost & near]
    return np.asarray(rows, np.intp)


def _spells_a_minute(scene: Scene) -> int:
    most = 0
    for index in scene.visits:
        at = np.array([one.at_us for one in scene.known if one.visit == index], np.int64)
        if len(at):
            until = np.searchsorted(at, at + 60 * SECOND_US, "left")
            most = max(most, int((until - np.arange(len(at))).max()))
    return most
