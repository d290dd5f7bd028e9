"""The yard and one machine as documents."""

from __future__ import annotations

from shearbolt.app.composing.advice_words import machine_words
from shearbolt.app.composing.faults import fault_brief, machine_faults
from shearbolt.app.composing.labels import controller_words
from shearbolt.app.composing.line import ran_back
from shearbolt.app.composing.stamps import moment, seconds
from shearbolt.app.composing.tables import FactTables
from shearbolt.app.composing.visits import HEARD, box_id, happening
from shearbolt.app.concluding.conclude import Conclusions
from shearbolt.app.concluding.record import MachineRecord
from shearbolt.app.documents import (
    Box,
    Controller,
    FaultBrief,
    Happening,
    MachineDocument,
    VisitBrief,
    YardMachine,
)
from shearbolt.app.documents.asking import PLAIN_WORDING, Wording
from shearbolt.app.wording import doubt_words
from shearbolt.book import records as r
from shearbolt.model.instants import to_iso


def visit_brief(
    visit: r.Visit, faults: list[str], words: str | None, record: MachineRecord
) -> VisitBrief:
    """Tell a visit in one line."""
    content = record.heard[visit.id]
    return {
        "visit": visit.id,
        "kind": visit.kind,
        "file": visit.file,
        "quality": visit.quality,
        "start": moment(visit, content.earliest_us),
        "start_at_s": seconds(visit, content.earliest_us),
        "end": moment(visit, content.latest_us),
        "end_at_s": seconds(visit, content.latest_us),
        "engine_hours_start": visit.hours_start,
        "engine_hours_end": visit.hours_end,
        "engine_hours_from": visit.hours_from,
        "frames": visit.frames,
        "faults": faults,
        "words": words,
    }


def last_hours(record: MachineRecord) -> r.Visit | None:
    """Return the last visit that knows the machine's own engine hours."""
    own = [
        one
        for one in record.visits
        if one.machine == record.machine.id and one.hours_end is not None
    ]
    return own[-1] if own else None


def yard_machine(
    record: MachineRecord,
    tables: FactTables,
    concluded: Conclusions,
    wording: Wording = PLAIN_WORDING,
) -> YardMachine:
    """Tell a machine at a glance."""
    briefs: list[FaultBrief] = []
    for fault in record.faults:
        name = record.names.get(fault.controller) if fault.controller is not None else None
        judged = concluded.standings[fault.id]
        root = concluded.company.roots.get(fault.id)
        briefs.append(fault_brief(fault, judged, tables, name, root))
    order = {one: at for at, one in enumerate(concluded.order)}
    shown = [one for one in briefs if not one["stale"] and one["state"] != "cleared"]
    shown.sort(key=lambda one: order.get(one["fault"], len(order)))
    advice = concluded.advice
    hours = last_hours(record)
    last = record.visits[-1] if record.visits else None
    end = None
    if last is not None:
        end = moment(last, record.heard[last.id].latest_us)
    return {
        "machine": record.machine.id,
        "machine_name": record.machine.name,
        "kind": "implement" if record.machine.kind == "implement" else "machine",
        "advice": advice.advice,
        "as_of": to_iso(advice.as_of) if advice.as_of is not None else None,
        "words": machine_words(advice, wording.units),
        "engine_hours": hours.hours_end if hours is not None else None,
        "engine_hours_from": hours.hours_from if hours is not None else None,
        "visits": len(record.visits),
        "last_visit": last.id if last is not None else None,
        "last_visit_end": end,
        "active": sum(one["state"] == "active" for one in briefs),
        "open": len(shown),
        "stale": sum(one["stale"] for one in briefs),
        "faults": shown,
    }


