from __future__ import annotations

import tempfile
import types
from collections.abc import Iterator
from dataclasses import fields, is_dataclass, replace
from pathlib import Path
from typing import Any, Literal, Union, get_args, get_origin, get_type_hints

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from tests.book_samples import new_visit

import shearbolt.book.signals as signals
from shearbolt.book import Book
from shearbolt.model.controller import Name
from shearbolt.model.frames import Frames, PlainFrame, frames_from, plain_frames
from shearbolt.model.message import Carried, Message
from shearbolt.model.reading import TimeBase
from shearbolt.model.visit import VisitContent

_I64 = st.integers(-(2**63), 2**63 - 1)


def anything(kind: Any) -> st.SearchStrategy[Any]:
    """Build any value of a type as the model's annotations write it."""
    if kind is int:
        return _I64
    if kind is float:
        return st.floats(allow_nan=False)
    if kind is str:
        return st.text(max_size=5)
    if kind is bool:
        return st.booleans()
    if kind is types.NoneType:
        return st.none()
    if kind is Name:
        return st.integers(0, 2**64 - 1).map(Name)
    if kind is TimeBase:
        return st.sampled_from(TimeBase)
    origin, arguments = get_origin(kind), get_args(kind)
    if origin is Literal:
        return st.sampled_from(arguments)
    if origin in (Union, types.UnionType):
        return st.one_of(*[anything(one) for one in arguments])
    if origin is tuple and arguments[1:] == (...,):
        return st.lists(anything(arguments[0]), max_size=2).map(tuple)
    if origin is tuple:
        return st.tuples(*[anything(one) for one in arguments])
    assert isinstance(kind, type)
    assert is_dataclass(kind)
    hints = get_type_hints(kind)
    parts = {one.name: anything(hints[one.name]) for one in fields(kind)}
    return st.builds(kind, **parts)


@pytest.fixture(scope="module")
def book() -> Iterator[Book]:
    with tempfile.TemporaryDirectory() as folder, Book.open(folder) as book:
        yield book


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(anything(VisitContent))
def test_any_content_comes_back_as_it_was(book: Book, content: VisitContent) -> None:
    # Of the times, only those that SQLite's integers hold once they are added up.
    content = replace(content, earliest_us=0, latest_us=1)
    with book.writing() as w:
        machine = w.add_machine("M", name_given=True, now_us=0)
        visit = w.file(None, new_visit(machine.id, content))
        assert w.visit_content(visit.id) == content
    assert book.visit_content(visit.id) == content


@st.composite
def plain(draw: st.DrawFn) -> PlainFrame:
    flags = draw(st.integers(0, 127))
    extended = flags & 1
    remote = flags & 2
    data = b"" if remote else draw(st.binary(max_size=64 if flags & 8 else 8))
    return PlainFrame(
        draw(st.integers(-(2**40), 2**52)),
        draw(st.integers(0, 2**29 - 1 if extended else 2**11 - 1)),
        data,
        flags & ~6 | remote,
        draw(st.sampled_from(["can0", "can1", "x"])),
        8 if remote else None,
    )


@settings(max_examples=50, deadline=None)
@given(
    st.lists(st.lists(plain(), max_size=12), max_size=5),
    st.integers(1, 20),
    st.none() | st.lists(st.integers(0, 0x3FFFF), max_size=3),
    st.none() | st.lists(st.integers(0, 255), max_size=3),
)
def test_any_frames_come_back_by_group_and_source(
    rows: list[list[PlainFrame]], part: int, pgns: list[int] | None, sources: list[int] | None
) -> None:
    channels = ("can0", "can1", "x")
    blocks = [frames_from(block, channels) for block in rows]
    whole = [frame for block in blocks for frame in plain_frames(block)]
    data_frames = [one for one in whole if one.flags & 1 and not one.flags & 6]
    if pgns is not None and data_frames:
        pgns = [*pgns, group_of(data_frames[0].ident)]
    with tempfile.TemporaryDirectory() as folder, pytest.MonkeyPatch.context() as patched:
        patched.setattr(signals, "PART_FRAMES", part)
        writer = signals.SignalsWriter(Path(folder))
        for block in blocks:
            writer.frames(block)
        writer.finish()
        assert writer.rows == len(whole)
        for one in writer.parts:
            assert signals.verify_part(Path(folder), one) is None
        assert whole == rows_of(signals.read_frames(Path(folder), channels))
        wanted = [
            one
            for one in (whole if pgns is None and sources is None else data_frames)
            if (pgns is None or group_of(one.ident) in pgns)
            and (sources is None or one.ident & 0xFF in sources)
        ]
        assert rows_of(signals.read_frames(Path(folder), channels, pgns, sources)) == wanted


def rows_of(frames: Frames) -> list[PlainFrame]:
    assert frames.long_data.start[0] == 0
    return plain_frames(frames)


def group_of(ident: int) -> int:
    """Parameter group number of a 29-bit identifier (SAE J1939-21 5.2)."""
    data_page, pdu_format, pdu_specific = ident >> 24 & 3, ident >> 16 & 0xFF, ident >> 8 & 0xFF
    return data_page << 16 | pdu_format << 8 | (pdu_specific if pdu_format >= 240 else 0)


_message = st.builds(
    Message,
    _I64, _I64,
    st.integers(0, 255), st.integers(0, 255), st.integers(0, 255), st.integers(0, 0x3FFFF),
    st.binary(max_size=40),
    st.sampled_from(Carried),
)  # fmt: skip


@settings(max_examples=25, deadline=None)
@given(st.lists(_message, max_size=6), st.lists(_message, max_size=3))
def test_any_messages_come_back_in_order(first: list[Message], second: list[Message]) -> None:
    with tempfile.TemporaryDirectory() as folder:
        writer = signals.SignalsWriter(Path(folder))
        writer.messages(first)
        if first:
            writer._flush_messages()
        writer.messages(second)
        writer.finish()
        assert signals.read_messages(Path(folder)) == first + second
        for one in first[:1]:
            assert signals.read_messages(Path(folder), [one.pgn]) == [
                other for other in first + second if other.pgn == one.pgn
            ]
