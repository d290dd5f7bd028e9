"""Clears of fault memory heard on the bus (SAE J1939-73): DM3, DM11, DM22 and their answers.

A request (PGN 59904) for DM3 clears what was previously active, one for DM11 everything with
freeze frames, readiness and counters; both are answered by an acknowledgement. DM22 (PGN 49920)
clears one fault and is its own answer. A request to all must not be refused, so silence after it
proves nothing. Permanent faults (DM28) are cleared by none of them.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from shearbolt.model.fault import Cleared
from shearbolt.wire.dtc import spn_by_method
from shearbolt.wire.identifier import TO_ALL
from shearbolt.wire.request import ANSWER_LATEST_US, Acknowledgement, Answer, read_acknowledgement

CLEAR_PREVIOUS = 65228
"""DM3."""
CLEAR_ALL = 65235
"""DM11."""
CLEAR_ONE = 49920
"""DM22."""

ClearKind = Literal["dm3", "dm11"]
ClearResult = Literal["done", "refused", "busy", "no_answer"]
OneStep = Literal["ask", "done", "refused"]
CLEARS: dict[int, ClearKind] = {CLEAR_PREVIOUS: "dm3", CLEAR_ALL: "dm11"}
_RESULTS: dict[Answer, ClearResult] = {
    Answer.ACK: "done",
    Answer.NACK: "refused",
    Answer.DENIED: "refused",
    Answer.BUSY: "busy",
}
_STEPS: dict[int, tuple[OneStep, bool]] = {
    1: ("ask", False),
    2: ("done", False),
    3: ("refused", False),
    17: ("ask", True),
    18: ("done", True),
    19: ("refused", True),
}
_REASONS = {
    0: "no particular reason",
    1: "access denied",
    2: "unknown fault",
    3: "no longer previously active",
    4: "no longer active",
}


@dataclass(frozen=True, slots=True)
class ClearOne:
    """One DM22."""

    step: OneStep
    active: bool
    """About an active fault; False: a previously active one."""
    reason: str | None
    """Why it was refused, in words; None where it was not."""
    spn: int
    """By conversion method 4."""
    fmi: int


def read_dm22(payload: bytes) -> ClearOne | None:
    """Read DM22; None when it is shorter than 8 bytes or its control byte is none."""
    if len(payload) < 8 or payload[0] not in _STEPS:
        return None
    step, active = _STEPS[payload[0]]
    reason = _REASONS.get(payload[1], f"reason {payload[1]}") if step == "refused" else None
    return ClearOne(step, active, reason, spn_by_method(payload[5:8], 4), payload[7] & 0x1F)


def clear_result(acknowledgement: Acknowledgement) -> ClearResult | None:
    """Say what an acknowledgement means for a clear that was asked for; None: not defined."""
    return None if acknowledgement.answer is None else _RESULTS[acknowledgement.answer]


@dataclass(slots=True)
class _Asked:
    time_us: int
    channel: str
    asker: int
    controller: int
    what: Literal["dm3", "dm11", "dm22"]
    spn: int | None = None
    fmi: int | None = None
    active: bool | None = None
    answered: bool = False

    def ended(self, controller: int | None, result: ClearResult, detail: str = "") -> Cleared:
        return Cleared(
            self.time_us,
            self.channel,
            self.asker,
            controller,
            self.what,
            result,
            self.spn,
            self.fmi,
            detail,
        )


class ClearListener:
    """Joins clears with their answers; frames in file order in, Cleared events out.

    `at_us` of an event is the instant of the question, or of the answer whose question was not
    heard. An answer counts up to 1.25 s after its question. A question to all yields one event a
    controller that answers, or one 'no_answer' for none in particular.
    """

    def __init__(self) -> None:
        self._asked: list[_Asked] = []

    @property
    def waiting(self) -> bool:
        """Tell whether a question waits for its answer; if not, other requests change nothing."""
        return bool(self._asked)

    def request(
        self, time_us: int, channel: str, source: int, destination: int, pgn: int
    ) -> tuple[Cleared, ...]:
        """Take a request (PGN 59904) for group `pgn`; the same question again starts anew."""
        out = self._expire(time_us, channel)
        if pgn in CLEARS:
            what = CLEARS[pgn]
            self._ask(_Asked(time_us, channel, source, destination, what), out)
        return tuple(out)

    def acknowledgement(
        self, time_us: int, channel: str, source: int, destination: int, payload: bytes
    ) -> tuple[Cleared, ...]:
        """Take an acknowledgement (PGN 59392)."""
        out = self._expire(time_us, channel)
        read = read_acknowledgement(payload)
        if read is None or read.pgn not in CLEARS:
            return tuple(out)
        result, what = clear_result(read), CLEARS[read.pgn]
        if result is None:
            return tuple(out)
        asker = read.meant_for(destination)
        for one in self._asked:
            if (
                (one.channel, one.what) == (channel, what)
                and one.controller in (source, TO_ALL)
                and asker in (None, one.asker)
            ):
                self._answer(one, source, result, "", out)
                return tuple(out)
        if asker is not None:
            unheard = _Asked(time_us, channel, asker, source, what)
            out.append(unheard.ended(source, result, "the question was not heard"))
        return tuple(out)

    def clear_one(
        self, time_us: int, channel: str, source: int, destination: int, payload: bytes
    ) -> tuple[Cleared, ...]:
        """Take a DM22, a question or an answer."""
        out = self._expire(time_us, channel)
        read = read_dm22(payload)
        if read is None:
            return tuple(out)
        if read.step == "ask":
            asked = _Asked(time_us, channel, source, destination, "dm22", read.spn, read.fmi)
            asked.active = read.active
            self._ask(asked, out)
            return tuple(out)
        detail = read.reason or ""
        for one in self._asked:
            if (one.channel, one.what, one.spn, one.fmi, one.active) == (
                channel,
                "dm22",
                read.spn,
                read.fmi,
                read.active,
            ) and one.controller in (source, TO_ALL):
                self._answer(one, source, read.step, detail, out)
                return tuple(out)
        unheard = _Asked(time_us, channel, destination, source, "dm22", read.spn, read.fmi)
        out.append(unheard.ended(source, read.step, detail or "the question was not heard"))
        return tuple(out)

    def finish(self) -> tuple[Cleared, ...]:
        """End the recording: questions still open have no answer."""
        out: list[Cleared] = []
        for one in self._asked:
            self._unanswered(one, out)
        self._asked.clear()
        return tuple(out)

    def _ask(self, asked: _Asked, out: list[Cleared]) -> None:
        same = [
            one
            for one in self._asked
            if (one.channel, one.asker, one.controller, one.what, one.spn, one.fmi, one.active)
            == (
                asked.channel,
                asked.asker,
                asked.controller,
                asked.what,
                asked.spn,
                asked.fmi,
                asked.active,
            )
        ]
        for one in same:
            self._unanswered(one, out)
            self._asked.remove(one)
        self._asked.append(asked)

    def _answer(
        self, asked: _Asked, source: int, result: ClearResult, detail: str, out: list[Cleared]
    ) -> None:
        out.append(asked.ended(source, result, detail))
        asked.answered = True
        if asked.controller != TO_ALL:
            self._asked.remove(asked)

    def _unanswered(self, asked: _Asked, out: list[Cleared]) -> None:
        if not asked.answered:
            controller = None if asked.controller == TO_ALL else asked.controller
            out.append(asked.ended(controller, "no_answer"))

    def _expire(self, time_us: int, channel: str) -> list[Cleared]:
        out: list[Cleared] = []
        over = [
            one
            for one in self._asked
            if one.channel == channel and time_us - one.time_us > ANSWER_LATEST_US
        ]
        for one in over:
            self._unanswered(one, out)
            self._asked.remove(one)
        return out
