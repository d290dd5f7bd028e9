"""What becomes of MDF 4 logs that are damaged, were never finished, or lost their description."""

from __future__ import annotations

import random
import struct
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from tests.made_mdf4 import START_US, made

from shearbolt.errors import EmptyRecording, RecordingError
from shearbolt.model.frames import ERROR, EXTENDED, REMOTE, PlainFrame, frames_from, plain_frames
from shearbolt.recordings import Recording, open_recording
from shearbolt.recordings.writing import write_mdf4


def rows(count: int, ident: int = 0x18FE_F100, flags: int = EXTENDED) -> list[PlainFrame]:
    """Make frames one every 10 ms."""
    dice = random.Random(count)
    return [
        PlainFrame(START_US + 10_000 * i + 10_000, ident, dice.randbytes(8), flags, "1")
        for i in range(count)
    ]


def opened(path: Path, data: bytes | bytearray) -> Recording:
    """Write and open a log."""
    path.write_bytes(data)
    return open_recording(path)


def read(recording: Recording) -> list[PlainFrame]:
    """Read all frames."""
    return [one for block in recording.blocks() for one in plain_frames(block)]


@pytest.mark.parametrize("form", [{}, {"unsorted": True}, {"unsorted": True, "variable": True}])
def test_an_unfinished_log_is_read_to_its_last_whole_record(
    form: dict[str, Any], tmp_path: Path
) -> None:
    log = made(rows(40), unfinished=True, **form)
    half = (log.places[-1][-1][0] + log.places[-1][-1][1]) // 2
    recording = opened(tmp_path / "log", log.data[:half])
    assert read(recording) == log.frames[:39]
    assert any("never finished" in one for one in recording.doubts())
    (lost,) = recording.not_read()
    assert lost.reason == "record that is cut short"
    assert lost.byte is not None
    assert log.places[-2][-1][1] <= lost.byte <= half
    assert (tmp_path / "log").read_bytes() == log.data[:half]


def test_a_data_block_without_its_header_is_read_by_its_list(tmp_path: Path) -> None:
    log = made(rows(120), block_bytes=690)
    data = bytearray(log.data)
    data[log.blocks[1] : log.blocks[1] + 24] = bytes(24)
    recording = opened(tmp_path / "log", data)
    assert read(recording) == log.frames
    (lost,) = recording.not_read()
    assert (lost.reason, lost.byte) == ("data block whose header is damaged", log.blocks[1])


@pytest.mark.parametrize("last", [False, True])
def test_blocks_that_no_list_names_any_more_are_found(last: bool, tmp_path: Path) -> None:
    log = made(rows(200), block_bytes=700, lists_last=last)
    data = bytearray(log.data)
    assert len(log.lists) > 1
    data[log.lists[1] : log.lists[1] + 4] = b"gone"
    recording = opened(tmp_path / "log", data)
    assert read(recording) == log.frames
    assert [one.byte for one in recording.not_read()] == [log.lists[1]]


def test_a_lost_block_costs_its_own_frames(tmp_path: Path) -> None:
    log = made(rows(200), block_bytes=700, packed="deflate")
    data = bytearray(log.data)
    data[log.blocks[2] : log.blocks[3]] = bytes(log.blocks[3] - log.blocks[2])
    recording = opened(tmp_path / "log", data)
    got = read(recording)
    assert got == [one for one in log.frames if one in got]
    gone = 200 - len(got)
    assert 700 // 23 <= gone <= 700 // 23 + 2
    assert any("data block" in one.reason for one in recording.not_read())


def test_a_packed_block_that_does_not_unpack_gives_its_beginning(tmp_path: Path) -> None:
    log = made(rows(200), block_bytes=200 * 23, packed="deflate")
    data = bytearray(log.data)
    middle = log.blocks[0] + 48 + 1200
    data[middle : middle + 100] = bytes(100)
    recording = opened(tmp_path / "log", data)
    got = read(recording)
    assert 20 < len(got) < 150
    assert got == log.frames[: len(got)]
    reasons = {one.reason: one for one in recording.not_read()}
    assert any("its last frames are lost" in one for one in reasons)
    assert reasons["records missing from the file"].count == 200 - len(got)


def test_a_transposed_block_is_given_up_whole(tmp_path: Path) -> None:
    log = made(rows(200), block_bytes=100 * 23, packed="transposed")
    data = bytearray(log.data)
    middle = log.blocks[0] + 48 + 600
    data[middle : middle + 8] = b"\xaa" * 8
    recording = opened(tmp_path / "log", data)
    assert read(recording) == log.frames[100:]
    assert recording.not_read()[0].byte == log.blocks[0]


def test_records_of_zeros_are_no_frames(tmp_path: Path) -> None:
    log = made(rows(100))
    data = bytearray(log.data)
    begin, end = log.places[40][0][0], log.places[49][0][1]
    data[begin:end] = bytes(end - begin)
    recording = opened(tmp_path / "log", data)
    assert read(recording) == log.frames[:40] + log.frames[50:]
    (lost,) = recording.not_read()
    assert (lost.count, lost.byte) == (10, begin)


