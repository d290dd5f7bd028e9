"""One visit as a document."""

from __future__ import annotations

from collections.abc import Mapping
from typing import cast

from shearbolt.app.composing.labels import controller_words
from shearbolt.app.composing.line import doubts_of, events_of
from shearbolt.app.composing.stamps import moment, seconds
from shearbolt.app.composing.tables import FactTables
from shearbolt.app.documents import (
    Answer,
    Box,
    Clear,
    Controller,
    Group,
    Happening,
    NoteWritten,
    NotRead,
    OtherId,
    Visit,
)
from shearbolt.app.documents.values import RecognisedBy
from shearbolt.app.wording import doubt_words
from shearbolt.book import Reads
from shearbolt.book import records as r
from shearbolt.model import reading
from shearbolt.model.controller import ControllerSeen, Name
from shearbolt.model.fault import Cleared
from shearbolt.model.visit import VisitContent

CLEAR_WORDS = {
    "dm3": "clear of the remembered codes",
    "dm11": "clear of all codes, freeze frames and readiness",
    "dm22": "clear of one code",
    "obd04": "clear of all codes and readiness (service 04)",
    "uds14": "clear of stored codes (service 14)",
}
RESULT_WORDS = {
    "done": "was done",
    "refused": "was refused",
    "busy": "was put off: the controller was busy or the engine running",
    "no_answer": "was not answered",
}
HEARD = "heard"
"""Kind of the events of a listening session: gaps, clock jumps, losses."""
EVENT_WHAT: Mapping[str, str] = {
    "swapped_unit": "swap",
    "moved_unit": "swap",
    "software_changed": "software",
    "count_reset": "count_reset",
}


def box_id(name: Name) -> str:
    """Return the identifier that the NAMEs of one physical unit share."""
    return f"b{name.manufacturer_code:03x}{name.identity_number:06x}"


def visit_document(
    book: Reads, visit: r.Visit, tables: FactTables, *, already: bool = False
) -> Visit:
    """Tell one visit with all that its recording told."""
    content = book.visit_content(visit.id)
    machine = book.machine(visit.machine)
    places = book.visit_places(visit.id)
    seats = {
        one.id: one for owner in (visit.machine, *visit.others) for one in book.controllers(owner)
    }
    faults = [one for one in dict.fromkeys(book.visit_faults(visit.id)) if one is not None]
    known = places + (None,) * (len(content.controllers) - len(places))
    return {
        "visit": visit.id,
        "kind": visit.kind,
        "machine": visit.machine,
        "machine_name": machine.name,
        "recognised_by": cast(list[RecognisedBy], list(visit.recognised_by)),
        "doubts": [doubt_words(one) for one in doubts_of(book, visit)],
        "machines": [visit.machine, *visit.others],
        "file": visit.file,
        "sha256": visit.sha256,
        "format": visit.format,
        "already_in_book": already,
        "quality": visit.quality,
        "start_from": visit.start_from,
        "frames": visit.frames,
        "error_frames": visit.error_frames,
        "channels": list(visit.channels),
        "start": moment(visit, content.earliest_us),
        "start_at_s": seconds(visit, content.earliest_us),
        "end": moment(visit, content.latest_us),
        "end_at_s": seconds(visit, content.latest_us),
        "not_read": [not_read(one) for one in content.not_read],
        "engine_hours_start": visit.hours_start,
        "engine_hours_end": visit.hours_end,
        "engine_hours_from": visit.hours_from,
        "vin": visit.vin,
        "component": visit.component,
        "software": list(visit.software),
        "controllers": [
            _controller(visit, content, seen, seats[seat], tables)
            for seen, seat in zip(content.controllers, known, strict=True)
            if seat is not None
        ],
        "transport": {
            "complete": sum(count for _, count in content.transport.complete),
            "broken": [
                {"reason": reason, "count": count} for reason, count in content.transport.broken
            ],
        },
        "groups": [_group(content, i) for i in range(len(content.groups))],
        "ids_11bit": [_other_id(content, i) for i in range(len(content.other_ids))],
        "answers": _answers(visit, content),
        "clears": [clear_shown(visit, one) for one in content.clears],
        "events": [
            happening(one, visit)
            for one in sorted(
                (
                    one
                    for owner in (visit.machine, *visit.others)
                    for one in events_of(book, owner)
                    if one.visit == visit.id
                ),
                key=lambda one: one.at_us or 0,
            )
        ],
        "note": _note(book, visit),
        "faults": faults,
    }


def not_read(one: reading.NotRead) -> NotRead:
    """Write one entry of what could not be read."""
    return {"line": one.line, "byte": one.byte, "count": one.count, "reason": one.reason}


