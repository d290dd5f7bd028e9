"""`shearbolt/add/1` and `shearbolt/visit/1`: what a recording brought in told."""

from __future__ import annotations

from typing import Literal, TypedDict

from shearbolt.app.documents.news import NewSince
from shearbolt.app.documents.values import (
    Address,
    Count,
    Dm1Manner,
    Happening,
    HoursFrom,
    Identifier,
    NameHex,
    NotRead,
    Pgn,
    Quality,
    ReasonCount,
    RecognisedBy,
    Refused,
    Seconds,
    Sha256,
    StartFrom,
    Time,
    VisitKind,
)


class Box(TypedDict):
    """One physical unit that filled a controller's place for a time."""

    box: Identifier
    """Identifier that the NAMEs of one unit share."""
    name: NameHex | None
    """NAME it claimed in this place."""
    first_seen: Time | None
    """First heard in this place."""
    first_seen_at_s: Seconds | None
    """The same from the first frame of the visit, where this is one visit's look."""
    last_seen: Time | None
    """Last heard in this place."""
    last_seen_at_s: Seconds | None
    """The same from the first frame of the visit, where this is one visit's look."""


class Controller(TypedDict):
    """A controller: a place on a machine, with the box that fills it now."""

    controller: Identifier
    """The place."""
    machine: Identifier
    """The machine it belongs to."""
    channel: str | None
    """Channel it was heard on, a label of that recording only."""
    address: Address | None
    """Source address, the last one used."""
    name: NameHex | None
    """NAME, where one was ever claimed."""
    identity_number: Count | None
    """Identity number of the NAME."""
    manufacturer_code: Count | None
    """Manufacturer code of the NAME."""
    function: Count | None
    """Function of the NAME."""
    function_text: str | None
    """The function in plain words."""
    label: str | None
    """What its owner calls it."""
    box: Identifier | None
    """Shared by the NAMEs of one unit."""
    boxes: list[Box]
    """All boxes that filled this place, in order of their times."""
    first_seen: Time | None
    """First frame."""
    first_seen_at_s: Seconds | None
    """First frame, from the first frame of the visit."""
    last_seen: Time | None
    """Last frame."""
    last_seen_at_s: Seconds | None
    """Last frame, from the first frame of the visit."""
    dm1_manner: Dm1Manner
    """When it sends DM1."""


class Transport(TypedDict):
    """Transport sessions (SAE J1939-21, ISO 11783-3)."""

    complete: Count
    """Sessions that became a message."""
    broken: list[ReasonCount]
    """Sessions that never did, by reason."""


class Group(TypedDict):
    """29-bit data frames under the group and source of their own identifier."""

    pgn: Pgn
    """Parameter group of the identifier."""
    channel: str
    """Channel of the recording."""
    address: Address
    """Source address."""
    count: Count
    """Frames."""
    period_s: float | None
    """Median time between frames; null with fewer than two."""
    decoded: bool
    """Whether anything here reads it."""


class OtherId(TypedDict):
    """Frames under an identifier that is no J1939 group."""

    channel: str
    """Channel of the recording."""
    id: Count
    """The identifier."""
    extended: bool
    """29 bits instead of 11."""
    count: Count
    """Frames."""


class AnswerValue(TypedDict):
    """One named value of an answer."""

    name: str
    """What it is."""
    value: str | float | None
    """Text or number."""


class Answer(TypedDict):
    """A text or table that a controller told: identification, readiness, calibrations."""

    at: Time | None
    """First frame of it."""
    at_s: Seconds | None
    """The same from the first frame."""
    channel: str
    """Channel of the recording."""
    address: Address
    """Who told it."""
    what: str
    """Which kind: vin, component, software, dm5, dm19, dm20, ..."""
    values: list[AnswerValue]
    """What it told."""


