"""Instants: whole microseconds since 1970-01-01T00:00:00 UTC, as plain integers.

A recording that knows only relative times has instants counted from its own zero.
"""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta
from typing import TypeAlias

Instant: TypeAlias = int
"""Microseconds since the epoch (UTC), or since the recording's own zero."""

SECOND_US = 1_000_000
HOUR_US = 3600 * SECOND_US
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_DATE_ONLY = re.compile(r"\d{4}-\d{2}-\d{2}$")


def to_iso(at_us: Instant) -> str:
    """Write an instant as ISO 8601 UTC with microseconds (RFC 3339 form)."""
    moment = _EPOCH + timedelta(microseconds=int(at_us))
    return moment.strftime("%Y-%m-%dT%H:%M:%S.") + f"{moment.microsecond:06d}Z"


def from_iso(text: str) -> Instant:
    """Read an ISO 8601 date or time; without a zone it is taken as UTC.

    Raises ValueError when the text is no such time.
    """
    moment = datetime.fromisoformat(text.strip())
    if moment.tzinfo is None:
        moment = moment.replace(tzinfo=UTC)
    delta = moment - _EPOCH
    return (delta.days * 86400 + delta.seconds) * SECOND_US + delta.microseconds


def is_date_only(text: str) -> bool:
    """Tell whether a typed time names only a day."""
    return bool(_DATE_ONLY.match(text.strip()))
