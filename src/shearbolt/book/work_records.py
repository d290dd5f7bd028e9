"""Records of what people do about faults: checks, causes found, service, signals learnt."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from shearbolt.model.instants import Instant

Grade = Literal["measured", "swapped", "part_held", "opinion"]
"""How a cause was confirmed: measured, swapped both ways, a part changed that held, an opinion."""


@dataclass(frozen=True, slots=True)
class CheckDone:
    """A check that a person did, and what came of it."""

    id: str
    machine: str
    fault: str | None
    check: str
    """Its name in the catalogue."""
    outcome: str
    """The outcome's name in the catalogue."""
    value: float | None
    """What was measured, in the catalogue's unit."""
    hours: float | None
    date_us: Instant | None
    date_only: bool
    who: str | None
    note: str | None
    withdrawn: bool
    created_us: Instant


@dataclass(frozen=True, slots=True)
class CauseFound:
    """A cause that a person confirmed: knowledge that belongs to the farm."""

    id: str
    machine: str
    fault: str
    cause: str
    """Cause class."""
    words: str
    """In the person's words."""
    grade: Grade
    repair: str | None
    """The repair that showed it."""
    hours: float | None
    date_us: Instant | None
    date_only: bool
    who: str | None
    withdrawn: bool
    created_us: Instant


@dataclass(frozen=True, slots=True)
class ServiceJob:
    """Something that is due every so many engine hours, or days, whichever comes first."""

    id: str
    machine: str
    text: str
    every_hours: float | None
    every_days: float | None
    minutes: float | None
    """Time it takes."""
    withdrawn: bool
    created_us: Instant


@dataclass(frozen=True, slots=True)
class ServiceDone:
    """One time that a service job was done."""

    id: str
    job: str
    hours: float | None
    date_us: Instant | None
    date_only: bool
    note: str | None
    withdrawn: bool
    created_us: Instant


@dataclass(frozen=True, slots=True)
class LearntSignal:
    """A bit or byte of a group that is not public, found by a guided experiment."""

    id: str
    machine: str
    controller: str | None
    what: str
    """What it follows, in words: 'sitting on the seat'."""
    pgn: int
    address: int
    start_bit: int
    """From 0, the lowest bit of the first byte first."""
    bits: int
    sessions: int
    """Sessions that found it."""
    p_value: float | None
    state: Literal["candidate", "learnt", "dropped"]
    created_us: Instant
