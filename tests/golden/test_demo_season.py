"""Part of the demo season, filed, against the truth of each of its recordings.

The proving ground packs frames by its own code and writes down what is true of them; nothing of
that is known to the reader. Two things are true that no bus tells, and are compared as far as a
listener could know them:

* A sender that reports only while something is active never says that it healed: the end is an
  interval from the last listing to the first time that it should have listed it again.
* An older sender leaves the flash byte at zero, which reads as slow flashing of a lit lamp
  (SAE J1939-73: flash bits are read for lit lamps only): compared as lit, not by its rhythm.
"""

from __future__ import annotations

import json
import shutil
from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from tests.command_line import call
from tests.golden.lived_season import LOOKS, Season, quietly

from shearbolt.app.demo import file_season
from shearbolt.book import Book
from shearbolt.model.fault import COUNT_FULL, Lamps
from shearbolt.model.instants import SECOND_US, from_iso
from shearbolt.proving import DemoRecording
from shearbolt.proving.truth import TrueController, TrueFault, TrueSpell

LAMPS = ("mil", "red_stop", "amber_warning", "protect")
LIT = ("on", "slow", "fast")
FILE_STEP_S = 0.0011
"""Some formats keep times to a tenth of a millisecond or a millisecond."""
SILENT_END_S = 4.5
"""A sender without a last word is taken for healthy this long after its last listing, at most."""


@pytest.fixture(params=range(LOOKS))
def one(season: Season, request: pytest.FixtureRequest) -> DemoRecording:
    number: int = request.param
    return season.recordings[number]


def names_of(one: DemoRecording) -> dict[str, str]:
    return {machine.key: machine.name for machine in one.truth.machines}


def shown_in(season: Season, one: DemoRecording, true: TrueFault) -> dict[str, Any] | None:
    """Find what the book shows of a true fault in the visit of its recording."""
    visit = season.visit(one)
    for identifier in visit["faults"]:
        fault = season.faults[identifier]
        same = (fault["spn"], fault["fmi"], fault["code"]) == (true.spn, true.fmi, true.code)
        mine = season.owner[identifier] == names_of(one)[true.machine]
        if same and mine and true.address in (None, address_in(season, fault, visit)):
            return fault
    return None


def address_in(season: Season, fault: dict[str, Any], visit: dict[str, Any]) -> int | None:
    """Return the address that the fault's controller had in a visit (it may change)."""
    for controller in visit["controllers"]:
        if controller["controller"] == fault["controller"]:
            address: int = controller["address"]
            return address
    return None


def told_faults(one: DemoRecording) -> Iterator[TrueFault]:
    return (true for true in one.truth.faults if true.told_in)


def test_every_recording_is_filed_whole(season: Season, one: DemoRecording) -> None:
    visit = season.visit(one)
    assert visit["frames"] == len(one.frames)
    assert visit["format"] == one.file_format
    assert visit["not_read"] == []
    assert season.refused == []
    assert visit["transport"]["broken"] == []
    assert visit["start_from"] == ("given" if one.truth.time_base == "relative" else "recording")
    started = one.truth.started_truly
    assert abs(from_iso(visit["start"]) - from_iso(started)) < 4 * SECOND_US
    length_s = (int(one.frames.time_us[-1]) - int(one.frames.time_us[0])) / SECOND_US
    assert visit["end_at_s"] == pytest.approx(length_s, abs=FILE_STEP_S)
    # The pickup's tester talks on 11-bit identifiers alone, where no group has a beat.
    disturbed = any(fault.kind in ("corrupts", "chafed") for fault in season.plight(one).buses)
    # No more does a bus of which a logger kept one frame a second show one.
    no_beat = visit["ids_11bit"] or season.thinned(one)
    expected = {"unknown", "filtered"} if no_beat else {"complete"}
    assert visit["quality"] in (expected | {"lossy"} if disturbed else expected)


