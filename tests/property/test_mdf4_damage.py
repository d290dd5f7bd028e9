"""MDF 4 logs cut anywhere, or with a hole of zeros anywhere in their data: every frame whose bytes
survive comes back, in order and as it was, and the report says that something is missing."""

from __future__ import annotations

import random
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st
from tests.made_mdf4 import START_US, Made, made

from shearbolt.errors import RecordingError
from shearbolt.model.frames import (
    BITRATE_SWITCH,
    ERROR,
    EXTENDED,
    FD,
    REMOTE,
    SENT,
    PlainFrame,
    plain_frames,
)
from shearbolt.model.reading import NotRead
from shearbolt.recordings import open_recording

FORMS: dict[str, dict[str, Any]] = {
    "one block": {},
    "list of blocks": {"block_bytes": 700},
    "list of equal blocks": {"block_bytes": 700, "equal": True},
    "packed": {"packed": "deflate", "block_bytes": 1400},
    "packed and transposed": {"packed": "transposed", "block_bytes": 23 * 40},
    "data apart": {"variable": True},
    "unsorted": {"unsorted": True},
    "unsorted, list": {"unsorted": True, "block_bytes": 700},
    "unsorted, data apart": {"unsorted": True, "variable": True},
    "unsorted, data apart, list": {"unsorted": True, "variable": True, "block_bytes": 700},
    "unfinished": {"unfinished": True},
    "unfinished, unsorted": {"unsorted": True, "variable": True, "unfinished": True},
}
HOLE = 64
_FIRST_RECORDS = 200
"""Bytes of data left alone by holes: from them it is learnt how the recorder writes."""
_FOREVER = 1 << 40
KINDS = st.sampled_from(["eight bytes", "all kinds"])
damage = settings(max_examples=10, suppress_health_check=[HealthCheck.function_scoped_fixture])


def _frames(kind: str) -> list[PlainFrame]:
    """Make frames: plain ones of eight bytes, or of all kinds."""
    dice = random.Random(11)
    out, at = [], START_US + 5_000_000
    for i in range(160):
        at += dice.choice((100, 250, 10_000, 1_000_003))
        one = PlainFrame(at, 0x0CF0_0400 + i, dice.randbytes(8), EXTENDED, str(1 + i % 2))
        if kind == "all kinds" and i % 9 == 4:
            one = PlainFrame(at, 0x700 + i % 8, b"", REMOTE, "1", 2)
        elif kind == "all kinds" and i % 9 == 7:
            one = PlainFrame(at, 0, b"", ERROR, "2")
        elif kind == "all kinds" and i % 9 == 1:
            data = dice.randbytes(dice.choice((3, 12, 64)))
            one = PlainFrame(at, 0x123, data, FD | BITRATE_SWITCH | SENT, "2")
        out.append(one)
    return out


@cache
def _made(form: str, kind: str) -> Made:
    return made(_frames(kind), **FORMS[form])


def _read(path: Path, data: bytes) -> tuple[list[PlainFrame], tuple[NotRead, ...]]:
    path.write_bytes(data)
    recording = open_recording(path)
    got = [one for block in recording.blocks() for one in plain_frames(block)]
    return got, recording.not_read()


def _alive(log: Made, first: int, last: int) -> list[PlainFrame]:
    """Return the frames of which no byte lies in the damage."""
    return [
        one
        for one, places in zip(log.frames, log.places, strict=True)
        if not any(begin < last and end > first for begin, end in places)
    ]


def _hit(places: list[int], size: int, hole: int) -> bool:
    """Tell whether the hole touches one of the things of so many bytes."""
    return any(one < hole + HOLE and one + size > hole for one in places)


@pytest.mark.parametrize("kind", ["eight bytes", "all kinds"])
@pytest.mark.parametrize("form", FORMS)
def test_sound_ones_are_read_whole(form: str, kind: str, tmp_path: Path) -> None:
    log = _made(form, kind)
    got, lost = _read(tmp_path / "log", log.data)
    assert got == log.frames
    assert lost == ()


@pytest.mark.parametrize("form", FORMS)
@damage
@given(kind=KINDS, place=st.floats(0, 1, exclude_max=True))
def test_cut_anywhere(form: str, kind: str, place: float, tmp_path: Path) -> None:
    log = _made(form, kind)
    cut = log.data_at + int(place * (len(log.data) - log.data_at))
    alive = _alive(log, cut, _FOREVER)
    got: list[PlainFrame] = []
    lost: tuple[NotRead, ...] = ()
    said = "holds no frame"
    try:
        got, lost = _read(tmp_path / "log", log.data[:cut])
    except RecordingError as trouble:
        said = trouble.reason
    assert said.startswith("holds no frame")
    # The first frames of a packed block that is cut short come back as well.
    packed = "packed" in FORMS[form]
    assert [one for one in got if one in alive] == alive
    assert [one for one in log.frames if one in got] == got
    assert packed or got == alive
    if not FORMS[form].get("unfinished"):
        assert not got or lost
        assert all(one.byte is None or 0 < one.byte <= cut for one in lost)


@pytest.mark.parametrize("form", FORMS)
@damage
@given(kind=KINDS, place=st.floats(0, 1))
def test_a_hole_anywhere(form: str, kind: str, place: float, tmp_path: Path) -> None:
    log = _made(form, kind)
    first = log.data_at + _FIRST_RECORDS
    at = first + int(place * (len(log.data) - HOLE - first))
    # Where neither a list nor its own header names a block, nothing tells that it is one.
    assume(not (_hit(log.lists, 104, at) and _hit(log.blocks, 24, at)))
    data = log.data[:at] + bytes(HOLE) + log.data[at + HOLE :]
    alive = _alive(log, at, at + HOLE)
    touched = len(log.frames) - len(alive)
    got, lost = _read(tmp_path / "log", data)
    missing = [one for one in alive if one not in got]
    # Where data are found by their neighbour, a frame next to the hole may have none.
    neighbours = 2 if FORMS[form].get("unsorted") else 0
    assert len(missing) <= neighbours
    known = [one for one in got if one in log.frames]
    assert known == [one for one in log.frames if one in known]
    assert len(got) - len(known) <= (0 if "packed" in FORMS[form] else touched)
    # A hole inside a record may leave one that is like any other.
    whole = any(
        at <= begin and end <= at + HOLE for places in log.places for begin, end in places[-1:]
    )
    if whole or ("packed" in FORMS[form] and touched):
        assert lost
        assert all(one.byte is None or 0 < one.byte <= len(data) for one in lost)
