"""Where a fault stands across visits: state, old memories, clears (the rules of the interface)."""

from __future__ import annotations

from typing import Literal

import pytest

from shearbolt.model.fault import (
    Cleared,
    CountSeen,
    EndedBy,
    FaultKey,
    FaultSeen,
    FaultState,
    Spell,
)
from shearbolt.reasoning.standing import (
    Look,
    Standing,
    clear_reaches,
    clears_taken,
    counts_by_look,
    standing,
)

KEY = FaultKey("j1939", "can0", 0, 110, 0)
Result = Literal["done", "refused", "busy", "no_answer"]
What = Literal["dm3", "dm11", "dm22", "obd04", "uds14"]


def seen(
    state: FaultState,
    *sources: str,
    at_us: int = 10,
    counts: tuple[int | None, ...] = (),
    spells: tuple[Spell, ...] = (),
) -> FaultSeen:
    """Make one sighting; its counts come one after another from `at_us`."""
    told = tuple(CountSeen(at_us + i, at_us + i, count) for i, count in enumerate(counts))
    last_us = max([at_us, *(one.end_us for one in spells)])
    return FaultSeen(KEY, sources, at_us, last_us, state, spells, told)


def spell(start_us: int, end_us: int, ended: EndedBy = "recording_end") -> Spell:
    """Make a spell with a known start."""
    return Spell(start_us, True, end_us, None, ended, None, None)


def clear(what: What, at_us: int = 50, result: Result = "done", fmi: int = 0) -> Cleared:
    """Make a clear; DM22 is about SPN 110."""
    one = what == "dm22"
    return Cleared(at_us, "can0", 0xF9, 0, what, result, 110 if one else None, fmi if one else None)


def look(found: FaultSeen | None, *clears: Cleared, reported: bool = True) -> Look:
    """Make one visit's look at the sender, which ended at 100."""
    return Look("v", found, 100 if reported else None, 100, clears)


ACTIVE = seen("active", "dm1", at_us=0, spells=(spell(0, 40),))
MEMORY = seen("previously_active", "dm2", counts=(3,))


@pytest.mark.parametrize(
    ("looks", "state"),
    [
        ([], "unknown"),
        ([look(ACTIVE)], "active"),
        # It reported in a later visit, and listed it no more.
        ([look(ACTIVE), look(None)], "previously_active"),
        # No silence is read as health: it sent no report at all.
        ([look(ACTIVE), look(None, reported=False)], "active"),
        ([look(MEMORY), look(ACTIVE)], "active"),
        ([look(ACTIVE), look(MEMORY)], "previously_active"),
        ([look(seen("pending", "dm6")), look(None)], "pending"),
        # A freeze frame alone says nothing of the state.
        ([look(ACTIVE), look(seen("unknown", "dm4"), reported=False)], "active"),
        ([look(MEMORY), look(seen("unknown", "dm4"))], "previously_active"),
        # Clears.
        ([look(MEMORY, clear("dm3"))], "cleared"),
        ([look(MEMORY, clear("dm11"))], "cleared"),
        ([look(MEMORY, clear("obd04"))], "cleared"),
        ([look(MEMORY, clear("dm22"))], "cleared"),
        ([look(MEMORY, clear("dm22", fmi=1))], "previously_active"),
        ([look(MEMORY, clear("dm3", result="refused"))], "previously_active"),
        ([look(MEMORY, clear("dm3", result="busy"))], "previously_active"),
        ([look(MEMORY, clear("dm3", result="no_answer"))], "previously_active"),
        # It was told after the clear.
        ([look(MEMORY, clear("dm3", at_us=5))], "previously_active"),
        ([look(MEMORY, clear("dm3")), look(None)], "cleared"),
        ([look(MEMORY, clear("dm3")), look(ACTIVE)], "active"),
        ([look(MEMORY, clear("dm3")), look(seen("unknown", "dm25"))], "unknown"),
        # DM3 leaves what is active, DM11 takes it; in another visit too.
        ([look(ACTIVE, clear("dm3", at_us=30))], "active"),
        ([look(ACTIVE), look(None, clear("dm3"), reported=False)], "active"),
        ([look(ACTIVE), look(None, clear("dm3"))], "cleared"),
        ([look(ACTIVE), look(None, clear("dm11"), reported=False)], "cleared"),
        # DM22 names its code, listed in that visit or not.
        ([look(MEMORY), look(None, clear("dm22"))], "cleared"),
        # Permanent codes are cleared by none of them (SAE J1939-73, DM28).
        ([look(seen("permanent", "dm28"), clear("dm11"))], "permanent"),
    ],
)
def test_state_across_visits(looks: list[Look], state: FaultState) -> None:
    assert standing(looks).state == state


