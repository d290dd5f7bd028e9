"""The port on an in-process bus of the bus library: only what the gate lets through is sent."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import can
import pytest
from tests.asked_machine import SECOND, ext

import shearbolt
from shearbolt.act import Gate, Port, claim_frame, request_frame, tool_name
from shearbolt.errors import NotAllowed, PortTrouble
from shearbolt.model.frames import ERROR, EXTENDED, PlainFrame

NAME = tool_name(3)


class Clock:
    now_us = 0

    def __call__(self) -> int:
        return self.now_us


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def gate() -> Gate:
    return Gate(NAME, frozenset({65253}), road=False)


@pytest.fixture
def port(gate: Gate, clock: Clock) -> Iterator[Port]:
    one = Port.open("virtual", "act-port", gate, clock)
    yield one
    one.close()


@pytest.fixture
def other(port: Port) -> Iterator[can.BusABC]:
    bus = can.Bus(interface="virtual", channel="act-port")
    yield bus
    bus.shutdown()


def test_what_the_gate_lets_through_arrives_as_it_was_made(
    port: Port, other: can.BusABC, clock: Clock
) -> None:
    sent = port.send(claim_frame(NAME))
    assert sent.channel == "act-port"
    heard = other.recv(1.0)
    assert heard is not None
    assert (heard.arbitration_id, bytes(heard.data)) == (0x18EEFFF9, claim_frame(NAME).data)
    clock.now_us = SECOND
    port.send(request_frame(65253, 0))
    heard = other.recv(1.0)
    assert heard is not None
    assert (heard.arbitration_id, bytes(heard.data)) == (0x18EA00F9, b"\xe5\xfe\x00")


@pytest.mark.parametrize(
    "frame",
    [request_frame(65235, 255), ext(0x0C000003, bytes(8)), PlainFrame(0, 0x7DF, bytes(8), 0)],
)
def test_what_it_holds_back_never_reaches_the_bus(
    port: Port, other: can.BusABC, clock: Clock, frame: PlainFrame
) -> None:
    port.send(claim_frame(NAME))
    clock.now_us = SECOND
    with pytest.raises(NotAllowed):
        port.send(frame)
    assert other.recv(1.0) is not None  # the claim
    assert other.recv(0.05) is None


def test_frames_of_others_are_received(port: Port, other: can.BusABC) -> None:
    other.send(can.Message(arbitration_id=0x18FEF117, data=[1, 2, 3]))
    other.send(can.Message(arbitration_id=0x7E8, is_extended_id=False, data=[9]))
    other.send(can.Message(is_error_frame=True))
    heard = [port.receive(1.0) for _ in range(3)]
    assert [one and (one.ident, one.data, one.flags) for one in heard] == [
        (0x18FEF117, b"\x01\x02\x03", EXTENDED),
        (0x7E8, b"\x09", 0),
        (0, b"", ERROR | EXTENDED),
    ]
    assert port.receive(0.0) is None


def test_an_adapter_that_hears_itself_does_not_take_itself_for_another(
    port: Port, other: can.BusABC, clock: Clock
) -> None:
    port.send(claim_frame(NAME))
    echo = other.recv(1.0)
    assert echo is not None
    clock.now_us = 20_000
    other.send(echo)
    assert port.receive(1.0) is None
    other.send(echo)
    assert port.receive(1.0) is not None


def test_an_adapter_that_is_not_there_is_told_in_one_sentence(gate: Gate, clock: Clock) -> None:
    with pytest.raises(PortTrouble, match="cannot be opened") as told:
        Port.open("no-such-thing", "x", gate, clock)
    assert "\n" not in told.value.sentence


def test_after_closing_nothing_is_sent(gate: Gate, clock: Clock) -> None:
    port = Port.open("virtual", "act-closed", gate, clock)
    port.close()
    with pytest.raises(NotAllowed, match="let go of"):
        port.send(claim_frame(NAME))


def test_an_adapter_that_fails_is_told(port: Port, other: can.BusABC) -> None:
    port._bus.shutdown()
    with pytest.raises(PortTrouble, match="failed"):
        port.receive(0.0)
    with pytest.raises(PortTrouble, match="did not send"):
        port.send(claim_frame(NAME))


def test_nothing_else_in_the_house_sends() -> None:
    root = Path(shearbolt.__file__).parent
    senders = {
        path.relative_to(root).as_posix()
        for path in root.rglob("*.py")
        if re.search(r"bus\w*(\[[^]]*\])?\.send(_periodic)?\(", path.read_text(encoding="utf-8"))
    }
    # A simulated machine speaks too, on in-process and multicast buses alone.
    assert senders <= {"act/port.py", "proving/live_bus.py"}
    assert "act/port.py" in senders