def test_the_right_machine_every_time(season: Season, one: DemoRecording) -> None:
    visit = season.visit(one)
    ids = {machine["machine_name"]: machine["machine"] for machine in season.yard["machines"]}
    assert [ids[machine.name] for machine in one.truth.machines] == visit["machines"]
    assert visit["machine_name"] == one.truth.machines[0].name
    kinds = {machine["machine_name"]: machine["kind"] for machine in season.yard["machines"]}
    for machine in one.truth.machines:
        assert kinds[machine.name] == ("implement" if machine.implement else "machine")
    vin = one.truth.machines[0].vin if one.truth.machines[0].vin_told else None
    assert visit["vin"] == vin


def test_a_machine_met_again_is_recognised_by_itself(season: Season) -> None:
    met: set[str] = set()
    told: set[str] = set()
    for one in season.recordings:
        main, visit = one.truth.machines[0], season.visit(one)
        claimed = any(controller.claimed for controller in main.controllers)
        if season.special(one):
            # Filed by itself after all that need no word.
            assert set(visit["recognised_by"]) <= {"names", "given"}
        elif main.name not in met:
            assert visit["recognised_by"] == ["new"]
        else:
            expected = {"vin"} if main.vin_told and main.name in told else set()
            told_before = expected | ({"names"} if claimed else set())
            assert set(visit["recognised_by"]) == told_before
        if not season.special(one):
            told |= {main.name} if main.vin_told else set()
            met.update(machine.name for machine in one.truth.machines)
    assert len(season.yard["machines"]) == len(
        {machine.name for one in season.recordings for machine in one.truth.machines}
    )


def test_hours(season: Season, one: DemoRecording) -> None:
    visit, main = season.visit(one), one.truth.machines[0]
    if not main.hours_told:
        assert visit["engine_hours_start"] is visit["engine_hours_end"] is None
        assert visit["engine_hours_from"] is None
        return
    assert main.hours_start is not None
    assert main.hours_end is not None
    # Meters count in steps of 0.05 h, rounded.
    assert main.hours_start - 0.03 <= visit["engine_hours_start"]
    assert visit["engine_hours_start"] <= visit["engine_hours_end"] <= main.hours_end + 0.03
    assert visit["engine_hours_from"] == "bus"
    assert not any("hour meter" in doubt for doubt in visit["doubts"])


def test_every_controller_in_its_place(season: Season, one: DemoRecording) -> None:
    visit = season.visit(one)
    channels = list(one.frames.channels)
    # Formats with names for their channels keep those; the others number them in their order.
    named = set(visit["channels"]) == set(channels)
    heard = {
        (
            controller["channel"]
            if named
            else channels[visit["channels"].index(controller["channel"])],
            controller["address"],
        ): controller
        for controller in visit["controllers"]
    }
    for machine, identifier in zip(one.truth.machines, visit["machines"], strict=True):
        for true in machine.controllers:
            place = true.channel, true.address
            assert place in heard, (one.file_name, true.key, place, sorted(heard))
            controller = heard.pop(place)
            assert controller["machine"] == identifier
            assert controller["name"] == (true.name.hex if true.claimed else None)
            assert_manner(one, true, controller["dm1_manner"])
    # What else spoke is the tester that was plugged in.
    assert {address for _, address in heard} <= {249} or visit["ids_11bit"]


def assert_manner(one: DemoRecording, true: TrueController, manner: str) -> None:
    """Compare a DM1 manner as far as this recording could show it."""
    had_spells = any(fault.spells for fault in one.truth.faults if fault.controller == true.key)
    knowable = {
        # While something stands all the time, nobody can tell that it would report anyway.
        "always": {"always", "unknown"} if had_spells else {"always"},
        # Without a fault it says nothing, as one that never reports.
        "while_active": {"while_active"} if had_spells else {"never_heard"},
        # One that fell silent soon after its first report shows no manner.
        "at_key_on": {"while_active"}
        if had_spells
        else ({"at_key_on", "unknown"} if one.truth.key_on else {"never_heard", "unknown"}),
        "never_heard": {"never_heard"},
        "unknown": {"unknown"},
    }[true.dm1_manner]
    assert manner in knowable, (one.file_name, true.key)


def test_what_controllers_say_of_themselves(season: Season, one: DemoRecording) -> None:
    visit = season.visit(one)
    told = {(answer["address"], answer["what"]): answer for answer in visit["answers"]}
    for machine in one.truth.machines:
        for true in machine.controllers:
            for what, text in (("component", true.component), ("software", true.software)):
                if text is None:
                    assert (true.address, what) not in told
                    continue
                values = [entry["value"] or "" for entry in told[true.address, what]["values"]]
                fields = text.removesuffix("*").split("*")
                assert [value for value in values if value] == [one for one in fields if one]


