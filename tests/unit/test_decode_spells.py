"""Spells as reported: what begins and ends one, and what does neither.

The rules are those of the machine-readable interface ('spells are as reported, never joined; a
clear, a lost frame or a pause does not split or join') and of SAE J1939-73 5.7.1.
"""

from __future__ import annotations

import pytest
from tests.bus_traffic import DM11, DM13, TOOL, Bus, content_of, dtc, fault, name_of, sender, us

from shearbolt.model.fault import Spell

HOT = dtc(110, 0, 3)
OIL = dtc(100, 1, 1)


def spans(spells: tuple[Spell, ...]) -> list[tuple[float, float, float | None, str]]:
    """Start, end, latest end in seconds, and how it ended."""
    return [
        (
            one.start_us / 1e6,
            one.end_us / 1e6,
            None if one.end_latest_us is None else one.end_latest_us / 1e6,
            one.ended_by,
        )
        for one in spells
    ]


def test_healed_with_the_first_report_without() -> None:
    bus = Bus()
    bus.alive(0, 20, 0)
    bus.dm1_each(0.5, 5, 0)
    bus.dm1_each(5.5, 9, 0, HOT)
    bus.dm1_each(9.5, 20, 0)
    found = fault(bus.content(), 110)
    assert spans(found.spells) == [(5.5, 8.5, 9.5, "healed")]
    assert found.spells[0].start_known
    assert (found.spells[0].count_start, found.spells[0].count_end) == (3, 3)
    assert found.state == "previously_active"


def test_each_return_is_a_spell_of_its_own() -> None:
    bus = Bus()
    bus.alive(0, 12, 0)
    for at_s in range(12):
        bus.dm1(at_s + 0.5, 0, *((HOT,) if at_s % 3 == 1 else ()))
    assert spans(fault(bus.content(), 110).spells) == [
        (1.5, 1.5, 2.5, "healed"),
        (4.5, 4.5, 5.5, "healed"),
        (7.5, 7.5, 8.5, "healed"),
        (10.5, 10.5, 11.5, "healed"),
    ]


def test_listed_in_the_first_report_its_start_is_not_known() -> None:
    bus = Bus()
    bus.alive(0, 10, 0)
    bus.dm1_each(0.5, 9.7, 0, HOT)
    (spell,) = fault(bus.content(), 110).spells
    assert not spell.start_known
    assert spell.ended_by == "recording_end"
    assert spell.end_latest_us is None


def test_a_sender_long_alive_that_reports_first_with_the_fault_began_it_then() -> None:
    bus = Bus()
    bus.alive(0, 20, 0)
    bus.dm1_each(10.5, 19.7, 0, HOT)
    (spell,) = fault(bus.content(), 110).spells
    assert spell.start_known
    assert spell.start_us == us(10.5)


def test_a_lost_report_neither_splits_nor_joins() -> None:
    bus = Bus()
    bus.alive(0, 20, 0)
    bus.dm1_each(0.5, 5, 0)
    bus.dm1_each(5.5, 12, 0, HOT, but=(2, 3))
    bus.dm1_each(12.5, 20, 0)
    assert spans(fault(bus.content(), 110).spells) == [(5.5, 11.5, 12.5, "healed")]


def test_a_lossy_recorder_splits_no_spell() -> None:
    # Every third report is heard here and there, four in a row are lost once.
    lost = {2, 5, 6, 9, 12, 13, 16, 19, 20, 21, 22, 25, 28, 31}
    bus = Bus()
    bus.alive(0, 40, 3)
    bus.dm1_each(0.5, 39.9, 3, HOT, but=lost)
    assert spans(fault(bus.content(), 110).spells) == [(0.5, 39.5, None, "recording_end")]


def test_a_report_in_packets_that_loses_one_neither_splits_nor_joins() -> None:
    bus = Bus()
    bus.alive(0, 12, 0)
    for at_s in range(10):
        bus.dm1(at_s + 0.5, 0, HOT, OIL, lost=(2,) if at_s in (4, 5) else ())
    bus.dm1_each(10.5, 12, 0)
    content = bus.content()
    for spn in (100, 110):
        assert spans(fault(content, spn).spells) == [(0.5, 9.5, 10.5, "healed")]
    assert dict(content.transport.broken)["incomplete"] == 2


