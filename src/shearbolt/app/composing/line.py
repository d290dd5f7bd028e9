"""What the visits of a machine tell only together: swapped units, hour meters that ran backwards.

Read anew from all visits in their order each time, so that it is the same in whatever order they
were brought in.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from shearbolt.app.wording import keep
from shearbolt.book import Reads
from shearbolt.book import records as r
from shearbolt.dictionary.names import function_text
from shearbolt.model.controller import Name
from shearbolt.model.visit import VisitContent

RAN_BACK_TOLERANCE_H = 0.1
"""Steps back of up to two counts of 0.05 h are rounding."""


@dataclass(frozen=True, slots=True)
class Swap:
    """A known place filled by another box than before."""

    visit: str
    controller: str
    before: Name
    now: Name

    @property
    def words(self) -> str:
        """The sentence, as the book keeps such."""
        return keep(
            "swapped_unit",
            function_text(self.now),
            self.before.identity_number,
            self.now.identity_number,
        )


def swaps_of(names: Sequence[tuple[str, str, Name]]) -> list[Swap]:
    """Find the swaps in (visit, controller, NAME), visits in their order.

    NAMEs of one physical unit share identity number and manufacturer code; a unit that changed
    only another part of its NAME was not swapped. Service tools come and go.
    """
    latest: dict[str, Name] = {}
    swaps: list[Swap] = []
    for visit, controller, name in names:
        if name.off_board:
            continue
        before = latest.get(controller)
        if before is not None and before.box != name.box:
            swaps.append(Swap(visit, controller, before, name))
        latest[controller] = name
    return swaps


def ran_back(machine: str, visits: Sequence[r.Visit]) -> dict[str, str]:
    """Find visits whose hour meter shows less than in an earlier one; gives a doubt by visit."""
    found: dict[str, str] = {}
    highest: float | None = None
    for one in visits:
        if one.machine != machine or one.hours_start is None:
            # In an implement's visit the hours are the tractor's.
            continue
        if highest is not None and one.hours_start < highest - RAN_BACK_TOLERANCE_H:
            found[one.id] = keep("hours_ran_back", f"{one.hours_start:.2f}", f"{highest:.2f}")
        end = one.hours_start if one.hours_end is None else one.hours_end
        highest = end if highest is None else max(highest, end)
    return found


def events_of(book: Reads, machine: str) -> list[r.MachineEvent]:
    """Return what happened to a machine: what was noted, then its swapped units in their order."""
    events = book.events(machine)
    for swap in swaps_of(book.names_by_visit(machine)):
        visit = book.visit(swap.visit)
        events.append(
            r.MachineEvent(
                "",
                machine,
                "swapped_unit",
                visit.id,
                swap.controller,
                _claimed_us(book.visit_content(visit.id), swap.now),
                visit.hours_start,
                (("words", swap.words),),
                visit.filed_us,
            )
        )
    return events


def _claimed_us(content: VisitContent, name: Name) -> int:
    return min(
        (one.first_us for one in content.claims if one.name == name), default=content.earliest_us
    )


def doubts_of(book: Reads, visit: r.Visit) -> list[str]:
    """Return the doubts of a visit: its own, then those beside the machine's other visits."""
    doubts = list(visit.doubts)
    for machine in (visit.machine, *visit.others):
        backwards = ran_back(machine, book.visits(machine))
        doubts.extend(one for id_, one in backwards.items() if id_ == visit.id)
        swaps = swaps_of(book.names_by_visit(machine))
        doubts.extend(one.words for one in swaps if one.visit == visit.id)
    return list(dict.fromkeys(doubts))
