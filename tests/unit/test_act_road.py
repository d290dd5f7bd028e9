"""Asking a road vehicle: the reading services of SAE J1979, one a second, with flow control."""

from __future__ import annotations

import itertools
from collections.abc import Callable

import pytest
from tests.asked_machine import SECOND

from shearbolt.act import Ended, Gate, RoadAsker, tool_name
from shearbolt.model.frames import EXTENDED, PlainFrame

NAME = tool_name(1)
VIN = b"AB1CD23E4FG567890"


class Vehicle:
    """One or two controllers that answer J1979; 11 or 29 bits. Frames by ISO 15765-2."""

    def __init__(self, *, extended: bool = False, speed_kmh: int = 0, chatter: bool = True) -> None:
        self.extended, self.speed_kmh, self.chatter = extended, speed_kmh, chatter
        self.got: list[tuple[int, PlainFrame]] = []
        self.out: list[tuple[int, PlainFrame]] = []
        self.rest: list[bytes] = []
        self.answers: dict[bytes, bytes] = {
            b"\x01\x00": bytes.fromhex("410098188013"),
            b"\x01\x20": bytes.fromhex("412000000001"),
            b"\x01\x40": bytes.fromhex("414044000000"),
            b"\x01\x01": bytes.fromhex("4101810eeb42"),
            b"\x01\x0c": bytes.fromhex("410c1af8"),
            b"\x03": bytes.fromhex("430101 43".replace(" ", "")),
            b"\x07": b"\x47\x00",
            b"\x0a": b"\x4a\x00",
            b"\x02\x02\x00": bytes.fromhex("4202000143"),
            b"\x02\x0c\x00": bytes.fromhex("420c001af8"),
            b"\x09\x02": b"\x49\x02\x01" + VIN,
        }
        self.silent = False
        self.slow: set[bytes] = set()
        """Requests that are answered by 'response pending' first, and four seconds later."""

    def frame(self, data: bytes, unit: int = 0) -> PlainFrame:
        data = data.ljust(8, b"\xaa")
        if self.extended:
            return PlainFrame(0, 0x18DAF100 | unit, data, EXTENDED)
        return PlainFrame(0, 0x7E8 + unit, data, 0)

    def step(self, now_us: int) -> list[PlainFrame]:
        said = [one for at, one in self.out if at <= now_us]
        self.out = [pair for pair in self.out if pair[0] > now_us]
        if self.chatter and now_us % 100_000 == 0:
            said.append(
                PlainFrame(0, 0x18FEF200, b"\xff" * 8, EXTENDED)
                if self.extended
                else PlainFrame(0, 0x1A0, bytes(8), 0)
            )
        return said

    def take(self, now_us: int, frame: PlainFrame) -> None:
        self.got.append((now_us, frame))
        if self.silent:
            return
        if frame.ident in (0x7DF, 0x18DB33F1):
            payload = frame.data[1 : 1 + frame.data[0]]
            answer = self.answers.get(payload)
            if payload == b"\x01\x0d":
                answer = bytes((0x41, 0x0D, self.speed_kmh))
            if answer is None:
                self.out.append((now_us + 20_000, self.frame(b"\x03\x7f" + payload[:1] + b"\x12")))
            elif len(answer) < 8:
                at_us = now_us + 20_000
                if payload in self.slow:
                    wait = b"\x03\x7f" + payload[:1] + b"\x78"
                    self.out.append((at_us, self.frame(wait)))
                    at_us += 4 * SECOND
                self.out.append((at_us, self.frame(bytes((len(answer),)) + answer)))
            else:
                head = bytes((0x10, len(answer))) + answer[:6]
                self.out.append((now_us + 20_000, self.frame(head)))
                self.rest = [answer[i : i + 7] for i in range(6, len(answer), 7)]
        elif frame.data[0] == 0x30:
            for number, part in enumerate(self.rest, 1):
                at_us = now_us + 10_000 * number
                self.out.append((at_us, self.frame(bytes((0x20 | number,)) + part)))
            self.rest = []

    @property
    def asked(self) -> list[bytes]:
        return [
            one.data[1 : 1 + one.data[0]] for _, one in self.got if one.ident in (0x7DF, 0x18DB33F1)
        ]


def ask(
    vehicle: Vehicle, *, word: bool = True, meddle: Callable[[int, Vehicle], None] | None = None
) -> RoadAsker:
    asker, gate = RoadAsker(NAME, word=word), Gate(NAME, frozenset(), road=True)
    now_us = 0
    while asker.ended is None and now_us < 200 * SECOND:
        if meddle is not None:
            meddle(now_us, vehicle)
        for frame in asker.step(now_us, vehicle.step(now_us)):
            gate.let_through(now_us, frame)
            asker.sent(PlainFrame(now_us, frame.ident, frame.data, frame.flags))
            vehicle.take(now_us, frame)
            # Sending takes a while, sometimes longer.
            now_us += 10_000 * (len(vehicle.got) % 3)
        now_us += 10_000
    return asker


def told(asker: RoadAsker, payload: bytes) -> dict[int, str]:
    return {
        who: how
        for one in asker.requests
        if one.payload == payload
        for who, how in one.answers.items()
    }


