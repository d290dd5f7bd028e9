"""A visit: one look at a machine, and all that its recording told."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from shearbolt.model.controller import AddressHeld, ControllerSeen
from shearbolt.model.fault import Cleared, FaultSeen, LampSpell
from shearbolt.model.reading import NotRead, TimeBase
from shearbolt.model.signal import SignalSeen

VisitKind = Literal["recording", "live", "by_hand"]
Quality = Literal["complete", "lossy", "filtered", "unknown"]
StartFrom = Literal["recording", "bus_clock", "given", "file_date", "none"]
HoursFrom = Literal["bus", "given", "estimated"]


@dataclass(frozen=True, slots=True)
class GroupSeen:
    """One parameter group from one sender: 29-bit data frames counted under their identifier."""

    channel: str
    pgn: int
    address: int
    count: int
    first_us: int
    last_us: int
    period_s: float | None
    """Median time between frames; None with fewer than two."""
    decoded: bool
    """A row of the signal table (or a diagnostic decoder) reads it."""


@dataclass(frozen=True, slots=True)
class IdSeen:
    """An identifier that is no J1939 group (11 bits, or ISO 15765-3)."""

    channel: str
    ident: int
    extended: bool
    count: int


@dataclass(frozen=True, slots=True)
class RequestSeen:
    """Requests (PGN 59904) for one group."""

    channel: str
    asker: int
    asked: int
    """255: all."""
    pgn: int
    count: int


@dataclass(frozen=True, slots=True)
class TransportSeen:
    """Transport sessions of the visit."""

    complete: tuple[tuple[str, int], ...] = ()
    """How carried, and how many."""
    broken: tuple[tuple[str, int], ...] = ()
    """Reason, and how many."""


@dataclass(frozen=True, slots=True)
class ClockSeen:
    """A reading of the clock on the bus (PGN 65254)."""

    at_us: int
    """When it was heard, by the recording's own time."""
    clock_us: int
    """What it said, as an instant (UTC)."""


@dataclass(frozen=True, slots=True)
class TextAnswer:
    """A text or table that a controller told: identification, readiness, calibrations."""

    at_us: int
    channel: str
    address: int
    what: str
    """'vin', 'component', 'software', 'ecu', 'dm5', 'dm19', 'dm20', 'dm21', 'dm26', 'dm29', ..."""
    values: tuple[tuple[str, str | float | None], ...]


@dataclass(frozen=True, slots=True)
class VisitContent:
    """All that decoding one recording told, before anybody knows which machine it was."""

    time_base: TimeBase
    first_us: int
    """Instant of the first frame in the file's order."""
    earliest_us: int
    latest_us: int
    frames: int
    error_frames: int
    remote_frames: int
    channels: tuple[str, ...]
    controllers: tuple[ControllerSeen, ...] = ()
    claims: tuple[AddressHeld, ...] = ()
    groups: tuple[GroupSeen, ...] = ()
    other_ids: tuple[IdSeen, ...] = ()
    signals: tuple[SignalSeen, ...] = ()
    requests: tuple[RequestSeen, ...] = ()
    transport: TransportSeen = TransportSeen()
    clocks: tuple[ClockSeen, ...] = ()
    answers: tuple[TextAnswer, ...] = ()
    faults: tuple[FaultSeen, ...] = ()
    lamp_without_code: tuple[LampSpell, ...] = ()
    clears: tuple[Cleared, ...] = ()
    vins: tuple[tuple[str, int, str], ...] = ()
    """(channel, address, VIN) as told on the bus."""
    hours: tuple[tuple[str, int, int, float], ...] = ()
    """(channel, address, instant, hours): first and last total-engine-hours reading a sender."""
    pauses: tuple[tuple[int, int], ...] = ()
    """Stretches of more than 5 s without any frame."""
    not_read: tuple[NotRead, ...] = ()
    doubts: tuple[str, ...] = field(default=())
