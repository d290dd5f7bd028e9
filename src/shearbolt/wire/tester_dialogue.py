"""Pairs the requests and answers of a tester and its control units, as heard on the wire.

Whole ISO 15765-2 messages in, events out; no I/O, and time is that of the recording.

* A request to one unit is answered by its partner identifier; a request to all by any unit on
  the channel. An answer belongs to the latest open request of its service that covers its unit;
  without one it is read by itself.
* A request stays open for 5 s (P2* of ISO 14229-2, the longest wait a tester grants), from its
  last frame or from the last 'response pending'. It is closed earlier by its final answer, when
  it asked one unit, or by the same service asked of the same unit again.
* A closed request that wanted an answer and got none from anybody, or from one unit nothing
  after 'response pending', is told as Unanswered, and a clear also as ClearHeard 'no_answer'.
  Silence towards a request with bit 7 of its sub-function set (3E 80) is the right answer.
* The format of codes that a unit tells (19 01 and its like) is remembered for that unit.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TypeAlias

from shearbolt.model.message import IsoTpBroken, IsoTpMessage
from shearbolt.model.road import (
    AnyRoadEvent,
    ClearHeard,
    ClearResult,
    KeepAlive,
    NegativeAnswer,
    RoadNotRead,
    UdsCodes,
    UdsCount,
    Unanswered,
)
from shearbolt.wire import obd, uds
from shearbolt.wire.diagnostic_ids import is_answer, is_functional, is_request, partner

Events: TypeAlias = tuple[AnyRoadEvent, ...]

ANSWER_WITHIN_US = 5_000_000
"""P2* (ISO 14229-2; 5000 ms)."""
CLEARS = frozenset({obd.CLEAR, uds.CLEAR})
_QUIET = 0x80
"""Bit of a sub-function: no positive answer wanted."""
_POSITIVE = 0x40
_KNOWN_SERVICES = frozenset(range(0x01, 0x0B)) | frozenset(range(0x10, 0x3F)) | {*range(0x83, 0x89)}

_Unit: TypeAlias = tuple[int, int, bool]


@dataclass(slots=True)
class _Request:
    """A request that may still be answered."""

    message: IsoTpMessage
    until_us: int
    answered: bool = False
    """Somebody gave a final answer."""
    pending: list[int] = field(default_factory=list)
    """Identifiers of the units that said 'response pending' and owe the answer."""
    waited: list[int] = field(default_factory=list)
    """Identifiers of all units that ever said so."""

    @property
    def service(self) -> int:
        return self.message.payload[0]

    @property
    def functional(self) -> bool:
        return is_functional(self.message.ident, self.message.extended)

    @property
    def wants_answer(self) -> bool:
        payload = self.message.payload
        if self.service not in uds.WITH_SUBFUNCTION or len(payload) < 2:
            return True
        return not payload[1] & _QUIET

    def covers(self, unit: _Unit) -> bool:
        channel, ident, extended = unit
        message = self.message
        if (message.channel, message.extended) != (channel, extended):
            return False
        return self.functional or message.ident == partner(ident, extended)


@dataclass(slots=True)
class DialogueListener:
    """Follows all dialogues of a recording; keeps its state between blocks."""

    _open: list[_Request] = field(default_factory=list)
    _formats: dict[_Unit, int] = field(default_factory=dict)

    def feed(self, message: IsoTpMessage | IsoTpBroken) -> Events:
        """Take what the listener gives, in the order of the recording; give what it tells.

        A broken answer tells nothing, but its unit was not silent.
        """
        if isinstance(message, IsoTpBroken):
            unit = (message.channel, message.ident, message.extended)
            for request in self._open:
                if is_answer(message.ident, message.extended) and request.covers(unit):
                    request.answered = True
            return ()
        if not message.payload:
            return ()
        events = self._expire(message.time_us)
        if is_request(message.ident, message.extended):
            return (*events, *self._request(message))
        if is_answer(message.ident, message.extended):
            return (*events, *self._answer(message))
        return tuple(events)

    def finish(self) -> Events:
        """Tell the requests that the end of the recording left without an answer."""
        events = [event for request in self._open for event in _closed(request)]
        self._open.clear()
        return tuple(events)

    def code_format(self, channel: int, ident: int, extended: bool) -> int | None:
        """Give the format of codes that a unit told so far; None: not told."""
        return self._formats.get((channel, ident, extended))

    def _expire(self, now_us: int) -> list[AnyRoadEvent]:
        late = [request for request in self._open if request.until_us < now_us]
        if not late:
            return []
        self._open = [request for request in self._open if request.until_us >= now_us]
        return [event for request in late for event in _closed(request)]

    def _request(self, message: IsoTpMessage) -> Events:
        service = message.payload[0]
        again = [
            one
            for one in self._open
            if one.service == service
            and (one.message.channel, one.message.ident, one.message.extended)
            == (message.channel, message.ident, message.extended)
        ]
        self._open = [one for one in self._open if one not in again]
        events = [event for one in again for event in _closed(one)]
        request = _Request(message, message.end_us + ANSWER_WITHIN_US)
        self._open.append(request)
        if service == uds.TESTER_PRESENT and not request.wants_answer:
            events.append(KeepAlive(**obd.head_of(message), answer_wanted=False))
        return tuple(events)

    def _answer(self, message: IsoTpMessage) -> Events:
        first = message.payload[0]
        unit = (message.channel, message.ident, message.extended)
        if first == uds.NEGATIVE:
            return self._negative(message, unit)
        service = first - _POSITIVE
        if service not in _KNOWN_SERVICES:
            words = f"an answer that begins with {first:02X} belongs to no service"
            return (RoadNotRead(**obd.head_of(message), reason=words, payload=message.payload),)
        request = self._find(unit, service)
        if request is not None:
            self._answered(request, message.ident)
        heard = None if request is None else request.message.payload
        if service in CLEARS:
            return (_clear(message, service, "done", request, None),)
        if service == uds.TESTER_PRESENT:
            return (KeepAlive(**obd.head_of(message), answer_wanted=True),)
        if service in obd.SERVICES:
            return obd.read_obd_answer(message, heard)
        events = uds.read_uds_answer(message, heard, self._formats.get(unit))
        for event in events:
            told = event.code_format if isinstance(event, UdsCount | UdsCodes) else None
            if told is not None:
                self._formats[unit] = told
        return events

    def _negative(self, message: IsoTpMessage, unit: _Unit) -> Events:
        refusal = uds.read_negative(message)
        if not isinstance(refusal, NegativeAnswer):
            return (refusal,)
        request = self._find(unit, refusal.service)
        if not refusal.final:
            if request is not None:
                request.until_us = message.end_us + ANSWER_WITHIN_US
                if message.ident not in request.pending:
                    request.pending.append(message.ident)
                if message.ident not in request.waited:
                    request.waited.append(message.ident)
            return (refusal,)
        if request is not None:
            self._answered(request, message.ident)
        if refusal.service not in CLEARS:
            return (refusal,)
        result: ClearResult = "busy" if refusal.nrc == uds.BUSY else "refused"
        return (refusal, _clear(message, refusal.service, result, request, refusal))

    def _find(self, unit: _Unit, service: int) -> _Request | None:
        """Find the latest open request of a service that this unit may be answering."""
        for request in reversed(self._open):
            if request.service == service and request.covers(unit):
                return request
        return None

    def _answered(self, request: _Request, ident: int) -> None:
        request.answered = True
        if ident in request.pending:
            request.pending.remove(ident)
        if not request.functional:
            self._open = [one for one in self._open if one is not request]


def _clear(
    message: IsoTpMessage,
    service: int,
    result: ClearResult,
    request: _Request | None,
    refusal: NegativeAnswer | None,
) -> ClearHeard:
    asked = None if request is None else request.message
    return ClearHeard(
        **obd.head_of(message),
        service=service,
        result=result,
        asked_ident=None if asked is None else asked.ident,
        asked_us=None if asked is None else asked.time_us,
        nrc=None if refusal is None else refusal.nrc,
        group=None if asked is None else _group(asked),
        waited=request is not None and message.ident in request.waited,
        words="" if refusal is None else refusal.words,
    )


def _group(asked: IsoTpMessage) -> int | None:
    """Read the group of codes that service 14 clears."""
    if asked.payload[0] != uds.CLEAR or len(asked.payload) < 4:
        return None
    return int.from_bytes(asked.payload[1:4], "big")


def _closed(request: _Request) -> Events:
    """Tell what a request that gets no more answers was left without."""
    silent = not request.answered and not request.pending and request.wants_answer
    if not silent and not request.pending:
        return ()
    message = request.message
    head = obd.head_of(message)
    events: list[AnyRoadEvent] = [
        Unanswered(**head, request=message.payload, pending=bool(request.pending))
    ]
    if request.service in CLEARS:
        words = "the unit said that the answer would come, and it did not" * bool(request.pending)
        owed = request.pending or [message.ident]
        for ident in owed:
            events.append(
                ClearHeard(
                    message.time_us,
                    message.channel,
                    ident,
                    message.extended,
                    service=request.service,
                    result="no_answer",
                    asked_ident=message.ident,
                    asked_us=message.time_us,
                    group=_group(message),
                    waited=bool(request.pending),
                    words=words,
                )
            )
    return tuple(events)
