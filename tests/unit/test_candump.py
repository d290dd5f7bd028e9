"""candump text in all its usual forms: what is read, what is reported, what times count from."""

from __future__ import annotations

import io
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import can
import numpy as np
import pytest

from shearbolt.errors import EmptyRecording, ForeignRecording
from shearbolt.model.frames import (
    BITRATE_SWITCH,
    ERROR,
    ERROR_STATE,
    EXTENDED,
    FD,
    REMOTE,
    SENT,
    Frames,
    PlainFrame,
    plain_frames,
)
from shearbolt.model.instants import from_iso
from shearbolt.model.reading import NotRead, TimeBase
from shearbolt.recordings import candump
from shearbolt.recordings.candump import CandumpRecording, looks_like
from shearbolt.recordings.candump_line import LONGEST_LINE
from shearbolt.recordings.recording import ByteSource

Open = Callable[[bytes], ByteSource]


def everything(recording: CandumpRecording) -> list[PlainFrame]:
    return [frame for block in recording.blocks() for frame in plain_frames(block)]


def one(in_memory: Open, line: bytes) -> PlainFrame:
    (frame,) = everything(CandumpRecording(in_memory(line)))
    return frame


@pytest.mark.parametrize(
    ("line", "frame"),
    [
        (b"(1.5) can0 123#11.22.33", PlainFrame(1_500_000, 0x123, b"\x11\x22\x33", 0)),
        (b"(-0.000123) can0 123#", PlainFrame(-123, 0x123, b"", 0)),
        (b"(12.123456789) can0 123#", PlainFrame(12_123_456, 0x123, b"", 0)),
        (b"(7) can0 123#", PlainFrame(7_000_000, 0x123, b"", 0)),
        (
            b"(1.0) can0 18FEF100#R",
            PlainFrame(1_000_000, 0x18FEF100, b"", EXTENDED | REMOTE, length=0),
        ),
        (b"(1.0) can0 123#R8", PlainFrame(1_000_000, 0x123, b"", REMOTE, length=8)),
        (b"(1.0) can0 123#R8_C", PlainFrame(1_000_000, 0x123, b"", REMOTE, length=8)),
        (
            b"(1.0) can0 123#1122334455667788_E",
            PlainFrame(1_000_000, 0x123, b"\x11\x22\x33\x44\x55\x66\x77\x88", 0),
        ),
        (
            b"(1.0) can0 123##3AABB T",
            PlainFrame(1_000_000, 0x123, b"\xaa\xbb", FD | BITRATE_SWITCH | ERROR_STATE | SENT),
        ),
        (
            b"(1.0) can0 18FEF100##0" + b"5A" * 64,
            PlainFrame(1_000_000, 0x18FEF100, b"\x5a" * 64, EXTENDED | FD),
        ),
        (
            b"(1.0) can0 18FEF100##4" + b"5A" * 12,
            PlainFrame(1_000_000, 0x18FEF100, b"\x5a" * 12, EXTENDED | FD),
        ),
        (b"(1.0) can0 20000004#0004000000000000", PlainFrame(1_000_000, 4, b"", ERROR, length=8)),
        (
            b" (000.000100)  can0  18FEF100   [3]  41 42 43            'ABC'",
            PlainFrame(100, 0x18FEF100, b"ABC"),
        ),
        (b" (000.000100)  can0  123   [3]  27 20 5D   '' ]'", PlainFrame(100, 0x123, b"' ]", 0)),
        (b" (000.000100)  can0  RX - -  123   [1]  41", PlainFrame(100, 0x123, b"A", 0)),
        (
            b" (000.000100)  can0  TX B E  123   [02]  41 42",
            PlainFrame(100, 0x123, b"AB", FD | SENT | BITRATE_SWITCH | ERROR_STATE),
        ),
        (
            b" (000.000100)  can0  123   [12]  " + b" ".join([b"5A"] * 12),
            PlainFrame(100, 0x123, b"\x5a" * 12, FD),
        ),
        (
            b" (000.000100)  can0  123   [2]  remote request",
            PlainFrame(100, 0x123, b"", REMOTE, length=2),
        ),
        (
            b" (000.000100)  can0  123   [2]  01000001 00000010",
            PlainFrame(100, 0x123, b"\x41\x02", 0),
        ),
        (b" (000.000100)  can0  123   [2]  42`41", PlainFrame(100, 0x123, b"AB", 0)),
        (
            b" (000.000100)  can0  123   {E}  41 41 41 41 41 41 41 41",
            PlainFrame(100, 0x123, b"A" * 8, 0),
        ),
        (
            b" (000.000100)  can0  20000080   [8]  00 00 00 00 00 00 00 00   ERRORFRAME",
            PlainFrame(100, 0x80, b"", ERROR, length=8),
        ),
        (
            b" (2026-05-14 06:12:09.413022)  can0  123   [1]  41",
            PlainFrame(from_iso("2026-05-14T06:12:09.413022"), 0x123, b"A", 0),
        ),
        (b"  can0  123   [1]  41", PlainFrame(0, 0x123, b"A", 0)),
        (b"  can0       123   [0] ", PlainFrame(0, 0x123, b"", 0)),
    ],
)
def test_each_form(in_memory: Open, line: bytes, frame: PlainFrame) -> None:
    for text in (line, line + b"\n", line + b"\r\n"):
        got = one(in_memory, text)
        wanted = (frame.time_us, frame.ident, frame.data, frame.flags, frame.channel)
        assert (got.time_us, got.ident, got.data, got.flags, got.channel) == wanted
        if frame.length is not None:
            (block,) = CandumpRecording(in_memory(text)).blocks()
            assert block.length.tolist() == [frame.length]


