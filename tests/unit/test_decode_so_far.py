"""A visit told while it goes on, and pauses of the listener that are no news of the machine."""

from __future__ import annotations

import pytest
from tests.bus_traffic import HOURS, VIN, Bus, blocks_of, dtc, fault, name_of

from shearbolt.decode.columns import BlockDecoder
from shearbolt.decode.visit import VisitBuilder, decode_recording
from shearbolt.dictionary.merged import Dictionary
from shearbolt.model.reading import TimeBase


def traffic() -> Bus:
    bus = Bus()
    bus.claim(0.0, 0, name_of(1234))
    bus.engine(0.1, 12.0)
    bus.alive(0.1, 12.0, 3, 23)
    bus.dm1_each(0.5, 8.0, 0, dtc(110, 0), dtc(100, 1))
    for at_s in (1.0, 4.0):
        bus.say(at_s, HOURS, 0, (118_210 + round(at_s)).to_bytes(4, "little") + b"\xff" * 4)
    bus.tell(5.0, VIN, 0, b"XCORBIE0000000017*")
    bus.ask(6.0, 65235)
    bus.answer(6.1, 0, 65235)
    return bus


def test_looking_on_the_way_changes_nothing_of_what_is_told_at_the_end() -> None:
    frames = traffic().frames
    blocks = blocks_of(frames, [50, 120, 250])
    whole = decode_recording(blocks, Dictionary.ours(), TimeBase.RELATIVE)
    decoder = BlockDecoder(Dictionary.ours())
    builder = VisitBuilder(Dictionary.ours(), TimeBase.RELATIVE)
    looks = []
    for block in blocks:
        builder.feed(decoder.feed(block))
        looks.append(builder.so_far())
        assert builder.so_far() == looks[-1]
    assert builder.finish(decoder.finish()) == whole
    assert [one.frames for one in looks] == [50, 120, 250, len(frames)]
    assert looks[0].vins == ()
    assert looks[-1].vins == whole.vins


def test_a_fault_is_active_while_it_is_reported() -> None:
    blocks = blocks_of(traffic().frames, [120])
    decoder = BlockDecoder(Dictionary.ours())
    builder = VisitBuilder(Dictionary.ours(), TimeBase.RELATIVE)
    builder.feed(decoder.feed(blocks[0]))
    assert fault(builder.so_far(), 110).state == "active"
    assert fault(builder.so_far(), 110).spells[-1].ended_by == "recording_end"


@pytest.mark.parametrize("gap_s", [1.5, 2.5, 3.5, 4.5, 6.0, 9.0])
def test_a_gap_in_listening_ends_no_spell_and_is_no_key_off(gap_s: float) -> None:
    """An adapter that is gone for some seconds: a pause does not split a spell."""
    bus = Bus()
    for begin, end in ((0.1, 20.0), (20.0 + gap_s, 40.0)):
        bus.engine(begin, end)
        bus.alive(begin, end, 3, 23)
        bus.dm1_each(begin + 0.3, end, 0, dtc(110, 0))
        bus.dm1_each(begin + 0.3, end, 3)
    content = bus.content()
    (spell,) = fault(content, 110).spells
    assert spell.ended_by == "recording_end"
    assert len(content.pauses) == (gap_s > 5)
