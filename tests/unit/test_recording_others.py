"""python-can's .csv, MDF 4, and what all readers share: blocks and sentences."""

from __future__ import annotations

import random
import sys
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

import pytest
from can.io.csv import CSVReader

from shearbolt.errors import EmptyRecording, MissingReader, RecordingError
from shearbolt.model.frames import (
    ERROR,
    EXTENDED,
    FD,
    REMOTE,
    PlainFrame,
    frames_from,
    plain_frames,
)
from shearbolt.model.reading import TimeBase
from shearbolt.recordings import gather, open_recording, textual
from shearbolt.recordings.pycan_csv import HEADER, PycanCsvRecording
from shearbolt.recordings.recording import ByteSource
from shearbolt.recordings.writing import write_asc, write_mdf4, write_pycan_csv, write_trc

InMemory = Callable[[bytes], ByteSource]


def rows(count: int, start_us: int = 1_777_700_000_000_000) -> list[PlainFrame]:
    return [
        PlainFrame(start_us + 1003 * i, 0x18FE0000 + i % 50, bytes([i % 256] * 8), EXTENDED, "1")
        for i in range(count)
    ]


def test_csv_lines(in_memory: InMemory, tmp_path: Path) -> None:
    text = HEADER + (
        "\n0.0,0x18fef100,1,0,0,8,AAECAwQFBgc=\n"
        "0.001,0x18fef100,1,0,0,2,qrs=\n"
        "0.002,0x7e8,0,0,0,0,\n"
        "0.003,0x18eafff9,1,1,0,3,\n"
        "0.004,0x24,1,0,1,0,\n"
        "0.005,0x200,0,0,0,12,AAECAwQFBgcICQoL\n"
        "5e-05,0x201,0,0,0,1,AA==\n"
    )
    recording = PycanCsvRecording(in_memory(text.encode()))
    got = [one for block in recording.blocks() for one in plain_frames(block)]
    assert got == [
        PlainFrame(0, 0x18FEF100, bytes(range(8)), EXTENDED, "0"),
        PlainFrame(1000, 0x18FEF100, b"\xaa\xbb", EXTENDED, "0"),
        PlainFrame(2000, 0x7E8, b"", 0, "0"),
        PlainFrame(3000, 0x18EAFFF9, b"", EXTENDED | REMOTE, "0", 3),
        PlainFrame(4000, 0x24, b"", EXTENDED | ERROR, "0"),
        PlainFrame(5000, 0x200, bytes(range(12)), FD, "0"),
        PlainFrame(50, 0x201, b"\0", 0, "0"),
    ]
    assert recording.time_base is TimeBase.RELATIVE
    (tmp_path / "one.csv").write_text(text)
    with CSVReader(tmp_path / "one.csv") as theirs:
        assert [one.arbitration_id for one in theirs] == [one.ident for one in got]


def test_damaged_csv_lines_are_told(in_memory: InMemory) -> None:
    usual = "0.0,0x18fef100,1,0,0,8,AAECAwQFBgc=\n"
    for line, reason in {
        "0.1,0x18fef100,1,0,0,7,AAECAwQFBgc=": "not as long as its length",
        "0.1,0x18fef100,1,0,0,8,AAECAwQFBg": "cannot be read",
        "0.1,0x18fef100,1,0,0,9,AAECAwQFBgcI": "impossible length",
        "0.1,0xfffef100,1,0,0,1,AA==": "more than 29 bits",
        "0.1,0x900,0,0,0,1,AA==": "more than 11 bits",
        "nan,0x18fef100,1,0,0,8,AAECAwQFBgc=": "file's columns",
        "1e99,0x18fef100,1,0,0,8,AAECAwQFBgc=": "no instant",
        "0.1,0x18fef100,1,0": "file's columns",
    }.items():
        recording = PycanCsvRecording(in_memory(f"{HEADER}\n{usual}{line}\n{usual}".encode()))
        got = [one for block in recording.blocks() for one in plain_frames(block)]
        assert len(got) == 2, line
        (found,) = recording.not_read()
        assert reason in found.reason, line
        assert found.line == 3, line


