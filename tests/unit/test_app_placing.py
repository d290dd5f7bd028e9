"""When a recording was made, and at which hours: from itself, the person, or the bus."""

from __future__ import annotations

import pytest
from tests import bus_traffic as t
from tests.bus_traffic import Bus, us

from shearbolt.app.placing import PlacedInTime, place_in_hours, place_in_time, span_words
from shearbolt.app.wording import doubt_words
from shearbolt.decode.visit import decode_recording
from shearbolt.dictionary.merged import Dictionary
from shearbolt.model.instants import HOUR_US, SECOND_US, from_iso
from shearbolt.model.reading import TimeBase
from shearbolt.model.visit import VisitContent

NOW = from_iso("2026-07-01T12:00:00Z")
MAY = from_iso("2026-05-14T06:12:09Z")
DAY_US = 24 * HOUR_US
# SAE J1939-71, PGN 65254 (from memory): seconds 0.25 s, minutes, hours, month, day 0.25 d, year
# from 1985, local offset minutes and hours from 125. 14 May 2026, 06:12:09.
CLOCK_MAY = bytes((36, 12, 6, 5, 14 * 4, 2026 - 1985, 125, 125))


def content(
    base: TimeBase = TimeBase.RELATIVE,
    *,
    first_us: int = 0,
    clock: bytes | None = None,
    clock_s: float = 2.0,
) -> VisitContent:
    """Decode 10 s of a living sender, whose clock is told after 2 s."""
    bus = Bus()
    bus.alive(0, 10, 0)
    if clock is not None:
        bus.say(clock_s, t.CLOCK, 23, clock)
    frames = bus.frames
    frames.time_us[:] += first_us
    return decode_recording([frames], Dictionary.ours(), base)


def placed(
    told: VisitContent,
    *,
    header_us: int | None = None,
    given_us: int | None = None,
    file_us: int | None = None,
) -> PlacedInTime:
    """Place it in time as of 1 July 2026."""
    return place_in_time(told, header_us=header_us, given_us=given_us, file_us=file_us, now_us=NOW)


def doubts(found: PlacedInTime) -> list[str]:
    """Return the keys of its doubts; each makes a sentence."""
    assert all(doubt_words(one)[-1] == "." for one in found.doubts)
    return [one.split("|")[0] for one in found.doubts]


def test_absolute_times_stand() -> None:
    found = placed(content(TimeBase.ABSOLUTE, first_us=MAY), file_us=NOW)
    assert (found.zero_us, found.start_from, found.doubts) == (0, "recording", ())


def test_relative_times_begin_as_the_header_says() -> None:
    found = placed(content(), header_us=MAY, file_us=NOW)
    assert (found.zero_us, found.start_from, found.doubts) == (MAY, "recording", ())


def test_the_persons_start_is_that_of_the_first_frame() -> None:
    found = placed(content(first_us=us(100)), given_us=MAY, header_us=MAY - DAY_US)
    assert (found.zero_us, found.start_from) == (MAY - us(100), "given")


def test_the_clock_on_the_bus_comes_next() -> None:
    found = placed(content(clock=CLOCK_MAY), file_us=NOW)
    assert (found.zero_us, found.start_from, doubts(found)) == (MAY - us(2), "bus_clock", [])


def test_the_files_date_is_that_of_its_end() -> None:
    told = content()
    found = placed(told, file_us=MAY)
    assert (found.zero_us, found.start_from) == (MAY - told.latest_us, "file_date")
    assert doubts(found) == ["start_from_file"]


def test_nothing_known_leaves_times_unknown() -> None:
    found = placed(content())
    assert (found.zero_us, found.start_from, doubts(found)) == (None, "none", ["start_unknown"])


@pytest.mark.parametrize("file", ["1998-01-01T00:00:00Z", "2026-07-03T12:00:01Z"])
def test_an_impossible_file_date_is_none(file: str) -> None:
    assert placed(content(), file_us=from_iso(file)).start_from == "none"


@pytest.mark.parametrize(
    "clock",
    [
        bytes((36, 12, 6, 5, 14 * 4, 2027 - 1985, 125, 125)),  # next year
        bytes((36, 12, 6, 1, 4, 0, 125, 125)),  # 1985: never set
    ],
)
def test_a_clock_that_cannot_be_right_is_not_used(clock: bytes) -> None:
    found = placed(content(clock=clock), file_us=MAY)
    assert found.start_from == "file_date"
    assert doubts(found) == ["clock_not_valid", "start_from_file"]


