"""Extended transport: ISO 11783-3, reference sheet 1.6."""

from __future__ import annotations

import pytest

from shearbolt.model.message import Broken, BrokenSession, Carried, Message
from shearbolt.wire.extended_transport import LONGEST, read_control
from shearbolt.wire.transport import Reassembler
from shearbolt.wire.transport_control import Control, Step

TO, BACK = (0x26, 0x80), (0x80, 0x26)
CM, DT = 51200, 50944
GROUP = bytes.fromhex("00E700")
Frame = tuple[tuple[int, int], int, bytes]


def request(size: int) -> Frame:
    return TO, CM, b"\x14" + size.to_bytes(4, "little") + GROUP


def clearance(packets: int, number: int) -> Frame:
    return BACK, CM, bytes([0x15, packets]) + number.to_bytes(3, "little") + GROUP


def offset(packets: int, at: int) -> Frame:
    return TO, CM, bytes([0x16, packets]) + at.to_bytes(3, "little") + GROUP


def end(size: int) -> Frame:
    return BACK, CM, b"\x17" + size.to_bytes(4, "little") + GROUP


def packet(payload: bytes, at: int, sequence: int) -> Frame:
    chunk = payload[(at + sequence - 1) * 7 :][:7].ljust(7, b"\xff")
    return TO, DT, bytes([sequence]) + chunk


