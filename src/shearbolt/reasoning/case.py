"""What the reasoning is given of one machine: visits in their order, their state, their faults.

Plain values put together by `app` from the book; nothing here knows where they come from.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from shearbolt.model.controller import ControllerSeen
from shearbolt.model.fault import Cleared, FaultKind, FaultSeen, LampSpell
from shearbolt.model.instants import Instant
from shearbolt.model.signal import SignalSeen
from shearbolt.model.state import StateTable
from shearbolt.model.visit import Quality, VisitKind


@dataclass(frozen=True, slots=True)
class FaultInVisit:
    """What one visit told of one fault, by the visit's own clock."""

    fault: str
    seen: FaultSeen


@dataclass(frozen=True, slots=True)
class NoteInVisit:
    """What a person wrote down: the driver's words."""

    kind: str
    """'code', 'symptom', 'event', 'text'."""
    text: str
    fault: str | None
    doing: str | None
    hot_cold: str | None
    after_start_s: float | None


@dataclass(frozen=True, slots=True)
class Absence:
    """One stretch in which a sender was not heard, by the visit's own clock."""

    channel: str
    address: int
    from_us: int
    """Its last frame before."""
    until_us: int | None
    """Its first frame afterwards; None: not heard again."""
    why: Literal["key_off", "silence", "pause"]
    """'pause': nothing at all was heard."""
    claimed_us: int | None = None
    """Its address claim within the first seconds after it came back (a unit that lost power claims
    its address anew, SAE J1939-81); None: none was heard."""


@dataclass(frozen=True, slots=True)
class VisitCase:
    """One visit of the machine."""

    visit: str
    kind: VisitKind
    quality: Quality
    zero_us: Instant | None
    """Instant of the visit's own time 0; None: not known."""
    first_us: int
    earliest_us: int
    latest_us: int
    hours_start: float | None
    hours_end: float | None
    state: StateTable
    """Only this machine's senders; empty for a visit by hand."""
    controllers: tuple[ControllerSeen, ...]
    """Only this machine's."""
    signals: tuple[SignalSeen, ...]
    """Only this machine's."""
    faults: tuple[FaultInVisit, ...]
    clears: tuple[Cleared, ...]
    lamp_without_code: tuple[LampSpell, ...]
    pauses: tuple[tuple[int, int], ...]
    """Stretches without any frame."""
    notes: tuple[NoteInVisit, ...] = ()
    absences: tuple[Absence, ...] | None = None
    """When this machine's senders were not heard; None: not told, then the state stands in."""


@dataclass(frozen=True, slots=True)
class FaultCase:
    """One fault of the machine."""

    fault: str
    kind: FaultKind
    controller: str | None
    address: int | None
    spn: int | None
    fmi: int | None
    code: str | None
    text: str
    """Plain words, for grouping by what a person wrote; never shown by the reasoning itself."""


@dataclass(frozen=True, slots=True)
class RepairDone:
    """Something done to cure faults, at an engine-hour reading."""

    repair: str
    faults: tuple[str, ...]
    """The faults it was meant to cure."""
    hours: float | None
    """Engine hours."""
    at_us: Instant | None
    visits_before: int
    """How many of the machine's visits lie before it: the first visit after it has this index."""
    text: str
    """What the person wrote."""


@dataclass(frozen=True, slots=True)
class CheckDone:
    """A check that a person did, and what came of it."""

    check: str
    """Its name in the catalogue."""
    fault: str
    outcome: str
    """The outcome's name in the catalogue."""
    value: float | None
    """What the person measured, in the catalogue's unit for this check; None: no figure."""
    hours: float | None
    at_us: Instant | None
    visits_before: int
    """How many of the machine's visits lie before it."""
    note: str | None = None
    """The person's own words."""


@dataclass(frozen=True, slots=True)
class MachineCase:
    """All that is known of one machine."""

    machine: str
    kind: str | None
    """'machine' or 'implement'."""
    visits: tuple[VisitCase, ...]
    """In their order."""
    faults: tuple[FaultCase, ...]
    repairs: tuple[RepairDone, ...] = ()
    """In their order."""
    checks: tuple[CheckDone, ...] = ()
    """Checks that people did, in their order."""