def test_bytes_lost_from_a_list_of_unsorted_records(tmp_path: Path) -> None:
    frames = rows(200)
    frames[::5] = [replace(one, data=b"", flags=REMOTE, ident=5, length=1) for one in frames[::5]]
    log = made(frames, unsorted=True)
    data = bytearray(log.data)
    begin = log.places[100][0][0] + 5
    del data[begin : begin + 30]
    recording = opened(tmp_path / "log", data)
    got = read(recording)
    assert got == [one for one in log.frames if one in got]
    assert len(got) >= 197
    assert recording.not_read()


def test_times_before_the_start_are_times(tmp_path: Path) -> None:
    # A log written anew from an old one may have its start later than its frames.
    import numpy as np
    from asammdf import MDF, Signal

    fields = [("BusChannel", "<u1"), ("ID", "<u4"), ("IDE", "<u1"), ("DLC", "<u1")]
    kinds = np.dtype([(f"CAN_DataFrame.{one}", kind) for one, kind in fields])
    kinds = np.dtype([*kinds.descr, ("CAN_DataFrame.DataBytes", "(8,)u1")])
    records = np.zeros(50, kinds)
    records["CAN_DataFrame.ID"] = range(0x100, 0x132)
    records["CAN_DataFrame.DLC"] = 8
    with MDF(version="4.10") as file:
        file.append(Signal(records, np.arange(50) - 70.0, name="CAN_DataFrame"))
        file.save(tmp_path / "log.mf4")
    data = (tmp_path / "log.mf4").read_bytes()
    sound = read(open_recording(tmp_path / "log.mf4"))
    assert len(sound) == 50
    recording = opened(tmp_path / "log", data.replace(b"##FH", b"gone", 1))
    assert read(recording) == sound
    assert recording.not_read()


@pytest.mark.parametrize("compression", [0, 1])
@pytest.mark.parametrize("share", [0.3, 0.6])
def test_without_description_records_are_read_in_a_usual_layout(
    compression: Any, share: float, tmp_path: Path
) -> None:
    wanted = rows(3000)
    write_mdf4(tmp_path / "whole", frames_from(wanted), compression=compression)
    data = (tmp_path / "whole").read_bytes()
    recording = opened(tmp_path / "log", data[: int(len(data) * share)])
    got = read(recording)
    assert got == wanted[: len(got)]
    assert len(got) >= 3000 * share * 0.8
    assert any("usual layout" in one for one in recording.doubts())
    assert recording.not_read()


def test_a_lost_end_of_the_description_is_told_by_its_channels(tmp_path: Path) -> None:
    # The last bytes name the length of the records; the channels before them say it as well.
    wanted = [
        PlainFrame(START_US + 1000 * i, 0x18FE_F100, bytes((i % 2, *bytes(7))), EXTENDED, "1")
        for i in range(300)
    ]
    write_mdf4(tmp_path / "whole", frames_from(wanted))
    recording = opened(tmp_path / "log", (tmp_path / "whole").read_bytes()[:-3])
    assert read(recording) == wanted
    assert not recording.doubts()
    assert recording.not_read()


def test_python_can_writes_a_usual_layout(tmp_path: Path) -> None:
    from can import Message
    from can.io.mf4 import MF4Writer

    wanted = rows(400)
    with MF4Writer(str(tmp_path / "whole.mf4"), compression_level=1) as writer:
        for one in wanted:
            writer.on_message_received(
                Message(timestamp=one.time_us / 1e6, arbitration_id=one.ident, data=one.data)
            )
    data = (tmp_path / "whole.mf4").read_bytes()
    begin = data.index(b"##D") + 64
    recording = opened(tmp_path / "log", data[: begin + (data.index(b"##DG") - begin) // 2])
    got = read(recording)
    assert len(got) > 50
    assert [(one.ident, one.data) for one in got] == [
        (one.ident, one.data) for one in wanted[: len(got)]
    ]


def test_what_may_be_error_frames_is_not_taken_for_frames(tmp_path: Path) -> None:
    wanted = rows(300, 0x20, ERROR)
    write_mdf4(tmp_path / "whole", frames_from(wanted))
    data = (tmp_path / "whole").read_bytes()
    with pytest.raises(RecordingError, match="cannot be opened"):
        read(opened(tmp_path / "log", data[: len(data) // 3]))


def test_an_unknown_conversion_of_time_is_not_guessed(tmp_path: Path) -> None:
    log = made(rows(20))
    data = bytearray(log.data)
    at = data.index(b"##CC") + 24 + 32
    assert data[at] == 1
    data[at] = 3
    with pytest.raises(RecordingError, match="cannot be opened"):
        read(opened(tmp_path / "log", data[:-5]))


def test_a_log_cut_before_its_data_gets_one_sentence(tmp_path: Path) -> None:
    log = made(rows(20))
    with pytest.raises(EmptyRecording, match="holds no frame"):
        read(opened(tmp_path / "log", log.data[: log.data_at + 30]))
    with pytest.raises(RecordingError, match="cannot be opened"):
        read(opened(tmp_path / "log", log.data[:300]))


def test_a_list_that_comes_back_to_itself_ends(tmp_path: Path) -> None:
    log = made(rows(200), block_bytes=700)
    data = bytearray(log.data)
    struct.pack_into("<Q", data, log.lists[1] + 24, log.lists[0])
    recording = opened(tmp_path / "log", data)
    assert read(recording) == log.frames
    assert recording.not_read()
