"""When occurrence counts step, learnt from spells and from lists between them."""

from __future__ import annotations

import pytest

from shearbolt.model.fault import CountSeen, Spell
from shearbolt.reasoning.manners import CountLook, CountSteps, count_steps


def spell(first: int, last: int, count: int | None, *, known: bool = True) -> Spell:
    return Spell(first, known, last, last + 1, "healed", count, count)


def told(first: int, last: int, count: int | None) -> CountSeen:
    return CountSeen(first, last, count)


TWO = (spell(20, 30, 3), spell(50, 60, 4))
"""Two spells, the second with one more."""


@pytest.mark.parametrize(
    ("look", "expected"),
    [
        # A list before the first spell had one less than the spell: it stepped at the onset.
        (CountLook(TWO, (told(10, 10, 2), told(20, 30, 3), told(50, 60, 4))), "at_onset"),
        # The list had the same (told as one stretch with the spell), the next spell one more.
        (CountLook(TWO, (told(10, 30, 3), told(50, 60, 4))), "at_end"),
        # A list between the spells had the new count already.
        (CountLook(TWO, (told(20, 30, 3), told(40, 60, 4))), "at_end"),
        # Only the spells: onset and end look alike.
        (CountLook(TWO, (told(20, 30, 3), told(50, 60, 4))), "unknown"),
        # Count 0 while first active, measured on an open recording of a tractor.
        (CountLook((spell(20, 30, 0), spell(50, 60, 1)), ()), "at_end"),
        (CountLook((spell(20, 30, 0), spell(50, 60, 0)), ()), "never"),
        (CountLook((spell(20, 30, 6), spell(50, 60, 6)), ()), "once_per_key_cycle"),
        # One spell with 1 fits onset, key cycle, and end with an earlier spell.
        (CountLook((spell(20, 30, 1),), (told(20, 30, 1),)), "unknown"),
        (CountLook((spell(20, 30, 0),), (told(20, 30, 0), told(40, 40, 1))), "at_end"),
        # A start that is not known may have been counted before the recording.
        (
            CountLook(
                (spell(20, 30, 3, known=False), spell(50, 60, 4)),
                (told(10, 10, 2), told(20, 30, 3), told(50, 60, 4)),
            ),
            "unknown",
        ),
        # Full and missing counts tell nothing.
        (CountLook((spell(20, 30, 126), spell(50, 60, 126)), ()), "unknown"),
        (CountLook((spell(20, 30, None),), (told(20, 30, None),)), "unknown"),
        (CountLook((), ()), "unknown"),
    ],
)
def test_one_fault(look: CountLook, expected: CountSteps) -> None:
    assert count_steps([look]) == expected


def test_faults_of_one_sender_vote() -> None:
    onset = CountLook(TWO, (told(10, 10, 2), told(20, 30, 3), told(50, 60, 4)))
    end = CountLook(TWO, (told(20, 30, 3), told(40, 60, 4)))
    assert count_steps([onset, onset, end]) == "at_onset"
    assert count_steps([onset, end]) == "unknown"
    assert count_steps([]) == "unknown"
