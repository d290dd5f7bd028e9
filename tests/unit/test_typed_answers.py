"""Hours and the three answers, as people type them."""

from __future__ import annotations

import pytest

from shearbolt.errors import NoteNotUnderstood
from shearbolt.wire.typed import TypedAnswers, read_answers, read_heat, read_hours, read_minutes


@pytest.mark.parametrize(
    ("typed", "hours"),
    [
        *(("5910.5 h", 5910.5), ("5910,5", 5910.5), ("5910.5", 5910.5), ("5910", 5910.0)),
        *(("5,910.5", 5910.5), ("5 910,5 hours", 5910.5), ("5.910,5", 5910.5), ("5,910", 5910.0)),
        *(("1'234.5 hrs", 1234.5), ("12,345,6", 12345.6), ("at 5910 h", 5910.0), ("0", 0.0)),
        *(("5910h 30min", 5910.5), ("5910 engine hours", 5910.0), ("hours: 12.25", 12.25)),
    ],
)
def test_hours(typed: str, hours: float) -> None:
    assert read_hours(typed) == hours


@pytest.mark.parametrize(
    ("typed", "understood"),
    [
        ("", "no engine-hour reading"),
        ("a lot", "no engine-hour reading"),
        ("-3", "no engine-hour reading"),
        ("12.3.4", "no engine-hour reading"),
        ("5.910", "it may be 5910 hours or 5 hours"),
        ("999999 h", "more than any meter shows"),
        ("10 h 75 min", "75 minutes are over an hour"),
        ("1" * 300, "more than any meter|no engine-hour"),
    ],
)
def test_hours_refused(typed: str, understood: str) -> None:
    with pytest.raises(NoteNotUnderstood, match=understood) as caught:
        read_hours(typed)
    assert caught.value.sentence.endswith("Write it like '5910.5 h', '5910,5' or '5910'.")


@pytest.mark.parametrize(
    ("typed", "heat"),
    [
        *(("hot", "hot"), ("Warm", "warm"), ("COLD", "cold"), ("stone cold", "cold")),
        *(("first start of the day", "cold"), ("after standing overnight", "cold")),
        *(("at working temperature", "hot"), ("warmed up", "hot"), ("luke warm", "warm")),
        *(("not warm yet", "cold"), ("still warming up", "warm"), ("engine was hot", "hot")),
    ],
)
def test_heat(typed: str, heat: str) -> None:
    assert read_heat(typed) == heat


@pytest.mark.parametrize("typed", ["", "not hot", "hot and cold", "blue", "photo"])
def test_heat_refused(typed: str) -> None:
    with pytest.raises(NoteNotUnderstood, match="Write it like 'hot', 'warm' or 'cold'"):
        read_heat(typed)


@pytest.mark.parametrize(
    ("typed", "minutes"),
    [
        *(("ten minutes", 10.0), ("10 min", 10.0), ("1 h", 60.0), ("straight away", 0.0)),
        *(("half an hour", 30.0), ("an hour", 60.0), ("1 h 20 min", 80.0), ("1h20", 80.0)),
        *(("1:20", 80.0), ("10", 10.0), ("30 s", 0.5), ("about ten minutes after the start", 10.0)),
        *(("after 2 hours", 120.0), ("two and a half hours", 150.0), ("1,5 h", 90.0)),
        *(("quarter of an hour", 15.0), ("right after start", 0.0), ("while cranking", 0.0)),
        *(("1 hour and 5 minutes", 65.0), ("a couple of minutes", 2.0), ("Immediately", 0.0)),
        *(("at start", 0.0), ("20 min after starting", 20.0), ("90 seconds", 1.5)),
    ],
)
def test_minutes(typed: str, minutes: float) -> None:
    assert read_minutes(typed) == pytest.approx(minutes)


@pytest.mark.parametrize(
    "typed", ["", "a few minutes", "later", "half", "-5", "10 days", "99999 h", "ten", "1 2 3"]
)
def test_minutes_refused_or_plain(typed: str) -> None:
    if typed == "ten":
        assert read_minutes(typed) == 10.0
        return
    with pytest.raises(NoteNotUnderstood, match="Write it like '10 min', '1 h' or 'straight away'"):
        read_minutes(typed)


def test_answers() -> None:
    assert read_answers() == TypedAnswers(None, None, None)
    assert read_answers("  baling  uphill ", "hot", "2 h") == TypedAnswers(
        "baling uphill", "hot", 120
    )
    assert read_answers(" ", "", " ") == TypedAnswers(None, None, None)
    with pytest.raises(NoteNotUnderstood):
        read_answers("baling", "purple", None)
