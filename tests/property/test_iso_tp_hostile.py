"""Hostile ISO 15765-2 traffic, with the open library can-isotp as second authority.

The library's senders make the frames which the listener must put together; its receiver judges
the same damaged frames that the listener judges.
"""

from __future__ import annotations

from collections import Counter, deque
from dataclasses import dataclass, field
from typing import Any

import isotp
from hypothesis import given, settings
from hypothesis import strategies as st

from shearbolt.model.message import IsoTpBroken, IsoTpMessage
from shearbolt.wire.iso_tp import IsoTpListener

TESTER, ECU = 0x7E0, 0x7E8
STEP_US = 500


@dataclass
class Bus:
    """Two stacks of the library on one imagined wire, driven by hand: no thread, no sleep."""

    block_size: int = 0
    padding: int | None = None
    frame_size: int = 8
    extended: bool = False
    frames: list[tuple[int, bytes]] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.inbox: dict[str, deque[Any]] = {"tester": deque(), "ecu": deque()}
        self.tester = self._stack("tester", "ecu")
        self.ecu = self._stack("ecu", "tester")

    def _stack(self, own: str, other: str) -> Any:
        if self.extended:
            source, target = (0xF1, 0x10) if own == "tester" else (0x10, 0xF1)
            mode = isotp.AddressingMode.NormalFixed_29bits
            address = isotp.Address(mode, source_address=source, target_address=target)
        else:
            sends, hears = (TESTER, ECU) if own == "tester" else (ECU, TESTER)
            mode = isotp.AddressingMode.Normal_11bits
            address = isotp.Address(mode, txid=sends, rxid=hears)

        def send(frame: Any) -> None:
            self.frames.append((frame.arbitration_id, bytes(frame.data)))
            self.inbox[other].append(frame)

        def receive(timeout: float) -> Any:
            return self.inbox[own].popleft() if self.inbox[own] else None

        return isotp.TransportLayerLogic(
            rxfn=receive,
            txfn=send,
            address=address,
            params={
                "stmin": 0,
                "blocksize": self.block_size,
                "tx_padding": self.padding,
                "tx_data_length": self.frame_size,
                "can_fd": self.frame_size > 8,
                "max_frame_size": 8000,
            },
        )

    def carry(self) -> None:
        """Let both work until the wire is quiet."""
        while True:
            before = len(self.frames)
            self.tester.process()
            self.ecu.process()
            if len(self.frames) == before and not any(self.inbox.values()):
                return


def listen(frames: list[tuple[int, bytes]], extended: bool = False) -> tuple[list[Any], list[Any]]:
    """Give the whole messages and the broken ones of frames that follow each other quickly."""
    listener = IsoTpListener()
    heard: list[IsoTpMessage | IsoTpBroken] = []
    for at, (ident, data) in enumerate(frames):
        heard += listener.feed(at * STEP_US, 0, ident, extended, data)
    heard += listener.finish()
    whole = [one for one in heard if isinstance(one, IsoTpMessage)]
    return whole, [one for one in heard if isinstance(one, IsoTpBroken)]


def library_receives(frames: list[tuple[int, bytes]]) -> list[bytes]:
    """Give what a receiving stack of the library makes of one unit's frames."""
    waiting = deque(isotp.CanMessage(arbitration_id=ident, data=data) for ident, data in frames)
    stack = isotp.TransportLayerLogic(
        rxfn=lambda timeout: waiting.popleft() if waiting else None,
        txfn=lambda frame: None,
        address=isotp.Address(isotp.AddressingMode.Normal_11bits, txid=TESTER, rxid=ECU),
        params={"listen_mode": True},
    )
    while waiting:
        stack.process()
    received = []
    while (payload := stack.recv()) is not None:
        received.append(bytes(payload))
    return received


payloads = st.binary(min_size=1, max_size=200)


@given(
    asked=st.lists(payloads, max_size=3),
    answered=st.lists(st.one_of(payloads, st.binary(min_size=600, max_size=900)), max_size=3),
    block_size=st.integers(0, 5),
    padding=st.sampled_from([None, 0x00, 0x55, 0xAA, 0xCC, 0xFF]),
    extended=st.booleans(),
)
@settings(max_examples=40, deadline=None)
def test_what_the_library_sends_both_ways_is_put_together(
    asked: list[bytes], answered: list[bytes], block_size: int, padding: int | None, extended: bool
) -> None:
    bus = Bus(block_size, padding, extended=extended)
    for payload in asked:
        bus.tester.send(payload)
    for payload in answered:
        bus.ecu.send(payload)
    bus.carry()
    whole, broken = listen(bus.frames, extended)
    asks, answers = (0x18DA10F1, 0x18DAF110) if extended else (TESTER, ECU)
    assert broken == []
    assert [one.payload for one in whole if one.ident == asks] == asked
    assert [one.payload for one in whole if one.ident == answers] == answered


