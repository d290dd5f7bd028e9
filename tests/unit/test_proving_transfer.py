"""The sending side of a transport connection: holds, repeats, aborts, and our reader's view."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from shearbolt.proving.packing import Event
from shearbolt.proving.transfer import ABORT, CTS, END, RTS, T3_US, T4_US, Transfer
from shearbolt.proving.transport import broadcast, to_one
from shearbolt.wire.identifier import read_identifier
from shearbolt.wire.transport import Reassembler

VIN = b"AB1CD23E4FG567890*"
GROUP = bytes.fromhex("ecfe00")


def control(kind: int, *rest: int) -> bytes:
    return bytes((kind, *rest)).ljust(5, b"\xff") + GROUP


def test_vehicle_identification_as_in_the_example() -> None:
    # SAE J1939-21 5.10 (reference sheet 1.5): hold after two packets, then the last one
    transfer = Transfer(0, 0xF9, 65260, VIN, "can0")
    (asked,) = transfer.begin(0)
    assert (asked.ident, asked.data) == (0x1CECF900, bytes.fromhex("10120003ffecfe00"))
    first = transfer.hear(5_000, control(CTS, 2, 1))
    assert [one.data for one in first] == [
        bytes.fromhex("0141423143443233"),
        bytes.fromhex("0245344647353637"),
    ]
    assert {one.ident for one in first} == {0x1CEBF900}
    assert transfer.hear(20_000, control(CTS, 0, 0xFF)) == []
    assert not transfer.over
    assert transfer.tick(20_000 + T4_US - 1) == []
    assert transfer.hear(400_000, control(CTS, 0, 0xFF)) == [], "the hold is renewed"
    (last,) = transfer.hear(800_000, control(CTS, 1, 3))
    assert last.data == bytes.fromhex("033839302affffff")
    assert transfer.hear(900_000, control(END, 18, 0, 3)) == []
    assert transfer.state == "done"


def test_it_gives_up_when_nobody_answers() -> None:
    transfer = Transfer(0, 0xF9, 65260, VIN, "can0")
    transfer.begin(0)
    assert transfer.tick(T3_US - 1) == []
    (abort,) = transfer.tick(T3_US)
    assert abort.data == bytes.fromhex("ff03ffffffecfe00")
    assert transfer.over
    assert transfer.tick(2 * T3_US) == []
    held = Transfer(0, 0xF9, 65260, VIN, "can0")
    held.begin(0)
    held.hear(10, control(CTS, 0, 0xFF))
    (abort,) = held.tick(10 + T4_US)
    assert abort.data[0] == ABORT


def test_it_ends_on_an_abort_and_ignores_others() -> None:
    transfer = Transfer(0, 0xF9, 65260, VIN, "can0")
    transfer.begin(0)
    assert transfer.hear(1, bytes.fromhex("110201ffffcafe00")) == []
    assert transfer.hear(1, b"\x11") == []
    assert not transfer.over
    transfer.hear(2, control(ABORT, 3))
    assert transfer.state == "aborted"
    assert transfer.hear(3, control(CTS, 2, 1)) == []


def test_packets_that_are_not_there_end_it() -> None:
    transfer = Transfer(0, 0xF9, 65260, VIN, "can0")
    transfer.begin(0)
    (abort,) = transfer.hear(1, control(CTS, 1, 4))
    assert abort.data[0] == ABORT
    assert transfer.over


def test_packets_are_sent_again() -> None:
    transfer = Transfer(0, 0xF9, 65260, VIN, "can0", at_once=2)
    (asked,) = transfer.begin(0)
    assert asked.data[4] == 2
    assert [one.data[0] for one in transfer.hear(1, control(CTS, 9, 1))] == [1, 2]
    assert [one.data[0] for one in transfer.hear(2, control(CTS, 1, 2))] == [2]


def heard(events: list[Event]) -> list[bytes]:
    reader, found = Reassembler(), []
    for one in sorted(events, key=lambda each: each.time_us):
        name = read_identifier(one.ident)
        for message in reader.feed(
            one.time_us, 0, name.source, name.destination, name.pgn, one.data
        ):
            data = getattr(message, "payload", None)
            assert isinstance(data, bytes), message
            found.append(data)
    assert reader.open_sessions == 0
    return found


@given(st.binary(min_size=9, max_size=400), st.integers(1, 20), st.integers(1, 20))
def test_our_reader_gets_the_same_bytes(payload: bytes, window: int, at_once: int) -> None:
    transfer = Transfer(3, 0xF9, 65260, payload, "can0", at_once)
    events = transfer.begin(0)
    count, following, at_us = events[0].data[3], 1, 10_000
    while following <= count:
        ask = bytes((CTS, min(window, count - following + 1), following, 0xFF, 0xFF)) + GROUP
        events.append(Event(at_us, 0x1CEC03F9, ask))
        sent = transfer.hear(at_us, ask)
        events += sent
        following += len(sent)
        at_us = sent[-1].time_us + 2_000
    size = len(payload).to_bytes(2, "little")
    events.append(Event(at_us, 0x1CEC03F9, bytes((END,)) + size + bytes((count, 0xFF)) + GROUP))
    assert heard(events) == [payload]
    assert events[0].data[0] == RTS


@given(st.binary(min_size=9, max_size=300), st.integers(1, 30), st.sampled_from([0, 700_000]))
def test_scripted_transport_is_read_too(payload: bytes, window: int, hold_us: int) -> None:
    scripted = to_one(0, 0, 0xF9, 65260, payload, window=window, hold_us=hold_us)
    assert heard(scripted) == [payload]
    assert heard(broadcast(0, 0, 65260, payload)) == [payload]
