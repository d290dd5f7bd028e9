"""A live machine on the in-process bus, asked by a tester of the tests' own."""

from __future__ import annotations

import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from itertools import count

import can
import pytest
from tests.played_outings import MACHINES, outing_of

from shearbolt.proving.diagnostic_packing import DM5, DM11, DM13, DM24, DM25, DM29, dm13
from shearbolt.proving.live_bus import LiveBus, open_buses
from shearbolt.proving.live_machine import NULL_ADDRESS, LiveMachine
from shearbolt.proving.live_road import LiveRoad
from shearbolt.proving.memory import Kept, Store
from shearbolt.proving.obd import RoadTrip
from shearbolt.proving.packing import ADDRESS_CLAIM, DM2, DM4, Event
from shearbolt.proving.road_services import RoadCodes
from shearbolt.proving.script import PICKUP_TRIP
from shearbolt.proving.trace import Day
from shearbolt.wire.fault_list import read_fault_list
from shearbolt.wire.freeze_frame import read_dm4, read_dm24, read_dm25
from shearbolt.wire.readiness import read_dm5

TOOL = 0xF9
PATIENCE_S = 5.0
_NAMES = count()
STORE = Store(
    (
        Kept(105, 16, 3, "real_condition", "", frame={190: 1500.0, 110: 90.0, 92: 77.0}),
        Kept(97, 31, 1, "real_condition", ""),
    )
)


@dataclass
class Asker:
    """Asks on a bus, and takes what is sent to it by transport, holding once."""

    bus: can.BusABC
    holds: bool = False
    seen: list[can.Message] = field(default_factory=list)

    def send(self, ident: int, data: bytes) -> None:
        self.bus.send(can.Message(arbitration_id=ident, data=data, is_extended_id=True))

    def ask(self, pgn: int, asked: int = 0) -> None:
        self.send(0x18EA0000 | asked << 8 | TOOL, pgn.to_bytes(3, "little"))

    def messages(self, patience_s: float = PATIENCE_S) -> Iterator[can.Message]:
        until = time.monotonic() + patience_s
        while time.monotonic() < until:
            message = self.bus.recv(0.2)
            if message is not None:
                self.seen.append(message)
                yield message

    def answer(self, pgn: int, asked: int = 0) -> bytes:
        """Ask, and return the whole answer; fails when none comes in time."""
        self.ask(pgn, asked)
        body, size, head = b"", 0, b""
        for message in self.messages():
            ident, data = message.arbitration_id, bytes(message.data)
            if ident & 0xFF != asked or not message.is_extended_id:
                continue
            form, to = ident >> 16 & 0xFF, ident >> 8 & 0xFF
            if form == 0xEC and to == TOOL and data[0] == 16:
                body, size, head = b"", int.from_bytes(data[1:3], "little"), data
                self._clear_to_send(asked, head, 1)
            elif form == 0xEB and to == TOOL and head:
                body += data[1:]
                if len(body) >= size:
                    end = bytes((19,)) + head[1:4] + b"\xff" + head[5:]
                    self.send(0x1CEC0000 | asked << 8 | TOOL, end)
                    return body[:size]
                if data[0] % 2 == 0 or data[0] == head[3]:
                    self._clear_to_send(asked, head, data[0] + 1)
            elif _answers(ident, data, pgn):
                return data
        pytest.fail(f"no answer to {pgn}")

    def _clear_to_send(self, asked: int, head: bytes, following: int) -> None:
        """Take two packets at a time; hold before each when told to."""
        ident, group = 0x1CEC0000 | asked << 8 | TOOL, head[5:8]
        if self.holds:
            self.send(ident, bytes((17, 0, 0xFF, 0xFF, 0xFF)) + group)
        few = min(2, head[3] - following + 1)
        self.send(ident, bytes((17, few, following, 0xFF, 0xFF)) + group)


def _answers(ident: int, data: bytes, pgn: int) -> bool:
    """Tell whether a single frame is the group itself, or what acknowledges it for the tool."""
    form = ident >> 16 & 0xFF
    if form == 0xE8:
        return data[4] == TOOL and data[5:8] == pgn.to_bytes(3, "little")
    return ident >> 8 & (0x3FFFF if form >= 240 else 0x3FF00) == pgn


