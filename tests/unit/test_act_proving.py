"""Asking the machines of the proving ground, which answer by their own code and tables."""

from __future__ import annotations

import itertools

import pytest

from shearbolt.act import Asker, Ended, Gate, askable_groups, tool_name
from shearbolt.model.frames import EXTENDED, PlainFrame
from shearbolt.proving.live_machine import LiveMachine
from shearbolt.proving.machines import FLEET, SERVICE_TOOL, SERVICE_TOOL_ADDRESS
from shearbolt.proving.outing import Outing, Tool, work
from shearbolt.proving.packing import Event
from shearbolt.proving.trace import Activity, Day

NAME = tool_name(77)
GROUPS = frozenset(one.pgn for one in askable_groups())
SECOND = 1_000_000
FARM = [one for one in FLEET if one.build is not None and one.controllers]


def ask(
    live: LiveMachine, channel: str, from_s: float = 0.0
) -> tuple[Asker, list[tuple[int, PlainFrame]]]:
    """Let the asker and a living machine talk in steps of 10 ms; all goes through the gate."""
    asker, gate = Asker(NAME, word=True), Gate(NAME, GROUPS, road=False)
    sent: list[tuple[int, PlainFrame]] = []
    now_us = round(from_s * SECOND)
    live.due(from_s)
    while asker.ended is None and now_us < live.seconds * SECOND:
        heard = [
            PlainFrame(now_us, one.ident, one.data, EXTENDED if one.extended else 0)
            for one in live.due(now_us / SECOND)
            if one.channel == channel
        ]
        for frame in asker.step(now_us, heard):
            gate.let_through(now_us, frame)
            sent.append((now_us, frame))
            live.hear(now_us / SECOND, Event(0, frame.ident, frame.data, channel=channel))
        now_us += 10_000
    return asker, sent


def outing(number: int, *phases: tuple[Activity, int], tool: Tool | None = None) -> Outing:
    return Outing(
        "x.log", "candump", "2026-05-14T06:00:00Z", FARM[number], Day(), work(*phases), tool=tool
    )


@pytest.mark.parametrize("number", range(len(FARM)), ids=[one.key for one in FARM])
def test_every_machine_of_the_farm_is_asked_to_the_end(number: int) -> None:
    live = LiveMachine(outing(number, ("key_on", 6), ("idle", 240)), seed=5)
    asker, sent = ask(live, live.channels[0], 8.0)
    assert asker.ended is Ended.DONE, asker.stand
    assert asker.stand.engine == "running"
    times = [at for at, one in sent if one.ident & 0x1FFF00FF == 0x18EA00F9]
    assert min(b - a for a, b in itertools.pairwise(times)) >= SECOND
    answered = {one.pgn for one in asker.requests if one.data_from}
    if FARM[number].key == "utility_tractor":
        # Its only controller answers nobody: everything that stands in for DM2 was tried.
        assert answered == set()
        by_address = [one.pgn for one in asker.requests if one.destination == 0]
        assert {65227, 65236, 64949, 64896} <= set(by_address)
    else:
        assert {65253, 65259, 65227, 65230} <= answered


def test_a_machine_on_the_road_is_not_asked() -> None:
    live = LiveMachine(outing(0, ("key_on", 6), ("road", 120)), seed=5)
    asker, sent = ask(live, live.channels[0], 40.0)
    assert (asker.ended, sent) == (Ended.MOVING, [])


def test_it_ends_when_the_machine_drives_off() -> None:
    live = LiveMachine(outing(0, ("key_on", 6), ("idle", 30), ("road", 120)), seed=5)
    asker, sent = ask(live, live.channels[0], 8.0)
    assert asker.ended is Ended.MOVING
    assert asker.requests
    assert max(at for at, _ in sent) < 60 * SECOND


def test_a_workshops_tester_on_the_plug_is_left_alone() -> None:
    tool = Tool(SERVICE_TOOL_ADDRESS, SERVICE_TOOL, 20.0)
    live = LiveMachine(outing(1, ("key_on", 6), ("idle", 120), tool=tool), seed=5)
    asker, sent = ask(live, live.channels[0], 8.0)
    assert asker.ended in (Ended.OTHER_TESTER, Ended.OBJECTION)
    assert max(at for at, _ in sent) < 20.1 * SECOND
