"""Who else is on the bus: the controllers, and above all another tester."""

from __future__ import annotations

from dataclasses import dataclass

from shearbolt.act.tool import ADDRESS, SERVICE_TOOL, TESTER
from shearbolt.model.controller import Name
from shearbolt.model.frames import EXTENDED, NOT_DATA, PlainFrame
from shearbolt.wire.claim import ADDRESS_CLAIMED, read_claim
from shearbolt.wire.identifier import NO_ADDRESS, TO_ALL, pgn_of

TOOL_ADDRESSES = range(249, 252)
"""Service tools 1 and 2 and the on-board data logger (SAE J1939, reference list)."""
ISO_TP_FORMATS = frozenset({0xDA, 0xDB, 0xCD, 0xCE})
"""PDU formats that ISO 15765-2 and -3 take for diagnostics."""
_NON_SPECIFIC = 0


@dataclass(frozen=True, slots=True)
class Tester:
    """Another tester, and what gave it away."""

    words: str
    ident: int
    extended: bool


class Company:
    """Follows who speaks on one bus."""

    def __init__(self, own: Name) -> None:
        self._own = own
        self.last_us: int | None = None
        """Last frame of anybody."""
        self.first_us: int | None = None
        self.frames = 0
        self.senders: dict[int, int] = {}
        """J1939 source addresses with the frames of each, testers left out."""
        self.names: dict[int, Name] = {}
        """NAME claimed at each address."""
        self.tester: Tester | None = None
        self.objected: Name | None = None
        """NAME that claimed our own address."""
        self.short_ids = 0
        """Frames with 11-bit identifiers."""

    def hear(self, now_us: int, frame: PlainFrame, *, answers_due: bool) -> None:
        """Take one frame of somebody else.

        `answers_due`: we asked a moment ago, so diagnostic answers are for us.
        """
        if frame.flags & NOT_DATA:
            return
        self.last_us = now_us
        self.first_us = now_us if self.first_us is None else self.first_us
        self.frames += 1
        if not frame.flags & EXTENDED:
            self.short_ids += 1
            self._short(frame, answers_due)
            return
        source, format_ = frame.ident & 0xFF, frame.ident >> 16 & 0xFF
        if format_ in ISO_TP_FORMATS and frame.ident >> 24 & 3 in (0, 3):
            self._diagnostic(frame, source, answers_due)
            return
        if pgn_of(frame.ident) == ADDRESS_CLAIMED:
            self._claim(frame, source)
        elif source in TOOL_ADDRESSES:
            self._found(frame, f"address {source} is a service tool's or data logger's, and speaks")
        if source not in (NO_ADDRESS, TO_ALL) and source not in TOOL_ADDRESSES:
            self.senders[source] = self.senders.get(source, 0) + 1

    def _claim(self, frame: PlainFrame, source: int) -> None:
        claim = read_claim(source, frame.data)
        if claim is None:
            return
        if source == ADDRESS and claim.name != self._own:
            self.objected = claim.name
        if claim.name == self._own:
            return
        if claim.name.function == SERVICE_TOOL and claim.name.device_class == _NON_SPECIFIC:
            self._found(frame, f"the NAME at address {source} is a service tool's")
        elif source in TOOL_ADDRESSES:
            self._found(
                frame, f"address {source} is a service tool's or data logger's, and claimed"
            )
        elif claim.address is not None:
            self.names[claim.address] = claim.name

    def _diagnostic(self, frame: PlainFrame, source: int, answers_due: bool) -> None:
        destination = frame.ident >> 8 & 0xFF
        if source == TESTER:
            self._found(frame, "a tester asks (29-bit diagnostics)")
        elif not (answers_due and destination == TESTER):
            self._found(frame, "a controller answers a tester (29-bit diagnostics)")

    def _short(self, frame: PlainFrame, answers_due: bool) -> None:
        if frame.ident == 0x7DF or 0x7E0 <= frame.ident <= 0x7E7:
            self._found(frame, "a tester asks (11-bit diagnostics)")
        elif 0x7E8 <= frame.ident <= 0x7EF and not answers_due:
            self._found(frame, "a controller answers a tester (11-bit diagnostics)")

    def _found(self, frame: PlainFrame, words: str) -> None:
        if self.tester is None:
            self.tester = Tester(words, frame.ident, bool(frame.flags & EXTENDED))
