"""Control frames of the transport protocol (PGN 60416, SAE J1939-21 5.10), as plain values.

| byte 1 | 2 | 3 | 4 | 5 | 6-8 |
| 16 request to send | size low | size high | packets | most packets a clearance | group |
| 17 clear to send | packets (0: hold) | next packet | FF | FF | group |
| 19 end of message | size low | size high | packets | FF | group |
| 32 broadcast announcement | size low | size high | packets | FF | group |
| 255 abort | reason | FF | FF | FF | group |
"""

from __future__ import annotations

from enum import IntEnum
from typing import NamedTuple

CONTROL_GROUP = 60416
DATA_GROUP = 60160
PACKET_BYTES = 7
"""Bytes of payload in one data packet, after its sequence number."""
SMALLEST = 9
"""Fewer bytes fit in one frame."""
LARGEST = 1785
"""255 packets of 7 bytes."""
LAST_GROUP = 0x3FFFF
ABORT = 255

_REASONS = {
    1: "already in a session",
    2: "no resources",
    3: "time-out",
    4: "clear to send while sending",
    5: "too many retransmissions",
    6: "unexpected data packet",
    7: "bad sequence number",
    8: "duplicate sequence number",
    9: "size above 1785 bytes",
    250: "other reason",
}


class Step(IntEnum):
    """What a control frame does; values of both transports, which share 255 alone."""

    REQUEST = 16
    CLEAR = 17
    END = 19
    BROADCAST = 32
    LONG_REQUEST = 20
    LONG_CLEAR = 21
    LONG_OFFSET = 22
    LONG_END = 23
    ABORT = ABORT


class Control(NamedTuple):
    """One control frame taken apart; fields that its step does not have are 0."""

    step: Step
    pgn: int
    size: int = 0
    """Bytes announced or acknowledged."""
    packets: int = 0
    """Packets announced, cleared (0: hold) or covered by an offset."""
    number: int = 0
    """Next packet wanted, packet offset, or abort reason."""


_STEPS = {int(one): one for one in (Step.REQUEST, Step.CLEAR, Step.END, Step.BROADCAST, Step.ABORT)}


def abort_words(reason: int) -> str:
    """Say an abort reason (SAE J1939-21 5.10.3.5) in words."""
    return _REASONS.get(reason, f"reason {reason}")


def packets_for(size: int) -> int:
    """Return how many packets `size` bytes need."""
    return -(-size // PACKET_BYTES)


def read_control(data: bytes) -> Control | None:
    """Take a control frame of 8 bytes apart; None for a control byte that is none."""
    step = _STEPS.get(data[0])
    pgn = data[5] | data[6] << 8 | data[7] << 16
    if step is None:
        return None
    if step is Step.CLEAR:
        return Control(step, pgn, 0, data[1], data[2])
    if step is Step.ABORT:
        return Control(step, pgn, 0, 0, data[1])
    return Control(step, pgn, data[1] | data[2] << 8, data[3])


def announcement_fault(control: Control, to_all: bool) -> str:
    """Say what does not add up in a request to send or a broadcast announcement; '' if nothing."""
    size, packets = control.size, control.packets
    if control.pgn > LAST_GROUP:
        return f"no group {control.pgn}"
    if not SMALLEST <= size <= LARGEST:
        return f"{size} bytes, outside {SMALLEST} to {LARGEST}"
    if packets != packets_for(size):
        return f"{size} bytes in {packets} packets"
    if to_all != (control.step is Step.BROADCAST):
        return "sent to all" if to_all else "a broadcast sent to one address"
    return ""
