"""Asking on SAE J1939: what is sent when, to whom, and what puts an end to it."""

from __future__ import annotations

import itertools
from collections.abc import Callable

import pytest
from tests.asked_machine import SECOND, TOOL, Machine, Unit, ext, le3, tractor

from shearbolt.act import Asker, Ended, Gate, askable_groups, tool_name
from shearbolt.act.askable import NEVER
from shearbolt.model.frames import PlainFrame

NAME = tool_name(12345)
GROUPS = frozenset(one.pgn for one in askable_groups())
Meddle = Callable[[int, Machine], None]


def ask(
    machine: Machine, *, word: bool = True, until_s: float = 300, meddle: Meddle | None = None
) -> Asker:
    """Let the asker and the machine talk in steps of 10 ms; all goes through the gate."""
    asker, gate = Asker(NAME, word=word), Gate(NAME, GROUPS, road=False)
    now_us = 0
    while asker.ended is None and now_us < until_s * SECOND:
        if meddle is not None:
            meddle(now_us, machine)
        for frame in asker.step(now_us, machine.step(now_us)):
            gate.let_through(now_us, frame)
            machine.take(now_us, frame)
        now_us += 10_000
    return asker


def asked_of(machine: Machine, address: int) -> list[int]:
    return [pgn for _, pgn, asked in machine.requests if asked == address]


def answers(asker: Asker, pgn: int) -> dict[int, str]:
    return {
        who: how for one in asker.requests if one.pgn == pgn for who, how in one.answers.items()
    }


def test_the_whole_list_is_asked_of_all_once_in_its_order() -> None:
    machine = tractor()
    asker = ask(machine)
    assert asker.ended is Ended.DONE
    assert asked_of(machine, 255) == [one.pgn for one in askable_groups()]
    assert len(machine.claims) == 1
    assert not GROUPS & NEVER


def test_requests_are_at_least_a_second_apart_and_follow_the_claim_by_250_ms() -> None:
    machine = tractor()
    ask(machine)
    times = [at for at, _, _ in machine.requests]
    assert min(later - before for before, later in itertools.pairwise(times)) >= SECOND
    assert times[0] - machine.claims[0] >= 250_000
    assert machine.claims[0] >= 5 * SECOND


def test_who_answered_is_told() -> None:
    asker = ask(tractor())
    assert answers(asker, 65227) == {0: "answered", 3: "refused"}
    assert answers(asker, 65260) == {0: "answered"}
    assert answers(asker, 65236) == {3: "answered"}


def test_a_refused_or_missing_dm2_falls_back_on_the_emission_lists() -> None:
    machine = tractor()
    ask(machine)
    # The engine sent DM2 when all were asked; the gearbox refuses, and sent DM12 already.
    assert 65227 not in asked_of(machine, 0)
    assert asked_of(machine, 3) == [65227, 64949, 64896]
    # The terminal says nothing at all.
    assert asked_of(machine, 0x26) == [65227, 65236, 64949, 64896]


def test_an_engine_deaf_to_all_is_asked_by_its_address_and_gets_its_transport_answers() -> None:
    machine = tractor()
    machine.units[0].deaf_to_all = True
    asker = ask(machine)
    assert {65260, 65253, 65227, 65230} <= set(asked_of(machine, 0))
    assert answers(asker, 65260)[0] == "answered"
    assert (0, 65260) in machine.ended


def test_a_lost_packet_is_asked_for_again() -> None:
    machine = tractor()
    machine.units[0].deaf_to_all = True
    machine.units[0].answers[65229] = bytes(range(200))
    machine.drop_packets = {2, 17}
    asker = ask(machine)
    assert answers(asker, 65229)[0] == "answered"
    assert not machine.drop_packets
    clears = [one.data for _, one in machine.got if one.data[:1] == b"\x11"]
    assert {one[2] for one in clears} >= {1, 2, 17}
    assert all(one[1] <= 16 for one in clears)


def test_no_request_talks_into_a_long_answer() -> None:
    machine = tractor()
    machine.units[0].answers[65229] = bytes(700)
    ask(machine)
    times = {pgn: at for at, pgn, asked in machine.requests if asked == 255}
    # 100 packets, 60 ms apart.
    assert times[64950] - times[65229] >= 6 * SECOND


def test_a_busy_controller_is_asked_once_more() -> None:
    machine = tractor()
    del machine.units[1].control[65227]
    machine.units[1].busy_once = {65227}
    asker = ask(machine)
    assert asked_of(machine, 3).count(65227) == 2
    assert answers(asker, 65227)[3] == "refused"


def test_a_claim_is_repeated_when_claims_are_asked_for() -> None:
    machine = tractor()
    machine.say(20 * SECOND, ext(0x18EAFF00, le3(60928)))
    ask(machine)
    assert len(machine.claims) == 2


