"""The owner's own signals and code texts: tried, kept, listed."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import UTC, datetime
from pathlib import Path

import numpy as np

from shearbolt.app.documents import OwnCode, OwnCodeAsked, OwnCodesDocument, OwnSignal
from shearbolt.app.now import now_us
from shearbolt.app.samples import tidy
from shearbolt.book import Book
from shearbolt.decode.columns import BlockDecoder
from shearbolt.dictionary.merged import Dictionary
from shearbolt.dictionary.owner import (
    CodeText,
    parse_signals,
    parse_texts,
    write_signals,
    write_texts,
)
from shearbolt.errors import NotInBook, UsageError
from shearbolt.model.frames import F64, Frames
from shearbolt.model.instants import SECOND_US
from shearbolt.model.layout import SignalRow
from shearbolt.model.signal import NUMBER, SignalColumn
from shearbolt.recordings import open_recording

FIRST_VALUES = 8


def read_rows(rows_file: str) -> tuple[SignalRow, ...]:
    """Read a file of signal rows. Raises UsageError, DictionaryError."""
    try:
        text = Path(rows_file).read_text(encoding="utf-8-sig")
    except OSError as trouble:
        raise UsageError(f"{rows_file} cannot be read: {trouble.strerror}.") from None
    except UnicodeDecodeError:
        raise UsageError(f"{rows_file} is no text in UTF-8; save it as 'CSV UTF-8'.") from None
    return parse_signals(text, rows_file)


def frames_to_try(book: Book, tried_on: str) -> Iterator[Frames]:
    """Give the frames of a visit of the book, or of a recording file."""
    try:
        visit = book.visit(tried_on)
    except NotInBook:
        if not Path(tried_on).exists():
            raise NotInBook(
                f"{tried_on!r} is neither a visit of the book nor a recording file."
            ) from None
        return open_recording(tried_on).blocks()
    return book.frame_blocks(visit.id)


def try_rows(book: Book, rows: Sequence[SignalRow], tried_on: str) -> list[OwnSignal]:
    """Decode the rows on a recording and tell what they gave."""
    decoder = BlockDecoder(Dictionary.with_owner(tuple(rows), ()))
    wanted = {(row.pgn, row.spn, row.address): i for i, row in enumerate(rows)}
    pieces: dict[int, list[SignalColumn]] = {}
    for frames in frames_to_try(book, tried_on):
        for column in decoder.feed(frames).columns():
            if column.row.owner:
                at = wanted[column.row.pgn, column.row.spn, column.row.address]
                pieces.setdefault(at, []).append(column)
    return [own_signal(row, pieces.get(i, [])) for i, row in enumerate(rows)]


def own_signal(row: SignalRow, pieces: Sequence[SignalColumn] | None) -> OwnSignal:
    """Write one row, with what it gave when tried (None: it was not)."""
    shown: OwnSignal = {
        "spn": row.spn,
        "text": row.name,
        "unit": row.unit,
        "pgn": row.pgn,
        "address": row.address,
        "start_byte": row.start_byte,
        "start_bit": row.start_bit,
        "length_bits": row.length_bits,
        "resolution": row.resolution,
        "offset": row.offset,
        "source": row.source,
        "samples": None,
        "numbers": None,
        "low": None,
        "high": None,
        "first_values": [],
        "words": None,
    }
    if pieces is None:
        return shown
    value = np.concatenate([one.value for one in pieces]) if pieces else np.empty(0)
    status = np.concatenate([one.status for one in pieces]) if pieces else np.empty(0, np.uint8)
    numbers = value[status == NUMBER]
    shown["samples"], shown["numbers"] = len(value), len(numbers)
    shown["first_values"] = [
        tidy(float(one)) if state == NUMBER else None
        for one, state in zip(value[:FIRST_VALUES], status[:FIRST_VALUES], strict=True)
    ]
    if len(numbers):
        shown["low"], shown["high"] = tidy(float(numbers.min())), tidy(float(numbers.max()))
    shown["words"] = _trial_words(row, len(value), numbers)
    return shown


def _trial_words(row: SignalRow, samples: int, numbers: F64) -> str:
    where = f"group {row.pgn}" + (f" from address {row.address}" if row.address is not None else "")
    if not samples:
        return f"{where.capitalize()} was not heard in this recording."
    if not len(numbers):
        return f"All {samples} samples say 'not available' or 'error'."
    low, high = float(numbers.min()), float(numbers.max())
    if low == high:
        return f"It stands still at {low:g} {row.unit} in all {len(numbers)} samples."
    outside = int(np.count_nonzero((numbers < row.low) | (numbers > row.high)))
    words = f"It runs from {low:g} to {high:g} {row.unit} in {len(numbers)} samples"
    if outside:
        words += f"; {outside} of them lie outside the limits you gave"
    return words + "."


def keep_rows(book: Book, rows: Sequence[SignalRow]) -> None:
    """Add rows to the owner's own; a row of the same place replaces the earlier one."""
    text = book.owner.signals()
    kept = {
        (row.pgn, row.spn, row.address): row
        for row in (*(parse_signals(text) if text.strip() else ()), *rows)
    }
    book.owner.save_signals(write_signals(tuple(kept.values())))