def test_single_frames_and_packets_take_turns_in_one_spell() -> None:
    """One fault goes in a frame, two need packets; the first stays listed all the while."""
    bus = Bus()
    bus.alive(0, 20, 0)
    bus.dm1(0.5, 0)
    for at_s in range(1, 15):
        bus.dm1(at_s + 0.5, 0, HOT, *((OIL,) if at_s % 2 else ()))
    bus.dm1(15.5, 0)
    content = bus.content()
    assert spans(fault(content, 110).spells) == [(1.5, 14.5, 15.5, "healed")]
    assert len(fault(content, 100).spells) == 7
    # Times are those of the first frame of the message.
    assert fault(content, 100).spells[0].start_us == us(1.5)
    seen = sender(content, 0)
    assert (seen.dm1_messages, seen.dm1_by_transport, seen.dm1_all_clear) == (16, 7, 2)


def test_a_pause_of_the_recording_neither_splits_nor_joins() -> None:
    bus = Bus()
    for first_s, until_s in ((0, 10), (70, 80)):
        bus.alive(first_s, until_s, 0, 3, 23)
        bus.engine(first_s, until_s)
        bus.dm1_each(first_s + 0.5, until_s, 3, HOT)
    content = bus.content()
    assert [(round(a / 1e6), round(b / 1e6)) for a, b in content.pauses] == [(10, 70)]
    assert spans(fault(content, 110).spells) == [(0.5, 79.5, None, "recording_end")]


def test_a_pause_does_not_join_what_was_reported_apart() -> None:
    bus = Bus()
    bus.alive(0, 10, 0, 3)
    bus.alive(70, 80, 0, 3)
    bus.dm1_each(0.5, 8, 3, HOT)
    bus.dm1_each(8.5, 10, 3)
    bus.dm1_each(70.5, 80, 3, HOT)
    (first, second) = fault(bus.content(), 110).spells
    assert (first.end_latest_us, first.ended_by) == (us(8.5), "healed")
    # It may have begun at any time of the pause.
    assert not second.start_known


def test_health_after_a_pause_is_told_by_the_first_report() -> None:
    bus = Bus()
    bus.alive(0, 10, 0, 3)
    bus.alive(70, 80, 0, 3)
    bus.dm1_each(0.5, 10, 3, HOT)
    bus.dm1_each(70.5, 80, 3)
    assert spans(fault(bus.content(), 110).spells) == [(0.5, 9.5, 70.5, "healed")]


def test_a_clear_neither_splits_nor_joins() -> None:
    bus = Bus()
    bus.alive(0, 20, 0)
    bus.dm1_each(0.5, 20, 0, HOT)
    bus.ask(10.2, DM11, 0)
    bus.answer(10.25, 0, DM11)
    content = bus.content()
    assert [one.result for one in content.clears] == ["done"]
    assert spans(fault(content, 110).spells) == [(0.5, 19.5, None, "recording_end")]


# -- who reports only what is active -------------------------------------------------------------


def test_a_sender_that_reports_only_what_is_active_ends_a_spell_by_silence() -> None:
    bus = Bus()
    bus.alive(0, 40, 0, 3)
    bus.dm1_each(10.5, 15, 3, HOT)
    bus.dm1_each(25.5, 30, 3, HOT)
    content = bus.content()
    assert sender(content, 3).dm1_manner == "while_active"
    assert spans(fault(content, 110).spells) == [
        (10.5, 14.5, 17.5, "healed"),
        (25.5, 29.5, 32.5, "healed"),
    ]
    assert all(one.start_known for one in fault(content, 110).spells)


def test_a_slow_sender_is_given_three_of_its_own_periods() -> None:
    bus = Bus()
    bus.alive(0, 60, 3)
    bus.dm1_each(5.5, 59, 3, HOT, step_s=5.0)
    assert len(fault(bus.content(), 110).spells) == 1


def test_a_listing_that_stops_with_its_sender_alive_for_two_seconds_ends_as_unknown() -> None:
    """Reference sheet, corrections: listed 0.73, 1.69, 2.65 s, alive to 4.88 s, then key off."""
    bus = Bus()
    bus.alive(0, 4.88, 3, 6, 71)
    bus.engine(0, 13, rpm=0)
    for at_s in (0.73, 1.69, 2.65):
        bus.dm1(at_s, 3, dtc(524020, 31, 0), lamps=0x01)
    found = fault(bus.content(), 524020)
    assert spans(found.spells) == [(0.73, 2.65, None, "unknown")]
    assert not found.spells[0].start_known
    assert found.state == "unknown"


