"""Scripted outings: the same by seed, in order, and true to their own answer sheet."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from functools import cache
from itertools import pairwise

import numpy as np
import pytest

from shearbolt.model.fault import Lamps
from shearbolt.model.frames import EXTENDED, plain_frames
from shearbolt.model.instants import from_iso
from shearbolt.model.reading import TimeBase
from shearbolt.proving import DemoRecording
from shearbolt.proving.bus import play
from shearbolt.proving.columns import FRAME_250_US, Bus
from shearbolt.proving.controllers import HOURS, VEHICLE_IDENTIFICATION
from shearbolt.proving.faults import AMBER, OFF, StandingLamp, count_kept
from shearbolt.proving.packing import Event, dtc_bytes, identifier
from shearbolt.proving.reports import Held, plan_reports
from shearbolt.proving.script import SEASON, UTILITY_APRIL, scripted_recordings


@cache
def season() -> tuple[DemoRecording, ...]:
    return tuple(scripted_recordings())


def named(part: str) -> DemoRecording:
    (found,) = (one for one in season() if part in one.file_name)
    return found


def sent_by(recording: DemoRecording, pgn: int, address: int) -> list[tuple[int, bytes]]:
    """Single frames of one group and sender, read by hand."""
    frames = recording.frames
    extended = (frames.flags & EXTENDED) != 0
    group = frames.ident >> 8 & 0x3FFFF
    if (pgn >> 8 & 0xFF) < 240:
        group = group & 0x3FF00
    rows = np.flatnonzero(extended & (group == pgn) & ((frames.ident & 0xFF) == address))
    return [(int(frames.time_us[row]), frames.data(int(row))) for row in rows]


def reports_of(recording: DemoRecording, channel: str, address: int) -> list[tuple[int, bytes]]:
    """Whole DM1 messages of one sender, single or broadcast, put together by hand."""
    found = sent_by(recording, 65226, address)
    index = recording.frames.channels.index(channel)
    parts = [
        (int(recording.frames.time_us[row]), int(recording.frames.ident[row]), data)
        for row in np.flatnonzero(recording.frames.channel == index)
        for data in (recording.frames.data(int(row)),)
        if recording.frames.ident[row] in (0x1CECFF00 | address, 0x1CEBFF00 | address)
    ]
    begun: tuple[int, int, bytes] | None = None
    for at_us, ident, data in parts:
        if ident == 0x1CECFF00 | address:
            assert begun is None, "a broadcast began before the last one ended"
            begun = (at_us, int.from_bytes(data[1:3], "little"), b"") if data[5] == 0xCA else None
        elif begun is not None:
            first_us, size, body = begun
            assert data[0] == len(body) // 7 + 1
            body += data[1:]
            begun = (first_us, size, body)
            if len(body) >= size:
                found.append((first_us, body[:size]))
                begun = None
    return sorted(found)


def test_same_seed_same_bytes() -> None:
    again = scripted_recordings()
    for one, other in zip(season(), again, strict=True):
        assert one.truth == other.truth
        for field in ("time_us", "ident", "flags", "channel", "length", "word"):
            assert np.array_equal(getattr(one.frames, field), getattr(other.frames, field))


def test_another_seed_other_bytes() -> None:
    one, other = play(UTILITY_APRIL, 1).frames, play(UTILITY_APRIL, 2).frames
    assert not np.array_equal(one.word[: len(other)], other.word[: len(one)])


@pytest.mark.parametrize("number", range(len(SEASON) + 1))
def test_frames_stand_in_order(number: int) -> None:
    recording = season()[number]
    frames, truth = recording.frames, recording.truth
    assert np.all(np.diff(frames.time_us) >= 0)
    for channel in range(len(frames.channels)):
        gaps = np.diff(frames.time_us[frames.channel == channel])
        assert gaps.min() >= 240
    assert truth.started_us <= frames.time_us[0]
    assert truth.ended_us == frames.time_us[-1]
    seconds = (frames.time_us[-1] - frames.time_us[0]) / 1e6
    assert 140.0 < seconds < 900.0
    assert 100.0 < len(frames) / seconds < 1000.0
    assert frames.length.max() <= 8


def test_times_are_absolute_but_for_one() -> None:
    relative = [one for one in season() if one.truth.time_base is TimeBase.RELATIVE]
    assert [one.file_name for one in relative] == ["first_start_utility_tractor.log"]
    assert relative[0].truth.started_us == 0
    for one in season():
        if one not in relative:
            assert one.truth.started_us == from_iso(one.truth.started_truly)
    days = [one.truth.started_truly for one in season()]
    assert days == sorted(days)
    assert days[0].startswith("2026-03")
    assert days[-1].startswith("2026-11")


def test_season_is_varied() -> None:
    formats = {one.file_format for one in season()}
    assert {"candump", "asc", "blf", "csv"} <= formats
    seen = Counter(machine.key for one in season() for machine in one.truth.machines)
    assert len(seen) >= 7
    assert seen["big_tractor"] == seen["new_tractor"] == seen["truck"] == seen["telehandler"] == 2
    assert seen["loader_wagon"] == 2
    manners = {
        unit.dm1_manner for one in season() for m in one.truth.machines for unit in m.controllers
    }
    assert manners == {"always", "while_active", "at_key_on", "never_heard"}
    steps = {
        unit.count_steps for one in season() for m in one.truth.machines for unit in m.controllers
    }
    assert steps == {"onset", "end", "key_cycle", "never"}


def test_every_fault_of_the_script_happens() -> None:
    for one in season():
        for fault in one.truth.faults:
            assert fault.told_in, (one.file_name, fault)
            if "dm1" in fault.told_in:
                assert fault.spells


@pytest.mark.parametrize("number", range(len(SEASON) + 1))
def test_reports_list_what_the_truth_says(number: int) -> None:
    """Read DM1 by hand: every listing of a fault lies in a spell, and every spell is told."""
    recording = season()[number]
    for fault in recording.truth.faults:
        if "dm1" not in fault.told_in:
            continue
        assert fault.address is not None
        assert fault.spn is not None
        assert fault.fmi is not None
        reports = reports_of(recording, fault.channel, fault.address)
        code = dtc_bytes(fault.spn, fault.fmi, 0, fault.method)
        listed: dict[int, int] = {}
        for at_us, payload in reports:
            for first in range(2, len(payload) - 3, 4):
                part = payload[first : first + 4]
                if part[:3] == code[:3] and part[3] & 0x80 == code[3] & 0x80:
                    listed[at_us] = part[3] & 0x7F
        told = [
            at_us
            for spell in fault.spells
            for at_us in listed
            if spell.first_listed_us <= at_us <= spell.last_listed_us
        ]
        assert sorted(told) == sorted(listed)
        for spell in fault.spells:
            assert listed[spell.first_listed_us] == spell.count
            assert spell.last_listed_us in listed
            assert spell.first_listed_us - spell.set_us < 300_000
            if spell.heal_us is not None:
                assert spell.last_listed_us < spell.heal_us
            if spell.next_without_us is not None:
                assert spell.next_without_us in {at_us for at_us, _ in reports}
                assert spell.next_without_us not in listed
            assert spell.start_known or reports[0][0] == spell.first_listed_us


def test_one_fault_was_there_before() -> None:
    unknown = [
        (fault.machine, fault.spn)
        for one in season()
        for fault in one.truth.faults
        for spell in fault.spells
        if not spell.start_known
    ]
    assert unknown == [("truck", 598)]


def test_counts_go_on_over_the_season() -> None:
    kept: dict[tuple[str, str, int | None, int | None], int] = {}
    for one in season():
        for fault in one.truth.faults:
            if fault.count_before is None or fault.count_after is None:
                continue
            key = (fault.machine, fault.controller, fault.spn, fault.fmi)
            assert fault.count_before >= kept.get(key, 0), key
            assert fault.count_after >= fault.count_before
            kept[key] = fault.count_after
    assert kept["truck", "engine", 100, 4] == 23
    assert count_kept("end", 19, 4, 4) == 23


def test_hours_go_on_over_the_season() -> None:
    last: dict[str, float] = {}
    for one in season():
        for machine in one.truth.machines:
            if machine.hours_start is not None and machine.hours_end is not None:
                assert machine.hours_end > machine.hours_start > last.get(machine.key, 0.0)
                last[machine.key] = machine.hours_end


def test_hours_come_only_when_asked() -> None:
    recording = named("big_tractor_grass")
    hours = sent_by(recording, HOURS, 0)
    assert 0 < len(hours) <= 4
    told = int.from_bytes(hours[0][1][:4], "little") * 0.05
    truly = recording.truth.machines[0].hours_start
    assert truly is not None
    assert told == pytest.approx(truly, abs=0.05)
    assert not sent_by(named("first_start"), HOURS, 0)


def test_vehicle_identification_travels_to_its_asker() -> None:
    recording = named("forager")
    (machine,) = recording.truth.machines
    assert machine.vin_told
    assert machine.vin is not None
    packets = [data for _, data in sent_by(recording, 60160, 0) if data[0] <= 3]
    told = b"".join(one[1:] for one in packets[:3])
    assert told.startswith(machine.vin.encode() + b"*")
    assert not recording.truth.key_on
    assert not sent_by(recording, 60928, 0)
    assert any(
        int.from_bytes(data, "little") == VEHICLE_IDENTIFICATION
        for _, data in sent_by(recording, 59904, 39)
    )


def test_swapped_box_is_the_same_place() -> None:
    recording = named("after_gearbox_box")
    (swap,) = recording.truth.swaps
    assert swap.old.place == swap.new.place
    assert swap.old.box != swap.new.box
    claims = {data for _, data in sent_by(recording, 60928, 3)}
    assert claims == {swap.new.value.to_bytes(8, "little")}
    earlier = {data for _, data in sent_by(named("big_tractor_grass"), 60928, 3)}
    assert earlier == {swap.old.value.to_bytes(8, "little")}


def test_one_box_holds_several_names() -> None:
    (machine, _) = named("big_tractor_grass").truth.machines
    boxes = Counter(unit.name.box for unit in machine.controllers)
    assert max(boxes.values()) == 3


def test_wagon_keeps_its_name_and_not_its_address() -> None:
    first = named("big_tractor_grass").truth.machines[1].controllers[0]
    later = named("carting").truth.machines[1].controllers[0]
    assert first.name == later.name
    assert first.address != later.address
    assert first.channel == later.channel == "can1"
    # It lost power twice: silence, then a fresh claim each time.
    claims = sent_by(named("carting"), 60928, later.address)
    assert len(claims) == 3


def test_key_off_is_staggered() -> None:
    recording = named("big_tractor_grass")
    last = {
        int(sender): int(recording.frames.time_us[(recording.frames.ident & 0xFF) == sender].max())
        for sender in (0, 3, 71)
    }
    assert 15e6 < last[0] - last[71] < 18e6
    assert 0 < last[71] - last[3] < 1.3e6


def test_lamp_without_a_code() -> None:
    (lamp,) = named("forager").truth.lamps_without_code
    reports = dict(sent_by(named("forager"), 65226, lamp.address))
    assert reports[lamp.first_us] == bytes.fromhex("04ff00000000ffff")
    assert reports[lamp.last_us] == bytes.fromhex("04ff00000000ffff")
    assert Counter(reports.values())[bytes.fromhex("00ff00000000ffff")] > 50


def test_old_sender_packs_by_the_first_method() -> None:
    recording = named("first_start")
    payloads = [data for _, data in reports_of(recording, "can0", 0)]
    assert payloads[0] == bytes.fromhex("0400") + dtc_bytes(168, 18, 1, 1) + b"\xff\xff"
    assert any(len(one) == 14 for one in payloads)


def test_half_of_the_readings_are_not_there() -> None:
    recording = named("big_tractor_grass")
    oil = {data[2:4] for _, data in sent_by(recording, 65262, 0)}
    assert oil == {b"\xff\xff"}
    proprietary = (recording.frames.ident >> 16 & 0xFF) == 0xEF
    assert 0.15 < proprietary.mean() < 0.6


def test_pickup_answers_its_tester() -> None:
    recording = named("pickup")
    assert set(recording.frames.flags.tolist()) == {0}
    rows = [(one.ident, one.data.hex()) for one in plain_frames(recording.frames)]
    assert (0x7DF, "0103000000000000") in rows
    assert (0x7E8, "0443010299aaaaaa") in rows
    assert (0x7E8, "0447010128aaaaaa") in rows
    assert (0x7E8, "100b5902ff029900") in rows
    codes = {fault.code: fault.told_in for fault in recording.truth.faults}
    assert codes == {"P0299": ("obd03", "uds19"), "P0128": ("obd07", "uds19")}


HELD = (
    Held(0, 1, 5.0, 9.5, AMBER),
    Held(1, 1, 6.0, None, AMBER),
)


def plan(manner: str, held: tuple[Held, ...] = HELD) -> list[tuple[float, int]]:
    reports = plan_reports(
        manner,  # type: ignore[arg-type]
        (1.0, 13.0),
        held,
        (),
        first_after_s=0.5,
        bam_s=0.05,
    )
    return [(round(one.at_s, 6), len(one.listed)) for one in reports]


def test_manners_of_reporting() -> None:
    # SAE J1939-73 DM1: once a second and on a change; the rest as real senders do
    assert plan("always") == [
        (1.5, 0), (2.5, 0), (3.5, 0), (4.5, 0), (5.0, 1), (6.0, 2), (7.0, 2), (8.0, 2), (9.0, 2),
        (9.5, 1), (10.5, 1), (11.5, 1), (12.5, 1),
    ]  # fmt: skip
    assert plan("while_active")[0] == (5.0, 1)
    assert plan("at_key_on")[:2] == [(1.5, 0), (5.0, 1)]
    assert plan("never_heard") == []
    assert plan("while_active", ()) == []


def test_no_report_begins_while_a_broadcast_runs() -> None:
    held = tuple(Held(i, 1, 3.0 + i * 0.01, None, AMBER) for i in range(4))
    reports = plan("always", held)
    times = [at for at, count in reports if count >= 2]
    assert all(later - one >= 0.15 for one, later in pairwise(times))


def test_lamp_alone_is_reported_by_its_sender() -> None:
    lamp = StandingLamp("cab", Lamps("off", "off", "on", "off"), (4.0, 6.0))
    reports = plan_reports("while_active", (0.0, 10.0), (), (lamp,), first_after_s=0.1, bam_s=0.05)
    assert [one.lamps for one in reports] == [lamp.lamps] * len(reports)
    assert reports
    assert all(4.0 <= one.at_s < 6.0 for one in reports)
    assert lamp.lamps != OFF


def test_bus_lets_one_frame_follow_the_other() -> None:
    bus = Bus()
    bus.add_events(
        [
            Event(1000, identifier(6, 65262, 0), b"\1" * 8),
            Event(1000, identifier(3, 61444, 0), b"\2" * 8, tag=4),
            Event(900, identifier(6, 65263, 0), b"\3" * 8),
            Event(2_000_000, identifier(6, 65263, 0), b"\4" * 8),
        ]
    )
    frames, tags = bus.frames(10_000, 1.0)
    assert [one.data[0] for one in plain_frames(frames)] == [3, 2, 1]
    assert (np.diff(frames.time_us) == FRAME_250_US).all()
    assert tags == {4: 10_900 + FRAME_250_US}


def test_outing_needs_an_engine() -> None:
    with pytest.raises(ValueError, match="an engine"):
        play(replace(UTILITY_APRIL, machine=replace(UTILITY_APRIL.machine, build=None)), 1)
