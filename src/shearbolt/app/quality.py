"""Whether a recording holds all that was on the bus, told from the beat of its regular groups."""

from __future__ import annotations

from shearbolt.model.instants import SECOND_US
from shearbolt.model.visit import Quality, VisitContent

FAST_S = 0.25
"""Groups that come at least four times a second show losses within some seconds."""
ENOUGH_FRAMES = 50
LOST_SHARE = 0.03
"""More missing than this is loss; less is jitter and engine-speed dependent rates."""
SPAN_US = 5 * SECOND_US
FEW_GROUPS = 4
"""A bus with so few groups was recorded through a filter (common practice, no source)."""


def quality_of(content: VisitContent) -> Quality:
    """Judge a recording: `complete`, `lossy`, `filtered`, or `unknown` where it is too short."""
    if any(one.count for one in content.not_read):
        return "lossy"
    if content.latest_us - content.earliest_us < SPAN_US or not content.groups:
        return "unknown"
    if len(content.groups) <= FEW_GROUPS and content.frames > ENOUGH_FRAMES:
        return "filtered"
    fast = [
        one
        for one in content.groups
        if one.period_s is not None
        and 0 < one.period_s <= FAST_S
        and one.count >= ENOUGH_FRAMES
        and one.last_us - one.first_us >= SPAN_US
    ]
    if not fast:
        return "unknown"
    losing = 0
    for one in fast:
        paused = sum(
            max(0, min(end, one.last_us) - max(start, one.first_us))
            for start, end in content.pauses
        )
        assert one.period_s is not None
        due = (one.last_us - one.first_us - paused) / SECOND_US / one.period_s
        losing += one.count < (1 - LOST_SHARE) * due
    return "lossy" if 2 * losing > len(fast) else "complete"
