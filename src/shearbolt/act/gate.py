"""The last step before the bus: a frame that is not on the list of kinds goes no further.

The deciding code is not trusted here. Every frame is read again from its bits, against what the
standards say it is, and against what this gate itself let through before:

| frame | let through |
| --- | --- |
| address claim (PGN 60928) | from address 249 with our own NAME, at most once a second |
| request (PGN 59904) | of a listed group, 250 ms after our claim, at most one a second |
| clear to send, end of message (PGN 60416) | to an address that was asked for that group |
| single-frame request of SAE J1979 | of a reading service, at most one a second |
| flow control (ISO 15765-2) | 'go' alone, to a controller that may answer, after a request |

Whoever has `closed` the gate cannot open it again.
"""

from __future__ import annotations

from shearbolt.act.askable import is_reading
from shearbolt.act.tool import (
    ADDRESS,
    FUNCTIONAL_11,
    FUNCTIONAL_29,
    PADDING,
    TESTER,
    claim_frame,
)
from shearbolt.errors import NotAllowed
from shearbolt.model.controller import Name
from shearbolt.model.frames import EXTENDED, PlainFrame
from shearbolt.model.instants import SECOND_US
from shearbolt.wire.claim import CLAIM_WAIT_US
from shearbolt.wire.identifier import NO_ADDRESS, TO_ALL, pgn_of
from shearbolt.wire.request import REQUEST
from shearbolt.wire.transport_control import Step

PAUSE_US = SECOND_US
"""At most one request in this time, and at most one claim."""
FLOW_WINDOW_US = 10 * SECOND_US
"""Flow control belongs to an answer that began this soon after our request (the long response
time of ISO 14229-2 is 5 s)."""
_CONTROL_IDENT = 0x1CEC0000 | ADDRESS
_REQUEST_IDENT = 0x18EA0000 | ADDRESS
_PHYSICAL_29 = 0x18DA0000 | TESTER
_PADDED = b"\x30\x00\x00".ljust(8, bytes((PADDING,)))
_STEPS = frozenset({Step.CLEAR, Step.END})


class Gate:
    """Judges each frame to be sent, and remembers those it let through."""

    def __init__(self, name: Name, groups: frozenset[int], *, road: bool) -> None:
        """Let through what belongs to one kind of bus: SAE J1939, or road vehicles' diagnostics.

        `groups` are those that may be asked for.
        """
        self._claim = claim_frame(name)
        self._groups = groups
        self._road = road
        self._claimed_us: int | None = None
        self._first_claimed_us: int | None = None
        self._requested_us: int | None = None
        self._asked: set[tuple[int, int]] = set()
        self._closed = ""

    def close(self, why: str) -> None:
        """Let nothing through any more."""
        self._closed = self._closed or why or "closed"

    def objection(self, now_us: int, frame: PlainFrame) -> str | None:
        """Say why a frame may not be sent; None: it may."""
        if self._closed:
            return f"sending has ended ({self._closed})"
        if frame.flags not in (0, EXTENDED):
            return "it is no plain data frame"
        if frame.ident < 0 or frame.ident > (0x1FFFFFFF if frame.flags else 0x7FF):
            return "its identifier does not fit"
        return self._on_road(now_us, frame) if self._road else self._on_j1939(now_us, frame)

    def let_through(self, now_us: int, frame: PlainFrame) -> None:
        """Take note that a frame is about to be sent. Raises NotAllowed when it may not be."""
        objection = self.objection(now_us, frame)
        if objection is not None:
            raise NotAllowed(
                f"Nothing was sent: {frame.ident:X} {frame.data.hex(' ').upper()} is not a frame "
                f"that may be sent, because {objection}."
            )
        if self._road:
            if frame.ident in (FUNCTIONAL_11, FUNCTIONAL_29):
                self._requested_us = now_us
        elif frame.ident == self._claim.ident:
            self._claimed_us = now_us
            if self._first_claimed_us is None:
                self._first_claimed_us = now_us
        elif pgn_of(frame.ident) == REQUEST:
            self._requested_us = now_us
            asked = frame.ident >> 8 & 0xFF
            self._asked.add((asked, int.from_bytes(frame.data, "little")))

    def _on_j1939(self, now_us: int, frame: PlainFrame) -> str | None:
        if not frame.flags & EXTENDED:
            return "it has an 11-bit identifier"
        if frame.ident == self._claim.ident:
            if frame.data != self._claim.data:
                return "it claims our address under another NAME"
            return self._too_soon(now_us, self._claimed_us, "the last address claim")
        destination = frame.ident >> 8 & 0xFF
        if frame.ident & 0xFFFF00FF == _REQUEST_IDENT & 0xFFFF00FF:
            return self._request(now_us, frame.data, destination)
        if frame.ident & 0xFFFF00FF == _CONTROL_IDENT & 0xFFFF00FF:
            return self._control(frame.data, destination)
        return "it is no claim, request or transport answer of ours"

    def _request(self, now_us: int, data: bytes, destination: int) -> str | None:
        if destination in (ADDRESS, NO_ADDRESS):
            return "it asks nobody"
        if len(data) != 3:
            return "a request has 3 bytes"
        if int.from_bytes(data, "little") not in self._groups:
            return "the group is not on the list of what may be asked"
        if self._first_claimed_us is None:
            return "our address was not claimed yet"
        if not 0 <= CLAIM_WAIT_US <= now_us - self._first_claimed_us:
            return "our address has not stood for 250 ms yet"
        return self._too_soon(now_us, self._requested_us, "the last request")

    def _control(self, data: bytes, destination: int) -> str | None:
        if len(data) != 8:
            return "a transport control frame has 8 bytes"
        if data[0] not in _STEPS:
            return "it is no clear to send and no end of message"
        if data[0] == Step.CLEAR and (data[1] == 0 or data[2] == 0 or data[3:5] != b"\xff\xff"):
            return "the clear to send does not add up"
        pgn = int.from_bytes(data[5:8], "little")
        if (destination, pgn) not in self._asked and (TO_ALL, pgn) not in self._asked:
            return "that group was not asked of that address"
        return "it is for nobody" if destination in (ADDRESS, NO_ADDRESS, TO_ALL) else None

    def _on_road(self, now_us: int, frame: PlainFrame) -> str | None:
        if len(frame.data) != 8:
            return "a diagnostic frame has 8 bytes"
        if frame.ident == (FUNCTIONAL_29 if frame.flags else FUNCTIONAL_11):
            size = frame.data[0]
            if not 1 <= size <= 7 or not is_reading(frame.data[1 : 1 + size]):
                return "it does more than read"
            return self._too_soon(now_us, self._requested_us, "the last request")
        if frame.flags:
            answering = frame.ident & 0xFFFF00FF == _PHYSICAL_29 & 0xFFFF00FF
        else:
            answering = 0x7E0 <= frame.ident <= 0x7E7
        if not answering or frame.data != _PADDED:
            return "it is no reading request and no flow control of ours"
        if self._requested_us is None or not 0 <= now_us - self._requested_us <= FLOW_WINDOW_US:
            return "nothing was asked that it could belong to"
        return None

    def _too_soon(self, now_us: int, before_us: int | None, what: str) -> str | None:
        # A clock that ran back must not open the way to a burst.
        if before_us is None or now_us - before_us >= PAUSE_US:
            return None
        return f"{what} is less than a second ago"