def test_without_the_persons_word_nothing_is_sent_and_the_plan_is_told() -> None:
    machine = tractor()
    asker = ask(machine, word=False)
    assert asker.ended is Ended.NOT_CONFIRMED
    assert machine.got == []
    assert asker.stand.standing is True
    assert len(asker.planned()) == 1 + len(askable_groups())


def test_with_no_speed_on_the_bus_the_word_counts() -> None:
    machine = tractor()
    machine.speed_kmh = None
    asker = ask(machine)
    assert asker.ended is Ended.DONE
    assert not asker.stand.ever_told


def test_a_speed_that_is_never_a_number_is_no_speed() -> None:
    machine = tractor()
    machine.speed_kmh = 0xFF00 / 256
    asker = ask(machine)
    assert asker.ended is Ended.DONE
    assert not asker.stand.ever_told


@pytest.mark.parametrize("word", [True, False])
def test_a_machine_that_moves_is_not_asked(word: bool) -> None:
    machine = tractor()
    machine.speed_kmh = 3.2
    asker = ask(machine, word=word)
    assert asker.ended is Ended.MOVING
    assert machine.got == []
    assert asker.stand.speeds[0].value == pytest.approx(3.2, abs=0.01)


@pytest.mark.parametrize(
    ("ident", "data"),
    [
        (0x0CFE4811, (600).to_bytes(2, "little") + b"\xff" * 6),  # 0.6 m/s
        (0x0CF00203, b"\xff" + (400).to_bytes(2, "little") + b"\xff" * 5),  # 50 rpm
    ],
)
def test_every_known_speed_counts(ident: int, data: bytes) -> None:
    machine = tractor()
    machine.say(5 * SECOND - 100_000, ext(ident, data))
    assert ask(machine).ended is Ended.MOVING
    assert machine.got == []


def test_it_must_have_stood_for_three_seconds() -> None:
    machine = tractor()
    machine.speed_kmh = 8.0

    def stop_late(now_us: int, one: Machine) -> None:
        if now_us >= 4.5 * SECOND:
            one.speed_kmh = 0.0

    ask(machine, meddle=stop_late)
    assert machine.claims[0] >= 7.5 * SECOND


def moved(at_s: float) -> Meddle:
    def meddle(now_us: int, machine: Machine) -> None:
        if now_us >= at_s * SECOND:
            machine.speed_kmh = 1.0

    return meddle


def test_nothing_is_sent_any_more_once_it_moves() -> None:
    machine = tractor()
    asker = ask(machine, meddle=moved(12.0))
    assert asker.ended is Ended.MOVING
    assert max(at for at, _ in machine.got) <= 12.1 * SECOND


def test_a_speed_that_is_lost_pauses_and_then_ends_it() -> None:
    machine = tractor()

    def lose(now_us: int, one: Machine) -> None:
        one.speed_kmh = None if now_us > 10 * SECOND else 0.0

    asker = ask(machine, meddle=lose)
    assert asker.ended is Ended.SPEED_LOST
    assert max(at for at, _ in machine.got) <= 12.2 * SECOND


def test_a_speed_that_comes_back_goes_on_after_standing_again() -> None:
    machine = tractor()

    def blink(now_us: int, one: Machine) -> None:
        one.speed_kmh = None if 10 * SECOND < now_us < 13 * SECOND else 0.0

    asker = ask(machine, meddle=blink)
    assert asker.ended is Ended.DONE
    assert not [at for at, _ in machine.got if 12.2 * SECOND < at < 16 * SECOND]


TESTERS = [
    ext(0x18EA00FA, le3(65227)),
    ext(0x18FEE0FB, b"\xff" * 8),
    ext(0x18EEFFFA, bytes.fromhex("0500e0ff00810080")),
    ext(0x18EEFF90, bytes.fromhex("0500e0ff00810080")),
    ext(0x18DA00F1, b"\x02\x01\x00" + b"\x55" * 5),
    ext(0x18DB33F1, b"\x02\x01\x00" + b"\x55" * 5),
    ext(0x18DAF100, b"\x03\x7f\x01\x11" + b"\x55" * 4),
    PlainFrame(0, 0x7DF, b"\x02\x01\x00" + b"\x55" * 5, 0),
    PlainFrame(0, 0x7E8, b"\x03\x41\x05\x7b" + b"\x55" * 4, 0),
]


@pytest.mark.parametrize("frame", TESTERS, ids=lambda one: f"{one.ident:X}")
@pytest.mark.parametrize("at_s", [2.0, 11.0])
def test_never_while_another_tester_is_heard(frame: PlainFrame, at_s: float) -> None:
    machine = tractor()
    machine.say(round(at_s * SECOND), frame)
    asker = ask(machine)
    assert asker.ended is Ended.OTHER_TESTER
    assert asker.company.tester is not None
    assert all(at < at_s * SECOND for at, _ in machine.got)
    assert bool(machine.got) == (at_s > 5)


