"""How a controller's occurrence counts step, learnt from what it reported.

SAE J1939-73 leaves open when the count steps; real senders differ (count 0 while first active was
measured on open recordings). Each spell is a look: the count before it, in it and after it.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

from shearbolt.model.fault import COUNT_FULL, CountSeen, Spell

CountSteps = Literal["at_onset", "at_end", "once_per_key_cycle", "never", "unknown"]


@dataclass(frozen=True, slots=True)
class CountLook:
    """Spells and counts of one fault in one visit, by the visit's clock."""

    spells: tuple[Spell, ...]
    counts: tuple[CountSeen, ...]


def count_steps(looks: Sequence[CountLook]) -> CountSteps:
    """Tell when a sender's counts step, from two or more spells of a fault in one visit.

    at_onset: a known start shows 1 at first, or each later spell one more than the last.
    at_end: a first spell with a known start shows 0, later ones one more. never: always 0 over
    several spells. once_per_key_cycle: several spells in one key cycle with one count above 0.
    """
    votes: Counter[CountSteps] = Counter()
    for look in looks:
        counts = [
            (one.count_start, one.count_end, one.start_known)
            for one in look.spells
            if one.count_start is not None and one.count_start < COUNT_FULL
        ]
        if not counts:
            continue
        first, _, known = counts[0]
        if len(counts) == 1:
            if (
                known
                and first == 1
                and not any(one.count == 0 for one in look.counts if one.count is not None)
            ):
                votes["at_onset"] += 1
            elif (
                known
                and first == 0
                and any(
                    one.count == 1 and one.first_us > look.spells[0].end_us for one in look.counts
                )
            ):
                votes["at_end"] += 1
            continue
        starts = [one for one, _, _ in counts]
        steps = [b - a for a, b in pairwise(starts) if a is not None and b]
        if all(one == 0 for one in starts):
            votes["never"] += 1
        elif len(set(starts)) == 1:
            votes["once_per_key_cycle"] += 1
        elif steps and all(step == 1 for step in steps):
            votes["at_end" if first == 0 else "at_onset"] += 1
    if not votes:
        return "unknown"
    (best, most), *rest = votes.most_common()
    return best if not rest or rest[0][1] < most else "unknown"
