"""What the documents say of faults and machines, from what several visits told together."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from tests import bus_traffic as t
from tests.bus_traffic import Bus, dtc, name_of
from tests.command_line import call
from tests.small_yard import NAMES, Yard, small_yard

from shearbolt.app.wording import DOUBTS, doubt_words, keep
from shearbolt.dictionary.judgements import judgements, missing_inputs
from shearbolt.model.controller import Name

HOT = dtc(110, 0, 3)
NO_LAMP = b"\x00\xff"


@pytest.fixture
def yard(tmp_path: Path) -> Yard:
    return small_yard(tmp_path)


def memory(*codes: bytes, at_s: float = 3.0) -> Any:
    """Let the engine controller answer a request for DM2."""
    return lambda bus: bus.tell(at_s, t.DM2, 0, NO_LAMP + b"".join(codes))


def open_faults(yard: Yard) -> list[str]:
    """Return the faults shown without --all."""
    shown = call(yard.book, "faults", "--json").done()
    return [fault["fault"] for machine in shown["machines"] for fault in machine["faults"]]


def counts(fault: dict[str, Any]) -> list[tuple[int | None, int | None, bool]]:
    return [(one["first"], one["last"], one["at_least"]) for one in fault["counts"]]


# -- counts and clears ----------------------------------------------------------------------------


def test_counts_stand_visit_by_visit_and_a_clear_adds_a_zero(yard: Yard) -> None:
    def clear(bus: Bus) -> None:
        bus.tell(1.0, t.DM2, 0, NO_LAMP + dtc(110, 0, 4))
        bus.ask(5.0, t.DM3, 0)
        bus.answer(5.1, 0, t.DM3)

    yard.add((0, HOT), day=1)
    yard.add(day=2, more=clear)
    yard.add(day=3, more=memory(dtc(110, 0, 1)))
    (fault,) = yard.faults()
    assert counts(fault) == [(3, 3, False), (4, 4, False), (0, 0, False), (1, 1, False)]
    assert fault["counts"][2]["visit"] == fault["counts"][1]["visit"]
    assert fault["state"] == "previously_active"
    assert [one["what"] for one in fault["events"]] == ["clear"]


@pytest.mark.parametrize("result", [1, 3, None])
def test_a_clear_that_was_not_done_adds_nothing(yard: Yard, result: int | None) -> None:
    def ask(bus: Bus) -> None:
        bus.tell(1.0, t.DM2, 0, NO_LAMP + HOT)
        bus.ask(5.0, t.DM11, 0)
        if result is not None:
            bus.answer(5.1, 0, t.DM11, result)

    yard.add(day=1, more=ask)
    (fault,) = yard.faults()
    assert counts(fault) == [(3, 3, False)]
    assert fault["state"] == "previously_active"


def test_full_and_missing_counts(yard: Yard) -> None:
    yard.add((0, dtc(110, 0, 126)), (3, dtc(100, 1, None)), day=1)
    found = {one["spn"]: counts(one) for one in yard.faults()}
    assert found == {110: [(126, 126, True)], 100: [(None, None, False)]}


def test_a_cleared_fault_is_shown_with_all_alone(yard: Yard) -> None:
    def clear(bus: Bus) -> None:
        bus.tell(1.0, t.DM2, 0, NO_LAMP + HOT)
        bus.ask(5.0, t.DM11)
        bus.answer(5.1, 0, t.DM11)

    yard.add((0, HOT), day=1)
    yard.add(day=2, more=clear)
    (fault,) = yard.faults()
    assert fault["state"] == "cleared"
    assert open_faults(yard) == []
    yard.add((0, HOT), day=3)
    assert open_faults(yard) == [fault["fault"]]


def test_dm22_in_a_visit_without_the_list_reaches_its_fault(yard: Yard) -> None:
    """Reference sheet 2.7: control 1 asks, 2 is the positive answer."""

    def clear_one(bus: Bus) -> None:
        bus.say(5.0, t.DM22, t.TOOL, b"\x01\xff\xff\xff\xff" + HOT[:3], to=0)
        bus.say(5.1, t.DM22, 0, b"\x02\xff\xff\xff\xff" + HOT[:3], to=t.TOOL)

    yard.add(day=1, more=memory(HOT, dtc(100, 1)))
    yard.add(day=2, more=clear_one)
    assert {one["spn"]: one["state"] for one in yard.faults()} == {
        110: "cleared",
        100: "previously_active",
    }


# -- old memories ---------------------------------------------------------------------------------


def test_an_old_memory_is_stale_until_it_happens(yard: Yard) -> None:
    yard.add(day=1, more=memory(HOT))
    yard.add(day=2, more=memory(HOT))
    (fault,) = yard.faults()
    assert (fault["stale"], fault["state"]) == (True, "previously_active")
    assert open_faults(yard) == []
    yard.add(day=3, more=memory(dtc(110, 0, 4)))
    (fault,) = yard.faults()
    assert not fault["stale"]
    assert open_faults(yard) == [fault["fault"]]


def test_a_spell_ends_an_old_memory(yard: Yard) -> None:
    yard.add(day=1, more=memory(HOT))
    yard.add((0, HOT), day=2)
    assert [one["stale"] for one in yard.faults()] == [False]


def test_a_fault_is_remembered_when_its_sender_reports_without_it(yard: Yard) -> None:
    yard.add((0, HOT), day=1)
    assert yard.faults()[0]["state"] == "active"
    # Silence is no health.
    yard.add(day=2)
    assert yard.faults()[0]["state"] == "active"
    yard.add(day=3, more=lambda bus: bus.dm1_each(0.5, 10, 0))
    assert yard.faults()[0]["state"] == "previously_active"


# -- spells, lamps, freeze frames -----------------------------------------------------------------


def test_spells_tell_their_visit_times_and_ends(yard: Yard) -> None:
    def healed(bus: Bus) -> None:
        bus.dm1_each(0.5, 4, 0)
        bus.dm1_each(4.5, 7, 0, HOT, lamps=0x10)
        bus.dm1_each(7.5, 10, 0)
        bus.tell(8.2, 65229, 0, bytes.fromhex("0C6E00000101" + "3C40385599000C"))

    added = yard.add(day=1, more=healed)
    (fault,) = yard.faults()
    assert fault["spells"] == [
        {
            "visit": added["visits"][0]["visit"],
            "start": "2026-05-15T06:12:13.500000Z",
            "start_at_s": 4.5,
            "start_known": True,
            "end": "2026-05-15T06:12:15.500000Z",
            "end_at_s": 6.5,
            "end_latest": "2026-05-15T06:12:16.500000Z",
            "end_latest_at_s": 7.5,
            "ended_by": "healed",
            "count_start": 3,
            "count_end": 3,
        }
    ]
    assert fault["lamps"]["red_stop"] == fault["lamps_sure"]["red_stop"] == "on"
    (frame,) = fault["freeze_frames"]
    assert {one["spn"]: one["value"] for one in frame["values"]}[190] == 1800
    assert fault["from"] == ["dm1", "dm4"]


def test_lamps_without_a_code_are_told_beside_the_faults(yard: Yard) -> None:
    yard.add(day=1, more=lambda bus: bus.dm1_each(0.5, 10, 3, lamps=0x04))
    (machine,) = call(yard.book, "faults", "--json").done()["machines"]
    (lamp,) = machine["lamp_without_code"]
    assert (lamp["address"], lamp["lamps"]["amber_warning"]) == (3, "on")
    assert machine["faults"] == []


# -- places and boxes -----------------------------------------------------------------------------


def seated(yard: Yard, gears: Name, day: int, *codes: bytes) -> dict[str, Any]:
    """Bring in a recording in which this box sits at the gearbox."""
    bus = Bus()
    bus.claim(0.1, 0, NAMES[0])
    bus.claim(0.1, 3, gears)
    bus.alive(0, 10, 0, 3)
    for code in codes:
        bus.dm1_each(0.5, 10, 3, code)
    return yard.add_bus(bus, day=day, machine="")


def test_a_swap_keeps_the_faults_and_is_told_once(yard: Yard) -> None:
    first = seated(yard, NAMES[3], 1, HOT)
    new_box = name_of(4711, 3)
    second = seated(yard, new_box, 2, HOT)
    third = seated(yard, new_box, 3)
    assert {one["visits"][0]["machine_name"] for one in (first, second, third)} == {"Grey"}
    (fault,) = yard.faults()
    assert len(fault["visits"]) == 2
    assert fault["name"] == new_box.hex
    assert [one["what"] for one in fault["events"]] == ["swap"]
    told = [any("swapped" in doubt for doubt in one["visits"][0]["doubts"]) for one in
            (first, second, third)]  # fmt: skip
    assert told == [False, True, False]


def test_a_box_put_back_is_the_one_there_last(yard: Yard) -> None:
    seated(yard, NAMES[3], 1)
    seated(yard, name_of(4711, 3), 2)
    seated(yard, NAMES[3], 3, HOT)
    (fault,) = yard.faults()
    assert fault["name"] == NAMES[3].hex
    machine = call(yard.book, "machine", "Grey", "--json").done()
    (gears,) = (one for one in machine["controllers"] if one["address"] == 3)
    assert {one["name"] for one in gears["boxes"]} == {NAMES[3].hex, name_of(4711, 3).hex}
    assert gears["name"] == NAMES[3].hex


def test_another_service_tool_is_no_swapped_unit(yard: Yard) -> None:
    for day, identity in ((1, 901), (2, 902)):
        bus = Bus()
        bus.claim(0.1, 0, NAMES[0])
        bus.claim(0.1, 0xF9, name_of(identity, 129, device_class=0))
        bus.alive(0, 5, 0, 0xF9)
        told = yard.add_bus(bus, day=day, machine="")
        assert told["visits"][0]["machine_name"] == "Grey"
        assert told["visits"][0]["doubts"] == []


def test_a_sender_without_a_claim_is_the_place_that_held_its_address(yard: Yard) -> None:
    seated(yard, NAMES[3], 1, HOT)
    bus = Bus()
    bus.alive(0, 10, 0, 3)
    bus.dm1_each(0.5, 10, 3, HOT)
    yard.add_bus(bus, day=2)
    (fault,) = yard.faults()
    assert len(fault["visits"]) == 2


def test_an_implement_keeps_its_faults_on_any_tractor(yard: Yard) -> None:
    baler = name_of(31, 132, device_class=9, anywhere=True)
    for day, engine in ((1, NAMES[0]), (2, name_of(77, 0))):
        bus = Bus()
        bus.claim(0.1, 0, engine)
        bus.claim(0.2, 0x85, baler)
        bus.alive(0, 10, 0, 0x85)
        bus.dm1_each(0.5, 10, 0x85, dtc(1500, 5))
        told = yard.add_bus(bus, day=day, machine="")
        assert len(told["visits"][0]["machines"]) == 2
    (fault,) = yard.faults()
    assert len(fault["visits"]) == 2
    machines = call(yard.book, "yard", "--json").done()["machines"]
    kinds = {one["machine_name"]: one["kind"] for one in machines}
    assert sorted(kinds.values()) == ["implement", "machine", "machine"]


def test_a_vin_of_another_machine_is_not_taken_over(yard: Yard) -> None:
    def vin(bus: Bus) -> None:
        bus.tell(2.0, t.VIN, 0, b"AB1CD23E4FG567890*")

    yard.add(day=1, more=vin)
    yard.add(day=2, machine="Red", more=vin)
    shown = {
        name: call(yard.book, "machine", name, "--json").done()["vin"] for name in ("Grey", "Red")
    }
    assert shown == {"Grey": "AB1CD23E4FG567890", "Red": None}


# -- hours ----------------------------------------------------------------------------------------


def hours(value: float) -> Any:
    raw = round(value / 0.05).to_bytes(4, "little")
    return lambda bus: bus.say(2.0, t.HOURS, 0, raw + b"\xff" * 4)


def test_a_meter_that_ran_backwards_is_told_in_whatever_order_visits_come(yard: Yard) -> None:
    later = yard.add(day=5, more=hours(5900.0))["visits"][0]
    assert later["doubts"] == []
    earlier = yard.add(day=3, more=hours(5910.0))["visits"][0]
    assert earlier["doubts"] == []
    again = call(yard.book, "visit", later["visit"], "--json").done()
    assert again["doubts"] == [doubt_words(keep("hours_ran_back", "5900.00", "5910.00"))]


# -- repairs --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "named"),
    [
        ("new thermostat for SPN 110", {110}),
        ("cleaned the plug, spn 110 fmi 0 gone", {110}),
        ("engine oil pressure sender changed", {100}),
        ("greased everything", set()),
        ("changed 110 litres of oil", set()),
    ],
)
def test_a_repair_stands_for_what_it_plainly_names(yard: Yard, text: str, named: set[int]) -> None:
    yard.add((0, HOT), (3, dtc(100, 1)), day=1)
    told = call(
        yard.book, "repair", "add", "--machine", "Grey", "--hours", "5910", "--text", text, "--json"
    ).done()
    spns = {one["fault"]: one["spn"] for one in yard.faults()}
    assert {spns[one] for one in told["faults"]} == named


# -- what it tells --------------------------------------------------------------------------------


def test_what_a_machine_tells(yard: Yard) -> None:
    def say(bus: Bus) -> None:
        bus.engine(0, 10)
        for at_s in range(10):
            bus.say(at_s + 0.3, 65262, 0, bytes((120, 0xFF)) + b"\xff" * 6)
        bus.ask(2.0, t.HOURS, 0)
        hours(5910.0)(bus)
        bus.dm1_each(0.6, 10, 3)

    yard.add(day=1, more=say)
    told = call(yard.book, "tells", "Grey", "--json").done()
    status = {one["spn"]: one["status"] for one in told["readings"]}
    assert (status[190], status[110], status[174], status[247]) == (
        "alive",
        "alive",
        "not_available",
        "on_request",
    )
    assert "never_sent" in status.values()
    manners = {one["address"]: one["dm1_manner"] for one in told["controllers"]}
    assert (manners[0], manners[3]) == ("never_heard", "always")
    assert told["not_possible"]


def test_each_judgement_names_its_inputs() -> None:
    for one in judgements():
        assert one.any_of
        assert missing_inputs(one, set()) == tuple(choice[0] for choice in one.any_of)
        assert missing_inputs(one, set(one.spns)) == ()
        # One of each choice is enough.
        assert missing_inputs(one, {choice[-1] for choice in one.any_of}) == ()


# -- sentences ------------------------------------------------------------------------------------


@pytest.mark.parametrize("key", sorted(DOUBTS))
def test_every_doubt_makes_a_sentence(key: str) -> None:
    words = doubt_words(keep(key, "A|b", 2, 3, 4))
    assert not words[0].islower()
    assert words.endswith(".")
    assert "{" not in words
    assert "|" not in words


def test_words_that_a_reader_made_are_shown_as_they_are() -> None:
    assert doubt_words("times carry no unit") == "times carry no unit"
    with pytest.raises(KeyError):
        keep("nobody_made_this")
