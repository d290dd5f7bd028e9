"""Which steps of the guided round a visit shows: known from the bus alone, second by second."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy as np

from shearbolt.dictionary.baseline import BaselineStep, Bound, Moves, baseline_steps
from shearbolt.model.instants import SECOND_US
from shearbolt.model.state import F32
from shearbolt.reasoning.phases import stretches
from shearbolt.reasoning.quantity_view import Flags, QuantityView, Rows

StepState: TypeAlias = Literal["done", "not_done", "not_told"]
"""`not_told`: this machine does not tell what the step is known by."""
IDLE_SHARE = 5.0
"""Idle speed is this percentile of the running engine's speed, if it is an idle speed at all."""
MOST_IDLE_RPM = 1100.0
"""Above it no engine of this kind idles (common practice)."""
STARTED_S = 5.0
"""The first seconds after a start are no idling."""
JOIN_S = 2
"""Shorter interruptions do not end a step."""
SETTLE_S = 5
"""So many seconds at the beginning of a step are left out, where it lasts long enough."""


@dataclass(frozen=True, slots=True)
class StepSeen:
    """What a visit shows of one step."""

    step: str
    state: StepState
    seconds: float
    """How long its conditions held at a stretch, at most."""
    needed_s: float
    rows: Rows
    """Rows of the visit's table in which it was done, settled; empty unless it is done."""
    from_us: int | None
    """First and last moment by the visit's own clock; None unless it is done."""
    until_us: int | None
    missing: tuple[str, ...]
    """Quantities for want of which it cannot be known."""


_NO_ROWS: Rows = np.empty(0, np.intp)


def steps_of(
    view: QuantityView, steps: Sequence[BaselineStep] | None = None
) -> tuple[StepSeen, ...]:
    """Tell of each step of the round whether a visit shows it; in the table's order.

    The order in which they were done does not matter, except that the engine stands before its
    first start in the cold step, and after running in the last one.
    """
    return tuple(_seen(view, one) for one in (baseline_steps() if steps is None else steps))


def next_step(seen: Sequence[StepSeen], left_out: frozenset[str] = frozenset()) -> StepSeen | None:
    """Give the first step that is not done yet; None: the round is over.

    `left_out`: steps that the person has done or passed without the bus telling of it.
    """
    return next((one for one in seen if one.state != "done" and one.step not in left_out), None)


def idle_rpm(view: QuantityView) -> float | None:
    """Give the engine's idle speed as far as this visit shows it."""
    phases, rpm = view.phases, view.held("engine_rpm")
    if phases is None or rpm is None:
        return None
    settled = rpm[phases.running & (phases.since_start_s >= STARTED_S)]
    settled = settled[~np.isnan(settled)]
    if not len(settled):
        return None
    idle = float(np.percentile(settled, IDLE_SHARE))
    return idle if idle <= MOST_IDLE_RPM else None


def _seen(view: QuantityView, step: BaselineStep) -> StepSeen:
    flags = _engine(view, step.engine)
    missing: list[str] = []
    if flags is None:
        return _without(step, ("engine_rpm",))
    for bound in step.bounds:
        held = _within(view, bound)
        if held is not None:
            flags = flags & held
        elif bound.required:
            missing.append(bound.choices[0][0])
    if step.moves is not None:
        moved = _moved(view, step.moves, flags)
        if moved is not None:
            flags = moved
        elif step.moves.required:
            missing.append(step.moves.quantity)
    if missing:
        return _without(step, tuple(missing))
    runs = _joined(view, flags)
    longest = max((_lasts(view, *run) for run in runs), default=0.0)
    long_enough = [run for run in runs if _lasts(view, *run) >= step.seconds]
    if not long_enough:
        return StepSeen(step.step, "not_done", longest, step.seconds, _NO_ROWS, None, None, ())
    rows = np.concatenate([_settled(view, flags, *run, step.seconds) for run in long_enough])
    first, last = long_enough[0][0], long_enough[-1][1] - 1
    return StepSeen(
        step.step,
        "done",
        longest,
        step.seconds,
        rows,
        int(view.second[first]) * SECOND_US,
        (int(view.second[last]) + 1) * SECOND_US,
        (),
    )


def _without(step: BaselineStep, missing: tuple[str, ...]) -> StepSeen:
    return StepSeen(step.step, "not_told", 0.0, step.seconds, _NO_ROWS, None, None, missing)


def _engine(view: QuantityView, engine: str) -> Flags | None:
    phases = view.phases
    if phases is None:
        return None
    if engine == "running":
        return phases.running & (phases.since_start_s >= STARTED_S)
    if engine == "cranking":
        return phases.cranking
    ran = np.flatnonzero(phases.running | phases.cranking)
    place = np.arange(len(view.second))
    if engine == "before":
        return phases.stopped & (place < (int(ran[0]) if len(ran) else len(place)))
    return phases.stopped & (place > (int(ran[-1]) if len(ran) else len(place)))


def _values(view: QuantityView, quantity: str) -> F32 | None:
    if quantity == "idle_ratio":
        rpm, idle = view.held("engine_rpm"), idle_rpm(view)
        if rpm is None or idle is None:
            return None
        return (rpm / np.float32(idle)).astype(np.float32)
    if quantity == "speed_kmh":
        return view.speed_kmh
    return view.held(quantity)


def _within(view: QuantityView, bound: Bound) -> Flags | None:
    """Give the rows in which a bound is kept; None: nothing it speaks of is told."""
    for quantity, low, high in bound.choices:
        values = _values(view, quantity)
        if values is not None:
            return np.asarray((values >= low) & (values <= high))
    return None


def _moved(view: QuantityView, moves: Moves, allowed: Flags) -> Flags | None:
    """Give the rows between first and last crossing, where it moved far and often enough."""
    values = _values(view, moves.quantity)
    if values is None:
        return None
    found = np.zeros(len(values), np.bool_)
    for first, end in _joined(view, allowed):
        some = values[first:end]
        if np.isnan(some).all():
            continue
        low, high = float(np.nanmin(some)), float(np.nanmax(some))
        if high - low < moves.span:
            continue
        # A reading that trembles about the middle crosses it only once it has come a quarter over.
        quarter = (high - low) / 4.0
        side = np.where(some > high - quarter, 1, np.where(some < low + quarter, -1, 0))
        ends = np.flatnonzero(side)
        turns = np.flatnonzero(side[ends[1:]] != side[ends[:-1]])
        if len(turns) >= moves.crossings:
            found[first + int(ends[turns[0]]) : first + int(ends[turns[-1] + 1]) + 1] = True
    return found & allowed


def _joined(view: QuantityView, flags: Flags) -> list[tuple[int, int]]:
    """Give stretches of flagged rows, short gaps bridged: first row, row after the last."""
    runs: list[tuple[int, int]] = []
    for first, end in stretches(flags):
        if runs and view.second[first] - view.second[runs[-1][1] - 1] <= JOIN_S:
            runs[-1] = (runs[-1][0], end)
        else:
            runs.append((first, end))
    return runs


def _lasts(view: QuantityView, first: int, end: int) -> float:
    return float(view.second[end - 1] - view.second[first] + 1)


def _settled(view: QuantityView, flags: Flags, first: int, end: int, needed_s: float) -> Rows:
    rows = np.arange(first, end)
    if needed_s >= 2 * SETTLE_S:
        rows = rows[view.second[rows] >= view.second[first] + SETTLE_S]
    return rows[flags[rows]]
