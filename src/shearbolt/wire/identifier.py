"""29-bit identifiers of SAE J1939-21 and the group number inside them, one by one and as arrays.

| bits (28 first on the wire) | field |
| 28-26 | priority, 0 highest |
| 25 | extended data page |
| 24 | data page |
| 23-16 | PDU format: below 240 the next field is the destination, else part of the group |
| 15-8 | destination address or group extension |
| 7-0 | source address |
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from shearbolt.model.frames import U8, U32

TO_ALL = 255
"""Global address: to everybody, never a source."""
NO_ADDRESS = 254
"""Null address: the source of a unit that holds no address."""
FD_TRANSPORT_GROUPS = frozenset({19712, 19968})
"""Transport groups of SAE J1939-22 (CAN FD): told as not supported instead of guessed at."""
_FIRST_BROADCAST_FORMAT = 240


@dataclass(frozen=True, slots=True)
class Identifier:
    """An identifier taken apart."""

    priority: int
    pgn: int
    """Parameter group number, 18 bits with both page bits; PDU1 groups end in 00."""
    source: int
    destination: int
    """Address it is for; 255: all (always so for PDU2 groups)."""

    @property
    def extended_data_page(self) -> bool:
        """Bit 25: no SAE J1939 group; with the data page bit an ISO 15765-3 frame."""
        return bool(self.pgn & 0x20000)

    @property
    def data_page(self) -> bool:
        """Bit 24, part of the group number."""
        return bool(self.pgn & 0x10000)


def read_identifier(ident: int) -> Identifier:
    """Take a 29-bit identifier apart (SAE J1939-21 5.2); higher bits are ignored."""
    return Identifier(ident >> 26 & 7, pgn_of(ident), ident & 0xFF, destination_of(ident))


def pgn_of(ident: int) -> int:
    """Return the parameter group number of an identifier."""
    pgn = ident >> 8 & 0x3FFFF
    return pgn if pgn >> 8 & 0xFF >= _FIRST_BROADCAST_FORMAT else pgn & 0x3FF00


def destination_of(ident: int) -> int:
    """Return the address an identifier is for; 255 (all) for PDU2 groups."""
    return ident >> 8 & 0xFF if ident >> 16 & 0xFF < _FIRST_BROADCAST_FORMAT else TO_ALL


def make_identifier(priority: int, pgn: int, source: int, destination: int = TO_ALL) -> int:
    """Put an identifier together.

    Raises ValueError for a field out of range, a PDU1 group that does not end in 00, or a
    destination given to a PDU2 group.
    """
    if not (0 <= priority <= 7 and 0 <= pgn <= 0x3FFFF):
        raise ValueError(f"no priority {priority} or group {pgn} in SAE J1939")
    if not (0 <= source <= 0xFF and 0 <= destination <= 0xFF):
        raise ValueError(f"addresses have 8 bits, not {source} or {destination}")
    if pgn >> 8 & 0xFF >= _FIRST_BROADCAST_FORMAT:
        if destination != TO_ALL:
            raise ValueError(f"group {pgn} is always sent to all")
        return priority << 26 | pgn << 8 | source
    if pgn & 0xFF:
        raise ValueError(f"group {pgn} holds a destination where it must end in 00")
    return priority << 26 | (pgn | destination) << 8 | source


def pgns_of(ident: U32) -> U32:
    """Return the group numbers of many identifiers, shape as given."""
    pgn = ident >> np.uint32(8) & np.uint32(0x3FFFF)
    addressed = (pgn >> np.uint32(8) & np.uint32(0xFF)) < _FIRST_BROADCAST_FORMAT
    return np.where(addressed, pgn & np.uint32(0x3FF00), pgn).astype(np.uint32)


def sources_of(ident: U32) -> U8:
    """Return the source addresses of many identifiers, shape as given."""
    return (ident & np.uint32(0xFF)).astype(np.uint8)


def destinations_of(ident: U32) -> U8:
    """Return the destinations of many identifiers, 255 for PDU2 groups, shape as given."""
    addressed = (ident >> np.uint32(16) & np.uint32(0xFF)) < _FIRST_BROADCAST_FORMAT
    low = ident >> np.uint32(8) & np.uint32(0xFF)
    return np.where(addressed, low, np.uint32(TO_ALL)).astype(np.uint8)
