"""Grouping and decoding: one suite over every kernel, and the kernels against one another."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Sequence

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from shearbolt.kernels import (
    Decoded,
    Groups,
    Kernel,
    Layout,
    available,
    layout_table,
    payload_words,
    room_for,
    windows,
)
from shearbolt.model.frames import (
    ERROR,
    EXTENDED,
    REMOTE,
    SENT,
    PlainFrame,
    frames_from,
    word_of,
)
from shearbolt.model.signal import ERROR as IN_ERROR
from shearbolt.model.signal import NO_NUMBER, NOT_AVAILABLE, NUMBER

KERNELS = available()
NAN = float("nan")


@pytest.fixture(params=sorted(KERNELS))
def kernel(request: pytest.FixtureRequest) -> Kernel:
    return KERNELS[request.param]


def test_both_kernels_are_tested_where_the_compiled_one_was_built() -> None:
    assert "numpy" in KERNELS
    assert all(name == one.name for name, one in KERNELS.items())


def group_frames(rows: Sequence[PlainFrame], kernel: Kernel) -> Groups:
    return kernel.group(frames_from(rows, ("can0", "can1")))


def test_group(kernel: Kernel) -> None:
    groups = group_frames(
        [
            PlainFrame(10, 0x18FEF100, b"\1"),
            PlainFrame(20, 0x18EA00F9, b"\2"),  # PDU1: the destination is dropped
            PlainFrame(30, 0x0CFEF100, b"\3"),  # another priority
            PlainFrame(40, 0x18FEF100, b"\4", flags=EXTENDED | REMOTE),
            PlainFrame(50, 0x18FEF100, b"\5", channel="can1"),
            PlainFrame(60, 0x0000_0123, b"\6", flags=0),
            PlainFrame(70, 0x18EA21F9, b"\7"),
            PlainFrame(80, 0x1DEFFF00, b"\x08"),  # data page 1
            PlainFrame(90, 4, b"\x09", flags=ERROR),
            PlainFrame(95, 0x1BDA00F1, b"\x0a"),  # extended data page
        ],
        kernel,
    )
    assert groups.channel.tolist() == [0, 0, 0, 0, 1]
    assert groups.pgn.tolist() == [59904, 65265, 0x1EF00, 0x3DA00, 65265]
    assert groups.source.tolist() == [0xF9, 0, 0, 0xF1, 0]
    assert groups.start.tolist() == [0, 2, 4, 5, 6, 7]
    assert groups.order.tolist() == [1, 6, 0, 2, 7, 9, 4]
    assert groups.time_us.tolist() == [20, 70, 10, 30, 80, 95, 50]
    assert [w & 0xFF for w in groups.word.tolist()] == [2, 7, 1, 3, 8, 10, 5]


def test_group_of_nothing(kernel: Kernel) -> None:
    groups = group_frames([], kernel)
    assert (len(groups), groups.start.tolist(), len(groups.order)) == (0, [0], 0)


def test_group_with_as_many_groups_as_frames(kernel: Kernel) -> None:
    n = 70_000
    columns = room_for(n)
    columns.ident[:] = np.arange(n)[::-1] << 3
    columns.flags[:] = EXTENDED
    columns.channel[:] = 0
    columns.time_us[:] = np.arange(n)
    columns.word[:] = 0
    groups = kernel.group(columns)
    pdu1 = columns.ident & 0x03FF00FF
    assert len(groups) == len(np.unique(pdu1))
    assert sorted(groups.order.tolist()) == list(range(n))
    key = groups.pgn.astype(np.int64) << 8 | groups.source
    assert (np.diff(key) > 0).all()


@given(
    st.lists(
        st.tuples(
            st.integers(0, 2**29 - 1) | st.sampled_from([0x18FEF100, 0x18EA00F9]),
            st.sampled_from([0, EXTENDED, EXTENDED | REMOTE, ERROR, EXTENDED | SENT]),
            st.sampled_from(["can0", "can1"]),
            st.binary(max_size=8),
        ),
        max_size=40,
    )
)
def test_kernels_group_alike(rows: list[tuple[int, int, str, bytes]]) -> None:
    frames = [
        PlainFrame(i, ident, data, flags, channel)
        for i, (ident, flags, channel, data) in enumerate(rows)
    ]
    told = [
        [
            getattr(groups, name).tolist()
            for name in ("channel", "pgn", "source", "start", "order", "time_us", "word")
        ]
        for groups in (group_frames(frames, one) for one in KERNELS.values())
    ]
    assert all(one == told[0] for one in told)
    assert told[0][4] == [
        i
        for _, i in sorted(
            (groups_key(frame), i)
            for i, frame in enumerate(frames)
            if frame.flags & EXTENDED and not frame.flags & (REMOTE | ERROR)
        )
    ]


def groups_key(frame: PlainFrame) -> tuple[str, int, int]:
    """Group number by the rule of SAE J1939-21 5.2, written a second time."""
    pgn = frame.ident >> 8 & 0x3FFFF
    if (pgn >> 8 & 0xFF) < 240:
        pgn &= 0x3FF00
    return frame.channel, pgn, frame.ident & 0xFF


def decode(kernel: Kernel, words: Sequence[int], *layouts: Layout) -> Decoded:
    return kernel.decode(np.array(words, np.uint64), layout_table(layouts))


SPEED = Layout(24, 16, 0.125, 0.0, 0xFAFF, 0xFE00, 0xFEFF, 0xFF00)
"""Engine speed, SPN 190 in EEC1 (SAE J1939-71 5.3.7), ranges by 5.1.4 table 1."""


def test_decode_engine_speed(kernel: Kernel) -> None:
    """0xFFFF is 'not available', not 8191.875 1/min (SAE J1939-71)."""
    words = [
        word_of(bytes.fromhex(text))
        for text in (
            "FFFFFF6813FFFFFF",  # 0x1368 = 4968: 621 1/min
            "FFFFFFFFFAFFFFFF",  # highest number
            "FFFFFF00FBFFFFFF",  # parameter specific
            "FFFFFF00FEFFFFFF",  # error
            "FFFFFFFFFFFFFFFF",
            "FFFF",  # a short frame
        )
    ]
    decoded = decode(kernel, words, SPEED)
    np.testing.assert_array_equal(decoded.value, [[621.0, 8031.875, NAN, NAN, NAN, NAN]])
    assert decoded.status.tolist() == [
        [NUMBER, NUMBER, NO_NUMBER, IN_ERROR, NOT_AVAILABLE, NOT_AVAILABLE]
    ]
    assert decoded.counts.tolist() == [[2, 2, 1, 1]]
    assert (decoded.low.tolist(), decoded.high.tolist()) == ([621.0], [8031.875])


def test_decode_negative_step_wide_and_empty(kernel: Kernel) -> None:
    none = Layout(0, 8, 1.0, 0.0, -1, 1, 0, 256)
    back = Layout(0, 8, -2.0, 10.0, 250, 254, 254, 255)
    whole = Layout(0, 64, 1.0, 0.0, 2**64 - 1, 1, 0, 2**64)
    decoded = decode(kernel, [0, 250, 255, 2**64 - 1], none, back, whole)
    np.testing.assert_array_equal(
        decoded.value,
        [[NAN] * 4, [10.0, -490.0, NAN, NAN], [0.0, 250.0, 255.0, float(2**64)]],
    )
    assert decoded.counts.tolist() == [[0, 0, 0, 4], [2, 2, 0, 0], [4, 0, 0, 0]]
    np.testing.assert_array_equal(decoded.low, [NAN, -490.0, 0.0])
    np.testing.assert_array_equal(decoded.high, [NAN, 10.0, float(2**64)])
    empty = decode(kernel, [], SPEED)
    assert empty.value.shape == (1, 0)
    assert empty.counts.tolist() == [[0, 0, 0, 0]]
    assert np.isnan(empty.low).all()


def test_decode_takes_every_second_word(kernel: Kernel) -> None:
    words = np.arange(20, dtype=np.uint64)[::2]
    layout = Layout(0, 8, 1.0, 0.0, 250, 254, 254, 255)
    assert kernel.decode(words, layout_table([layout])).value.tolist() == [list(range(0, 20, 2))]


@pytest.mark.parametrize(
    "layout",
    [
        Layout(60, 8, 1.0, 0.0, 250, 254, 254, 255),
        Layout(0, 0, 1.0, 0.0, 250, 254, 254, 255),
        Layout(-1, 8, 1.0, 0.0, 250, 254, 254, 255),
        Layout(0, 8, NAN, 0.0, 250, 254, 254, 255),
        Layout(0, 8, 1.0, float("inf"), 250, 254, 254, 255),
    ],
)
def test_layouts_are_checked(layout: Layout) -> None:
    with pytest.raises(ValueError, match=r"leave the word|no number"):
        layout_table([layout])


@st.composite
def layouts(draw: st.DrawFn) -> Layout:
    bits = draw(st.integers(1, 64))
    limit = st.integers(-1, 2**bits)
    number = st.floats(-1e9, 1e9)
    return Layout(
        draw(st.integers(0, 64 - bits)),
        bits,
        draw(number | st.sampled_from([0.125, 0.03125, 1 / 128, 0.0])),
        draw(number | st.sampled_from([0.0, -273.0, -40.0])),
        draw(limit),
        draw(limit),
        draw(limit),
        draw(limit),
        tuple(draw(st.lists(st.integers(0, 140), max_size=3))),
    )


@given(
    st.lists(st.integers(0, 2**64 - 1) | st.sampled_from([0, 2**64 - 1]), max_size=30),
    st.integers(1, 50),
    st.lists(layouts(), min_size=1, max_size=4),
)
def test_kernels_decode_alike(words: list[int], times: int, some: list[Layout]) -> None:
    told = [decode(one, words * times, *some) for one in KERNELS.values()]
    for one in told:
        for name in ("value", "status", "counts", "low", "high"):
            left, right = getattr(one, name), getattr(told[0], name)
            assert left.tobytes() == right.tobytes() or name != "status"
            np.testing.assert_array_equal(left, right)
    for layout, values, statuses in zip(some, told[0].value, told[0].status, strict=True):
        for word, value, status in zip(words, values.tolist(), statuses.tolist(), strict=False):
            raw = word >> layout.first_bit & 2**layout.bits - 1
            if layout.error_low <= raw <= layout.error_high:
                assert status == IN_ERROR
            elif raw >= layout.absent_low:
                assert status == NOT_AVAILABLE
            elif raw <= layout.number_top and raw not in layout.reserved:
                assert (status, value) == (NUMBER, float(raw) * layout.resolution + layout.offset)
            else:
                assert status == NO_NUMBER


def test_decode_states_with_holes(kernel: Kernel) -> None:
    """Reserved codes below the last state are no numbers; an error code may lie among them."""
    holes = Layout(0, 4, 1.0, 0.0, 12, 5, 5, 15, (10, 11))
    high = Layout(0, 7, 1.0, 0.0, 120, 1, 0, 127, (0, 63, 64, 119))
    decoded = decode(kernel, list(range(16)), holes)
    numbers = [float(i) for i in range(16) if i not in (5, 10, 11, 13, 14, 15)]
    assert decoded.value[~np.isnan(decoded.value)].tolist() == numbers
    assert decoded.status[0, [5, 10, 13, 15]].tolist() == [
        IN_ERROR,
        NO_NUMBER,
        NO_NUMBER,
        NOT_AVAILABLE,
    ]
    assert (decoded.low.tolist(), decoded.high.tolist()) == ([0.0], [12.0])
    (status,) = decode(kernel, list(range(128)), high).status.tolist()
    assert [i for i, state in enumerate(status) if state == NUMBER] == [
        i for i in range(121) if i not in (0, 63, 64, 119)
    ]
    wide = Layout(0, 16, 1.0, 0.0, 0xFAFF, 0xFE00, 0xFEFF, 0xFF00, (3, 300))
    decoded = decode(kernel, [3, 4, 300, 301], high, wide)
    assert decoded.status[1].tolist() == [NO_NUMBER, NUMBER, NO_NUMBER, NUMBER]
    assert decoded.counts[1].tolist() == [2, 0, 0, 2]
    assert (decoded.low[1], decoded.high[1]) == (4.0, 301.0)


def test_payload_words_are_packed_like_frames() -> None:
    payloads = [bytes(range(20)), b"", b"\1\2\3", bytes(9)]
    for first in (0, 2, 15):
        wanted = [word_of(one[first:]) for one in payloads]
        assert payload_words(payloads, first).tolist() == wanted
    assert len(payload_words([], 0)) == 0


@given(st.lists(st.tuples(st.integers(0, 400), st.integers(1, 64)), max_size=20))
def test_windows_hold_every_field_that_fits_a_word(fields: list[tuple[int, int]]) -> None:
    found = windows(fields)
    placed = sorted(i for _, some in found for i in some)
    assert placed == [i for i, (first, bits) in enumerate(fields) if first % 8 + bits <= 64]
    for first_byte, some in found:
        for first, bits in (fields[i] for i in some):
            assert first_byte * 8 <= first
            assert first + bits <= first_byte * 8 + 64


def test_environment_chooses_the_twin_and_the_package_needs_no_numpy() -> None:
    code = (
        "import sys, shearbolt; assert 'numpy' not in sys.modules;"
        "from shearbolt.kernels import best; print(best().name)"
    )
    for wish, wanted in (("numpy", "numpy"), ("", max(KERNELS, key="compiled".__eq__))):
        told = subprocess.run(
            [sys.executable, "-c", code],
            env={**os.environ, "SHEARBOLT_KERNELS": wish},
            capture_output=True,
            text=True,
            check=True,
        )
        assert told.stdout.strip() == wanted


@pytest.mark.parametrize(("senders", "channels"), [(70_000, 1), (500, 200), (500, 60)])
def test_kernels_group_alike_with_many_senders(senders: int, channels: int) -> None:
    rng = np.random.default_rng(senders + channels)
    columns = room_for(2 * senders)
    columns.time_us[:] = np.arange(2 * senders)
    columns.ident[:] = rng.integers(0, 1 << 26, senders).repeat(2)
    columns.flags[:] = EXTENDED
    columns.channel[:] = rng.integers(0, channels, 2 * senders)
    columns.word[:] = rng.integers(0, 1 << 63, 2 * senders)
    first, *others = (kernel.group(columns) for kernel in KERNELS.values())
    for other in others:
        for name in ("channel", "pgn", "source", "start", "order", "time_us", "word"):
            assert (getattr(first, name) == getattr(other, name)).all()
            assert getattr(first, name).dtype == getattr(other, name).dtype
