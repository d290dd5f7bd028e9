"""Dates as headers of recordings write them: local time of the recording computer."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta

from shearbolt.model.instants import SECOND_US, Instant, from_iso

LOCAL_TIME = (
    "the start in the file's header is the recording computer's local time and was read as UTC"
)
"""Doubt about every start that such a header names."""

_LONG = re.compile(
    r"(?:[^\W\d]+\.?\s+)?(?P<month>[^\W\d]+)\.?\s+(?P<day>\d{1,2})\s+"
    r"(?P<hour>\d{1,2}):(?P<minute>\d{2}):(?P<second>\d{2})(?:\.(?P<fraction>\d+))?"
    r"(?:\s*(?P<half>[ap]m))?\s+(?P<year>\d{4})\s*$",
    re.IGNORECASE,
)
_DAY_FIRST = re.compile(
    r"(?P<day>\d{1,2})\.(?P<month>\d{1,2})\.(?P<year>\d{4})\s+"
    r"(?P<hour>\d{1,2}):(?P<minute>\d{2}):(?P<second>\d{2})(?:[.,](?P<fraction>\d+))?"
)
_MONTHS = {
    name: number
    for number, names in enumerate(
        (
            "jan janv",
            "feb fév févr",
            "mar mär mrz mars",
            "apr avr",
            "may mai",
            "jun juin",
            "jul juil",
            "aug août",
            "sep sept",
            "oct okt",
            "nov",
            "dec dez déc",
        ),
        start=1,
    )
    for name in names.split()
}


def header_date(text: str) -> Instant | None:
    """Read a header's date as if it were UTC; None when it is no date known here.

    A fraction of one or two digits counts milliseconds: only a writer that leaves out leading
    zeros makes it that short.
    """
    text = text.strip()
    found = _LONG.match(text)
    if found is not None:
        name = found["month"].lower()
        month = _MONTHS.get(name) or _MONTHS.get(name[:3])
    else:
        found = _DAY_FIRST.match(text)
        month = int(found["month"]) if found else None
    if found is None or month is None:
        try:
            return from_iso(text)
        except (ValueError, OverflowError):
            return None
    hour = int(found["hour"])
    half = found.groupdict().get("half")
    if half:
        hour = hour % 12 + (12 if half.lower() == "pm" else 0)
    try:
        moment = datetime(
            int(found["year"]),
            month,
            int(found["day"]),
            hour,
            int(found["minute"]),
            int(found["second"]),
            tzinfo=UTC,
        )
    except ValueError:
        return None
    return instant_of(moment) + _fraction_us(found["fraction"])


def instant_of(moment: datetime) -> Instant:
    """Return a moment (with its zone) as whole microseconds."""
    return (moment - datetime(1970, 1, 1, tzinfo=UTC)) // timedelta(microseconds=1)


def _fraction_us(digits: str | None) -> int:
    """Read the digits behind the second."""
    if not digits:
        return 0
    if len(digits) < 3:
        return int(digits) * 1000
    return int(digits[:6].ljust(6, "0")) % SECOND_US
