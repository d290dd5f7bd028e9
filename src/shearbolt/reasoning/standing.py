"""How a fault stands across visits: active, remembered, cleared, or only an old memory.

Pure: what each visit told of the fault and of its sender comes in, in the order of the visits.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from shearbolt.model.fault import Cleared, FaultSeen, FaultState

MEMORY_LISTS = frozenset({"dm2", "dm23", "uds19"})
"""Lists of what was active before (SAE J1939-73; ISO 14229-1 for codes confirmed, not failing)."""
STORED_WITH = frozenset({"dm4", "dm25"})
"""Freeze frames: they come with a memory, and make it none the fresher."""


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
    """Tell whether a clear that was done took this fault's memory with it.

    DM3 takes only what is not active then, DM11 and the road vehicles' clears take all, DM22 one
    code (SAE J1939-73 5.7.3, 5.7.11, 5.7.22; SAE J1979 service 04).
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
    remembered one; a clear that reaches it makes it cleared, until it is listed again. A
    permanent fault cannot be cleared by command (DM28).
    """
    states = [state for _, state in _walk(looks)]
    return Standing(states[-1] if states else "unknown", _is_stale(looks))


def clears_taken(looks: Sequence[Look]) -> list[tuple[int, ...]]:
    """Return for each look the instants at which a clear took the memory of the fault."""
    return [cleared for cleared, _ in _walk(looks)]


def _walk(looks: Sequence[Look]) -> Iterator[tuple[tuple[int, ...], FaultState]]:
    """Give for each look when clears took the fault's memory, and the state after it."""
    keys = [look.seen.key for look in looks if look.seen is not None]
    spn, fmi = (keys[0].spn, keys[0].fmi) if keys else (None, None)
    state: FaultState = "unknown"
    for look in looks:
        before, state = state, _state_after(look, state)
        cleared = tuple(
            clear.at_us
            for clear in look.clears
            if clear_reaches(clear, spn, fmi, _active_at(look, before, clear.at_us))
        )
        listed_us = look.seen.last_us if look.seen is not None else None
        after = any(listed_us is None or at_us >= listed_us for at_us in cleared)
        if after and state != "permanent":
            state = "cleared"
        yield cleared, state


def _state_after(look: Look, before: FaultState) -> FaultState:
    if look.seen is not None and (look.seen.state != "unknown" or look.seen.spells):
        return look.seen.state
    if look.seen is not None and before == "cleared":
        return "unknown"
    if before == "active" and look.reported_us is not None:
        return "previously_active"
    return before


def _active_at(look: Look, before: FaultState, at_us: int) -> bool:
    """Tell whether the fault was active at an instant of a look, as far as was heard."""
    if look.seen is None:
        return before == "active" and look.reported_us is None
    if not look.seen.spells:
        return look.seen.state == "active"
    if any(one.start_us <= at_us <= one.end_us for one in look.seen.spells):
        return True
    last = look.seen.spells[-1]
    return at_us > last.end_us and look.seen.state == "active"


def _is_stale(looks: Sequence[Look]) -> bool:
    """A memory: only ever listed as active before, no spell, no count that rose between looks."""
    seen = [look.seen for look in looks if look.seen is not None]
    if not seen or any(one.spells or one.state != "previously_active" for one in seen):
        return False
    if any(not set(one.sources) - STORED_WITH <= MEMORY_LISTS for one in seen):
        return False
    return not rose(counts_by_look(looks))


def counts_by_look(looks: Sequence[Look]) -> list[tuple[str, list[int | None]]]:
    """Give visit and occurrence counts, stretch by stretch in time order; a clear makes a 0."""
    told: list[tuple[str, list[int | None]]] = []
    for look, cleared in zip(looks, clears_taken(looks), strict=True):
        counts = sorted(look.seen.counts, key=lambda one: one.first_us) if look.seen else []
        waiting = list(cleared)
        stretch: list[int | None] = []
        for one in counts:
            while waiting and waiting[0] <= one.first_us:
                waiting.pop(0)
                told.extend([(look.visit, stretch)] if stretch else [])
                told.append((look.visit, [0]))
                stretch = []
            stretch.append(one.count)
            while waiting and waiting[0] <= one.last_us:
                # The count went on unchanged over the clear.
                waiting.pop(0)
                told.extend([(look.visit, stretch), (look.visit, [0])])
                stretch = [one.count]
        told.extend([(look.visit, stretch)] if stretch else [])
        told.extend((look.visit, [0]) for _ in waiting)
    return told


def rose(told: Sequence[tuple[str, Sequence[int | None]]]) -> bool:
    """Tell whether an occurrence count rose between two looks.

    After a clear it rose when it counts again from zero; the old count again is none.
    """
    before: int | None = None
    before_clear: int | None = None
    for _, stretch in told:
        known = [one for one in stretch if one is not None]
        for count in known:
            if before is not None and count > before and count != before_clear:
                return True
            if count == 0 and before:
                before_clear = before
            before = count
    return False
