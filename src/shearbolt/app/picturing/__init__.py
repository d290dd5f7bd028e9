"""The plain figures of every picture, read from the book: `shearbolt.pictures` draws them."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from shearbolt.app.documents.asking import PLAIN_WORDING, Wording
from shearbolt.app.picturing.documents import FaultView, MachineView, Picture

if TYPE_CHECKING:
    from shearbolt.book import Book

__all__ = ["fault_picture", "fault_picture_of", "machine_picture", "machine_picture_of"]


def fault_picture(
    book: Path, which: str, of: FaultView, *, wording: Wording, spell: int | None = None
) -> Picture:
    """Give a picture of a fault; `spell` as in `spell_picture`. Raises NotInBook."""
    from shearbolt.app.use_cases.opening import opened_book

    with opened_book(book) as opened:
        return fault_picture_of(opened, which, of, wording, spell)


def machine_picture(book: Path, which: str, of: MachineView, *, wording: Wording) -> Picture:
    """Give a picture of a machine. Raises NotInBook, Ambiguous."""
    from shearbolt.app.use_cases.opening import opened_book

    with opened_book(book) as opened:
        return machine_picture_of(opened, which, of, wording)


def fault_picture_of(
    opened: Book,
    which: str,
    of: FaultView,
    wording: Wording = PLAIN_WORDING,
    spell: int | None = None,
) -> Picture:
    """Give a picture of a fault of an open book; `spell` as in `spell_picture`. Raises
    NotInBook."""
    from shearbolt.app.composing.faults import fault_document
    from shearbolt.app.concluding.record import read_machine
    from shearbolt.app.picturing.asked import Asked
    from shearbolt.app.picturing.conditions import conditions_picture
    from shearbolt.app.picturing.life import life_picture
    from shearbolt.app.picturing.odds import odds_picture
    from shearbolt.app.picturing.spell import spell_picture
    from shearbolt.app.use_cases.opening import tables_of

    with opened.snapshot() as reads:
        found = reads.fault(which)
        record = read_machine(reads, reads.machine(found.machine))
        asked = Asked(opened, record, tables_of(opened), wording)
        if of == "spell":
            return spell_picture(asked, found, spell)
        if of == "conditions":
            return conditions_picture(asked, found)
        if of == "life":
            return life_picture(asked, found)
        document = fault_document(record, found, asked.tables, asked.concluded, wording)
        return odds_picture(document, record.machine.name)


def machine_picture_of(
    opened: Book, which: str, of: MachineView, wording: Wording = PLAIN_WORDING
) -> Picture:
    """Give a picture of a machine of an open book; there is one, `soot`. Raises NotInBook,
    Ambiguous."""
    from shearbolt.app.concluding.record import read_machine
    from shearbolt.app.picturing.asked import Asked
    from shearbolt.app.picturing.soot import soot_picture
    from shearbolt.app.use_cases.opening import tables_of

    assert of == "soot"
    with opened.snapshot() as reads:
        record = read_machine(reads, reads.machine(which))
        return soot_picture(Asked(opened, record, tables_of(opened), wording))
