"""One value of one parameter out of one message, the careful way: plain integers, no arrays.

The array kernel decodes whole recordings; this twin serves single messages (freeze frames,
messages in several packets) and the tests.
"""

from __future__ import annotations

from shearbolt.dictionary.rules import NOT_AVAILABLE, NUMBER, is_text, raw_rules, status_of
from shearbolt.model.layout import SignalRow


def raw_of(payload: bytes, row: SignalRow) -> int | None:
    """Cut the raw count of a row out of a payload, least significant byte first.

    None when the payload ends before the field does (SAE J1939-21: byte 1 is sent first;
    SAE J1939-71: multi-byte numbers are least significant byte first).
    """
    first = row.first_bit
    if first + row.length_bits > 8 * len(payload):
        return None
    head, shift = divmod(first, 8)
    tail = (first + row.length_bits + 7) // 8
    raw = int.from_bytes(payload[head:tail], "little") >> shift
    return raw & (1 << row.length_bits) - 1


def physical(raw: int, row: SignalRow) -> float:
    """Scale a raw count: raw x resolution + offset, in the row's unit (SAE J1939-71).

    There is no two's complement: signed quantities have a negative offset.
    """
    return raw * row.resolution + row.offset


def decode_value(payload: bytes, row: SignalRow) -> tuple[float | None, int]:
    """Read one parameter from a payload of any length.

    Returns the physical value in the row's unit and a status of model.signal; the value is None
    unless the status is NUMBER. A field beyond the end of the payload is NOT_AVAILABLE.
    """
    raw = raw_of(payload, row)
    if raw is None:
        return None, NOT_AVAILABLE
    status = status_of(raw, raw_rules(row))
    return (physical(raw, row) if status == NUMBER else None), status


def decode_text(payload: bytes, row: SignalRow) -> str | None:
    """Read a parameter that holds characters (SPN 162, 163); None when it holds none.

    Characters 00 and FF are 'error' and 'not available' (SAE J1939-71) and left out.
    """
    raw = raw_of(payload, row)
    if raw is None or not is_text(row):
        return None
    characters = raw.to_bytes((row.length_bits + 7) // 8, "little")
    text = "".join(chr(one) for one in characters if one not in (0x00, 0xFF)).strip()
    return text if text.isprintable() and text else None


def state_name(row: SignalRow, raw: int) -> str | None:
    """Give the name that the row's list has for a raw count, or None."""
    for code, name in row.states:
        if code == raw:
            return name
    return None
