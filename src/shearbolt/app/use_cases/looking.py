"""Looking: the yard, machines, visits, faults, signals, what a machine tells."""

from __future__ import annotations

from pathlib import Path

from shearbolt.app.composing.faults import fault_document, machine_faults, repair_shown
from shearbolt.app.composing.machines import machine_document, yard_machine
from shearbolt.app.composing.tells import tells_document
from shearbolt.app.composing.visits import visit_document
from shearbolt.app.concluding.kept import conclusions_of
from shearbolt.app.concluding.record import read_machine
from shearbolt.app.documents import (
    PLAIN_WORDING,
    FaultDocument,
    FaultsDocument,
    MachineDocument,
    MachineFaults,
    Progress,
    SignalsAsked,
    SignalsDocument,
    TellsDocument,
    VisitDocument,
    Wording,
    YardDocument,
    YardMachine,
)
from shearbolt.app.use_cases.opening import opened_book, tables_of
from shearbolt.book import Book


def yard(book: Path, *, wording: Wording) -> YardDocument:
    """Look at the fleet."""
    with opened_book(book) as opened:
        return yard_of(opened, wording)


CARE = ("stop_now", "finish_gently", "keep_working", "note_only")
"""The most careful first; a machine of which nothing can be said stands behind 'finish gently'."""


def yard_of(opened: Book, wording: Wording = PLAIN_WORDING) -> YardDocument:
    """Tell the fleet of an open book."""
    tables = tables_of(opened)
    machines: list[YardMachine] = []
    with opened.snapshot() as reads:
        for one in reads.machines():
            record = read_machine(reads, one)
            concluded = conclusions_of(opened, record, tables)
            machines.append(yard_machine(record, tables, concluded, wording))
    machines.sort(
        key=lambda one: (
            CARE.index(one["advice"]) if one["advice"] is not None else 1.5,
            -one["active"],
            -one["open"],
            one["machine_name"].casefold(),
        )
    )
    return {"schema": "shearbolt/yard/1", "machines": machines}


def machine(book: Path, which: str, *, wording: Wording) -> MachineDocument:
    """Look at one machine. Raises NotInBook, Ambiguous."""
    with opened_book(book) as opened, opened.snapshot() as reads:
        record = read_machine(reads, reads.machine(which))
        tables = tables_of(opened)
        return machine_document(record, tables, conclusions_of(opened, record, tables), wording)


def visit(book: Path, which: str, *, wording: Wording) -> VisitDocument:
    """Look at one visit. Raises NotInBook."""
    with opened_book(book) as opened, opened.snapshot() as reads:
        shown = visit_document(reads, reads.visit(which), tables_of(opened))
    return {"schema": "shearbolt/visit/1", **shown}


def faults(
    book: Path,
    *,
    machine: str | None,
    visit: str | None,
    everything: bool,
    wording: Wording,
) -> FaultsDocument:
    """Look at faults; `everything` includes cleared and stale ones and clean machines."""

    with opened_book(book) as opened:
        return faults_of(opened, machine, visit, everything, wording)


def faults_of(
    opened: Book,
    machine: str | None,
    visit: str | None,
    everything: bool,
    wording: Wording = PLAIN_WORDING,
) -> FaultsDocument:
    """Tell the faults of an open book."""
    tables = tables_of(opened)
    with opened.snapshot() as reads:
        chosen = [reads.machine(machine)] if machine is not None else reads.machines()
        if visit is not None:
            heard = reads.visit(visit)
            ids = {heard.machine, *heard.others}
            chosen = [one for one in chosen if one.id in ids]
        shown: list[MachineFaults] = []
        for one in chosen:
            record = read_machine(reads, one)
            concluded = conclusions_of(opened, record, tables)
            shown.append(
                machine_faults(
                    record, tables, concluded, visit=visit, everything=everything, wording=wording
                )
            )
    if not everything and machine is None:
        shown = [one for one in shown if one["faults"] or one["lamp_without_code"]]
    return {"schema": "shearbolt/faults/1", "machines": shown}


def fault(book: Path, which: str, *, wording: Wording) -> FaultDocument:
    """Look at one fault. Raises NotInBook."""
    with opened_book(book) as opened, opened.snapshot() as reads:
        found = reads.fault(which)
        owner = reads.machine(found.machine)
        record = read_machine(reads, owner)
        tables = tables_of(opened)
        shown = fault_document(
            record, found, tables, conclusions_of(opened, record, tables), wording
        )
    return {
        "schema": "shearbolt/fault/1",
        "machine": owner.id,
        "machine_name": owner.name,
        "repairs": [repair_shown(one) for one in record.repairs if found.id in one.faults],
        **shown,
    }


def signals(
    book: Path,
    asked: SignalsAsked,
    *,
    with_samples: bool,
    progress: Progress,
    wording: Wording,
) -> SignalsDocument:
    """Give samples: in a file if one is named, else in the document if `with_samples`."""
    from shearbolt.app.samples import signals_document

    with opened_book(book) as opened:
        return signals_document(
            opened,
            opened.visit(asked.visit),
            tables_of(opened),
            asked,
            with_samples=with_samples,
            progress=progress,
        )


def tells(book: Path, which: str, *, wording: Wording) -> TellsDocument:
    """Say what a machine tells. Raises NotInBook, Ambiguous."""
    with opened_book(book) as opened, opened.snapshot() as reads:
        owner = reads.machine(which)
        return tells_document(
            read_machine(reads, owner), tables_of(opened), reads.learnt_signals(owner.id)
        )