@pytest.mark.parametrize("compression", [0, 1, 2])
def test_mdf4_packed_inside(compression: int, tmp_path: Path) -> None:
    path = tmp_path / "log"
    wanted = rows(3000)
    write_mdf4(path, frames_from(wanted), compression=compression)  # type: ignore[arg-type]
    recording = open_recording(path)
    assert recording.time_base is TimeBase.ABSOLUTE
    assert [one for block in recording.blocks() for one in plain_frames(block)] == wanted


def test_mdf4_groups_are_merged_by_time(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from shearbolt.recordings import mdf4

    monkeypatch.setattr(mdf4, "_RUN", 7)
    dice = random.Random(5)
    wanted = [
        PlainFrame(1_777_700_000_000_000 + 10 * i, 0x100 + i, b"", REMOTE, "1", 2)
        if dice.random() < 0.3
        else PlainFrame(1_777_700_000_000_000 + 10 * i, 0x100 + i, dice.randbytes(24), FD, "2")
        if dice.random() < 0.2
        else PlainFrame(1_777_700_000_000_000 + 10 * i, 0x100 + i, dice.randbytes(8), 0, "1")
        for i in range(200)
    ]
    path = tmp_path / "log"
    write_mdf4(path, frames_from(wanted))
    got = [one for block in open_recording(path).blocks() for one in plain_frames(block)]
    assert got == wanted


def test_mdf4_without_the_optional_package(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "log"
    path.write_bytes(b"MDF     4.10    " + bytes(300))
    monkeypatch.setitem(sys.modules, "asammdf.blocks.mdf_v4", None)
    with pytest.raises(MissingReader, match="bootstrap setup"):
        open_recording(path)


def test_mdf4_without_frames(tmp_path: Path) -> None:
    import numpy as np
    from asammdf import MDF, Signal

    with MDF(version="4.10") as file:
        file.append(Signal(np.arange(5.0), np.arange(5.0), name="oil"))
        file.save(tmp_path / "log.mf4")
    recording = open_recording(tmp_path / "log.mf4")
    with pytest.raises(EmptyRecording):
        list(recording.blocks())
    assert any("no frames of a bus" in one for one in recording.doubts())


def test_an_unfinished_mdf4_is_never_altered(tmp_path: Path) -> None:
    path = tmp_path / "log"
    write_mdf4(path, frames_from(rows(50)))
    data = bytearray(path.read_bytes())
    data[:8] = b"UnFinMF "
    data[60] = 1
    path.write_bytes(data)
    # The library may or may not be able to finish a copy of it.
    got: list[PlainFrame] = []
    with suppress(RecordingError):
        got = [one for block in open_recording(path).blocks() for one in plain_frames(block)]
    assert path.read_bytes() == data
    assert got in ([], rows(50))


def test_blocks_are_of_bounded_size(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    for module in (gather, textual):
        monkeypatch.setattr(module, "BLOCK_FRAMES", 100)
    monkeypatch.setattr("shearbolt.recordings.text.CHUNK_BYTES", 2000)
    wanted = rows(1000)
    for write in (write_asc, write_trc, write_pycan_csv):
        write(tmp_path / "log", frames_from(wanted))
        blocks = list(open_recording(tmp_path / "log").blocks())
        assert len(blocks) > 5
        assert max(len(one) for one in blocks) < 200
        assert [one.data for block in blocks for one in plain_frames(block)] == [
            one.data for one in wanted
        ]


def test_a_recording_of_nothing_but_damage_says_where(tmp_path: Path) -> None:
    path = tmp_path / "log"
    path.write_text("base hex  timestamps absolute\n" + " 0.1 1 18FEF100x Rx d 8 01\n" * 3)
    with pytest.raises(EmptyRecording, match="3 places could not be read, the first in line 2"):
        list(open_recording(path).blocks())


def test_a_writer_refuses_what_its_form_cannot_hold(tmp_path: Path) -> None:
    with pytest.raises(ValueError, match="cannot hold"):
        write_trc(tmp_path / "log", frames_from([PlainFrame(0, 1, b"", REMOTE)]))