@dataclass
class Lived:
    live: LiveBus
    tester: Asker

    def until(self, machine_s: float) -> None:
        for _ in self.tester.messages(30.0):
            if self.live.now_s() >= machine_s:
                return
        pytest.fail(f"the machine never came to {machine_s} s")


def truck(running: bool = False) -> LiveMachine:
    day = Day(ambient_c=20.0, coolant_c=84.0, oil_c=88.0)
    outing = outing_of("truck", ("idle", 50), day=day)
    if not running:
        phases = (replace(outing.phases[0], seconds=60), *outing.phases[1:])
        outing = replace(outing, phases=phases)
    return LiveMachine(replace(outing, stores={("truck", "engine"): STORE}), 3)


@pytest.fixture
def played(request: pytest.FixtureRequest) -> Iterator[Lived]:
    machine, from_s = request.param
    names = {one: f"live{next(_NAMES)}" for one in ("can0",)}
    buses = open_buses("virtual", names)
    tester = Asker(can.Bus(names["can0"], interface="virtual"))
    live = LiveBus(machine(), buses, time.monotonic, pace=4.0, from_s=from_s)
    try:
        with live:
            yield Lived(live, tester)
    finally:
        tester.bus.shutdown()
        for bus in buses.values():
            bus.shutdown()
    assert not [one for one in threading.enumerate() if one.name.startswith("machine ")]


@pytest.mark.parametrize("played", [(truck, 1.0)], indirect=True)
def test_it_answers_what_it_is_asked(played: Lived) -> None:
    tester = played.tester
    played.until(1.5)
    assert tester.answer(65260) == b"XCH05TRXCK1900432*"
    tester.holds = True
    assert tester.answer(65242) == b"\x02EMS 30.2*DS 7781*"
    tester.holds = False
    remembered = read_fault_list(tester.answer(DM2))
    assert remembered is not None
    assert {(one.spn, one.fmi, one.count) for one in remembered.dtcs} == {(105, 16, 3), (97, 31, 1)}
    (frame,) = read_dm4(tester.answer(DM4))
    assert {one.spn: one.value for one in frame.values}[190] == 1500.0
    supported = read_dm24(tester.answer(DM24))
    (expanded,) = read_dm25(tester.answer(DM25), supported)
    assert expanded.fits
    assert dict(expanded.values)[190] == (12_000).to_bytes(2, "little")
    ready = read_dm5(tester.answer(DM5))
    assert ready is not None
    assert (ready.active, ready.previously_active, ready.obd_type) == (0, 2, 20)
    assert tester.answer(DM29)[:5] == bytes(5)
    # Who has nothing of the kind refuses when asked by address.
    assert tester.answer(DM24, 11)[0] == 1


@pytest.mark.parametrize("played", [(truck, 0.5)], indirect=True)
def test_the_stopped_engine_lets_itself_be_cleared(played: Lived) -> None:
    played.until(1.0)
    assert played.tester.answer(DM11) == bytes.fromhex("00fffffff9d3fe00")
    listed = read_fault_list(played.tester.answer(DM2))
    assert listed is not None
    assert listed.dtcs == ()
    ready = read_dm5(played.tester.answer(DM5))
    assert ready is not None
    assert any(not one.complete for one in ready.monitors if one.supported)


@pytest.mark.parametrize("played", [(lambda: truck(running=True), 11.0)], indirect=True)
def test_the_running_engine_refuses(played: Lived) -> None:
    played.until(12.0)
    assert played.tester.answer(DM11) == bytes.fromhex("03fffffff9d3fe00")
    listed = read_fault_list(played.tester.answer(DM2))
    assert listed is not None
    assert len(listed.dtcs) == 2