def test_every_fault_is_found_and_none_invented(season: Season, one: DemoRecording) -> None:
    visit = season.visit(one)
    found = [shown_in(season, one, true) for true in told_faults(one)]
    assert None not in found
    assert sorted(fault["fault"] for fault in found if fault) == sorted(visit["faults"])
    for true in one.truth.faults:
        if not true.told_in:
            assert shown_in(season, one, true) is None


def test_where_each_fault_was_listed(season: Season, one: DemoRecording) -> None:
    for true in told_faults(one):
        fault = shown_in(season, one, true)
        assert fault is not None
        # A freeze frame is no list of codes: it stands among the fault's freeze frames.
        assert set(true.told_in) - {"dm4"} <= set(fault["from"])
        frames = [
            frame
            for frame in fault["freeze_frames"]
            if frame["visit"] == season.visit(one)["visit"]
        ]
        assert len(frames) == ("dm4" in true.told_in)
        for frame in frames:
            values = {value["spn"]: value["value"] for value in frame["values"]}
            assert {190, 92, 110, 102} <= set(values)


def test_spells(season: Season, one: DemoRecording) -> None:
    visit, first_us = season.visit(one), int(one.frames.time_us[0])
    for true in told_faults(one):
        fault = shown_in(season, one, true)
        assert fault is not None
        spells = [spell for spell in fault["spells"] if spell["visit"] == visit["visit"]]
        heard = as_heard(true.spells)
        assert len(spells) == len(heard), (true.words, spells)
        for spell, truth in zip(spells, heard, strict=True):
            assert_spell(spell, truth, first_us, int(one.frames.time_us[-1]))


def as_heard(spells: Sequence[TrueSpell]) -> list[TrueSpell]:
    """Join what a sender listed when its power went and listed again when it came back.

    It never said that it healed in between, so to a listener it is one.
    """
    joined: list[TrueSpell] = []
    for one in spells:
        last = joined[-1] if joined else None
        said = last is not None and last.next_without_us is not None
        if last is not None and one.after_dark and not (
            said and (last.next_without_us or 0) < one.first_listed_us
        ):  # fmt: skip
            joined[-1] = replace(
                last, heal_us=one.heal_us, last_listed_us=one.last_listed_us,
                next_without_us=one.next_without_us, ended_by=one.ended_by,
            )  # fmt: skip
        else:
            joined.append(one)
    return joined


def assert_spell(spell: dict[str, Any], true: TrueSpell, first_us: int, last_us: int) -> None:
    def at(instant_us: int) -> Any:
        return pytest.approx((instant_us - first_us) / SECOND_US, abs=FILE_STEP_S)

    assert spell["start_at_s"] == at(true.first_listed_us)
    assert spell["end_at_s"] == at(true.last_listed_us)
    if not true.after_dark:
        assert spell["start_known"] == true.start_known
    assert spell["count_start"] == true.count
    assert spell["count_end"] >= true.count
    short = last_us - true.last_listed_us < SILENT_END_S * SECOND_US
    if true.next_without_us is None and (short or true.first_listed_us == true.last_listed_us):
        # Never another word: from one report, or so soon, no listener can tell that it healed.
        assert spell["ended_by"] in ("unknown", true.ended_by)
        return
    assert spell["ended_by"] == true.ended_by
    if true.next_without_us is not None:
        assert spell["end_latest_at_s"] == at(true.next_without_us)
    elif true.ended_by == "healed":
        # Nobody said so: an interval that holds the truth, and is no wider than need be.
        assert true.heal_us is not None
        healed_s = (true.heal_us - first_us) / SECOND_US
        assert spell["end_at_s"] <= healed_s <= spell["end_latest_at_s"]
        assert spell["end_latest_at_s"] - spell["end_at_s"] <= SILENT_END_S
    else:
        assert spell["end_latest_at_s"] is spell["end_latest"] is None


