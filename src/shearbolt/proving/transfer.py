"""The sending side of a transport connection to one requester, without input or output.

SAE J1939-21 5.10.3: request to send, then as many packets as each clear-to-send asks for, holds
honoured, packets sent again where asked, and an end: acknowledged, aborted by either side, or given
up after T3 (1.25 s without an answer) or T4 (1.05 s without a renewed hold).
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from shearbolt.proving.packing import Event, identifier
from shearbolt.proving.transport import CONNECTION, DATA, cut

RTS, CTS, END, ABORT = 16, 17, 19, 255
T3_US, T4_US = 1_250_000, 1_050_000
TIMED_OUT, OTHER_REASON = 3, 250
_GAP_US = 2_500
State = Literal["asking", "held", "done", "aborted"]


@dataclass(slots=True)
class Transfer:
    """One message on its way to one requester; instants are given, never taken."""

    source: int
    destination: int
    pgn: int
    payload: bytes
    channel: str
    at_once: int = 255
    """It sends no more packets for one CTS."""
    state: State = "asking"
    deadline_us: int = 0
    _packets: list[bytes] = field(default_factory=list)

    def begin(self, at_us: int) -> list[Event]:
        """Send the request to send; raises ValueError for a payload that needs no transport."""
        self._packets = cut(self.payload)
        self.deadline_us = at_us + T3_US
        size = len(self.payload).to_bytes(2, "little")
        head = bytes((RTS,)) + size + bytes((len(self._packets), self.at_once))
        return [self._control(at_us, head)]

    @property
    def over(self) -> bool:
        """Tell whether nothing more will come of it."""
        return self.state in ("done", "aborted")

    def hear(self, at_us: int, data: bytes) -> list[Event]:
        """Take a connection message of the receiver; return what is sent for it.

        One about another group is left alone; a request for packets that are not there is
        answered with an abort.
        """
        if self.over or len(data) < 8 or int.from_bytes(data[5:8], "little") != self.pgn:
            return []
        if data[0] == ABORT:
            self.state = "aborted"
        elif data[0] == END:
            self.state = "done"
        elif data[0] == CTS and data[1] == 0:
            self.state, self.deadline_us = "held", at_us + T4_US
        elif data[0] == CTS:
            return self._send(at_us, data[2], min(data[1], self.at_once))
        return []

    def _send(self, at_us: int, first: int, many: int) -> list[Event]:
        if not 1 <= first <= len(self._packets):
            self.state = "aborted"
            return [self._control(at_us, bytes((ABORT, OTHER_REASON, 0xFF, 0xFF, 0xFF)))]
        ident = identifier(7, DATA, self.source, self.destination)
        few = self._packets[first - 1 : first - 1 + many]
        self.state = "asking"
        self.deadline_us = at_us + len(few) * _GAP_US + T3_US
        return [
            Event(at_us + number * _GAP_US, ident, packet, channel=self.channel)
            for number, packet in enumerate(few, start=1)
        ]

    def tick(self, at_us: int) -> list[Event]:
        """Give up when its time is over."""
        if self.over or at_us < self.deadline_us:
            return []
        self.state = "aborted"
        return [self._control(at_us, bytes((ABORT, TIMED_OUT, 0xFF, 0xFF, 0xFF)))]

    def _control(self, at_us: int, head: bytes) -> Event:
        ident = identifier(7, CONNECTION, self.source, self.destination)
        return Event(at_us, ident, head + self.pgn.to_bytes(3, "little"), channel=self.channel)
