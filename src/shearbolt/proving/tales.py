"""What became of codes over a season, and what drivers could have seen of them."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime

from shearbolt.model.instants import from_iso
from shearbolt.proving.blame import Code
from shearbolt.proving.season_truth import TrueCount
from shearbolt.proving.unrecorded import CameOn


@dataclass(slots=True)
class Tale:
    """What became of one code over the season, as far as it has come."""

    cause: str
    """Key of the cause behind it; '': none that was switched on."""
    first_h: float
    times: int = 0
    counts: list[TrueCount] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class Seen:
    """A lamp that a driver could have seen in hours that nobody recorded."""

    moment: datetime
    into_h: float
    """Into the shift."""
    hours: float
    """On the meter."""
    code: Code
    came: CameOn
    kind: str
    """Kind of work."""
    first: bool
    """The first time in the season."""


def stamp(moment: datetime) -> str:
    """Write an instant as ISO 8601 UTC to the microsecond."""
    text = f"{moment:%Y-%m-%dT%H:%M:%S}.{moment.microsecond:06d}Z"
    assert from_iso(text)
    return text
