"""Rows of the book as frozen values: what its methods take and give; no SQL leaves the package.

Times are microseconds (UTC) unless a field says otherwise; identifiers are the short opaque
strings of `ids`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from shearbolt.model.controller import Name
from shearbolt.model.fault import FaultKind, FaultSeen
from shearbolt.model.instants import Instant
from shearbolt.model.reading import TimeBase
from shearbolt.model.visit import HoursFrom, Quality, StartFrom, VisitContent, VisitKind

NoteKind = Literal["code", "symptom", "event", "text"]
Place = tuple[int, int, int, int, int, int]
"""What a NAME says of a controller's place (model.controller.Name.place)."""


@dataclass(frozen=True, slots=True)
class Machine:
    """One of the fleet's machines."""

    id: str
    name: str
    name_given: bool
    """A person gave the name; False: suggested from what was known."""
    kind: str | None
    """What it is, in the owner's words or 'implement' and the like."""
    vin: str | None
    note: str | None
    created_us: Instant


@dataclass(frozen=True, slots=True)
class Controller:
    """A place on a machine, whatever box fills it."""

    id: str
    machine: str
    place: Place | None
    """By its NAME; None where no NAME was ever heard at its address."""
    address: int | None
    """Last address it used."""
    label: str | None
    """What the owner calls it."""
    created_us: Instant


@dataclass(frozen=True, slots=True)
class Box:
    """A NAME that filled a place: in which visits first and last, in the order of the visits."""

    controller: str
    name: Name
    first_visit: str
    last_visit: str
    visits: int


@dataclass(frozen=True, slots=True)
class Visit:
    """One look at a machine, in summary; `Book.visit_content` gives the rest."""

    id: str
    kind: VisitKind
    machine: str
    others: tuple[str, ...]
    """Further machines heard in it: implements, a second tractor."""
    file: str | None
    """Name of the file as it was brought in."""
    sha256: str | None
    """Of the original file's bytes; None: no recording (by hand)."""
    size: int | None
    """Bytes of the original file."""
    format: str | None
    quality: Quality
    start_from: StartFrom
    time_base: TimeBase
    zero_us: Instant | None
    """Instant of the content's time 0 (0 where its times are absolute); None: not known."""
    date_only: bool
    """Only the day is known; `start_us` is that day's first microsecond (UTC)."""
    start_us: Instant | None
    """Earliest instant; None where `zero_us` is."""
    end_us: Instant | None
    first_us: int
    """Time of the first frame in the file's order, by the content's own clock."""
    hours_start: float | None
    """Engine hours at its start."""
    hours_end: float | None
    hours_from: HoursFrom | None
    frames: int
    error_frames: int
    channels: tuple[str, ...]
    vin: str | None
    component: str | None
    software: tuple[str, ...]
    recognised_by: tuple[str, ...]
    """'vin', 'names', 'given', 'new'."""
    doubts: tuple[str, ...]
    filed_us: Instant
    unpacked_sha256: str | None = None
    """Of the recording's bytes once unpacked; None where it came unpacked."""


@dataclass(frozen=True, slots=True, kw_only=True)
class NewVisit:
    """A visit to be filed, with everything its recording told."""

    kind: VisitKind
    machine: str
    content: VisitContent
    filed_us: Instant
    """The time now."""
    others: tuple[str, ...] = ()
    file: str | None = None
    format: str | None = None
    quality: Quality = "unknown"
    start_from: StartFrom = "none"
    zero_us: Instant | None = None
    """Instant of the content's time 0; left out where its times are absolute."""
    unpacked_sha256: str | None = None
    """Of the recording's bytes once unpacked; None where it came unpacked."""
    date_only: bool = False
    hours_start: float | None = None
    hours_end: float | None = None
    hours_from: HoursFrom | None = None
    vin: str | None = None
    component: str | None = None
    software: tuple[str, ...] = ()
    recognised_by: tuple[str, ...] = ()
    doubts: tuple[str, ...] = ()
    """Doubts beyond those of `content`."""
    controllers: tuple[str | None, ...] = ()
    """Controller id of each of `content.controllers`; shorter: the rest have none."""
    faults: tuple[str | None, ...] = ()
    """Fault id of each of `content.faults`."""


@dataclass(frozen=True, slots=True)
class Fault:
    """One code of one controller of one machine, or one symptom that is followed."""

    id: str
    machine: str
    controller: str | None
    kind: FaultKind
    spn: int | None
    fmi: int | None
    code: str | None
    """P-code, blink code, or the person's words."""
    manufacturer_code: int | None
    """Set for makers' own numbers (SPN 520192 and up), which no two makers share."""
    function: int | None
    """Set with `manufacturer_code`."""
    created_us: Instant


@dataclass(frozen=True, slots=True)
class Sighting:
    """What one visit tells of one fault."""

    visit: str
    fault: str | None
    """None: filed without being tied to a fault of the book."""
    controller: str | None
    """Place of its sender in this visit; None: not known."""
    seen: FaultSeen
    """Times by the visit's own clock: add the visit's `zero_us`."""


@dataclass(frozen=True, slots=True)
class Part:
    """One Parquet file of a visit, as the record remembers it."""

    name: str
    rows: int
    size: int
    """In bytes."""
    sha256: str


@dataclass(frozen=True, slots=True)
class Attachment:
    """A photo or voice clip kept with a note."""

    sha256: str
    name: str
    """File name as it was given."""
    media_type: str


@dataclass(frozen=True, slots=True, kw_only=True)
class NewNote:
    """Something a person writes down, with the visit by hand that it files."""

    visit: str
    machine: str
    kind: NoteKind
    text: str
    """As typed."""
    created_us: Instant
    fault: str | None = None
    code: str | None = None
    """How the text was understood: '110-0', 'P0217', the event's kind, ..."""
    hours: float | None = None
    date_us: Instant | None = None
    date_only: bool = False
    doing: str | None = None
    """What the machine was doing, in the person's words."""
    hot_cold: Literal["hot", "cold"] | None = None
    after_start_s: float | None = None
    """How long after the start."""
    driver: str | None = None
    attachments: tuple[Attachment, ...] = ()


@dataclass(frozen=True, slots=True)
class Note:
    """A note of the book; fields as in NewNote."""

    id: str
    visit: str
    machine: str
    kind: NoteKind
    text: str
    created_us: Instant
    fault: str | None
    code: str | None
    hours: float | None
    date_us: Instant | None
    date_only: bool
    doing: str | None
    hot_cold: Literal["hot", "cold"] | None
    after_start_s: float | None
    driver: str | None
    attachments: tuple[Attachment, ...]


@dataclass(frozen=True, slots=True)
class Repair:
    """Something done to cure a fault."""

    id: str
    machine: str
    faults: tuple[str, ...]
    text: str
    hours: float | None
    date_us: Instant | None
    date_only: bool
    parts: str | None
    cost: float | None
    """In the owner's currency."""
    minutes: float | None
    """Time it took."""
    withdrawn: bool
    created_us: Instant


@dataclass(frozen=True, slots=True)
class MachineEvent:
    """Something that happened to a machine and belongs on its line: a swapped unit, say."""

    id: str
    machine: str
    kind: str
    """'swapped_unit', 'software_changed', 'hour_meters_disagree', 'hours_ran_back', ..."""
    visit: str | None
    controller: str | None
    at_us: Instant | None
    hours: float | None
    detail: tuple[tuple[str, str | float | None], ...]
    """Facts of it, for the sentence that is made of them."""
    created_us: Instant