class Clear(TypedDict):
    """A clear of fault memory heard on the bus."""

    at: Time | None
    """When it was asked for."""
    at_s: Seconds | None
    """The same from the first frame."""
    channel: str
    """Channel of the recording."""
    asker: Address
    """Who asked."""
    address: Address | None
    """Who was asked; null: all."""
    what: str
    """By which message: dm3, dm11, dm22, obd04, uds14."""
    result: Literal["done", "refused", "busy", "no_answer"]
    """What came back."""
    words: str
    """The same in one sentence."""


class NoteWritten(TypedDict):
    """What a person wrote down."""

    text: str
    """As typed."""
    understood_as: Literal["code", "symptom", "event", "text"]
    """What it was taken for."""
    words: str
    """What was understood, in one sentence."""
    doing: str | None
    """What the machine was doing."""
    hot_cold: Literal["hot", "cold"] | None
    """Whether it was warm by then."""
    after_start: str | None
    """How long after the start, as typed."""
    after_start_s: float | None
    """The same in seconds, where it was understood."""
    photo: str | None
    """File name of the picture kept."""
    voice: str | None
    """File name of the voice clip kept."""
    who: str | None
    """Who wrote it down."""


class Visit(TypedDict):
    """One look at a machine."""

    visit: Identifier
    """The visit."""
    kind: VisitKind
    """How it came to be."""
    machine: Identifier
    """The machine it was a look at."""
    machine_name: str
    """What its people call the machine."""
    recognised_by: list[RecognisedBy]
    """How the machine was told."""
    doubts: list[str]
    """What a person should know about this visit."""
    machines: list[Identifier]
    """All machines heard in it, implements included."""
    file: str | None
    """File as it was given; null where there was none."""
    sha256: Sha256 | None
    """Of the file."""
    format: str | None
    """Kind of file: candump, asc, blf, trc, csv, mdf4, table, ..."""
    already_in_book: bool
    """It was there before, and nothing changed."""
    quality: Quality
    """Whether the recording holds all that was on the bus."""
    start_from: StartFrom
    """What the times rest on."""
    frames: Count
    """All frames, error frames included."""
    error_frames: Count
    """Error frames reported by the adapter."""
    channels: list[str]
    """Channels, as the recording calls them."""
    start: Time | None
    """Earliest frame."""
    start_at_s: Seconds | None
    """Earliest frame, from the first frame in the file's order."""
    end: Time | None
    """Latest frame."""
    end_at_s: Seconds | None
    """Latest frame, from the first frame in the file's order."""
    not_read: list[NotRead]
    """What could not be read."""
    engine_hours_start: float | None
    """Total engine hours at its start."""
    engine_hours_end: float | None
    """Total engine hours at its end."""
    engine_hours_from: HoursFrom | None
    """Where the hours come from."""
    vin: str | None
    """Vehicle identification number, as told on the bus."""
    component: str | None
    """Component identification (65259), fields joined by '*'."""
    software: list[str]
    """Software identification (65242), all fields of all senders."""
    controllers: list[Controller]
    """Who was heard."""
    transport: Transport
    """Messages of several packets."""
    groups: list[Group]
    """Every 29-bit data frame counted once."""
    ids_11bit: list[OtherId]
    """Other identifiers with their counts."""
    answers: list[Answer]
    """What controllers told of themselves."""
    clears: list[Clear]
    """Clears heard on the bus."""
    events: list[Happening]
    """Swapped boxes and the like."""
    note: NoteWritten | None
    """What was written down, in a visit by hand."""
    faults: list[Identifier]
    """Faults that this visit showed."""


class AddDocument(TypedDict):
    """`shearbolt add`: recordings brought in."""

    schema: Literal["shearbolt/add/1"]
    """Which document this is."""
    visits: list[Visit]
    """One a recording taken (or known already), in the order of their own times."""
    refused: list[Refused]
    """Files not taken."""
    new_since: NewSince
    """What is new since last time."""


class VisitDocument(Visit):
    """`shearbolt visit ID`: one visit."""

    schema: Literal["shearbolt/visit/1"]
    """Which document this is."""