def machine_document(
    record: MachineRecord,
    tables: FactTables,
    concluded: Conclusions,
    wording: Wording = PLAIN_WORDING,
) -> MachineDocument:
    """Tell one machine: who is on it, its visits, its faults."""
    notes = {one.visit: one.text for one in record.notes}
    hours = last_hours(record)
    told = [one for one in record.visits if one.machine == record.machine.id]
    backwards = ran_back(record.machine.id, record.visits)
    seen: dict[str, list[str]] = {}
    for fault, sightings in record.sightings.items():
        for one in sightings:
            seen.setdefault(one.visit, []).append(fault)
    doubts = dict.fromkeys(
        doubt_words(doubt)
        for visit in told
        for doubt in (*visit.doubts, backwards.get(visit.id, ""))
        if doubt.startswith(("hours_", "vin_", "names_"))
    )
    doubts |= dict.fromkeys(one["words"] for one in _events(record) if one["what"] == "swap")
    return {
        "schema": "shearbolt/machine/1",
        **machine_faults(record, tables, concluded, visit=None, everything=True, wording=wording),
        "kind": "implement" if record.machine.kind == "implement" else "machine",
        "vin": record.machine.vin,
        "component": next((one.component for one in reversed(told) if one.component), None),
        "software": list(next((one.software for one in reversed(told) if one.software), ())),
        "engine_hours": hours.hours_end if hours is not None else None,
        "engine_hours_from": hours.hours_from if hours is not None else None,
        "doubts": list(doubts),
        "controllers": [_controller(record, seat, tables) for seat in record.controllers.values()],
        "visits": [
            visit_brief(one, seen.get(one.id, []), notes.get(one.id), record)
            for one in record.visits
        ],
        "events": _events(record),
    }


def _controller(record: MachineRecord, seat: r.Controller, tables: FactTables) -> Controller:
    name = record.names.get(seat.id)
    first: tuple[r.Visit, int] | None = None
    last: tuple[r.Visit, int] | None = None
    channel: str | None = None
    manner: str = "unknown"
    boxes: dict[str, Box] = {}
    for visit in record.visits:
        content = record.heard[visit.id]
        for seen, place in zip(content.controllers, content.places, strict=False):
            if place != seat.id:
                continue
            first = first or (visit, seen.first_us)
            last = visit, seen.last_us
            channel = seen.channel
            if seen.dm1_manner != "unknown":
                manner = seen.dm1_manner
            if seen.name is not None:
                box = boxes.setdefault(
                    seen.name.hex,
                    {
                        "box": box_id(seen.name),
                        "name": seen.name.hex,
                        "first_seen": moment(visit, seen.first_us),
                        "first_seen_at_s": None,
                        "last_seen": None,
                        "last_seen_at_s": None,
                    },
                )
                box["last_seen"] = moment(visit, seen.last_us)
    return {
        "controller": seat.id,
        "machine": seat.machine,
        "channel": channel,
        "address": seat.address,
        "name": name.hex if name else None,
        "identity_number": name.identity_number if name else None,
        "manufacturer_code": name.manufacturer_code if name else None,
        "function": name.function if name else None,
        "function_text": controller_words(seat, name, tables),
        "label": seat.label,
        "box": box_id(name) if name else None,
        "boxes": list(boxes.values()),
        "first_seen": moment(*first) if first else None,
        "first_seen_at_s": seconds(*first) if first else None,
        "last_seen": moment(*last) if last else None,
        "last_seen_at_s": seconds(*last) if last else None,
        "dm1_manner": manner,  # type: ignore[typeddict-item]
    }


def _events(record: MachineRecord) -> list[Happening]:
    events = [
        happening(one, record.visits_by_id.get(one.visit) if one.visit is not None else None)
        for one in record.events
        # What happened while listening concerns that one visit, not the machine.
        if one.kind != HEARD
    ]
    for repair in record.repairs:
        events.append(
            {
                "what": "repair",
                "visit": None,
                "at": to_iso(repair.date_us) if repair.date_us is not None else None,
                "at_s": None,
                "hours": repair.hours,
                "words": repair.text,
            }
        )
    return events
