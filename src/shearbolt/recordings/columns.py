"""Which column of a table is which, as a person says it."""

from __future__ import annotations

from dataclasses import dataclass, fields, replace

from shearbolt.errors import UsageError

TIME_UNITS_US = {"s": 1e6, "ms": 1e3, "us": 1.0, "µs": 1.0, "ns": 1e-3}
"""Microseconds in one unit of time."""
OPTION = "--columns time=NAME,id=NAME,data=NAME"
"""How a person gives them."""


@dataclass(frozen=True, slots=True)
class TableColumns:
    """Columns by their name in the header, or by number from 1 (as text); None: find it."""

    time: str | None = None
    ident: str | None = None
    """Identifier."""
    data: str | None = None
    """Data: one column, or the first and last of one column a byte ('5-12', 'D0-D7')."""
    time_unit: str | None = None
    """s, ms, us or ns, where the times carry none."""
    ident_base: str | None = None
    """'hex' or 'dec'."""
    length: str | None = None
    """Number of data bytes."""
    channel: str | None = None
    kind: str | None = None
    """Type of frame: data, remote, error."""
    direction: str | None = None
    errors: str | None = None
    """Where the writer of the table marks damaged frames."""
    pgn: str | None = None
    """Parameter group number, where the identifier is given in its parts."""
    priority: str | None = None
    source: str | None = None
    """Source address."""
    destination: str | None = None
    """Destination address."""


_OTHER_NAMES = {
    "id": "ident",
    "identifier": "ident",
    "unit": "time_unit",
    "base": "ident_base",
    "dlc": "length",
    "type": "kind",
    "bus": "channel",
    "dir": "direction",
}


def parse_columns(text: str) -> TableColumns:
    """Read 'time=Time,id=CAN ID,data=5-12,unit=ms,base=hex'; raises UsageError."""
    names = {one.name for one in fields(TableColumns)}
    found = TableColumns()
    for part in text.split(","):
        key, equals, value = part.partition("=")
        key, value = key.strip().lower().replace("-", "_"), value.strip()
        key = _OTHER_NAMES.get(key, key)
        if not equals or not value or key not in names:
            raise UsageError(
                f"'{part.strip()}' is no column; write for example --columns "
                "time=Time,id=ID,data=Data (also pgn, priority, source, destination, dlc, "
                "channel, type, dir, unit=s|ms|us|ns, base=hex|dec)."
            )
        if key == "time_unit" and value not in TIME_UNITS_US:
            raise UsageError(f"'{value}' is no unit of time known here; use s, ms, us or ns.")
        if key == "ident_base" and value not in ("hex", "dec"):
            raise UsageError(f"'{value}' is no base of identifiers; use hex or dec.")
        found = replace(found, **{key: value})
    return found
