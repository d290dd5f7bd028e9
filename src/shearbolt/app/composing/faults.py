"""Faults of a machine as documents: what each visit told, put together."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from shearbolt.app.composing.labels import controller_words, fault_words
from shearbolt.app.composing.line import events_of
from shearbolt.app.composing.stamps import lamps_shown, moment, seconds
from shearbolt.app.composing.tables import FactTables
from shearbolt.app.composing.visits import clear_words, happening
from shearbolt.app.documents import (
    Counts,
    Fault,
    FaultBrief,
    FreezeFrame,
    Happening,
    LampWithoutCode,
    MachineFaults,
    Repair,
    Spell,
)
from shearbolt.book import Reads
from shearbolt.book import records as r
from shearbolt.model.controller import Name
from shearbolt.model.fault import COUNT_FULL, Lamps
from shearbolt.model.instants import to_iso
from shearbolt.model.visit import VisitContent
from shearbolt.reasoning.standing import Look, Standing, counts_by_look, standing


@dataclass(frozen=True, slots=True)
class MachineRecord:
    """All the book knows of one machine, read once for many documents."""

    machine: r.Machine
    visits: tuple[r.Visit, ...]
    """In their order."""
    contents: Mapping[str, VisitContent]
    places: Mapping[str, tuple[str | None, ...]]
    """Controller of each of a content's controllers, by visit."""
    controllers: Mapping[str, r.Controller]
    names: Mapping[str, Name]
    """NAME that filled each controller last."""
    faults: tuple[r.Fault, ...]
    sightings: Mapping[str, Sequence[r.Sighting]]
    repairs: tuple[r.Repair, ...]
    events: tuple[r.MachineEvent, ...]
    visits_by_id: Mapping[str, r.Visit]


def read_machine(book: Reads, machine: r.Machine) -> MachineRecord:
    """Read all of one machine from the book."""
    visits = tuple(book.visits(machine.id))
    return MachineRecord(
        machine,
        visits,
        {one.id: book.visit_content(one.id) for one in visits},
        {one.id: book.visit_places(one.id) for one in visits},
        {one.id: one for one in book.controllers(machine.id)},
        {controller: name for _, controller, name in book.names_by_visit(machine.id)},
        tuple(book.faults(machine.id)),
        book.sightings_of(machine.id),
        tuple(book.repairs(machine.id)),
        tuple(events_of(book, machine.id)),
        {one.id: one for one in visits},
    )


