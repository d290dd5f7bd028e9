"""Requests (PGN 59904, 51456) and acknowledgements (PGN 59392) of SAE J1939-21."""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum

from shearbolt.wire.identifier import TO_ALL
from shearbolt.wire.raw_values import unsigned

REQUEST = 59904
REQUEST2 = 51456
ACKNOWLEDGEMENT = 59392
ANSWER_DUE_US = 200_000
"""Tr: an answer is expected within this time (from memory)."""
ANSWER_LATEST_US = 1_250_000
"""After this time no answer is coming (from memory)."""
_GROUP_LIMIT = 0x3FFFF


class Answer(IntEnum):
    """Control byte of an acknowledgement."""

    ACK = 0
    """Done, or will be done."""
    NACK = 1
    """Not supported, or refused."""
    DENIED = 2
    """Refused for want of access rights."""
    BUSY = 3
    """Cannot be done now; may be asked again."""


@dataclass(frozen=True, slots=True)
class Request2:
    """A request with special instructions."""

    pgn: int
    instructions: int | None
    """Byte 4 as sent; None where the message ends before it."""


@dataclass(frozen=True, slots=True)
class Acknowledgement:
    """An answer without data."""

    answer: Answer | None
    """None: a control byte that the standard does not define."""
    control: int
    """Control byte as sent."""
    group_function: int | None
    """None: none."""
    asker: int | None
    """Address that asked; None where an older sender does not say (FF)."""
    pgn: int
    """Group that was asked for."""

    def meant_for(self, destination: int) -> int | None:
        """Return the address the answer is for, given the destination of its frame.

        Newer editions send the frame to all and name the asker in byte 5; older ones address
        it. None: not told.
        """
        if self.asker is not None:
            return self.asker
        return None if destination == TO_ALL else destination


def read_request(payload: bytes) -> int | None:
    """Read the group asked for (PGN 59904: low, middle, high byte); None when it is none."""
    pgn = unsigned(payload, 1, 3)
    return None if pgn is None or pgn > _GROUP_LIMIT else pgn


def read_request2(payload: bytes) -> Request2 | None:
    """Read PGN 51456; None when it names no group."""
    pgn = read_request(payload)
    return None if pgn is None else Request2(pgn, unsigned(payload, 4, 1))


def read_acknowledgement(payload: bytes) -> Acknowledgement | None:
    """Read PGN 59392; None when it is shorter than 8 bytes or names no group."""
    pgn = unsigned(payload, 6, 3)
    if pgn is None or pgn > _GROUP_LIMIT:
        return None
    control, function, asker = payload[0], payload[1], payload[4]
    return Acknowledgement(
        Answer(control) if control <= Answer.BUSY else None,
        control,
        None if function == 0xFF else function,
        None if asker == 0xFF else asker,
        pgn,
    )
