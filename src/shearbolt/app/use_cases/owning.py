"""The owner's own signals and code texts."""

from __future__ import annotations

from pathlib import Path

from shearbolt.app.documents import (
    OwnCodeAsked,
    OwnCodesDocument,
    OwnSignalsDocument,
    Wording,
)
from shearbolt.app.use_cases.opening import opened_book
from shearbolt.dictionary.owner import parse_signals, parse_texts
from shearbolt.errors import DictionaryError


def own_signal_add(
    book: Path, rows_file: str, *, tried_on: str, wording: Wording
) -> OwnSignalsDocument:
    """Try rows on a visit or recording and keep them."""
    return _own_signals(book, rows_file, tried_on, kept=True)


def own_signal_try(
    book: Path, rows_file: str, *, tried_on: str, wording: Wording
) -> OwnSignalsDocument:
    """Try rows on a visit or recording without keeping them."""
    return _own_signals(book, rows_file, tried_on, kept=False)


def _own_signals(book: Path, rows_file: str, tried_on: str, *, kept: bool) -> OwnSignalsDocument:
    from shearbolt.app import own

    rows = own.read_rows(rows_file)
    if not rows:
        raise DictionaryError(f"{rows_file} holds no row.")
    with opened_book(book) as opened:
        tried = own.try_rows(opened, rows, tried_on)
        if kept:
            own.keep_rows(opened, rows)
    return {
        "schema": "shearbolt/own-signals/1",
        "tried_on": tried_on,
        "kept": kept,
        "signals": tried,
    }


def own_signal_list(book: Path, *, wording: Wording) -> OwnSignalsDocument:
    """List the owner's signals."""
    from shearbolt.app import own

    with opened_book(book) as opened:
        text = opened.owner.signals()
    rows = parse_signals(text) if text.strip() else ()
    return {
        "schema": "shearbolt/own-signals/1",
        "tried_on": None,
        "kept": True,
        "signals": [own.own_signal(row, None) for row in rows],
    }


def own_code_add(book: Path, asked: OwnCodeAsked, *, wording: Wording) -> OwnCodesDocument:
    """Keep a code text."""
    from shearbolt.app import own

    with opened_book(book) as opened:
        return own.codes_document(opened, [own.keep_code(opened, asked)])


def own_code_list(book: Path, *, wording: Wording) -> OwnCodesDocument:
    """List the owner's code texts."""
    from shearbolt.app import own

    with opened_book(book) as opened:
        text = opened.owner.codes()
        return own.codes_document(opened, parse_texts(text) if text.strip() else ())