@pytest.mark.parametrize("extended", [False, True])
def test_everything_offered_is_asked_and_long_answers_get_their_flow_control(
    extended: bool,
) -> None:
    vehicle = Vehicle(extended=extended)
    asker = ask(vehicle)
    assert asker.ended is Ended.DONE
    who = 0 if extended else 0x7E8
    assert told(asker, b"\x09\x02") == {who: "answered"}
    assert told(asker, b"\x03") == {who: "answered"}
    assert told(asker, b"\x09\x04") == {who: "refused"}
    flow = [one for _, one in vehicle.got if one.data[0] == 0x30]
    assert [one.ident for one in flow] == [0x18DA00F1 if extended else 0x7E0]


def test_the_speed_is_asked_first_and_again_and_again() -> None:
    vehicle = Vehicle()
    ask(vehicle)
    assert vehicle.asked[0] == b"\x01\x0d"
    at = [i for i, one in enumerate(vehicle.asked) if one == b"\x01\x0d"]
    assert max(b - a for a, b in itertools.pairwise(at)) <= 6
    assert len(at) > 2


def test_only_what_the_vehicle_offers_is_asked() -> None:
    vehicle = Vehicle()
    ask(vehicle)
    # 01 00 offers 01, 04, 05, 0C, 0D, 11, 1C, 1F, 20; 01 20 offers 40; 01 40 offers 42 and 46.
    assert {b"\x01\x42", b"\x01\x46", b"\x01\x0c"} <= set(vehicle.asked)
    assert not {b"\x01\x5c", b"\x01\x0b", b"\x01\x60"} & set(vehicle.asked)


def test_freeze_frame_values_are_asked_only_where_one_is_stored() -> None:
    with_one, without = Vehicle(), Vehicle()
    without.answers[b"\x02\x02\x00"] = bytes.fromhex("4202000000")
    ask(with_one)
    ask(without)
    assert b"\x02\x0c\x00" in with_one.asked
    assert b"\x02\x0c\x00" not in without.asked


def test_requests_are_a_second_apart() -> None:
    vehicle = Vehicle()
    ask(vehicle)
    times = [at for at, one in vehicle.got if one.ident == 0x7DF]
    assert min(b - a for a, b in itertools.pairwise(times)) >= SECOND


def test_nothing_is_asked_without_the_persons_word() -> None:
    vehicle = Vehicle()
    asker = ask(vehicle, word=False)
    assert (asker.ended, vehicle.got) == (Ended.NOT_CONFIRMED, [])
    assert asker.planned()[0].data[:3] == b"\x02\x01\x0d"


def test_a_moving_vehicle_is_not_asked_further() -> None:
    vehicle = Vehicle(speed_kmh=12)
    asker = ask(vehicle)
    assert (asker.ended, vehicle.asked) == (Ended.MOVING, [b"\x01\x0d"])


def test_it_ends_when_the_vehicle_sets_off() -> None:
    vehicle = Vehicle()

    def set_off(now_us: int, one: Vehicle) -> None:
        one.speed_kmh = 5 if now_us > 15 * SECOND else 0

    assert ask(vehicle, meddle=set_off).ended is Ended.MOVING
    assert len(vehicle.asked) < 20


@pytest.mark.parametrize(
    "frame",
    [
        PlainFrame(0, 0x7DF, b"\x01\x03" + b"\x55" * 6, 0),
        PlainFrame(0, 0x7E0, b"\x02\x3e\x00" + b"\x55" * 5, 0),
        PlainFrame(0, 0x18DB33F1, b"\x01\x03" + b"\x55" * 6, EXTENDED),
    ],
)
@pytest.mark.parametrize("at_s", [1.0, 12.0])
def test_never_while_another_tester_is_heard(frame: PlainFrame, at_s: float) -> None:
    vehicle = Vehicle()
    vehicle.out.append((round(at_s * SECOND), frame))
    assert ask(vehicle).ended is Ended.OTHER_TESTER
    assert all(at < at_s * SECOND for at, _ in vehicle.got)


def test_answers_to_somebody_else_give_him_away() -> None:
    vehicle = Vehicle()
    vehicle.out.append((SECOND, vehicle.frame(b"\x03\x41\x05\x7b")))
    assert ask(vehicle).ended is Ended.OTHER_TESTER
    assert vehicle.got == []


def test_behind_a_gateway_the_plug_is_silent_until_asked() -> None:
    vehicle = Vehicle(chatter=False)
    asker = ask(vehicle)
    assert asker.ended is Ended.DONE
    assert vehicle.got[0][0] >= 8 * SECOND


def test_nobody_there_ends_it_after_three_requests() -> None:
    vehicle = Vehicle(chatter=False)
    vehicle.silent = True
    assert ask(vehicle).ended is Ended.BUS_SILENT
    assert len(vehicle.asked) == 3


def test_nothing_heard_and_no_word_is_told() -> None:
    assert ask(Vehicle(chatter=False), word=False).ended is Ended.NOTHING_HEARD


def test_a_controller_that_asks_for_patience_gets_it() -> None:
    vehicle = Vehicle()
    vehicle.slow = {b"\x09\x00"}
    vehicle.answers[b"\x09\x00"] = bytes.fromhex("490055400000")
    asker = ask(vehicle)
    assert told(asker, b"\x09\x00") == {0x7E8: "answered"}
    # Nothing else is asked meanwhile.
    times = [at for at, one in vehicle.got if one.ident == 0x7DF]
    at = vehicle.asked.index(b"\x09\x00")
    assert times[at + 1] - times[at] >= 4 * SECOND