@pytest.mark.parametrize("played", [(lambda: truck(running=True), 0.0)], indirect=True)
def test_it_claims_its_addresses_and_is_heard(played: Lived) -> None:
    played.until(3.0)
    played.tester.ask(ADDRESS_CLAIM, 255)
    played.until(6.0)
    groups = {one.arbitration_id >> 8 & 0x3FFFF for one in played.tester.seen}
    claims = {one.arbitration_id & 0xFF for one in played.tester.seen
              if one.arbitration_id >> 16 & 0xFF == 0xEE}  # fmt: skip
    assert claims == {one.address for one in MACHINES["truck"].controllers}
    assert {61444, 65262, 65226} <= groups
    assert played.live.sent > 500


def frames_of(machine: LiveMachine, until_s: float, source: int) -> list[Event]:
    return [one for one in machine.due(until_s) if one.ident & 0xFF == source]


def test_a_stop_is_heard_live() -> None:
    machine = truck(running=True)
    assert frames_of(machine, 10.0, 0)
    machine.hear(10.0, Event(0, 0x18DFFFF9, dm13(stop=True)))
    assert frames_of(machine, 15.9, 0) == []
    assert frames_of(machine, 17.0, 0)
    machine.hear(17.0, Event(0, 0x18DFFFF9, dm13(stop=True)))
    machine.hear(18.0, Event(0, 0x18DFFFF9, dm13(stop=False)))
    assert frames_of(machine, 20.0, 0)[0].time_us >= 18_000_000
    assert DM13 == 57088


def test_the_lower_name_keeps_the_address() -> None:
    # SAE J1939-81 4.4: the engine defends its own, or cannot claim (from address 254)
    machine = truck(running=True)
    machine.due(5.0)
    machine.hear(5.0, Event(0, 0x18EEFF00, b"\xff" * 8))
    (defence,) = (one for one in machine.due(5.01) if one.ident >> 16 & 0xFF == 0xEE)
    assert defence.ident & 0xFF == 0
    machine.hear(6.0, Event(0, 0x18EEFF00, bytes(8)))
    said = machine.due(8.0)
    (cannot,) = (one for one in said if one.ident >> 16 & 0xFF == 0xEE)
    assert cannot.ident & 0xFF == NULL_ADDRESS
    late = [one for one in said if one.ident & 0xFF == 0 and one.time_us > 6_002_000]
    assert late == []


def test_who_may_takes_another_address() -> None:
    tractor = outing_of("big_tractor", ("idle", 60))
    machine = LiveMachine(replace(tractor, implement=MACHINES["loader_wagon"]), 1)
    wagon = MACHINES["loader_wagon"].controllers[0]
    machine.due(6.0)
    rival = Event(0, 0x18EEFF00 | wagon.address, bytes(8), channel="can1")
    machine.hear(6.0, rival)
    said = [one for one in machine.due(9.0) if one.channel == "can1"]
    taken = machine.address_of(wagon)
    assert 128 <= taken <= 247
    assert taken != wagon.address
    assert any(one.ident == 0x18EEFF00 | taken for one in said)
    assert not any(one.ident & 0xFF == wagon.address and one.time_us > 6_002_000 for one in said)


def test_a_clear_changes_what_is_reported_after_it() -> None:
    outing = outing_of("truck", ("idle", 60), causes=("wiring.open.100",))
    outing = replace(outing, phases=(replace(outing.phases[0], seconds=40), *outing.phases[1:]))
    machine = LiveMachine(outing, 3)
    before = [one for one in frames_of(machine, 10.0, 0) if one.ident == 0x18FECA00]
    assert before[-1].data[2:5] == bytes.fromhex("640004")
    machine.hear(10.0, Event(0, 0x18EA00F9, DM11.to_bytes(3, "little")))
    after = [one for one in frames_of(machine, 20.0, 0) if one.ident == 0x18FECA00]
    assert after[0].data[2:6] == bytes(4), "cleared, and not found again yet"
    assert after[-1].data[2:5] == bytes.fromhex("640004")


def test_the_same_machine_lives_the_same_life() -> None:
    assert truck().due(8.0) == truck().due(8.0)
    piecewise, whole = truck(), truck().due(8.0)
    parts = [event for turn in range(1, 81) for event in piecewise.due(turn / 10)]
    assert parts == whole
    assert piecewise.next_s() > 8.0


