"""What truly happened in a generated recording: the answer sheet beside the frames."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from shearbolt.model.controller import Dm1Manner, Name
from shearbolt.model.fault import EndedBy, FaultKind, Lamps
from shearbolt.model.frames import Frames
from shearbolt.model.reading import TimeBase

CountSteps = Literal["onset", "end", "key_cycle", "never"]
"""When a controller's occurrence count rises."""
Cause = Literal[
    "real_condition",
    "sensor",
    "wiring",
    "shared_supply",
    "low_voltage",
    "network",
    "operator",
    "calibration",
    "inhibited_regeneration",
    "ash",
]


@dataclass(frozen=True, slots=True)
class TrueController:
    """One controller that spoke in the recording."""

    key: str
    """Short word for it, unique in its machine."""
    machine: str
    """Key of the machine that it belongs to."""
    channel: str
    address: int
    name: Name
    claimed: bool
    """Its NAME was heard in this recording."""
    dm1_manner: Dm1Manner
    count_steps: CountSteps
    after_run_s: float | None
    """How long it speaks on after key-off; None: no key-off in the recording."""
    component: str | None
    """Component identification where it told it (fields with their `*`)."""
    software: str | None


@dataclass(frozen=True, slots=True)
class TrueMachine:
    """One machine that took part."""

    key: str
    name: str
    """What its people call it."""
    vin: str | None
    vin_told: bool
    """The VIN was sent in this recording."""
    implement: bool
    hours_start: float | None
    """True engine hours; None for an implement."""
    hours_end: float | None
    hours_told: bool
    """Engine hours were sent in this recording."""
    controllers: tuple[TrueController, ...]


@dataclass(frozen=True, slots=True)
class TrueSpell:
    """One stretch in which a controller held a fault active; instants as in the frames."""

    set_us: int
    """The controller decided that it is there."""
    heal_us: int | None
    """The controller decided that it is gone; None: not in this recording."""
    first_listed_us: int
    """First frame of the first report that lists it."""
    last_listed_us: int
    """First frame of the last report that lists it."""
    next_without_us: int | None
    """First frame of the sender's first report without it, where it made one: senders that report
    only while something is active make none."""
    start_known: bool
    """False: its sender listed it from its first sign of life on, so it may have begun before."""
    ended_by: EndedBy
    count: int | None
    """Occurrence count sent with the first report that lists it."""
    after_dark: bool = False
    """Its sender had just come back from a loss of power: who noticed the gap cannot tell whether
    it began then, who did not takes it for begun."""


@dataclass(frozen=True, slots=True)
class TrueFault:
    """One fault of one controller, and why it truly was there."""

    machine: str
    controller: str
    kind: FaultKind
    channel: str
    address: int | None
    """Source address; None for road-vehicle codes on 11-bit identifiers."""
    spn: int | None
    fmi: int | None
    code: str | None
    """P-code of a road vehicle."""
    active: bool
    """It was active in this recording."""
    told_in: tuple[str, ...]
    """Where it was listed: 'dm1', 'dm2', 'dm4' (freeze frame), 'obd03', 'obd07', 'uds19'."""
    spells: tuple[TrueSpell, ...]
    count_before: int | None
    count_after: int | None
    lamps: Lamps
    """What it lights by itself."""
    cause: Cause
    words: str
    """What was the matter."""
    stale: bool = False
    """An old memory that nothing in the season brings back."""
    method: int = 4
    """Conversion method that its sender packs codes by."""


@dataclass(frozen=True, slots=True)
class TrueLamp:
    """A lamp lit by a controller that lists no fault."""

    controller: str
    channel: str
    address: int
    lamps: Lamps
    first_us: int
    """First frame of its first report of it."""
    last_us: int


@dataclass(frozen=True, slots=True)
class TrueSwap:
    """A controller found in place of another of its kind since the last recording."""

    machine: str
    controller: str
    old: Name
    new: Name


@dataclass(frozen=True, slots=True)
class Truth:
    """All that is true of one recording."""

    time_base: TimeBase
    started_us: int
    """Instant of the recording's zero (0 when times are relative)."""
    ended_us: int
    """Instant of its last frame."""
    started_truly: str
    """When it was made, ISO 8601 UTC, also where its own times do not say."""
    machines: tuple[TrueMachine, ...]
    """The one that the recording was made on first, then implements."""
    faults: tuple[TrueFault, ...]
    lamps_without_code: tuple[TrueLamp, ...]
    swaps: tuple[TrueSwap, ...]
    key_on: bool
    """The recording begins with the key being turned."""
    key_off: bool
    """It runs past key-off."""


@dataclass(frozen=True, slots=True)
class DemoRecording:
    """One recording of the demo season."""

    file_name: str
    """Its name with the endings that say format and compression, for example `.log.gz`."""
    file_format: str
    """candump, asc, blf, trc or csv."""
    frames: Frames
    """In the order of time; absolute instants, or from zero where `truth.time_base` is relative."""
    truth: Truth


@dataclass(frozen=True, slots=True)
class WrittenNote:
    """Something that a person of the yard wrote down by hand."""

    machine: str
    """Name of the machine, as its people call it."""
    date: str
    """ISO 8601 date or time."""
    hours: float | None
    """Engine hours read off the dash."""
    text: str
    """As typed: a code off the dash, a symptom, an event."""
    kind: Literal["code", "symptom", "event"]
    doing: str | None = None
    """What the machine was doing, in the person's words."""
    warmth: Literal["hot", "cold"] | None = None
    minutes_since_start: float | None = None
    who: str | None = None
    """Who wrote it down."""
    spn: int | None = None
    """Codes: what the dash showed."""
    fmi: int | None = None


@dataclass(frozen=True, slots=True)
class WrittenRepair:
    """Something done to a machine, as a person wrote it into the book."""

    machine: str
    """Name of the machine, as its people call it."""
    date: str
    """ISO 8601 date or time."""
    hours: float
    text: str
    about: tuple[tuple[int, int], ...] = ()
    """SPN and FMI of the faults that it was done for."""
    codes: tuple[str, ...] = ()
    """The same for road vehicles."""
    repairs: tuple[str, ...] = ()
    """What was done in truth: keys of the proving ground's list."""