def looks_at(record: MachineRecord, fault: r.Fault) -> list[Look]:
    """Gather what each visit told of a fault or of its sender, in the order of the visits."""
    seen = {one.visit: one.seen for one in record.sightings.get(fault.id, ())}
    looks: list[Look] = []
    for visit in record.visits:
        content = record.contents[visit.id]
        senders = [
            one
            for one, seat in zip(content.controllers, record.places[visit.id], strict=False)
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


def fault_brief(
    fault: r.Fault, judged: Standing, tables: FactTables, name: Name | None
) -> FaultBrief:
    """Tell a fault in one line."""
    return {
        "fault": fault.id,
        "text": fault_words(fault, tables, name)[0],
        "state": judged.state,
        "stale": judged.stale,
        "spn": fault.spn,
        "fmi": fault.fmi,
        "code": fault.code,
        "root": None,
    }


def fault_document(record: MachineRecord, fault: r.Fault, tables: FactTables) -> Fault:
    """Tell a fault with all that its visits told."""
    looks = looks_at(record, fault)
    judged = standing(looks)
    sightings = record.sightings.get(fault.id, ())
    seat = record.controllers.get(fault.controller) if fault.controller is not None else None
    name = record.names.get(fault.controller) if fault.controller is not None else None
    words, own = fault_words(fault, tables, name)
    first = sightings[0] if sightings else None
    last = sightings[-1] if sightings else None
    visits = record.visits_by_id
    shown = next((one.seen for one in reversed(sightings) if one.seen.spells), None) or (
        last.seen if last is not None else None
    )
    return {
        "fault": fault.id,
        "kind": fault.kind,
        "event": None,
        "controller": fault.controller,
        "controller_text": controller_words(seat, name, tables) if seat is not None else None,
        "channel": last.seen.key.channel if last is not None else None,
        "address": (seat.address if seat is not None else None)
        if last is None or last.seen.key.address is None
        else last.seen.key.address,
        "name": name.hex if name is not None else None,
        "spn": fault.spn,
        "fmi": fault.fmi,
        "spn_candidates": list(last.seen.candidates) if last is not None else [],
        "code": fault.code,
        "text": words,
        "own_text": own,
        "from": sorted({source for one in sightings for source in one.seen.sources}),
        "state": judged.state,
        "stale": judged.stale,
        "lamps": lamps_shown(shown.lamps if shown is not None else Lamps()),
        "lamps_sure": lamps_shown(shown.lamps_sure if shown is not None else Lamps()),
        "first_seen": moment(visits[first.visit], first.seen.first_us) if first else None,
        "first_seen_at_s": seconds(visits[first.visit], first.seen.first_us) if first else None,
        "last_seen": moment(visits[last.visit], last.seen.last_us) if last else None,
        "last_seen_at_s": seconds(visits[last.visit], last.seen.last_us) if last else None,
        "visits": [one.visit for one in sightings],
        "freeze_frames": _freeze_frames(sightings, visits, tables),
        "spells": _spells(sightings, visits),
        "counts": _counts(looks),
        "setting": None,
        "root": None,
        "suspects": [],
        "probability_other": None,
        "advice": None,
        "checks": [],
        "followups": [],
        "trend": None,
        "events": _events(record, fault, looks),
    }


def _freeze_frames(
    sightings: Sequence[r.Sighting], visits: Mapping[str, r.Visit], tables: FactTables
) -> list[FreezeFrame]:
    return [
        {
            "visit": one.visit,
            "at": moment(visits[one.visit], frame.at_us),
            "at_s": seconds(visits[one.visit], frame.at_us),
            "values": [
                {
                    "spn": value.spn,
                    "text": tables.dictionary.spn_name(value.spn) or f"SPN {value.spn}",
                    "value": value.value,
                    "unit": value.unit,
                }
                for value in frame.values
            ],
        }
        for one in sightings
        for frame in one.seen.freeze_frames
    ]


def _spells(sightings: Sequence[r.Sighting], visits: Mapping[str, r.Visit]) -> list[Spell]:
    spells: list[Spell] = []
    for one in sightings:
        visit = visits[one.visit]
        for spell in one.seen.spells:
            spells.append(
                {
                    "visit": visit.id,
                    "start": moment(visit, spell.start_us),
                    "start_at_s": seconds(visit, spell.start_us),
                    "start_known": spell.start_known,
                    "end": moment(visit, spell.end_us),
                    "end_at_s": seconds(visit, spell.end_us),
                    "end_latest": moment(visit, spell.end_latest_us),
                    "end_latest_at_s": seconds(visit, spell.end_latest_us),
                    "ended_by": spell.ended_by,
                    "count_start": spell.count_start,
                    "count_end": spell.count_end,
                }
            )
    return spells


def _counts(looks: Sequence[Look]) -> list[Counts]:
    """Occurrence counts visit by visit in time order; a clear that was done adds a 0."""
    counts: list[Counts] = []
    for visit, stretch in counts_by_look(looks):
        known = [one for one in stretch if one is not None]
        counts.append(
            {
                "visit": visit,
                "first": known[0] if known else None,
                "last": known[-1] if known else None,
                "at_least": bool(known) and known[-1] >= COUNT_FULL,
            }
        )
    return counts


def _events(record: MachineRecord, fault: r.Fault, looks: Sequence[Look]) -> list[Happening]:
    events: list[Happening] = []
    for look in looks:
        visit = record.visits_by_id[look.visit]
        for clear in look.clears:
            events.append(
                {
                    "what": "clear",
                    "visit": visit.id,
                    "at": moment(visit, clear.at_us),
                    "at_s": seconds(visit, clear.at_us),
                    "hours": visit.hours_start,
                    "words": clear_words(clear),
                }
            )
    for event in record.events:
        if event.controller is not None and event.controller == fault.controller:
            about = record.visits_by_id.get(event.visit) if event.visit is not None else None
            events.append(happening(event, about))
    return events


def repair_shown(repair: r.Repair) -> Repair:
    """Write a repair."""
    return {
        "repair": repair.id,
        "hours": repair.hours,
        "date": to_iso(repair.date_us) if repair.date_us is not None else None,
        "text": repair.text,
        "faults": list(repair.faults),
    }


def machine_faults(
    record: MachineRecord, tables: FactTables, *, visit: str | None, everything: bool
) -> MachineFaults:
    """Tell a machine's faults: the open ones, or all; of one visit, or of all."""
    shown: list[Fault] = []
    for fault in record.faults:
        one = fault_document(record, fault, tables)
        if visit is not None and visit not in one["visits"]:
            continue
        if everything or not (one["stale"] or one["state"] == "cleared"):
            shown.append(one)
    shown.sort(key=_first_to_look_at)
    return {
        "machine": record.machine.id,
        "machine_name": record.machine.name,
        "advice": None,
        "as_of": None,
        "faults": shown,
        "repairs": [repair_shown(one) for one in record.repairs],
        "lamp_without_code": lamps_alone(record, visit),
    }


_STATES = ("active", "permanent", "pending", "unknown", "previously_active", "cleared")


def _first_to_look_at(fault: Fault) -> tuple[bool, int, int, str, str]:
    lamps = fault["lamps"]
    lit = ("on", "slow", "fast")
    if lamps["red_stop"] in lit:
        worst = 0
    elif lamps["amber_warning"] in lit:
        worst = 1
    elif lamps["mil"] in lit or lamps["protect"] in lit:
        worst = 2
    else:
        worst = 3
    state = _STATES.index(fault["state"])
    return fault["stale"], state, worst, fault["last_seen"] or "", fault["text"]


def lamps_alone(record: MachineRecord, visit: str | None) -> list[LampWithoutCode]:
    """Tell the lamps lit while their sender listed no fault."""
    shown: list[LampWithoutCode] = []
    for one in record.visits:
        if visit is not None and one.id != visit:
            continue
        content = record.contents[one.id]
        own = {
            (seen.channel, seen.address)
            for seen, seat in zip(content.controllers, record.places[one.id], strict=False)
            if seat in record.controllers
        }
        for lamp in content.lamp_without_code:
            if (lamp.channel, lamp.address) not in own:
                continue
            shown.append(
                {
                    "visit": one.id,
                    "channel": lamp.channel,
                    "address": lamp.address,
                    "lamps": lamps_shown(lamp.lamps),
                    "start": moment(one, lamp.start_us),
                    "start_at_s": seconds(one, lamp.start_us),
                    "end": moment(one, lamp.end_us),
                    "end_at_s": seconds(one, lamp.end_us),
                }
            )
    return shown
