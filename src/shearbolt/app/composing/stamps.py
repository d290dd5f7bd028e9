"""Moments of a visit as documents tell them: ISO 8601, and seconds from the first frame."""

from __future__ import annotations

from shearbolt.app.documents.values import Lamps as LampsShown
from shearbolt.book.records import Visit
from shearbolt.model.fault import Lamps
from shearbolt.model.instants import SECOND_US, to_iso


def moment(visit: Visit, at_us: int | None) -> str | None:
    """Write a moment of a visit's own clock; None where its date is not known."""
    if at_us is None or visit.zero_us is None:
        return None
    return to_iso(visit.zero_us + at_us)


def seconds(visit: Visit, at_us: int | None) -> float | None:
    """Return a moment of a visit's own clock in seconds from its first frame."""
    if at_us is None:
        return None
    return (at_us - visit.first_us) / SECOND_US


def lamps_shown(lamps: Lamps) -> LampsShown:
    """Write lamps as a document does."""
    return {
        "mil": lamps.mil,
        "red_stop": lamps.red_stop,
        "amber_warning": lamps.amber_warning,
        "protect": lamps.protect,
    }
