"""Data bytes of SAE J1979 parameter identifiers to values, readiness and lists of identifiers.

The formulas are rows of the PID table; only what is no formula has code here.
"""

from __future__ import annotations

from shearbolt.dictionary.pids import PidField, pid_table
from shearbolt.model.road import Monitor, PidValue

SUPPORT_PIDS = frozenset(range(0x00, 0x100, 0x20))
"""Identifiers whose data say which of the next 32 are there."""
READINESS_PIDS = frozenset({0x01, 0x41})

_CONTINUOUS = ("misfire", "fuel system", "components")
_SPARK = (
    "catalyst",
    "heated catalyst",
    "evaporative system",
    "secondary air",
    "air conditioning or particulate filter",
    "oxygen sensor",
    "oxygen sensor heater",
    "EGR or valve timing",
)
_COMPRESSION = (
    "NMHC catalyst",
    "NOx aftertreatment",
    None,
    "boost pressure",
    None,
    "exhaust gas sensor",
    "particulate filter",
    "EGR or valve timing",
)
_COMPRESSION_IGNITION = 0x08


def read_values(pid: int, data: bytes) -> tuple[PidValue, ...]:
    """Give the quantities in the data bytes after an identifier.

    Empty when the table does not know the layout. A quantity whose bytes were not sent is left
    out; one that the unit says it has not got is there without a value.
    """
    known = pid_table().get(pid)
    if known is None:
        return ()
    return tuple(_value(field, data) for field in known.fields if field.end <= len(data))


def pid_name(pid: int) -> str:
    """Give the plain name of an identifier, '' when the table does not have it."""
    known = pid_table().get(pid)
    return known.name if known else ""


def pid_length(pid: int) -> int | None:
    """Give the number of data bytes of an identifier; None when it is not certain."""
    if pid in SUPPORT_PIDS:
        return 4
    known = pid_table().get(pid)
    return known.length if known else None


def read_support(base: int, data: bytes) -> tuple[int, ...]:
    """List the identifiers that a bitmap names: first byte bit 7 is `base` + 1, and so on.

    `data` are the four bytes after `base`; fewer name fewer.
    """
    return tuple(
        base + 8 * at + bit + 1
        for at, byte in enumerate(data[:4])
        for bit in range(8)
        if byte & 0x80 >> bit
    )


def read_monitors(data: bytes) -> tuple[bool, tuple[Monitor, ...]]:
    """Read bytes B to D of PID 01 or 41: whether compression ignition, and the monitors.

    `data` are the four bytes A to D. Raises ValueError when there are not four.
    """
    if len(data) != 4:
        raise ValueError(f"readiness has 4 bytes, not {len(data)}")
    _, b, c, d = data
    compression = bool(b & _COMPRESSION_IGNITION)
    continuous = [
        _monitor(name, bool(b >> bit & 1), bool(b >> bit + 4 & 1))
        for bit, name in enumerate(_CONTINUOUS)
    ]
    names = _COMPRESSION if compression else _SPARK
    others = [
        _monitor(name, bool(c >> bit & 1), bool(d >> bit & 1))
        for bit, name in enumerate(names)
        if name is not None
    ]
    return compression, (*continuous, *others)


def _monitor(name: str, supported: bool, not_complete: bool) -> Monitor:
    return Monitor(name, supported, not not_complete if supported else None)


def _value(field: PidField, data: bytes) -> PidValue:
    if field.flag is not None and not data[0] >> field.flag & 1:
        return PidValue(field.field, field.name, None, field.unit, None, field.spn)
    raw = int.from_bytes(data[field.first : field.end], "big", signed=field.signed)
    if field.bit is not None:
        raw = raw >> field.bit & 1
    if raw == field.no_number:
        return PidValue(field.field, field.name, None, field.unit, None, field.spn)
    # One division only, so that the result is the nearest number to the true one.
    value = (raw * field.numerator + field.offset * field.denominator) / field.denominator
    return PidValue(
        field.field, field.name, value, field.unit, dict(field.states).get(raw), field.spn
    )
