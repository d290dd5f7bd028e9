"""HOOK for the settings search: learnt places as states second by second, named by their words.

Only places with two sessions behind them (`learnt`). What comes of them may name a condition under
which a fault starts; it never lowers an advice class (`sessions.may_raise`).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from shearbolt.model.frames import I64
from shearbolt.model.instants import SECOND_US
from shearbolt.model.state import F32
from shearbolt.reasoning.learning.places import Payloads, Place, raw_of

HELD_S = 30.0
"""A payload says what holds for no longer than this, unless its group comes more seldom."""


@dataclass(frozen=True, slots=True)
class LearntState:
    """A learnt place as a quantity of one visit."""

    what: str
    """Its words: 'sitting on the seat'."""
    second: I64
    """Whole seconds by the visit's own clock, rising."""
    value: F32
    """Raw count at the end of each second (1 is the state of the words); NaN: not heard lately."""
    inverted: bool
    """The raw bit is 0 in that state; `value` is turned round already."""


def state_of(
    payloads: Payloads, place: Place, what: str, second: I64, *, inverted: bool = False
) -> LearntState:
    """Give a place second by second; each payload holds for three of its group's own periods."""
    own = payloads.of(place.group, place.address)
    value = np.full(len(second), np.nan, np.float32)
    if len(own) and len(second):
        ends = (second + 1) * SECOND_US
        at = np.searchsorted(own.time_us, ends, side="left") - 1
        period_s = float(np.median(np.diff(own.time_us))) / SECOND_US if len(own) > 1 else HELD_S
        held_us = int(max(HELD_S, 3.0 * period_s) * SECOND_US)
        good = (at >= 0) & (ends - own.time_us[np.maximum(at, 0)] <= held_us)
        raw = raw_of(own.data, place)[at[good]].astype(np.float32)
        if inverted and place.bits == 1:
            raw = np.float32(1.0) - raw
        value[good] = raw
    return LearntState(what, second, value, inverted)
