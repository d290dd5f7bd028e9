"""Whole numbers out of diagnostic messages: little-endian, with the codes that are no numbers.

SAE J1939-71: a field of whole bytes holds a number while its top byte is 00 to FA; FB is
parameter specific, FC-FD reserved, FE error, FF not available.
"""

from __future__ import annotations

LAST_NUMBER = 0xFA
"""Largest top byte of a number."""


def unsigned(data: bytes, first_byte: int, width: int) -> int | None:
    """Read `width` bytes from `first_byte` (counted from 1), least significant first.

    No code is taken out. None when the data end before the field does.
    """
    field = data[first_byte - 1 : first_byte - 1 + width]
    return int.from_bytes(field, "little") if len(field) == width else None


def number(data: bytes, first_byte: int, width: int) -> int | None:
    """Read a field as `unsigned` does; None where its top byte says that it is no number."""
    raw = unsigned(data, first_byte, width)
    return None if raw is None or raw >> 8 * (width - 1) > LAST_NUMBER else raw


def count(data: bytes, first_byte: int) -> int | None:
    """Read a one-byte count that uses every code but FF (fault counts of SAE J1939-73)."""
    raw = unsigned(data, first_byte, 1)
    return None if raw == 0xFF else raw
