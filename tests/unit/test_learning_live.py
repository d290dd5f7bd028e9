"""Guided live: a round and an experiment on a virtual bus, where nothing is ever sent."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from jsonschema import Draft202012Validator
from tests.command_line import call
from tests.made_round import ROUND, columns_of
from tests.made_state import table
from tests.played_outings import outing_of
from tests.quick_bus import CAB, Player, quick_clocks

from shearbolt.app import guided
from shearbolt.app.baselines import baseline_findings, baseline_mark
from shearbolt.app.composing.tables import FactTables
from shearbolt.app.concluding.case import machine_case
from shearbolt.app.concluding.record import read_machine
from shearbolt.app.documents import (
    PLAIN_WORDING,
    BaselineAsked,
    GuidedStep,
    LearnAsked,
    ListenAsked,
    no_progress,
    show_nothing,
)
from shearbolt.app.guided import ExperimentGuide, RoundGuide, merged
from shearbolt.app.schemas import schema_of
from shearbolt.app.use_cases import baseline, learn
from shearbolt.book import Book
from shearbolt.dictionary.baseline import baseline_steps, experiments
from shearbolt.dictionary.merged import Dictionary, dictionary_of
from shearbolt.model.state import StateTable
from shearbolt.proving.bus import play
from shearbolt.proving.trace import Day
from shearbolt.recordings.writing import write_candump


@pytest.fixture
def quick(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let listening run on quick clocks, and look often."""
    monkeypatch.setattr("shearbolt.app.listening.system_clocks", quick_clocks)
    monkeypatch.setattr("shearbolt.app.listening.ROUND_S", 0.02)
    monkeypatch.setattr("shearbolt.live.session.ROUND_S", 0.02)


@pytest.fixture
def briefly(monkeypatch: pytest.MonkeyPatch) -> None:
    """Make the experiments as short as they may be."""
    short = {name: replace(one, times=5, hold_s=4.0) for name, one in experiments().items()}
    monkeypatch.setattr("shearbolt.app.use_cases.learning.experiments", lambda: short)


def named(book: Path, name: str = "Grey") -> None:
    with Book.open(book) as opened, opened.writing() as writer:
        writer.add_machine(name, name_given=True, now_us=1, kind="machine")


def checked(document: Any, name: str) -> Any:
    Draft202012Validator(schema_of(name, closed=True)).validate(document)
    return document


def test_a_person_is_guided_through_an_experiment_and_the_seat_is_found(
    quick: None, briefly: None, tmp_path: Path
) -> None:
    named(tmp_path)
    told: list[GuidedStep] = []
    with Player("quick-seat") as player:

        def guide(step: GuidedStep) -> None:
            told.append(step)
            player.seat = 1 if step["words"].startswith("Sit") else 0

        document = learn(
            tmp_path,
            LearnAsked(
                "Grey", experiment="seat", live=ListenAsked("virtual", ("quick-seat",), 250_000)
            ),
            guide=guide,
            show=show_nothing,
            stop=lambda: False,
            progress=no_progress,
            wording=PLAIN_WORDING,
        )
    checked(document, "learn")
    assert player.heard_others == 0, "nothing is ever sent"
    assert [one["number"] for one in told] == list(range(1, 12))
    assert told[0]["words"].startswith("Stay off the seat")
    assert any("Park brake on" in one for one in told[0]["cautions"])
    assert len(document["prompts"]) == 10
    (found,) = document["found"]
    assert (found["pgn"], found["start_byte"], found["start_bit"]) == (CAB, 4, 3)
    assert found["agreeing"] == found["stretches"] == 11
    (signal,) = document["signals"]
    assert (signal["state"], signal["what"]) == ("candidate", "sitting on the seat")


def test_an_experiment_broken_off_settles_nothing_and_files_the_visit(
    quick: None, tmp_path: Path
) -> None:
    named(tmp_path)
    told: list[GuidedStep] = []
    with Player("quick-off"):
        document = learn(
            tmp_path,
            LearnAsked(
                "Grey", experiment="door", live=ListenAsked("virtual", ("quick-off",), 250_000)
            ),
            guide=told.append,
            show=show_nothing,
            stop=lambda: len(told) >= 4,
            progress=no_progress,
            wording=PLAIN_WORDING,
        )
    checked(document, "learn")
    assert document["visit"] is not None
    assert not document["counted"]
    assert document["amiss"] in ("too_few", "too_short")
    assert any("ended after" in one for one in document["words"])