def keep_code(book: Book, asked: OwnCodeAsked) -> CodeText:
    """Add a code text; one of the same code replaces the earlier one.

    Where no manufacturer code and function are given they are those of the only controller in
    the book that reports this code. Raises UsageError when that cannot be told.
    """
    if not asked.text.strip():
        raise UsageError("Give the text that the manual has for this code.")
    maker, function = asked.manufacturer_code, asked.function
    if maker is None or function is None:
        maker, function = _reporter(book, asked)
    when = datetime.fromtimestamp(now_us() / SECOND_US, UTC).date().isoformat()
    one = CodeText(
        maker, function, asked.spn, asked.fmi, asked.text.strip(), asked.page or "not given",
        "owner", when,
    )  # fmt: skip
    text = book.owner.codes()
    kept = {
        (old.manufacturer_code, old.function, old.spn, old.fmi): old
        for old in (*(parse_texts(text) if text.strip() else ()), one)
    }
    written = write_texts(tuple(kept.values()))
    parse_texts(written)
    book.owner.save_codes(written)
    return one


def _reporter(book: Book, asked: OwnCodeAsked) -> tuple[int, int]:
    kinds: set[tuple[int, int]] = set()
    for machine in book.machines():
        names = {box.controller: box.name for box in book.boxes(machine.id)}
        for fault in book.faults(machine.id):
            if fault.spn != asked.spn or (asked.fmi is not None and fault.fmi != asked.fmi):
                continue
            name = names.get(fault.controller or "")
            if name is not None:
                kinds.add((name.manufacturer_code, name.function))
    if len(kinds) != 1:
        why = "several kinds of controller report" if kinds else "no controller with a NAME reports"
        raise UsageError(
            f"Say whose code it is with --manufacturer-code and --function: {why} SPN {asked.spn}."
        )
    return kinds.pop()


def codes_document(book: Book, texts: Sequence[CodeText]) -> OwnCodesDocument:
    """List code texts with the faults they name."""
    named: dict[tuple[int, int], list[tuple[int | None, int | None, str]]] = {}
    for machine in book.machines():
        names = {box.controller: box.name for box in book.boxes(machine.id)}
        for fault in book.faults(machine.id):
            name = names.get(fault.controller or "")
            if name is not None:
                named.setdefault((name.manufacturer_code, name.function), []).append(
                    (fault.spn, fault.fmi, fault.id)
                )
    codes: list[OwnCode] = [
        {
            "manufacturer_code": one.manufacturer_code,
            "function": one.function,
            "spn": one.spn,
            "fmi": one.fmi,
            "text": one.text,
            "page": one.page,
            "faults": [
                id_
                for spn, fmi, id_ in named.get((one.manufacturer_code, one.function), [])
                if spn == one.spn and one.fmi in (None, fmi)
            ],
        }
        for one in texts
    ]
    return {"schema": "shearbolt/own-codes/1", "codes": codes}
