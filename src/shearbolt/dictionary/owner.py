"""The owner's additions: signal rows and code texts of their own, read from and written to text.

They stay apart from ours, are marked as the owner's, and never overrule a row of ours. Files are
read and written elsewhere; here is only their text.
"""

from __future__ import annotations

import csv
import io
from dataclasses import dataclass, fields
from functools import partial

from shearbolt.dictionary.faults import FMI_TOP
from shearbolt.dictionary.signals import COLUMNS, SPN_TOP, row_of_spn, signal_row
from shearbolt.errors import DictionaryError
from shearbolt.model.layout import SignalRow

SIGNAL_COLUMNS = (*COLUMNS, "address")
"""Columns of the owner's signal table."""


@dataclass(frozen=True, slots=True)
class CodeText:
    """What one maker's manual says of one code, as the owner copied it."""

    manufacturer_code: int
    """Of the controller's NAME (SAE J1939-81); it stays a number."""
    function: int
    """Function of the controller's NAME."""
    spn: int
    fmi: int | None
    """None: the text holds for every FMI of this SPN."""
    text: str
    page: str
    """Where in the manual it stands."""
    who: str
    """Who copied it."""
    when: str
    """The day it was copied, as they wrote it."""


TEXT_COLUMNS = tuple(one.name for one in fields(CodeText))
"""Columns of the owner's code texts."""


@dataclass(frozen=True, slots=True)
class OwnerTables:
    """All that an owner added."""

    signals: tuple[SignalRow, ...] = ()
    texts: tuple[CodeText, ...] = ()


NO_ADDITIONS = OwnerTables()
"""An owner who added nothing."""


def parse_signals(text: str, file: str = "your signals") -> tuple[SignalRow, ...]:
    """Read the owner's signal rows from comma-separated text with the heading SIGNAL_COLUMNS.

    `address` and `pgn_acronym` may be empty, and the column `address` may be missing. Raises
    DictionaryError naming file, line and what to do: a wrong heading, a field out of range, a row
    that a row of ours already reads, two rows of one parameter in one group from one sender.
    """
    found: dict[tuple[int, int, int | None], int] = {}
    rows: list[SignalRow] = []
    for line, row_fields in _rows(text, file, SIGNAL_COLUMNS, may_miss=("address",)):
        try:
            row = signal_row(row_fields, owner=True)
            if any(ours.pgn == row.pgn for ours in row_of_spn(row.spn)):
                raise DictionaryError(
                    f"SPN {row.spn} in group {row.pgn} is already in the standard table; "
                    "give your own reading a number from 520192 up"
                )
            clash = _clash(found, row)
        except DictionaryError as error:
            raise DictionaryError(f"{file}, line {line}: {error.sentence}") from error
        if clash is not None:
            raise DictionaryError(
                f"{file}, line {line}: SPN {row.spn} in group {row.pgn} stands already in line "
                f"{clash}; keep one of them"
            )
        found[row.pgn, row.spn, row.address] = line
        rows.append(row)
    return tuple(rows)


def _clash(found: dict[tuple[int, int, int | None], int], row: SignalRow) -> int | None:
    """Find the line of an earlier row that would decode the same parameter of the same sender."""
    for (pgn, spn, address), line in found.items():
        if (pgn, spn) == (row.pgn, row.spn) and (
            address == row.address or address is None or row.address is None
        ):
            return line
    return None


def parse_texts(text: str, file: str = "your code texts") -> tuple[CodeText, ...]:
    """Read the owner's code texts from comma-separated text with the heading TEXT_COLUMNS.

    An empty `fmi` holds for every FMI of the SPN. Raises DictionaryError naming file, line and
    what to do: a wrong heading, a number out of range, no text, page or name, a code twice.
    """
    found: dict[tuple[int, int, int, int | None], int] = {}
    texts: list[CodeText] = []
    for line, row in _rows(text, file, TEXT_COLUMNS):
        whole = partial(_whole, row, file, line)
        for column in ("text", "page", "who", "when"):
            if not row[column].strip():
                raise DictionaryError(
                    f"{file}, line {line}: {column} is empty; every text names its page and who "
                    "copied it when"
                )
        one = CodeText(
            manufacturer_code=whole("manufacturer_code", 2047),
            function=whole("function", 255),
            spn=whole("spn", SPN_TOP),
            fmi=whole("fmi", FMI_TOP) if row["fmi"].strip() else None,
            text=row["text"].strip(),
            page=row["page"].strip(),
            who=row["who"].strip(),
            when=row["when"].strip(),
        )
        key = one.manufacturer_code, one.function, one.spn, one.fmi
        if key in found:
            raise DictionaryError(
                f"{file}, line {line}: this code stands already in line {found[key]}; "
                "keep one of them"
            )
        found[key] = line
        texts.append(one)
    return tuple(texts)


