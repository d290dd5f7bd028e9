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
    """Tell when a sender's counts step, from what each visit told of each of its faults.

    at_onset: a count heard before a spell whose start is known was one less than in it.
    at_end: the count was the same before a spell and in it and rose afterwards, or rose between a
    spell and the next, or a first spell showed 0 and the next 1. never: always 0 over several
    spells. once_per_key_cycle: several spells of one key cycle with one count above 0. Spells that
    each show one more than the last, and nothing else, fit both onset and end: unknown.
    """
    votes: Counter[CountSteps] = Counter()
    for look in looks:
        vote = _vote(look)
        if vote is not None:
            votes[vote] += 1
    if not votes:
        return "unknown"
    (best, most), *rest = votes.most_common()
    return best if not rest or rest[0][1] < most else "unknown"


def _vote(look: CountLook) -> CountSteps | None:
    """Say what one fault in one visit tells; None: nothing."""
    spells = [
        (one, one.count_start)
        for one in look.spells
        if one.count_start is not None and one.count_start < COUNT_FULL
    ]
    if not spells:
        return None
    counts = [count for _, count in spells]
    if len(spells) > 1 and len(set(counts)) == 1:
        return "once_per_key_cycle" if counts[0] else "never"
    onset = ended = quiet = False
    for i, (spell, count) in enumerate(spells):
        earliest_us = spells[i - 1][0].end_us if i else None
        before = _told_before(look.counts, spell.start_us, earliest_us)
        if before is not None and spell.start_known:
            onset = onset or before == count - 1
            quiet = quiet or before == count
        until_us = spells[i + 1][0].start_us if i + 1 < len(spells) else None
        ended = ended or any(
            one.count == count + 1
            and one.first_us > spell.end_us
            and (until_us is None or one.first_us < until_us)
            for one in look.counts
        )
    rising = all(b - a == 1 for a, b in pairwise(counts)) and len(counts) > 1
    if onset and not ended and not quiet:
        return "at_onset"
    if not onset and (ended or (rising and quiet) or (rising and _from_zero(spells[0][0]))):
        return "at_end"
    return None


def _told_before(counts: Sequence[CountSeen], start_us: int, earliest_us: int | None) -> int | None:
    """Return the last count told before a spell, and after the spell before it."""
    told = [
        one.count
        for one in counts
        if one.count is not None
        and one.first_us < start_us
        and (earliest_us is None or one.first_us > earliest_us)
    ]
    return told[-1] if told else None


def _from_zero(spell: Spell) -> bool:
    return spell.start_known and spell.count_start == 0
