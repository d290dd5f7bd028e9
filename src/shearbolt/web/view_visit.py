"""A visit: what one look at a machine told; and what bringing recordings in told. Pure."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypedDict

from shearbolt.app.documents import (
    AddDocument,
    FaultNews,
    MachineDocument,
    NewSince,
    Visit,
    VisitDocument,
)
from shearbolt.web import phrases, words
from shearbolt.web.look import Look
from shearbolt.web.view_machine import FaultRow, fault_row

_NEWS_SHOWN = 30


@dataclass(frozen=True, slots=True)
class VisitShown:
    """A visit's page."""

    visit: str
    machine: str
    machine_name: str
    what: str
    by_hand: bool
    when: str
    hours: str
    note: str
    understood: str
    note_facts: tuple[tuple[str, str], ...]
    faults: tuple[FaultRow, ...]
    quality: str
    sure: bool
    """Nothing is missing, so that its silence counts."""
    doubts: tuple[str, ...]
    not_read: tuple[str, ...]
    events: tuple[str, ...]
    clears: tuple[str, ...]
    recognised: str
    start_from: str
    facts: tuple[tuple[str, str], ...]
    controllers: tuple[tuple[str, str, str], ...]
    answers: tuple[tuple[str, str, str], ...]
    groups: tuple[tuple[int, int, int, str], ...]
    """Group, address, frames, and the time between them."""


def visit_shown(document: VisitDocument, machine: MachineDocument, look: Look) -> VisitShown:
    """Make the page of a visit; `machine` names its faults."""
    heard = set(document["faults"])
    note = document["note"]
    facts = (
        ("File", phrases.file_name(document["file"])),
        ("Form", document["format"] or ""),
        ("Frames", f"{document['frames']:,}" if document["frames"] else ""),
        ("Error frames", f"{document['error_frames']:,}" if document["error_frames"] else ""),
        ("VIN told", document["vin"] or ""),
        ("Software told", ", ".join(document["software"])),
        ("SHA-256", document["sha256"] or ""),
        ("In this book", document["visit"]),
    )
    return VisitShown(
        visit=document["visit"],
        machine=document["machine"],
        machine_name=document["machine_name"],
        what=words.KINDS[document["kind"]],
        by_hand=document["kind"] == "by_hand",
        when=_when(document, look),
        hours=phrases.hour_span(document["engine_hours_start"], document["engine_hours_end"]),
        note=note["text"] if note else "",
        understood=phrases.sentence(note["words"]) if note else "",
        note_facts=_note_facts(document),
        faults=tuple(fault_row(one, look) for one in machine["faults"] if one["fault"] in heard),
        quality=words.QUALITY[document["quality"]],
        sure=document["quality"] == "complete" and not document["not_read"],
        doubts=tuple(phrases.for_page(one) for one in document["doubts"]),
        not_read=tuple(
            phrases.sentence(f"{phrases.many(one['count'], 'place')}: {one['reason']}")
            for one in document["not_read"]
        ),
        events=tuple(phrases.sentence(one["words"]) for one in document["events"]),
        clears=tuple(phrases.sentence(one["words"]) for one in document["clears"]),
        recognised=_recognised(document),
        start_from=words.START_FROM[document["start_from"]],
        facts=tuple(one for one in facts if one[1]),
        controllers=tuple(
            (
                phrases.sentence(one["label"] or one["function_text"] or "Controller").rstrip("."),
                words.MANNERS[one["dm1_manner"]],
                "" if one["address"] is None else f"address {one['address']}",
            )
            for one in document["controllers"]
        ),
        answers=tuple(
            (
                one["what"],
                f"address {one['address']}",
                "; ".join(f"{value['name']}: {value['value']}" for value in one["values"]),
            )
            for one in document["answers"]
        ),
        groups=tuple(
            (
                one["pgn"],
                one["address"],
                one["count"],
                "" if one["period_s"] is None else f"{one['period_s']:.3g} s",
            )
            for one in document["groups"]
        ),
    )


def _when(visit: Visit, look: Look) -> str:
    told = phrases.when(visit["start"], look, visit["start_at_s"])
    if visit["kind"] == "by_hand" or visit["start_at_s"] is None or visit["end_at_s"] is None:
        return told
    return f"{told}, for {phrases.span(max(0.0, visit['end_at_s'] - visit['start_at_s']))}"


def _recognised(visit: Visit) -> str:
    how = [words.RECOGNISED[one] for one in visit["recognised_by"]]
    return phrases.sentence(f"Known {' and '.join(how)}") if how else ""


def _note_facts(visit: Visit) -> tuple[tuple[str, str], ...]:
    note = visit["note"]
    if note is None:
        return ()
    facts = (
        ("Doing", note["doing"] or ""),
        ("Hot or cold", note["hot_cold"] or ""),
        ("After the start", note["after_start"] or ""),
        ("Picture", note["photo"] or ""),
        ("Voice", note["voice"] or ""),
        ("Written by", note["who"] or ""),
    )
    return tuple(one for one in facts if one[1])


class BroughtVisit(TypedDict):
    """One recording that was brought in."""

    visit: str
    machine: str
    machine_name: str
    file: str
    words: str
    known: bool
    doubts: list[str]


class Brought(TypedDict):
    """What bringing recordings in told; kept as JSON until nobody asks for it any more."""

    visits: list[BroughtVisit]
    refused: list[tuple[str, str]]
    news: list[tuple[str, str, str, str]]
    """What is new of it, machine, name of the fault, identifier of the fault."""
    machines: list[tuple[str, str]]
    first: bool
    """The book was empty before."""


def brought(document: AddDocument, look: Look) -> Brought:
    """Put what bringing in told in words."""
    news = document["new_since"]
    return {
        "visits": [brought_visit(one, look) for one in document["visits"]],
        "refused": [
            (phrases.file_name(one["file"]), phrases.for_page(_reason(one["file"], one["reason"])))
            for one in document["refused"]
        ],
        "news": _news(news)[:_NEWS_SHOWN],
        "machines": [(one["machine"], one["machine_name"]) for one in news["machines"]],
        "first": news["since"] is None,
    }


def _reason(file: str, reason: str) -> str:
    return reason.replace(f"{file}: ", "").replace(file, phrases.file_name(file))


def brought_visit(visit: Visit, look: Look) -> BroughtVisit:
    """Put a recording that was filed in words."""
    told = phrases.many(len(visit["faults"]), "fault") if visit["faults"] else "no fault told"
    return {
        "visit": visit["visit"],
        "machine": visit["machine"],
        "machine_name": visit["machine_name"],
        "file": phrases.file_name(visit["file"]),
        "words": f"{_when(visit, look)}; {told}",
        "known": visit["already_in_book"],
        "doubts": [phrases.for_page(one) for one in visit["doubts"]],
    }


def _news(news: NewSince) -> list[tuple[str, str, str, str]]:
    kinds: tuple[tuple[str, list[FaultNews]], ...] = (
        ("Came back", news["came_back"]),
        ("Never seen before", news["faults"]),
        ("Counted up", news["counts_rose"]),
    )
    return [
        (kind, one["machine_name"], phrases.sentence(one["text"]).rstrip("."), one["fault"])
        for kind, faults in kinds
        for one in faults
    ]
