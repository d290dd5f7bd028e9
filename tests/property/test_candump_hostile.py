"""Damaged candump text: nothing raises but the two known errors, whole lines stay whole."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shearbolt.errors import EmptyRecording, ForeignRecording
from shearbolt.model.frames import PlainFrame, plain_frames
from shearbolt.recordings import candump
from shearbolt.recordings.candump import CandumpRecording
from shearbolt.recordings.candump_line import LineFrame, NoFrame, read_line
from shearbolt.recordings.recording import ByteSource

LINES = [
    b"(1436509052.249713) can0 18FEF100#FFFFFF0102030405",
    b"(1436509052.249714) can1 123##3AABB",
    b"(1436509052.249715) can0 20000004#0004000000000000",
    b"(1436509052.249716) can0 123#R3",
    b" (000.005001)  can0  18FCF200   [8]  E1 FF FF FF FF FF FF FF",
    b" (000.005001)  can0  18FCF200   [3]  41 42 43   'ABC'",
    b" (2026-05-14 06:12:09.413022)  can0  TX B -  123   [02]  00 11",
    b"  can0  123   [0] ",
    b"",
    b"# comment",
]


def read(data: bytes, in_memory: Callable[[bytes], ByteSource]) -> tuple[list[PlainFrame], int]:
    """Read all frames, and count what could not be read."""
    try:
        recording = CandumpRecording(in_memory(data))
        frames = [frame for block in recording.blocks() for frame in plain_frames(block)]
    except (EmptyRecording, ForeignRecording):
        return [], -1
    return frames, sum(one.count for one in recording.not_read())


@pytest.fixture(autouse=True, scope="module")
def small_chunks() -> object:
    """Make stretches and blocks so small that lines lie across their borders."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(candump, "CHUNK_BYTES", 61)
        patch.setattr(candump, "BLOCK_FRAMES", 3)
        yield patch


@given(st.lists(st.sampled_from(LINES), max_size=12), st.data())
def test_flipped_bytes_harm_only_their_own_line(
    in_memory: Callable[[bytes], ByteSource], lines: list[bytes], data: st.DataObject
) -> None:
    whole = b"".join(line + b"\n" for line in lines)
    clean, _ = read(whole, in_memory)
    if not clean:
        return
    at = data.draw(st.integers(0, len(whole) - 1))
    bit = data.draw(st.integers(0, 7))
    damaged = bytearray(whole)
    damaged[at] ^= 1 << bit
    got, missing = read(bytes(damaged), in_memory)
    # One line, or two where a line end was hit.
    assert missing == -1 or len(clean) - 2 <= len(got) <= len(clean) + 1
    hit = whole.count(b"\n", 0, at)
    before = [frame for frame, line in zip(framed(clean, lines), lines, strict=True)][:hit]
    kept = [frame for frame in before if frame is not None]
    assert missing == -1 or [one.data for one in got[: len(kept)]] == [one.data for one in kept]


def framed(clean: list[PlainFrame], lines: list[bytes]) -> list[PlainFrame | None]:
    """Pair every line with its frame."""
    rest = iter(clean)
    return [next(rest) if isinstance(read_line(line), LineFrame) else None for line in lines]


@given(st.lists(st.sampled_from(LINES), min_size=1, max_size=8), st.integers(0, 500))
def test_a_cut_file_gives_all_whole_lines(
    in_memory: Callable[[bytes], ByteSource], lines: list[bytes], at: int
) -> None:
    whole = b"".join(line + b"\n" for line in lines)[:at]
    wanted = sum(isinstance(read_line(line), LineFrame) for line in whole.split(b"\n")[:-1])
    got, missing = read(whole, in_memory)
    assert wanted <= len(got) <= wanted + 1
    assert missing <= 1


@given(
    st.binary(max_size=600)
    | st.text("()#[] \n\r\t0123456789ABCDEFRTX'`.-:{}", max_size=600).map(str.encode)
)
def test_any_bytes(in_memory: Callable[[bytes], ByteSource], data: bytes) -> None:
    frames, missing = read(data, in_memory)
    assert bool(frames) == (missing >= 0)


@given(st.binary(max_size=120))
def test_any_line(line: bytes) -> None:
    assert isinstance(read_line(line), LineFrame | NoFrame)


@given(st.lists(st.sampled_from(LINES), max_size=20), st.integers(1, 300), st.integers(1, 9))
def test_borders_of_chunks_and_blocks_change_nothing(
    in_memory: Callable[[bytes], ByteSource], lines: list[bytes], chunk: int, block: int
) -> None:
    whole = b"\n".join(lines)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(candump, "CHUNK_BYTES", 1 << 20)
        patch.setattr(candump, "BLOCK_FRAMES", 1 << 10)
        wanted = read(whole, in_memory)
        patch.setattr(candump, "CHUNK_BYTES", chunk)
        patch.setattr(candump, "BLOCK_FRAMES", block)
        assert read(whole, in_memory) == wanted
