"""What a handover is made from: the sheet's words, its pictures' figures, the evidence's files."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from shearbolt.app.carrying import write_csv, write_file, write_json
from shearbolt.app.composing.faults import fault_document, words_by_id
from shearbolt.app.composing.handover_words import handover_sheet
from shearbolt.app.composing.machines import machine_document
from shearbolt.app.composing.tells import tells_document
from shearbolt.app.composing.work import check_entry, repair_entry
from shearbolt.app.concluding.kept import conclusions_of
from shearbolt.app.concluding.record import read_machine
from shearbolt.app.documents import (
    Fault,
    FileWritten,
    HandoverSheet,
    Progress,
    SignalsAsked,
    Wording,
)
from shearbolt.app.now import now_us
from shearbolt.app.picturing import fault_picture_of
from shearbolt.app.picturing.documents import FaultView, Picture
from shearbolt.app.samples import signals_document
from shearbolt.app.use_cases.opening import opened_book, tables_of
from shearbolt.book import Book

AROUND_S = 120.0
"""Seconds of signals before and after a spell."""
MOST_SPELLS = 10
"""Spells whose signals are written, the latest; all of them stand in spells.csv."""
README = """Evidence for one fault of one machine, in open formats.

sheet.pdf          the page for the technician
fault.json         the fault with all that is known of it, described in the project's docs/schemas
spells.csv         every recorded stretch in which it was active, one line each
signals/*.parquet  every decoded sample from 2 minutes before to 2 minutes after a spell
pictures/*.svg     the pictures

Times are UTC.
"""


@dataclass(frozen=True, slots=True)
class Handed:
    """Everything of a handover but what is drawn."""

    machine: str
    machine_name: str
    fault: str
    sheet: HandoverSheet
    pictures: Mapping[FaultView, Picture]
    files: list[FileWritten]
    """Files written so far."""


def hand_over_evidence(
    book: Path, which: str, folder: Path, *, progress: Progress, wording: Wording
) -> Handed:
    """Write a fault's evidence into a folder that exists, and give what the sheet is made from.

    Raises NotInBook, and OSError where the folder cannot be written.
    """
    files: list[FileWritten] = []
    with opened_book(book) as opened:
        tables = tables_of(opened)
        with opened.snapshot() as reads:
            found = reads.fault(which)
            owner = reads.machine(found.machine)
            record = read_machine(reads, owner)
            concluded = conclusions_of(opened, record, tables)
            fault = fault_document(record, found, tables, concluded, wording)
            machine = machine_document(record, tables, concluded, wording)
            tells = tells_document(record, tables, reads.learnt_signals(owner.id))
        texts = {one.id: words_by_id(record, tables)(one.id) for one in record.faults}
        sheet = handover_sheet(
            fault,
            machine,
            tells,
            [check_entry(one, texts, wording) for one in record.checks if one.fault == found.id],
            [
                repair_entry(one, {found.id: fault})
                for one in record.repairs
                if found.id in one.faults
            ],
            now_us(),
            wording.units,
        )
        write_file(folder, "README.txt", README.encode(), "what is what", files)
        write_json(folder, "fault.json", fault, "the fault", files)
        _spells(folder, fault, files)
        _signals(opened, fault, folder, files, progress)
        pictures: dict[FaultView, Picture] = {}
        views: tuple[FaultView, ...] = ("spell", "conditions", "life", "odds")
        for view in views:
            progress(0, 0, "Drawing")
            pictures[view] = fault_picture_of(opened, found.id, view, wording)
    return Handed(owner.id, owner.name, found.id, sheet, pictures, files)


def _spells(folder: Path, fault: Fault, files: list[FileWritten]) -> None:
    heads = (
        "visit", "start", "start_at_s", "start_known", "end", "end_at_s", "ended_by",
        "count_start", "count_end",
    )  # fmt: skip
    rows = [
        (
            one["visit"], one["start"], one["start_at_s"], one["start_known"], one["end"],
            one["end_at_s"], one["ended_by"], one["count_start"], one["count_end"],
        )
        for one in fault["spells"]
    ]  # fmt: skip
    write_csv(folder, "spells.csv", heads, rows, "its spells, one line each", files)


def _signals(
    opened: Book, fault: Fault, folder: Path, files: list[FileWritten], progress: Progress
) -> None:
    tables = tables_of(opened)
    chosen = [one for one in fault["spells"] if one["start_at_s"] is not None][-MOST_SPELLS:]
    for number, spell in enumerate(chosen, start=1):
        visit = opened.visit(spell["visit"])
        if visit.sha256 is None:
            continue
        progress(number, len(chosen), "Writing signals around its spells")
        begin = spell["start_at_s"] or 0.0
        end = spell["end_at_s"] if spell["end_at_s"] is not None else begin
        name = f"signals/{number:02d}-{visit.id}.parquet"
        target = folder / name
        target.parent.mkdir(exist_ok=True)
        asked = SignalsAsked(
            visit.id,
            from_=f"{begin - AROUND_S:.6f}",
            to=f"{end + AROUND_S:.6f}",
            parquet=str(target),
        )
        signals_document(opened, visit, tables, asked, with_samples=False, progress=progress)
        # Written by now: the list wants its size and hash.
        write_file(folder, name, target.read_bytes(), "signals around a spell", files)
