"""Whatever happens to the bytes of a recording: no reader raises anything but one sentence, and
none invents frames out of all proportion."""

from __future__ import annotations

import gzip
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
import zstandard
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from shearbolt.errors import ColumnsNeeded, RecordingError
from shearbolt.model.frames import EXTENDED, NOT_DATA, Frames, PlainFrame, frames_from, plain_frames
from shearbolt.recordings import open_recording
from shearbolt.recordings.writing import (
    write_asc,
    write_blf,
    write_candump,
    write_mdf4,
    write_pycan_csv,
    write_trc,
)

COUNT = 40


def _table(path: Path, frames: Frames) -> None:
    lines = ["time,id,dlc,data"] + [
        f"{one.time_us / 1e6:.6f},{one.ident:08X},{len(one.data)},{one.data.hex(' ')}"
        for one in plain_frames(frames)
    ]
    path.write_text("\n".join(lines) + "\n")


def _pgn_table(path: Path, frames: Frames) -> None:
    lines = [",time,pgn,priority,source,destination,data"] + [
        f"{i},{one.time_us / 1e3:.1f},{one.ident >> 8 & 0x3FF00},6,{one.ident & 255},255,"
        f"{one.data.hex(' ')}"
        for i, one in enumerate(plain_frames(frames))
    ]
    path.write_text("\n".join(lines) + "\n")


def _small_blf(path: Path, frames: Frames) -> None:
    write_blf(path, frames, max_container_size=500)


WRITERS: dict[str, Callable[[Path, Frames], None]] = {
    "candump": write_candump,
    "asc": write_asc,
    "blf": _small_blf,
    "trc": write_trc,
    "csv": write_pycan_csv,
    "table": _table,
    "pgn table": _pgn_table,
    "mdf4": write_mdf4,
}


@pytest.fixture(scope="module")
def sound(tmp_path_factory: pytest.TempPathFactory) -> dict[str, bytes]:
    """One sound recording of each kind."""
    folder = tmp_path_factory.mktemp("sound")
    rows = [
        PlainFrame(1_000_000 + 10_000 * i, 0x0CF00400 + i, bytes(range(i, i + 8)), EXTENDED)
        for i in range(COUNT)
    ]
    out = {}
    for kind, write in WRITERS.items():
        write(folder / "one", frames_from(rows))
        out[kind] = (folder / "one").read_bytes()
    return out


def check(path: Path, data: bytes) -> int:
    """Read bytes as a recording; return how many frames came, each of them well-formed."""
    path.write_bytes(data)
    count = 0
    said = "nothing"
    try:
        recording = open_recording(path)
        for block in recording.blocks():
            count += len(block)
            extended = (block.flags & EXTENDED) != 0
            data_frames = (block.flags & NOT_DATA) == 0
            limit = np.where(extended, 0x1FFFFFFF, 0x7FF)
            assert np.all(block.ident[data_frames] <= limit[data_frames])
            assert np.all(block.length <= 64)
            assert np.all(block.channel < max(len(block.channels), 1))
            assert len(block.long_data.start) == len(block.long_data.row) + 1
            plain_frames(block)
        assert all(one.count > 0 and one.reason for one in recording.not_read())
        recording.doubts()
    except (RecordingError, ColumnsNeeded) as trouble:
        said = trouble.sentence
    assert said.strip()
    assert "\n" not in said
    return count


FLIPS = st.lists(st.tuples(st.integers(0, 1 << 20), st.integers(1, 255)), min_size=1, max_size=6)
hostile = settings(max_examples=20, suppress_health_check=[HealthCheck.function_scoped_fixture])
KINDS = pytest.mark.parametrize("kind", [one for one in WRITERS if one != "mdf4"])


def _flipped(data: bytes, flips: list[tuple[int, int]]) -> bytes:
    out = bytearray(data)
    for at, mask in flips:
        out[at % len(out)] ^= mask
    return bytes(out)


@KINDS
@hostile
@given(flips=FLIPS)
def test_flipped_bits(
    kind: str, flips: list[tuple[int, int]], sound: dict[str, bytes], tmp_path: Path
) -> None:
    assert check(tmp_path / "one", _flipped(sound[kind], flips)) <= COUNT + len(flips)


@KINDS
@hostile
@given(cut=st.integers(0, 1 << 20), glued=st.binary(max_size=60))
def test_cut_and_glued(
    kind: str, cut: int, glued: bytes, sound: dict[str, bytes], tmp_path: Path
) -> None:
    data = sound[kind]
    at = cut % len(data)
    check(tmp_path / "one", data[:at] + glued + data[at + len(glued) // 2 :])


@pytest.mark.parametrize("packing", ["gzip", "zstd"])
@hostile
@given(flips=FLIPS, cut=st.integers(1, 1 << 20), parts=st.integers(1, 4))
def test_flipped_bits_of_packed_files(
    packing: str,
    flips: list[tuple[int, int]],
    cut: int,
    parts: int,
    sound: dict[str, bytes],
    tmp_path: Path,
) -> None:
    whole = sound["candump"]
    pack = gzip.compress if packing == "gzip" else zstandard.ZstdCompressor().compress
    step = len(whole) // parts + 1
    data = b"".join(pack(whole[at : at + step]) for at in range(0, len(whole), step))
    check(tmp_path / "one", _flipped(data, flips)[: max(cut % len(data), 1)])
    check(tmp_path / "one", _flipped(data, flips))


@settings(max_examples=20, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(flips=FLIPS, cut=st.one_of(st.none(), st.integers(1, 1 << 20)))
def test_damaged_mdf4(
    flips: list[tuple[int, int]], cut: int | None, sound: dict[str, bytes], tmp_path: Path
) -> None:
    data = _flipped(sound["mdf4"], flips)
    check(tmp_path / "one", data if cut is None else data[: max(cut % len(data), 1)])


@hostile
@given(data=st.binary(max_size=400))
def test_any_bytes_at_all(data: bytes, tmp_path: Path) -> None:
    for head in (b"", b"LOGG", b"\x1f\x8b\x08\0", b"\x28\xb5\x2f\xfd", b"MDF     4.10    "):
        check(tmp_path / "one", head + data)


LINES = st.text(alphabet="0123456789ABCDEFabcdefxRTr d.,;:#()[]-+\t\"'", min_size=0, max_size=60)


@pytest.mark.parametrize("kind", [one for one in WRITERS if one not in ("mdf4", "blf")])
@hostile
@given(lines=st.lists(LINES, max_size=8), place=st.integers(0, 100))
def test_strange_lines_between(
    kind: str, lines: list[str], place: int, sound: dict[str, bytes], tmp_path: Path
) -> None:
    own = sound[kind].splitlines(keepends=True)
    at = max(place % len(own), len(own) - COUNT + 1)
    strange = "\n".join(lines).encode() + b"\n"
    got = check(tmp_path / "one", b"".join(own[:at]) + strange + b"".join(own[at:]))
    assert got >= COUNT
