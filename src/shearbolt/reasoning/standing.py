"""How a fault stands across visits: active, remembered, cleared, or only an old memory.

Pure: what each visit told of the fault and of its sender comes in, in the order of the visits.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from shearbolt.model.fault import COUNT_FULL, Cleared, CountSeen, FaultSeen, FaultState

MEMORY_LISTS = frozenset({"dm2", "dm23"})
"""Lists of what was active before (SAE J1939-73): a code in these alone is a memory."""


@dataclass(frozen=True, slots=True)
class Look:
    """What one visit told of a fault, or of its sender without it."""

    visit: str
    seen: FaultSeen | None
    """None: the sender was heard and listed it nowhere."""
    reported_us: int | None
    """Last DM1 of its sender in this visit, by the visit's clock; None: it sent none."""
    end_us: int
    clears: tuple[Cleared, ...]
    """Clears heard in this visit that concern its sender."""


@dataclass(frozen=True, slots=True)
class Standing:
    """Where a fault stands after the last look."""

    state: FaultState
    stale: bool


def clear_reaches(clear: Cleared, spn: int | None, fmi: int | None, active: bool) -> bool:
    """Tell whether a clear that was done took this fault with it.

    DM3 takes only what is no longer active, DM11 and the road vehicles' clears take all, DM22
    one code (SAE J1939-73 5.7.3, 5.7.11, 5.7.22; SAE J1979 service 04).
    """
    if clear.result != "done":
        return False
    if clear.what == "dm3":
        return not active
    if clear.what == "dm22":
        return clear.spn == spn and clear.fmi == fmi
    return True


def standing(looks: Sequence[Look]) -> Standing:
    """Judge a fault by all looks at its sender, in the order of the visits.

    A later visit in which the sender reported and did not list the fault makes an active fault a
    remembered one; a clear that reaches it makes it cleared, until it is listed again.
    """
    state: FaultState = "unknown"
    for look in looks:
        if look.seen is not None:
            state = look.seen.state
        elif state == "active" and look.reported_us is not None:
            state = "previously_active"
        after_us = look.seen.last_us if look.seen is not None else None
        for clear in look.clears:
            spn = look.seen.key.spn if look.seen is not None else None
            fmi = look.seen.key.fmi if look.seen is not None else None
            if (after_us is None or clear.at_us >= after_us) and clear_reaches(
                clear, spn, fmi, state == "active"
            ):
                state = "cleared"
    return Standing(state, _is_stale([look.seen for look in looks if look.seen is not None]))


def _is_stale(seen: Sequence[FaultSeen]) -> bool:
    """A memory: only in lists of earlier faults, no spell, no count that rose between looks."""
    if not seen or any(one.spells for one in seen):
        return False
    if any(not set(one.sources) <= MEMORY_LISTS for one in seen):
        return False
    counts = [count for one in seen for count in one.counts]
    return not rose(counts)


def rose(counts: Sequence[CountSeen]) -> bool:
    """Tell whether an occurrence count rose between two looks, resets left aside."""
    before: int | None = None
    for one in counts:
        if one.count is None:
            continue
        if before is not None and before < one.count <= COUNT_FULL:
            return True
        before = one.count
    return False
