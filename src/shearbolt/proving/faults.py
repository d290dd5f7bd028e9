"""Faults as controllers hold them: what is watched, set and heal delays, lamps and counts."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np

from shearbolt.model.fault import COUNT_FULL, Lamp, Lamps
from shearbolt.model.frames import F64
from shearbolt.proving.physics import Flags, hysteresis
from shearbolt.proving.trace import STEP_S, Trace
from shearbolt.proving.truth import Cause, CountSteps

Watch: TypeAlias = Callable[[Trace], Flags]
"""Tells for each step of a trace whether what a controller watches is out of bounds."""
Window: TypeAlias = tuple[float, float]
"""From, to, in seconds from the start of the recording."""

OFF = Lamps("off", "off", "off", "off")
AMBER = Lamps("off", "off", "on", "off")
AMBER_FLASHING = Lamps("off", "off", "slow", "off")
PROTECT = Lamps("off", "off", "off", "on")
AMBER_AND_MIL = Lamps("on", "off", "on", "off")
RED_FLASHING = Lamps("off", "fast", "off", "on")

_STRENGTH: dict[Lamp | None, int] = {None: -1, "off": 0, "on": 1, "slow": 2, "fast": 3}


@dataclass(frozen=True, slots=True)
class Fault:
    """One fault of one controller, ready to happen when its condition does."""

    controller: str
    """Key of the controller that holds it."""
    spn: int
    fmi: int
    lamps: Lamps
    watch: Watch
    set_s: float
    """The condition must stand so long before the fault is set."""
    heal_s: float
    """And be gone so long before it heals."""
    cause: Cause
    words: str
    count_before: int = 0
    """Occurrence count when the key is turned."""
    trips: int = 1
    """Key cycles in a row in which it must be found before it is confirmed (2: emission codes)."""
    monitor: str = ""
    """Readiness monitor that finds it; '' none."""
    derate_pct: float = 100.0
    """Torque that the controller leaves while it stands."""
    latched: bool = False
    """It stands until key-off, whatever becomes of the condition."""
    substitutes: bool = False
    """While it stands the controller does not trust the reading, and sends something else."""


@dataclass(frozen=True, slots=True)
class Memory:
    """A fault that a controller only remembers (DM2)."""

    controller: str
    spn: int
    fmi: int
    count: int
    cause: Cause
    words: str
    stale: bool = False


@dataclass(frozen=True, slots=True)
class Upset:
    """A reading that is sent wrong for a while: an open wire, a drop-out."""

    controller: str
    spn: int
    value: float
    """What is sent instead; NaN 'not available', infinity 'error'."""
    windows: tuple[Window, ...]


@dataclass(frozen=True, slots=True)
class StandingLamp:
    """A lamp that a controller lights without listing a fault."""

    controller: str
    lamps: Lamps
    window: Window


@dataclass(frozen=True, slots=True)
class Outage:
    """A controller without power for a while; it boots and claims its address afresh."""

    controller: str
    window: Window


def above(reading: Callable[[Trace], F64], on: float, off: float) -> Watch:
    """Watch a reading for values above `on` that have not fallen below `off` since."""

    def watch(trace: Trace) -> Flags:
        return hysteresis(reading(trace), on, off)

    return watch


def during(*windows: Window) -> Watch:
    """Watch something that is out of bounds in given windows."""

    def watch(trace: Trace) -> Flags:
        flags = np.zeros(len(trace.time_s), np.bool_)
        for first, last in windows:
            flags |= (trace.time_s >= first) & (trace.time_s < last)
        return flags

    return watch


def repeated(windows: Sequence[Window], times: int, within_s: float) -> Watch:
    """Watch for something that began at least `times` times within the last `within_s` seconds."""

    def watch(trace: Trace) -> Flags:
        begun = np.array(sorted(first for first, _ in windows))
        now = np.searchsorted(begun, trace.time_s, side="right")
        before = np.searchsorted(begun, trace.time_s - within_s, side="right")
        return np.asarray(now - before >= times, np.bool_)

    return watch


def debounce(
    condition: Flags, set_s: float, heal_s: float
) -> tuple[tuple[float, float | None], ...]:
    """Turn a condition into spells (set, heal), both in seconds; heal None: still set at the end.

    A fault is set once the condition stood for `set_s` and heals once it was gone for `heal_s`,
    as SAE J1939-73 leaves to each controller.
    """
    edges = np.flatnonzero(np.diff(condition.astype(np.int8), prepend=0, append=0)) * STEP_S
    rises, falls = edges[::2].tolist(), edges[1::2].tolist()
    following = [*rises, len(condition) * STEP_S][1:]
    spells: list[tuple[float, float | None]] = []
    open_since: float | None = None
    for rise, fall, next_rise in zip(rises, falls, following, strict=True):
        if open_since is None and fall - rise >= set_s:
            open_since = rise + set_s
        if open_since is not None and next_rise - fall >= heal_s:
            spells.append((open_since, fall + heal_s))
            open_since = None
    if open_since is not None:
        spells.append((open_since, None))
    return tuple(spells)


def together(lamps: Sequence[Lamps]) -> Lamps:
    """Return what a message shows when each of its faults asks for lamps: the worst of each."""

    def worst(one: Sequence[Lamp | None]) -> Lamp | None:
        return max(one, key=_STRENGTH.__getitem__)

    if not lamps:
        return OFF
    return Lamps(
        worst([one.mil for one in lamps]),
        worst([one.red_stop for one in lamps]),
        worst([one.amber_warning for one in lamps]),
        worst([one.protect for one in lamps]),
    )


def count_sent(steps: CountSteps, before: int, nth: int) -> int:
    """Return the occurrence count sent while the `nth` spell (from 1) of a key cycle stands.

    Conventions differ by controller (seen in real recordings): a rise at the onset, at the end,
    once per key cycle, or never. It stops at 126 (SAE J1939-73).
    """
    rose = {"onset": nth, "end": nth - 1, "key_cycle": 1, "never": 0}[steps]
    return max(before, min(COUNT_FULL, before + rose))


def count_kept(steps: CountSteps, before: int, started: int, healed: int) -> int:
    """Return the occurrence count after `started` spells of which `healed` ended."""
    rose = {"onset": started, "end": healed, "key_cycle": min(1, started), "never": 0}[steps]
    return max(before, min(COUNT_FULL, before + rose))