def test_dm3_takes_what_healed_before_it() -> None:
    healed = seen("previously_active", "dm1", at_us=0, spells=(spell(0, 20, "healed"),))
    assert clears_taken([look(healed, clear("dm3", at_us=50))]) == [(50,)]
    assert clears_taken([look(healed, clear("dm3", at_us=10))]) == [()]


def test_dm3_takes_what_began_after_it() -> None:
    later = seen("active", "dm1", "dm2", at_us=5, counts=(4, 5), spells=(spell(70, 95),))
    assert clears_taken([look(later, clear("dm3", at_us=50))]) == [(50,)]
    assert standing([look(later, clear("dm3", at_us=50))]).state == "active"


def test_a_clear_that_was_not_done_reaches_nothing() -> None:
    assert not clear_reaches(clear("dm11", result="refused"), 110, 0, False)


# -- old memories ---------------------------------------------------------------------------------


def memory(*counts: int | None) -> Look:
    """Make a look that found it in DM2 with these counts."""
    return look(seen("previously_active", "dm2", counts=counts))


@pytest.mark.parametrize(
    ("looks", "stale"),
    [
        ([memory(3)], True),
        ([memory(3), memory(3), memory(3)], True),
        ([memory(None), memory(None)], True),
        ([memory(126), memory(126)], True),
        # The count rose between two looks: it happened.
        ([memory(3), memory(4)], False),
        ([memory(3, 4)], False),
        ([memory(3), memory(None), memory(5)], False),
        # A fall is an unseen clear, new software or a lost battery; no occurrence.
        ([memory(5), memory(2)], True),
        ([look(seen("previously_active", "dm2", "dm23", counts=(2,)))], True),
        # Its freeze frame does not make it fresh.
        ([look(seen("previously_active", "dm2", "dm4", counts=(2,)))], True),
        ([look(seen("previously_active", "uds19"))], True),
        # A clear does not end it.
        ([memory(3), look(seen("previously_active", "dm2", counts=(3,)), clear("dm3"))], True),
        ([look(seen("previously_active", "dm2", counts=(3,)), clear("dm11")), memory(3)], True),
        # ... but what counts from zero again after one has happened again.
        ([look(seen("previously_active", "dm2", counts=(3,)), clear("dm11")), memory(1)], False),
        ([memory(3), look(ACTIVE)], False),
        ([look(ACTIVE), memory(3)], False),
        ([look(seen("pending", "dm6"))], False),
        ([look(seen("previously_active", "dm2", "dm6"))], False),
        ([look(seen("permanent", "dm28", "dm2"))], False),
        ([look(seen("active", "hand"))], False),
        ([look(seen("unknown", "dm4"))], False),
        ([look(None)], False),
    ],
)
def test_a_fault_known_only_as_an_old_memory(looks: list[Look], stale: bool) -> None:
    assert standing(looks).stale is stale


def test_a_spell_healed_is_no_old_memory() -> None:
    healed = seen("previously_active", "dm1", at_us=0, spells=(spell(0, 20, "healed"),))
    assert standing([look(healed)]) == Standing("previously_active", False)


# -- counts ---------------------------------------------------------------------------------------


def test_a_heard_clear_adds_a_zero_in_its_place() -> None:
    first = seen("previously_active", "dm2", at_us=10, counts=(3,))
    again = seen("previously_active", "dm2", at_us=60, counts=(1,))
    looks = [
        Look("v1", first, 100, 100, (clear("dm3", at_us=50),)),
        Look("v2", again, 100, 100, (clear("dm3", at_us=20, result="refused"),)),
    ]
    assert counts_by_look(looks) == [("v1", [3]), ("v1", [0]), ("v2", [1])]


def test_counts_before_and_after_a_clear_of_one_visit() -> None:
    told = FaultSeen(
        KEY,
        ("dm1",),
        0,
        90,
        "active",
        (spell(0, 90),),
        (CountSeen(0, 49, 3), CountSeen(55, 90, 1)),
    )
    assert counts_by_look([look(told, clear("dm11", at_us=50))]) == [
        ("v", [3]),
        ("v", [0]),
        ("v", [1]),
    ]


def test_a_count_that_goes_on_over_a_clear_stands_on_both_sides() -> None:
    told = FaultSeen(KEY, ("dm1",), 0, 90, "active", (spell(0, 90),), (CountSeen(0, 90, 3),))
    assert counts_by_look([look(told, clear("dm11", at_us=50))]) == [
        ("v", [3]),
        ("v", [0]),
        ("v", [3]),
    ]
