"""The transport answers that our requests bring: clear to send, and end of message.

Receiver's side of SAE J1939-21 5.10.2, no I/O. Only a sender that was asked for the group gets an
answer; one that sends too slowly, or too much out of order, is left to its own time-out, because
an abort is not among the frames we send.
"""

from __future__ import annotations

from dataclasses import dataclass

from shearbolt.act.tool import ADDRESS
from shearbolt.model.frames import EXTENDED, PlainFrame
from shearbolt.wire.identifier import make_identifier
from shearbolt.wire.transport_control import (
    CONTROL_GROUP,
    DATA_GROUP,
    Control,
    Step,
    announcement_fault,
    read_control,
)

AT_ONCE = 16
"""Packets cleared at a time: few enough for an adapter with a small buffer (own choice)."""
RETRIES = 2
"""Times a missing packet is asked for again (SAE J1939-21 5.10.3: up to two)."""
PATIENCE_US = 1_250_000
"""T2: how long the sender may take after a clear to send (from memory)."""


@dataclass(slots=True)
class _Session:
    pgn: int
    size: int
    packets: int
    most: int
    """Most packets the sender wants cleared at a time."""
    last_us: int
    expect: int = 1
    until: int = 0
    """Last packet cleared."""
    broken: bool = False
    """A packet of this block was missed."""
    retries: int = 0


class Receiver:
    """Answers the transport sessions of those we asked."""

    def __init__(self) -> None:
        self._sessions: dict[int, _Session] = {}

    def busy(self, now_us: int) -> bool:
        """Tell whether a session is under way."""
        late = [who for who, one in self._sessions.items() if now_us - one.last_us > PATIENCE_US]
        for who in late:
            del self._sessions[who]
        return bool(self._sessions)

    def hear(
        self, now_us: int, source: int, pgn: int, data: bytes, wanted: frozenset[int]
    ) -> PlainFrame | None:
        """Take a transport frame sent to us; give the answer that is due.

        `wanted` are the groups asked of this sender.
        """
        if len(data) != 8:
            return None
        if pgn == DATA_GROUP:
            return self._packet(now_us, source, data[0])
        control = read_control(data) if pgn == CONTROL_GROUP else None
        if control is None:
            return None
        if control.step is Step.REQUEST:
            return self._announced(now_us, source, control, data[4], wanted)
        if control.step is Step.ABORT:
            self._sessions.pop(source, None)
        return None

    def _announced(
        self, now_us: int, source: int, control: Control, most: int, wanted: frozenset[int]
    ) -> PlainFrame | None:
        if control.pgn not in wanted or announcement_fault(control, to_all=False):
            return None
        session = _Session(control.pgn, control.size, control.packets, most or 0xFF, now_us)
        self._sessions[source] = session
        return self._clear(now_us, source, session)

    def _packet(self, now_us: int, source: int, sequence: int) -> PlainFrame | None:
        session = self._sessions.get(source)
        if session is None:
            return None
        if now_us - session.last_us > PATIENCE_US:
            del self._sessions[source]
            return None
        session.last_us = now_us
        if sequence == session.expect and not session.broken:
            session.expect += 1
        elif sequence > session.expect:
            session.broken = True
        if session.expect > session.packets:
            del self._sessions[source]
            return _control(
                now_us,
                source,
                bytes((Step.END, session.size & 0xFF, session.size >> 8, session.packets, 0xFF)),
                session.pgn,
            )
        if sequence < session.until:
            return None
        if session.broken:
            session.retries += 1
            if session.retries > RETRIES:
                del self._sessions[source]
                return None
        return self._clear(now_us, source, session)

    def _clear(self, now_us: int, source: int, session: _Session) -> PlainFrame:
        count = min(session.packets - session.expect + 1, session.most, AT_ONCE)
        session.until = session.expect + count - 1
        session.broken = False
        session.last_us = now_us
        return _control(
            now_us, source, bytes((Step.CLEAR, count, session.expect, 0xFF, 0xFF)), session.pgn
        )


def _control(now_us: int, destination: int, head: bytes, pgn: int) -> PlainFrame:
    ident = make_identifier(7, CONTROL_GROUP, ADDRESS, destination)
    return PlainFrame(now_us, ident, head + pgn.to_bytes(3, "little"), EXTENDED)
