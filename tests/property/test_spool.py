"""A spool cut at any byte, or with any tail zeroed, is read up to there: whole frames, in order."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shearbolt.errors import RecordingError
from shearbolt.kernels.candump_lines import candump_lines
from shearbolt.live.events import Event, event_line, read_events
from shearbolt.live.spool import recover
from shearbolt.model.frames import (
    ERROR,
    EXTENDED,
    FD,
    REMOTE,
    SENT,
    PlainFrame,
    frames_from,
    plain_frames,
)
from shearbolt.recordings import open_recording

START_US = 1_780_000_000_000_000


def frame(kind: int, number: int) -> PlainFrame:
    at_us = START_US + 1_000 * number
    data = (number * 2_654_435_761 & 0xFFFFFFFFFFFFFFFF).to_bytes(8, "little")
    if kind == 0:
        return PlainFrame(at_us, 0x18FEEE00 | number & 0xFF, data[: number % 9])
    if kind == 1:
        return PlainFrame(at_us, 0x7E8, data[:3], 0, "can1")
    if kind == 2:
        return PlainFrame(at_us, 0x88, b"", ERROR, length=8)
    if kind == 3:
        return PlainFrame(at_us, 0x18FEEE00, b"", EXTENDED | REMOTE, length=number % 9)
    if kind == 4:
        return PlainFrame(at_us, 0x18EA00F9, data[:3], EXTENDED | SENT)
    return PlainFrame(at_us, 0x18FEEE00, data * 2, EXTENDED | FD)


RECORDINGS = st.lists(st.integers(0, 5), min_size=1, max_size=40).map(
    lambda kinds: [frame(kind, i) for i, kind in enumerate(kinds)]
)


@pytest.fixture(scope="module")
def scratch(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("spool")


@given(rows=RECORDINGS, data=st.data())
def test_what_is_left_is_the_beginning_of_what_was_heard(
    scratch: Path, rows: list[PlainFrame], data: st.DataObject
) -> None:
    text = "".join(candump_lines(frames_from(rows))).encode()
    whole = plain_frames(frames_from(rows))
    cut = data.draw(st.integers(0, len(text)))
    zeros = data.draw(st.integers(0, 300))
    path = scratch / "cut.log"
    path.write_bytes(text[:cut] + bytes(zeros))
    ready = recover(path)
    kept = path.read_bytes()
    assert ready.size == len(kept)
    assert ready.cut == cut + zeros - len(kept)
    lines = text[:cut].count(b"\n")
    assert kept == b"".join(text.splitlines(keepends=True)[:lines])
    if not lines:
        return
    recording = open_recording(path)
    try:
        read = [row for block in recording.blocks() for row in plain_frames(block)]
    except RecordingError:
        raise AssertionError("a spool that holds frames was refused") from None
    assert recording.not_read() == ()
    assert [(row.time_us, row.ident, row.data, row.flags) for row in read] == [
        (row.time_us, row.ident, row.data, row.flags) for row in whole[:lines]
    ]


FIGURES = st.dictionaries(
    st.from_regex(r"[a-z_]{1,8}", fullmatch=True).filter(
        lambda name: name not in ("at_us", "what", "channel")
    ),
    st.one_of(st.none(), st.text(), st.integers()),
    max_size=4,
).map(lambda told: tuple(told.items()))
EVENTS = st.lists(
    st.builds(
        Event,
        st.integers(),
        st.sampled_from(["started", "gone", "back", "synced", "overrun"]),
        st.one_of(st.none(), st.text()),
        FIGURES,
    ),
    max_size=8,
)


@given(EVENTS, st.integers(0, 2_000), st.integers(0, 50))
def test_events_are_read_as_far_as_they_are_whole(
    events: list[Event], cut: int, zeros: int
) -> None:
    text = "".join(map(event_line, events)).encode()
    read = read_events(text[:cut] + bytes(zeros))
    lines = text[:cut].count(b"\n")
    assert list(read[:lines]) == events[:lines]
    # A last line may be whole although its end is missing.
    assert list(read) in (events[:lines], events[: lines + 1])


@given(st.binary(max_size=200))
def test_anything_at_all_is_survived(junk: bytes) -> None:
    for event in read_events(junk):
        assert read_events(event_line(event).encode()) == (event,)
