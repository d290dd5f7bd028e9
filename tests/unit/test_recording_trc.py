"""Records of .trc recordings in all their versions."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from can.io.trc import TRCReader

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
from shearbolt.recordings.recording import ByteSource
from shearbolt.recordings.trc import TrcRecording, looks_like

InMemory = Callable[[bytes], ByteSource]
START = ";$STARTTIME=46156.25\n"
VERSIONS = {
    "1.0": (
        ";  no version line\n"
        "     1)      1841 0001 8 00 01 02 03 04 05 06 07\n"
        "     2)      1842 18FEF100 2 AA BB\n"
        "     3)      1843 0100 3 RTR\n"
        "     4)      1844 FFFFFFFF 4 00 00 00 08 -- -- -- -- BUSHEAVY\n",
        ["0", "0", "0"],
    ),
    "1.1": (
        ";$FILEVERSION=1.1\n"
        + START
        + "     1)      1841.2  Rx  0001  8  00 01 02 03 04 05 06 07\n"
        "     2)      1842.0  Tx  18FEF100  2  AA BB\n"
        "     3)      1843.0  Rx  0100  3  RTR\n"
        "     4)      1844.0  Warng  FFFFFFFF  4  00 00 00 08  BUSHEAVY\n"
        "     5)      1845.0  Error  0008  4  00 19 08 08\n",
        ["0", "0", "0", "0"],
    ),
    "1.2": (
        ";$FILEVERSION=1.2\n" + START + " 1)  1841.2 1  Rx  0001  8  00 01 02 03 04 05 06 07\n"
        " 2)  1842.0 2  Tx  18FEF100  2  AA BB\n",
        ["1", "2"],
    ),
    "1.3": (
        ";$FILEVERSION=1.3\n" + START + " 1)  1841.2 1  Rx  0001 -  8  00 01 02 03 04 05 06 07\n"
        " 2)  1842.0 2  Tx  18FEF100 -  2  AA BB\n 3)  1843.0 1  Rx  0100 -  3  RTR\n",
        ["1", "2", "1"],
    ),
    "2.0": (
        ";$FILEVERSION=2.0\n" + START + ";$COLUMNS=N,O,T,I,d,l,D\n"
        "  1  1841.2 DT 0001 Rx 8  00 01 02 03 04 05 06 07\n"
        "  2  1842.0 DT 18FEF100 Tx 2  AA BB\n"
        "  3  1843.0 RR 0100 Rx 3\n"
        "  4  1844.0 ST - Rx 4  00 00 00 08\n"
        "  5  1845.0 ER - Rx 5  04 00 02 00 00\n",
        ["0", "0", "0", "0"],
    ),
    "2.1": (
        ";$FILEVERSION=2.1\n" + START + ";$COLUMNS=N,O,T,B,I,d,R,L,D\n"
        "  1  1841.200 DT 1 0001 Rx -  8    00 01 02 03 04 05 06 07\n"
        "  2  1842.000 DT 2 18FEF100 Tx -  2    AA BB\n"
        "  3  1843.000 RR 1 0100 Rx -  3\n"
        "  4  1843.500 FB 1 18FF0102 Rx -  9    01 02 03 04 05 06 07 08 09 0A 0B 0C\n"
        "  5  1843.600 FE 1 0200 Rx -  1    01\n"
        "  6  1843.700 BI 1 0200 Rx -  1    01\n"
        "  7  1843.800 FD 1 0200 Rx -  1    01\n"
        "  8  1844.000 EC 1 - Rx -  2    00 01\n"
        "  9  1845.000 ER 1 - Rx -  5    04 00 02 00 00\n",
        ["1", "2", "1", "1", "1", "1", "1", "1"],
    ),
}


def read(source: ByteSource) -> tuple[TrcRecording, list[PlainFrame]]:
    recording = TrcRecording(source)
    return recording, [one for block in recording.blocks() for one in plain_frames(block)]


@pytest.mark.parametrize("version", VERSIONS)
def test_every_version(version: str, in_memory: InMemory) -> None:
    text, channels = VERSIONS[version]
    assert looks_like(text.encode())
    recording, got = read(in_memory(text.encode()))
    assert recording.not_read() == ()
    assert [one.channel for one in got] == channels
    at = 1_841_000 if version == "1.0" else 1_841_200
    way = 0 if version == "1.0" else SENT
    assert got[0] == PlainFrame(at, 1, bytes(range(8)), 0, channels[0])
    assert got[1] == PlainFrame(1_842_000, 0x18FEF100, b"\xaa\xbb", EXTENDED | way, channels[1])
    if len(got) > 2:
        assert got[2] == PlainFrame(1_843_000, 0x100, b"", REMOTE, channels[2], 3)
    errors = [one for one in got if one.flags & ERROR]
    assert [one.time_us for one in errors] == (
        [1_845_000] if "Error" in text or " ER " in text else []
    )
    if version != "1.0":
        assert recording.started_us == from_iso("2026-05-14T06:00")
    if version == "2.1":
        switch, state = BITRATE_SWITCH, ERROR_STATE
        assert [one.flags for one in got[3:7]] == [
            EXTENDED | FD | switch,
            FD | switch | state,
            FD | state,
            FD,
        ]
        assert got[3].data == bytes(range(1, 13))


@pytest.mark.parametrize("version", VERSIONS)
def test_a_lost_header_does_not_lose_the_frames(version: str, in_memory: InMemory) -> None:
    text, channels = VERSIONS[version]
    bare = "".join(one for one in text.splitlines(keepends=True) if not one.startswith(";"))
    assert looks_like(bare.encode())
    _, got = read(in_memory(bare.encode()))
    assert [one.channel for one in got] == channels


def test_damaged_records_are_told_with_reason_and_place(in_memory: InMemory) -> None:
    head = VERSIONS["2.1"][0].split("  1  ")[0]
    usual = "  1  1841.200 DT 1 0001 Rx -  2    00 01\n"
    for line, reason in {
        "  2  1841.200 DT 1 0001 Rx -  8    00 01": "not as long as its length",
        "  2  1841.200 DT 1 0001 Rx -  2    00 0": "data cannot be read",
        "  2  1841.200 DT 1 0900 Rx -  1    00": "more than 11 bits",
        "  2  1841.200 DT 1 3FFFFFFF Rx -  1    00": "more than 29 bits",
        "  2  1841.200 QQ 1 0001 Rx -  1    00": "unknown type 'QQ'",
        "  2  1841.200 DT 1 0001 Rx": "file's columns",
        "nothing of the kind": "file's columns",
    }.items():
        recording, got = read(in_memory((head + usual + line + "\n" + usual).encode()))
        assert len(got) == 2, line
        (found,) = recording.not_read()
        assert reason in found.reason, line
        assert (found.line, found.count) == (5, 1), line


@pytest.mark.parametrize("version", ["1.1", "1.3", "2.0", "2.1"])
def test_python_can_reads_the_same(version: str, in_memory: InMemory, tmp_path: Path) -> None:
    text = VERSIONS[version][0]
    (tmp_path / "one.trc").write_text(text)
    with TRCReader(tmp_path / "one.trc") as theirs:
        wanted = [
            (one.arbitration_id, bytes(one.data), one.is_extended_id, one.is_remote_frame)
            for one in theirs
        ]
    _, got = read(in_memory(text.encode()))
    assert [
        (one.ident, one.data, bool(one.flags & EXTENDED), bool(one.flags & REMOTE))
        for one in got
        if not one.flags & ERROR
    ] == wanted
