"""Which machine and what time: as the command line tells it from outside."""

from __future__ import annotations

import os
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from tests.command_line import call, faults_of
from tests.golden.small import HOT, IDENTIFICATION, OTHER_ENGINE, SLIPPING, Small, season


@pytest.fixture
def book(tmp_path: Path) -> Path:
    return tmp_path / "book"


def add(book: Path, *arguments: object, status: int = 0) -> dict[str, Any]:
    return call(book, "add", "--json", *arguments).done(status)


def add_one(book: Path, *arguments: object, status: int = 0) -> dict[str, Any]:
    (visit,) = add(book, *arguments, status=status)["visits"]
    assert isinstance(visit, dict)
    return visit


# Which machine


def test_a_swapped_unit_keeps_the_faults_of_its_place(book: Path, tmp_path: Path) -> None:
    files = season(tmp_path)
    visits = [add_one(book, path) for path in files]
    assert len({visit["machine"] for visit in visits}) == 1
    assert [bool(visit["events"]) for visit in visits] == [False, False, True, False]
    assert "4712" in visits[2]["events"][0]["words"]
    assert "9999" in visits[2]["events"][0]["words"]
    gearbox = [one for one in faults_of(book) if one["spn"] == 191]
    assert len(gearbox) == 1
    assert len(gearbox[0]["visits"]) == 3
    assert any(event["what"] == "swap" for event in gearbox[0]["events"])


def test_the_machine_as_the_person_says(book: Path, tmp_path: Path) -> None:
    first = add_one(book, Small(names={}).write(tmp_path / "a.log"), "--machine", "Old Dun")
    assert (first["machine_name"], first["recognised_by"]) == ("Old Dun", ["given"])
    again = add_one(
        book,
        Small("2026-05-15T06:00:00Z", {}).write(tmp_path / "b.log"),
        "--machine",
        first["machine"],
    )
    assert again["machine"] == first["machine"]
    unnamed = add_one(book, Small("2026-05-16T06:00:00Z", {}).write(tmp_path / "c.log"))
    assert unnamed["machine"] != first["machine"]
    assert unnamed["recognised_by"] == ["new"]
    assert any("--machine" in doubt for doubt in unnamed["doubts"])
    add(book, Small("2026-05-17T06:00:00Z").write(tmp_path / "d.log"))
    known = add_one(book, Small("2026-05-18T06:00:00Z").write(tmp_path / "e.log"))
    assert known["recognised_by"] == ["names"]
    told = add_one(
        book,
        Small("2026-05-19T06:00:00Z").write(tmp_path / "f.log"),
        "--machine",
        "Old Dun",
    )
    assert told["machine_name"] == "Old Dun"
    assert any(known["machine_name"] in doubt for doubt in told["doubts"])


def test_two_machines_in_one_recording(book: Path, tmp_path: Path) -> None:
    mine = Small(faults=(SLIPPING,), vin=IDENTIFICATION)
    theirs = Small(names={0: OTHER_ENGINE}, channel="can1", faults=(HOT,), vin="WEN00000000000099")
    both = sorted(mine.lines() + theirs.lines(), key=lambda line: line.split(")")[0])
    path = tmp_path / "both.log"
    path.write_text("\n".join(both) + "\n")
    visit = add_one(book, path)
    assert len(visit["machines"]) == 2
    assert any("Two machines" in doubt for doubt in visit["doubts"])
    shown = call(book, "faults", "--all", "--json").done()["machines"]
    assert {
        machine["machine"]: [fault["spn"] for fault in machine["faults"]] for machine in shown
    } == {visit["machines"][0]: [191], visit["machines"][1]: [110]}


def test_an_hour_meter_that_runs_backwards(book: Path, tmp_path: Path) -> None:
    add(book, Small("2026-05-01T06:00:00Z", hours=500.0).write(tmp_path / "a.log"))
    back = add_one(book, Small("2026-05-02T06:00:00Z", hours=420.0).write(tmp_path / "b.log"))
    assert any("backwards" in doubt and "420.00" in doubt for doubt in back["doubts"])
    earlier = add_one(book, Small("2026-04-20T06:00:00Z", hours=410.0).write(tmp_path / "c.log"))
    assert not any("backwards" in doubt for doubt in earlier["doubts"])


# Times


def test_relative_times_by_what_the_person_says(book: Path, tmp_path: Path) -> None:
    log = Small(start=None, faults=(SLIPPING,)).write(tmp_path / "zero.log")
    visit = add_one(book, log, "--start", "2026-05-14T06:12:09.5Z")
    assert visit["start_from"] == "given"
    assert visit["start"] == "2026-05-14T06:12:09.500000Z"
    (fault,) = faults_of(book)
    assert fault["spells"][0]["start"] == "2026-05-14T06:12:13.003000Z"
    assert fault["spells"][0]["start_at_s"] == 3.503


def test_relative_times_by_the_clock_on_the_bus(book: Path, tmp_path: Path) -> None:
    log = Small(start=None, clock="2026-05-14T06:12:09Z").write(tmp_path / "zero.log")
    visit = add_one(book, log)
    assert visit["start_from"] == "bus_clock"
    # The clock was read 0.3 s after the first frame.
    assert visit["start"] == "2026-05-14T06:12:08.700000Z"


def test_relative_times_by_the_date_of_the_file(book: Path, tmp_path: Path) -> None:
    log = Small(start=None).write(tmp_path / "zero.log")
    written = datetime(2026, 5, 14, 7, 0, 0, tzinfo=UTC).timestamp()
    os.utime(log, (written, written))
    visit = add_one(book, log)
    assert visit["start_from"] == "file_date"
    assert visit["end"] == "2026-05-14T07:00:00.000000Z"
    assert any("file's date" in doubt for doubt in visit["doubts"])


def test_no_time_at_all(book: Path, tmp_path: Path) -> None:
    """A logger without a clock on a card without dates: times are null, seconds stand beside."""
    log = Small(start=None, faults=(SLIPPING,)).write(tmp_path / "zero.log")
    os.utime(log, (0, 0))
    visit = add_one(book, log)
    assert visit["start_from"] == "none"
    assert visit["start"] is visit["end"] is None
    assert (visit["start_at_s"], visit["engine_hours_start"]) == (0.0, 100.0)
    assert any("--start" in doubt for doubt in visit["doubts"])
    (fault,) = faults_of(book)
    (spell,) = fault["spells"]
    assert spell["start"] is spell["end"] is spell["end_latest"] is None
    assert (spell["start_at_s"], spell["end_at_s"]) == (3.503, 6.503)
    signals = call(book, "signals", visit["visit"], "--spn", 110, "--json").done()["signals"]
    assert [one["at"] for one in signals[0]["samples"]] == [None] * 12
    assert signals[0]["samples"][0]["at_s"] == 0.31
    words = call(book, "faults")
    assert words.status == 0
    assert "None" not in words.out


def test_a_clock_on_the_bus_that_is_off(book: Path, tmp_path: Path) -> None:
    off = Small("2026-05-14T06:00:00Z", clock="2026-05-12T06:00:00Z").write(tmp_path / "a.log")
    assert any("clock" in doubt and "2 days" in doubt for doubt in add_one(book, off)["doubts"])
    right = Small("2026-05-15T06:00:00Z", clock="2026-05-15T06:01:00Z").write(tmp_path / "b.log")
    assert not any("clock" in doubt for doubt in add_one(book, right)["doubts"])
