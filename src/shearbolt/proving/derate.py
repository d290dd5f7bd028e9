"""Derate: what torque controllers leave while faults stand, and inducement for want of treatment.

Protection follows the faults at once; inducement follows the clock (SPN 5246): a warning, then
less torque, then the last level, hours apart. Levels and hours are common practice (no source);
the hours of inducement go on over key cycles and end when the want has been made good.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from shearbolt.model.frames import F64
from shearbolt.proving.detecting import flags_of
from shearbolt.proving.faults import Fault, debounce
from shearbolt.proving.physics import Flags
from shearbolt.proving.reports import Held
from shearbolt.proving.trace import STEP_S, Trace

PROTECTION = 1569
"""SPN of 'torque is limited to protect the engine' (FMI 31)."""
INDUCEMENT = 5246
_INDUCES = frozenset({(1761, 1), (1761, 18), (1761, 12), (3516, 1), (3516, 18), (3516, 16),
                      (4364, 18), (4376, 5), (3226, 12)})  # fmt: skip
"""Codes that count towards inducement."""
LEVEL_HOURS = ((0.0, 1), (2.0, 2), (4.0, 3), (20.0, 5))
"""After so many hours of the want the severity (SPN 5246) is so high."""
LEVEL_LIMIT = {0: 100.0, 1: 100.0, 2: 75.0, 3: 50.0, 5: 25.0}
"""Torque left at each severity, in percent."""
_DOWN_PCT_S, _UP_PCT_S = 6.0, 3.0
_LOOKS_S = 600.0
"""In a shorter key cycle the controller cannot tell that a want was made good."""
_EMPTY_HURRIES = 6.0
"""An empty tank hurries inducement by this factor."""


@dataclass(frozen=True, slots=True)
class Derate:
    """What is limited in one key cycle; series are one value a step."""

    limit_pct: F64
    """Torque left."""
    severity: F64
    """Inducement severity, SPN 5246 (0 none to 5 the last)."""
    induced_s: float
    """Hours of want at the end, in seconds; 0 after it was made good."""

    @property
    def limits(self) -> bool:
        """Tell whether torque was ever limited."""
        return bool((self.limit_pct < 99.5).any())

    @property
    def protecting(self) -> Flags:
        """Tell where torque is limited."""
        return np.asarray(self.limit_pct < 99.5, np.bool_)


def _ramped(target_pct: F64) -> F64:
    """Return the limit as it is led down and up, at so many percent a second."""
    down, up = _DOWN_PCT_S * STEP_S, _UP_PCT_S * STEP_S
    steps = np.arange(len(target_pct))
    # Rising no faster than `up` from any target before, falling no faster than `down` after one.
    rising = np.minimum.accumulate(target_pct - up * steps) + up * steps
    lead = max(1, round(100.0 / down))
    out = rising.copy()
    for first in np.flatnonzero(np.diff(target_pct, prepend=100.0) < 0.0):
        part = slice(first, first + lead)
        before = out[first - 1] if first else 100.0
        ramp = before - down * np.arange(1, len(out[part]) + 1)
        out[part] = np.maximum(out[part], ramp)
    return np.asarray(np.minimum(out, 100.0), np.float64)


def _lasting(fault: Fault, condition: Flags, trace: Trace) -> Flags:
    """Return at which steps a condition counts as found, delays included."""
    spells = [
        Held(0, nth, set_s, heal_s, fault.lamps)
        for nth, (set_s, heal_s) in enumerate(debounce(condition, fault.set_s, fault.heal_s), 1)
    ]
    return flags_of(spells, trace)


def derate(
    trace: Trace,
    faults: Sequence[Fault],
    held: Sequence[Sequence[Held]],
    conditions: Sequence[Flags],
    induced_s: float,
) -> Derate:
    """Work out what the standing faults limit; `induced_s` is the want before this key cycle.

    Protection follows what stands (`held`), inducement what is truly found (`conditions`, over the
    steps with the key on): a lit MIL alone is no want.
    """
    target = np.full(len(trace.time_s), 100.0)
    want = np.zeros(len(trace.time_s), np.bool_)
    empty = np.zeros(len(trace.time_s), np.bool_)
    for fault, spells, condition in zip(faults, held, conditions, strict=True):
        sure = [one for one in spells if one.confirmed]
        if fault.derate_pct < 100.0 and sure:
            target = np.where(flags_of(sure, trace), np.minimum(target, fault.derate_pct), target)
        if (fault.spn, fault.fmi) in _INDUCES:
            flags = _lasting(fault, condition, trace)
            want |= flags
            if (fault.spn, fault.fmi) == (1761, 1):
                empty |= flags
    rate = np.where(want & trace.running, np.where(empty, _EMPTY_HURRIES, 1.0), 0.0)
    stood = induced_s + np.cumsum(rate) * STEP_S
    severity = np.zeros(len(stood))
    for hours, level in LEVEL_HOURS:
        severity = np.where(want & (stood >= hours * 3600.0), float(level), severity)
    for level, left in LEVEL_LIMIT.items():
        target = np.where(severity == level, np.minimum(target, left), target)
    short = trace.running.sum() * STEP_S < _LOOKS_S
    keeps = bool(want[-1]) or (short and not want.any())
    return Derate(_ramped(target), severity, float(stood[-1]) if keeps else 0.0)
