"""What asking came to: plain values, for a report and for the page."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum
from typing import Literal

from shearbolt.model.frames import PlainFrame

Result = Literal["answered", "refused", "denied", "busy"]


class Ended(StrEnum):
    """Why asking came to an end."""

    DONE = "done"
    """Everything on the list was asked."""
    NOT_CONFIRMED = "not_confirmed"
    """Nobody said that the machine stands still: it was only looked at."""
    NOTHING_HEARD = "nothing_heard"
    """Not one frame came while listening."""
    OTHER_KIND = "other_kind"
    """The bus is of the other kind (SAE J1939, road vehicle)."""
    OTHER_TESTER = "other_tester"
    """Another tester is on the bus."""
    OBJECTION = "objection"
    """Somebody holds our address."""
    MOVING = "moving"
    """The machine moves, by its own readings."""
    SPEED_LOST = "speed_lost"
    """Its speed was told, and is told no more."""
    BUS_SILENT = "bus_silent"
    """The bus fell silent."""
    STOPPED = "stopped"
    """The person stopped it."""
    ADAPTER = "adapter"
    """The adapter failed."""


@dataclass(slots=True)
class Request:
    """One request and what came of it."""

    what: str
    """In plain words."""
    pgn: int | None
    """Group asked for; None: an SAE J1979 service."""
    payload: bytes
    """Service and identifiers of SAE J1979; empty for a group."""
    destination: int
    """Address asked; 255: all."""
    frame: PlainFrame
    answers: dict[int, Result] = field(default_factory=dict)
    """By the address (or 11-bit identifier) that answered."""
    again: bool = False
    """It was put a second time, because the controller was busy."""

    @property
    def data_from(self) -> frozenset[int]:
        """Those that answered with data."""
        return frozenset(who for who, one in self.answers.items() if one == "answered")