def parse_owner(signals: str, texts: str) -> OwnerTables:
    """Read both tables; an empty text is an empty table. Raises DictionaryError."""
    return OwnerTables(
        parse_signals(signals) if signals.strip() else (),
        parse_texts(texts) if texts.strip() else (),
    )


def write_signals(rows: tuple[SignalRow, ...]) -> str:
    """Write signal rows as comma-separated text that `parse_signals` reads back."""
    return _write(
        SIGNAL_COLUMNS,
        [
            [
                row.spn,
                row.name,
                row.pgn,
                row.acronym,
                row.start_byte,
                row.start_bit,
                row.length_bits,
                row.resolution,
                row.offset,
                row.unit,
                row.low,
                row.high,
                _state_texts(row),
                row.source,
                "" if row.address is None else row.address,
            ]
            for row in rows
        ],
    )


def write_texts(texts: tuple[CodeText, ...]) -> str:
    """Write code texts as comma-separated text that `parse_texts` reads back."""
    return _write(
        TEXT_COLUMNS,
        [
            ["" if (value := getattr(one, column)) is None else value for column in TEXT_COLUMNS]
            for one in texts
        ],
    )


def _state_texts(row: SignalRow) -> str:
    """Put states and remark together in a form that `read_states` takes apart again."""
    form = "{} {}" if row.unit == "state" else "raw {} {}"
    parts = [form.format(code, name) for code, name in row.states]
    return ",".join([row.note, *parts] if row.note else parts)


def _write(columns: tuple[str, ...], rows: list[list[object]]) -> str:
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(columns)
    writer.writerows(rows)
    return out.getvalue()


def _rows(
    text: str, file: str, columns: tuple[str, ...], may_miss: tuple[str, ...] = ()
) -> list[tuple[int, dict[str, str]]]:
    """Split text into rows by heading, each with its line; blank lines are passed over."""
    # A spreadsheet saves a byte-order mark, and a comma or a semicolon by its country.
    text = text.removeprefix("\ufeff")
    first = text.split("\n", 1)[0]
    divider = ";" if first.count(";") > first.count(",") else ","
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=divider, strict=True)
    try:
        head = [name.strip() for name in next(reader, [])]
        wanted = [name for name in columns if name not in head and name not in may_miss]
        strange = [name for name in head if name not in columns]
        if wanted or strange or len(set(head)) != len(head):
            problem = (
                f"the column {wanted[0]} is missing"
                if wanted
                else f"the column '{strange[0]}' is not known"
                if strange
                else "a column stands twice"
            )
            raise DictionaryError(
                f"{file}, line 1: {problem}; the heading must be {','.join(columns)}"
            )
        found: list[tuple[int, dict[str, str]]] = []
        last = reader.line_num
        for row in reader:
            line, last = last + 1, reader.line_num
            if not any(field.strip() for field in row):
                continue
            if len(row) != len(head):
                raise DictionaryError(
                    f"{file}, line {line}: {len(row)} fields where the heading has {len(head)}; "
                    "put a text with a comma in double quotes"
                )
            found.append((line, dict(zip(head, row, strict=True))))
    except csv.Error as error:
        raise DictionaryError(
            f"{file}, line {reader.line_num}: the quotes do not close ({error}); "
            "put a text with a comma in double quotes"
        ) from error
    return found


def _whole(row: dict[str, str], file: str, line: int, column: str, high: int) -> int:
    text = row[column].strip()
    if not (text.isascii() and text.isdecimal()) or len(text) > 9 or int(text) > high:
        raise DictionaryError(
            f"{file}, line {line}: {column} is '{text}'; write a whole number from 0 to {high}"
        )
    return int(text)
