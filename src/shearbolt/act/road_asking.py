"""Asking a road vehicle by the reading services of SAE J1979 on CAN (ISO 15765-4).

The same manner as `asking`: listen first, one request a second, nothing while another tester
speaks, an end to it when the vehicle moves. Such a vehicle hardly ever broadcasts a speed that can
be read, and behind a gateway its plug is silent until asked; so the person's word comes first, and
the vehicle's own speed (01 0D) is the first thing asked and is asked again and again.

No I/O; the time is an argument, and what is returned still has to pass the gate.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence

from shearbolt.act.askable import RoadAskable, road_requests
from shearbolt.act.outcome import Ended, Request
from shearbolt.act.session import LISTEN_US, PAUSE_US, Session
from shearbolt.act.standstill import road_speed_row
from shearbolt.act.tool import (
    FUNCTIONAL_11,
    FUNCTIONAL_29,
    TESTER,
    flow_control_frame,
    road_request_frame,
)
from shearbolt.model.controller import Name
from shearbolt.model.frames import EXTENDED, NOT_DATA, PlainFrame
from shearbolt.model.instants import SECOND_US
from shearbolt.model.message import IsoTpMessage
from shearbolt.wire.identifier import TO_ALL, destination_of, pgn_of
from shearbolt.wire.iso_tp import IsoTpListener
from shearbolt.wire.obd_pids import read_support

LISTEN_LONGEST_US = 8 * SECOND_US
SPEED_EVERY = 5
"""The speed is asked again after so many other requests."""
ANSWER_US = SECOND_US
PENDING_US = 5 * SECOND_US
"""P2* after 'response pending' (ISO 14229-2; from memory)."""
TALK_US = 10 * SECOND_US
"""Diagnostic answers within this time of a request are for us."""
MOST_UNANSWERED = 3
"""After so many requests without any answer there is nobody to ask."""
SPEED = b"\x01\x0d"
NEGATIVE, RESPONSE_PENDING = 0x7F, 0x78


class RoadAsker(Session):
    """Decides what is sent to one road vehicle, and gathers who answered."""

    def __init__(self, name: Name, *, word: bool, own_requests: Sequence[RoadAskable] = ()) -> None:
        """Ask; `word`: a person said that the vehicle stands still and is secured.

        `own_requests` takes a part of the list only (tests).
        """
        super().__init__(name, word=word)
        self._list = tuple(own_requests) or road_requests()
        self._iso_tp = IsoTpListener()
        self._pending_us: int | None = None
        self._extended = False
        self._queue: deque[RoadAskable] = deque()
        self._begun = False
        self._since_speed = 0
        self._long: dict[tuple[int, bool], int] = {}
        """Last frame of long answers under way, by identifier."""
        self._offered: set[bytes] = set()
        self._frozen = False

    @property
    def phase(self) -> str:
        """Tell where it stands: listen, ask or ended."""
        return "ended" if self.ended is not None else ("ask" if self._begun else "listen")

    def planned(self) -> tuple[PlainFrame, ...]:
        """Give what would be sent in any case, in its order."""
        return tuple(one.frame for one in self.planned_requests())

    def planned_requests(self) -> list[Request]:
        """Give the requests that would be put in any case."""
        return [
            Request(
                one.what, None, one.payload, TO_ALL, road_request_frame(one.payload, self._extended)
            )
            for one in self._list
            if one.when == "always"
        ]

    def sent(self, frame: PlainFrame) -> None:
        """Take note of a frame that went out, with the time at which it really did.

        Sending may take a while; the second until the next request counts from its end.
        """
        if frame.ident in (FUNCTIONAL_11, FUNCTIONAL_29):
            self._asked_us = frame.time_us

    # -- hearing --------------------------------------------------------------------------------

    def _hear(self, now_us: int, frame: PlainFrame) -> PlainFrame | None:
        talking = self._asked_us is not None and now_us - self._asked_us <= TALK_US
        self.company.hear(now_us, frame, answers_due=talking)
        if frame.flags & NOT_DATA:
            return None
        extended = bool(frame.flags & EXTENDED)
        if not _may_answer(frame.ident, extended):
            if extended:
                self.standstill.hear(now_us, pgn_of(frame.ident), frame.ident & 0xFF, frame.data)
            return None
        if not talking or extended != self._extended:
            return None
        for one in self._iso_tp.feed(now_us, 0, frame.ident, extended, frame.data):
            self._long.pop((frame.ident, extended), None)
            if isinstance(one, IsoTpMessage):
                self._take(now_us, one)
        kind = frame.data[0] >> 4 if frame.data else None
        if kind == 1:
            self._long[frame.ident, extended] = now_us
            return flow_control_frame(frame.ident, extended, now_us)
        if kind == 2 and (frame.ident, extended) in self._long:
            self._long[frame.ident, extended] = now_us
        return None

    def _take(self, now_us: int, message: IsoTpMessage) -> None:
        """Take one whole answer."""
        payload = message.payload
        if not self.requests:
            return
        last = self.requests[-1]
        who = message.ident & 0xFF if message.extended else message.ident
        if payload[0] == NEGATIVE:
            if len(payload) == 3 and payload[1] == last.payload[0]:
                if payload[2] == RESPONSE_PENDING:
                    self._pending_us = now_us
                else:
                    last.answers.setdefault(who, "refused")
            return
        if payload[0] != last.payload[0] + 0x40 or payload[1:2] != (
            last.payload[1:2] or payload[1:2]
        ):
            return
        last.answers[who] = "answered"
        if last.payload == SPEED and len(payload) == 3:
            self.standstill.tell(now_us, road_speed_row(), who & 0xFF, float(payload[2]))
        elif payload[0] == 0x41 and payload[1] % 0x20 == 0 and len(payload) >= 6:
            self._offered |= {bytes((1, pid)) for pid in read_support(payload[1], payload[2:6])}
        elif payload[0] == 0x42 and payload[1] == 0x02 and len(payload) >= 5:
            self._frozen = self._frozen or payload[3:5] != b"\0\0"

    # -- deciding -------------------------------------------------------------------------------

    def _reason_to_end(self, now_us: int, since_us: int) -> Ended | None:
        if self.company.tester is not None:
            return Ended.OTHER_TESTER
        if self.stand.standing is False and (self._begun or since_us >= LISTEN_US):
            return Ended.MOVING
        if self._begun:
            asked = self.requests[-MOST_UNANSWERED:]
            settled = self._asked_us is not None and now_us - self._asked_us >= ANSWER_US
            if len(asked) == MOST_UNANSWERED and settled and not any(one.answers for one in asked):
                return Ended.BUS_SILENT
            return None
        if since_us < LISTEN_US or self._word:
            return None
        return Ended.NOT_CONFIRMED if self.company.frames else Ended.NOTHING_HEARD

    def _due(self, now_us: int, since_us: int) -> PlainFrame | None:
        if not self._word or self.stand.engine == "turning":
            return None
        if not self._begun:
            wait_us = LISTEN_US if self.company.frames else LISTEN_LONGEST_US
            self.ready = since_us >= wait_us
            if not self.ready or not self.armed:
                return None
            self._begun = True
            self._extended = self.company.frames > 0 and self.company.short_ids == 0
            self._queue.extend(self._list)
        elif self._asked_us is not None and not self._settled(now_us, self._asked_us):
            return None
        return self._next(now_us)

    def _settled(self, now_us: int, asked_us: int) -> bool:
        if now_us - asked_us < PAUSE_US:
            return False
        late = [key for key, at_us in self._long.items() if now_us - at_us > ANSWER_US]
        for key in late:
            del self._long[key]
        if self._long:
            return False
        if self._pending_us is not None and not self.requests[-1].answers:
            return now_us - self._pending_us >= PENDING_US
        return now_us - asked_us >= ANSWER_US

    def _next(self, now_us: int) -> PlainFrame | None:
        self._pending_us = None
        speed = next((one for one in self._list if one.payload == SPEED), None)
        if speed is not None and self._since_speed >= SPEED_EVERY and self._queue:
            return self._ask(now_us, speed)
        while self._queue:
            one = self._queue.popleft()
            if one.when == "offered" and one.payload not in self._offered:
                continue
            if one.when == "frozen" and not self._frozen:
                continue
            return self._ask(now_us, one)
        self.ended = Ended.DONE
        return None

    def _ask(self, now_us: int, one: RoadAskable) -> PlainFrame:
        self._since_speed = 0 if one.payload == SPEED else self._since_speed + 1
        frame = road_request_frame(one.payload, self._extended, now_us)
        return self._put(now_us, Request(one.what, None, one.payload, TO_ALL, frame))


def _may_answer(ident: int, extended: bool) -> bool:
    """Tell whether an identifier is that of an answer to the tester (ISO 15765-4)."""
    if extended:
        return ident >> 16 & 0x3FF == 0xDA and destination_of(ident) == TESTER
    return 0x7E8 <= ident <= 0x7EF
