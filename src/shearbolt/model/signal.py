"""Decoded physical quantities over time."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from shearbolt.model.frames import F64, I64, U8
from shearbolt.model.layout import SignalRow

NUMBER = 0
"""Status: the value is a number."""
NOT_AVAILABLE = 1
"""Status: the sender says that it has no such reading."""
ERROR = 2
"""Status: the sender says that the reading is in error."""
NO_NUMBER = 3
"""Status: a reserved or parameter-specific code; no number either."""

STATUS_WORDS: dict[int, Literal["", "not_available", "error"]] = {
    NUMBER: "",
    NOT_AVAILABLE: "not_available",
    ERROR: "error",
    NO_NUMBER: "not_available",
}


@dataclass(frozen=True, slots=True)
class SignalColumn:
    """All samples of one parameter from one sender, in the order of the recording."""

    channel: str
    """Channel the sender was heard on."""
    address: int
    """Source address."""
    row: SignalRow
    """Where the samples came from and what they mean."""
    time_us: I64
    """Instant of each sample (for a message in several packets, of its first frame)."""
    value: F64
    """Physical values; NaN where there is no number."""
    status: U8
    """NUMBER, NOT_AVAILABLE, ERROR or NO_NUMBER for each sample."""


@dataclass(frozen=True, slots=True)
class SignalSeen:
    """What one visit shows of one parameter of one sender."""

    channel: str
    address: int
    spn: int
    pgn: int
    samples: int
    numbers: int
    """Samples that were numbers."""
    not_available: int
    errors: int
    first_us: int
    last_us: int
    period_s: float | None
    """Median time between samples."""
    low: float | None
    """Smallest number seen."""
    high: float | None
    """Largest number seen."""
    first: float | None
    """First number seen."""
    last: float | None
    """Last number seen."""
    resolution: float
    """Step of one raw count."""
    unit: str
