"""Guiding a person live, step by step, while the bus is only listened to.

A guide takes the frames as they come and the seconds of the session, and says what is to be done
next. It never sends; what was heard is filed by listening itself.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from shearbolt.app.composing.learning_words import cautions_said, step_words
from shearbolt.app.documents.asking import Units
from shearbolt.app.documents.learning import ShowGuided
from shearbolt.decode.columns import BlockDecoder
from shearbolt.decode.state import StateBuilder
from shearbolt.dictionary.baseline import BaselineStep, Experiment, baseline_steps
from shearbolt.dictionary.merged import Dictionary
from shearbolt.dictionary.quantities import state_spns
from shearbolt.model.frames import Frames
from shearbolt.model.signal import SignalColumn
from shearbolt.model.state import SILENT, StateColumn, StateKey, StateTable
from shearbolt.reasoning.case import VisitCase
from shearbolt.reasoning.learning import StepSeen, next_step, steps_of
from shearbolt.reasoning.quantity_view import QuantityView

LOOK_S = 1.0
"""Time between two looks at what was done."""
PATIENCE_S = 180.0
"""A step that is not seen for so long is passed: it cannot be done here, or not be known."""
UNTOLD_S = 20.0
"""So long beyond its own time a person has for a step that the bus does not tell of."""
LEAD_S = 6.0
"""From the first frame to the first command of an experiment, at least; else its hold."""
HOLD_RANGE = (0.8, 1.4)
"""The holds lie evenly between these factors, in an order drawn anew each time: nothing that comes
and goes by itself keeps step with the commands, and dealing them anew is a fair test of it."""
TAIL_S = 1.0


class RoundGuide:
    """Guides the baseline round: each step until the bus shows it."""

    def __init__(self, dictionary: Dictionary, show: ShowGuided, units: Units = "metric") -> None:
        self._decoder = BlockDecoder(dictionary)
        self._columns: list[SignalColumn] = []
        self._state = StateTable(np.empty(0, np.int64), {})
        self._show = show
        self._units: Units = units
        self._steps = baseline_steps()
        self._told: str | None = None
        self._told_s = 0.0
        self._looked_s = -LOOK_S
        self._left_out: set[str] = set()
        self.seen: tuple[StepSeen, ...] = ()
        """What was shown by the last look."""
        self.done = False
        """The round is over."""

    def feed(self, frames: Frames) -> None:
        """Take the next block."""
        if len(frames):
            wanted = state_spns()
            self._columns += [
                one for one in self._decoder.feed(frames).columns() if one.row.spn in wanted
            ]

    def look(self, seconds: float) -> None:
        """Judge what was done so far, at a time of the session, and say what is next."""
        if self.done or not self._columns or seconds - self._looked_s < LOOK_S:
            return
        self._looked_s = seconds
        builder = StateBuilder(state_spns())
        builder.feed(self._columns)
        self._columns.clear()
        self._state = merged(self._state, builder.finish())
        if len(self._state) < 2:
            return
        view = QuantityView(_live_visit(_finished(self._state)))
        self.seen = steps_of(view, self._steps)
        self._pass_over(view, seconds)
        following = next_step(self.seen, frozenset(self._left_out))
        if following is None:
            self.done = True
        elif following.step != self._told:
            self._told, self._told_s = following.step, seconds
            self._say(next(one for one in self._steps if one.step == following.step))

    def _pass_over(self, view: QuantityView, seconds: float) -> None:
        phases = view.phases
        runs = phases is not None and bool(phases.running[-1])
        for one, row in zip(self.seen, self._steps, strict=True):
            if one.state == "done":
                # Once seen is enough, whatever later frames make of it.
                self._left_out.add(one.step)
                continue
            missed = runs and row.engine in ("before", "cranking")
            waited = seconds - self._told_s if one.step == self._told else 0.0
            untold = one.state == "not_told" and waited > row.seconds + UNTOLD_S
            if missed or untold or waited > PATIENCE_S:
                self._left_out.add(one.step)

    def _say(self, row: BaselineStep) -> None:
        self._show(
            {
                "number": self._steps.index(row) + 1,
                "of": len(self._steps),
                "words": step_words(row.step, self._units),
                "seconds": row.seconds,
                "cautions": cautions_said(row.cautions, self._units),
            }
        )


def merged(before: StateTable, later: StateTable) -> StateTable:
    """Put the state of a further stretch behind that of the earlier ones; a second that both have
    becomes one.
    """
    second = np.union1d(before.second, later.second)
    columns: dict[StateKey, StateColumn] = {}
    for key in {**before.columns, **later.columns}:
        last, low, high = (np.full(len(second), np.nan, np.float32) for _ in range(3))
        status = np.full(len(second), SILENT, np.uint8)
        for table in (before, later):
            one = table.columns.get(key)
            if one is None:
                continue
            at = np.searchsorted(second, table.second)
            last[at] = np.where(np.isnan(one.last), last[at], one.last)
            low[at] = np.fmin(low[at], one.low)
            high[at] = np.fmax(high[at], one.high)
            status[at] = np.where(one.status == SILENT, status[at], one.status)
        columns[key] = StateColumn(last, low, high, status)
    return StateTable(second, columns)


def _finished(state: StateTable) -> StateTable:
    """Leave out the last second, which is not over yet: what is done in it may still change."""
    return StateTable(
        state.second[:-1],
        {
            key: StateColumn(one.last[:-1], one.low[:-1], one.high[:-1], one.status[:-1])
            for key, one in state.columns.items()
        },
    )


def _live_visit(state: StateTable) -> VisitCase:
    first, last = (int(state.second[i]) * 1_000_000 for i in (0, -1)) if len(state) else (0, 0)
    return VisitCase(
        "live", "live", "unknown", 0, first, first, last, None, None, state, (), (), (), (), (), ()
    )


@dataclass(frozen=True, slots=True)
class Given:
    """A command that was given."""

    at_s: float
    """By the session's seconds."""
    state: int


