"""The signal table: where each parameter lies in its group, and what its raw counts mean.

`data/signals.csv` is the table; each row names its sources by the codes of `data/sources.csv`.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from functools import cache

from shearbolt.dictionary.states import read_states
from shearbolt.dictionary.tables import table
from shearbolt.errors import DictionaryError
from shearbolt.model.layout import SignalRow

COLUMNS = (
    "spn",
    "name",
    "pgn",
    "pgn_acronym",
    "start_byte",
    "start_bit",
    "length_bits",
    "resolution",
    "offset",
    "unit",
    "low",
    "high",
    "state_texts",
    "source",
)
"""Columns of a signal table; an owner's table has `address` beside them."""

SPN_TOP = 524287
"""Largest suspect parameter number, 19 bits (SAE J1939-73)."""
PGN_TOP = 0x3FFFF
"""Largest parameter group number, 18 bits (SAE J1939-21)."""
LAST_BYTE = 1785
"""Longest message of the transport protocol (SAE J1939-21)."""
_FINEST, _LARGEST = 1e-15, 1e15
"""Beyond these no physical quantity lies, and whole counts would lose their exactness."""


def signal_row(fields: Mapping[str, str], *, owner: bool = False) -> SignalRow:
    """Make a SignalRow of one table row (text by column name), checked.

    `address` may be absent or empty: any sender. Raises DictionaryError naming the column,
    what it holds and what it may hold.
    """
    resolution = _decimal(fields, "resolution")
    if abs(resolution) < _FINEST:
        raise DictionaryError(f"resolution is {resolution:g}; give the physical step of one count")
    offset = _decimal(fields, "offset")
    low, high = _decimal(fields, "low"), _decimal(fields, "high")
    if low > high:
        raise DictionaryError(f"low ({low:g}) is above high ({high:g}); swap them")
    start_byte = _whole(fields, "start_byte", 1, LAST_BYTE)
    start_bit = _whole(fields, "start_bit", 1, 8)
    length_bits = _whole(fields, "length_bits", 1, 64)
    pgn = _whole(fields, "pgn", 0, PGN_TOP)
    if (pgn >> 8 & 0xFF) < 240 and pgn & 0xFF:
        raise DictionaryError(
            f"pgn {pgn} has an address in its last byte; for this kind of group write {pgn & ~0xFF}"
        )
    unit = _filled(fields, "unit")
    states, note = read_states(
        fields["state_texts"].strip(), unit, length_bits, resolution, offset, low, high
    )
    address = fields.get("address", "").strip()
    return SignalRow(
        spn=_whole(fields, "spn", 0, SPN_TOP),
        name=_filled(fields, "name"),
        pgn=pgn,
        acronym=fields["pgn_acronym"].strip(),
        start_byte=start_byte,
        start_bit=start_bit,
        length_bits=length_bits,
        resolution=resolution,
        offset=offset,
        unit=unit,
        low=low,
        high=high,
        states=states,
        note=note,
        source=_filled(fields, "source"),
        address=_whole(fields, "address", 0, 253) if address else None,
        owner=owner,
    )


def _filled(fields: Mapping[str, str], column: str) -> str:
    text = fields[column].strip()
    if not text:
        raise DictionaryError(f"{column} is empty; every row needs one")
    return text


def _whole(fields: Mapping[str, str], column: str, low: int, high: int) -> int:
    text = fields[column].strip()
    # isdecimal alone would let in digits of other scripts and a plus sign would slip through int.
    if not (text.isascii() and text.isdecimal()) or len(text) > 9 or not low <= int(text) <= high:
        raise DictionaryError(f"{column} is '{text}'; write a whole number from {low} to {high}")
    return int(text)


def _decimal(fields: Mapping[str, str], column: str) -> float:
    text = fields[column].strip()
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not abs(value) <= _LARGEST:  # refuses what is not a number, too
        raise DictionaryError(f"{column} is '{text}'; write a number with a decimal point")
    return value


@cache
def signal_rows() -> tuple[SignalRow, ...]:
    """Give every row of our signal table, in the table's order."""
    rows: list[SignalRow] = []
    for number, fields in enumerate(table("signals"), 2):
        try:
            rows.append(signal_row(fields))
        except DictionaryError as error:
            raise DictionaryError(f"signals.csv, row {number}: {error.sentence}") from error
    return tuple(rows)


def by_group(rows: tuple[SignalRow, ...]) -> dict[int, tuple[SignalRow, ...]]:
    """Sort rows under their group number, each group in the order of the rows."""
    found: dict[int, list[SignalRow]] = {}
    for row in rows:
        found.setdefault(row.pgn, []).append(row)
    return {pgn: tuple(some) for pgn, some in found.items()}


@cache
def _groups() -> dict[int, tuple[SignalRow, ...]]:
    return by_group(signal_rows())


@cache
def _parameters() -> dict[int, tuple[SignalRow, ...]]:
    found: dict[int, list[SignalRow]] = {}
    for row in signal_rows():
        found.setdefault(row.spn, []).append(row)
    return {spn: tuple(some) for spn, some in found.items()}


def rows_of_group(pgn: int) -> tuple[SignalRow, ...]:
    """Give our rows of one group; none when the table has no such group."""
    return _groups().get(pgn, ())


def row_of_spn(spn: int) -> tuple[SignalRow, ...]:
    """Give our rows of one parameter: none, one, or several when several groups carry it."""
    return _parameters().get(spn, ())
