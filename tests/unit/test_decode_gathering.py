"""What is gathered beside the faults: groups, readings, hours, clock, answers, senders."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests import bus_traffic as t
from tests.bus_traffic import Bus, blocks_of, content_of, name_of, sender, us

from shearbolt.decode.columns import BlockDecoder
from shearbolt.decode.presence import JOIN_S, Stretches
from shearbolt.decode.tally import STEPS_KEPT, Beat
from shearbolt.dictionary.merged import Dictionary
from shearbolt.model.frames import ERROR, EXTENDED, REMOTE, PlainFrame, frames_from
from shearbolt.model.signal import ERROR as READING_ERROR
from shearbolt.model.signal import NOT_AVAILABLE, NUMBER

ET1 = 65262


def hours(value: float) -> bytes:
    """Pack total engine hours, 0.05 h a bit (SAE J1939-71, SPN 247)."""
    return round(value / 0.05).to_bytes(4, "little") + b"\xff" * 4


# -- stretches ------------------------------------------------------------------------------------


@given(seconds=st.lists(st.integers(0, 60), max_size=40))
def test_stretches_are_those_of_the_seconds_however_they_come(seconds: list[int]) -> None:
    grown = Stretches()
    for one in seconds:
        grown.add([one])
    expected: list[list[int]] = []
    for one in sorted(set(seconds)):
        if expected and one - expected[-1][1] <= 1 + JOIN_S:
            expected[-1][1] = one
        else:
            expected.append([one, one])
    assert grown.spans == expected
    runs = Stretches()
    runs.add_runs(np.array(sorted(set(seconds)), np.int64))
    assert runs.spans == expected
    assert runs.total_s == sum(last - first + 1 for first, last in expected)


def test_stretches_tell_how_long_one_lived() -> None:
    one = Stretches()
    one.add([10, 11, 12, 20, 21])
    assert one.covered_s(us(0), us(100)) == 3
    assert one.covered_s(us(11), us(21)) == 2
    assert one.end_after(us(11.5)) == 12
    assert one.end_after(us(16)) is None
    assert (one.lived_before_s(us(12.9)), one.lived_before_s(us(20.1))) == (2, 0)


# -- groups ---------------------------------------------------------------------------------------


def test_every_data_frame_counts_once_under_its_own_identifier() -> None:
    bus = Bus()
    bus.tell(0.5, t.DM1, 0, b"\x00\xff" + t.dtc(110, 0) + t.dtc(100, 1))
    bus.say(1.0, t.OWN_GROUP, 3, bytes(8))
    rows = [
        *bus.rows,
        PlainFrame(us(2), 0x18FEF100, b"", EXTENDED | REMOTE, length=8),
        PlainFrame(us(2), 0x20, bytes(8), ERROR),
        PlainFrame(us(2), 0x7E8, bytes(8), 0),
        PlainFrame(us(2.1), 0x7E8, bytes(8), 0),
    ]
    content = content_of(frames_from(rows))
    assert {(one.pgn, one.address): one.count for one in content.groups} == {
        (60416, 0): 1,
        (60160, 0): 2,
        (t.OWN_GROUP, 3): 1,
    }
    assert {one.pgn for one in content.groups if one.decoded} == {60416, 60160}
    assert [(one.ident, one.extended, one.count) for one in content.other_ids] == [
        (0x7E8, False, 2)
    ]
    assert (content.frames, content.error_frames, content.remote_frames) == (8, 1, 1)
    assert dict(content.transport.complete) == {"bam": 1}


@given(cut=st.integers(1, 2 * STEPS_KEPT + 99))
def test_the_usual_step_does_not_depend_on_the_blocks(cut: int) -> None:
    """Ten a second for a while, then one a second: only the first steps are kept."""
    steps = np.concatenate((np.full(STEPS_KEPT, 100_000), np.full(STEPS_KEPT + 100, 1_000_000)))
    time_us = np.cumsum(steps)
    whole, parts = Beat(), Beat()
    whole.add(time_us)
    parts.add(time_us[:cut])
    parts.add(time_us[cut:])
    assert whole == parts
    assert whole.period_s == 0.1


def test_a_single_frame_has_no_period() -> None:
    bus = Bus()
    bus.say(1.0, t.OWN_GROUP, 3, bytes(8))
    assert content_of(bus.frames).groups[0].period_s is None


def test_pauses_of_the_recording_are_told() -> None:
    bus = Bus()
    for at_s in (0, 4, 10, 14):
        bus.say(at_s, t.OWN_GROUP, 3, bytes(8))
    assert bus.content().pauses == ((us(4), us(10)),)
    assert bus.content(cuts=(2,)).pauses == ((us(4), us(10)),)


# -- readings -------------------------------------------------------------------------------------


def test_what_a_parameter_showed() -> None:
    """Coolant (SPN 110): 1 degC a bit from -40; FE is an error, FF not available."""
    bus = Bus()
    for i, raw in enumerate((0xFF, 120, 130, 0xFE, 110, 0xFF)):
        bus.say(i * 1.0, ET1, 0, bytes((raw,)) + b"\xff" * 7)
    content = bus.content()
    (coolant,) = (one for one in content.signals if one.spn == 110)
    assert (coolant.samples, coolant.numbers, coolant.not_available, coolant.errors) == (6, 3, 2, 1)
    assert (coolant.low, coolant.high, coolant.first, coolant.last) == (70, 90, 80, 70)
    assert (coolant.period_s, coolant.unit, coolant.resolution) == (1.0, "degC", 1.0)
    (fuel,) = (one for one in content.signals if one.spn == 174)
    assert (fuel.numbers, fuel.low, fuel.first) == (0, None, None)


def test_columns_give_each_sample_with_its_status() -> None:
    bus = Bus()
    for i, raw in enumerate((120, 0xFE, 0xFF)):
        bus.say(i * 1.0, ET1, 0, bytes((raw,)) + b"\xff" * 7)
    (coolant,) = (
        one
        for one in BlockDecoder(Dictionary.ours()).feed(bus.frames).columns()
        if one.row.spn == 110
    )
    assert coolant.status.tolist() == [NUMBER, READING_ERROR, NOT_AVAILABLE]
    assert coolant.value[0] == 80
    assert np.isnan(coolant.value[1:]).all()
    assert coolant.time_us.tolist() == [0, us(1), us(2)]


def test_a_short_frame_has_no_reading_beyond_its_end() -> None:
    bus = Bus()
    bus.say(0, ET1, 0, bytes((120,)))
    seen = {one.spn: one.numbers for one in bus.content().signals}
    assert seen[110] == 1
    assert seen[175] == 0


def test_a_parameter_of_a_message_in_packets_is_read_at_its_first_frame() -> None:
    rows = [
        row
        for row in Dictionary.ours().rows_of_group(64920)
        if row.first_bit + row.length_bits > 64 and row.length_bits == 32
    ]
    row = rows[0]
    payload = bytearray(b"\xff" * 36)
    payload[row.first_bit // 8 : row.first_bit // 8 + 4] = (1000).to_bytes(4, "little")
    bus = Bus()
    bus.tell(3.0, 64920, 0, bytes(payload))
    (seen,) = (one for one in bus.content().signals if one.spn == row.spn)
    assert seen.first == pytest.approx(1000 * row.resolution + row.offset)
    assert (seen.samples, seen.first_us) == (1, us(3.0))


# -- hours, clock, identification -----------------------------------------------------------------


def test_hours_first_and_last_of_each_meter() -> None:
    bus = Bus()
    bus.say(1.0, t.HOURS, 0, hours(5910.0))
    bus.say(2.0, t.HOURS, 0, b"\xff" * 8)
    bus.say(9.0, t.HOURS, 0, hours(5910.05))
    bus.say(3.0, t.HOURS, 23, hours(5890.5))
    for cuts in ((), (1,), (2,), (3,)):
        content = bus.content(cuts)
        assert content.hours == (
            ("can0", 0, us(1.0), 5910.0),
            ("can0", 0, us(9.0), 5910.05),
            ("can0", 23, us(3.0), 5890.5),
        )
    assert (sender(content, 0).hours_first, sender(content, 0).hours_last) == (5910.0, 5910.05)
    assert sender(content, 23).hours_last == 5890.5


def test_identification_is_kept_once_and_again_when_it_changes() -> None:
    bus = Bus()
    for at_s, vin in ((1, "AB1CD23E4FG567890"), (3, "AB1CD23E4FG567890"), (5, "ZZ1CD23E4FG567890")):
        bus.tell(at_s, t.VIN, 0, vin.encode() + b"*")
    bus.tell(6, 65259, 0, b"MAKE*MODEL 7*00123**")
    bus.tell(7, 65242, 0, b"\x02V1.2*CAL-9*")
    content = bus.content()
    assert [one.at_us for one in content.answers if one.what == "vin"] == [us(1), us(5)]
    assert content.vins == (
        ("can0", 0, "AB1CD23E4FG567890"),
        ("can0", 0, "ZZ1CD23E4FG567890"),
    )
    seen = sender(content, 0)
    assert seen.vin == "ZZ1CD23E4FG567890"
    assert seen.component == ("MAKE", "MODEL 7", "00123", "")
    assert seen.software == ("V1.2", "CAL-9")


def test_readiness_of_dm5_is_kept_as_told() -> None:
    """Reference sheet 2.11, example 19."""
    bus = Bus()
    bus.tell(1, 65230, 0, bytes.fromhex("02011406C00E8004"))
    (answer,) = bus.content().answers
    values = dict(answer.values)
    assert (answer.what, values["active"], values["previously_active"]) == ("dm5", 2, 1)
    assert "not complete" in values.values()


def test_the_clock_on_the_bus_is_told_with_its_instant() -> None:
    bus = Bus()
    bus.alive(0, 3, 0)
    bus.say(2.0, t.CLOCK, 23, bytes.fromhex("503B0A05392B7D7D"))
    bus.say(2.5, t.CLOCK, 23, b"\xff" * 8)
    (clock,) = bus.content().clocks
    assert clock.at_us == us(2.0)


# -- who was heard --------------------------------------------------------------------------------


def test_senders_with_their_names_and_requests() -> None:
    bus = Bus()
    bus.claim(0.1, 0, name_of(5))
    bus.claim(0.1, 254, name_of(9, 19))
    bus.alive(0, 2, 0, 3)
    bus.ask(1.0, t.DM2, 0)
    bus.ask(1.5, t.DM2, 0)
    bus.ask(1.6, t.DM2)
    content = bus.content()
    assert [(one.address, one.name) for one in content.controllers] == [
        (0, name_of(5)),
        (3, None),
        (t.TOOL, None),
    ]
    assert [(one.asker, one.asked, one.pgn, one.count) for one in content.requests] == [
        (t.TOOL, 0, t.DM2, 2),
        (t.TOOL, 255, t.DM2, 1),
    ]


def test_a_recording_without_frames_tells_nothing() -> None:
    content = content_of(frames_from([]))
    assert (content.frames, content.controllers, content.faults) == (0, (), ())


def test_each_block_is_seen_on_the_way() -> None:
    from shearbolt.decode.visit import decode_recording
    from shearbolt.model.reading import TimeBase

    bus = Bus()
    bus.alive(0, 5, 0)
    seen: list[int] = []
    decode_recording(
        blocks_of(bus.frames, (10, 30)),
        Dictionary.ours(),
        TimeBase.RELATIVE,
        each=lambda block: seen.append(len(block.frames)),
    )
    assert seen == [10, 20, 20]