def test_a_round_is_guided_until_each_step_is_seen(quick: None, tmp_path: Path) -> None:
    named(tmp_path)
    told: list[str] = []
    with Player("quick-round") as player:
        begun: list[float] = []

        def act(seconds: float) -> None:
            # The person does what was asked for last.
            last = told[-1] if told else ""
            if last.startswith("Start"):
                begun.append(seconds)
                player.rpm = 180.0 if seconds - begun[0] < 4 else 850.0

        def guide(step: GuidedStep) -> None:
            told.append(step["words"])
            assert step["cautions"]

        player.act = act
        document = baseline(
            tmp_path,
            BaselineAsked("Grey", live=ListenAsked("virtual", ("quick-round",), 250_000)),
            guide=guide,
            show=show_nothing,
            stop=lambda: any(one.startswith("Bring") for one in told),
            progress=no_progress,
            wording=PLAIN_WORDING,
        )
    checked(document, "baseline")
    assert player.heard_others == 0
    assert [one.split()[0] for one in told] == ["With", "Start", "Let", "Bring"]
    done = {one["step"] for one in document["steps"] if one["state"] == "done"}
    assert done == {"cold_key_on", "start", "idle"}
    assert document["kept_now"]
    assert {one["quantity"] for one in document["readings"]} >= {"engine_rpm", "coolant_c"}


def test_nothing_heard_keeps_no_baseline(quick: None, tmp_path: Path) -> None:
    named(tmp_path)
    document = baseline(
        tmp_path,
        BaselineAsked("Grey", live=ListenAsked("virtual", ("nobody-there",), 250_000, seconds=3.0)),
        guide=lambda step: None,
        show=show_nothing,
        stop=lambda: False,
        progress=no_progress,
        wording=PLAIN_WORDING,
    )
    checked(document, "baseline")
    assert (document["visit"], document["kept_now"]) == (None, False)
    assert "no new baseline" in document["words"][0]


def test_steps_and_prompts_are_printed_by_the_command_line(quick: None, tmp_path: Path) -> None:
    named(tmp_path)
    bus = ("--interface", "virtual", "--channel", "quick-cli", "--bitrate", "250000")
    with Player("quick-cli") as player:
        told = call(tmp_path, "baseline", "Grey", *bus, "--for", "4", "--json")
        # Four seconds show no two steps, so there is no baseline: one sentence says so.
        document = told.done(1)
        assert "at least 2 are needed" in document["refused"][0]["reason"]
        assert (document["visit"], document["kept_now"]) == (None, False)
        assert "1/9: With a cold engine" in told.err
        assert "CAUTION: Start it only from the seat" in told.err
        learnt = call(tmp_path, "learn", "Grey", "--experiment", "hitch", *bus, "--for", "4")
    assert player.heard_others == 0
    assert learnt.status == 1
    assert "1/13: Lower the hitch" in learnt.out
    assert "CAUTION: Lower the load to the ground first" in learnt.out
    # What was heard is in the book all the same.
    assert call(tmp_path, "machine", "Grey", "--json").done()["visits"]
    nobody = call(tmp_path, "learn", "Grey", "--experiment", "seat", "--interface", "virtual",
                  "--channel", "nobody-here", *bus[4:], "--for", "2", "--json")  # fmt: skip
    assert nobody.done(3)["visit"] is None


def test_commands_come_at_times_that_are_drawn() -> None:
    def times(seed: int) -> list[float]:
        guide = ExperimentGuide(experiments()["seat"], lambda step: None, seed)
        for tick in range(2000):
            guide.look(tick / 10, heard=True)
        assert guide.done
        return [one.at_s for one in guide.given]

    first, second = times(1), times(2)
    assert first != second
    assert len(first) == 12
    holds = np.diff(first)
    assert holds.min() >= 0.8 * 6 - 0.2
    assert holds.max() <= 1.4 * 6 + 0.2
    assert ExperimentGuide(experiments()["seat"], lambda step: None, 1).given == []


def test_nothing_is_asked_before_the_first_frame() -> None:
    told: list[GuidedStep] = []
    guide = ExperimentGuide(experiments()["seat"], told.append, 1)
    guide.look(30.0, heard=False)
    assert told == []


def test_steps_that_cannot_be_seen_are_passed_in_time() -> None:
    """A tractor met while it runs: the cold steps are past, the rest is waited for."""
    frames = play(outing_of("utility_tractor", ("idle", 40)), 3).frames
    told: list[str] = []
    guide = RoundGuide(Dictionary.ours(), lambda step: told.append(step["words"]))
    warm = int(np.searchsorted(frames.time_us, frames.time_us[0] + 12_000_000))
    from shearbolt.app.unknown_groups import _rows

    guide.feed(_rows(frames, np.arange(len(frames)) >= warm))
    guide.look(1.0)
    assert {one.step for one in guide.seen if one.state == "done"} <= {"idle"}
    assert not told[0].startswith(("With a cold", "Start"))
    for seconds in range(2, 3000, 5):
        guide.feed(_rows(frames, np.arange(len(frames)) >= len(frames) - 50))
        guide.look(float(seconds))
    assert guide.done, "whatever cannot be seen is passed, so that the round ends"


