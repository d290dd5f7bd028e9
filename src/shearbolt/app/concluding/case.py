"""A machine of the book as the reasoning wants it: visits with state, faults, what was done."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

from shearbolt.app.composing.labels import fault_words
from shearbolt.app.composing.tables import FactTables
from shearbolt.app.concluding.record import MachineRecord
from shearbolt.book import records as r
from shearbolt.book.work_records import CheckDone as Done
from shearbolt.model.instants import Instant
from shearbolt.model.signal import SignalSeen
from shearbolt.model.state import StateTable
from shearbolt.reasoning.case import (
    CheckDone,
    FaultCase,
    FaultInVisit,
    MachineCase,
    NoteInVisit,
    RepairDone,
    VisitCase,
)

Sender = tuple[str, int]
"""(channel, source address) within one visit."""
StateOf = Callable[[str], StateTable]
"""Gives a visit's second-by-second state."""
SignalsSeen = Mapping[str, tuple[SignalSeen, ...]]
"""Of each visit the signals that it held."""


def machine_case(
    record: MachineRecord, tables: FactTables, signals: SignalsSeen, state_of: StateOf
) -> MachineCase:
    """Put a machine together for the reasoning, its own senders' part of each visit only."""
    notes: dict[str, list[r.Note]] = {}
    for note in record.notes:
        notes.setdefault(note.visit, []).append(note)
    seen: dict[str, list[FaultInVisit]] = {}
    for fault in record.faults:
        for one in record.sightings.get(fault.id, ()):
            seen.setdefault(one.visit, []).append(FaultInVisit(fault.id, one.seen))
    visits = tuple(
        _visit(record, one, tuple(seen.get(one.id, ())), notes.get(one.id, ()), signals, state_of)
        for one in record.visits
    )
    return MachineCase(
        record.machine.id,
        record.machine.kind,
        visits,
        tuple(_fault(record, one, tables) for one in record.faults),
        tuple(_repair(record, one) for one in sorted(record.repairs, key=_repair_order)),
        tuple(_check(record, one) for one in record.checks if one.fault is not None),
    )


def own_senders(record: MachineRecord, visit: str) -> frozenset[Sender]:
    """Give the machine's own senders in one of its visits."""
    heard = record.heard[visit]
    return frozenset(
        (one.channel, one.address)
        for one, place in zip(heard.controllers, heard.places, strict=True)
        if place in record.controllers
    )


def _visit(
    record: MachineRecord,
    visit: r.Visit,
    faults: tuple[FaultInVisit, ...],
    notes: Sequence[r.Note],
    signals: SignalsSeen,
    state_of: StateOf,
) -> VisitCase:
    content = record.heard[visit.id]
    own = own_senders(record, visit.id)
    # Two machines on one plug: the hours are those of the machine that the visit is filed under.
    mine = visit.machine == record.machine.id
    state = state_of(visit.id)
    columns = {
        key: column for key, column in state.columns.items() if (key.channel, key.address) in own
    }
    return VisitCase(
        visit.id,
        visit.kind,
        visit.quality,
        visit.zero_us,
        content.first_us,
        content.earliest_us,
        content.latest_us,
        visit.hours_start if mine else None,
        visit.hours_end if mine else None,
        StateTable(state.second, columns),
        tuple(one for one in content.controllers if (one.channel, one.address) in own),
        tuple(one for one in signals.get(visit.id, ()) if (one.channel, one.address) in own),
        faults,
        tuple(
            one
            for one in content.clears
            if one.controller is None or (one.channel, one.controller) in own
        ),
        tuple(one for one in content.lamp_without_code if (one.channel, one.address) in own),
        content.pauses,
        tuple(
            NoteInVisit(one.kind, one.text, one.fault, one.doing, one.hot_cold, one.after_start_s)
            for one in notes
        ),
    )


def _fault(record: MachineRecord, fault: r.Fault, tables: FactTables) -> FaultCase:
    place = record.controllers.get(fault.controller) if fault.controller is not None else None
    sightings = record.sightings.get(fault.id, ())
    last = sightings[-1].seen.key.address if sightings else None
    name = record.names.get(fault.controller) if fault.controller is not None else None
    return FaultCase(
        fault.id,
        fault.kind,
        fault.controller,
        last if last is not None else place.address if place is not None else None,
        fault.spn,
        fault.fmi,
        fault.code,
        fault_words(fault, tables, name)[0],
    )


def _repair_order(repair: r.Repair) -> tuple[float, Instant]:
    return (repair.hours if repair.hours is not None else float("inf"), repair.created_us)


def _repair(record: MachineRecord, repair: r.Repair) -> RepairDone:
    return RepairDone(
        repair.id,
        repair.faults,
        repair.hours,
        repair.date_us,
        visits_before(record.visits, record.machine.id, repair.hours, repair.date_us),
        repair.text,
    )


def _check(record: MachineRecord, done: Done) -> CheckDone:
    return CheckDone(
        done.check,
        done.fault or "",
        done.outcome,
        done.value,
        done.hours,
        done.date_us,
        visits_before(record.visits, record.machine.id, done.hours, done.date_us),
        done.note,
    )


def visits_before(
    visits: Sequence[r.Visit], machine: str, hours: float | None, date_us: Instant | None
) -> int:
    """Count a machine's visits that lie before something done at an hour reading or a date.

    Engine hours decide where both sides have them, else dates; a visit with neither keeps the
    place that the machine's order of visits gives it. With neither hours nor date: all of them.
    """
    before = 0
    for at, visit in enumerate(visits, start=1):
        end = visit.hours_end if visit.machine == machine else None
        if hours is not None and end is not None:
            if end > hours:
                # Visits are in their order: none after this one lies before.
                break
            before = at
        elif date_us is not None and visit.end_us is not None:
            if visit.end_us <= date_us:
                before = at
        elif hours is None and date_us is None:
            before = at
    return before


def repaired_since(case: MachineCase) -> frozenset[str]:
    """Give the faults for which something was done after the last visit that showed them."""
    last_seen = {one.fault: at for at, visit in enumerate(case.visits) for one in visit.faults}
    return frozenset(
        fault
        for repair in case.repairs
        for fault in repair.faults
        if repair.visits_before > last_seen.get(fault, -1)
    )
