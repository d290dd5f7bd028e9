"""Time while listening: instants that never run back, whatever the computer's clock does.

The wall clock is read once, at the start; from then on time advances with a clock that nobody
sets. An adapter's own time stamps tell the spacing of frames better than the moment at which a
program gets them, so they are followed as long as they make sense.
"""

from __future__ import annotations

import math
import time
from collections.abc import Callable
from dataclasses import dataclass

from shearbolt.model.instants import SECOND_US, Instant

JUMP_US = SECOND_US
"""A wall clock that moved by more than this against the steady one was set."""
LATE_US = SECOND_US // 2
"""A frame that was waited for does not arrive later than this by its own stamp."""
DRIFT_PER_MILLION = 500
"""Fastest drift of an adapter's clock that is followed (crystals: 100; the rest is margin)."""
MOST_ANCHORS = 3
"""A stamp that has to be anchored anew more often than this within ANCHOR_SPAN_US is no clock."""
ANCHOR_SPAN_US = 30 * SECOND_US


@dataclass(frozen=True, slots=True)
class Clocks:
    """The two clocks of a computer, in microseconds; tests bring their own."""

    wall_us: Callable[[], Instant]
    """Time since 1970 UTC, which may be set at any moment."""
    steady_us: Callable[[], int]
    """Time from a zero of its own, which nobody sets."""


def _steady_us() -> int:
    # Where there is one that goes on while the computer sleeps, that one.
    return time.clock_gettime_ns(time.CLOCK_BOOTTIME) // 1000


def system_clocks() -> Clocks:
    """Return the computer's own clocks."""
    steady = _steady_us if hasattr(time, "CLOCK_BOOTTIME") else lambda: time.monotonic_ns() // 1000
    return Clocks(lambda: time.time_ns() // 1000, steady)


class Timeline:
    """Instants of one listening session: the wall clock at its start plus steady progress."""

    def __init__(self, clocks: Clocks) -> None:
        self._clocks = clocks
        self._zero_us = clocks.steady_us()
        self.start_us: Instant = clocks.wall_us()
        """The wall clock at the start."""
        self._ahead_us = 0
        """How far the wall clock is known to be ahead of this line."""

    def instant_us(self, steady_us: int) -> Instant:
        """Turn a steady time into an instant."""
        return self.start_us + steady_us - self._zero_us

    def now_us(self) -> Instant:
        """Return the instant now."""
        return self.instant_us(self._clocks.steady_us())

    def jumped_us(self) -> int:
        """Return by how much the wall clock was set since the last look; 0: it was not.

        Slow adjustment is taken along and never told.
        """
        ahead_us = self._clocks.wall_us() - self.now_us()
        step_us = ahead_us - self._ahead_us
        self._ahead_us = ahead_us
        return step_us if abs(step_us) > JUMP_US else 0


class StampFollower:
    """Turns the time stamps of one adapter into steady times.

    The least delay between stamp and arrival is taken as none; stamps that jump are anchored
    anew where the frame arrived, and stamps that jump again and again are no longer used.
    """

    def __init__(self) -> None:
        self._offset_us: int | None = None
        """Steady time less stamp, for a frame that arrives without delay."""
        self._heard_us = 0
        self._told_us = 0
        self._anchored: list[int] = []
        self.useless = False
        """The stamps are no clock; arrivals are used."""
        self.jumps = 0
        """How often the stamps jumped."""

    def steady_us(self, stamp_s: float, heard_us: int, held_up_us: int = 0) -> int:
        """Return when a frame came: never later than it was heard, nor before the frame before.

        `held_up_us` is how long the reader had been held up: frames may have waited that long.
        """
        self._told_us = max(self._told_us, self._steady_us(stamp_s, heard_us, held_up_us))
        return self._told_us

    def _steady_us(self, stamp_s: float, heard_us: int, held_up_us: int) -> int:
        if self.useless or not math.isfinite(stamp_s) or stamp_s <= 0.0:
            return heard_us
        delay_us = heard_us - round(stamp_s * 1e6)
        offset_us = self._offset_us
        if offset_us is None:
            self._offset_us = delay_us
        else:
            offset_us += (heard_us - self._heard_us) * DRIFT_PER_MILLION // 1_000_000
            if delay_us - offset_us > LATE_US + held_up_us:
                self._anchor(heard_us)
                offset_us = delay_us
            elif delay_us < offset_us - LATE_US:
                self._anchor(heard_us)
            self._offset_us = min(offset_us, delay_us)
        self._heard_us = heard_us
        assert self._offset_us is not None
        return min(heard_us, heard_us - delay_us + self._offset_us)

    def _anchor(self, heard_us: int) -> None:
        self.jumps += 1
        self._anchored = [one for one in self._anchored if heard_us - one < ANCHOR_SPAN_US] + [
            heard_us
        ]
        self.useless = len(self._anchored) > MOST_ANCHORS