def test_lamps(season: Season) -> None:
    """What a fault shows is lit in every report that listed it; alone, it is what it lights."""
    for one in season.recordings:
        for true in told_faults(one):
            fault = shown_in(season, one, true)
            assert fault is not None
            if not true.spells:
                continue
            for name in LAMPS:
                want, shown = getattr(true.lamps, name), fault["lamps"][name]
                if want in LIT:
                    assert shown in LIT, (one.file_name, true.spn, name)
                if want in ("slow", "fast"):
                    assert shown == want
                sure = fault["lamps_sure"][name]
                if sure is not None:
                    assert (sure in LIT) == (want in LIT)


def test_lamps_without_a_code(season: Season, one: DemoRecording) -> None:
    visit, first_us = season.visit(one), int(one.frames.time_us[0])
    listed = call(season.book, "faults", "--visit", visit["visit"], "--all", "--json").done()
    shown = [lamp for machine in listed["machines"] for lamp in machine["lamp_without_code"]]
    assert len(shown) == len(one.truth.lamps_without_code)
    for lamp, true in zip(shown, one.truth.lamps_without_code, strict=True):
        assert lamp["address"] == true.address
        assert Lamps(**lamp["lamps"]) == true.lamps
        assert lamp["start_at_s"] == pytest.approx(
            (true.first_us - first_us) / SECOND_US, abs=FILE_STEP_S
        )
        assert lamp["end_at_s"] == pytest.approx(
            (true.last_us - first_us) / SECOND_US, abs=FILE_STEP_S
        )


def test_counts(season: Season, one: DemoRecording) -> None:
    visit = season.visit(one)
    for true in told_faults(one):
        fault = shown_in(season, one, true)
        assert fault is not None
        told = [entry for entry in fault["counts"] if entry["visit"] == visit["visit"]]
        if true.kind != "j1939":
            assert told == []
            continue
        (entry,) = told
        assert true.count_before is not None
        assert true.count_after is not None
        seen = [spell.count for spell in true.spells if spell.count is not None]
        if not seen:
            assert entry["first"] == entry["last"] == true.count_after
        elif "dm2" not in true.told_in:
            assert (entry["first"], entry["last"]) == (seen[0], seen[-1])
        assert true.count_before <= entry["first"] <= entry["last"] <= true.count_after
        assert entry["at_least"] == (entry["last"] == COUNT_FULL)


def test_what_is_stale(season: Season) -> None:
    for one in season.recordings:
        for true in told_faults(one):
            fault = shown_in(season, one, true)
            assert fault is not None
            if true.stale:
                assert fault["stale"]
            if true.spells or true.kind != "j1939":
                assert not fault["stale"]


def test_swapped_unit_is_noticed_and_its_place_kept(season: Season) -> None:
    swapped = [(one, swap) for one in season.recordings for swap in one.truth.swaps]
    assert swapped
    for one, swap in swapped:
        visit = season.visit(one)
        (event,) = [entry for entry in visit["events"] if entry["what"] == "swap"]
        for number in (swap.old.identity_number, swap.new.identity_number):
            assert str(number) in event["words"]
        assert any("swapped control unit" in doubt for doubt in visit["doubts"])
        machine = call(season.book, "machine", visit["machine"], "--json").done()
        (place,) = [
            controller
            for controller in machine["controllers"]
            if any(box["name"] == swap.old.hex for box in controller["boxes"])
        ]
        assert [box["name"] for box in place["boxes"]] == [swap.old.hex, swap.new.hex]
        assert place["name"] == swap.new.hex
    others = [one for one in season.recordings if not one.truth.swaps]
    assert not any(season.visit(one)["events"] for one in others)


def test_the_wagon_is_one_machine_in_every_recording(season: Season) -> None:
    carried = [one for one in season.recordings if len(one.truth.machines) > 1]
    assert len(carried) >= 3
    ids = {season.visit(one)["machines"][1] for one in carried}
    assert len(ids) == 1
    machine = call(season.book, "machine", ids.pop(), "--json").done()
    assert machine["kind"] == "implement"
    assert machine["machine_name"] == "the loader wagon"
    assert [one["address"] for one in machine["controllers"]] == [140]


