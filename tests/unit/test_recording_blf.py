"""Objects of .blf recordings, whole and damaged."""

from __future__ import annotations

import struct
import zlib
from collections.abc import Callable
from pathlib import Path

import pytest
from can.io.blf import BLFReader

from shearbolt.model.frames import (
    BITRATE_SWITCH,
    ERROR,
    EXTENDED,
    FD,
    REMOTE,
    SENT,
    PlainFrame,
    frames_from,
    plain_frames,
)
from shearbolt.model.instants import from_iso
from shearbolt.recordings.blf import BlfRecording
from shearbolt.recordings.recording import ByteSource
from shearbolt.recordings.writing import write_blf

InMemory = Callable[[bytes], ByteSource]
FILE_HEADER = struct.pack(
    "<4sLBBBBBBBBQQLL8H8H",
    *(b"LOGG", 144, 0, 0, 0, 0, 2, 6, 8, 1, 0, 0, 0, 0),
    *(2026, 5, 4, 14, 6, 12, 9, 413),
    *(0,) * 8,
).ljust(144, b"\0")


def thing(kind: int, body: bytes, time: int = 0, flags: int = 2, version: int = 1) -> bytes:
    """Make one object with its header."""
    head = struct.pack("<4sHHLL", b"LOBJ", 32, version, 32 + len(body), kind)
    rest = struct.pack("<LHHQ", flags, 0, 0, time)
    return head + rest + body + bytes(len(body) % 4)


def classic(ident: int, data: bytes, time: int, channel: int = 1, kind: int = 1) -> bytes:
    body = struct.pack("<HBBL8s", channel, 0, len(data), ident, data)
    # The second kind carries frame length and bit count behind the same fields.
    return thing(kind, body + (bytes(8) if kind == 86 else b""), time)


def container(data: bytes, method: int = 2) -> bytes:
    packed = zlib.compress(data) if method == 2 else data
    body = struct.pack("<H6xL4x", method, len(data)) + packed
    return struct.pack("<4sHHLL", b"LOBJ", 16, 1, 16 + len(body), 10) + body + bytes(len(body) % 4)


def read(source: ByteSource) -> tuple[BlfRecording, list[PlainFrame]]:
    recording = BlfRecording(source)
    return recording, [one for block in recording.blocks() for one in plain_frames(block)]


def test_every_kind_of_object(in_memory: InMemory) -> None:
    fd = struct.pack(
        "<HBBLLBBB5x64s", 2, 1, 9, 0x80000000 | 0x18FF0102, 0, 0, 3, 12, bytes(range(64))
    )
    data64 = bytes(range(20))
    fd64 = (
        struct.pack("<BBBBLLLLLLLHBBL", 1, 11, 20, 0, 0x300, 0, 0x1000, 0, 0, 0, 0, 0, 0, 0, 0)
        + data64
    )
    error = struct.pack("<HHLBBBxLLH2x8s", 2, 0, 0, 0, 0, 0, 0, 0, 0, b"")
    remote = struct.pack("<HBBL8s", 1, 0x80, 3, 0x80000000 | 0x18EAFFF9, b"")
    objects = b"".join(
        [
            classic(0x80000000 | 0x18FEF100, bytes(range(8)), 1_000_000),
            classic(0x7E8, b"\x03\x41\x05", 2_000_000, kind=86),
            thing(1, struct.pack("<HBBL8s", 1, 1, 1, 0x100, b"\x09"), 300, flags=1),
            thing(1, remote, 4_000_000),
            thing(73, error, 5_000_000),
            thing(100, fd, 6_000_400),
            thing(101, fd64, 7_000_600),
            thing(96, b"marker text", 8_000_000),
            classic(0x101, b"", 9_000_000),
        ]
    )
    recording, got = read(in_memory(FILE_HEADER + container(objects)))
    assert got == [
        PlainFrame(1000, 0x18FEF100, bytes(range(8)), EXTENDED, "1"),
        PlainFrame(2000, 0x7E8, b"\x03\x41\x05", 0, "1"),
        # Times in steps of ten microseconds.
        PlainFrame(3000, 0x100, b"\x09", SENT, "1"),
        PlainFrame(4000, 0x18EAFFF9, b"", EXTENDED | REMOTE, "1", 3),
        PlainFrame(5000, 0, b"", ERROR, "2"),
        PlainFrame(6000, 0x18FF0102, bytes(range(12)), EXTENDED | FD | BITRATE_SWITCH | SENT, "2"),
        PlainFrame(7001, 0x300, data64, FD, "1"),
        PlainFrame(9000, 0x101, b"", 0, "1"),
    ]
    assert recording.not_read() == ()
    assert recording.started_us == from_iso("2026-05-14T06:12:09.413")
    assert any("1 record of other kinds" in one for one in recording.doubts())