@pytest.mark.parametrize(
    ("line", "reason"),
    [
        (b"hello", "not a line of candump text"),
        (b"(1.0) can0", "not a line of candump text"),
        (b"(x) hello", "not a line of candump text"),
        (b"(x) can0 123#11", "time damaged or out of range"),
        (b"(2026-02-30 00:00:00.000000) can0 123#11", "time damaged or out of range"),
        (b"(1.0) can0 123#1", "data damaged: not whole bytes of hexadecimal digits"),
        (b"(1.0) can0 123##", "data damaged: not whole bytes of hexadecimal digits"),
        (b"(1.0) can0 123#1G", "data damaged: not whole bytes of hexadecimal digits"),
        (b"(1.0) can0 123#112233445566778899", "more data bytes than such a frame can have"),
        (b"(1.0) can0 123##0" + b"00" * 13, "more data bytes than such a frame can have"),
        (b"(1.0) can0 123#R9", "more data bytes than such a frame can have"),
        (b"(1.0) can0 800#11", "identifier too large for its width"),
        (b"(1.0) can0 80000000#11", "identifier too large for its width"),
        (b"(1.0) can0 45123#81:00:12345678#1122", "CAN XL frame, which is not read"),
        (b" (1.0)  can0  123   [3]  11 22", "data shorter or longer than the length beside it"),
        (b" (1.0)  can0  123   [3]", "data shorter or longer than the length beside it"),
        (b" (1.0)  can0  123   [1]  11 2", "data shorter or longer than the length beside it"),
        (b" (1.0)  can0  123   [2]  11 XX", "data damaged: not whole bytes of hexadecimal digits"),
        (b" (1.0)  can0  123   [9]  11 22", "more data bytes than such a frame can have"),
        (b" (1.0)  can0  123   [13]  11 22", "more data bytes than such a frame can have"),
        (b" (1.0)  can0  123   [1]  11 ERRORFRAME", "identifier too large for its width"),
        (b"x" * (LONGEST_LINE + 1), "line far too long for candump text"),
    ],
)
def test_each_damage_is_reported_with_its_place(in_memory: Open, line: bytes, reason: str) -> None:
    good = b"(1.000000) can0 123#11\n"
    recording = CandumpRecording(in_memory(good + line + b"\n" + good + line + b"\n"))
    assert [frame.data for frame in everything(recording)] == [b"\x11", b"\x11"]
    assert recording.not_read() == (NotRead(reason, 2, 2, len(good)),)


