"""Written down by hand: what a note is taken for, and how it meets what the bus tells."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from tests.bus_traffic import Bus, dtc
from tests.command_line import call
from tests.small_yard import NAMES, Yard, small_yard

from shearbolt.app.notes import understand
from shearbolt.errors import NoteNotUnderstood
from shearbolt.model.frames import PlainFrame


@pytest.fixture
def yard(tmp_path: Path) -> Yard:
    return small_yard(tmp_path)


# -- understanding --------------------------------------------------------------------------------


def test_words_that_nobody_knows_are_refused_with_the_way_out() -> None:
    with pytest.raises(NoteNotUnderstood) as refusal:
        understand("hums when turning left")
    assert "--as symptom or --as event" in refusal.value.sentence
    assert refusal.value.sentence.count(". ") == 1


@pytest.mark.parametrize("kind", ["symptom", "event"])
def test_own_words_are_kept_as_they_are(kind: Any) -> None:
    found = understand("  hums when turning left ", kind)
    assert (found.kind, found.words) == (kind, "hums when turning left")


def test_own_words_do_not_hide_what_is_known() -> None:
    assert understand("won't crank", "symptom") == understand("won't crank")
    assert understand("SPN 110 FMI 0", "symptom").kind == "code"


# -- filing ---------------------------------------------------------------------------------------


def test_a_symptom_in_own_words_is_followed_like_a_fault(yard: Yard) -> None:
    first = yard.note("hums when turning left", "--as", "symptom", "--hours", "5910")
    again = yard.note("hums when turning left", "--as", "symptom", "--hours", "5930")
    (fault,) = yard.faults()
    assert first["faults"] == again["faults"] == [fault["fault"]]
    assert (fault["kind"], fault["code"], fault["text"]) == (
        "symptom",
        "hums when turning left",
        "hums when turning left",
    )
    assert first["note"]["understood_as"] == "symptom"


def test_an_event_in_own_words_makes_no_fault(yard: Yard) -> None:
    told = yard.note("drove through the ford", "--as", "event")
    assert (told["note"]["understood_as"], told["faults"]) == ("event", [])
    assert yard.faults() == []


def test_what_is_refused_leaves_nothing_behind(yard: Yard) -> None:
    told = call(yard.book, "note", "hums somehow", "--machine", "Grey", "--json")
    assert told.status == 2
    assert "--as symptom" in told.sentence
    assert len(call(yard.book, "machine", "Grey", "--json").done()["visits"]) == 1


# -- a note and the bus ---------------------------------------------------------------------------

HOT = dtc(110, 0, 3)


def test_a_note_of_what_the_bus_told_joins_its_fault(yard: Yard) -> None:
    yard.add((0, HOT), day=1)
    told = yard.note("110-0")
    (fault,) = yard.faults()
    assert told["faults"] == [fault["fault"]]
    assert fault["from"] == ["dm1", "hand"]


def test_the_bus_adopts_what_was_written_down_before(yard: Yard) -> None:
    noted = yard.note("SPN 110 FMI 0", "--date", "2026-05-14")
    repaired = call(
        yard.book, "repair", "add", "--machine", "Grey", "--fault", noted["faults"][0],
        "--hours", "5910", "--text", "new sensor", "--json",
    ).done()  # fmt: skip
    yard.add((3, HOT), day=1)
    (fault,) = yard.faults()
    assert fault["fault"] == noted["faults"][0]
    assert fault["from"] == ["dm1", "hand"]
    assert (fault["address"], fault["name"]) == (3, NAMES[3].hex)
    assert len(fault["visits"]) == 2
    assert fault["state"] == "active"
    assert repaired["faults"] == [fault["fault"]]
    # ... and stays one when it is heard and noted again.
    yard.add((3, dtc(110, 0, 4)), day=2)
    yard.note("110.00")
    (again,) = yard.faults()
    assert len(again["visits"]) == 4


def test_two_senders_of_one_code_adopt_nothing(yard: Yard) -> None:
    """Which of the two the dash meant cannot be known."""
    noted = yard.note("110-0")
    yard.add((0, HOT), (3, HOT), day=1)
    faults = {one["fault"]: one["from"] for one in yard.faults()}
    assert len(faults) == 3
    assert faults[noted["faults"][0]] == ["hand"]


def test_the_address_that_the_person_named_decides(yard: Yard) -> None:
    noted = yard.note("SA0 SPN 110 FMI 0")
    yard.add((3, HOT), day=1)
    assert {tuple(one["from"]) for one in yard.faults()} == {("hand",), ("dm1",)}
    other = small_yard(yard.folder / "other")
    noted = other.note("SA3 SPN 110 FMI 0")
    other.add((3, HOT), day=1)
    assert [one["fault"] for one in other.faults()] == noted["faults"]


def test_another_failure_mode_is_another_fault(yard: Yard) -> None:
    yard.note("110-16")
    yard.add((0, HOT), day=1)
    assert len(yard.faults()) == 2


def test_a_makers_own_code_written_down_first_takes_its_maker(yard: Yard) -> None:
    """SPN 520192 and up belong to makers: the first maker heard is the one."""
    noted = yard.note("SPN 522000 FMI 31")
    yard.add((3, dtc(522000, 31)), day=1)
    yard.add((3, dtc(522000, 31)), day=2)
    (fault,) = yard.faults()
    assert fault["fault"] == noted["faults"][0]


def test_a_code_of_another_machine_is_left_alone(yard: Yard) -> None:
    yard.add(machine="Red", day=5)
    yard.note("110-0")
    bus = Bus()
    bus.alive(0, 10, 0)
    bus.dm1_each(0.5, 10, 0, HOT)
    yard.add_bus(bus, day=6, machine="Red")
    assert len(yard.faults()) == 2


def test_a_road_code_written_down_first_is_adopted(yard: Yard) -> None:
    noted = yard.note("U0217-00")
    bus = Bus()
    rows = [(0x7DF, "0103"), (0x7E8, "0443 01 C217")]
    for i, (ident, data) in enumerate(rows * 3):
        bus.rows.append(PlainFrame(i * 10_000, ident, bytes.fromhex(data), 0))
    yard.add_bus(bus, day=1)
    (fault,) = yard.faults()
    assert (fault["fault"], fault["code"]) == (noted["faults"][0], "U0217")
    assert fault["from"] == ["hand", "obd03"]


# -- days -----------------------------------------------------------------------------------------


def test_a_note_of_a_day_shows_no_time_of_day(yard: Yard) -> None:
    noted = yard.note("won't crank", "--date", "2026-06-02")
    assert noted["start"] == "2026-06-02T00:00:00.000000Z"
    shown = [
        call(yard.book, "note", "won't crank", "--machine", "Grey", "--date", "2026-06-02").out,
        call(yard.book, "faults").out,
        call(yard.book, "yard").out,
        call(yard.book, "machine", "Grey").out,
        call(yard.book, "visit", noted["visit"]).out,
        call(yard.book, "fault", noted["faults"][0]).out,
    ]
    for text in shown:
        assert "2 Jun 2026" in text
        assert "00:00:00" not in text
