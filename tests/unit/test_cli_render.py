"""The output for people: words first, numbers after, codes last, at 80 columns."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta, timezone
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests import made_documents as made

from shearbolt.cli.layout import width_of
from shearbolt.cli.look import Look
from shearbolt.cli.render_fault import render_fault
from shearbolt.cli.render_faults import render_faults
from shearbolt.cli.render_handover import render_handover
from shearbolt.cli.render_machine import render_machine, render_tells, render_yard
from shearbolt.cli.render_planning import (
    render_costs,
    render_courses,
    render_forecast,
    render_service,
    render_service_job,
    render_sunday,
    render_work_list,
)
from shearbolt.cli.render_record import (
    render_backup,
    render_check,
    render_demo,
    render_export,
    render_import_book,
    render_rename,
    render_repair,
)
from shearbolt.cli.render_secondhand import render_secondhand
from shearbolt.cli.render_signals import render_own_codes, render_own_signals, render_signals
from shearbolt.cli.render_visit import render_add, render_note, render_visit
from shearbolt.cli.render_work import (
    render_cause,
    render_check_add,
    render_checks,
    render_repairs,
    render_withdrawn,
)

LOOK = Look(zone=timezone(timedelta(0)))
LONG = "a very long text that somebody typed without a stop " * 30
UGLY = "Mähdrescher \x1b[31m«Zoë» 收割机 \u202e" + "x" * 120
RENDERERS: dict[str, Callable[[Any, Look], list[str]]] = {
    "add": render_add,
    "backup": render_backup,
    "cause": render_cause,
    "check": render_check,
    "check-add": render_check_add,
    "checks": render_checks,
    "demo": render_demo,
    "export": render_export,
    "fault": render_fault,
    "faults": render_faults,
    "import-book": render_import_book,
    "machine": render_machine,
    "note": render_note,
    "own-codes": render_own_codes,
    "own-signals": render_own_signals,
    "rename": render_rename,
    "repair": render_repair,
    "repairs": render_repairs,
    "signals": render_signals,
    "tells": render_tells,
    "visit": render_visit,
    "withdrawn": render_withdrawn,
    "yard": render_yard,
    "costs": render_costs,
    "courses": render_courses,
    "forecast": render_forecast,
    "handover": render_handover,
    "secondhand": render_secondhand,
    "service": render_service,
    "service-job": render_service_job,
    "sunday": render_sunday,
    "work": render_work_list,
}
# Fields of fixed words, which no machine or person fills.
FIXED = {
    "schema", "kind", "state", "quality", "start_from", "engine_hours_from", "ended_by", "class",
    "engine", "cause", "dm1_manner", "recognised_by", "status", "count_steps", "advice", "result",
    "understood_as", "hot_cold", "mil", "red_stop", "amber_warning", "protect", "op", "direction",
    "what", "grade", "address",
}  # fmt: skip


def shown(lines: list[str], width: int = 80) -> str:
    """Join the lines of an output, once they keep to the rules of every output."""
    for line in lines:
        assert width_of(line.replace("\x1b[1m", "").replace("\x1b[0m", "")) <= width, line
        assert line == line.rstrip()
        assert all(mark >= " " for mark in line)
    assert lines
    assert lines[-1]
    return "\n".join(lines)


def changed(document: Any, text: Callable[[], str], key: str = "") -> Any:
    """Copy a document with every free text replaced."""
    if isinstance(document, dict):
        return {k: changed(v, text, k) for k, v in document.items()}
    if isinstance(document, list):
        return [changed(one, text, key) for one in document]
    return text() if isinstance(document, str) and key not in FIXED else document


def nothing_known(document: Any) -> Any:
    """Copy a document with every time taken out, as in a recording without a clock."""
    if isinstance(document, dict):
        return {
            k: None if isinstance(v, str) and v.endswith("Z") and ":" in v else nothing_known(v)
            for k, v in document.items()
        }
    if isinstance(document, str) and document.endswith("Z") and ":" in document:
        return None
    return [nothing_known(one) for one in document] if isinstance(document, list) else document


@pytest.mark.parametrize("name", sorted(RENDERERS))
def test_every_output_keeps_to_eighty_columns_and_says_where_to_look_next(name: str) -> None:
    document = made.all_documents()[name]
    text = shown(RENDERERS[name](document, LOOK))
    assert "More: shearbolt" in text
    assert "None" not in text.replace("None of these", "").replace("None in the book", "")
    quiet = shown(RENDERERS[name](document, Look(hints=False)))
    assert "More:" not in quiet


@pytest.mark.parametrize("name", sorted(RENDERERS))
@pytest.mark.parametrize("text", [UGLY, LONG, ""])
def test_no_text_of_a_machine_or_person_breaks_the_page(name: str, text: str) -> None:
    document = changed(made.all_documents()[name], lambda: text)
    for width in (40, 80, 100):
        for line in RENDERERS[name](document, Look(width=width, zone=LOOK.zone)):
            assert width_of(line) <= width
            assert "\x1b" not in line
            assert "\u202e" not in line


@pytest.mark.parametrize("name", sorted(RENDERERS))
def test_no_times_known(name: str) -> None:
    document = nothing_known(made.all_documents()[name])
    text = shown(RENDERERS[name](document, LOOK))
    assert "2026" not in text


@given(st.data())
def test_any_text_in_any_field(data: st.DataObject) -> None:
    name = data.draw(st.sampled_from(sorted(RENDERERS)))
    words = data.draw(st.lists(st.text(max_size=60), min_size=1, max_size=4))
    turns = iter(words * 200)
    document = changed(made.all_documents()[name], lambda: next(turns))
    for line in RENDERERS[name](document, LOOK):
        assert width_of(line) <= 80
        assert all(mark >= " " for mark in line)


def test_a_fault_reads_words_then_numbers_then_codes() -> None:
    text = shown(render_faults(made.faults_document(), LOOK))
    words = text.index("Intake manifold temperature")
    numbers = text.index("14 May 2026, 06:20:00 to 06:21:01")
    codes = text.index("SPN 105 FMI 16")
    assert words < numbers < codes
    assert "counted 3 times" in text
    assert "amber warning lamp on" in text
    assert "engine (address 0) · SPN 105 FMI 16 · fault f1aa" in text


def test_no_advice_is_guessed() -> None:
    for lines in (
        render_faults(made.faults_document(), LOOK),
        render_fault(made.fault_document(), LOOK),
        render_yard(made.yard_document(made.yard_machine()), LOOK),
        render_machine(made.machine_document(), LOOK),
    ):
        text = shown(lines).lower()
        for words in ("stop now", "finish gently", "keep working", "note only"):
            assert words not in text


def test_advice_is_shown_once_there_is_some() -> None:
    text = shown(render_fault(made.fault_document(made.reasoned_fault()), LOOK))
    for words in (
        "Finish gently",
        "Finish this load with less throttle.",
        "It does not apply at the moment",
        "Watch: intake manifold temperature; stop above 105 °C",
        "CAUTION: Turning fan and hot parts",
        "Follows from fault f2bb",
        "(80%, it is truly so)",
        "None of these (20%)",
        "Not possible here, because no ambient temperature comes",
        "drive the road once with warm oil",
        "too early: 62 more clean hours",
    ):
        assert words in text


def test_forty_faults_and_a_follower() -> None:
    faults = [made.fault(fault=f"f{i}", root="f0" if i else None) for i in range(40)]
    text = shown(render_faults(made.faults_document(made.machine_faults(faults=faults)), LOOK))
    assert "40 faults" in text
    assert "40 active" in text
    assert text.count("Follows from") == 39
    assert "fault f39" in text


def test_no_faults_is_not_called_healthy() -> None:
    for machines in ([], [made.machine_faults(faults=[])]):
        document: Any = {"schema": "shearbolt/faults/1", "machines": machines}
        text = shown(render_faults(document, LOOK))
        assert "No faults to show." in text
        assert "was not heard may still have some" in " ".join(text.split())


def test_a_lamp_without_a_code_is_shown() -> None:
    machine = made.machine_faults(faults=[], lamp_without_code=[made.LAMP_WITHOUT_CODE])
    text = shown(render_faults(made.faults_document(machine), LOOK))
    assert "Amber warning lamp on, protect lamp flashing fast, without a code." in text
    assert "address 3" in text


def test_faults_without_a_number_name_or_sender() -> None:
    bare = made.fault(
        kind="symptom",
        controller=None,
        controller_text=None,
        channel=None,
        address=None,
        name=None,
        spn=None,
        fmi=None,
        text="won't crank",
        state="unknown",
        lamps=made.NO_LAMPS,
        spells=[],
        counts=[{"visit": "v1", "first": None, "last": None, "at_least": False}],
        first_seen=None,
        first_seen_at_s=None,
        last_seen=None,
        last_seen_at_s=None,
    )
    text = shown(render_faults(made.faults_document(made.machine_faults(faults=[bare])), LOOK))
    assert "won't crank\n      State not known\n      symptom · fault f1aa" in text
    shown(render_fault(made.fault_document(bare), LOOK))


def test_ambiguous_numbers_full_counts_and_own_texts() -> None:
    odd = made.fault(
        spn_candidates=[1208, 9400],
        own_text="see page 212",
        stale=True,
        state="previously_active",
        counts=[{"visit": "v1", "first": 126, "last": 126, "at_least": True}],
    )
    text = shown(render_faults(made.faults_document(made.machine_faults(faults=[odd])), LOOK))
    text = " ".join(text.split())
    assert "[own text: see page 212]" in text
    assert "counted at least 126 times" in text
    assert "Was active before (an old memory only)" in text
    assert "SPN 1208 or 9400 (which one is not settled) FMI 16" in text


def test_many_spells_are_cut_short_and_say_so() -> None:
    spells = [made.spell(visit=f"v{i}") for i in range(30)]
    text = shown(render_fault(made.fault_document(spells=spells), LOOK))
    assert "The last 12 of 30; --json gives them all." in text
    assert "visit v29" in text
    assert "visit v17" not in text


def test_a_spell_without_a_known_start_or_time() -> None:
    spell = made.spell(
        start=None, end=None, end_latest=None, start_known=False, ended_by="recording_end",
        end_latest_at_s=None, count_start=None, count_end=None,
    )  # fmt: skip
    text = shown(render_fault(made.fault_document(spells=[spell], counts=[]), LOOK))
    assert "7 min 51 s to 8 min 52 s from the first frame (1 min 1 s)" in text
    assert "may have begun before; the recording ended; visit v5t8" in text


def test_freeze_frames_follow_the_units() -> None:
    document = made.fault_document()
    assert "92 °C  105" in shown(render_fault(document, LOOK))
    assert "197.6 °F  105" in shown(render_fault(document, Look(units="us")))


def test_add_says_what_was_not_read_doubted_and_refused() -> None:
    visit = made.visit(
        not_read=[
            {"line": 12, "byte": None, "count": 99, "reason": "data longer than its length"},
            {"line": None, "byte": 4096, "count": 1, "reason": "a stretch that is no record"},
        ],
        doubts=["the clock on the bus is 3 h off"],
        machines=["m3k2", "m9"],
        error_frames=7,
        quality="lossy",
        start_from="bus_clock",
    )
    refused = [{"file": "notes.txt", "reason": "it is no recording of a bus"}]
    text = " ".join(shown(render_add(made.add_document(visit, refused=refused), LOOK)).split())
    for words in (
        "Not read: data longer than its length (99 places, first at line 12)",
        "Not read: a stretch that is no record (1 place, byte 4,096)",
        "Doubt: The clock on the bus is 3 h off.",
        "Also heard: m9",
        "7 of them error frames",
        "frames were lost",
        "times by the clock on the bus",
        "recognised by its VIN",
        "notes.txt: It is no recording of a bus.",
    ):
        assert words in text


def test_add_twice_and_add_nothing() -> None:
    text = shown(render_add(made.add_document(made.visit(already_in_book=True)), LOOK))
    assert "Already in the book: nothing was changed." in text
    refused = [{"file": "x", "reason": "it is empty"}]
    text = shown(render_add(made.add_document(refused=refused), LOOK))
    assert text.endswith("Nothing was filed.")


def test_a_visit_without_times_hours_names_or_groups() -> None:
    visit: Any = made.visit_document(
        start=None,
        end=None,
        start_from="none",
        engine_hours_start=None,
        engine_hours_end=None,
        engine_hours_from=None,
        vin=None,
        component=None,
        software=[],
        controllers=[
            made.controller(name=None, function_text=None, address=None, dm1_manner="never_heard")
        ],
        groups=[],
        ids_11bit=[],
        answers=[],
        clears=[],
        faults=[],
        transport={"complete": 0, "broken": []},
    )
    text = shown(render_visit(visit, LOOK))
    assert "0 s to 50 min 2 s from the first frame" in text
    assert "engine hours not known" in text
    assert "no NAME heard" in text
    assert "no faults listed" in text


def test_a_visit_shows_the_busiest_groups_first_and_says_what_it_leaves_out() -> None:
    groups = [
        {"pgn": 65000 + i, "channel": "can0", "address": 0, "count": i, "period_s": None,
         "decoded": False}
        for i in range(1, 46)
    ]  # fmt: skip
    text = shown(render_visit(made.visit_document(groups=groups), LOOK))
    assert text.index("65045") < text.index("65044")
    assert "65001" not in text
    assert "25 more; --json gives them all." in text
    assert "3 frames under 1 other identifier" in text
    assert "it was refused" in text


def test_yard_empty_and_with_many_faults() -> None:
    assert "The book is empty." in shown(render_yard(made.yard_document(), LOOK))
    machine = made.yard_machine(
        faults=[made.brief(fault=f"f{i}", root="f0" if i else None) for i in range(5)],
        kind="implement",
        engine_hours=None,
        last_visit_end=None,
        stale=2,
    )
    clean = made.yard_machine(machine="m4", faults=[], active=0, open=0, last_visit=None,
                              last_visit_end=None, visits=0)  # fmt: skip
    text = shown(render_yard(made.yard_document(machine, clean), LOOK))
    for words in (
        "The yard: 2 machines",
        "Forage harvester (implement)",
        "and 2 other open faults",
        "follows from f0",
        "last look at a time not known",
        "never looked at",
        "No open faults in the book.",
        "2 old",
    ):
        assert words in " ".join(text.split())


def test_machine_with_many_visits_a_note_and_a_swap() -> None:
    boxes = made.controller()["boxes"] * 2
    visits = [made.visit_brief(visit=f"v{i}") for i in range(12)]
    visits.append(made.visit_brief(visit="vn", kind="by_hand", words="won't crank", frames=0))
    document = made.machine_document(
        visits=visits,
        doubts=["the hour meters disagree"],
        repairs=[made.repair(), made.repair(hours=None, date=None, faults=[])],
        controllers=[made.controller(label="The brain", boxes=boxes)],
        events=made.reasoned_fault()["events"],
    )
    text = shown(render_machine(document, LOOK))
    for words in (
        "The last 10 of 13; --json gives them all.",
        "won't crank",
        "Doubt: The hour meters disagree.",
        "2 boxes so far in The brain (c7a2)",
        "15 May 2026 · at 5,912.0 h · for f1aa · repair r1",
        "The engine is another box than before.",
    ):
        assert words in text


def test_tells_sorts_readings_by_whether_they_come() -> None:
    text = shown(render_tells(made.tells_document(), LOOK))
    assert text.index("Comes (1)") < text.index("Sent as 'not available' (1)")
    assert "Transmission oil temperature (SPN 177)" in text
    assert "Not possible here: oil against speed, because no oil temperature comes" in text
    assert "goes on for 17.5 s after key-off" in text
    assert "53.6 °F" in shown(render_tells(made.tells_document(), Look(units="us")))


def test_signals_with_samples_in_a_file_and_none_at_all() -> None:
    text = shown(render_signals(made.signals_document(made.signal()), LOOK))
    assert "not available  1.5 s from the first frame" in text
    document = made.signals_document(made.signal(samples=[]), csv="out.csv")
    assert "Written to out.csv" in shown(render_signals(document, LOOK))
    assert "No such samples" in shown(render_signals(made.signals_document(), LOOK))


def test_a_repair_that_stands_for_nothing_says_so() -> None:
    assert "It stands for f1aa." in shown(render_repair(made.repair_document(), LOOK))
    assert "--fault ID" in shown(render_repair(made.repair_document(faults=[]), LOOK))


def test_check_and_backup_say_plainly_when_something_is_wrong() -> None:
    text = shown(render_check(made.CHECK, LOOK))
    assert "Something is wrong with the book." in text
    assert "NO" in text
    assert "Its recording is damaged; bring it in again. (v5t8)" in text
    sound: Any = {**made.CHECK, "sound": True, "problems": [], "looked_at": []}
    assert "The book is sound." in shown(render_check(sound, LOOK))
    broken: Any = {**made.BACKUP, "sound": False}
    assert "Do not rely on it." in shown(render_backup(broken, LOOK))


def test_the_demonstration_ends_with_commands_for_its_own_book() -> None:
    text = shown(render_demo(made.demo_document(), LOOK))
    assert text.count("More:") == 1
    assert "shearbolt --book shearbolt-demo/book fault f1aa" in text


def test_nothing_of_ones_own_yet() -> None:
    signals: Any = {**made.OWN_SIGNALS, "signals": []}
    codes: Any = {**made.OWN_CODES, "codes": []}
    assert "No signals of your own yet." in shown(render_own_signals(signals, LOOK))
    assert "No code texts of your own yet." in shown(render_own_codes(codes, LOOK))
