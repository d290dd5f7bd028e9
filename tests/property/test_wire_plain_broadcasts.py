"""Broadcasts taken in bulk: the same events, at the same frames, as taken one by one."""

from __future__ import annotations

from itertools import pairwise, product
from random import Random
from typing import TypeAlias

import numpy as np
import pytest
from hypothesis import event, given, settings
from hypothesis import strategies as st

from shearbolt.model.frames import I64, U8, U32, U64
from shearbolt.model.message import BrokenSession, Carried, Message
from shearbolt.wire.identifier import destination_of, pgn_of
from shearbolt.wire.transport import Reassembler

Frame: TypeAlias = tuple[int, int, bytes]
"""Channel, identifier, data."""
Heard: TypeAlias = Message | BrokenSession
CM, DT, LONG_CM = 0xEC, 0xEB, 0xC8
GROUP = bytes.fromhex("CAFE00")


def frame(form: int, destination: int, source: int, data: bytes, channel: int = 0) -> Frame:
    return channel, 7 << 26 | form << 16 | destination << 8 | source, data


def broadcast(source: int, size: int, filler: int, channel: int = 0) -> list[Frame]:
    packets = -(-size // 7)
    announced = bytes([32, size & 0xFF, size >> 8, packets, 255]) + GROUP
    return [frame(CM, 255, source, announced, channel)] + [
        frame(DT, 255, source, bytes([at]) + bytes([filler + at & 0xFF]) * 7, channel)
        for at in range(1, packets + 1)
    ]


SOURCES = st.sampled_from([0, 0, 1, 255])
# Aborts, clearances, ends, requests, announcements that add up or do not, packets.
ODD = [
    bytes.fromhex("FF01 FFFF FF") + GROUP,
    bytes.fromhex("1102 01FF FF") + GROUP,
    bytes.fromhex("1309 0002 FF") + GROUP,
    bytes.fromhex("1009 0002 FF") + GROUP,
    bytes.fromhex("2009 0002 FF") + GROUP,
    bytes.fromhex("2009 0003 FF") + GROUP,
    bytes.fromhex("2000 0700 FF") + GROUP,
    bytes.fromhex("2009 0002 FFCA FEFF"),
    bytes.fromhex("0141 4141 4141 4141"),
    bytes.fromhex("0242 4242 4242 4242"),
]
SINGLE = st.builds(
    frame,
    st.sampled_from([CM, DT, LONG_CM]),
    st.sampled_from([0, 1, 255, 255]),
    SOURCES,
    st.one_of(
        st.sampled_from(ODD),
        st.binary(max_size=8),
    ),
    st.sampled_from([0, 0, 1]),
)


@st.composite
def traffic(draw: st.DrawFn) -> list[Frame]:
    """Draw several broadcasts and odd frames, mixed; most of each broadcast stays in order."""
    lone = st.builds(
        broadcast, SOURCES, st.integers(9, 30), st.integers(0, 255), st.sampled_from([0, 0, 1])
    )
    queues = [one[::-1] for one in draw(st.lists(lone, max_size=5))]
    if draw(st.booleans()):
        # Whole, one after the other: how a healthy bus looks.
        return [one for queue in queues for one in reversed(queue)]
    odd = draw(st.lists(SINGLE, max_size=4))
    mixed: list[Frame] = []
    random = Random(draw(st.integers(0, 1 << 32)))
    while queues:
        queue = random.choice(queues)
        for _ in range(random.randrange(1, 6)):
            if queue and random.random() > 0.03:
                mixed.append(queue.pop())
        if odd and random.random() < 0.4:
            mixed.append(odd.pop())
        queues = [one for one in queues if one]
        if len(mixed) > 200:
            break
    return mixed


def columns(frames: list[Frame], times: list[int]) -> tuple[I64, U8, U32, U8, U64]:
    return (
        np.array(times, np.int64),
        np.array([channel for channel, _, _ in frames], np.uint8),
        np.array([ident for _, ident, _ in frames], np.uint32),
        np.array([len(data) for _, _, data in frames], np.uint8),
        np.array(
            [int.from_bytes(data.ljust(8, b"\xff"), "little") for _, _, data in frames], np.uint64
        ),
    )


def one_by_one(
    reassembler: Reassembler, frames: list[Frame], times: list[int]
) -> list[tuple[int, Heard]]:
    return [
        (row, one)
        for row, (channel, ident, data) in enumerate(frames)
        for one in reassembler.feed(
            times[row], channel, ident & 0xFF, destination_of(ident), pgn_of(ident), data
        )
    ]


def in_bulk(
    reassembler: Reassembler, frames: list[Frame], times: list[int]
) -> list[tuple[int, Heard]]:
    rows: list[int] = []
    heard = reassembler.feed_many(*columns(frames, times), rows)
    return list(zip(rows, heard, strict=True))


@pytest.mark.parametrize("data", ODD, ids=lambda data: data.hex())
def test_one_odd_frame_anywhere(data: bytes) -> None:
    whole = [*broadcast(1, 16, 7), *broadcast(1, 16, 9), *broadcast(0, 9, 0)]
    times = [50_000 * at for at in range(len(whole) + 1)]
    for form, to, source, channel in product((CM, DT, LONG_CM), (0, 1, 255), (0, 1, 255), (0, 1)):
        odd = frame(form, to, source, data, channel)
        for at in range(len(whole) + 1):
            frames = [*whole[:at], odd, *whole[at:]]
            single, bulk = Reassembler(), Reassembler()
            assert in_bulk(bulk, frames, times) == one_by_one(single, frames, times)
            assert bulk.finish() == single.finish()


@given(
    traffic(),
    st.lists(st.sampled_from([0, 1000, 50_000, 50_000, 750_000, 750_001, -9000]), min_size=1),
    st.lists(st.integers(0, 60), max_size=3),
)
@settings(max_examples=300)
def test_bulk_gives_what_one_by_one_gives(
    frames: list[Frame], waits: list[int], cuts: list[int]
) -> None:
    times = np.cumsum([waits[i % len(waits)] for i in range(len(frames))]).tolist()
    single, bulk = Reassembler(), Reassembler()
    expected = one_by_one(single, frames, times)
    got: list[tuple[int, Heard]] = []
    edges = sorted({0, len(frames), *(cut for cut in cuts if cut < len(frames))})
    for first, last in pairwise(edges):
        some = in_bulk(bulk, frames[first:last], times[first:last])
        got += [(first + row, one) for row, one in some]
    whole = [one for _, one in got if isinstance(one, Message) and one.carried is Carried.BAM]
    event(f"{min(len(whole), 3)} messages, {min(len(got) - len(whole), 3)} broken")
    assert got == expected
    assert bulk.open_sessions == single.open_sessions
    assert bulk.finish() == single.finish()


@given(traffic(), traffic())
@settings(max_examples=100)
def test_what_bulk_leaves_behind_is_what_one_by_one_leaves(
    before: list[Frame], after: list[Frame]
) -> None:
    single, bulk = Reassembler(), Reassembler()
    one_by_one(single, before, [1000 * row for row in range(len(before))])
    in_bulk(bulk, before, [1000 * row for row in range(len(before))])
    times = [1000 * row for row in range(len(before), len(before) + len(after))]
    assert one_by_one(bulk, after, times) == one_by_one(single, after, times)


def test_a_whole_broadcast_needs_no_session() -> None:
    frames = broadcast(3, 1785, 7)
    times = [50_000 * at for at in range(len(frames))]
    ((row, one),) = in_bulk(Reassembler(), frames, times)
    assert row == len(frames) - 1
    assert isinstance(one, Message)
    assert one.payload == b"".join(data[1:] for _, _, data in frames[1:])
    assert (one.time_us, one.end_us) == (0, 255 * 50_000)