def test_state_is_put_together_second_by_second() -> None:
    told = columns_of()
    whole = table(len(told["oil_kpa"]), told)
    for cut in (1, 40, 200):
        parts = [
            StateTable(
                whole.second[rows],
                {key: type(one)(one.last[rows], one.low[rows], one.high[rows], one.status[rows])
                 for key, one in whole.columns.items()},
            )
            for rows in (slice(0, cut + 1), slice(cut, None))
        ]  # fmt: skip
        both = merged(*parts)
        assert both.second.tolist() == whole.second.tolist()
        for key, one in whole.columns.items():
            np.testing.assert_array_equal(both.columns[key].last, one.last)
            np.testing.assert_array_equal(both.columns[key].status, one.status)


def test_a_baseline_of_a_visit_by_the_command_line(tmp_path: Path) -> None:
    book = tmp_path / "book"
    visits = []
    whole = Day(coolant_c=84.0, oil_c=88.0)
    for day, causes in ((0, ()), (8, ()), (16, ("real_condition.bearings_worn",))):
        outing = outing_of(
            "big_tractor", ("idle", 60), ("road", 50), ("idle", 60), day=whole, causes=causes,
            severity=1.0,
        )  # fmt: skip
        frames = play(outing, 5 + day).frames
        frames.time_us[:] += day * 86_400_000_000
        path = tmp_path / f"{day}.log"
        write_candump(path, frames)
        added = call(book, "add", path, "--machine", "Grey", "--json").done()
        visits.append(added["visits"][0]["visit"])
    none = call(book, "baseline", "Grey", "--json").done()
    assert (none["visit"], none["readings"]) == (None, [])
    assert "nobody" in " ".join(call(book, "baseline", "Grey").out.lower().split())
    made = call(book, "baseline", "Grey", "--visit", visits[0], "--json").done()
    assert made["kept_now"]
    assert {one["step"] for one in made["steps"] if one["state"] == "done"} >= {"hot_idle", "drive"}
    gaps = made["differences"]
    assert {one["visit"] for one in gaps if one["verdict"] == "odd"} <= {visits[2]}
    worn = [one for one in gaps if (one["step"], one["quantity"]) == ("hot_idle", "oil_kpa")]
    assert [one["visit"] for one in worn] == [visits[2]]
    assert worn[0]["difference"] < -35
    assert "below this machine's own baseline of" in worn[0]["words"]
    shown = call(book, "baseline", "Grey", "--json").done()
    assert (shown["visit"], shown["kept_now"]) == (visits[0], False)
    assert shown["readings"] == made["readings"]
    words = call(book, "baseline", "Grey").out
    assert f"from visit {visits[0]}" in words
    assert call(book, "baseline", "Grey", "--visit", "v0000", "--json").status == 3
    both = call(book, "baseline", "Grey", "--visit", "x", "--interface", "virtual", "--json")
    assert both.status == 2
    with Book.open(book) as opened:
        record = read_machine(opened, opened.machine("Grey"))
        tables = FactTables(dictionary_of(opened.owner.signals(), opened.owner.codes()))
        case = machine_case(record, tables, opened.signals_seen(record.machine.id), opened.state)
        found = baseline_findings(opened, case)
        mark = baseline_mark(opened, record.machine.id)
    assert {(one.check, one.because.key) for one in found} >= {("baseline", "hot_idle_below")}
    assert mark.startswith(visits[0])
    # Among the odd readings of the machine, in its own words.
    shown = call(book, "faults", "--machine", "Grey", "--json").done()["machines"][0]
    told = [one for one in shown["odd_readings"] if one["check"] == "baseline"]
    assert {one["visit"] for one in told} == {visits[2]}
    assert any(
        one["spns"] == [100] and "at hot idle" in one["words"] and "own baseline" in one["words"]
        for one in told
    )


def test_every_step_of_the_table_has_its_words_and_cautions() -> None:
    from shearbolt.app.composing.learning_words import STEPS, cautions_said, step_words

    assert set(STEPS) == {one.step for one in baseline_steps()}
    for step in baseline_steps():
        assert step_words(step.step)
        assert all(cautions_said(step.cautions))
    assert "167 °F" in step_words("hot_idle", "us")
    for one in experiments().values():
        assert all(cautions_said(one.cautions))
    assert guided.LEAD_S > 0
    assert ROUND
