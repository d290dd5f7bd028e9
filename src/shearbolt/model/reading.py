"""What a reader could not read: doubt is data."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class TimeBase(StrEnum):
    """What the times of a recording count from."""

    ABSOLUTE = "absolute"
    """Instants: microseconds since 1970 UTC."""
    RELATIVE = "relative"
    """Microseconds from a zero of the recording's own."""


@dataclass(frozen=True, slots=True)
class NotRead:
    """Places of a recording that could not be read, gathered by reason."""

    reason: str
    """What was wrong, in plain words."""
    count: int
    """How many lines, records or (for a lost stretch) 1."""
    line: int | None = None
    """Line of the first one, counted from 1, for text."""
    byte: int | None = None
    """Byte position of the first one in the (decompressed) file."""
