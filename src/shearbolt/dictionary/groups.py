"""Parameter groups: their short names, usual periods, and which way they go.

`data/pgns.csv` is the table (SAE J1939-71 and -73, ISO 11783-7); periods are typical only.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Literal

from shearbolt.dictionary.signals import rows_of_group
from shearbolt.dictionary.tables import table
from shearbolt.errors import DictionaryError

Direction = Literal["machine", "command", "both"]
OnRequest = Literal["yes", "sometimes", "no"]
_DIRECTIONS: dict[str, Direction] = {"machine": "machine", "command": "command", "both": "both"}
_ON_REQUEST: dict[str, OnRequest] = {"yes": "yes", "sometimes": "sometimes", "no": "no"}

PROPRIETARY_A = 61184
"""Maker's own messages to one address (SAE J1939-21)."""
PROPRIETARY_A2 = 126720
"""The same on the second data page (SAE J1939-21)."""
PROPRIETARY_B = range(65280, 65536)
"""Maker's own broadcasts (SAE J1939-21)."""
PROPRIETARY_B2 = range(130816, 131072)
"""The same on the second data page (SAE J1939-21)."""


@dataclass(frozen=True, slots=True)
class Group:
    """What is known of one parameter group."""

    pgn: int
    acronym: str
    name: str
    period: str
    """Usual period in words; makers deviate."""
    priority: int
    direction: Direction
    """'machine': told by the machine; 'command': sent to it; 'both'."""
    on_request: OnRequest
    """Whether it comes only when asked for (PGN 59904)."""
    source: str


@cache
def _groups() -> dict[int, Group]:
    found: dict[int, Group] = {}
    for fields in table("pgns"):
        try:
            one = Group(
                pgn=int(fields["pgn"]),
                acronym=fields["acronym"],
                name=fields["name"],
                period=fields["period"],
                priority=int(fields["priority"]),
                direction=_DIRECTIONS[fields["direction"]],
                on_request=_ON_REQUEST[fields["on_request"]],
                source=fields["source"],
            )
        except (ValueError, KeyError) as error:
            raise DictionaryError(f"pgns.csv: a row cannot be read: {fields}") from error
        found[one.pgn] = one
    return found


def group(pgn: int) -> Group | None:
    """Give what the table knows of a group, or None."""
    return _groups().get(pgn)


def is_proprietary(pgn: int) -> bool:
    """Tell whether a group number is set aside for makers (SAE J1939-21)."""
    return pgn in (PROPRIETARY_A, PROPRIETARY_A2) or pgn in PROPRIETARY_B or pgn in PROPRIETARY_B2


def acronym(pgn: int) -> str:
    """Give a group's short name; the maker's own broadcasts are PROPB; else an empty text."""
    if known := group(pgn):
        return known.acronym
    if pgn in PROPRIETARY_B:
        return "PROPB"
    return "PROPB2" if pgn in PROPRIETARY_B2 else ""


def group_is_known(pgn: int) -> bool:
    """Tell whether a public table names this group. The maker's own groups are not known."""
    return not is_proprietary(pgn) and (pgn in _groups() or bool(rows_of_group(pgn)))
