"""The command line from outside: documents, exit statuses, sentences, and what a second look does.

`run` is a process of its own; `call` is the same entry point in this process (see
tests/command_line.py). Every document is held against its closed schema on the way.
"""

from __future__ import annotations

import gzip
import json
import re
from pathlib import Path
from typing import Any

import pytest
from tests.command_line import call, faults_of, run
from tests.golden.small import (
    ENGINE,
    GEARBOX,
    HOT,
    IDENTIFICATION,
    OTHER_ENGINE,
    SLIPPING,
    Small,
    season,
)


@pytest.fixture
def book(tmp_path: Path) -> Path:
    return tmp_path / "book"


def add(book: Path, *arguments: object, status: int = 0) -> dict[str, Any]:
    return call(book, "add", "--json", *arguments).done(status)


def add_one(book: Path, *arguments: object, status: int = 0) -> dict[str, Any]:
    (visit,) = add(book, *arguments, status=status)["visits"]
    assert isinstance(visit, dict)
    return visit


# Every command has its document


def test_every_command_in_a_process_of_its_own(book: Path, tmp_path: Path) -> None:
    """One document on standard output and nothing else, for each command in turn."""
    log = Small(faults=(SLIPPING, HOT), vin=IDENTIFICATION).write(tmp_path / "morning.log")
    visit = run(book, "add", log, "--json").done()["visits"][0]
    assert visit["vin"] == IDENTIFICATION
    machine = visit["machine"]
    (name, kind) = ("Old Dun", "shearbolt/rename/1")
    assert call(book, "rename", machine, name, "--json").done()["schema"] == kind
    note = run(book, "--json", "note", "110-0", "--machine", name, "--hours", 101).done()
    assert note["machine_name"] == name
    yard = run(book, "yard", "--json").done()
    assert [one["machine_name"] for one in yard["machines"]] == [name]
    fault = next(one for one in faults_of(book) if one["spn"] == 191)["fault"]
    repair = run(
        book, "repair", "add", "--machine", name, "--fault", fault, "--hours", "101.5",
        "--text", "new speed sensor", "--json",
    ).done()  # fmt: skip
    assert repair["faults"] == [fault]
    assert call(book, "faults", "--json").done()["machines"][0]["repairs"][0]["hours"] == 101.5
    signals = run(book, "signals", visit["visit"], "--spn", 190, "--json").done()
    assert {sample["value"] for sample in signals["signals"][0]["samples"]} == {900.0}
    exported = run(book, "export", name, tmp_path / "out", "--json").done()
    assert {Path(one["file"]).name for one in exported["files"]} >= {"machine.json", "faults.csv"}
    backup = call(book, "backup", tmp_path / "copy", "--json").done()
    assert backup["sound"]
    assert call(tmp_path / "copy", "check", "--json").done()["sound"]


OTHER_DOCUMENTS: tuple[tuple[tuple[str, ...], str], ...] = (
    (("machine", "MACHINE"), "machine"),
    (("visit", "VISIT"), "visit"),
    (("fault", "FAULT"), "fault"),
    (("faults", "--machine", "MACHINE", "--all"), "faults"),
    (("faults", "--visit", "VISIT"), "faults"),
    (("tells", "MACHINE"), "tells"),
    (("check",), "check"),
    (("own", "signal", "list"), "own-signals"),
    (("own", "code", "list"), "own-codes"),
    (("own", "code", "add", "--spn", "191", "--fmi", "2", "--text", "see page 12"), "own-codes"),
    (("import-book", "OTHER"), "import-book"),
)


def test_the_other_documents(book: Path, tmp_path: Path) -> None:
    visit = add_one(book, Small(faults=(SLIPPING,)).write(tmp_path / "morning.log"))
    add(tmp_path / "other", Small(names={0: OTHER_ENGINE}).write(tmp_path / "other.log"))
    ids = {
        "MACHINE": visit["machine"],
        "VISIT": visit["visit"],
        "FAULT": visit["faults"][0],
        "OTHER": str(tmp_path / "other"),
    }
    for arguments, schema in OTHER_DOCUMENTS:
        told = call(book, *(ids.get(one, one) for one in arguments), "--json")
        assert told.done()["schema"] == f"shearbolt/{schema}/1"
        # The options may stand before the command, too.
        assert call(book, "--json", *(ids.get(one, one) for one in arguments)).status == 0


