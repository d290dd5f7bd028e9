"""The clock on the bus: SAE J1939-71 PGN 65254, reference sheet 3.2."""

from __future__ import annotations

import pytest

from shearbolt.model.instants import from_iso
from shearbolt.wire.clock import clock_us, read_clock


def sent(
    second: float, minute: int, hour: int, month: int, day_raw: int, year: int, *offsets: int
) -> bytes:
    return bytes([round(second * 4), minute, hour, month, day_raw, year - 1985, *offsets])


GOOD = sent(9.25, 12, 6, 5, 14 * 4, 2026, 125, 125 + 2)


def test_seconds_days_and_years() -> None:
    # Reference sheet 3.2: seconds 0.25 s, day 0.25 day, year offset 1985.
    assert GOOD.hex(" ") == "25 0c 06 05 38 29 7d 7f"
    assert clock_us(GOOD) == from_iso("2026-05-14T06:12:09.250")


@pytest.mark.parametrize(
    ("raw", "day"), [(1, 1), (2, 1), (3, 1), (4, 1), (5, 2), (8, 2), (121, 31), (124, 31)]
)
def test_quarters_of_a_day(raw: int, day: int) -> None:
    # Reference sheet 3.2: raw 1-4 = day 1.
    assert clock_us(sent(0, 0, 0, 1, raw, 2020)) == from_iso(f"2020-01-{day:02d}")


@pytest.mark.parametrize(
    ("minute", "hour", "offset"),
    [(125, 127, 120), (125 + 30, 125 + 5, 330), (125 - 30, 125 - 3, -210), (0xFF, 127, 120)],
)
def test_local_offset(minute: int, hour: int, offset: int) -> None:
    read = read_clock(GOOD[:6] + bytes([minute, hour]))
    assert read is not None
    assert read.offset_min == offset
    assert not read.is_local
    # Date and time are UTC whatever the offset.
    assert read.shown_us == clock_us(GOOD)


def test_offset_not_told() -> None:
    for data in (GOOD[:6], GOOD[:6] + b"\xff\xff", GOOD[:7]):
        read = read_clock(data)
        assert read is not None
        assert read.offset_min is None
        assert clock_us(data) == clock_us(GOOD)


def test_local_time_is_no_instant() -> None:
    data = GOOD[:6] + bytes([125, 250])
    read = read_clock(data)
    assert read is not None
    assert read.is_local
    assert clock_us(data) is None


@pytest.mark.parametrize("first", range(6))
@pytest.mark.parametrize("raw", [0xFB, 0xFE, 0xFF])
def test_a_part_without_a_number(first: int, raw: int) -> None:
    assert clock_us(GOOD[:first] + bytes([raw]) + GOOD[first + 1 :]) is None


@pytest.mark.parametrize(
    "data",
    [
        b"",
        GOOD[:5],
        sent(60, 0, 0, 1, 4, 2020),
        sent(0, 60, 0, 1, 4, 2020),
        sent(0, 0, 24, 1, 4, 2020),
        sent(0, 0, 0, 0, 4, 2020),
        sent(0, 0, 0, 13, 4, 2020),
        sent(0, 0, 0, 1, 0, 2020),
        sent(0, 0, 0, 2, 30 * 4, 2020),
        sent(0, 0, 0, 1, 32 * 4, 2020),
    ],
)
def test_impossible_times(data: bytes) -> None:
    assert clock_us(data) is None
