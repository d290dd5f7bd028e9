"""All the book knows of one machine, read once: what documents and conclusions are made from."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TypeVar

from shearbolt.app.composing.line import events_of
from shearbolt.book import Reads
from shearbolt.book import records as r
from shearbolt.book.heard import VisitHeard
from shearbolt.book.work_records import CauseFound, CheckDone
from shearbolt.model.controller import Name
from shearbolt.model.visit import VisitContent
from shearbolt.reasoning.standing import Look

T = TypeVar("T")


class Lazily(Mapping[str, T]):
    """Reads what is asked for, once, while its snapshot is open."""

    def __init__(self, ids: Sequence[str], load: Callable[[str], T]) -> None:
        self._ids = ids
        self._load = load
        self._held: dict[str, T] = {}

    def __getitem__(self, id_: str) -> T:
        if id_ not in self._held:
            self._held[id_] = self._load(id_)
        return self._held[id_]

    def __iter__(self) -> Iterator[str]:
        return iter(self._ids)

    def __len__(self) -> int:
        return len(self._ids)


@dataclass(frozen=True, slots=True)
class MachineRecord:
    """All the book knows of one machine, read once for many documents."""

    machine: r.Machine
    visits: tuple[r.Visit, ...]
    """In their order."""
    contents: Mapping[str, VisitContent]
    """All that each visit told; read when it is asked for."""
    heard: Mapping[str, VisitHeard]
    """Of each visit: who was heard, clears, lamps."""
    controllers: Mapping[str, r.Controller]
    names: Mapping[str, Name]
    """NAME that filled each controller last."""
    faults: tuple[r.Fault, ...]
    sightings: Mapping[str, Sequence[r.Sighting]]
    repairs: tuple[r.Repair, ...]
    events: tuple[r.MachineEvent, ...]
    notes: tuple[r.Note, ...]
    checks: tuple[CheckDone, ...]
    """Checks that people did, in the order they were written down."""
    causes: tuple[CauseFound, ...]
    """Causes that people confirmed."""
    visits_by_id: Mapping[str, r.Visit]


def read_machine(book: Reads, machine: r.Machine) -> MachineRecord:
    """Read all of one machine from the book."""
    visits = tuple(book.visits(machine.id))
    ids = [one.id for one in visits]
    return MachineRecord(
        machine,
        visits,
        Lazily(ids, book.visit_content),
        book.heard(machine.id),
        {one.id: one for one in book.controllers(machine.id)},
        {controller: name for _, controller, name in book.names_by_visit(machine.id)},
        tuple(book.faults(machine.id)),
        book.sightings_of(machine.id),
        tuple(book.repairs(machine.id)),
        tuple(events_of(book, machine.id)),
        tuple(book.notes(machine.id)),
        tuple(book.checks_done(machine.id)),
        tuple(book.causes_found(machine.id)),
        {one.id: one for one in visits},
    )


def looks_at(record: MachineRecord, fault: r.Fault) -> list[Look]:
    """Gather what each visit told of a fault or of its sender, in the order of the visits."""
    seen = {one.visit: one.seen for one in record.sightings.get(fault.id, ())}
    looks: list[Look] = []
    for visit in record.visits:
        content = record.heard[visit.id]
        senders = [
            one
            for one, seat in zip(content.controllers, content.places, strict=True)
            if fault.controller is not None and seat == fault.controller
        ]
        sighting = seen.get(visit.id)
        if sighting is None and not senders:
            continue
        addresses = {(one.channel, one.address) for one in senders}
        reported = any(one.dm1_messages for one in senders)
        looks.append(
            Look(
                visit.id,
                sighting,
                content.latest_us if reported else None,
                content.latest_us,
                tuple(
                    clear
                    for clear in content.clears
                    if clear.controller is None or (clear.channel, clear.controller) in addresses
                ),
            )
        )
    return looks
