"""When the engine turned, was started, and stood: from engine speed second by second."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
import numpy.typing as npt

from shearbolt.model.frames import F64, I64
from shearbolt.model.state import F32

Flags: TypeAlias = npt.NDArray[np.bool_]
Rows: TypeAlias = npt.NDArray[np.intp]

RUNNING_RPM = 400.0
"""From here an engine runs by itself: above any starter, below any idle (common practice)."""
TURNING_RPM = 30.0
"""Below it the crankshaft stands, as far as a speed sensor can tell (common practice)."""
STARTER_S = 30
"""A start that takes longer is no longer put together with the running that follows."""


@dataclass(frozen=True, slots=True)
class Phases:
    """What the engine did, one entry a row of the visit's table."""

    running: Flags
    """It ran by itself."""
    stopped: Flags
    """Told to stand. Neither running nor stopped: cranking, coming to rest, or not told."""
    cranking: Flags
    """Turned by its starter."""
    since_start_s: F64
    """Seconds since it began to run, 0 in the first row; NaN while it does not run. Where the start
    itself was not seen, since the first row of running: a lower bound."""
    start_seen: Flags
    """The start behind `since_start_s` was seen (row before it: standing or cranking)."""
    stopped_s: F64
    """Seconds it has been standing, as far as this visit shows; NaN while it does not stand."""
    first_start: int | None
    """Row in which it first began to run, where that start was seen."""


def phases_of(second: I64, rpm: F32, starter: F32 | None, lively: Flags) -> Phases:
    """Tell the phases from engine speed (rpm, NaN where not told) and starter state (SPN 1675).

    `lively` marks rows in which other readings show a running engine though its speed reads zero:
    they count as neither.
    """
    count = len(second)
    told = ~np.isnan(rpm)
    running = np.zeros(count, np.bool_)
    np.greater_equal(rpm, RUNNING_RPM, out=running, where=told)
    stopped = np.zeros(count, np.bool_)
    np.less(rpm, TURNING_RPM, out=stopped, where=told)
    stopped &= ~lively
    if starter is not None:
        stopped &= ~((starter == 1) | (starter == 2))
    starts = np.flatnonzero(running & ~_before(running))
    since = np.full(count, np.nan)
    seen = np.zeros(count, np.bool_)
    cranking = np.zeros(count, np.bool_)
    first_start: int | None = None
    for start, end in zip(starts.tolist(), _ends(starts, running), strict=True):
        since[start:end] = second[start:end] - second[start]
        # A gap in the recording hides what came before.
        known = start > 0 and bool(told[start - 1]) and second[start] - second[start - 1] <= 5
        if known:
            seen[start:end] = True
            if first_start is None:
                first_start = start
            at = start - 1
            while at >= 0 and not running[at] and second[start] - second[at] <= STARTER_S:
                turning = told[at] and TURNING_RPM <= rpm[at] < RUNNING_RPM
                by_starter = starter is not None and starter[at] in (1, 2)
                if not (turning or by_starter):
                    break
                cranking[at] = True
                at -= 1
            if at >= 0 and running[at]:
                # It came down from running: no start but a stumble.
                cranking[at:start] = False
    return Phases(running, stopped, cranking, since, seen, _lasting(second, stopped), first_start)


def _before(flags: Flags) -> Flags:
    shifted = np.zeros_like(flags)
    shifted[1:] = flags[:-1]
    return shifted


def _ends(starts: Rows, running: Flags) -> list[int]:
    stops = np.flatnonzero(~running & _before(running))
    ends: list[int] = stops.tolist()
    if len(ends) < len(starts):
        ends.append(len(running))
    return ends


def _lasting(second: I64, flags: Flags) -> F64:
    """Return for each flagged row the seconds since its stretch began; NaN elsewhere."""
    begun = flags & ~_before(flags)
    first = np.maximum.accumulate(np.where(begun, np.arange(len(flags)), 0))
    if not len(flags):
        return np.empty(0, np.float64)
    return np.where(flags, (second - second[first]).astype(np.float64), np.nan)


def stretches(flags: Flags) -> list[tuple[int, int]]:
    """Give first row and row after the last of every stretch of flagged rows."""
    if not len(flags):
        return []
    edges = np.flatnonzero(flags[1:] != flags[:-1]) + 1
    if flags[0]:
        edges = np.concatenate(([0], edges))
    if flags[-1]:
        edges = np.append(edges, len(flags))
    return [(int(a), int(b)) for a, b in zip(edges[::2], edges[1::2], strict=True)]