def session(payload: bytes, window: int) -> list[Frame]:
    """Build a whole session with clearances for `window` packets each."""
    packets = -(-len(payload) // 7)
    frames = [request(len(payload))]
    for at in range(0, packets, window):
        here = min(window, packets - at)
        frames += [clearance(here, at + 1), offset(here, at)]
        frames += [packet(payload, at, sequence) for sequence in range(1, here + 1)]
    return [*frames, end(len(payload))]


def hear(frames: list[Frame], gap_ms: int = 10) -> tuple[list[Message], list[BrokenSession]]:
    reassembler = Reassembler()
    events: list[Message | BrokenSession] = []
    for at, ((source, destination), pgn, data) in enumerate(frames):
        events += reassembler.feed(at * gap_ms * 1000, 0, source, destination, pgn, data)
    events += reassembler.finish()
    return (
        [one for one in events if isinstance(one, Message)],
        [one for one in events if isinstance(one, BrokenSession)],
    )


def text(size: int) -> bytes:
    return bytes((at * 7 + at // 251) % 251 for at in range(size))


def test_control_frames_of_the_sheet() -> None:
    # Reference sheet 1.6, table.
    assert read_control(bytes.fromhex("14 FA060000 00E700")) == Control(
        Step.LONG_REQUEST, 0xE700, 1786, 256
    )
    assert read_control(bytes.fromhex("15 10 010200 00E700")) == Control(
        Step.LONG_CLEAR, 0xE700, 0, 16, 0x201
    )
    assert read_control(bytes.fromhex("16 10 000200 00E700")) == Control(
        Step.LONG_OFFSET, 0xE700, 0, 16, 0x200
    )
    assert read_control(bytes.fromhex("17 FA060000 00E700")) == Control(
        Step.LONG_END, 0xE700, 1786, 256
    )
    assert read_control(bytes.fromhex("FF 03 FFFFFF 00E700")) == Control(
        Step.ABORT, 0xE700, 0, 0, 3
    )
    assert read_control(bytes.fromhex("20 FA060000 00E700")) is None
    assert LONGEST == 117_440_505


@pytest.mark.parametrize("window", [1, 16, 255])
@pytest.mark.parametrize("size", [1786, 3000])
def test_whole_message(size: int, window: int) -> None:
    payload = text(size)
    frames = session(payload, window)
    messages, broken = hear(frames)
    (message,) = messages
    assert (message.payload, message.carried, message.pgn) == (payload, Carried.ETP, 0xE700)
    assert (message.source, message.destination) == TO
    assert (message.time_us, message.end_us) == (0, (len(frames) - 2) * 10_000)
    assert broken == []


def test_packet_numbers_beyond_one_sequence_byte() -> None:
    payload = text(7 * 700 + 3)
    messages, _ = hear(session(payload, 255))
    assert [one.payload for one in messages] == [payload]


def test_without_the_clearances() -> None:
    payload = text(2000)
    frames = [frame for frame in session(payload, 32) if frame[0] == TO]
    messages, broken = hear(frames)
    assert [one.payload for one in messages] == [payload]
    assert broken == []


@pytest.mark.parametrize("size", [1785, 0, LONGEST + 1, 0xFFFFFFFF])
def test_sizes_outside_the_limits(size: int) -> None:
    _, broken = hear([request(size), offset(1, 0), packet(b"", 0, 1)])
    assert [one.reason for one in broken] == [Broken.BAD_ANNOUNCEMENT]


def test_never_to_all() -> None:
    everybody = ((0x26, 255), CM, request(1786)[2])
    _, broken = hear([everybody])
    assert [one.reason for one in broken] == [Broken.BAD_ANNOUNCEMENT]


def test_retransmission_by_an_earlier_offset() -> None:
    payload = text(1800)
    frames = session(payload, 255)
    again = [clearance(2, 100), offset(2, 99), packet(payload, 99, 1), packet(payload, 99, 2)]
    ordered = [*frames[:258], *again, *frames[258:]]
    messages, broken = hear(ordered)
    assert [one.payload for one in messages] == [payload]
    assert broken == []


def test_lost_packet() -> None:
    payload = text(1800)
    frames = session(payload, 100)
    del frames[50]
    messages, broken = hear(frames)
    assert messages == []
    assert [one.reason for one in broken] == [Broken.INCOMPLETE]


def test_lost_packet_sent_again() -> None:
    payload = text(1800)
    frames = session(payload, 100)
    # Packet 50 is lost for all; the receiver asks again from there.
    del frames[52]
    again = [clearance(51, 50), offset(51, 49)]
    again += [packet(payload, 49, sequence) for sequence in range(1, 52)]
    frames[102:102] = again
    messages, broken = hear(frames)
    assert [one.payload for one in messages] == [payload]
    assert broken == []


def test_lost_offset() -> None:
    payload = text(1800)
    frames = session(payload, 100)
    offsets = [at for at, one in enumerate(frames) if one[1] == CM and one[2][0] == 0x16]
    for at in offsets:
        messages, broken = hear(frames[:at] + frames[at + 1 :])
        assert messages == []
        assert len(broken) == 1


def test_a_window_that_only_the_listener_missed() -> None:
    payload = text(1800)
    frames = session(payload, 100)
    # Clearance, offset and packets of the second window are lost here.
    del frames[103:205]
    reassembler = Reassembler()
    events: list[Message | BrokenSession] = []
    for at, ((source, destination), pgn, data) in enumerate(frames):
        if pgn == CM and data[0] == 0x15:
            continue
        events += reassembler.feed(at * 1000, 0, source, destination, pgn, data)
    (event,) = events
    assert isinstance(event, BrokenSession)
    assert event.detail == "100 of 258 packets in order; the sender goes on from 201"


def test_swapped_packets() -> None:
    payload = text(1800)
    frames = session(payload, 100)
    frames[40], frames[41] = frames[41], frames[40]
    messages, broken = hear(frames)
    assert messages == []
    assert len(broken) == 1


def test_sequence_number_beyond_the_offset() -> None:
    payload = text(1800)
    frames = [request(1800), offset(2, 0), *(packet(payload, 0, at) for at in (1, 2, 3))]
    messages, broken = hear(frames)
    assert messages == []
    assert [one.reason for one in broken] == [Broken.INCOMPLETE]


@pytest.mark.parametrize("who", [TO, BACK])
def test_abort_by_either_side(who: tuple[int, int]) -> None:
    payload = text(1800)
    frames = session(payload, 100)
    frames.insert(30, (who, CM, b"\xff\x02\xff\xff\xff" + GROUP))
    messages, broken = hear(frames)
    assert messages == []
    assert [one.reason for one in broken] == [Broken.ABORTED]


def test_hold_then_go_on() -> None:
    payload = text(1800)
    frames = session(payload, 100)
    frames.insert(103, clearance(0, 101))
    messages, _ = hear(frames)
    assert [one.payload for one in messages] == [payload]


def test_timers_as_for_the_shorter_transport() -> None:
    payload = text(1800)
    frames = session(payload, 255)
    assert len(hear(frames, gap_ms=750)[0]) == 1
    messages, broken = hear(frames, gap_ms=751)
    assert messages == []
    assert broken[0].reason is Broken.TIMEOUT


def test_beside_a_short_session_of_the_same_two() -> None:
    payload = text(1800)
    frames = session(payload, 255)
    frames.insert(10, (TO, 60416, bytes.fromhex("1009 0002 FFCA FE00")))
    frames.insert(20, (TO, 60160, b"\x01ABCDEFG"))
    frames.insert(30, (TO, 60160, b"\x02HI\xff\xff\xff\xff\xff"))
    messages, broken = hear(frames)
    assert [one.payload for one in messages] == [b"ABCDEFGHI", payload]
    assert broken == []