def test_stopped_broadcasts_are_no_health() -> None:
    """DM13 stops broadcasts (SAE J1939-73): its sender lives on, asked for other things."""
    bus = Bus()
    bus.alive(0, 30, 0, 3)
    bus.dm1_each(0.5, 10, 3, HOT)
    for at_s in (10.0, 15.0, 20.0):
        bus.say(at_s, DM13, TOOL, bytes.fromhex("FCFFFF0FFFFFFFFF"))
    bus.dm1_each(26.5, 30, 3, HOT)
    assert spans(fault(bus.content(), 110).spells) == [(0.5, 29.5, None, "recording_end")]


# -- key off and silence -------------------------------------------------------------------------


def key_off(bus: Bus) -> None:
    """Run 20 s, turn the key; the engine controller lives on for 17 s, others end within 1.3 s."""
    bus.engine(0, 20)
    bus.engine(20, 38, rpm=0)
    bus.alive(0, 20.4, 3, 6)
    bus.alive(0, 21.7, 23, step_s=1.0)
    # A logger writes on.
    bus.alive(0, 60, 251, step_s=1.0)


def test_key_off_ends_the_spells_of_all_however_staggered() -> None:
    bus = Bus()
    key_off(bus)
    bus.dm1_each(5.5, 20.3, 3, HOT)
    bus.dm1_each(5.5, 20.3, 0, OIL)
    content = bus.content()
    assert spans(fault(content, 110).spells) == [(5.5, 19.5, None, "key_off")]
    # The engine controller lives on without reporting: no sign of health.
    assert spans(fault(content, 100).spells) == [(5.5, 19.5, None, "key_off")]
    assert fault(content, 100).state == "active"
    after = sender(content, 0).after_run_s
    assert after is not None
    assert 16 < after < 19
    assert sender(content, 251).dm1_manner == "never_heard"


def test_what_a_sender_does_in_its_after_run_is_not_its_manner() -> None:
    bus = Bus()
    key_off(bus)
    bus.dm1_each(0.5, 20.3, 0, OIL)
    assert sender(bus.content(), 0).dm1_manner == "unknown"


def test_one_silent_sender_while_the_engine_turns_fell_silent_alone() -> None:
    bus = Bus()
    bus.engine(0, 60)
    bus.alive(0, 60, 3, 23)
    bus.alive(0, 20, 6)
    bus.dm1_each(5.5, 20, 6, HOT)
    found = fault(bus.content(), 110)
    assert spans(found.spells) == [(5.5, 19.5, None, "silence")]
    assert found.state == "active"


def test_the_engine_controller_lost_alone_is_no_key_off() -> None:
    """Engine speed ends with it, but the other units live on."""
    bus = Bus()
    bus.engine(0, 20)
    bus.alive(0, 40, 3, 6, 23)
    bus.dm1_each(5.5, 20, 0, HOT)
    assert spans(fault(bus.content(), 110).spells) == [(5.5, 19.5, None, "silence")]


def test_three_names_of_one_box_are_one_loss() -> None:
    """One box may hold several NAMEs: its addresses go silent together while the engine turns."""
    bus = Bus()
    for address, function in ((3, 3), (6, 16), (71, 34)):
        bus.claim(0.1, address, name_of(4711, function))
    bus.claim(0.1, 0, name_of(5, 0))
    bus.claim(0.1, 23, name_of(6, 19))
    bus.engine(0, 60, rpm=0)
    bus.alive(0, 60, 23)
    bus.alive(0, 20, 3, 6, 71)
    bus.dm1_each(5.5, 20, 3, HOT)
    assert spans(fault(bus.content(), 110).spells) == [(5.5, 19.5, None, "silence")]


