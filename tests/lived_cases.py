"""Cases of the proving ground as the reasoning is given them, with their truth by fault."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from shearbolt.decode.state import StateBuilder
from shearbolt.dictionary.quantities import state_spns
from shearbolt.dictionary.signals import row_of_spn
from shearbolt.model.controller import ControllerSeen, Dm1Manner
from shearbolt.model.fault import FaultSeen
from shearbolt.model.instants import from_iso
from shearbolt.model.signal import SignalColumn
from shearbolt.model.state import StateTable
from shearbolt.proving import CaseData, CaseLook, SignalHeard, WrittenNote
from shearbolt.reasoning.case import (
    FaultCase,
    FaultInVisit,
    MachineCase,
    NoteInVisit,
    RepairDone,
    VisitCase,
)


@dataclass(frozen=True, slots=True)
class LivedCase:
    """A case and its truth."""

    case: MachineCase
    truth: Mapping[str, str]
    """Cause class by fault, of faults with a cause that was switched on."""
    causes: Mapping[str, str]
    """Key of the cause by fault."""


def lived(data: CaseData) -> LivedCase:
    """Make what the reasoning is given of a proving-ground case."""
    key = data.plan.machine.key
    manners = {one.address: one.dm1 for one in data.plan.machine.controllers}
    faults: dict[str, FaultCase] = {}
    events: list[tuple[int, VisitCase]] = []
    for look in data.looks:
        visit = replace(
            _visit(look, key, manners, faults), visit=f"v{len(events)}_{look.started_us}"
        )
        events.append((look.started_us, visit))
    for note in data.notes:
        if note.kind != "code":
            events.append((from_iso(note.date), _by_hand(note, len(events))))
    events.sort(key=lambda one: (one[0], one[1].visit))
    repairs = []
    for number, one in enumerate(sorted(data.repairs, key=lambda one: one.date)):
        at_us = from_iso(one.date)
        about = tuple(name for name, fault in faults.items() if (fault.spn, fault.fmi) in one.about)
        before = sum(when < at_us for when, _ in events)
        repairs.append(RepairDone(f"r{number}", about, one.hours, at_us, before, one.text))
    case = MachineCase(
        key, "machine", tuple(visit for _, visit in events), tuple(faults.values()), tuple(repairs)
    )
    case = as_known_then(case)
    addresses = {one.key: one.address for one in data.plan.machine.controllers}
    truth: dict[str, str] = {}
    causes: dict[str, str] = {}
    for true in data.truth.faults:
        if true.cause and true.machine == key:
            name = fault_id(addresses[true.controller], true.spn, true.fmi)
            truth.setdefault(name, true.cause_class)
            causes.setdefault(name, true.cause)
    return LivedCase(case, truth, causes)


def as_known_then(case: MachineCase) -> MachineCase:
    """Leave with each repair only the faults that the book knew when it was written down."""
    known: list[set[str]] = [set()]
    for visit in case.visits:
        known.append(known[-1] | {one.fault for one in visit.faults})
    repairs = tuple(
        replace(one, faults=tuple(name for name in one.faults if name in known[one.visits_before]))
        for one in case.repairs
    )
    return replace(case, repairs=repairs)


def fault_id(address: int | None, spn: int | None, fmi: int | None) -> str:
    """Name a fault by its sender and code."""
    return f"{address}:{spn}:{fmi}"


def _visit(
    look: CaseLook, key: str, manners: Mapping[int, Dm1Manner], faults: dict[str, FaultCase]
) -> VisitCase:
    signals = [one for one in look.signals if one.machine == key]
    zero_us = look.started_us
    here = []
    for seen in look.faults:
        if seen.key.address not in manners:
            continue
        name = fault_id(seen.key.address, seen.key.spn, seen.key.fmi)
        faults.setdefault(
            name,
            FaultCase(
                name, "j1939", f"c{seen.key.address}", seen.key.address, seen.key.spn,
                seen.key.fmi, None, name,
            ),
        )  # fmt: skip
        here.append(FaultInVisit(name, _moved(seen, zero_us)))
    last_us = look.ended_us - zero_us
    heard = sorted({(one.channel, one.address) for one in signals})
    return VisitCase(
        f"v{zero_us}", "recording", "complete", zero_us, 0, 0, last_us, look.hours_start,
        look.hours_end, _state(signals, zero_us),
        tuple(_controller(channel, address, last_us, manners) for channel, address in heard),
        (), tuple(here), (), (), (),
    )  # fmt: skip


def _controller(
    channel: str, address: int, last_us: int, manners: Mapping[int, Dm1Manner]
) -> ControllerSeen:
    manner: Dm1Manner = manners.get(address, "unknown")
    return ControllerSeen(
        channel, address, None, 0, last_us, 1000, manner, 0 if manner == "never_heard" else 60,
        0, 0, None,
    )  # fmt: skip


def _moved(seen: FaultSeen, zero_us: int) -> FaultSeen:
    """Give what was told of a fault by the visit's own clock."""
    spells = tuple(
        replace(
            one,
            start_us=one.start_us - zero_us,
            end_us=one.end_us - zero_us,
            end_latest_us=None if one.end_latest_us is None else one.end_latest_us - zero_us,
        )
        for one in seen.spells
    )
    counts = tuple(
        replace(one, first_us=one.first_us - zero_us, last_us=one.last_us - zero_us)
        for one in seen.counts
    )
    return replace(
        seen, first_us=seen.first_us - zero_us, last_us=seen.last_us - zero_us, spells=spells,
        counts=counts,
    )  # fmt: skip


def _state(signals: list[SignalHeard], zero_us: int) -> StateTable:
    builder = StateBuilder(state_spns())
    columns = []
    for one in signals:
        row = next((row for row in row_of_spn(one.spn) if row.pgn == one.pgn), None)
        if row is not None:
            columns.append(
                SignalColumn(
                    one.channel, one.address, row, one.time_us - zero_us, one.value, one.status
                )
            )
    builder.feed(columns)
    return builder.finish()


def _by_hand(note: WrittenNote, number: int) -> VisitCase:
    at_us = from_iso(note.date)
    after_s = None if note.minutes_since_start is None else note.minutes_since_start * 60.0
    written = NoteInVisit(note.kind, note.text, None, note.doing, note.warmth, after_s)
    return VisitCase(
        f"n{number}", "by_hand", "unknown", at_us, 0, 0, 0, note.hours, note.hours,
        _state([], at_us), (), (), (), (), (), (), (written,),
    )  # fmt: skip