def test_only_buses_of_no_machine_are_opened() -> None:
    with pytest.raises(ValueError, match="simulated"):
        open_buses("socketcan", {"can0": "can0"})  # type: ignore[arg-type]


def test_what_ends_a_thread_is_told() -> None:
    class Broken:
        seconds = 10.0

        def next_s(self) -> float:
            return 0.0

        def due(self, now_s: float) -> list[Event]:
            raise OSError("the adapter is gone")

        def hear(self, at_s: float, event: Event) -> None:
            pass

    live = LiveBus(Broken(), {}, time.monotonic)
    live.start()
    assert live.wait(PATIENCE_S)
    with pytest.raises(OSError, match="adapter is gone"):
        live.stop()
    with pytest.raises(RuntimeError, match="already"):
        live.start()


# A road vehicle


def road(trip: RoadTrip = PICKUP_TRIP) -> LiveRoad:
    return LiveRoad(trip, 3)


def said(vehicle: LiveRoad, at_s: float, ident: int, request: bytes) -> bytes:
    """Ask a road vehicle and put its answer together by hand, two frames at a time."""
    frame = (bytes((len(request),)) + request).ljust(8, b"\0")
    vehicle.hear(at_s, Event(0, ident, frame, extended=False))
    size, body, now_s = 0, b"", at_s
    while now_s < at_s + 2.0:
        now_s += 0.01
        for event in vehicle.due(now_s):
            if event.ident != 0x7E8:
                continue
            kind = event.data[0] >> 4
            if kind == 0:
                return event.data[1 : 1 + event.data[0]]
            if kind == 1:
                size, body = (event.data[0] & 0xF) << 8 | event.data[1], event.data[2:]
            else:
                body += event.data[1:]
            if len(body) >= size:
                return body[:size]
            if kind == 1 or event.data[0] & 1 == 0:
                flow = bytes((0x30, 2, 5)).ljust(8, b"\0")
                vehicle.hear(now_s, Event(0, 0x7E0, flow, extended=False))
    pytest.fail("no answer")


def test_a_road_vehicle_answers_a_tester() -> None:
    vehicle = road()
    assert said(vehicle, 1.0, 0x7DF, b"\x09\x02") == b"\x49\x02\x01XCH06PKCXP1700986"
    assert said(vehicle, 4.0, 0x7DF, b"\x03") == bytes.fromhex("43010299")
    assert said(vehicle, 7.0, 0x7E0, b"\x19\x02\x0d")[:3] == b"\x59\x02\xff"
    assert said(vehicle, 10.0, 0x7E0, b"\x04") == bytes.fromhex("7f0422"), "the engine runs"
    assert said(vehicle, 13.0, 0x7E0, b"\x01\x0c\x05")[:2] == b"\x41\x0c"
    listed = said(vehicle, 16.0, 0x7DF, b"\x01\x00")
    assert listed[:2] == b"\x41\x00"
    there = {1 + bit for bit in range(32) if int.from_bytes(listed[2:], "big") >> (31 - bit) & 1}
    assert {0x01, 0x04, 0x05, 0x0C, 0x0D, 0x20} <= there


def test_a_standing_road_vehicle_is_cleared_but_for_permanent_codes() -> None:
    codes = RoadCodes(("P0299",), (), (("P0299", 0, 0x2F),), ("P0299",))
    first = PICKUP_TRIP.phases[0]
    stopped = tuple(replace(first, activity="key_on", seconds=30) for _ in range(1))
    vehicle = road(replace(PICKUP_TRIP, codes=codes, phases=stopped, day=Day()))
    assert said(vehicle, 1.0, 0x7E0, b"\x04") == b"\x44"
    assert said(vehicle, 4.0, 0x7DF, b"\x03") == b"\x43\x00"
    assert said(vehicle, 7.0, 0x7DF, b"\x0a") == bytes.fromhex("4a010299")
    assert said(vehicle, 10.0, 0x7DF, b"\x01\x01")[2] == 0