@pytest.mark.parametrize(
    ("off_s", "told"),
    [(0, []), (599, []), (-599, []), (601, ["clock_off"]), (-3600, ["clock_off"])],
)
def test_a_clock_that_is_off_is_told(off_s: int, told: list[str]) -> None:
    start_us = MAY - us(2) + off_s * SECOND_US
    absolute = placed(content(TimeBase.ABSOLUTE, first_us=start_us, clock=CLOCK_MAY))
    assert doubts(absolute) == told
    given = placed(content(clock=CLOCK_MAY), given_us=start_us)
    assert (given.start_from, doubts(given)) == ("given", told)


def test_a_time_in_the_future_or_before_the_year_2000_is_told() -> None:
    future = placed(content(TimeBase.ABSOLUTE, first_us=NOW + DAY_US + us(1)))
    assert doubts(future) == ["time_in_future"]
    # A recorder's clock in another zone may lie some hours ahead.
    assert doubts(placed(content(TimeBase.ABSOLUTE, first_us=NOW + 12 * HOUR_US))) == []
    old = placed(content(TimeBase.ABSOLUTE, first_us=from_iso("1980-01-01")))
    assert doubts(old) == ["time_too_old"]


@pytest.mark.parametrize(
    ("span_us", "words"),
    [
        (20 * SECOND_US, "less than a minute"),
        (60 * SECOND_US, "1 minute"),
        (45 * 60 * SECOND_US, "45 minutes"),
        (90 * 60 * SECOND_US, "2 hours"),
        (3 * DAY_US, "3 days"),
        (1200 * DAY_US, "1,200 days"),
    ],
)
def test_spans_in_words(span_us: int, words: str) -> None:
    assert span_words(span_us) == words


# -- hours ----------------------------------------------------------------------------------------


def metered(*readings: tuple[float, int, float]) -> VisitContent:
    """Decode hour readings: second, address, hours."""
    bus = Bus()
    bus.alive(0, 10, 0, 23)
    for at_s, address, hours in readings:
        raw = round(hours / 0.05).to_bytes(4, "little")
        bus.say(at_s, t.HOURS, address, raw + b"\xff" * 4)
    return bus.content()


def test_hours_of_the_bus_are_those_of_the_engine_controller() -> None:
    told = metered((1, 23, 5910.3), (2, 0, 5910.0), (9, 0, 5910.15))
    found = place_in_hours(told, range(len(told.controllers)), None)
    assert (found.start, found.end, found.hours_from) == (5910.0, 5910.15, "bus")
    assert found.doubts == ()


def test_meters_that_disagree_are_told() -> None:
    told = metered((1, 23, 5890.0), (2, 0, 5910.0))
    found = place_in_hours(told, range(len(told.controllers)), None)
    assert (found.start, found.hours_from) == (5910.0, "bus")
    assert found.doubts == ("hours_disagree|5910.00|0|5890.00|23",)


def test_only_the_machines_own_meters_count() -> None:
    """The meter of a tractor beside it is not this machine's."""
    told = metered((1, 23, 812.0), (2, 0, 5910.0))
    (cab,) = (i for i, one in enumerate(told.controllers) if one.address == 23)
    found = place_in_hours(told, [cab], None)
    assert (found.start, found.doubts) == (812.0, ())


def test_hours_as_given_where_the_bus_tells_none() -> None:
    told = metered()
    seats = range(len(told.controllers))
    assert place_in_hours(told, seats, 5910.0).hours_from == "given"
    nothing = place_in_hours(told, seats, None)
    assert (nothing.start, nothing.end, nothing.hours_from) == (None, None, None)


@pytest.mark.parametrize(
    ("given_h", "told"), [(5910.0, False), (5909.1, False), (5908.0, True), (5912.0, True)]
)
def test_hours_given_against_those_of_the_bus(given_h: float, told: bool) -> None:
    content = metered((2, 0, 5910.0))
    found = place_in_hours(content, range(len(content.controllers)), given_h)
    assert (found.start, found.hours_from) == (5910.0, "bus")
    assert [one.split("|")[0] for one in found.doubts] == ["hours_given_differ"] * told
