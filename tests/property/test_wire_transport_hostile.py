"""Hostile transport sessions: what is delivered was really sent, whole and in order."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from random import Random
from typing import TypeAlias

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from shearbolt.model.message import Broken, BrokenSession, Carried, Message
from shearbolt.wire.identifier import destination_of, pgn_of
from shearbolt.wire.transport import Reassembler

Heard: TypeAlias = Message | BrokenSession
Frame: TypeAlias = tuple[int, bytes]
"""Identifier and data."""
CM, DT, LONG_CM, LONG_DT = 0xEC, 0xEB, 0xC8, 0xC7


@dataclass(frozen=True)
class Sent:
    """One session as its two sides put it on the bus."""

    source: int
    destination: int
    pgn: int
    payload: bytes
    frames: tuple[Frame, ...]
    touched: bool = False
    """Frames were dropped, repeated or swapped."""


def ident(form: int, destination: int, source: int) -> int:
    return 7 << 26 | form << 16 | destination << 8 | source


def chunks(payload: bytes) -> list[bytes]:
    return [payload[at : at + 7].ljust(7, b"\xff") for at in range(0, len(payload), 7)]


def broadcast(source: int, pgn: int, payload: bytes) -> Sent:
    parts = chunks(payload)
    group = pgn.to_bytes(3, "little")
    size = len(payload).to_bytes(2, "little")
    frames = [(ident(CM, 255, source), b"\x20" + size + bytes([len(parts), 255]) + group)]
    frames += [(ident(DT, 255, source), bytes([at]) + one) for at, one in enumerate(parts, 1)]
    return Sent(source, 255, pgn, payload, tuple(frames))


def addressed(
    source: int, to: int, pgn: int, payload: bytes, window: int, again: tuple[int, ...] = ()
) -> Sent:
    """Send with clearances for `window` packets; after clearance number n of `again`, the receiver
    asks once more from the packet before the last.
    """
    parts = chunks(payload)
    group = pgn.to_bytes(3, "little")
    size = len(payload).to_bytes(2, "little")
    out, back = ident(CM, to, source), ident(CM, source, to)
    frames = [(out, b"\x10" + size + bytes([len(parts), 255]) + group)]
    starts = list(range(0, len(parts), window))
    for at in sorted(starts + [max(0, starts[n % len(starts)] - 2) for n in again]):
        here = parts[at : at + window]
        frames.append((back, bytes([0x11, len(here), at + 1, 255, 255]) + group))
        frames += [
            (ident(DT, to, source), bytes([at + step]) + one) for step, one in enumerate(here, 1)
        ]
    frames.append((back, b"\x13" + size + bytes([len(parts), 255]) + group))
    return Sent(source, to, pgn, payload, tuple(frames))


def extended(source: int, to: int, pgn: int, payload: bytes, window: int) -> Sent:
    parts = chunks(payload)
    group = pgn.to_bytes(3, "little")
    size = len(payload).to_bytes(4, "little")
    out, back = ident(LONG_CM, to, source), ident(LONG_CM, source, to)
    frames = [(out, b"\x14" + size + group)]
    for at in range(0, len(parts), window):
        here = parts[at : at + window]
        count = bytes([len(here)])
        frames.append((back, b"\x15" + count + (at + 1).to_bytes(3, "little") + group))
        frames.append((out, b"\x16" + count + at.to_bytes(3, "little") + group))
        frames += [
            (ident(LONG_DT, to, source), bytes([step]) + one) for step, one in enumerate(here, 1)
        ]
    frames.append((back, b"\x17" + size + group))
    return Sent(source, to, pgn, payload, tuple(frames))


def is_data(frame: Frame) -> bool:
    return frame[0] >> 16 & 0xFF in (DT, LONG_DT)


@st.composite
def sessions(draw: st.DrawFn, *, repeats: bool = False) -> Sent:
    source = draw(st.integers(0, 2))
    pgn = draw(st.sampled_from([65226, 65227, 65260, 59904]))
    # Few different bytes and short texts, so that packets of different sessions often agree.
    payload = draw(st.binary(min_size=9, max_size=60) | st.sampled_from([b"A" * 9, b"A" * 22]))
    if draw(st.booleans()):
        return broadcast(source, pgn, payload)
    to = (source + draw(st.integers(1, 2))) % 3
    again = draw(st.lists(st.integers(0, 8), max_size=2).map(tuple)) if repeats else ()
    return addressed(source, to, pgn, payload, draw(st.integers(1, 9)), again)


@st.composite
def harmed(draw: st.DrawFn) -> Sent:
    """Draw a session with frames lost, repeated and swapped, its announcement left in place."""
    sent = draw(sessions(repeats=True))
    frames = list(sent.frames)
    for _ in range(draw(st.integers(0, 4))):
        at = draw(st.integers(1, len(frames) - 1)) if len(frames) > 1 else 0
        if at == 0:
            break
        match draw(st.sampled_from(["drop", "repeat", "repeat later", "swap"])):
            case "drop":
                del frames[at]
            case "repeat":
                frames.insert(at, frames[at])
            case "repeat later":
                frames.insert(draw(st.integers(at, len(frames))), frames[at])
            case "swap":
                other = draw(st.integers(1, len(frames) - 1))
                frames[at], frames[other] = frames[other], frames[at]
    touched = tuple(frames) != sent.frames
    return Sent(sent.source, sent.destination, sent.pgn, sent.payload, tuple(frames), touched)


def interleave(some: Sequence[Sent], random: Random) -> list[Frame]:
    """Mix sessions; those between the same two come one after another, in their order."""
    lanes: dict[tuple[int, ...], list[Frame]] = {}
    for one in some:
        # Both directions of a pair share a lane only where an abort could be meant for either.
        lanes.setdefault((one.source, one.destination), []).extend(one.frames)
    queues = [list(reversed(lane)) for lane in lanes.values()]
    mixed = []
    while queues:
        queue = random.choice(queues)
        mixed.append(queue.pop())
        if not queue:
            queues.remove(queue)
    return mixed


def listen(frames: Sequence[Frame], step_us: int = 1000) -> list[Heard]:
    """Feed frames one by one and all at once, with equal results; frame n is heard at n x step."""
    reassembler = Reassembler()
    events: list[Heard] = []
    for at, (one, data) in enumerate(frames):
        events += reassembler.feed(
            at * step_us, 0, one & 0xFF, destination_of(one), pgn_of(one), data
        )
    events += reassembler.finish()
    assert (
        in_blocks(frames, [at * step_us for at in range(len(frames))], [0, len(frames)]) == events
    )
    return events


def in_blocks(
    frames: Sequence[Frame], times: Sequence[int], edges: Sequence[int], channel: int = 0
) -> list[Heard]:
    """Feed frames as columns, cut into blocks at `edges`."""
    reassembler = Reassembler()
    events: list[Heard] = []
    for first, last in pairwise(edges):
        block = frames[first:last]
        events += reassembler.feed_many(
            np.array(times[first:last], np.int64),
            np.full(len(block), channel, np.uint8),
            np.array([one for one, _ in block], np.uint32),
            np.array([len(data) for _, data in block], np.uint8),
            np.array(
                [int.from_bytes(data.ljust(8, b"\xff"), "little") for _, data in block], np.uint64
            ),
        )
    return [*events, *reassembler.finish()]


def messages(events: Sequence[Heard]) -> list[Message]:
    return [one for one in events if isinstance(one, Message)]


def as_sent(one: Message | Sent) -> tuple[int, int, int, bytes]:
    return one.source, one.destination, one.pgn, one.payload


def stands_on_the_wire(message: Message, frames: Sequence[Frame]) -> bool:
    """Tell, from the frames alone, whether a message is an announcement and its packets in order.

    A second authority, written without a session. Of a broadcast, the packets after the
    announcement must be 1, 2, 3 ... with only immediate, identical repeats. Between two addresses
    (where packets may be asked for again) they must stand there in this order, others in between.
    (Frame number n was heard at n ms.)
    """
    first, last = message.time_us // 1000, message.end_us // 1000
    announced = frames[first][1]
    size = int.from_bytes(announced[1:3], "little")
    mine = ident(DT, message.destination, message.source) & 0xFFFFFF
    heard = [data for one, data in frames[first : last + 1] if one & 0xFFFFFF == mine]
    wanted = [bytes([at]) + one for at, one in enumerate(chunks(message.payload), 1)]
    if (
        announced[5:8] != message.pgn.to_bytes(3, "little")
        or size != len(message.payload)
        or len(wanted) != announced[3]
    ):
        return False
    rest = 1 + (size - 1) % 7 + 1
    # What fills up the last packet is nobody's business.
    plain = [one[:rest].ljust(8, b"\xff") if one[:1] == wanted[-1][:1] else one for one in heard]
    if message.carried is Carried.BAM:
        return (
            all(len(one) == 8 for one in heard)
            and [one for at, one in enumerate(plain) if at == 0 or heard[at] != heard[at - 1]]
            == wanted
        )
    following = iter(one for one, data in zip(plain, heard, strict=True) if len(data) == 8)
    return all(one in following for one in wanted)


@given(st.lists(sessions(repeats=True), max_size=6), st.randoms(use_true_random=False))
def test_whole_sessions_are_all_delivered(some: list[Sent], random: Random) -> None:
    events = listen(interleave(some, random))
    assert Counter(map(as_sent, messages(events))) == Counter(map(as_sent, some))
    assert len(events) == len(some)


@given(st.lists(harmed(), max_size=6), st.randoms(use_true_random=False))
@settings(max_examples=200)
def test_only_what_was_sent_is_delivered(some: list[Sent], random: Random) -> None:
    frames = interleave(some, random)
    events = listen(frames)
    delivered = Counter(map(as_sent, messages(events)))
    assert delivered <= Counter(map(as_sent, some))
    assert delivered >= Counter(as_sent(one) for one in some if not one.touched)
    assert all(stands_on_the_wire(one, frames) for one in messages(events))
    # Each announcement is answered for at most once: by a message or by a reason.
    told = [one for one in events if isinstance(one, BrokenSession) and one.pgn is not None]
    assert len(told) + delivered.total() <= len(some)


@given(sessions(), st.data())
@settings(max_examples=100)
def test_a_session_with_a_lost_packet_yields_nothing_but_a_reason(
    sent: Sent, data: st.DataObject
) -> None:
    packets = [at for at, one in enumerate(sent.frames) if is_data(one)]
    lost = data.draw(st.sampled_from(packets))
    frames = [one for at, one in enumerate(sent.frames) if at != lost]
    (event,) = listen(frames)
    assert isinstance(event, BrokenSession)
    assert event.reason in (Broken.INCOMPLETE, Broken.WRONG_ORDER)


@given(sessions(), st.data())
@settings(max_examples=100)
def test_a_session_with_swapped_packets_yields_nothing_but_a_reason(
    sent: Sent, data: st.DataObject
) -> None:
    packets = [at for at, one in enumerate(sent.frames) if is_data(one)]
    first, second = sorted(data.draw(st.sets(st.sampled_from(packets), min_size=2, max_size=2)))
    frames = list(sent.frames)
    frames[first], frames[second] = frames[second], frames[first]
    events = listen(frames)
    assert messages(events) == []
    assert [one.pgn for one in events] == [sent.pgn]


@given(sessions(), st.data())
@settings(max_examples=100)
def test_a_session_with_a_shortened_packet_yields_nothing_but_a_reason(
    sent: Sent, data: st.DataObject
) -> None:
    packets = [at for at, one in enumerate(sent.frames) if is_data(one)]
    at = data.draw(st.sampled_from(packets))
    frames = list(sent.frames)
    frames[at] = frames[at][0], frames[at][1][: data.draw(st.integers(0, 7))]
    (event,) = listen(frames)
    assert isinstance(event, BrokenSession)
    assert event.reason is Broken.SHORT_PACKET


@given(st.lists(harmed(), min_size=1, max_size=4), st.randoms(use_true_random=False), st.data())
@settings(max_examples=200)
def test_flipped_bits_never_join_what_does_not_belong_together(
    some: list[Sent], random: Random, data: st.DataObject
) -> None:
    frames = interleave(some, random)
    for _ in range(data.draw(st.integers(1, 4))):
        at = data.draw(st.integers(0, len(frames) - 1))
        word = int.from_bytes(frames[at][1], "little") ^ 1 << data.draw(st.integers(0, 63))
        frames[at] = frames[at][0], word.to_bytes(8, "little")
    # A flipped data bit cannot be seen without the CAN checksum; the frames are the truth here.
    assert all(stands_on_the_wire(one, frames) for one in messages(listen(frames)))


@given(
    st.binary(min_size=1786, max_size=1900),
    st.integers(20, 255),
    st.lists(
        st.tuples(st.sampled_from(["drop", "swap", "repeat"]), st.integers(1, 250)), max_size=2
    ),
)
@settings(max_examples=15)
def test_extended_sessions(payload: bytes, window: int, harm: list[tuple[str, int]]) -> None:
    sent = extended(1, 2, 0xE700, payload, window)
    frames = list(sent.frames)
    for what, at in harm:
        if what == "drop":
            del frames[at]
        elif what == "repeat":
            frames.insert(at, frames[at])
        else:
            frames[at], frames[at + 1] = frames[at + 1], frames[at]
    got = messages(listen(frames))
    assert [one.payload for one in got] in ([payload], [])
    if all(what == "repeat" for what, _ in harm):
        assert len(got) == 1


GARBAGE = st.tuples(
    st.builds(
        ident,
        st.sampled_from([CM, DT, DT, LONG_CM, LONG_DT]),
        st.sampled_from([0, 1, 255]),
        st.sampled_from([0, 1]),
    ),
    st.one_of(
        st.binary(max_size=8),
        # Mostly plausible: known control bytes, small sizes, low sequence numbers.
        st.builds(
            lambda head, rest: bytes([head, *rest]),
            st.sampled_from([1, 2, 3, 16, 17, 19, 20, 21, 22, 23, 32, 255]),
            st.sampled_from(
                [
                    bytes.fromhex("0900 02FF CAFE00"),
                    bytes.fromhex("0201 FFFF CAFE00"),
                    bytes.fromhex("0001 FFFF CAFE00"),
                    bytes.fromhex("0302 FFFF CAFE00"),
                    bytes.fromhex("FA06 0000 CAFE00"),
                    bytes.fromhex("0201 0000 CAFE00"),
                    bytes.fromhex("0200 0000 CAFE00"),
                    b"ABCDEFG",
                ]
            ),
        ),
    ),
)


@given(
    st.lists(st.tuples(GARBAGE, st.integers(-50_000, 900_000)), max_size=60),
    st.lists(st.integers(0, 60), max_size=4),
)
@settings(max_examples=200)
def test_many_at_once_is_the_same_as_one_by_one(
    garbage: list[tuple[Frame, int]], cuts: list[int]
) -> None:
    one_by_one = Reassembler()
    expected: list[Heard] = []
    now, times = 0, []
    for (one, data), wait in garbage:
        now += wait
        times.append(now)
        expected += one_by_one.feed(now, 3, one & 0xFF, destination_of(one), pgn_of(one), data)
    expected += one_by_one.finish()
    edges = sorted({0, len(garbage), *(cut for cut in cuts if cut < len(garbage))})
    assert in_blocks([frame for frame, _ in garbage], times, edges, channel=3) == expected


@given(st.lists(GARBAGE, max_size=80))
@settings(max_examples=100)
def test_garbage_delivers_only_what_stands_on_the_wire(garbage: list[Frame]) -> None:
    short = [one for one in messages(listen(garbage)) if one.carried is not Carried.ETP]
    assert all(stands_on_the_wire(one, garbage) for one in short)
