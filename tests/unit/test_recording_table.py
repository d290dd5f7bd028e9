"""Tables of frames: real exports by their facts, and the many ways of writing one."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from shearbolt.errors import ColumnsNeeded, ForeignRecording, UsageError
from shearbolt.model.frames import ERROR, EXTENDED, FD, REMOTE, SENT, PlainFrame, plain_frames
from shearbolt.model.instants import from_iso
from shearbolt.model.reading import TimeBase
from shearbolt.recordings import Recording, TableColumns, open_recording, parse_columns

Opened = Callable[..., Recording]


@pytest.fixture
def opened(tmp_path: Path) -> Opened:
    """Open text as a file."""

    def make(text: str | bytes, columns: str | None = None) -> Recording:
        path = tmp_path / "table.txt"
        path.write_bytes(text.encode() if isinstance(text, str) else text)
        return open_recording(path, columns=parse_columns(columns) if columns else None)

    return make


def read(recording: Recording) -> list[PlainFrame]:
    return [one for block in recording.blocks() for one in plain_frames(block)]


def facts(folder: Path, name: str) -> dict[str, Any]:
    found = json.loads((folder / "FACTS.json").read_text())[name]
    assert isinstance(found, dict)
    return found


def group_of(ident: int) -> int:
    """Parameter group number of an identifier (SAE J1939-21 5.2)."""
    group = ident >> 8 & 0x3FFFF
    return group if group >> 8 & 0xFF >= 240 else group & 0x3FF00


@pytest.mark.parametrize("name", ["sensor_unplugged_analyser_export.csv", "start_in_gear.csv"])
def test_facts_of_the_real_tables(name: str, recordings_dir: Path) -> None:
    folder = recordings_dir / "tractor"
    known = facts(folder, name)
    recording = open_recording(folder / name)
    got = read(recording)
    assert recording.format == "table"
    assert recording.time_base is TimeBase.RELATIVE
    assert len(got) == known["frames"]
    # A row is unreadable when its time is '?', when it has no identifier, or when it carries more
    # data than its length field says (two or three frames run together): the other reading of the
    # last kind, its first eight bytes alone, would give a frame that may belong to another row.
    assert sum(one.count for one in recording.not_read()) == known["unreadable_records"]
    assert Counter(one.channel for one in got) == known["channels"]
    assert Counter(str(len(one.data)) for one in got) == known["data_lengths_29bit"]
    assert all(one.flags == EXTENDED for one in got)
    assert Counter(str(group_of(one.ident)) for one in got) == known["frames_per_pgn"]
    assert Counter(str(one.ident & 255) for one in got) == known["frames_per_source"]
    assert got[0].time_us == round(known["first_time_s"] * 1e6)
    assert got[-1].time_us == round(known["last_time_s"] * 1e6)


def test_reasons_in_the_damaged_export(recordings_dir: Path) -> None:
    path = recordings_dir / "tractor" / "sensor_unplugged_analyser_export.csv"
    recording = open_recording(path)
    read(recording)
    assert [(one.count, one.line) for one in recording.not_read()] == [(48, 2), (46, 111), (5, 535)]


def test_the_table_and_the_log_hold_the_same_frames(recordings_dir: Path) -> None:
    folder = recordings_dir / "tractor"
    table = read(open_recording(folder / "start_in_gear.csv"))
    log = read(open_recording(folder / "start_in_gear.log"))
    assert [(one.time_us, one.ident, one.data) for one in table] == [
        (one.time_us, one.ident, one.data) for one in log
    ]


FRAMES = [
    PlainFrame(0, 0x18FEF100, bytes.fromhex("FF00102030405060"), EXTENDED, "0"),
    PlainFrame(10_500, 0x0CF00400, bytes.fromhex("F0FF7D"), EXTENDED, "0"),
    PlainFrame(20_000, 0x7E8, bytes.fromhex("03410512"), 0, "0"),
]
WAYS = {
    "comma, spaced bytes": "Time,ID,Data\n0.0000,18FEF100,FF 00 10 20 30 40 50 60\n"
    "0.0105,0CF00400,F0 FF 7D\n0.0200,7E8,03 41 05 12\n",
    "semicolon, decimal comma": "Zeit [s];Kennung;Daten\n0,0;18FEF100;FF00102030405060\n"
    "0,0105;0CF00400;F0FF7D\n0,02;7E8;03410512\n",
    "tab, milliseconds, prefixes": "time_ms\tcan_id\tpayload\n0\t0x18FEF100\t0xFF00102030405060\n"
    "10.5\t0x0CF00400\t0xF0FF7D\n20\t0x7E8\t0x03410512\n",
    "pipe, units in cells": "Timestamp|Identifier|DLC|Data bytes\n"
    "0us|18FEF100x|8|FF-00-10-20-30-40-50-60\n10.5ms|CF00400x|3|F0-FF-7D\n"
    "0.02s|7E8|4|03-41-05-12\n",
    "quoted": '"Time","Message ID","Data"\n"0.0","18FEF100","FF 00 10 20 30 40 50 60"\n'
    '"0.0105","0CF00400","F0 FF 7D"\n"0.02","7E8","03 41 05 12"\n',
    "a column a byte": "time,id,dlc,d0,d1,d2,d3,d4,d5,d6,d7\n"
    "0.0,18FEF100,8,FF,00,10,20,30,40,50,60\n0.0105,0CF00400,3,F0,FF,7D,,,,,\n"
    "0.02,7E8,4,03,41,05,12,,,,\n",
    "a column a byte, decimal": "Time,ID,Byte 1,Byte 2,Byte 3,Byte 4,Byte 5,Byte 6,Byte 7,Byte 8\n"
    "0.0,18FEF100,255,0,16,32,48,64,80,96\n0.0105,0CF00400,240,255,125,,,,,\n"
    "0.02,7E8,3,65,5,18,,,,\n",
    "data spread over the row's end": "time,id,data\n0.0,18FEF100,FF,00,10,20,30,40,50,60\n"
    "0.0105,0CF00400,F0,FF,7D\n0.02,7E8,03,41,05,12\n",
    "decimal identifiers": "time;id (dec);data\n0.0;419361024;FF 00 10 20 30 40 50 60\n"
    "0.0105;217056256;F0 FF 7D\n0.02;2024;03 41 05 12\n",
    "words above the names": "Exported by hand\n\nMachine;the big one\nTime;ID;Data\n"
    "0.0;18FEF100;FF 00 10 20 30 40 50 60\n0.0105;0CF00400;F0 FF 7D\n0.02;7E8;03 41 05 12\n",
    "a row number first": ",time,id,data\n0,0.0,18FEF100,FF 00 10 20 30 40 50 60\n"
    "1,0.0105,0CF00400,F0 FF 7D\n2,0.02,7E8,03 41 05 12\n",
    "no names at all": "0.0,18FEF100,FF 00 10 20 30 40 50 60\n0.0105,0CF00400,F0 FF 7D\n"
    "0.02,7E8,03 41 05 12\n",
    "unheard-of names": "alpha,beta,gamma\n0.0,18FEF100,FF 00 10 20 30 40 50 60\n"
    "0.0105,0CF00400,F0 FF 7D\n0.02,7E8,03 41 05 12\n",
    "returns only": "Time,ID,Data\r0.0000,18FEF100,FF 00 10 20 30 40 50 60\r"
    "0.0105,0CF00400,F0 FF 7D\r0.0200,7E8,03 41 05 12\r",
}


@pytest.mark.parametrize("way", WAYS)
def test_ways_of_writing_a_table(way: str, opened: Opened) -> None:
    recording = opened(WAYS[way])
    assert read(recording) == FRAMES
    assert recording.not_read() == ()


@pytest.mark.parametrize("encoding", ["utf-8-sig", "utf-16"])
def test_encodings_of_spreadsheets(encoding: str, opened: Opened) -> None:
    assert read(opened(WAYS["tab, milliseconds, prefixes"].encode(encoding))) == FRAMES


def test_types_directions_channels_and_marks(opened: Opened) -> None:
    recording = opened(
        "Time,Channel,ID,Type,Dir,DLC,Data,Errors\n"
        "0.1,can1,18FEF100,Data,Rx,1,01,\n"
        "0.2,can2,18FEF100,Data,Tx,1,02,\n"
        "0.3,can1,18EAFFF9,Remote,Rx,3,,\n"
        "0.4,can1,,Error frame,Rx,0,,\n"
        "0.5,can1,200,FD,Rx,9,01 02 03 04 05 06 07 08 09 0A 0B 0C,\n"
        "0.6,can1,200,FD,Rx,12,01 02 03 04 05 06 07 08 09 0A 0B 0C,\n"
        "0.7,can1,18FEF100,Data,Rx,1,01,CRC\n"
        "0.8,,,Status,,,bus heavy,\n"
    )
    got = read(recording)
    assert [(one.flags, one.channel, len(one.data), one.length) for one in got] == [
        (EXTENDED, "can1", 1, None),
        (EXTENDED | SENT, "can2", 1, None),
        (EXTENDED | REMOTE, "can1", 0, 3),
        (ERROR, "can1", 0, None),
        (FD, "can1", 12, None),
        (FD, "can1", 12, None),
    ]
    (found,) = recording.not_read()
    assert "marked as damaged" in found.reason
    assert any("1 line of other kinds" in one for one in recording.doubts())


def test_extended_told_by_a_column(opened: Opened) -> None:
    got = read(
        opened("time,id,ext,data\n0.1,00000123,0,AA 01\n0.2,123,1,AA 01\n0.3,7FF,no,AA 01\n")
    )
    assert [one.flags for one in got] == [0, EXTENDED, 0]


def test_identifiers_in_parts(opened: Opened) -> None:
    recording = opened(
        "time_ms,pgn,source,destination,data\n"
        "1,61444,0,255,F0 FF 00 00 00 FF FF FF\n"
        "2,59904,249,0,E5 FE 00\n"
        "3,0xEF00,0x06,6.0,64 0E 03\n"
        "4,65251,0,255," + "00 " * 19 + "\n"
        "5,65251,x,255,00 00\n"
    )
    got = read(recording)
    assert [one.ident for one in got] == [0x18F00400, 0x18EA00F9, 0x18EF0606]
    reasons = [one.reason for one in recording.not_read()]
    assert "already put together" in reasons[0]
    assert "identifier" in reasons[1]
    assert any("no priorities" in one for one in recording.doubts())


@pytest.mark.parametrize(
    ("cells", "wanted"),
    [
        (("2026-05-14 06:12:09.413", "2026-05-14 06:12:10"), "2026-05-14T06:12:09.413"),
        (("2026-05-14T08:12:09.413+02:00", "2026-05-14T08:12:10+02:00"), "2026-05-14T06:12:09.413"),
        (("14.05.2026 06:12:09,413", "14.05.2026 06:12:10"), "2026-05-14T06:12:09.413"),
        (("1778739129.413", "1778739130"), "2026-05-14T06:12:09.413"),
        (("1778739129413", "1778739130000"), "2026-05-14T06:12:09.413"),
    ],
)
def test_times_that_are_instants(cells: tuple[str, str], wanted: str, opened: Opened) -> None:
    recording = opened(f"time;id;data\n{cells[0]};18FEF100;01 02\n{cells[1]};18FEF100;01 02\n")
    assert recording.time_base is TimeBase.ABSOLUTE
    assert read(recording)[0].time_us == from_iso(wanted)


def test_date_and_time_in_two_columns(opened: Opened) -> None:
    recording = opened("Date,Time,ID,Data\n2026-05-14,06:12:09.413,18FEF100,01 02\n")
    assert recording.time_base is TimeBase.ABSOLUTE
    assert read(recording)[0].time_us == from_iso("2026-05-14T06:12:09.413")


def test_times_of_day_over_midnight(opened: Opened) -> None:
    recording = opened(
        "Time,ID,Data\n23:59:59.5,18FEF100,01 02\n00:00:00.25,18FEF100,01 02\n"
        "00:00:01,18FEF100,01 02\n"
    )
    got = read(recording)
    assert [one.time_us - got[0].time_us for one in got] == [0, 750_000, 1_500_000]
    assert read(recording) == got


@pytest.mark.parametrize(("unit", "scale"), [("s", 1), ("ms", 1e3), ("us", 1e6)])
def test_bare_times_are_told_by_known_rates(unit: str, scale: float, opened: Opened) -> None:
    # Group 65265 is sent every 100 ms (SAE J1939-71).
    rows = "".join(f"{i * 0.1 * scale:.3f};18FEF100;00 01 02\n" for i in range(30))
    recording = opened("time;id;data\n" + rows)
    got = read(recording)
    assert got[1].time_us == 100_000
    assert any("carry no unit" in one for one in recording.doubts())
    told = opened("time;id;data\n" + rows, f"unit={unit}")
    assert read(told) == got
    assert not any("carry no unit" in one for one in told.doubts())


def test_columns_that_cannot_be_told_are_asked_for(opened: Opened) -> None:
    text = "alpha,beta,gamma,ID\n1,2,3,18FEF100\n4,5,6,18FEF200\n7,8,9,18FEF300\n"
    with pytest.raises(ColumnsNeeded, match="time and data cannot be told") as caught:
        opened(text)
    assert "it has: alpha, beta, gamma, ID" in caught.value.sentence
    assert "--columns time=NAME,id=NAME,data=NAME" in caught.value.sentence
    got = read(opened(text, "time=alpha,data=2-3,unit=ms"))
    assert got[0] == PlainFrame(1000, 0x18FEF100, b"\x02\x03", EXTENDED, "0")
    got = read(opened(text, "time=1,id=4,data=Beta,unit=s"))
    assert got[2] == PlainFrame(7_000_000, 0x18FEF300, b"\x08", EXTENDED, "0")
    with pytest.raises(ColumnsNeeded, match="there is no column 'delta'"):
        opened(text, "time=delta,data=2")


def test_columns_as_a_person_types_them() -> None:
    assert parse_columns("time=Time stamp, id=CAN-ID ,data=5-12,unit=ms,base=dec") == TableColumns(
        time="Time stamp", ident="CAN-ID", data="5-12", time_unit="ms", ident_base="dec"
    )
    for wrong in ("time", "colour=red", "time=", "unit=h,time=1", "base=oct"):
        with pytest.raises(UsageError):
            parse_columns(wrong)


def test_a_table_of_something_else_is_foreign(opened: Opened) -> None:
    with pytest.raises(ForeignRecording, match="Name them with --columns") as caught:
        opened("name,age,town\n" + "Anna,31,Upper Wenna\nBert,40,Corbie Howe\n" * 9)
    assert "name, age, town" in caught.value.sentence


def test_an_open_quote_costs_one_row(opened: Opened) -> None:
    rows = ["time,id,data"] + [f"0.{i},18FEF100,01 0{i}" for i in range(6)]
    rows[3] = '0.2,"18FEF100,01 02'
    recording = opened("\n".join(rows) + "\n")
    assert len(read(recording)) == 5
    (found,) = recording.not_read()
    assert (found.count, found.line) == (1, 4)
