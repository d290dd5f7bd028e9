"""Counts made by known senders over known starts: the bounds hold the truth."""

from __future__ import annotations

from dataclasses import dataclass, field

from hypothesis import given, settings
from hypothesis import strategies as st
from tests.made_cases import fault, machine, spell, told, visit

from shearbolt.model.fault import Spell
from shearbolt.reasoning.between import between_visits
from shearbolt.reasoning.case import VisitCase

F = fault("f1", 105, 16)


@dataclass
class Sender:
    """A controller that counts in its own way, with what a recorder saw of it."""

    at_end: bool
    count: int = 0
    hidden: int = 0
    visits: list[VisitCase] = field(default_factory=list)

    def recorded(self, starts: int) -> None:
        """One visit of healed spells; the memory list is read before, between and after."""
        spells: list[Spell] = []
        counts: list[tuple[float, int | None]] = [(2.0, self.shown)]
        for i in range(starts):
            at = 10.0 + 30.0 * i
            on = self.shown if self.at_end else self.shown_after()
            spells.append(spell(at, at + 10.0, count=on))
            self.count += 1
            counts.append((at + 20.0, self.shown))
        self.visits.append(visit(len(self.visits), told(F, *spells, counts=counts)))

    @property
    def shown(self) -> int:
        return min(self.count, 126)

    def shown_after(self) -> int:
        return min(self.count + 1, 126)

    def unheard(self, starts: int) -> None:
        """Starts while nobody is recording, all of them over."""
        self.count += starts
        self.hidden += starts


@settings(max_examples=80, deadline=None)
@given(
    st.booleans(),
    st.integers(0, 130),
    st.lists(st.tuples(st.integers(0, 4), st.integers(0, 40)), min_size=1, max_size=4),
)
def test_the_truth_lies_within_the_bounds(
    at_end: bool, before: int, parts: list[tuple[int, int]]
) -> None:
    sender = Sender(at_end, before)
    sender.recorded(2)
    for recorded, unheard in parts:
        sender.unheard(unheard)
        sender.recorded(recorded)
    found = between_visits(machine(sender.visits, [F]))["f1"]
    assert found.at_least <= sender.hidden
    assert found.at_most is None or found.at_most >= sender.hidden
    if sender.count < 126:
        assert found.steps == ("at_end" if at_end else "at_onset")
        assert (found.at_least, found.at_most) == (sender.hidden, sender.hidden)
