"""Whether a recording holds all that was on the bus, told from the beat of its regular groups."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping

from shearbolt.decode.losses import Missing
from shearbolt.model.instants import SECOND_US
from shearbolt.model.visit import GroupSeen, Quality, VisitContent

FAST_S = 0.25
"""Groups that come at least four times a second show losses within some seconds."""
ENOUGH_FRAMES = 50
LOST_SHARE = 0.01
"""More missing than this is loss (common practice, no source)."""
REGULAR_SHARE = 0.7
"""Groups with fewer regular steps have no beat to judge by."""
SPAN_US = 5 * SECOND_US
FEW_GROUPS = 4
"""A bus with so few groups was recorded through a filter (common practice, no source)."""


def quality_of(content: VisitContent, missing: Mapping[tuple[str, int, int], Missing]) -> Quality:
    """Judge a recording: `complete`, `lossy`, `filtered`, or `unknown` where it is too short.

    `missing` tells what each group lacks, keyed by (channel, pgn, source). A recorder that loses
    frames loses those of every sender alike, so most groups of most senders of a channel must
    lack some; a sender that stutters or stops by itself is no loss.
    """
    if any(one.count for one in content.not_read):
        return "lossy"
    if content.latest_us - content.earliest_us < SPAN_US or not content.groups:
        return "unknown"
    if len(content.groups) <= FEW_GROUPS and content.frames > ENOUGH_FRAMES:
        return "filtered"
    judged: dict[str, list[tuple[int, bool]]] = defaultdict(list)
    for group in content.groups:
        lacks = missing.get((group.channel, group.pgn, group.address))
        if lacks is not None and _has_beat(group, lacks):
            losing = lacks.frames > LOST_SHARE * (group.count + lacks.frames)
            judged[group.channel].append((group.address, losing))
    if not judged:
        return "unknown"
    return "lossy" if any(_loses(some) for some in judged.values()) else "complete"


def _has_beat(group: GroupSeen, lacks: Missing) -> bool:
    return (
        group.period_s is not None
        and 0 < group.period_s <= FAST_S
        and group.count >= ENOUGH_FRAMES
        and group.last_us - group.first_us >= SPAN_US
        and lacks.regular >= REGULAR_SHARE * lacks.steps > 0
    )


def _loses(judged: list[tuple[int, bool]]) -> bool:
    """Tell whether most groups, and groups of most senders, lack frames."""
    senders = {address for address, _ in judged}
    losing = [address for address, lost in judged if lost]
    return 2 * len(losing) > len(judged) and 2 * len(set(losing)) > len(senders)