def test_signals_of_ones_own_are_tried_and_kept(book: Path, tmp_path: Path) -> None:
    visit = add_one(book, Small().write(tmp_path / "morning.log"))
    rows = tmp_path / "rows.csv"
    rows.write_text(
        "spn,name,pgn,pgn_acronym,start_byte,start_bit,length_bits,resolution,offset,unit,low,high,"
        "state_texts,address,source\n"
        "520200,Coolant by my own row,65262,,1,1,8,1,-40,degC,-40,210,,,mine\n"
    )
    tried = call(book, "own", "signal", "try", rows, "--on", visit["visit"], "--json")
    assert tried.done()["kept"] is False
    kept = call(book, "own", "signal", "add", rows, "--on", visit["visit"], "--json").done()
    assert kept["kept"] is True
    signals = call(book, "signals", visit["visit"], "--spn", 520200, "--json").done()["signals"]
    assert [(one["own"], one["low"], one["high"]) for one in signals] == [(True, 60.0, 60.0)]


# Exit statuses and sentences


def test_done_partly_done_wrong_and_nothing(book: Path, tmp_path: Path) -> None:
    good = Small().write(tmp_path / "good.log")
    torn = tmp_path / "torn.log"
    lines = Small(start="2026-05-15T06:00:00Z").lines()
    lines[100:103] = ["(17789#", "garbage", lines[100][:30]]
    torn.write_text("\n".join(lines) + "\n")
    assert call(book, "add", good, "--json").status == 0
    partly = run(book, "add", torn, "--json")
    assert partly.status == 1
    (visit,) = partly.document["visits"]
    assert sum(one["count"] for one in visit["not_read"]) >= 2
    assert {one["line"] for one in visit["not_read"]} <= {101, 102, 103}
    assert visit["frames"] >= len(lines) - 3
    wrong = run(book, "add", "--json")
    assert wrong.status == 2
    assert "FILE" in wrong.sentence
    nothing = run(book, "visit", "v0000000", "--json")
    assert nothing.status == 3
    assert "v0000000" in nothing.sentence


def test_files_that_cannot_be_brought_in(book: Path, tmp_path: Path) -> None:
    """Each gets one sentence, none leaves anything, and good ones beside them are taken."""
    good = Small().write(tmp_path / "good.log")
    empty = tmp_path / "empty.log"
    empty.write_bytes(b"")
    foreign = tmp_path / "letter.log"
    foreign.write_text("Dear Sir,\nthe tractor is ready.\n" * 40)
    picture = tmp_path / "picture.log"
    picture.write_bytes(bytes(range(256)) * 64)
    torn = tmp_path / "torn.log.gz"
    torn.write_bytes(gzip.compress(good.read_bytes())[:40])
    gone = tmp_path / "gone.log"
    bad = [empty, foreign, picture, torn, gone]
    told = call(book, "add", "--json", *bad, good)
    document = told.done(1)
    assert [Path(one["file"]).name for one in document["visits"]] == ["good.log"]
    assert {one["file"] for one in document["refused"]} == {str(one) for one in bad}
    for one in document["refused"]:
        assert re.fullmatch(r"[^\n]{8,300}[.?]", one["reason"]), one
    for path in bad:
        alone = call(tmp_path / "fresh", "add", path, "--json").done(3)
        assert alone["visits"] == []
        words = call(tmp_path / "fresh", "add", path)
        assert words.status == 3
        assert path.name in "".join((words.out + words.err).split())  # a long path is broken
        assert "Traceback" not in words.out + words.err
    assert call(tmp_path / "fresh", "yard", "--json").done()["machines"] == []
    assert call(book, "check", "--json").done()["sound"]


@pytest.mark.parametrize(
    "arguments",
    [
        ("ad", "file.log"),
        ("add",),
        ("add", "file.log", "--start", "yesterday"),
        ("add", "file.log", "--hours", "-3"),
        ("add", "file.log", "--hours", "many"),
        ("faults", "--nope"),
        ("yard", "--units", "stone"),
        ("yard", "--lang", "!!"),
        ("signals",),
        ("signals", "v1", "--spn", "minus"),
        ("signals", "v1", "--csv", "a", "--parquet", "b"),
        ("note",),
        ("note", "110-0"),
        ("repair", "add", "--machine", "x"),
        ("own", "code", "add", "--spn", "600000", "--text", "x"),
        (),
    ],
)
def test_wrong_usage_gets_one_sentence(book: Path, arguments: tuple[str, ...]) -> None:
    told = call(book, *arguments, "--json")
    assert told.status == 2
    if arguments:
        assert told.sentence


@pytest.mark.parametrize(
    "arguments",
    [
        ("visit", "nope"),
        ("fault", "nope"),
        ("machine", "nope"),
        ("tells", "nope"),
        ("signals", "nope"),
        ("faults", "--machine", "nope"),
        ("faults", "--visit", "nope"),
        ("rename", "nope", "x"),
        ("export", "nope", "folder"),
        ("repair", "add", "--machine", "nope", "--hours", "1", "--text", "x"),
        ("note", "washed", "--machine", "nope"),
        ("import-book", "nope"),
    ],
)
def test_what_is_not_in_the_book(book: Path, arguments: tuple[str, ...]) -> None:
    told = call(book, *arguments, "--json")
    assert told.status == 3
    assert "nope" in told.sentence


