"""What may be asked at all: two fixed tables, and what must never be in them.

`dictionary/data/requests.csv` lists the parameter groups that may be requested (PGN 59904,
SAE J1939-21), `road_requests.csv` the reading services of SAE J1979. Both are the package's own:
nothing an owner adds reaches them. A group that clears, commands or writes is refused here even
if a table should name it.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Literal, cast

from shearbolt.dictionary.tables import table
from shearbolt.errors import DictionaryError

Then = Literal["each", "engine", "fallback", "none"]
_THEN = ("each", "engine", "fallback", "none")
When = Literal["always", "offered", "frozen"]
_WHEN = ("always", "offered", "frozen")

NEVER = frozenset(
    {
        0,  # torque and speed control
        65228,  # DM3, clears
        65235,  # DM11, clears
        49920,  # DM22, clears
        58112,  # DM7, runs tests
        57088,  # DM13, stops broadcasts
        55552, 55296, 55040, 54784,  # DM14 to DM17, memory access
        54272,  # DM18, security data
        65240,  # commanded address
        37632, 37376,  # name management and working-set commands
        59904, 51456, 51712,  # requests within a request, and transfers
        61184, 126720,  # makers' own messages
    }
)  # fmt: skip
"""Groups that change something when asked for or sent (SAE J1939-21, -73, -81)."""
READING_SERVICES = frozenset({0x01, 0x02, 0x03, 0x07, 0x09, 0x0A})
"""Services of SAE J1979 that only read; 04 clears, 08 commands, 05 and 06 are not needed."""


@dataclass(frozen=True, slots=True)
class Askable:
    """A parameter group that may be requested."""

    pgn: int
    what: str
    """In plain words."""
    then: Then
    """Whom to ask by address when asking all did not bring it: each controller, the engine's,
    those without DM2, or nobody."""
    source: str


@dataclass(frozen=True, slots=True)
class RoadAskable:
    """One reading request of SAE J1979."""

    payload: bytes
    """Service, and what it needs."""
    what: str
    when: When
    """Always, only where the vehicle offers it, or only where a freeze frame is stored."""
    source: str


@cache
def askable_groups() -> tuple[Askable, ...]:
    """Give the groups that may be asked for, in their order.

    Raises DictionaryError for a row that cannot be used, or that would change something.
    """
    found = []
    for row in table("requests"):
        try:
            pgn = int(row["pgn"])
        except ValueError:
            raise DictionaryError(f"requests.csv: '{row['pgn']}' is no group number") from None
        if pgn in NEVER or not 0 < pgn <= 0x3FFFF or pgn & 0xFFFF >= 0xFF00:
            raise DictionaryError(f"requests.csv: group {pgn} may never be asked for")
        if row["then"] not in _THEN:
            raise DictionaryError(f"requests.csv: '{row['then']}' is none of {', '.join(_THEN)}")
        found.append(Askable(pgn, row["what"], cast(Then, row["then"]), row["source"]))
    return tuple(found)


@cache
def road_requests() -> tuple[RoadAskable, ...]:
    """Give the reading requests for road vehicles, in their order.

    Raises DictionaryError for a row that cannot be used, or whose service does more than read.
    """
    found = []
    for row in table("road_requests"):
        try:
            service = int(row["service"], 16)
            identifier = bytes.fromhex(row["identifier"])
        except ValueError:
            raise DictionaryError(f"road_requests.csv: a row cannot be read: {row}") from None
        payload = bytes((service,)) + identifier + (b"\0" if service == 0x02 else b"")
        if not is_reading(payload):
            raise DictionaryError(f"road_requests.csv: {payload.hex(' ')} does more than read")
        if row["when"] not in _WHEN:
            raise DictionaryError(f"road_requests.csv: '{row['when']}' is none of the known")
        found.append(RoadAskable(payload, row["what"], cast(When, row["when"]), row["source"]))
    return tuple(found)


def is_reading(payload: bytes) -> bool:
    """Tell whether an SAE J1979 request only reads, and is of its service's own length."""
    if not payload or payload[0] not in READING_SERVICES:
        return False
    # 02 names a parameter and freeze frame 0; the code lists take nothing (SAE J1979 6).
    if payload[0] == 0x02:
        return len(payload) == 3 and payload[2] == 0
    return len(payload) == (2 if payload[0] in (0x01, 0x09) else 1)
