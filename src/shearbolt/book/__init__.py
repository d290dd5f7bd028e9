"""The book: the fleet's record in one folder, written by one at a time, whole or not at all.

    folder/
      book.sqlite          machines, controllers, visits, faults, notes, repairs (SQL)
      evidence/ab/<sha256>.zst   each recording itself, never altered
      signals/<visit>/     its frames and long messages as Parquet, for reading by group
      attachments/ab/<sha256>    photos and voice clips
      owner/               signals.csv and codes.csv of the owner
      staging/             visits being brought in
      writer.lock          held by the one who writes

Use::

    with Book.open(folder) as book:
        if (visit := book.visit_by_sha256(hash_file(path))) is None:
            with book.stage() as stage:
                job = stage.evidence(path)            # copies and hashes in a thread
                for block in recording.blocks():
                    stage.frames(block)               # Parquet parts, synced
                stage.messages(messages, channels)    # reassembled long messages
                job.wait()                            # raises what went wrong
                with book.writing() as w:             # one transaction, one writer
                    machine = w.add_machine("Tractor 1", name_given=True, now_us=now)
                    place = w.ensure_controller(machine.id, place=name.place, address=0,
                                                now_us=now)
                    fault = w.ensure_fault(machine.id, place.id, "j1939", spn=110, fmi=0,
                                           now_us=now)
                    visit = w.file(stage, NewVisit(kind="recording", machine=machine.id, ...))
        book.visits(machine.id); book.visit_content(visit.id); book.sightings(fault.id)
        book.frames(visit.id, pgns=[61444]); book.messages(visit.id)

`Book`, what `Book.writing()` gives and what `Book.snapshot()` gives share all reading methods
(`Reads`). Errors: NotInBook, Ambiguous, BookBusy, BookTooNew, BookDamaged, BookError.

Each name is loaded when it is first asked for: what only stages files (`staging`) shall not wait
for the database library. So no module here may have the name of something in `__all__`.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from shearbolt.book.copies import Backup, backup
    from shearbolt.book.evidence import hash_file
    from shearbolt.book.integrity import Finding, check
    from shearbolt.book.merging import Imported, import_book
    from shearbolt.book.ordering import Placing, order_visits
    from shearbolt.book.owner import OwnerFiles
    from shearbolt.book.reads import Reads
    from shearbolt.book.record import Book
    from shearbolt.book.records import (
        Attachment,
        Box,
        Controller,
        Fault,
        Machine,
        MachineEvent,
        NewNote,
        NewVisit,
        Note,
        Repair,
        Sighting,
        Visit,
    )
    from shearbolt.book.staging import Filled, Filling, StagedVisit
    from shearbolt.book.writer import Writer

__all__ = [
    "Attachment",
    "Backup",
    "Book",
    "Box",
    "Controller",
    "Fault",
    "Filled",
    "Filling",
    "Finding",
    "Imported",
    "Machine",
    "MachineEvent",
    "NewNote",
    "NewVisit",
    "Note",
    "OwnerFiles",
    "Placing",
    "Reads",
    "Repair",
    "Sighting",
    "StagedVisit",
    "Visit",
    "Writer",
    "backup",
    "check",
    "hash_file",
    "import_book",
    "order_visits",
]

_HOMES = {
    "Backup": "copies",
    "backup": "copies",
    "hash_file": "evidence",
    "Finding": "integrity",
    "check": "integrity",
    "Imported": "merging",
    "import_book": "merging",
    "Placing": "ordering",
    "order_visits": "ordering",
    "OwnerFiles": "owner",
    "Reads": "reads",
    "Book": "record",
    "Attachment": "records",
    "Box": "records",
    "Controller": "records",
    "Fault": "records",
    "Machine": "records",
    "MachineEvent": "records",
    "NewNote": "records",
    "NewVisit": "records",
    "Note": "records",
    "Repair": "records",
    "Sighting": "records",
    "Visit": "records",
    "Filled": "staging",
    "Filling": "staging",
    "StagedVisit": "staging",
    "Writer": "writer",
}
"""The module of each name."""


def __getattr__(name: str) -> Any:
    """Load a name of the book from its module, once."""
    if name not in _HOMES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    found = getattr(importlib.import_module(f"{__name__}.{_HOMES[name]}"), name)
    globals()[name] = found
    return found