# The same again, and in another order


def test_the_same_recording_twice_changes_nothing(book: Path, tmp_path: Path) -> None:
    log = Small(faults=(SLIPPING,)).write(tmp_path / "morning.log")
    first = add_one(book, log)
    before = call(book, "faults", "--all", "--json").out
    copy = tmp_path / "copied under another name.log"
    copy.write_bytes(log.read_bytes())
    for again in (log, copy):
        visit = add_one(book, again)
        assert visit["already_in_book"] is True
        assert {**visit, "already_in_book": False} == first
    both = add(book, log, copy)
    assert [one["visit"] for one in both["visits"]] == [first["visit"]] * 2
    assert call(book, "faults", "--all", "--json").out == before


def nameless(book: Path) -> list[Any]:
    """Return all faults of a book with everything but the identifiers, which are drawn anew."""
    visits = {}
    for machine in call(book, "yard", "--json").done()["machines"]:
        shown = call(book, "machine", machine["machine"], "--json").done()
        for number, visit in enumerate(shown["visits"]):
            visits[visit["visit"]] = f"visit {number}"

    def plain(value: Any) -> Any:
        if isinstance(value, dict):
            hidden = ("fault", "controller", "machine")
            return {key: plain(one) for key, one in value.items() if key not in hidden}
        if isinstance(value, list):
            return [plain(one) for one in value]
        return visits.get(value, value) if isinstance(value, str) else value

    return sorted(
        (plain(one) for one in faults_of(book)), key=lambda one: json.dumps(one, sort_keys=True)
    )


def test_any_order_of_adding_gives_the_same(tmp_path: Path) -> None:
    files = season(tmp_path)
    results = []
    for number, order in enumerate(([0, 1, 2, 3], [3, 1, 0, 2], [2, 3, 1, 0])):
        book = tmp_path / f"book{number}"
        for i in order:
            add(book, files[i])
        results.append(nameless(book))
        machine = call(book, "yard", "--json").done()["machines"]
        assert len(machine) == 1
        shown = call(book, "machine", machine[0]["machine"], "--json").done()
        starts = [one["start"] for one in shown["visits"]]
        assert starts == sorted(starts)
        assert shown["vin"] == IDENTIFICATION
    together = tmp_path / "together"
    told = add(together, *reversed(files))
    assert [Path(one["file"]).name for one in told["visits"]] == [path.name for path in files]
    results.append(nameless(together))
    assert results[0] == results[1] == results[2] == results[3]
    gearbox = next(one for one in results[0] if one["spn"] == 191)
    assert len(gearbox["spells"]) == 3


# Written down by hand


@pytest.fixture
def yard_of_one(book: Path, tmp_path: Path) -> Path:
    add(book, Small(faults=(SLIPPING, HOT)).write(tmp_path / "morning.log"))
    return book


@pytest.mark.parametrize(
    ("typed", "spn", "fmi", "code"),
    [
        ("SPN 110 FMI 0", 110, 0, None),
        ("spn110 fmi0", 110, 0, None),
        ("110.00", 110, 0, None),
        ("110-0", 110, 0, None),
        ("000110.00", 110, 0, None),
        ("000110.16", 110, 16, None),
        ("P0217", None, None, "P0217"),
        ("p0217", None, None, "P0217"),
        ("2-3-1", None, None, "2-3-1"),
    ],
)
def test_codes_in_the_forms_that_people_type(
    yard_of_one: Path, typed: str, spn: int | None, fmi: int | None, code: str | None
) -> None:
    note = call(yard_of_one, "note", typed, "--hours", "102,5", "--json").done()
    assert note["kind"] == "by_hand"
    assert note["note"]["understood_as"] == "code"
    assert note["engine_hours_start"] == 102.5
    (identifier,) = note["faults"]
    (fault,) = [one for one in faults_of(yard_of_one) if one["fault"] == identifier]
    assert (fault["spn"], fault["fmi"], fault["code"]) == (spn, fmi, code)
    # A code that the bus told of is the same fault.
    assert ("dm1" in fault["from"]) == ((spn, fmi) == (110, 16))
    assert "hand" in fault["from"]