def test_how_counts_step_is_never_told_wrongly(season: Season) -> None:
    words = {"onset": "at_onset", "end": "at_end", "key_cycle": "once_per_key_cycle"}
    learnt: dict[tuple[str, str], str] = {}
    tells_of: dict[str, dict[str, Any]] = {}
    for one in season.recordings:
        for machine, identifier in zip(
            one.truth.machines, season.visit(one)["machines"], strict=True
        ):
            if identifier not in tells_of:
                tells_of[identifier] = call(season.book, "tells", identifier, "--json").done()
            tells = tells_of[identifier]
            steps = {part["address"]: part["count_steps"] for part in tells["controllers"]}
            for true in machine.controllers:
                told = steps.get(true.address, "unknown")
                if told != "unknown":
                    assert told == words[true.count_steps], (machine.name, true.key)
                    learnt[machine.name, true.key] = told
    assert set(learnt.values()) >= {"at_end", "once_per_key_cycle"}, learnt


def test_after_run_at_key_off(season: Season) -> None:
    """An engine controller that lives on is heard for longer than the first that fell silent."""
    for one in season.recordings:
        if not one.truth.key_off or season.thinned(one):
            continue
        visit = season.visit(one)
        tells = call(season.book, "tells", visit["machine"], "--json").done()
        runs = {part["address"]: part["after_run_s"] for part in tells["controllers"]}
        units = one.truth.machines[0].controllers
        lasting = [unit.after_run_s for unit in units if unit.after_run_s is not None]
        (engine,) = [unit for unit in units if unit.key == "engine"]
        assert engine.after_run_s is not None
        expected = engine.after_run_s - min(lasting)
        assert runs[engine.address] == pytest.approx(expected, abs=2.6)


def iso(date: str) -> str:
    """Return a day or an instant to the minute, as the book tells it."""
    return date[:16] if "T" in date else f"{date}T00:00"


def test_notes_by_hand_are_filed(season: Season) -> None:
    by_name = {machine["machine_name"]: machine["machine"] for machine in season.yard["machines"]}
    shown: dict[str, list[dict[str, Any]]] = {}
    machines: dict[str, dict[str, Any]] = {}
    for name, identifier in by_name.items():
        machines[name] = call(season.book, "machine", identifier, "--json").done()
        shown[name] = [
            call(season.book, "visit", one["visit"], "--json").done()
            for one in machines[name]["visits"]
            if one["kind"] == "by_hand"
        ]
    for note in season.made.notes:
        machine = machines[note.machine]
        same = [one for one in shown[note.machine] if one["note"]["text"] == note.text]
        (mine,) = [one["note"] for one in same if one["start"][:16] == iso(note.date)]
        assert mine["understood_as"] == note.kind
        assert mine["doing"] == note.doing
        assert mine["hot_cold"] == note.warmth
        minutes = note.minutes_since_start
        assert mine["after_start_s"] == (None if minutes is None else 60 * minutes)
        if note.kind == "event":
            continue
        handed = [one for one in machine["faults"] if "hand" in one["from"]]
        assert any(one["last_seen"] is not None for one in handed)


def test_codes_by_hand_join_the_fault_of_the_bus(season: Season) -> None:
    """'SPN 3719 FMI 16' off the tractor's dash is the fault that the bus told of."""
    joined = [fault for fault in season.faults.values() if {"hand", "dm1"} <= set(fault["from"])]
    written = {(o.spn, o.fmi) for o in season.made.notes if o.kind == "code"}
    assert {(fault["spn"], fault["fmi"]) for fault in joined} <= written
    assert len(joined) >= 2


def test_the_demo_twice_changes_nothing(season: Season, tmp_path: Path) -> None:
    copy = tmp_path / "book"
    shutil.copytree(season.book, copy)
    before = json.dumps(call(copy, "faults", "--all", "--json").done(), sort_keys=True)
    with Book.open(copy) as book:
        again, refused = file_season(book, season.made, quietly, 1)
    assert refused == []
    assert len(again) == LOOKS
    assert all(one.already for one in again)
    assert json.dumps(call(copy, "faults", "--all", "--json").done(), sort_keys=True) == before


def test_the_book_of_the_season_is_sound(season: Season) -> None:
    assert call(season.book, "check", "--json").done()["sound"]
