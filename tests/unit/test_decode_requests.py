"""Requests counted in bulk: what the visit tells is the same as from one by one."""

from __future__ import annotations

import pytest
from tests import bus_traffic as t
from tests.bus_traffic import Bus, content_of

from shearbolt.decode import visit
from shearbolt.decode.visit import EVERY, VisitBuilder


def asking_bus(*, clears: bool) -> Bus:
    bus = Bus()
    for at in range(40):
        bus.ask(at / 10, t.VIN if at % 3 else t.DM2, at % 2)
        bus.say(at / 10 + 0.02, 0xEA00, 0, bytes((0xEC, 0xFE, 0x00)[: at % 4]))
        bus.say(at / 10 + 0.03, 0xEA00, 3, b"\xff\xff\xff")
        bus.say(at / 10 + 0.04, t.CLOCK, 0, bytes.fromhex("503B0A05392B7D7D"))
    if clears:
        bus.ask(1.005, t.DM11)
        bus.answer(1.105, 0, t.DM11)
    return bus


@pytest.mark.parametrize("clears", [False, True])
def test_bulk_and_one_by_one_tell_the_same(clears: bool, monkeypatch: pytest.MonkeyPatch) -> None:
    frames = asking_bus(clears=clears).frames
    told = content_of(frames)
    monkeypatch.setattr(visit, "count_requests", lambda _block: None)
    monkeypatch.setattr(VisitBuilder, "_wanted", lambda *_args, **_ways: EVERY)
    assert content_of(frames) == told
    assert sum(one.count for one in told.requests) >= 40
    assert len(told.clears) == int(clears)
    assert len(told.clocks) == 2
