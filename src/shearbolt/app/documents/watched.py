"""`shearbolt/watch/1`: what an unattended listener recorded, until it was stopped."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, Protocol, TypeAlias, TypedDict

from shearbolt.app.documents.values import Count, Time

WatchEnded: TypeAlias = Literal["silence", "longest", "stopped", "disk", "broken_off"]


@dataclass(frozen=True, slots=True)
class WatchAsked:
    """What to record, and how the folder is kept."""

    folder: str
    """Folder of finished recordings, to carry away."""
    interface: str | None = None
    """Interface in the bus library's words; None: found by itself."""
    channels: tuple[str, ...] = ()
    """Channels of it; none: found by itself."""
    bitrate: int | None = None
    """Bit/s; None: found by listening where the adapter can."""
    options: tuple[tuple[str, str | int | float | bool], ...] = ()
    """Further options of the interface."""
    silence_s: float = 60.0
    """A visit ends after so much silence."""
    longest_s: float = 4 * 3600.0
    """A visit that goes on is cut here, and the next begins at once."""
    reserve_bytes: int = 500_000_000
    """Room on the disk that is never used."""
    once: bool = False
    """End after the first visit."""


class WatchedVisit(TypedDict):
    """A finished recording."""

    file: str
    """Its name in the folder."""
    start: Time | None
    """First frame."""
    end: Time | None
    """Last frame."""
    frames: Count
    """Frames."""
    bytes: Count
    """Size of the file."""
    ended_by: WatchEnded
    """What ended it; 'broken_off': the program or the power, before this start."""


class WatchDocument(TypedDict):
    """`shearbolt watch`: what was recorded while it ran."""

    schema: Literal["shearbolt/watch/1"]
    """Which document this is."""
    folder: str
    """Where the recordings lie."""
    visits: list[WatchedVisit]
    """Those finished by this run, in their order."""
    deleted: list[str]
    """Carried recordings that were deleted to make room, by name."""
    waiting: Count
    """Recordings in the folder that no book has taken yet."""
    full: bool
    """The disk is full of recordings that were not carried away yet."""
    words: list[str]
    """What a person should know, a sentence each."""


class ShowWatch(Protocol):
    """Told what happens, in one sentence each time."""

    def __call__(self, words: str) -> None:
        """Take what happened."""
