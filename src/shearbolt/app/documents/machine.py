"""`shearbolt/yard/1`, `shearbolt/machine/1` and `shearbolt/tells/1`: the fleet and its members."""

from __future__ import annotations

from typing import Literal, TypedDict

from shearbolt.app.documents.fault import MachineFaults
from shearbolt.app.documents.values import (
    Address,
    AdviceClass,
    Count,
    Dm1Manner,
    FaultState,
    Fmi,
    Happening,
    HoursFrom,
    Identifier,
    MachineKind,
    NameHex,
    Pgn,
    Quality,
    Seconds,
    Spn,
    Time,
    VisitKind,
)
from shearbolt.app.documents.visit import Controller


class FaultBrief(TypedDict):
    """A fault in one line."""

    fault: Identifier
    """The fault."""
    text: str
    """In plain words."""
    state: FaultState
    """As far as the book knows."""
    stale: bool
    """Known only as an old memory."""
    spn: Spn | None
    """Suspect parameter number."""
    fmi: Fmi | None
    """Failure mode identifier."""
    code: str | None
    """P-code, or a hand-written or blink code."""
    root: Identifier | None
    """The fault this one follows from."""


class VisitBrief(TypedDict):
    """A visit in one line."""

    visit: Identifier
    """The visit."""
    kind: VisitKind
    """How it came to be."""
    file: str | None
    """File as it was given."""
    quality: Quality
    """Whether the recording holds all that was on the bus."""
    start: Time | None
    """Earliest frame, or when the note was made."""
    start_at_s: Seconds | None
    """Earliest frame, from the first frame."""
    end: Time | None
    """Latest frame."""
    end_at_s: Seconds | None
    """Latest frame, from the first frame."""
    engine_hours_start: float | None
    """Total engine hours at its start."""
    engine_hours_end: float | None
    """Total engine hours at its end."""
    engine_hours_from: HoursFrom | None
    """Where the hours come from."""
    frames: Count
    """Frames of the recording."""
    faults: list[Identifier]
    """Faults that it showed."""
    words: str | None
    """What was written down, in a visit by hand."""


class YardMachine(TypedDict):
    """A machine at a glance."""

    machine: Identifier
    """The machine."""
    machine_name: str
    """What its people call it."""
    kind: MachineKind
    """An implement is a machine of its own."""
    advice: AdviceClass | None
    """What it may do now."""
    as_of: Time | None
    """The moment that is judged for."""
    words: str | None
    """The verdict in one line, where there is one."""
    engine_hours: float | None
    """Last known total engine hours."""
    engine_hours_from: HoursFrom | None
    """Where the hours come from."""
    visits: Count
    """Visits in the book."""
    last_visit: Identifier | None
    """The last visit."""
    last_visit_end: Time | None
    """When it ended."""
    active: Count
    """Faults active at the last look."""
    open: Count
    """Faults neither cleared nor stale, the active ones included."""
    stale: Count
    """Faults known only as old memories."""
    faults: list[FaultBrief]
    """The open ones, what to look at first first."""


class YardDocument(TypedDict):
    """`shearbolt yard`: the fleet at a glance."""

    schema: Literal["shearbolt/yard/1"]
    """Which document this is."""
    machines: list[YardMachine]
    """What needs attention first first."""


class MachineDocument(MachineFaults):
    """`shearbolt machine ID`: one machine."""

    schema: Literal["shearbolt/machine/1"]
    """Which document this is."""
    kind: MachineKind
    """An implement is a machine of its own."""
    vin: str | None
    """Vehicle identification number."""
    component: str | None
    """Component identification, fields joined by '*'."""
    software: list[str]
    """Software identification, as last told."""
    engine_hours: float | None
    """Last known total engine hours."""
    engine_hours_from: HoursFrom | None
    """Where the hours come from."""
    doubts: list[str]
    """Hour meters that disagree and the like."""
    controllers: list[Controller]
    """Its places, each with the boxes that filled it."""
    visits: list[VisitBrief]
    """Its visits in their order."""
    events: list[Happening]
    """Swaps, clears and the like on its line."""


class Reading(TypedDict):
    """One reading of a machine, and whether it really comes."""

    spn: Spn
    """Which parameter."""
    text: str
    """In plain words."""
    unit: str
    """Its unit."""
    pgn: Pgn | None
    """Group it comes in."""
    address: Address | None
    """Who sends it."""
    controller: Identifier | None
    """The place that sends it."""
    status: Literal["alive", "not_available", "never_sent", "on_request", "learnt"]
    """Whether it comes."""
    period_s: float | None
    """Median time between samples."""
    resolution: float | None
    """Step of one raw count, in `unit`."""
    samples: Count
    """Samples in the book."""
    numbers: Count
    """Samples that were numbers."""
    low: float | None
    """Smallest number seen."""
    high: float | None
    """Largest number seen."""
    last: float | None
    """Last number seen."""
    own: bool
    """An owner's own row."""


class LearntReading(TypedDict):
    """A bit or number of a group that is not public, learnt on this machine."""

    learnt: Identifier
    """The entry."""
    text: str
    """What it follows, in the person's words."""
    pgn: Pgn
    """Group it comes in."""
    address: Address
    """Who sends it."""
    controller: Identifier | None
    """The place that sends it."""
    start_byte: Count
    """First byte, from 1."""
    start_bit: Count
    """Its lowest bit in that byte, from 1."""
    length_bits: Count
    """How many bits it has."""
    status: Literal["learnt"]
    """Learnt for good: it may raise care, and never lowers it."""
    sessions: Count
    """Sessions that found it."""


class GroupManner(TypedDict):
    """A group that a controller sends."""

    pgn: Pgn
    """Parameter group."""
    count: Count
    """Frames in the book."""
    period_s: float | None
    """Median time between frames."""
    decoded: bool
    """Whether anything here reads it."""


class ControllerManner(TypedDict):
    """How a controller behaves."""

    controller: Identifier
    """The place."""
    text: str
    """In words: its label, else its function, else its address."""
    address: Address | None
    """Source address last used."""
    name: NameHex | None
    """NAME, where one was ever claimed."""
    dm1_manner: Dm1Manner
    """When it sends DM1."""
    count_steps: Literal["at_onset", "at_end", "once_per_key_cycle", "never", "unknown"]
    """When its occurrence counts step."""
    after_run_s: float | None
    """How much longer it speaks at key-off than the first to fall silent."""
    groups: list[GroupManner]
    """What it sends."""


class NotPossible(TypedDict):
    """A check without its inputs."""

    check: str
    """What cannot be judged here."""
    because: str
    """Why not."""


class TellsDocument(TypedDict):
    """`shearbolt tells ID`: what this machine tells."""

    schema: Literal["shearbolt/tells/1"]
    """Which document this is."""
    machine: Identifier
    """The machine."""
    machine_name: str
    """What its people call it."""
    visits: Count
    """Recordings this rests on."""
    readings: list[Reading]
    """Its readings."""
    learnt: list[LearntReading]
    """What was learnt by experiments here: no public parameter, found twice."""
    controllers: list[ControllerManner]
    """Its controllers."""
    not_possible: list[NotPossible]
    """What cannot be judged here."""
