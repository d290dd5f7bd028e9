"""Who we are on the bus: a service tool that gives way to everybody.

NAME (SAE J1939-81): function 129 of the non-specific systems, 'off-board service tool'; the
highest NAME there can be of that kind (self-configurable, no manufacturer code), so that no unit
would ever have to give up an address to us.
"""

from __future__ import annotations

from shearbolt.model.controller import Name
from shearbolt.model.frames import EXTENDED, PlainFrame
from shearbolt.wire.claim import ADDRESS_CLAIMED
from shearbolt.wire.identifier import make_identifier
from shearbolt.wire.request import REQUEST

ADDRESS = 249
"""Preferred address of the first service tool (SAE J1939, reference list). An objection there
means that another tool is connected, so the second tool's address (250) is never tried."""
SERVICE_TOOL = 129
NO_MANUFACTURER = 0x7FF
"""Manufacturer code of nobody: all ones (common practice, no source)."""
TESTER = 0xF1
"""Address of the external tester in ISO 15765-2 and -4 normal fixed addressing."""
FUNCTIONAL_11 = 0x7DF
FUNCTIONAL_29 = 0x18DB33F1
"""Requests to all emission-related controllers (ISO 15765-4)."""
PADDING = 0x55
"""Filler of short diagnostic frames (common practice; ISO 15765-2 leaves it open)."""


def tool_name(identity: int) -> Name:
    """Make our NAME with an identity number of 21 bits. Raises ValueError for any other."""
    if not 0 <= identity < 1 << 21:
        raise ValueError(f"an identity number has 21 bits, not {identity}")
    return Name(1 << 63 | SERVICE_TOOL << 40 | NO_MANUFACTURER << 21 | identity)


def claim_frame(name: Name, time_us: int = 0) -> PlainFrame:
    """Make our address claim (PGN 60928)."""
    ident = make_identifier(6, ADDRESS_CLAIMED, ADDRESS)
    return PlainFrame(time_us, ident, name.value.to_bytes(8, "little"), EXTENDED)


def request_frame(pgn: int, destination: int, time_us: int = 0) -> PlainFrame:
    """Make a request (PGN 59904, SAE J1939-21 5.4.2) to one address, or to all (255)."""
    ident = make_identifier(6, REQUEST, ADDRESS, destination)
    return PlainFrame(time_us, ident, pgn.to_bytes(3, "little"), EXTENDED)


def road_request_frame(payload: bytes, extended: bool, time_us: int = 0) -> PlainFrame:
    """Make a single-frame request of SAE J1979 to all emission-related controllers."""
    data = (bytes((len(payload),)) + payload).ljust(8, bytes((PADDING,)))
    if extended:
        return PlainFrame(time_us, FUNCTIONAL_29, data, EXTENDED)
    return PlainFrame(time_us, FUNCTIONAL_11, data, 0)


def flow_control_frame(answering: int, extended: bool, time_us: int = 0) -> PlainFrame:
    """Make the flow control 'go, all, no pause' (ISO 15765-2) for the sender of `answering`."""
    data = b"\x30\x00\x00".ljust(8, bytes((PADDING,)))
    if extended:
        ident = 0x18DA0000 | (answering & 0xFF) << 8 | TESTER
        return PlainFrame(time_us, ident, data, EXTENDED)
    return PlainFrame(time_us, answering - 8, data, 0)
