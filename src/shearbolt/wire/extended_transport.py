"""Control frames of the extended transport (PGN 51200, ISO 11783-3), as plain values.

| byte 1 | 2 | 3-5 | 6-8 |
| 20 request to send | bytes 2-5: size | | group |
| 21 clear to send | packets (0: hold) | next packet, 24 bits | group |
| 22 packet offset | packets it covers | offset, 24 bits | group |
| 23 end of message | bytes 2-5: size | | group |
| 255 abort | reason | FF | group |

Packet number = offset + sequence number of the data frame. Always between two addresses.
(Control bytes from memory; groups, limits and abort reasons as in ISO 11783-3.)
"""

from __future__ import annotations

from shearbolt.wire.transport_control import (
    LARGEST,
    LAST_GROUP,
    PACKET_BYTES,
    Control,
    Step,
    packets_for,
)

CONTROL_GROUP = 51200
DATA_GROUP = 50944
LONGEST = PACKET_BYTES * 0xFFFFFF
"""117,440,505 bytes: 24 bits of packet number."""
_STEPS = {
    int(one): one
    for one in (
        Step.LONG_REQUEST,
        Step.LONG_CLEAR,
        Step.LONG_OFFSET,
        Step.LONG_END,
        Step.ABORT,
    )
}


def read_control(data: bytes) -> Control | None:
    """Take a control frame of 8 bytes apart; None for a control byte that is none."""
    step = _STEPS.get(data[0])
    if step is None:
        return None
    pgn = int.from_bytes(data[5:8], "little")
    if step in (Step.LONG_REQUEST, Step.LONG_END):
        size = int.from_bytes(data[1:5], "little")
        return Control(step, pgn, size, packets_for(size))
    if step is Step.ABORT:
        return Control(step, pgn, number=data[1])
    return Control(step, pgn, packets=data[1], number=int.from_bytes(data[2:5], "little"))


def announcement_fault(control: Control, to_all: bool) -> str:
    """Say what does not add up in an extended request to send; '' if nothing."""
    if control.pgn > LAST_GROUP:
        return f"no group {control.pgn}"
    if not LARGEST < control.size <= LONGEST:
        return f"{control.size} bytes, outside {LARGEST + 1} to {LONGEST}"
    return "sent to all" if to_all else ""