def test_nothing_to_report_in_blank_lines_comments_and_explained_errors(in_memory: Open) -> None:
    text = (
        b"\n# made by hand\n; too\n"
        b" (000.0)  can0  20000088   [8]  00 00 08 00 00 00 00 00   ERRORFRAME\n"
        b"\tprotocol-violation{{tx-recessive-bit-error}{}}\n"
        b"\tbus-error\n"
        b" (000.1)  can0  123   [1]  11\n"
    )
    recording = CandumpRecording(in_memory(text))
    assert [frame.flags for frame in everything(recording)] == [ERROR, 0]
    assert recording.not_read() == ()
    stray = CandumpRecording(in_memory(b"(1.0) can0 123#11\n\tbus-error\n"))
    assert len(everything(stray)) == 1
    assert stray.not_read()[0].line == 2


def test_frames_the_recorder_lost_are_counted(in_memory: Open) -> None:
    text = (
        b"(1.0) can0 123#11\n"
        b"DROPCOUNT: dropped 17 CAN frames on 'can0' socket (total drops 17)\n"
        b"DROPCOUNT: dropped 1 CAN frame on 'can0' socket (total drops 18)\n"
    )
    recording = CandumpRecording(in_memory(text))
    assert len(everything(recording)) == 1
    assert recording.not_read() == (NotRead("frames that the recorder itself lost", 18, 2, 18),)


def test_what_power_loss_leaves_costs_no_frame_beside_it(in_memory: Open) -> None:
    a, b, c = (b"(%d.000000) can0 123#%02d" % (i, i) for i in (1, 2, 3))
    text = a + b"\n" + b"\0" * 3_000_000 + b + b"\n(9.9) can0 12" + c + b"\n" + b"\0" * 100
    recording = CandumpRecording(in_memory(text))
    assert [frame.data for frame in everything(recording)] == [b"\1", b"\2", b"\3"]
    reasons = {one.reason: one.count for one in recording.not_read()}
    assert reasons == {"stretch of NUL bytes": 2, "damage before a frame on the same line": 1}


