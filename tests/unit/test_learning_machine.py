"""Learning on a machine of the proving ground: found in two sessions, and nothing else claimed."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from tests.command_line import call
from tests.played_outings import MACHINES, outing_of
from tests.sat_down import SatDown, seat_places, sits_down

from shearbolt.app.composing.tables import FactTables
from shearbolt.app.concluding.record import read_machine
from shearbolt.app.learning import learnt_states
from shearbolt.book import Book
from shearbolt.dictionary.merged import dictionary_of
from shearbolt.proving.bus import play
from shearbolt.proving.own_groups import layout_of_own
from shearbolt.recordings.writing import write_candump

SEAT = "sitting on the seat"


def brought(book: Path, one: SatDown) -> str:
    added = call(book, "add", one.path, "--machine", "Grey", "--json").done()
    return str(added["visits"][0]["visit"])


def learnt(book: Path, one: SatDown, visit: str, what: str = SEAT) -> dict[str, Any]:
    at = [part for second in one.at_s for part in ("--at", second)]
    return call(book, "learn", "Grey", "--what", what, "--visit", visit, *at, "--json").done()


def places(found: list[dict[str, Any]]) -> set[tuple[int, int, int]]:
    return {
        (one["pgn"], one["address"], 8 * (one["start_byte"] - 1) + one["start_bit"] - 1)
        for one in found
    }


def test_the_seat_is_learnt_in_two_sessions_and_nothing_else(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    book = tmp_path / "book"
    truth = seat_places(MACHINES["new_tractor"])
    assert truth
    first = sits_down(tmp_path, monkeypatch, seed=1)
    visit = brought(book, first)
    document = learnt(book, first, visit)
    assert places(document["found"]) == truth
    assert document["counted"]
    assert {one["state"] for one in document["signals"]} == {"candidate"}
    assert all(one["length_bits"] == 1 and not one["inverted"] for one in document["found"])
    assert all(one["delay_s"] == pytest.approx(0.9, abs=0.3) for one in document["found"])
    assert call(book, "tells", "Grey", "--json").done()["learnt"] == []
    # The same visit again is no second session.
    again = learnt(book, first, visit)
    assert not again["counted"]
    assert {one["state"] for one in again["signals"]} == {"candidate"}
    assert any("another session" in one for one in again["words"])
    # Another day.
    second = sits_down(tmp_path, monkeypatch, seed=2, day="2026-07-02")
    later = brought(book, second)
    document = learnt(book, second, later)
    assert places(document["signals"]) == truth
    assert {one["state"] for one in document["signals"]} == {"learnt"}
    assert {one["sessions"] for one in document["signals"]} == {2}
    told = call(book, "tells", "Grey", "--json").done()["learnt"]
    assert {(one["text"], one["status"]) for one in told} == {(SEAT, "learnt")}
    assert places(told) == truth
    assert SEAT in call(book, "tells", "Grey").out
    listed = call(book, "learn", "--list", "--json").done()
    assert places(listed["signals"]) == truth
    assert {one["experiment"] for one in listed["experiments"]} >= {"seat", "hitch", "pto"}
    assert all(one["cautions"] for one in listed["experiments"])
    words = " ".join(call(book, "learn", "Grey", "--list").out.split())
    assert "never lower it" in words
    assert "nobody under raised loads" in words
    # As states of a visit, for whoever looks for the conditions of a fault.
    with Book.open(book) as opened:
        owner = opened.machine("Grey")
        tables = FactTables(dictionary_of(opened.owner.signals(), opened.owner.codes()))
        states = learnt_states(opened, read_machine(opened, owner), tables, opened.visit(later))
    assert {one.what for one in states} == {SEAT}
    for state in states:
        at = int(second.at_s[0] + second.start_s) + 3
        seen = dict(zip((state.second - state.second[0]).tolist(), state.value.tolist(),
                        strict=True))  # fmt: skip
        assert seen[at] == 1.0
        assert seen[at - 5] == 0.0


def test_a_candidate_that_does_not_come_again_is_dropped(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    book = tmp_path / "book"
    first = sits_down(tmp_path, monkeypatch, seed=3)
    learnt(book, first, brought(book, first))
    second = sits_down(tmp_path, monkeypatch, seed=4, day="2026-07-03", does=False)
    document = learnt(book, second, brought(book, second))
    assert document["found"] == []
    assert {one["state"] for one in document["signals"]} == {"dropped"}
    assert call(book, "tells", "Grey", "--json").done()["learnt"] == []


def test_a_number_that_follows_a_known_reading_is_found_while_working(tmp_path: Path) -> None:
    """The maker's own copy of engine speed, 0.5 rpm a count, in groups of three senders."""
    book = tmp_path / "book"
    path = tmp_path / "yard.log"
    write_candump(path, play(outing_of("new_tractor", ("yard", 150), ("load", 130)), 4).frames)
    added = call(book, "add", path, "--machine", "Grey", "--json").done()
    visit = added["visits"][0]["visit"]
    document = call(book, "learn", "Grey", "--visit", visit, "--follows", "engine_rpm",
                    "--json").done()  # fmt: skip
    machine = MACHINES["new_tractor"]
    truth = {
        (one.pgn, controller.address, row.first_bit)
        for controller in machine.controllers
        for one in controller.proprietary
        for row in layout_of_own(controller, one)
        if row.quantity == "rpm"
    }
    assert places(document["found"]) == truth
    assert document["method"] == "passive"
    assert document["what"] == "engine speed"
    assert all(one["scale"] == pytest.approx(0.5, rel=0.01) for one in document["found"])
    assert {one["state"] for one in document["signals"]} == {"candidate"}


def test_what_cannot_be_learnt_is_one_sentence(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    book = tmp_path / "book"
    one = sits_down(tmp_path, monkeypatch, seed=5)
    visit = brought(book, one)
    few = call(book, "learn", "Grey", "--what", "x", "--visit", visit, "--at", "15", "--at", "22",
               "--json").done(1)  # fmt: skip
    assert (few["amiss"], few["counted"]) == ("too_few", False)
    assert few["signals"] == []
    for wrong, words in (
        (("--what", "x"), "--visit"),
        (("--visit", visit), "--what"),
        (("--visit", visit, "--what", "x"), "--at"),
        (("--visit", visit, "--what", "x", "--at", "noon"), "neither a time"),
        (("--visit", visit, "--follows", "love"), "no quantity"),
        (("--visit", "v0000", "--what", "x", "--at", "1"), "v0000"),
        (("--visit", visit, "--experiment", "dance", "--at", "1"), "dance"),
    ):
        failed = call(book, "learn", "Grey", *wrong, "--json")
        assert failed.status in (2, 3)
        assert words in failed.sentence
    assert call(book, "learn", "--json").status == 2
    assert call(book, "learn", "Grey", "--channel", "a", "--json").status == 2
