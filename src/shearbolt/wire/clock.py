"""The clock on the bus: time and date, PGN 65254 (SAE J1939-71).

| byte | quantity | per count | offset |
| 1 | second | 0.25 | |
| 2 | minute | 1 | |
| 3 | hour | 1 | |
| 4 | month | 1 | |
| 5 | day | 0.25 (counts 1-4 are day 1) | |
| 6 | year | 1 | 1985 |
| 7 | local minute offset | 1 | -125 |
| 8 | local hour offset | 1 | -125 |

Date and time are UTC; local time is that plus the offsets. Hour offset count 250 (+125 h) says
that date and time themselves are local, with an unknown offset (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from shearbolt.model.instants import SECOND_US, Instant
from shearbolt.wire.raw_values import LAST_NUMBER, number

TIME_DATE = 65254
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_FIRST_YEAR = 1985
_OFFSET_ZERO = 125
_LOCAL_TIME = 250
_QUARTERS = 4


@dataclass(frozen=True, slots=True)
class ClockReading:
    """A valid reading of the clock."""

    shown_us: Instant
    """Date and time as sent, taken as UTC."""
    is_local: bool
    """They are local time with an unknown offset, so `shown_us` is no instant."""
    offset_min: int | None
    """Local time less UTC, in minutes; None where not told."""


def read_clock(payload: bytes) -> ClockReading | None:
    """Read PGN 65254; None when a part of date or time is missing, no number or impossible."""
    if len(payload) < 6 or max(payload[:6]) > LAST_NUMBER:
        return None
    second, minute, hour, month, day, year = payload[:6]
    whole_day = -(-day // _QUARTERS)
    try:
        moment = datetime(
            _FIRST_YEAR + year, month, whole_day, hour, minute, second // _QUARTERS, tzinfo=UTC
        )
    except ValueError:
        return None
    whole_s = (moment - _EPOCH) // timedelta(seconds=1)
    shown_us = whole_s * SECOND_US + second % _QUARTERS * SECOND_US // _QUARTERS
    minutes, hours = number(payload, 7, 1), number(payload, 8, 1)
    is_local = hours == _LOCAL_TIME
    offset_min = None
    if hours is not None and not is_local:
        offset_min = (hours - _OFFSET_ZERO) * 60
        offset_min += 0 if minutes is None else minutes - _OFFSET_ZERO
    return ClockReading(shown_us, is_local, offset_min)


def clock_us(payload: bytes) -> Instant | None:
    """Read PGN 65254 as an instant, microseconds since 1970 UTC.

    None when it is not valid, or shows local time with an unknown offset.
    """
    reading = read_clock(payload)
    return None if reading is None or reading.is_local else reading.shown_us
