"""Cells of a table: times, identifiers and data in the ways in which people's programs write them.

A reader raises ValueError with the reason, in words for a person.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from shearbolt.model.frames import EXTENDED
from shearbolt.model.instants import from_iso
from shearbolt.model.reading import TimeBase
from shearbolt.recordings.columns import TIME_UNITS_US
from shearbolt.recordings.dates import header_date
from shearbolt.recordings.text import LATEST_US

NO_TIME = "row without a readable time"
NO_IDENT = "row without a readable identifier"
NO_DATA = "row whose data cannot be read"
WRONG_LENGTH = "data that are not as long as their length field says"

ABSOLUTE_FROM_US = 100_000_000 * 1_000_000
"""Times beyond this (March 1973) count from 1970; smaller ones from a zero of their own."""

_UNITS_US = {
    **TIME_UNITS_US,
    "sec": 1e6,
    "min": 60e6,
    # The micro sign in UTF-8, read byte by byte; and the Greek letter, either way.
    "\u00c2\u00b5s": 1.0,
    "\u00ce\u00bcs": 1.0,
    "\u03bcs": 1.0,
}
_WITH_UNIT = re.compile(
    r"\s*([-+]?\d{1,18}(?:[.,]\d+)?)\s*([a-z\u00b5\u00c2\u00ce\u00bc\u03bc]+)\s*$", re.I
).match
_PLAIN = re.compile(r"\s*[-+]?\d{1,20}(?:[.,]\d+)?(?:[eE][-+]?\d{1,2})?\s*$").match
_CLOCK = re.compile(r"\s*(\d{1,2}):(\d{2}):(\d{2})(?:[.,:](\d+))?\s*$").match
_SEPARATORS = re.compile(r"[\s,;:|\[\](){}'\"=_-]+")
_HEX_WORD = re.compile(r"(?:0x)?((?:[0-9a-f]{2})+|[0-9a-f])h?$", re.I).match
_DAY_US = 86400 * 1_000_000

TimeReader = Callable[[str], int]


@dataclass(frozen=True, slots=True)
class TimeForm:
    """How a column writes its times."""

    kind: str
    """'unit' (each with its unit), 'plain' (numbers), 'clock' (time of day) or 'date'."""
    scale_us: float = 1e6
    """Microseconds in one, for plain numbers."""
    base: TimeBase = TimeBase.RELATIVE

    def reader(self) -> TimeReader:
        """Make the function that reads a cell as microseconds; it raises ValueError."""
        if self.kind == "unit":
            return read_with_unit
        if self.kind == "clock":
            return _Clock().read
        if self.kind == "date":
            return read_date
        scale = self.scale_us

        def plain(cell: str) -> int:
            value = float(cell) * scale
            if not -LATEST_US < value < LATEST_US:
                raise ValueError(NO_TIME)
            return round(value)

        def careful(cell: str) -> int:
            try:
                return plain(cell)
            except ValueError:
                if not _PLAIN(cell):
                    raise ValueError(NO_TIME) from None
                return plain(cell.replace(",", "."))

        return careful


def time_kind(cells: Sequence[str]) -> str | None:
    """Tell how most of these cells write a time; None when most write none."""
    votes = {"unit": 0, "plain": 0, "clock": 0, "date": 0}
    for cell in cells:
        found = _WITH_UNIT(cell)
        if _PLAIN(cell):
            votes["plain"] += 1
        elif found and found[2].lower() in _UNITS_US:
            votes["unit"] += 1
        elif _CLOCK(cell):
            votes["clock"] += 1
        elif _date_or_none(cell) is not None:
            votes["date"] += 1
    best = max(votes, key=lambda kind: votes[kind])
    return best if votes[best] * 2 > len(cells) else None


def plain_number(cell: str) -> float | None:
    """Read a plain number, with point or comma; None when it is none."""
    return float(cell.replace(",", ".")) if _PLAIN(cell) else None


def read_with_unit(cell: str) -> int:
    """Read '-139.5ms' as microseconds."""
    found = _WITH_UNIT(cell)
    scale = _UNITS_US.get(found[2].lower()) if found else None
    if found is None or scale is None:
        raise ValueError(NO_TIME)
    return round(float(found[1].replace(",", ".")) * scale)


def read_date(cell: str) -> int:
    """Read a date with its time as an instant; without a zone it is taken as UTC."""
    found = _date_or_none(cell)
    if found is None:
        raise ValueError(NO_TIME)
    return found


def _date_or_none(cell: str) -> int | None:
    """Read ISO 8601 (also with slashes) or day.month.year."""
    text = cell.strip()
    if len(text) < 10 or not text[0].isdigit():
        return None
    try:
        return from_iso(text.replace("/", "-").replace(",", "."))
    except (ValueError, OverflowError):
        return header_date(text)


class _Clock:
    """Times of day, counted on over midnight."""

    def __init__(self) -> None:
        self._last_us = 0
        self._days_us = 0

    def read(self, cell: str) -> int:
        """Read 'HH:MM:SS.ffffff'."""
        found = _CLOCK(cell)
        if found is None:
            raise ValueError(NO_TIME)
        hour, minute, second = int(found[1]), int(found[2]), int(found[3])
        if hour > 23 or minute > 59 or second > 60:
            raise ValueError(NO_TIME)
        fraction = int((found[4] or "0")[:6].ljust(6, "0"))
        at_us = ((hour * 60 + minute) * 60 + second) * 1_000_000 + fraction + self._days_us
        if at_us < self._last_us - _DAY_US // 2:
            self._days_us += _DAY_US
            at_us += _DAY_US
        self._last_us = at_us
        return at_us


def read_ident(cell: str, decimal: bool) -> tuple[int, int]:
    """Read an identifier: its number and EXTENDED or 0.

    It has 29 bits when a mark says so ('18FEF100x'), when it is written with more than four
    hexadecimal digits, or when its value needs them.
    """
    text = cell.strip().strip("'\"=")
    marked = text[-1:] in "xX" and len(text) > 1
    if marked:
        text = text[:-1]
    if text[-1:] in "hH":
        text = text[:-1]
    hexadecimal = not decimal
    if text[:2] in ("0x", "0X"):
        text, hexadecimal = text[2:], True
    if not text or not text.isalnum() or not text.isascii() or len(text) > 10:
        raise ValueError(NO_IDENT)
    try:
        ident = int(text, 16 if hexadecimal else 10)
    except ValueError:
        raise ValueError(NO_IDENT) from None
    if ident > 0x1FFFFFFF:
        raise ValueError("identifier of more than 29 bits")
    extended = marked or ident > 0x7FF or (hexadecimal and len(text) > 4)
    return ident, EXTENDED if extended else 0


def read_data(cell: str, decimal: bool, short: bool = False) -> bytes:
    """Read data bytes from one cell: 'FF 00', 'FF00', '0xFF,0x00', or decimal '255 0'.

    `short` allows bytes of one hexadecimal digit, for tables that write them so; elsewhere one
    digit is half a byte that was cut.
    """
    try:
        if not decimal:
            return bytes.fromhex(cell)
    except ValueError:
        pass
    words = [one for one in _SEPARATORS.split(cell) if one]
    try:
        if decimal:
            return bytes(int(one) for one in words)
        out = bytearray()
        for word in words:
            found = _HEX_WORD(word)
            if found is None or (len(found[1]) == 1 and not short):
                raise ValueError
            out += bytes.fromhex(found[1] if len(found[1]) > 1 else "0" + found[1])
        return bytes(out)
    except ValueError:
        raise ValueError(NO_DATA) from None


def read_byte_cells(cells: Sequence[str], decimal: bool) -> bytes:
    """Read data from one cell a byte; empty cells stand only behind the last byte."""
    given = list(cells)
    while given and given[-1].strip() in ("", "-", "--"):
        given.pop()
    out = bytearray()
    for cell in given:
        one = read_data(cell.strip() or "?", decimal, short=True)
        if len(one) != 1:
            raise ValueError(NO_DATA)
        out += one
    return bytes(out)


def is_decimal_data(cells: Sequence[str]) -> bool:
    """Tell whether bytes are written as decimal numbers: of uneven width, up to 255, no letters."""
    words = [one for cell in cells for one in _SEPARATORS.split(cell) if one]
    if not words or not all(one.isdecimal() and len(one) <= 3 and int(one) < 256 for one in words):
        return False
    widths = {len(one) for one in words}
    return 3 in widths or (1 in widths and 2 in widths and not any(w == "00" for w in words))


_YES = frozenset(
    (
        *("1", "y", "yes", "true", "t", "x", "ext", "extended", "xtd", "29", "29bit", "29-bit"),
        *("r", "rtr", "remote", "fd"),
    )
)


def has_short_bytes(cells: Sequence[str]) -> bool:
    """Tell whether bytes are written without leading zeros: more than a cut one here or there."""
    words = [one for cell in cells for one in _SEPARATORS.split(cell) if one]
    return sum(len(one.lower().removeprefix("0x")) == 1 for one in words) * 100 > len(words)


def is_yes(cell: str) -> bool:
    """Read a mark: 1, yes, true, x, extended, 29-bit and the like are yes."""
    return cell.strip().lower().rstrip(".") in _YES
