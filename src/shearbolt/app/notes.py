"""Written down by hand: a code off the dash, a symptom or an event becomes a visit by hand."""

from __future__ import annotations

import mimetypes
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from shearbolt.app.documents import NoteAsked
from shearbolt.app.now import now_us
from shearbolt.book import Attachment, Book, Fault, NewNote, NewVisit, Visit, Writer
from shearbolt.errors import NoteNotUnderstood, UsageError
from shearbolt.model.fault import CountSeen, FaultKey, FaultSeen
from shearbolt.model.instants import HOUR_US, Instant
from shearbolt.model.reading import TimeBase
from shearbolt.model.visit import VisitContent
from shearbolt.wire.typed import TypedCode, TypedNote, read_minutes, read_note

DAY_US = 24 * HOUR_US


@dataclass(frozen=True, slots=True)
class Understood:
    """What a note was taken for."""

    kind: Literal["code", "symptom", "event"]
    words: str
    """In one sentence."""
    typed: TypedCode | TypedNote


def understand(text: str, own_words: Literal["symptom", "event"] | None = None) -> Understood:
    """Read a note as typed; `own_words` says that it is a symptom or an event in the person's own.

    Raises NoteNotUnderstood with one sentence.
    """
    typed = read_note(text, own_words=own_words)
    doubt = f" ({typed.doubt})" if typed.doubt else ""
    if isinstance(typed, TypedCode):
        return Understood("code", f"{typed.understood}{doubt}", typed)
    return Understood(typed.kind, f"{typed.text}{doubt}", typed)


def file_note(book: Book, asked: NoteAsked) -> Visit:
    """File a note as a visit by hand; all of it or nothing.

    Raises NoteNotUnderstood, UsageError (no machine named), NotInBook, Ambiguous, BookError.
    """
    understood = understand(asked.text, asked.own_words)
    after_start_s = 60.0 * read_minutes(asked.after_start) if asked.after_start else None
    now = now_us()
    at_us = now if asked.date_us is None else asked.date_us
    if at_us > now + DAY_US:
        raise NoteNotUnderstood("The date of the note lies in the future; check --date.")
    if asked.hours is not None and asked.hours < 0:
        raise NoteNotUnderstood("Engine hours cannot be negative; check --hours.")
    date_only = asked.date_us is not None and asked.date_us % DAY_US == 0
    with book.stage() as stage:
        attachments = tuple(
            Attachment(stage.attachment(Path(name)), Path(name).name, _media_type(name))
            for name in (asked.photo, asked.voice)
            if name is not None
        )
        with book.writing() as writer:
            machine = _machine(writer, asked.machine)
            fault = _fault(writer, machine, understood, now)
            seen = () if fault is None else (_seen(fault, understood, at_us),)
            visit = writer.file(
                None,
                NewVisit(
                    kind="by_hand",
                    machine=machine,
                    content=_content(at_us, seen),
                    filed_us=now,
                    quality="unknown",
                    start_from="given",
                    zero_us=0,
                    date_only=date_only,
                    hours_start=asked.hours,
                    hours_end=asked.hours,
                    hours_from="given" if asked.hours is not None else None,
                    recognised_by=("given",),
                    faults=(fault.id,) if fault is not None else (),
                ),
            )
            writer.add_note(
                NewNote(
                    visit=visit.id,
                    machine=machine,
                    kind=understood.kind,
                    text=asked.text,
                    created_us=now,
                    fault=fault.id if fault is not None else None,
                    code=understood.words,
                    hours=asked.hours,
                    date_us=at_us,
                    date_only=date_only,
                    doing=asked.doing,
                    hot_cold=asked.hot_cold,
                    after_start_s=after_start_s,
                    driver=asked.who,
                    attachments=attachments,
                ),
                stage,
            )
    return visit


def _media_type(name: str) -> str:
    return mimetypes.guess_type(name)[0] or "application/octet-stream"


def _machine(writer: Writer, named: str | None) -> str:
    """Find the machine a note is about; the only one there is needs no naming."""
    fleet = writer.machines()
    if named is not None:
        return writer.machine(named).id
    if len(fleet) == 1:
        return fleet[0].id
    known = ", ".join(repr(one.name) for one in fleet[:8])
    raise UsageError(
        "Say which machine the note is about with --machine"
        + (f"; the book has {known}." if fleet else "; the book has none yet.")
    )


def _fault(writer: Writer, machine: str, understood: Understood, now: Instant) -> Fault | None:
    """Find the fault that a note names, or add one; an event names none.

    A code joins the fault that the bus told of on this machine, where exactly one fits.
    """
    typed = understood.typed
    if understood.kind == "event":
        return None
    if isinstance(typed, TypedNote):
        return writer.ensure_fault(
            machine, None, "symptom", now_us=now, code=typed.text if typed.key else typed.words
        )
    code, kind = typed.code, typed.kind
    if code is not None and typed.failure_type:
        code = f"{code}-{typed.failure_type:02X}"
    elif kind == "uds":
        # Failure type 00 is none: the code that service 03 names.
        kind = "obd"
    alike = [
        one
        for one in writer.faults(machine)
        if (one.spn, one.fmi) == (typed.spn, typed.fmi)
        and (typed.spn is not None or one.code == code)
        and one.kind != "symptom"
    ]
    if typed.address is not None and len(alike) > 1:
        seats = {one.id for one in writer.controllers(machine) if one.address == typed.address}
        alike = [one for one in alike if one.controller in seats] or alike
    if len(alike) == 1:
        return alike[0]
    return writer.ensure_fault(
        machine,
        None,
        kind,
        now_us=now,
        spn=typed.spn,
        fmi=typed.fmi,
        code=code,
    )


def _seen(fault: Fault, understood: Understood, at_us: Instant) -> FaultSeen:
    typed = understood.typed
    count = typed.count if isinstance(typed, TypedCode) else None
    address = typed.address if isinstance(typed, TypedCode) else None
    return FaultSeen(
        FaultKey(fault.kind, "", address, fault.spn, fault.fmi, fault.code),
        ("hand",),
        at_us,
        at_us,
        "active",
        counts=(CountSeen(at_us, at_us, count),) if count is not None else (),
    )


def _content(at_us: Instant, faults: tuple[FaultSeen, ...]) -> VisitContent:
    return VisitContent(
        time_base=TimeBase.ABSOLUTE,
        first_us=at_us,
        earliest_us=at_us,
        latest_us=at_us,
        frames=0,
        error_frames=0,
        remote_frames=0,
        channels=(),
        faults=faults,
    )
