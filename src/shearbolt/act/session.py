"""What every asking has in common: its steps, what it knows of the machine, and its end.

A step takes what was heard, looks whether something speaks against going on, and only then gives
what is due. Once it has ended no step gives anything, not even an answer that was due already.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Sequence

from shearbolt.act.company import Company
from shearbolt.act.outcome import Ended, Request
from shearbolt.act.standstill import Stand, Standstill
from shearbolt.model.controller import Name
from shearbolt.model.frames import PlainFrame
from shearbolt.model.instants import SECOND_US

LISTEN_US = 5 * SECOND_US
"""Nothing is sent before; every group that tells a speed has come many times by then."""
PAUSE_US = SECOND_US
"""Between two requests, at least."""


class Session(ABC):
    """Decides what is sent to one bus, and gathers who answered. No I/O; times are microseconds of
    any steady clock.
    """

    def __init__(self, name: Name, *, word: bool) -> None:
        """Ask as `name`; `word`: a person said that the machine stands still and is secured."""
        self.name = name
        self._word = word
        self.company = Company(name)
        self.standstill = Standstill()
        self._start_us: int | None = None
        self._asked_us: int | None = None
        """When the last request went out."""
        self.requests: list[Request] = []
        self.armed = True
        """False: hold back the first frame, and say by `ready` that it is due."""
        self.ready = False
        self.ended: Ended | None = None
        self.stand: Stand = self.standstill.judge(0)
        """How the machine stood at the last look."""

    @property
    @abstractmethod
    def phase(self) -> str:
        """Tell where it stands: listen, claim (where there is a claim), ask or ended."""

    @abstractmethod
    def planned(self) -> tuple[PlainFrame, ...]:
        """Give what would be sent in any case, in its order."""

    @abstractmethod
    def sent(self, frame: PlainFrame) -> None:
        """Take note of a frame that went out, with the time at which it really did.

        Sending may take a while; the second until the next request counts from its end.
        """

    def stop(self, why: Ended) -> None:
        """End it from outside; the reason that came first stays."""
        self.ended = self.ended or why

    def step(self, now_us: int, heard: Sequence[PlainFrame] = ()) -> tuple[PlainFrame, ...]:
        """Take what was heard up to now and give what is to be sent now, in this order."""
        if self._start_us is None:
            self._start_us = now_us
        since_us = now_us - self._start_us
        out: list[PlainFrame] = []
        for frame in heard:
            answer = self._hear(now_us, frame)
            if answer is not None:
                out.append(answer)
        self.stand = self.standstill.judge(now_us)
        if self.ended is None:
            self.ended = self._reason_to_end(now_us, since_us)
        if self.ended is not None:
            return ()
        due = self._due(now_us, since_us)
        if due is not None:
            out.append(due)
        return tuple(out)

    @abstractmethod
    def _hear(self, now_us: int, frame: PlainFrame) -> PlainFrame | None:
        """Take one frame; give the answer that a sender of several frames waits for."""

    @abstractmethod
    def _reason_to_end(self, now_us: int, since_us: int) -> Ended | None:
        """Tell what speaks against going on, `since_us` after the first step."""

    @abstractmethod
    def _due(self, now_us: int, since_us: int) -> PlainFrame | None:
        """Give what is to be sent now of our own accord: a claim or a request."""

    def _put(self, now_us: int, request: Request) -> PlainFrame:
        """Write a request down as put now, and give its frame."""
        self.requests.append(request)
        self._asked_us = now_us
        return request.frame
