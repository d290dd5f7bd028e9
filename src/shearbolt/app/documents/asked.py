"""`shearbolt/ask/1`: a machine that was asked, what was sent to it, and who answered."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, Protocol, TypeAlias, TypedDict

from shearbolt.app.documents.values import Count, NameHex, Pgn, Refused, Spn, Time
from shearbolt.app.documents.visit import Visit

AskEnded: TypeAlias = Literal[
    "done",
    "not_confirmed",
    "nothing_heard",
    "other_kind",
    "other_tester",
    "objection",
    "moving",
    "speed_lost",
    "bus_silent",
    "stopped",
    "adapter",
    "disk",
]
AskResult: TypeAlias = Literal["answered", "refused", "denied", "busy"]


@dataclass(frozen=True, slots=True)
class AskAsked:
    """Which machine to ask, and what the person says of it."""

    interface: str
    """Interface in the bus library's words."""
    channel: str
    """Channel of it."""
    bitrate: int | None = None
    """Bit/s; None: found by listening where the adapter can."""
    options: tuple[tuple[str, str | int | float | bool], ...] = ()
    """Further options of the interface."""
    machine: str | None = None
    """Machine, by identifier or name."""
    hours: float | None = None
    """Engine hours on the meter."""
    road: bool = False
    """A road vehicle (SAE J1979) instead of a machine on SAE J1939."""
    stands: bool = False
    """The person's word that it stands still, is secured, and nobody works on it."""


class AskedFrame(TypedDict):
    """A frame of our own."""

    at: Time | None
    """When it was sent; null: it was not, but would be."""
    id: str
    """Identifier in hexadecimal digits, 8 of them where it has 29 bits."""
    data: str
    """Data in hexadecimal digits, a space between bytes."""
    words: str
    """What it is."""


class AskAnswer(TypedDict):
    """One answer to a request."""

    address: Count
    """Source address; the identifier where it has 11 bits."""
    result: AskResult
    """Data, or why there are none."""


class AskRequest(TypedDict):
    """A request and what came of it."""

    what: str
    """What was asked for, in plain words."""
    pgn: Pgn | None
    """Parameter group; null for a service of SAE J1979."""
    service: str | None
    """Service and identifiers of SAE J1979 in hexadecimal digits; null for a group."""
    asked: Count | None
    """Address asked; null: all."""
    answers: list[AskAnswer]
    """Who answered; nobody is no answer."""


class SpeedSeen(TypedDict):
    """A speed that the machine told of itself."""

    spn: Spn
    """Suspect parameter number."""
    words: str
    """What it is."""
    address: Count
    """Who told it."""
    value: float
    """The last reading."""
    unit: str
    """Unit of it."""
    age_s: float
    """How old it was at the last look."""


class MachineStand(TypedDict):
    """How the machine stood at the last look."""

    standing: bool | None
    """By its own readings; null: they do not say."""
    standing_by: Literal["readings", "word"] | None
    """What asking rested on; null: on nothing, so nothing was asked."""
    speeds: list[SpeedSeen]
    """All speeds told."""
    engine: Literal["running", "turning", "stopped", "unknown"]
    """Engine; 'turning' is slower than any idle."""
    engine_rpm: float | None
    """Its speed."""


class AskDocument(TypedDict):
    """`shearbolt ask`: a machine asked, and the visit that came of it."""

    schema: Literal["shearbolt/ask/1"]
    """Which document this is."""
    start: Time
    """When it began."""
    end: Time
    """When it ended."""
    kind: Literal["machine", "road"]
    """SAE J1939, or SAE J1979 on a road vehicle."""
    interface: str
    """Interface, in the bus library's words."""
    channel: str
    """Channel."""
    bitrate: Count | None
    """Bit/s, where it is known."""
    confirmed: bool
    """The person said that it stands still."""
    ended: AskEnded
    """What ended it."""
    words: list[str]
    """The same in plain words and what to do, a sentence each."""
    stand: MachineStand
    """How the machine stood."""
    tester: str | None
    """What gave another tester away; null: none was heard."""
    address: Count | None
    """Address claimed; null: none was."""
    name: NameHex | None
    """NAME it was claimed under."""
    would_send: list[AskedFrame]
    """What is sent first to last, where nothing answers: told before anything is."""
    sent: list[AskedFrame]
    """What was sent."""
    requests: list[AskRequest]
    """What was asked, and who answered."""
    visits: list[Visit]
    """The visit filed; none where nothing was heard."""
    refused: list[Refused]
    """The spool that could not be filed, and is kept for the next time."""


class ShowAsking(Protocol):
    """Told how it goes: each frame as it is sent, and what happens."""

    def __call__(self, frame: AskedFrame | None, words: str) -> None:
        """Take a frame of ours (None: no frame), and words for a person."""


def show_no_asking(frame: AskedFrame | None, words: str) -> None:
    """Asking that nobody watches."""
