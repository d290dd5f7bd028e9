"""The owner's own signals and code texts, and the samples of a visit, through the command line."""

from __future__ import annotations

import csv
from pathlib import Path
from typing import Any

import polars
import pytest
from tests.bus_traffic import Bus, dtc
from tests.command_line import call
from tests.small_yard import NAMES, Yard, small_yard

ET1 = 65262
MAKERS = dtc(522000, 31)
HEADER = (
    "spn,name,pgn,pgn_acronym,start_byte,start_bit,length_bits,resolution,offset,unit,low,high,"
    "state_texts,source,address"
)


@pytest.fixture
def yard(tmp_path: Path) -> Yard:
    return small_yard(tmp_path)


def visit_with_readings(yard: Yard) -> str:
    """Bring in coolant of 80, error, 81 degC and 'not available' in ten seconds; a maker's code."""

    def say(bus: Bus) -> None:
        for at_s, raw in ((1, 120), (2, 0xFE), (3, 121), (4, 0xFF)):
            bus.say(at_s, ET1, 0, bytes((raw,)) + b"\xff" * 7)
        for at_s in range(5):
            bus.say(at_s + 0.25, 65301, 3, bytes((at_s,)) + bytes(7))

    visit: str = yard.add((3, MAKERS), day=1, more=say)["visits"][0]["visit"]
    return visit


# -- samples --------------------------------------------------------------------------------------


def test_every_sample_has_a_number_or_says_why_not(yard: Yard) -> None:
    visit = visit_with_readings(yard)
    told = call(yard.book, "signals", visit, "--spn", "110", "--json").done()
    (coolant,) = told["signals"]
    assert [(one["value"], one["status"]) for one in coolant["samples"]] == [
        (80, None),
        (None, "error"),
        (81, None),
        (None, "not_available"),
    ]
    assert (coolant["low"], coolant["high"], coolant["unit"]) == (80, 81, "degC")
    assert coolant["samples"][0]["at"] == "2026-05-15T06:12:10.000000Z"
    assert told["rows"] == 4


@pytest.mark.parametrize(
    ("bounds", "values"),
    [
        (("--from", "2.5"), [81, None]),
        (("--to", "2.5"), [80, None]),
        (("--from", "2026-05-15T06:12:11Z", "--to", "2026-05-15T06:12:12Z"), [None, 81]),
        (("--from", "100"), []),
    ],
)
def test_samples_between_bounds(yard: Yard, bounds: tuple[str, ...], values: list[Any]) -> None:
    visit = visit_with_readings(yard)
    told = call(yard.book, "signals", visit, "--spn", "110", *bounds, "--json").done()
    samples = [sample["value"] for one in told["signals"] for sample in one["samples"]]
    assert samples == values


def test_samples_of_one_address(yard: Yard) -> None:
    visit = visit_with_readings(yard)
    told = call(yard.book, "signals", visit, "--address", "3", "--json").done()
    assert {one["address"] for one in told["signals"]} == {3}
    assert 110 not in {one["spn"] for one in told["signals"]}


def test_a_bound_that_is_neither_time_nor_seconds_is_wrong_usage(yard: Yard) -> None:
    visit = visit_with_readings(yard)
    told = call(yard.book, "signals", visit, "--from", "yesterday", "--json")
    assert told.status == 2
    assert "'yesterday'" in told.sentence


def test_samples_as_csv_and_parquet(yard: Yard) -> None:
    visit = visit_with_readings(yard)
    table, parquet = yard.folder / "out.csv", yard.folder / "out.parquet"
    call(yard.book, "signals", visit, "--spn", "110", "--csv", table, "--json").done()
    call(yard.book, "signals", visit, "--spn", "110", "--parquet", parquet, "--json").done()
    with table.open(encoding="utf-8", newline="") as lines:
        rows = list(csv.DictReader(lines))
    assert [(row["value"], row["status"]) for row in rows] == [
        ("80.0", ""),
        ("", "error"),
        ("81.0", ""),
        ("", "not_available"),
    ]
    frame = polars.read_parquet(parquet)
    assert frame["status"].to_list() == [row["status"] for row in rows]
    assert frame["value"].to_list() == [80.0, None, 81.0, None]
    assert not list(yard.folder.glob("*.part"))


# -- own signals ----------------------------------------------------------------------------------


def own_rows(yard: Yard, **changes: str) -> Path:
    """Write a file with one row of the owner's: byte 1 of the maker's group 65301."""
    row = dict.fromkeys(HEADER.split(","), "")
    row |= {
        "spn": "521001", "name": "Seat", "pgn": "65301", "pgn_acronym": "OWN", "start_byte": "1",
        "start_bit": "1", "length_bits": "8", "resolution": "1", "offset": "0", "unit": "count",
        "low": "0", "high": "3", "source": "tried with the seat",
    }  # fmt: skip
    row |= changes
    path = yard.folder / "own.csv"
    path.write_text(f"{HEADER}\n" + ",".join(row.values()) + "\n", encoding="utf-8")
    return path


def test_own_signals_are_tried_before_they_are_kept(yard: Yard) -> None:
    visit = visit_with_readings(yard)
    rows = own_rows(yard)
    tried = call(yard.book, "own", "signal", "try", rows, "--on", visit, "--json").done()
    (signal,) = tried["signals"]
    assert (tried["kept"], signal["samples"], signal["first_values"]) == (False, 5, [0, 1, 2, 3, 4])
    assert signal["words"].startswith("It runs from 0 to 4 count in 5 samples; 1 of them")
    listed = call(yard.book, "own", "signal", "list", "--json").done()
    assert listed["signals"] == []
    call(yard.book, "own", "signal", "add", rows, "--on", visit, "--json").done()
    told = call(yard.book, "signals", visit, "--spn", "521001", "--json").done()
    assert [one["own"] for one in told["signals"]] == [True]
    again = call(yard.book, "own", "signal", "list", "--json").done()
    assert [one["text"] for one in again["signals"]] == ["Seat"]


def test_own_signals_of_a_group_not_heard_say_so(yard: Yard) -> None:
    visit = visit_with_readings(yard)
    rows = own_rows(yard, pgn="65399")
    tried = call(yard.book, "own", "signal", "try", rows, "--on", visit, "--json").done()
    assert tried["signals"][0]["words"] == "Group 65399 was not heard in this recording."


# -- own texts of codes ---------------------------------------------------------------------------


def test_an_own_text_names_the_makers_code_of_that_sender(yard: Yard) -> None:
    visit_with_readings(yard)
    told = call(
        yard.book, "own", "code", "add", "--spn", "522000", "--fmi", "31", "--page", "12-4",
        "--text", "Park lever not home", "--json",
    ).done()  # fmt: skip
    (code,) = told["codes"]
    name = NAMES[3]
    assert (code["manufacturer_code"], code["function"]) == (name.manufacturer_code, name.function)
    (fault,) = yard.faults()
    assert code["faults"] == [fault["fault"]]
    assert fault["text"] == fault["own_text"] == "Park lever not home"


def test_an_own_text_without_a_sender_asks_whose_it_is(yard: Yard) -> None:
    told = call(yard.book, "own", "code", "add", "--spn", "522001", "--text", "Something", "--json")
    assert told.status == 2
    assert "--manufacturer-code" in told.sentence
