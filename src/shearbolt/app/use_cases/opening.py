"""Opening the book and its tables of facts."""

from __future__ import annotations

from pathlib import Path

from shearbolt.app.composing.tables import FactTables
from shearbolt.book import Book
from shearbolt.dictionary.merged import dictionary_of


def opened_book(book: Path) -> Book:
    """Open the book in a folder, made where there is none. Raises BookError."""
    return Book.open(book)


def tables_of(book: Book) -> FactTables:
    """Return the tables of facts with the owner's additions. Raises DictionaryError."""
    return FactTables(dictionary_of(book.owner.signals(), book.owner.codes()))