class ExperimentGuide:
    """Guides an experiment: commands at times drawn anew each time."""

    def __init__(self, experiment: Experiment, show: ShowGuided, seed: int) -> None:
        """Prepare; `seed` draws the times of the commands."""
        self._experiment = experiment
        self._show = show
        rng = np.random.default_rng(seed)
        hold_s = experiment.hold_s
        holds = hold_s * rng.permutation(np.linspace(*HOLD_RANGE, 2 * experiment.times))
        lead_s = max(LEAD_S, HOLD_RANGE[1] * hold_s)
        self._due = [lead_s + float(one) for one in np.concatenate(([0.0], np.cumsum(holds)))]
        self._begun_s: float | None = None
        self.given: list[Given] = []
        """Commands that were shown."""
        self.until_s: float | None = None
        """When the last state had been held; None: not yet."""

    @property
    def done(self) -> bool:
        """Tell whether all commands were given and held."""
        return self.until_s is not None

    def look(self, seconds: float, heard: bool) -> None:
        """Say what is due at a time of the session; nothing before the first frame."""
        if self.done or not heard:
            return
        one = self._experiment
        if self._begun_s is None:
            self._begun_s = seconds
            self._say(0, one.first, self._due[0], cautions_said(one.cautions))
        gone = seconds - self._begun_s
        number = len(self.given)
        if number == 2 * one.times:
            if gone >= self._due[-1]:
                self.until_s = seconds
            return
        if gone >= self._due[number]:
            state = 1 - number % 2
            # Shown first, then noted: nobody can follow a command before it is there.
            self._say(
                number + 1, one.on if state else one.off, self._due[number + 1] - self._due[number]
            )
            self.given.append(Given(seconds, state))

    def _say(self, number: int, words: str, seconds: float, cautions: Sequence[str] = ()) -> None:
        self._show(
            {
                "number": number + 1,
                "of": 2 * self._experiment.times + 1,
                "words": words if words.endswith(".") else f"{words}.",
                "seconds": round(seconds, 1),
                "cautions": list(cautions),
            }
        )