def test_key_off_within_a_recording_ends_a_spell() -> None:
    """The logger writes on over a key cycle; the fault is there again at the next key-on."""
    bus = Bus()
    bus.alive(0, 120, 251, step_s=1.0)
    for first_s in (0, 80):
        bus.claim(first_s + 0.05, 0, name_of(5, 0))
        bus.claim(first_s + 0.05, 3, name_of(6, 3))
        bus.engine(first_s, first_s + 30)
        bus.engine(first_s + 30, first_s + 32, rpm=0)
        bus.alive(first_s, first_s + 31, 3, 23)
        bus.dm1_each(first_s + 0.5, first_s + 30.8, 3, HOT)
    first, second = fault(bus.content(), 110).spells
    assert (first.start_us, first.end_us, first.ended_by) == (us(0.5), us(30.5), "key_off")
    assert first.end_latest_us is None
    assert (second.start_us, second.start_known) == (us(80.5), False)


def test_health_at_the_next_key_on_ends_a_spell_by_key_off() -> None:
    bus = Bus()
    bus.alive(0, 120, 251, step_s=1.0)
    for first_s in (0, 80):
        bus.engine(first_s, first_s + 30)
        bus.engine(first_s + 30, first_s + 32, rpm=0)
        bus.alive(first_s, first_s + 31, 3, 23)
    bus.dm1_each(0.5, 30.8, 3, HOT)
    bus.dm1_each(80.5, 110, 3)
    assert spans(fault(bus.content(), 110).spells) == [(0.5, 30.5, 80.5, "key_off")]


def test_a_recorder_that_sleeps_with_the_key_shows_a_key_cycle_by_fresh_claims() -> None:
    bus = Bus()
    for first_s in (0, 3600):
        bus.claim(first_s + 0.05, 0, name_of(5, 0))
        bus.claim(first_s + 0.05, 3, name_of(6, 3))
        bus.engine(first_s, first_s + 2, rpm=0)
        bus.engine(first_s + 2, first_s + 30)
        bus.engine(first_s + 30, first_s + 33, rpm=0)
        bus.alive(first_s, first_s + 33, 3, 23)
        bus.dm1_each(first_s + 0.5, first_s + 32.8, 3, HOT)
    ends = [one.ended_by for one in fault(bus.content(), 110).spells]
    assert ends == ["key_off", "recording_end"]


def test_the_end_of_the_recording_leaves_a_spell_open() -> None:
    bus = Bus()
    bus.engine(0, 30)
    bus.alive(0, 30, 3)
    bus.dm1_each(12.5, 30, 3, HOT)
    found = fault(bus.content(), 110)
    assert spans(found.spells) == [(12.5, 29.5, None, "recording_end")]
    assert found.state == "active"


# -- how a sender reports -------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("manner", "reports"),
    [
        ("always", [(at_s + 0.5, False) for at_s in range(30)]),
        ("always", [(at_s + 0.5, 10 <= at_s < 14) for at_s in range(30)]),
        ("while_active", [(at_s + 0.5, True) for at_s in range(10, 14)]),
        ("while_active", [(2.9, False)] + [(at_s + 0.5, True) for at_s in range(10, 14)]),
        ("while_active", [(0.5, True), (1.5, True), (20.5, True), (21.5, True), (28.5, True)]),
        ("at_key_on", [(2.9, False)]),
        ("never_heard", []),
        ("unknown", [(at_s + 0.5, True) for at_s in range(30)]),
    ],
)
def test_manners(manner: str, reports: list[tuple[float, bool]]) -> None:
    bus = Bus()
    bus.alive(0, 30, 0, 3)
    for at_s, active in reports:
        bus.dm1(at_s, 3, *((HOT,) if active else ()))
    assert sender(bus.content(), 3).dm1_manner == manner


def test_a_sender_heard_for_two_seconds_has_no_known_manner() -> None:
    bus = Bus()
    bus.alive(0, 30, 0)
    bus.alive(0, 2, 3)
    assert sender(bus.content(), 3).dm1_manner == "unknown"


def test_reports_come_out_in_the_order_of_the_file_when_its_clock_runs_back() -> None:
    """Times jump back by an hour in the middle: nothing is lost, nothing is turned round."""
    bus = Bus()
    bus.alive(0, 10, 3)
    bus.dm1_each(0.5, 10, 3, HOT)
    rows = bus.frames
    half = len(rows) // 2
    rows.time_us[half:] -= us(3600)
    content = content_of(rows)
    assert content.earliest_us < 0
    assert sender(content, 3).dm1_messages == 10
    for spell in fault(content, 110).spells:
        assert spell.start_us <= spell.end_us
