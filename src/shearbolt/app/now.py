"""The time now: the one place of the use cases that asks for it; everything below is told it."""

from __future__ import annotations

import time

from shearbolt.model.instants import Instant


def now_us() -> Instant:
    """Return the time now."""
    return time.time_ns() // 1000