@given(payload=st.binary(min_size=1, max_size=5000), frame_size=st.sampled_from([12, 16, 32, 64]))
@settings(max_examples=25, deadline=None)
def test_can_fd_frames_of_the_library(payload: bytes, frame_size: int) -> None:
    bus = Bus(frame_size=frame_size)
    bus.ecu.send(payload)
    bus.carry()
    whole, broken = listen(bus.frames)
    assert broken == []
    assert [one.payload for one in whole] == [payload]


def unit_frames(sent: list[bytes]) -> list[tuple[int, bytes]]:
    """Give the frames of one unit that sends these messages one after the other."""
    bus = Bus()
    for payload in sent:
        bus.ecu.send(payload)
    bus.carry()
    return [frame for frame in bus.frames if frame[0] == ECU]


damage = st.lists(
    st.tuples(st.sampled_from(["lose", "repeat", "swap"]), st.integers(0, 200)),
    min_size=1,
    max_size=4,
)


@given(sent=st.lists(payloads, min_size=1, max_size=4), hurts=damage)
@settings(max_examples=60, deadline=None)
def test_damaged_traffic_is_judged_as_the_library_judges_it(
    sent: list[bytes], hurts: list[tuple[str, int]]
) -> None:
    frames = unit_frames(sent)
    for how, place in hurts:
        at = place % len(frames)
        if how == "lose" and len(frames) > 1:
            del frames[at]
        elif how == "repeat":
            frames.insert(at, frames[at])
        elif at + 1 < len(frames):
            frames[at], frames[at + 1] = frames[at + 1], frames[at]
    whole, _ = listen(frames)
    assert [one.payload for one in whole] == library_receives(frames)


@given(sent=payloads.filter(lambda one: len(one) > 7), place=st.integers(0, 200))
@settings(max_examples=40, deadline=None)
def test_a_message_with_one_frame_lost_is_never_given_and_always_told(
    sent: bytes, place: int
) -> None:
    frames = unit_frames([sent])
    del frames[place % len(frames)]
    whole, broken = listen(frames)
    assert whole == []
    assert len(broken) == 1


diagnostic = st.sampled_from([0x7DF, TESTER, ECU, 0x7E1, 0x7E9])
head_bytes = st.integers(0, 0x3F).map(lambda byte: bytes((byte,)))
odd_frames = st.tuples(
    diagnostic,
    st.one_of(
        st.binary(max_size=12),
        st.tuples(head_bytes, st.binary(max_size=7)).map(lambda pair: pair[0] + pair[1]),
        st.integers(1, 15).map(lambda n: bytes((0x20 | n,)) + bytes(7)),
        st.integers(8, 30).map(lambda n: bytes((0x10, n)) + bytes(6)),
    ),
)


@given(
    frames=st.lists(odd_frames, max_size=40),
    gaps_us=st.lists(st.integers(1, 1_500_000), min_size=40, max_size=40),
)
@settings(deadline=None)
def test_every_frame_of_any_traffic_is_accounted_for(
    frames: list[tuple[int, bytes]], gaps_us: list[int]
) -> None:
    """Whatever begins a message ends as exactly one event, and no frame raises."""
    listener = IsoTpListener()
    heard: list[IsoTpMessage | IsoTpBroken] = []
    kinds: dict[int, int | None] = {}
    now = 0
    for (ident, data), gap in zip(frames, gaps_us, strict=False):
        now += gap
        kinds[now] = data[0] >> 4 if data else None
        heard += listener.feed(now, 0, ident, False, data)
    heard += listener.finish()
    assert listener.finish() == ()
    told = Counter(one.time_us for one in heard)
    for time_us, kind in kinds.items():
        if kind in (2, 3):
            assert told[time_us] <= 1
        else:
            assert told[time_us] == 1
    assert sum(told.values()) == len(heard)
    assert set(told) <= set(kinds)
    assert all(kinds[one.time_us] in (0, 1) for one in heard if isinstance(one, IsoTpMessage))