def test_very_long_lines_are_left_out(in_memory: Open, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(candump, "CHUNK_BYTES", 50_000)
    good = b"(1.000000) can0 123#11\n"
    text = good + b"x" * 1_000_000 + b"\n" + good + b"junk\n" + b"y" * 200_000
    recording = CandumpRecording(in_memory(text))
    assert len(everything(recording)) == 2
    long, junk = recording.not_read()
    assert (long.reason, long.count, long.line) == ("line far too long for candump text", 2, 2)
    assert (junk.line, junk.byte) == (4, len(good) * 2 + 1_000_001)


def test_cut_last_line(in_memory: Open) -> None:
    cut = CandumpRecording(in_memory(b"(1.0) can0 123#11\n(2.0) can0 123#1"))
    assert len(everything(cut)) == 1
    assert cut.not_read()[0].line == 2
    assert cut.doubts() == ("The last line has no line end and may be cut short.",)


@pytest.mark.parametrize("text", [b"", b"\n\n", b"# nothing\n", b"\r\n", b"\n\n\n"])
def test_empty(in_memory: Open, text: bytes) -> None:
    with pytest.raises(EmptyRecording, match=r"^recording\.log: holds no frame"):
        CandumpRecording(in_memory(text))


@pytest.mark.parametrize("text", [b"hello\nworld\n", b"\0" * 5000, bytes(range(256)) * 100])
def test_foreign(in_memory: Open, text: bytes) -> None:
    with pytest.raises(ForeignRecording, match=r"line 1: "):
        CandumpRecording(in_memory(text))
    assert not looks_like(text)


def test_looks_like() -> None:
    assert looks_like(b" (000.000000)  can0  18FCF200   [8]  E1 FF FF FF FF FF FF FF\n ")
    assert looks_like(b"\xef\xbb\xbf(1.0) can0 123#11")
    assert looks_like(b"\0\0\0\0# comment\n\n(1.0) can0 123##111\n")
    assert looks_like(b"  can0  123   [1]  41\n")
    assert not looks_like(b"")
    assert not looks_like(
        b"date Mon Jan 01\nbase hex  timestamps absolute\n   0.1 1  123x Rx d 1 11\n"
    )
    assert not looks_like(b"timestamp,arbitration_id,extended,remote,error,dlc,data\n")
    assert not looks_like(b";$FILEVERSION=1.1\n     1)      1.0  Rx         0123  1  11\n")


def times_of(in_memory: Open, seconds: list[str]) -> tuple[CandumpRecording, list[float]]:
    text = "".join(f" ({one})  can0  123   [1]  11\n" for one in seconds)
    recording = CandumpRecording(in_memory(text.encode()))
    blocks = list(recording.blocks())
    return recording, [int(us) / 1e6 for block in blocks for us in block.time_us]


def test_absolute_times(in_memory: Open) -> None:
    recording, times = times_of(in_memory, ["1436509052.249713", "1436509052.000000"])
    assert recording.time_base is TimeBase.ABSOLUTE
    assert recording.started_us is None
    assert times == [1436509052.249713, 1436509052.0]
    assert recording.doubts() == (
        "Times step back 1 times, by 0.249713 s at most; they were kept as they are.",
    )


def test_dates_are_taken_as_utc(in_memory: Open) -> None:
    recording, times = times_of(in_memory, ["2026-05-14 06:12:09.413022"])
    assert recording.time_base is TimeBase.ABSOLUTE
    assert times == [from_iso("2026-05-14T06:12:09.413022Z") / 1e6]
    assert recording.doubts() == ("Its dates name no time zone; they were taken as UTC.",)


def test_differences_are_added_up(in_memory: Open) -> None:
    steps = [0, 5001, 579, 614, 2087, 637, 1572, 573, 3867, 640] * 20
    recording, times = times_of(in_memory, [f"000.{step:06d}" for step in steps])
    assert recording.time_base is TimeBase.RELATIVE
    assert times == pytest.approx((np.cumsum(steps) / 1e6).tolist())
    assert recording.doubts() == (
        "Its times are differences from frame to frame; they were added up.",
    )


def test_even_differences_are_added_up(in_memory: Open) -> None:
    _, times = times_of(in_memory, ["000.000000", *["000.100000"] * 9])
    assert times == pytest.approx([i / 10 for i in range(10)])


@pytest.mark.parametrize(
    "seconds",
    [
        [f"{i // 100:03d}.{i % 100:02d}0000" for i in range(500)],  # plain
        ["000.000000"] * 9,  # a clock that stands
        [f"{i + (i % 3) * 2:03d}.000000" for i in range(200)],  # two interfaces, out of order
        [f"{i % 100:03d}.000000" for i in range(500)],  # five recordings, one after another
    ],
)
def test_times_from_a_zero_stay(in_memory: Open, seconds: list[str]) -> None:
    recording, times = times_of(in_memory, seconds)
    assert recording.time_base is TimeBase.RELATIVE
    assert times == [float(one) for one in seconds]


def test_differences_run_on_over_blocks(in_memory: Open, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(candump, "BLOCK_FRAMES", 7)
    monkeypatch.setattr(candump, "CHUNK_BYTES", 100)
    steps = [0, 3, 1, 2, 5, 1, 4, 1, 1, 6, 2, 1, 9, 1, 3] * 9
    recording, times = times_of(in_memory, [f"000.{step:06d}" for step in steps])
    assert [len(block) for block in recording.blocks()][:3] == [7, 7, 7]
    assert times == pytest.approx((np.cumsum(steps) / 1e6).tolist())


def test_frames_without_a_time_keep_their_place(in_memory: Open) -> None:
    text = (
        b"  can0  123   [1]  01\n\n (5.000000)  can0  123   [1]  02\njunk\n  can0  123   [1]  03\n"
    )
    recording = CandumpRecording(in_memory(text))
    assert [(one.time_us, one.data) for one in everything(recording)] == [
        (0, b"\1"),
        (5_000_000, b"\2"),
        (5_000_000, b"\3"),
    ]
    assert "2 frames have no time; each was given that of the frame before." in recording.doubts()


def test_times_of_two_kinds_are_told(in_memory: Open) -> None:
    recording, _ = times_of(in_memory, ["1436509052.0", "1436509053.0", "1.0"])
    assert "1 frames have times of another kind than the first ones." in recording.doubts()


def test_long_data_and_dropped_lines_over_blocks(
    in_memory: Open, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Rows of long frames still fit after lines without a frame are taken out before them."""
    monkeypatch.setattr(candump, "BLOCK_FRAMES", 5)
    monkeypatch.setattr(candump, "CHUNK_BYTES", 64)
    lines: list[bytes] = []
    wanted: list[bytes] = []
    for i in range(60):
        data = bytes([i]) * (0, 3, 8, 12, 64)[i % 5]
        hashes = b"##1" if len(data) > 8 else b"#"
        lines.append(b"(%d.000000) can%d 123" % (i, i % 3) + hashes + data.hex().encode() + b"\n")
        lines.append((b"", b"\n", b"junk\n")[i * 7 % 3])
        wanted.append(data)
    recording = CandumpRecording(in_memory(b"".join(lines)))
    for _ in range(2):
        got = everything(recording)
        assert [one.data for one in got] == wanted
        assert [one.channel for one in got] == [f"can{i % 3}" for i in range(60)]
        assert sum(one.count for one in recording.not_read()) == 20


def test_more_interfaces_than_fit_are_reported(in_memory: Open) -> None:
    text = b"".join(b"(1.000000) c%d 123#11\n" % i for i in range(300))
    recording = CandumpRecording(in_memory(text))
    assert len(everything(recording)) == 256
    assert recording.not_read()[0].count == 44


def test_python_can_writes_what_is_read_here(in_memory: Open) -> None:
    messages = [
        can.Message(
            timestamp=1436509052.25, arbitration_id=0x18FEF100, data=b"\1\2", channel="can0"
        ),
        can.Message(
            timestamp=1436509052.5,
            arbitration_id=0x123,
            is_extended_id=False,
            data=b"",
            channel="can1",
            is_rx=False,
        ),
        can.Message(
            timestamp=1436509053,
            arbitration_id=0x123,
            is_extended_id=False,
            is_remote_frame=True,
            dlc=4,
            channel="can0",
        ),
        can.Message(
            timestamp=1436509054,
            arbitration_id=0x18FEF100,
            is_fd=True,
            bitrate_switch=True,
            data=bytes(range(64)),
            channel="can0",
        ),
        can.Message(
            timestamp=1436509055,
            is_error_frame=True,
            arbitration_id=4,
            dlc=8,
            data=bytes(8),
            channel="can0",
        ),
    ]
    file = io.StringIO()
    writer = can.CanutilsLogWriter(file)
    for message in messages:
        writer.on_message_received(message)
    got = everything(CandumpRecording(in_memory(file.getvalue().encode())))
    assert [(one.time_us / 1e6, one.ident, one.channel) for one in got[:4]] == [
        (m.timestamp, m.arbitration_id, m.channel) for m in messages[:4]
    ]
    assert [one.data for one in got] == [b"\1\2", b"", b"", bytes(range(64)), b""]
    assert [one.flags for one in got] == [
        EXTENDED,
        SENT,
        REMOTE,
        EXTENDED | FD | BITRATE_SWITCH,
        ERROR,
    ]


@pytest.mark.parametrize(
    "path", ["truck_drive/recording.log", "tractor/key_on_and_run.log", "tractor/start_in_gear.log"]
)
def test_open_recordings(recordings_dir: Path, in_memory: Open, path: str) -> None:
    file = recordings_dir / path
    facts: dict[str, Any] = json.loads((file.parent / "FACTS.json").read_text())
    facts = facts.get(file.name, facts)
    data = file.read_bytes()
    assert looks_like(data[:4096])
    recording = CandumpRecording(in_memory(data))
    blocks: list[Frames] = list(recording.blocks())
    wide = np.concatenate([block.flags & EXTENDED for block in blocks])
    assert len(wide) == facts["frames"]
    assert int(np.count_nonzero(wide)) == facts["frames_29bit"]
    channels: dict[str, int] = {}
    for block in blocks:
        for i, name in enumerate(block.channels):
            channels[name] = channels.get(name, 0) + int(np.count_nonzero(block.channel == i))
    assert channels == facts["channels"]
    assert int(blocks[0].time_us[0]) / 1e6 == facts["first_time_s"]
    assert int(blocks[-1].time_us[-1]) / 1e6 == facts["last_time_s"]
    assert recording.time_base is TimeBase.RELATIVE
    assert recording.not_read() == ()
    assert recording.doubts() == ()
    lengths = np.concatenate([block.length for block in blocks])
    counted = {str(size): int(np.count_nonzero(lengths == size)) for size in np.unique(lengths)}
    assert counted == facts["data_lengths_29bit"]
