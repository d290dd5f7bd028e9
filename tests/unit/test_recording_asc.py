"""Lines of .asc recordings, written by hand and by python-can."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from can.io.asc import ASCReader

from shearbolt.model.frames import (
    BITRATE_SWITCH,
    ERROR,
    ERROR_STATE,
    EXTENDED,
    FD,
    REMOTE,
    SENT,
    PlainFrame,
    plain_frames,
)
from shearbolt.model.instants import from_iso
from shearbolt.recordings.asc import AscRecording
from shearbolt.recordings.recording import ByteSource

InMemory = Callable[[bytes], ByteSource]
HEAD = (
    "date Thu May 14 06:12:09.413 am 2026\nbase hex  timestamps absolute\n"
    "internal events logged\n// version 9.0.0\n"
    "Begin Triggerblock Thu May 14 06:12:09.413 am 2026\n   0.000000 Start of measurement\n"
)


def read(source: ByteSource) -> tuple[AscRecording, list[PlainFrame]]:
    recording = AscRecording(source)
    return recording, [one for block in recording.blocks() for one in plain_frames(block)]


def test_every_kind_of_line(in_memory: InMemory) -> None:
    text = (
        HEAD + "   0.002501 1  18FEF100x       Rx   d 8 01 02 03 04 05 06 07 08"
        "  Length = 230000 BitCount = 119 ID = 419361024x\n"
        "   0.003000 2  7E8             Tx   d 3 03 41 05\n"
        "   0.004000 1  7DF             Rx   d 0\n"
        "   0.005000 1  18EAFFF9x       Rx   r 3\n"
        "   0.005500 1  100             Tx   r\n"
        "   0.006000 2  ErrorFrame\n"
        "   0.006100 1  ErrorFrame	Flags = 0xe	CodeExt = 0x20a2	Code = 0x82	ID = 0	DLC = 0\n"
        "   0.007000 CANFD   1 Rx   18FF0102x                                  1 0 9 12 "
        "01 02 03 04 05 06 07 08 09 0A 0B 0C   102203  133   303000 e0006659\n"
        "   0.008000 CANFD   2 Tx        300  Torque                           0 1 2 2 AA BB "
        "0 0 5000 0 0 0 0 0\n"
        "   0.009000 CANFD   1 Rx        301                                   0 0 2 2 AA BB "
        "0 0 0 0 0 0 0 0\n"
        "   0.010000 1  18FEF200x       Rx   d F 11 22 33 44 55 66 77 88\n"
        "   0.011000 1  EngineHours     Rx   d 2 AB CD  Length = 1 BitCount = 9 ID = 419357952x\n"
        "End TriggerBlock\n"
    )
    recording, got = read(in_memory(text.encode()))
    assert got == [
        PlainFrame(2501, 0x18FEF100, bytes(range(1, 9)), EXTENDED, "1"),
        PlainFrame(3000, 0x7E8, b"\x03\x41\x05", SENT, "2"),
        PlainFrame(4000, 0x7DF, b"", 0, "1"),
        PlainFrame(5000, 0x18EAFFF9, b"", EXTENDED | REMOTE, "1", 3),
        PlainFrame(5500, 0x100, b"", REMOTE | SENT, "1", 0),
        PlainFrame(6000, 0, b"", ERROR, "2"),
        PlainFrame(6100, 0, b"", ERROR, "1"),
        PlainFrame(7000, 0x18FF0102, bytes(range(1, 13)), EXTENDED | FD | BITRATE_SWITCH, "1"),
        PlainFrame(8000, 0x300, b"\xaa\xbb", SENT | FD | ERROR_STATE, "2"),
        # Without the mark of CAN FD among its flags it is a classic frame.
        PlainFrame(9000, 0x301, b"\xaa\xbb", 0, "1"),
        # A length code above 8 means 8 bytes in a classic frame (ISO 11898-1).
        PlainFrame(10000, 0x18FEF200, bytes.fromhex("1122334455667788"), EXTENDED, "1"),
        PlainFrame(11000, 419357952, b"\xab\xcd", EXTENDED, "1"),
    ]
    assert recording.not_read() == ()
    assert recording.started_us == from_iso("2026-05-14T06:12:09.413")
    assert any("local time" in one for one in recording.doubts())


def test_lines_that_are_no_frames_are_counted_apart(in_memory: InMemory) -> None:
    text = (
        HEAD + "   0.1 1  18FEF100x Rx d 1 01\n"
        "   1.0 1  Statistic: D 0 R 0 XD 0 XR 0 E 0 O 0 B 0.00%\n"
        "   1.1 CAN 1 Status:chip status error active\n"
        "   1.2 J1939TP FEE3p 6 0 0 - Rx d 23 A0 0F A6 60 3B D1 40 1F\n"
        "   1.3 1  18FEF100x TxRq d 1 01\n"
    )
    recording, got = read(in_memory(text.encode()))
    assert len(got) == 1
    assert recording.not_read() == ()
    assert any("4 lines of other kinds" in one for one in recording.doubts())


def test_damaged_lines_are_told_with_reason_and_place(in_memory: InMemory) -> None:
    bad = {
        "   0.2 1  18FEF100x Rx d 8 01 02 03": "not as long as its length",
        "   0.2 1  18FEF100x Rx d 3 01 02 03 04": "not as long as its length",
        "   0.2 1  18FEF100x Rx d 2 01 0G": "data cannot be read",
        "   0.2 1  98FEF100x Rx d 1 01": "more than 29 bits",
        "   0.2 1  900 Rx d 1 01": "more than 11 bits",
        "   0.2 1  1_0x Rx d 1 01": "identifier is no number",
        "   0.2 1  18FEF100x Qx d 1 01": "neither a frame nor a known event",
        "   0.2 1  18FEF100x Rx q 1 01": "without its length",
        "   0.2 1  18FEF100x": "cut short",
        "   0.2 CANFD 1 Rx 300 0 0 9 8 01 02 03 04 05 06 07 08": "two lengths disagree",
        "   0.2": "ends behind the time",
        "garbage": "begins with no time",
        "   nan 1  18FEF100x Rx d 1 01": "begins with no time",
        "   1e99 1  18FEF100x Rx d 1 01": "begins with no time",
        "   0.2 strange words here": "neither a frame nor a known event",
    }
    for line, reason in bad.items():
        usual = "   0.1 1  18FEF100x Rx d 1 01\n"
        recording, got = read(in_memory((HEAD + usual + line + "\n" + usual).encode()))
        assert len(got) == 2, line
        (found,) = recording.not_read()
        assert reason in found.reason, line
        assert (found.line, found.count) == (8, 1), line


def test_decimal_base_and_times_as_steps(in_memory: InMemory) -> None:
    text = (
        "base dec timestamps relative\n"
        " 0.5 1 419361024x Rx d 2 255 16\n"
        " 0.25 1 Statistic: D 0\n"
        " 0.25 1 2024 Rx d 1 7\n"
    )
    recording, got = read(in_memory(text.encode()))
    assert got == [
        PlainFrame(500_000, 419361024, b"\xff\x10", EXTENDED, "1"),
        PlainFrame(1_000_000, 2024, b"\x07", 0, "1"),
    ]
    assert recording.started_us is None


def test_a_lost_step_is_told(in_memory: InMemory) -> None:
    text = "base hex timestamps relative\n 0.5 1 100 Rx d 1 07\nxx\n 0.5 1 100 Rx d 1 07\n"
    recording, got = read(in_memory(text.encode()))
    assert len(got) == 2
    assert any("may be early" in one for one in recording.doubts())


def test_a_later_block_counts_from_its_own_date(in_memory: InMemory) -> None:
    text = (
        "date Thu May 14 06:00:00.000 2026\nbase hex timestamps absolute\n"
        "Begin Triggerblock Thu May 14 06:00:00.000 2026\n 5.0 1 100 Rx d 1 01\nEnd TriggerBlock\n"
        "Begin Triggerblock Thu May 14 06:10:00.000 2026\n 1.0 1 100 Rx d 1 02\nEnd TriggerBlock\n"
    )
    _, got = read(in_memory(text.encode()))
    assert [one.time_us for one in got] == [5_000_000, 601_000_000]


def test_dates_of_other_languages(in_memory: InMemory) -> None:
    for date, wanted in {
        "Sam Mär 30 15:06:13.191 2024": "2024-03-30T15:06:13.191",
        "Mit Okt 1 09:21:13 PM 2014": "2014-10-01T21:21:13",
        "Wed Apr 16 12:21:13.5 am 2014": "2014-04-16T00:21:13.005",
        "14.05.2026 06:12:09.413": "2026-05-14T06:12:09.413",
    }.items():
        text = f"date {date}\nbase hex  timestamps absolute\n 0.1 1 100 Rx d 1 01\n"
        assert AscRecording(in_memory(text.encode("latin-1"))).started_us == from_iso(wanted), date


def test_python_can_reads_the_same(in_memory: InMemory, tmp_path: Path) -> None:
    text = HEAD + "".join(
        f" {i / 100:9.6f} {1 + i % 2}  {0x18FE0000 + i * 77:X}x       Rx   d {i % 9}"
        + "".join(f" {(i * 7 + k) % 256:02X}" for k in range(i % 9))
        + "\n"
        for i in range(200)
    )
    (tmp_path / "one.asc").write_text(text)
    with ASCReader(tmp_path / "one.asc") as theirs:
        wanted = [
            (round(one.timestamp * 1e6), one.arbitration_id, bytes(one.data)) for one in theirs
        ]
    _, got = read(in_memory(text.encode()))
    assert [(one.time_us, one.ident, one.data) for one in got] == wanted
