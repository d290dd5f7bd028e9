"""When a recording was made, and at which engine hours: from itself, the person, or the bus."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from shearbolt.app.wording import keep
from shearbolt.model.instants import HOUR_US, SECOND_US, Instant
from shearbolt.model.reading import TimeBase
from shearbolt.model.visit import HoursFrom, StartFrom, VisitContent

YEAR_2000_US = 946_684_800 * SECOND_US
CLOCK_TOLERANCE_US = 10 * 60 * SECOND_US
"""A bus clock within ten minutes of the recording's time is taken as right (common practice, no
source: nobody sets these clocks closer)."""
DAY_US = 24 * HOUR_US
ENGINE_ADDRESS = 0
HOURS_TOLERANCE = 1.0
"""Hour meters of several controllers within one hour agree; they count in steps of 0.05 h but
start and stop counting at different moments."""


@dataclass(frozen=True, slots=True)
class PlacedInTime:
    """Where a recording's own zero lies in time."""

    zero_us: Instant | None
    """Instant of the content's time 0; 0 where its times are absolute; None: not known."""
    start_from: StartFrom
    doubts: tuple[str, ...]


def place_in_time(
    content: VisitContent,
    *,
    header_us: Instant | None,
    given_us: Instant | None,
    file_us: Instant | None,
    now_us: Instant,
) -> PlacedInTime:
    """Find the instant of a recording's own zero.

    Absolute times stand. Relative ones take their start from the person, else from the file's own
    header, else from the clock on the bus (PGN 65254) when it is valid, else their end from the
    file's date, else none.
    """
    doubts: list[str] = []
    clock = _valid_clock(content, now_us)
    if content.clocks and clock is None:
        doubts.append(keep("clock_not_valid"))
    zero_us: Instant | None
    start_from: StartFrom
    if given_us is not None:
        zero_us, start_from = given_us - content.first_us, "given"
    elif content.time_base is TimeBase.ABSOLUTE:
        zero_us, start_from = 0, "recording"
    elif header_us is not None:
        zero_us, start_from = header_us, "recording"
    elif clock is not None:
        zero_us, start_from = clock, "bus_clock"
    elif file_us is not None and YEAR_2000_US < file_us <= now_us + DAY_US:
        zero_us, start_from = file_us - content.latest_us, "file_date"
        doubts.append(keep("start_from_file"))
    else:
        zero_us, start_from = None, "none"
        doubts.append(keep("start_unknown"))
    if zero_us is not None and start_from in ("recording", "given"):
        if clock is not None and abs(clock - zero_us) > CLOCK_TOLERANCE_US:
            doubts.append(keep("clock_off", span_words(abs(clock - zero_us))))
        if zero_us + content.first_us > now_us + DAY_US:
            doubts.append(keep("time_in_future"))
        elif zero_us + content.first_us < YEAR_2000_US:
            doubts.append(keep("time_too_old"))
    return PlacedInTime(zero_us, start_from, tuple(doubts))


def _valid_clock(content: VisitContent, now_us: Instant) -> Instant | None:
    """Return the instant of the content's time 0 by the first plausible bus clock reading."""
    for one in content.clocks:
        if YEAR_2000_US < one.clock_us <= now_us + DAY_US:
            return one.clock_us - one.at_us
    return None


def span_words(span_us: int) -> str:
    """Put a span of time in words: '3 days', '5 hours', '12 minutes'."""
    minutes = round(span_us / (60 * SECOND_US))
    for size, word in ((1440, "day"), (60, "hour"), (1, "minute")):
        if minutes >= size:
            count = round(minutes / size)
            return f"{count:,} {word}{'s' if count != 1 else ''}"
    return "less than a minute"


@dataclass(frozen=True, slots=True)
class PlacedInHours:
    """Engine hours of a visit."""

    start: float | None
    end: float | None
    hours_from: HoursFrom | None
    doubts: tuple[str, ...]


def place_in_hours(
    content: VisitContent,
    senders: Sequence[int],
    given_h: float | None,
) -> PlacedInHours:
    """Find the engine hours of a visit from the bus (SPN 247), else as given.

    `senders` are the indexes of the machine's own controllers.
    """
    doubts: list[str] = []
    seats = {(content.controllers[i].channel, content.controllers[i].address) for i in senders}
    told: dict[tuple[str, int], tuple[float, float]] = {}
    for channel, address, _, hours in content.hours:
        if (channel, address) in seats:
            first, last = told.get((channel, address), (hours, hours))
            told[channel, address] = min(first, hours), max(last, hours)
    if not told:
        if given_h is None:
            return PlacedInHours(None, None, None, ())
        return PlacedInHours(given_h, given_h, "given", ())
    best = min(told, key=lambda seat: (seat[1] != ENGINE_ADDRESS, seat))
    start, end = told[best]
    for seat, (_, other) in sorted(told.items()):
        if abs(other - end) > HOURS_TOLERANCE:
            doubts.append(keep("hours_disagree", f"{end:.2f}", best[1], f"{other:.2f}", seat[1]))
    if given_h is not None and not start - HOURS_TOLERANCE <= given_h <= end + HOURS_TOLERANCE:
        doubts.append(keep("hours_given_differ", f"{given_h:.1f}", f"{start:.2f}"))
    return PlacedInHours(start, end, "bus", tuple(doubts))