def test_symptoms_events_and_the_three_answers(yard_of_one: Path, tmp_path: Path) -> None:
    photo = tmp_path / "dash.jpg"
    photo.write_bytes(b"\xff\xd8\xff\xe0 a picture")
    symptom = call(
        yard_of_one, "note", "won't", "crank", "--date", "2026-05-15", "--doing", "first start",
        "--hot-cold", "cold", "--after-start", "20 min", "--photo", photo, "--who", "Ada", "--json",
    ).done()  # fmt: skip
    written = symptom["note"]
    assert (written["understood_as"], written["doing"]) == ("symptom", "first start")
    assert (written["hot_cold"], written["after_start_s"]) == ("cold", 1200.0)
    assert (written["photo"], written["who"]) == ("dash.jpg", "Ada")
    assert symptom["start"].startswith("2026-05-15")
    (fault,) = [one for one in faults_of(yard_of_one) if one["kind"] == "symptom"]
    again = call(yard_of_one, "note", "does not crank", "--json").done()
    assert again["faults"] == [fault["fault"]]
    for text in ("washed", "welded on", "jump-started", "battery off", "fuel delivered"):
        event = call(yard_of_one, "note", text, "--json").done()
        assert event["note"]["understood_as"] == "event"
        assert event["faults"] == []


@pytest.mark.parametrize(
    "typed",
    ["???", "SPN 999999 FMI 3", "SPN 110 FMI 40", "P99", "", "blah blurb"],
)
def test_notes_that_cannot_be_understood(yard_of_one: Path, typed: str) -> None:
    before = call(yard_of_one, "yard", "--json").out
    told = call(yard_of_one, "note", typed, "--json")
    assert told.status == 2
    assert told.sentence
    assert call(yard_of_one, "yard", "--json").out == before


def test_a_note_must_say_which_machine(yard_of_one: Path, tmp_path: Path) -> None:
    add(yard_of_one, Small(names={0: OTHER_ENGINE}).write(tmp_path / "other.log"))
    told = call(yard_of_one, "note", "washed", "--json")
    assert told.status == 2
    assert "--machine" in told.sentence


# Words for people


def test_words_come_with_the_same_status_and_fit_the_page(book: Path, tmp_path: Path) -> None:
    log = Small(faults=(SLIPPING,)).write(tmp_path / "morning.log")
    told = run(book, "add", log, "--no-color", env={"COLUMNS": "80", "TERM": "xterm-256color"})
    assert told.status == 0
    assert "\x1b" not in told.out + told.err
    visit = add_one(book, log)
    for arguments in (
        ("faults",), ("yard",), ("machine", visit["machine"]), ("visit", visit["visit"]),
        ("tells", visit["machine"]), ("fault", visit["faults"][0]), ("signals", visit["visit"]),
        ("check",),
    ):  # fmt: skip
        words = call(book, *arguments)
        assert words.status == 0
        assert words.out.strip()
        # Names of files may be longer than the page.
        assert all(len(line) <= 80 or str(tmp_path) in line for line in words.out.splitlines())
        quiet = call(book, "--quiet", *arguments)
        assert "More:" not in quiet.out + quiet.err
        assert quiet.status == 0


def test_units_change_words_and_never_documents(book: Path, tmp_path: Path) -> None:
    visit = add_one(book, Small().write(tmp_path / "morning.log"))["visit"]
    metric = call(book, "signals", visit, "--spn", 110)
    us = call(book, "signals", visit, "--spn", 110, "--units", "us")
    assert "60" in metric.out
    assert "140" in us.out
    plain = call(book, "signals", visit, "--spn", 110, "--json").out
    assert call(book, "signals", visit, "--spn", 110, "--json", "--units", "us").out == plain


def test_the_book_named_by_the_environment(tmp_path: Path) -> None:
    log = Small().write(tmp_path / "morning.log")
    named = tmp_path / "by environment"
    run(None, "add", log, "--json", env={"SHEARBOLT_BOOK": str(named)}).done()
    assert len(call(named, "yard", "--json").done()["machines"]) == 1
    # An option is stronger.
    other = tmp_path / "by option"
    told = run(other, "yard", "--json", env={"SHEARBOLT_BOOK": str(named)}).done()
    assert told["machines"] == []
    home = {"HOME": str(tmp_path), "XDG_DATA_HOME": str(tmp_path / "data")}
    run(None, "yard", "--json", env=home).done()
    assert (tmp_path / "data" / "shearbolt" / "book").is_dir()


def test_folders_are_looked_through(book: Path, tmp_path: Path) -> None:
    season(tmp_path / "card")
    assert len(add(book, tmp_path / "card")["visits"]) == 4


def test_names_with_odd_letters(book: Path, tmp_path: Path) -> None:
    log = Small(names={0: ENGINE, 3: GEARBOX}).write(tmp_path / "Grün früh 朝.log")
    visit = add_one(book, log, "--machine", "Großer Grüner 🚜")
    assert visit["file"].endswith("Grün früh 朝.log")
    assert call(book, "machine", "großer grüner 🚜", "--json").done()["machine"] == visit["machine"]