def test_a_unit_of_agriculture_with_function_129_is_no_tester() -> None:
    machine = tractor()
    # Section control (function 129 of device class 5, industry group 2), and address 241.
    machine.say(SECOND, ext(0x18EEFF90, bytes.fromhex("0100a04c00810aa0")))
    machine.say(SECOND, ext(0x18FEE0F1, b"\xff" * 8))
    assert ask(machine).ended is Ended.DONE


@pytest.mark.parametrize(
    "name", ["0100a04c00000020", "ffffffffffffffff"], ids=["lower NAME", "higher NAME"]
)
def test_any_objection_to_our_address_ends_it(name: str) -> None:
    machine = tractor()

    def object_(now_us: int, one: Machine) -> None:
        if one.claims and now_us == one.claims[0] + 100_000:
            one.say(now_us, ext(0x18EEFF00 | TOOL, bytes.fromhex(name)))

    asker = ask(machine, meddle=object_)
    assert asker.ended is Ended.OBJECTION
    assert len(machine.got) == 1
    assert asker.company.objected is not None


def test_a_bus_that_falls_silent_ends_it() -> None:
    machine = tractor()
    machine.speed_kmh = None

    def silence(now_us: int, one: Machine) -> None:
        one.talks = now_us < 12 * SECOND
        if not one.talks:
            one.units = []

    assert ask(machine, meddle=silence).ended is Ended.BUS_SILENT


def test_a_silent_bus_is_told_and_nothing_sent() -> None:
    machine = Machine()
    machine.talks = False
    assert ask(machine).ended is Ended.NOTHING_HEARD
    assert machine.got == []


def test_a_road_vehicles_bus_is_told() -> None:
    machine = Machine()
    machine.talks = False
    for i in range(100):
        machine.say(i * 50_000, PlainFrame(0, 0x1A0, b"\x00" * 8, 0))
    assert ask(machine).ended is Ended.OTHER_KIND
    assert machine.got == []


def test_nothing_is_asked_while_the_engine_cranks() -> None:
    machine = tractor()

    def crank(now_us: int, one: Machine) -> None:
        one.rpm = 180.0 if 10 * SECOND <= now_us < 13 * SECOND else 0.0

    ask(machine, meddle=crank)
    assert not [at for at, _ in machine.got if 10.2 * SECOND < at < 13 * SECOND]
    assert [at for at, _ in machine.got if at > 13 * SECOND]


def test_a_session_nobody_asked_for_gets_no_answer() -> None:
    machine = tractor()
    head = (20).to_bytes(2, "little") + bytes((3, 0xFF)) + le3(65280)
    machine.say(10 * SECOND, ext(0x1CEC0000 | TOOL << 8 | 3, b"\x10" + head))
    # Asked, but of all: not before the request went out.
    early = (20).to_bytes(2, "little") + bytes((3, 0xFF)) + le3(64920)
    machine.say(7 * SECOND, ext(0x1CEC0000 | TOOL << 8 | 3, b"\x10" + early))
    ask(machine)
    assert not [one for _, one in machine.got if one.ident == 0x1CEC0300 | TOOL]


def test_stopping_from_outside_ends_it() -> None:
    asker = Asker(NAME, word=True)
    asker.stop(Ended.STOPPED)
    assert asker.step(0, []) == ()
    assert asker.ended is Ended.STOPPED


def test_more_senders_than_can_be_asked_one_by_one_are_left_out() -> None:
    machine = tractor()
    machine.units = []
    for address in range(0x80, 0xC0):
        machine.say(SECOND, ext(0x18FEE000 | address, b"\xff" * 8))
    ask(machine)
    assert len({asked for _, _, asked in machine.requests if asked != 255}) == 24


def test_a_slow_adapter_never_runs_into_the_gate() -> None:
    machine = tractor()
    asker, gate = Asker(NAME, word=True), Gate(NAME, GROUPS, road=False)
    now_us = count = 0
    times = []
    while asker.ended is None and now_us < 300 * SECOND:
        for frame in asker.step(now_us, machine.step(now_us)):
            # Each sending takes another while, up to a third of a second.
            count += 1
            now_us += count * 97_000 % 330_000
            gate.let_through(now_us, frame)
            asker.sent(PlainFrame(now_us, frame.ident, frame.data, frame.flags))
            machine.take(now_us, frame)
            if frame.ident & 0x1FFF00FF == 0x18EA0000 | TOOL:
                times.append(now_us)
        now_us += 10_000
    assert asker.ended is Ended.DONE
    assert min(b - a for a, b in itertools.pairwise(times)) >= SECOND


def test_unit_defaults_refuse() -> None:
    unit = Unit(7)
    machine = Machine(unit)
    machine.take(0, ext(0x18EA0700 | TOOL, le3(65227)))
    assert machine.step(SECOND)[-1].data == bytes((1, 0xFF, 0xFF, 0xFF, TOOL)) + le3(65227)