@pytest.mark.parametrize("method", [0, 2])
@pytest.mark.parametrize("step", [1, 7, 48, 100, 100_000])
def test_objects_run_over_containers(method: int, step: int, in_memory: InMemory) -> None:
    count = 20
    objects = b"".join(classic(0x100 + i, bytes([i] * 8), i * 1_000_000) for i in range(count))
    parts = [objects[at : at + step] for at in range(0, len(objects), step)]
    data = FILE_HEADER + b"".join(container(one, method) for one in parts)
    recording, got = read(in_memory(data))
    assert [one.ident for one in got] == [0x100 + i for i in range(count)]
    assert recording.not_read() == ()


def test_objects_without_containers(in_memory: InMemory) -> None:
    objects = b"".join(classic(0x100 + i, bytes([i] * 8), i * 1_000_000) for i in range(5))
    _, got = read(in_memory(FILE_HEADER + objects))
    assert [one.ident for one in got] == [0x100 + i for i in range(5)]


def test_a_damaged_container_costs_itself_alone(in_memory: InMemory) -> None:
    parts = [
        container(b"".join(classic(100 * n + i, bytes(8), i) for i in range(50))) for n in range(5)
    ]
    start = len(FILE_HEADER) + len(parts[0]) + len(parts[1])
    data = bytearray(FILE_HEADER + b"".join(parts))
    data[start + 60] ^= 0xFF
    recording, got = read(in_memory(bytes(data)))
    idents = [one.ident for one in got]
    for n in (0, 1, 3, 4):
        assert [one for one in idents if one // 100 == n] == [100 * n + i for i in range(50)]
    (found,) = [one for one in recording.not_read() if "container" in one.reason]
    assert found.byte == start


@pytest.mark.parametrize("at", [0, 4, 8, 12, 16])
def test_a_damaged_container_header_costs_itself_alone(at: int, in_memory: InMemory) -> None:
    parts = [
        container(b"".join(classic(100 * n + i, bytes(8), i) for i in range(50))) for n in range(5)
    ]
    start = len(FILE_HEADER) + len(parts[0]) + len(parts[1])
    data = bytearray(FILE_HEADER + b"".join(parts))
    for i in range(4):
        data[start + at + i] ^= 0x6F
    recording, got = read(in_memory(bytes(data)))
    idents = [one.ident for one in got]
    for n in (0, 1, 3, 4):
        assert [one for one in idents if one // 100 == n] == [100 * n + i for i in range(50)]
    assert recording.not_read()


def test_an_object_that_contradicts_itself_is_counted(in_memory: InMemory) -> None:
    good = classic(0x100, bytes(8), 1)
    bad = {
        "fields": classic(0x900, bytes(8), 1),
        "fields ": classic(0x100, bytes(8), 1 << 63),
        "header": thing(1, b"short"),
        "length": struct.pack("<4sHHLL", b"LOBJ", 32, 1, 4, 1),
        "bytes that belong to no record": b"\x01" * 40,
    }
    for reason, piece in bad.items():
        recording, got = read(in_memory(FILE_HEADER + container(good + piece + good)))
        assert len(got) == 2, reason
        assert any(reason.strip() in one.reason for one in recording.not_read()), reason


def test_a_file_shorter_than_it_says_is_told(in_memory: InMemory) -> None:
    header = bytearray(FILE_HEADER)
    struct.pack_into("<Q", header, 16, 99_999)
    recording, got = read(in_memory(bytes(header) + container(classic(0x100, bytes(8), 1))))
    assert len(got) == 1
    (found,) = recording.not_read()
    assert "shorter than its header says" in found.reason


def test_a_lost_signature_of_the_file_is_told(in_memory: InMemory) -> None:
    data = b"LAGG" + FILE_HEADER[4:] + container(classic(0x100, bytes(8), 1))
    recording, got = read(in_memory(data))
    assert len(got) == 1
    assert recording.started_us is None
    assert any("file header" in one.reason for one in recording.not_read())


def test_python_can_reads_the_same(in_memory: InMemory, tmp_path: Path) -> None:
    rows = [
        PlainFrame(1_777_700_000_000_000 + 997 * i, 0x18FE0000 + i, bytes([i % 256] * (i % 9)))
        for i in range(5000)
    ]
    path = tmp_path / "one.blf"
    write_blf(path, frames_from(rows), compression_level=0)
    with BLFReader(path) as theirs:
        wanted = [(one.arbitration_id, bytes(one.data)) for one in theirs]
    recording, got = read(in_memory(path.read_bytes()))
    assert [(one.ident, one.data) for one in got] == wanted
    assert recording.not_read() == ()
