"""`shearbolt/listen/1`: what listening to a bus told; and the view of it while it goes on."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, Protocol, TypeAlias, TypedDict

from shearbolt.app.documents.values import (
    Address,
    Count,
    FaultState,
    Identifier,
    Lamps,
    NameHex,
    Pgn,
    RecognisedBy,
    Refused,
    Spn,
    Time,
)
from shearbolt.app.documents.visit import Visit

ListenOnly: TypeAlias = Literal["on", "off", "not_offered", "not_needed"]
BitrateFrom: TypeAlias = Literal["given", "found", "system"]
AdapterState: TypeAlias = Literal["opening", "finding_rate", "open", "gone"]
StoppedBy: TypeAlias = Literal["asked", "time", "disk"]


@dataclass(frozen=True, slots=True)
class ListenAsked:
    """Which bus to listen to, and what the person knows of the machine."""

    interface: str | None = None
    """Interface in the bus library's words; None: found by itself."""
    channels: tuple[str, ...] = ()
    """Channels of it; none: found by itself."""
    bitrate: int | None = None
    """Bit/s; None: found by listening where the adapter can."""
    options: tuple[tuple[str, str | int | float | bool], ...] = ()
    """Further options of the interface."""
    machine: str | None = None
    """Machine, by identifier or name."""
    hours: float | None = None
    """Engine hours on the meter."""
    seconds: float | None = None
    """Stop by itself after so long; None: when told to."""


class AdapterHeard(TypedDict):
    """One adapter of the session."""

    channel: str
    """Name of its channel in the recording."""
    interface: str
    """Interface, in the bus library's words."""
    bitrate: Count | None
    """Bit/s, where it is known."""
    bitrate_from: BitrateFrom | None
    """How it is known."""
    listen_only: ListenOnly
    """Whether it keeps quiet on the wire; 'off' can be set by the system, 'not_needed' is no real
    bus."""
    state: AdapterState
    """How it was left."""
    frames: Count
    """Frames heard, error frames left out."""
    error_frames: Count
    """Error frames."""
    load: float | None
    """Share of the bit rate used over the last seconds."""
    load_peak: float | None
    """The same in the busiest second."""
    words: list[str]
    """What a person should know or check, a sentence each."""


class BusFinding(TypedDict):
    """Something about the health of the bus."""

    what: Literal["busy", "errors", "missing", "slow", "silent", "overrun"]
    """Busy bus, error frames, a group that is missing or slow, a controller that fell silent,
    frames lost by the driver."""
    channel: str
    """Channel it was found on."""
    addresses: list[Address]
    """Whom it concerns."""
    pgn: Pgn | None
    """Which group, where one is meant."""
    figure: float | None
    """Percent of load; error frames or losses; seconds unheard; how many times slower."""
    words: str
    """What it is and what it may mean, in plain words."""


class ListenEvent(TypedDict):
    """Something that happened while listening."""

    what: str
    """gone, back, clock_jump, overrun, wrong_rate, ..."""
    at: Time
    """When."""
    channel: str | None
    """Of which adapter; null: of all."""
    words: str
    """In one sentence."""


class ListenDocument(TypedDict):
    """`shearbolt listen`: a bus listened to, and the visit that came of it."""

    schema: Literal["shearbolt/listen/1"]
    """Which document this is."""
    start: Time
    """When listening began."""
    end: Time
    """When it ended."""
    stopped_by: StoppedBy
    """What ended it."""
    adapters: list[AdapterHeard]
    """The adapters listened to."""
    first_frame_after_s: float | None
    """From the start to the first frame; null: nothing was heard."""
    recognised_after_s: float | None
    """From the first frame until the machine was known; null: it was not."""
    first_fault_after_s: float | None
    """From the first frame until the first active fault was known; null: none was."""
    health: list[BusFinding]
    """All that was found amiss on the bus, each once."""
    events: list[ListenEvent]
    """What happened beside the frames."""
    visits: list[Visit]
    """The visit filed; none where nothing was heard."""
    left_over: list[Visit]
    """Visits of earlier sessions that had been broken off, filed before this one began."""
    refused: list[Refused]
    """Spools that could not be filed, and are kept for the next time."""
    words: list[str]
    """What a person should know about it all, a sentence each."""


class LiveController(TypedDict):
    """Who is there."""

    channel: str
    """Channel."""
    address: Address
    """Source address."""
    name: NameHex | None
    """NAME, where it was heard."""
    words: str
    """What it is, in plain words."""
    alive: bool
    """It was heard within the last seconds."""


class LiveFault(TypedDict):
    """A fault heard in this session."""

    channel: str
    """Channel."""
    address: Address | None
    """Who told it."""
    controller_words: str
    """The same in plain words."""
    spn: Spn | None
    """Suspect parameter number."""
    fmi: int | None
    """Failure mode identifier."""
    code: str | None
    """P-code and the like."""
    words: str
    """What it is, in plain words."""
    state: FaultState
    """State now."""
    lamps: Lamps
    """Lit in every message that lists it."""


class LiveReading(TypedDict):
    """One main reading."""

    spn: Spn
    """Suspect parameter number."""
    words: str
    """What it is."""
    value: float
    """Its last number."""
    unit: str
    """Unit of it."""
    fresh: bool
    """It came within the last seconds."""


class LiveView(TypedDict):
    """What is shown while listening goes on."""

    seconds: float
    """Since it began."""
    frames: Count
    """Frames heard."""
    machine: Identifier | None
    """The machine, once it is recognised."""
    machine_name: str | None
    """What its people call it."""
    recognised_by: list[RecognisedBy]
    """How it was told."""
    adapters: list[AdapterHeard]
    """The adapters."""
    controllers: list[LiveController]
    """Who is there."""
    faults: list[LiveFault]
    """Faults heard, the active ones first."""
    readings: list[LiveReading]
    """The main readings."""
    health: list[BusFinding]
    """What is amiss on the bus now."""
    events: list[ListenEvent]
    """What happened beside the frames, the newest last."""


class ShowLive(Protocol):
    """Shown how it goes, about twice a second."""

    def __call__(self, view: LiveView) -> None:
        """Take the view of the moment."""


def show_nothing(view: LiveView) -> None:
    """Listening that nobody watches."""