def _controller(
    visit: r.Visit,
    content: VisitContent,
    seen: ControllerSeen,
    seat: r.Controller,
    tables: FactTables,
) -> Controller:
    name = seen.name
    boxes: list[Box] = [
        {
            "box": box_id(held.name),
            "name": held.name.hex,
            "first_seen": moment(visit, held.first_us),
            "first_seen_at_s": seconds(visit, held.first_us),
            "last_seen": moment(visit, held.last_us),
            "last_seen_at_s": seconds(visit, held.last_us),
        }
        for held in content.claims
        if held.channel == seen.channel and held.address == seen.address
    ]
    return {
        "controller": seat.id,
        "machine": seat.machine,
        "channel": seen.channel,
        "address": seen.address,
        "name": name.hex if name else None,
        "identity_number": name.identity_number if name else None,
        "manufacturer_code": name.manufacturer_code if name else None,
        "function": name.function if name else None,
        "function_text": controller_words(seat, name, tables),
        "label": seat.label,
        "box": box_id(name) if name else None,
        "boxes": boxes,
        "first_seen": moment(visit, seen.first_us),
        "first_seen_at_s": seconds(visit, seen.first_us),
        "last_seen": moment(visit, seen.last_us),
        "last_seen_at_s": seconds(visit, seen.last_us),
        "dm1_manner": seen.dm1_manner,
    }


def _group(content: VisitContent, at: int) -> Group:
    one = content.groups[at]
    return {
        "pgn": one.pgn,
        "channel": one.channel,
        "address": one.address,
        "count": one.count,
        "period_s": one.period_s,
        "decoded": one.decoded,
    }


def _other_id(content: VisitContent, at: int) -> OtherId:
    one = content.other_ids[at]
    return {
        "channel": one.channel,
        "id": one.ident,
        "extended": one.extended,
        "count": one.count,
    }


def _answers(visit: r.Visit, content: VisitContent) -> list[Answer]:
    return [
        {
            "at": moment(visit, one.at_us),
            "at_s": seconds(visit, one.at_us),
            "channel": one.channel,
            "address": one.address,
            "what": one.what,
            "values": [{"name": name, "value": value} for name, value in one.values],
        }
        for one in content.answers
    ]


def clear_words(one: Cleared) -> str:
    """Say a clear in one sentence."""
    whom = "all controllers" if one.controller is None else f"address {one.controller}"
    which = f" (SPN {one.spn} FMI {one.fmi})" if one.spn is not None else ""
    return (
        f"A {CLEAR_WORDS[one.what]}{which} was asked of {whom} by address {one.asker} "
        f"and {RESULT_WORDS[one.result]}."
    )


def clear_shown(visit: r.Visit, one: Cleared) -> Clear:
    """Write one clear heard."""
    return {
        "at": moment(visit, one.at_us),
        "at_s": seconds(visit, one.at_us),
        "channel": one.channel,
        "asker": one.asker,
        "address": one.controller,
        "what": one.what,
        "result": one.result,
        "words": clear_words(one),
    }


def happening(event: r.MachineEvent, visit: r.Visit | None) -> Happening:
    """Write something that happened to a machine."""
    detail = dict(event.detail)
    what = EVENT_WHAT.get(event.kind, "other")
    at_us = event.at_us
    return {
        "what": what,  # type: ignore[typeddict-item]
        "visit": event.visit,
        "at": moment(visit, at_us) if visit is not None else None,
        "at_s": seconds(visit, at_us) if visit is not None else None,
        "hours": event.hours,
        "words": doubt_words(str(detail.get("words", event.kind))),
    }


def _note(book: Reads, visit: r.Visit) -> NoteWritten | None:
    if visit.kind != "by_hand":
        return None
    note = next((one for one in book.notes(visit.machine) if one.visit == visit.id), None)
    if note is None:
        return None
    photo = next(
        (one.name for one in note.attachments if one.media_type.startswith("image/")), None
    )
    voice = next(
        (one.name for one in note.attachments if not one.media_type.startswith("image/")), None
    )
    return {
        "text": note.text,
        "understood_as": note.kind,
        "words": note.code or note.text,
        "doing": note.doing,
        "hot_cold": note.hot_cold,
        "after_start": None if note.after_start_s is None else span(note.after_start_s),
        "after_start_s": note.after_start_s,
        "photo": photo,
        "voice": voice,
        "who": note.driver,
    }


def span(seconds_long: float) -> str:
    """Say a span in minutes or hours."""
    minutes = round(seconds_long / 60)
    if minutes < 1:
        return "at once"
    return f"{minutes} min" if minutes < 120 else f"{minutes / 60:.1f} h"
