"""Numbers, times, units and codes in words."""

from __future__ import annotations

from datetime import timedelta, timezone

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.made_documents import AMBER, NO_LAMPS

from shearbolt.cli import phrases
from shearbolt.cli.look import Look

UTC = Look(zone=timezone(timedelta(0)))
EAST = Look(zone=timezone(timedelta(hours=2)))
WEST = Look(zone=timezone(timedelta(hours=-7)))
US = Look(units="us")


@pytest.mark.parametrize(
    ("value", "words"),
    [
        (None, "–"),
        (0.0, "0"),
        (-40.0, "-40"),
        (1234567.0, "1,234,567"),
        (12.5, "12.5"),
        (8191.875, "8,192"),
        (0.0125, "0.0125"),
        (1e-7, "1e-07"),
        (3.14159, "3.142"),
        (-0.5, "-0.5"),
    ],
)
def test_number(value: float | None, words: str) -> None:
    assert phrases.number(value) == words


@given(st.floats(allow_nan=False, allow_infinity=False, min_value=-1e9, max_value=1e9))
def test_a_number_in_words_is_near_the_number(value: float) -> None:
    shown = float(phrases.number(value).replace(",", ""))
    assert shown == pytest.approx(value, rel=0.06 if abs(value) < 0.01 else 0.006, abs=1e-300)


@pytest.mark.parametrize(
    ("value", "words"),
    [
        (5910.0, "5,910.0 h"),
        (0.0, "0.0 h"),
        (None, "hours not known"),
    ],
)
def test_hours(value: float | None, words: str) -> None:
    assert phrases.hours(value) == words


@pytest.mark.parametrize(
    ("start", "end", "words"),
    [
        (5910.0, 5915.9, "5,910.0 to 5,915.9 h"),
        (5910.0, 5910.04, "5,910.0 h"),
        (None, 5910.0, "5,910.0 h"),
        (5910.0, None, "5,910.0 h"),
        (None, None, "engine hours not known"),
    ],
)
def test_hour_span(start: float | None, end: float | None, words: str) -> None:
    assert phrases.hour_span(start, end) == words


@pytest.mark.parametrize(
    ("value", "words"),
    [
        (0.02, "0.02 s"),
        (12.3, "12.3 s"),
        (-12.3, "-12.3 s"),
        (61.0, "1 min 1 s"),
        (600.0, "10 min"),
        (3599.7, "1 h"),
        (7500.0, "2 h 5 min"),
        (266400.0, "3 days 2 h"),
    ],
)
def test_seconds(value: float, words: str) -> None:
    assert phrases.seconds(value) == words


def test_when_follows_the_zone_of_the_reader() -> None:
    time = "2026-05-14T23:30:09.999999Z"
    assert phrases.when(time, UTC) == "14 May 2026, 23:30:09"
    assert phrases.when(time, EAST) == "15 May 2026, 01:30:09"


def test_when_no_time_is_known_it_counts_from_the_first_frame() -> None:
    assert phrases.when(None, UTC, -0.139) == "-0.139 s from the first frame"
    assert phrases.when(None, UTC) == "time not known"


def test_a_time_that_no_calendar_holds_is_shown_as_it_stands() -> None:
    assert phrases.when("12026-05-14T00:00:00.000000Z", UTC) == "12026-05-14T00:00:00.000000Z"
    first = "0001-01-01T00:00:00.000000Z"
    assert phrases.when(first, WEST) == first


def test_midnight_utc_is_that_day_everywhere() -> None:
    for look in (UTC, EAST, WEST):
        assert phrases.day("2026-05-15T00:00:00.000000Z", look) == "15 May 2026"
    assert phrases.day("2026-05-15T00:30:00.000000Z", WEST) == "14 May 2026, 17:30"
    assert phrases.day(None, UTC) == "date not known"
    assert phrases.day("12026-05-15T00:00:00.000000Z", UTC) == "12026-05-15T00:00:00.000000Z"


def test_a_note_of_a_day_shows_its_day_and_any_other_moment_its_time() -> None:
    assert phrases.day_or_time("2026-06-02T00:00:00.000000Z", EAST) == "2 Jun 2026"
    assert phrases.day_or_time("2026-06-02T00:00:00.000001Z", UTC) == "2 Jun 2026, 00:00:00"
    assert phrases.day_or_time(None, UTC, 3.0) == "3 s from the first frame"


def test_span() -> None:
    start, end = "2026-05-14T06:20:00.000000Z", "2026-05-14T06:21:01.000000Z"
    assert phrases.span(start, end, UTC) == "14 May 2026, 06:20:00 to 06:21:01 (1 min 1 s)"
    assert phrases.span(start, "2026-05-15T00:00:01.000000Z", UTC) == (
        "14 May 2026, 06:20:00 to 15 May 2026, 00:00:01 (17 h 40 min)"
    )
    assert phrases.span(None, None, UTC, 1.5, 4.0) == "1.5 s to 4 s from the first frame (2.5 s)"
    assert phrases.span(None, None, UTC) == "times not known"
    assert phrases.span(start, None, UTC) == "14 May 2026, 06:20:00 to time not known"


def test_code() -> None:
    assert phrases.code(110, 0, None) == "SPN 110 FMI 0"
    assert phrases.code(None, None, "P0217") == "P0217"
    assert phrases.code(None, None, None) == ""
    assert phrases.code(1208, 3, None, [1208, 9400]) == (
        "SPN 1208 or 9400 (which one is not settled) FMI 3"
    )


@pytest.mark.parametrize(
    ("value", "unit", "metric", "us"),
    [
        (100.0, "degC", "100 °C", "212 °F"),
        (-40.0, "degC", "-40 °C", "-40 °F"),
        (100.0, "kPa", "100 kPa", "14.5 psi"),
        (40.0, "km/h", "40 km/h", "24.85 mph"),
        (1850.0, "rpm", "1,850 rpm", "1,850 rpm"),
        (3.0, "-", "3", "3"),
        (None, "km/h", "– km/h", "– km/h"),
    ],
)
def test_reading_in_both_units(value: float | None, unit: str, metric: str, us: str) -> None:
    assert phrases.reading(value, unit, UTC) == metric
    assert phrases.reading(value, unit, US) == us


def test_only_lit_lamps_are_named() -> None:
    assert phrases.lamps_lit(AMBER) == ["amber warning lamp on", "protect lamp flashing fast"]
    assert phrases.lamps_lit(NO_LAMPS) == []


def test_many_and_size_and_sentence() -> None:
    assert phrases.many(1, "box", "boxes") == "1 box"
    assert phrases.many(1905, "frame") == "1,905 frames"
    assert phrases.size(1) == "1 byte"
    assert phrases.size(812) == "812 bytes"
    assert phrases.size(4_200_000) == "4.2 MB"
    assert phrases.sentence("it holds no frame") == "It holds no frame."
    assert phrases.sentence("Done!") == "Done!"
    assert phrases.sentence(" ") == ""
