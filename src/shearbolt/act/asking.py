"""Asking a machine on SAE J1939: what to send next, decided from the frames and the time alone.

    listen -> claim -> ask -> ended

* Listen: at least 5 s, until the machine's own speed has stood at zero for 3 s. With no speed on
  the bus it is the person's word that counts, and without that word nothing is ever sent.
* Claim: our address claim, then 250 ms of waiting for an objection (SAE J1939-81).
* Ask: each group of the list is asked of all, one a second, and no sooner than its answers are in
  or overdue. Then single controllers are asked by address: for DM2 each that did not send it, and
  where that is refused or missing for DM12, DM23 and DM28 in its stead.
* Any of these ends it at once, and nothing more is sent: the machine moves; its speed is no longer
  told; another tester speaks; somebody claims our address; the bus falls silent.

No I/O; the time is an argument (any steady clock), and what is returned still has to pass the
gate.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence

from shearbolt.act.askable import Askable, askable_groups
from shearbolt.act.company import ISO_TP_FORMATS
from shearbolt.act.outcome import Ended, Request, Result
from shearbolt.act.receiving import Receiver
from shearbolt.act.session import LISTEN_US, PAUSE_US, Session
from shearbolt.act.tool import ADDRESS, claim_frame, request_frame
from shearbolt.model.controller import Name
from shearbolt.model.frames import EXTENDED, NOT_DATA, PlainFrame
from shearbolt.model.instants import SECOND_US
from shearbolt.model.message import Message
from shearbolt.wire.claim import ADDRESS_CLAIMED, CLAIM_WAIT_US
from shearbolt.wire.identifier import TO_ALL, destination_of, pgn_of
from shearbolt.wire.request import (
    ACKNOWLEDGEMENT,
    ANSWER_LATEST_US,
    REQUEST,
    Answer,
    read_acknowledgement,
    read_request,
)
from shearbolt.wire.transport import Reassembler
from shearbolt.wire.transport_control import (
    CONTROL_GROUP,
    DATA_GROUP,
    Control,
    Step,
    read_control,
)
from shearbolt.wire.transport_session import Heard

LISTEN_LONGEST_US = 15 * SECOND_US
"""A machine whose readings do not settle by then is not asked."""
SILENT_US = 5 * SECOND_US
LOST_US = 5 * SECOND_US
"""How long a speed may be missing before asking ends; nothing is asked meanwhile."""
SESSION_US = 1_250_000
"""A transport session without a frame for this long is over (T2, T3; from memory)."""
DM2 = 65227
ENGINE_FUNCTION = 0
ENGINE_ADDRESSES = frozenset({0, 1})
MOST_CONTROLLERS = 24
"""More senders than this are not asked one by one (own choice)."""
_RESULTS: dict[Answer, Result] = {
    Answer.NACK: "refused",
    Answer.DENIED: "denied",
    Answer.BUSY: "busy",
}


class Asker(Session):
    """Decides what is sent to one SAE J1939 bus, and gathers who answered."""

    def __init__(self, name: Name, *, word: bool, own_groups: Sequence[Askable] = ()) -> None:
        """Ask as `name`; `word`: a person said that the machine stands still and is secured.

        `own_groups` takes a part of the list only (tests).
        """
        super().__init__(name, word=word)
        self._groups = tuple(own_groups) or askable_groups()
        self._receiver = Receiver()
        self._reassembler = Reassembler()
        self._claimed_us: int | None = None
        self._claim_due = False
        self._lost_us: int | None = None
        self._queue: deque[tuple[Askable, int]] = deque()
        self._rounds = 0
        self._sessions: dict[int, int] = {}
        """Last frame of the transport sessions that carry the group asked last, by sender."""

    @property
    def phase(self) -> str:
        """Tell where it stands: listen, claim, ask or ended."""
        if self.ended is not None:
            return "ended"
        if self._claimed_us is None:
            return "listen"
        return "ask" if self._rounds else "claim"

    def planned(self) -> tuple[PlainFrame, ...]:
        """Give what would be sent, in its order: the claim, and the requests to all."""
        requests = (request_frame(one.pgn, TO_ALL) for one in self._groups)
        return (claim_frame(self.name), *requests)

    def sent(self, frame: PlainFrame) -> None:
        """Take note of a frame that went out, with the time at which it really did.

        Sending may take a while; the second until the next request counts from its end.
        """
        if frame.ident == request_frame(0, frame.ident >> 8 & 0xFF).ident:
            self._asked_us = frame.time_us
        elif pgn_of(frame.ident) == ADDRESS_CLAIMED:
            self._claimed_us = frame.time_us

    # -- hearing --------------------------------------------------------------------------------

    def _hear(self, now_us: int, frame: PlainFrame) -> PlainFrame | None:
        self.company.hear(now_us, frame, answers_due=False)
        if frame.flags & NOT_DATA or not frame.flags & EXTENDED:
            return None
        if frame.ident >> 16 & 0xFF in ISO_TP_FORMATS:
            return None
        pgn, source = pgn_of(frame.ident), frame.ident & 0xFF
        destination = destination_of(frame.ident)
        self.standstill.hear(now_us, pgn, source, frame.data)
        if self._claimed_us is None:
            return None
        if pgn == REQUEST:
            if read_request(frame.data) == ADDRESS_CLAIMED and destination in (ADDRESS, TO_ALL):
                self._claim_due = True
        elif pgn == ACKNOWLEDGEMENT:
            self._acknowledged(source, destination, frame.data)
        elif pgn in (CONTROL_GROUP, DATA_GROUP):
            return self._transport(now_us, pgn, source, destination, frame.data)
        else:
            self._answered(pgn, source, "answered")
        return None

    def _wanted_of(self, source: int) -> frozenset[int]:
        asked = (one for one in self.requests if one.destination in (source, TO_ALL))
        return frozenset(one.pgn for one in asked if one.pgn is not None)

    def _transport(
        self, now_us: int, pgn: int, source: int, destination: int, data: bytes
    ) -> PlainFrame | None:
        """Follow the sessions that bring what was asked; give the answer that one needs."""
        if destination not in (ADDRESS, TO_ALL):
            return None
        if pgn == DATA_GROUP:
            if source in self._sessions:
                self._sessions[source] = now_us
        elif len(data) == 8 and (control := read_control(data)) is not None:
            self._announced(now_us, source, control)
        self._whole(self._reassembler.feed(now_us, 0, source, destination, pgn, data))
        if destination != ADDRESS:
            return None
        answer = self._receiver.hear(now_us, source, pgn, data, self._wanted_of(source))
        if answer is not None:
            self._whole(
                self._reassembler.feed(now_us, 0, ADDRESS, source, CONTROL_GROUP, answer.data)
            )
        return answer

    def _announced(self, now_us: int, source: int, control: Control) -> None:
        if control.step in (Step.REQUEST, Step.BROADCAST):
            if self.requests and control.pgn == self.requests[-1].pgn:
                self._sessions[source] = now_us
            else:
                self._sessions.pop(source, None)
        elif control.step is Step.ABORT:
            self._sessions.pop(source, None)

    def _whole(self, heard: Sequence[Heard]) -> None:
        for one in heard:
            if isinstance(one, Message):
                self._answered(one.pgn, one.source, "answered")
            if self.requests and one.pgn == self.requests[-1].pgn:
                self._sessions.pop(one.source, None)

    def _acknowledged(self, source: int, destination: int, data: bytes) -> None:
        ack = read_acknowledgement(data)
        if ack is None or ack.answer is None or ack.answer not in _RESULTS:
            return
        if ack.meant_for(destination) in (ADDRESS, None):
            self._answered(ack.pgn, source, _RESULTS[ack.answer])

    def _answered(self, pgn: int, source: int, result: Result) -> None:
        for one in reversed(self.requests):
            if one.pgn == pgn and one.destination in (source, TO_ALL):
                if one.answers.get(source) != "answered":
                    one.answers[source] = result
                return

    # -- deciding -------------------------------------------------------------------------------

    def _reason_to_end(self, now_us: int, since_us: int) -> Ended | None:
        company = self.company
        if company.objected is not None:
            return Ended.OBJECTION
        if company.tester is not None:
            return Ended.OTHER_TESTER
        if self.stand.standing is False and (self._claimed_us or since_us >= LISTEN_US):
            return Ended.MOVING
        if self._claimed_us is None:
            return self._reason_not_to_begin(since_us)
        if company.last_us is None or now_us - company.last_us > SILENT_US:
            return Ended.BUS_SILENT
        if self.stand.ever_told and self.stand.standing is None:
            self._lost_us = now_us if self._lost_us is None else self._lost_us
            if now_us - self._lost_us > LOST_US:
                return Ended.SPEED_LOST
        else:
            self._lost_us = None
        return None

    def _reason_not_to_begin(self, since_us: int) -> Ended | None:
        """Tell, while listening, what speaks against ever asking."""
        if since_us < LISTEN_US:
            return None
        if not self.company.frames:
            return Ended.NOTHING_HEARD if since_us >= LISTEN_LONGEST_US else None
        if not self.company.senders:
            return Ended.OTHER_KIND if self.company.short_ids else Ended.NOTHING_HEARD
        if self.stand.ever_told and self.stand.standing is None:
            return Ended.SPEED_LOST if since_us >= LISTEN_LONGEST_US else None
        return None if self._word else Ended.NOT_CONFIRMED

    def _may_ask(self) -> bool:
        """Tell whether the machine is known to stand still now.

        While the engine cranks nothing is asked: voltage is short, and controllers restart.
        """
        if self.stand.engine == "turning" or not self.company.senders:
            return False
        return self.stand.standing is True or (not self.stand.ever_told and self._word)

    def _due(self, now_us: int, since_us: int) -> PlainFrame | None:
        if not self._word or not self._may_ask():
            return None
        if self._claimed_us is None:
            self.ready = since_us >= LISTEN_US
            if not self.ready or not self.armed:
                return None
            self._claimed_us = now_us
            return claim_frame(self.name, now_us)
        if self._claim_due and now_us - self._claimed_us >= PAUSE_US:
            self._claim_due = False
            self._claimed_us = now_us
            return claim_frame(self.name, now_us)
        if not self._rounds and now_us - self._claimed_us < CLAIM_WAIT_US:
            return None
        if self._asked_us is not None and not self._settled(now_us, self._asked_us):
            return None
        return self._next(now_us)

    def _settled(self, now_us: int, asked_us: int) -> bool:
        """Tell whether the last request has had its time."""
        if now_us - asked_us < PAUSE_US:
            return False
        late = [who for who, at_us in self._sessions.items() if now_us - at_us > SESSION_US]
        for who in late:
            del self._sessions[who]
        if self._sessions or self._receiver.busy(now_us):
            # Packets that follow their announcement slowly are waited for, not talked into.
            return False
        last = self.requests[-1]
        if last.destination != TO_ALL and last.destination in last.answers:
            return True
        return now_us - asked_us >= ANSWER_LATEST_US

    def _next(self, now_us: int) -> PlainFrame | None:
        if not self._rounds:
            self._rounds = 1
            self._queue.extend((one, TO_ALL) for one in self._groups)
        elif self.requests:
            self._after_the_last()
        if not self._queue and self._rounds == 1:
            self._rounds = 2
            self._queue.extend(self._by_address())
        while self._queue:
            group, destination = self._queue.popleft()
            if self._has(group.pgn, destination):
                continue
            frame = request_frame(group.pgn, destination, now_us)
            self._sessions.clear()
            return self._put(now_us, Request(group.what, group.pgn, b"", destination, frame))
        self.ended = Ended.DONE
        return None

    def _after_the_last(self) -> None:
        """Let the last answer change what is asked next."""
        last = self.requests[-1]
        group = next(one for one in self._groups if one.pgn == last.pgn)
        if last.destination == TO_ALL:
            return
        result = last.answers.get(last.destination)
        before = [
            one
            for one in self.requests[:-1]
            if one.pgn == last.pgn and one.destination == last.destination
        ]
        if result == "busy" and not before:
            self._queue.append((group, last.destination))
            return
        last.again = bool(before)
        if last.pgn == DM2 and result != "answered":
            instead = [one for one in self._groups if one.then == "fallback"]
            self._queue.extendleft((one, last.destination) for one in reversed(instead))

    def _has(self, pgn: int, destination: int) -> bool:
        """Tell whether this address has sent the group since we asked."""
        return destination != TO_ALL and any(
            one.pgn == pgn and destination in one.data_from for one in self.requests
        )

    def _by_address(self) -> list[tuple[Askable, int]]:
        """List what single controllers are asked after the round to all."""
        some = sorted(self.company.senders, key=lambda one: (not self._is_engine(one), one))
        some = some[:MOST_CONTROLLERS]
        due: list[tuple[Askable, int]] = []
        for group in self._groups:
            told = any(one.data_from for one in self.requests if one.pgn == group.pgn)
            if group.then == "each":
                due += [(group, one) for one in some]
            elif group.then == "engine" and not told:
                due += [(group, one) for one in some if self._is_engine(one)]
        return due

    def _is_engine(self, address: int) -> bool:
        name = self.company.names.get(address)
        if name is not None:
            return name.function == ENGINE_FUNCTION
        return address in ENGINE_ADDRESSES
