"""What the command line asks of the use cases, prints, and ends with."""

from __future__ import annotations

import contextlib
import inspect
import io
import json
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import click
import pytest
from hypothesis import given
from hypothesis import strategies as st
from jsonschema import Draft202012Validator
from tests import made_documents as made

from shearbolt.app.documents import NoteAsked, OwnCodeAsked, SignalsAsked
from shearbolt.app.schemas import schema_of
from shearbolt.cli import kinds, main, printing, trouble
from shearbolt.cli.commands import COMMANDS, shearbolt
from shearbolt.cli.door import UseCases
from shearbolt.cli.manner import default_book
from shearbolt.cli.outcome import exit_status
from shearbolt.errors import EmptyRecording, NoteNotUnderstood, NotInBook, ShearboltError

BOOK = Path("the book")


class App:
    """Stands in for the use cases: takes each call by its declared signature, gives a document."""

    def __init__(self, document: Any = None, error: BaseException | None = None) -> None:
        self.document = document
        self.error = error
        self.called = ""
        self.told: dict[str, Any] = {}

    def __getattr__(self, name: str) -> Callable[..., Any]:
        # Only what the door declares exists here, and only with its arguments.
        signature = inspect.signature(getattr(UseCases, name))

        def call(*arguments: Any, **named: Any) -> Any:
            self.called = name
            self.told = dict(signature.bind(None, *arguments, **named).arguments)
            del self.told["self"]
            if self.error is not None:
                raise self.error
            return self.document

        return call


@pytest.fixture
def run(monkeypatch: pytest.MonkeyPatch) -> Callable[..., tuple[int, App]]:
    monkeypatch.delenv("SHEARBOLT_BOOK", raising=False)

    def go(
        *words: str, document: Any = None, error: BaseException | None = None
    ) -> tuple[int, App]:
        app = App(document, error)
        monkeypatch.setattr(printing, "use_cases", lambda: app)
        return main(["--book", str(BOOK), *words]), app

    return go


Run = Callable[..., tuple[int, App]]
Capture = pytest.CaptureFixture[str]


def test_add(run: Run) -> None:
    status, app = run(
        "add", "b.log", "a.csv", "--machine", "Big one", "--start", "2026-05-14T06:12:09Z",
        "--hours", "5,910.5", "--columns", "time=Time (ms),id=Ident,data=Data",
        document=made.add_document(made.visit()),
    )  # fmt: skip
    assert (status, app.called) == (0, "add_recordings")
    assert app.told["book"] == BOOK
    assert app.told["files"] == ("b.log", "a.csv")
    assert app.told["machine"] == "Big one"
    assert app.told["start_us"] == 1_778_739_129_000_000
    assert app.told["hours"] == 5910.5
    assert app.told["columns"] == {"time": "Time (ms)", "id": "Ident", "data": "Data"}


def test_note(run: Run) -> None:
    status, app = run(
        "note", "SPN", "110", "FMI", "0", "--machine", "m3k2", "--hours", "5910", "--date",
        "2026-05-14", "--doing", "hauling", "--hot-cold", "cold", "--after-start", "20 min",
        "--photo", "dash.jpg", "--voice", "a.ogg", "--who", "Nan", document=made.note_document(),
    )  # fmt: skip
    assert (status, app.called) == (0, "note")
    assert app.told["asked"] == NoteAsked(
        "SPN 110 FMI 0", "m3k2", 5910.0, 1_778_716_800_000_000, "hauling", "cold", "20 min",
        "dash.jpg", "a.ogg", "Nan",
    )  # fmt: skip


@pytest.mark.parametrize(
    ("words", "called", "told", "name"),
    [
        (["yard"], "yard", {}, "yard"),
        (["machine", "Big one"], "machine", {"which": "Big one"}, "machine"),
        (["visit", "v5t8"], "visit", {"which": "v5t8"}, "visit"),
        (["tells", "m3k2"], "tells", {"which": "m3k2"}, "tells"),
        (["fault", "f1aa"], "fault", {"which": "f1aa"}, "fault"),
        (["faults"], "faults", {"machine": None, "visit": None, "everything": False}, "faults"),
        (
            ["faults", "--machine", "m", "--visit", "v", "--all"],
            "faults",
            {"machine": "m", "visit": "v", "everything": True},
            "faults",
        ),
        (["export", "m3k2", "out"], "export_machine", {"which": "m3k2", "folder": "out"}, "export"),
        (["import-book", "out"], "import_book", {"folder": "out"}, "import-book"),
        (["backup", "copy"], "backup", {"target": "copy"}, "backup"),
        (
            ["repair", "add", "--machine", "m", "--fault", "f1", "--fault", "f2", "--hours", "5912",
             "--text", "blown out"],
            "repair_add",
            {"machine": "m", "faults": ("f1", "f2"), "hours": 5912.0, "date_us": None,
             "text": "blown out"},
            "repair",
        ),
        (["rename", "m3k2", " The big one "], "rename_machine", {"new_name": "The big one"},
         "rename"),
        (["own", "signal", "add", "rows.csv", "--on", "v5t8"], "own_signal_add",
         {"rows_file": "rows.csv", "tried_on": "v5t8"}, "own-signals"),
        (["own", "signal", "try", "rows.csv", "--on", "a.log"], "own_signal_try",
         {"rows_file": "rows.csv", "tried_on": "a.log"}, "own-signals"),
        (["own", "signal", "list"], "own_signal_list", {}, "own-signals"),
        (["own", "code", "add", "--spn", "524020", "--fmi", "31", "--text", "in gear",
          "--manufacturer-code", "722", "--function", "3", "--page", "212"], "own_code_add",
         {"asked": OwnCodeAsked(524020, 31, "in gear", 722, 3, "212")}, "own-codes"),
        (["own", "code", "list"], "own_code_list", {}, "own-codes"),
        (["service", "add", "m", "--text", "oil", "--every-hours", "500"], "service_add",
         {"which": "m", "text": "oil", "every_hours": 500.0, "every_days": None}, "service-job"),
        (["service", "done", "j7pq", "--hours", "5,912", "--date", "2026-05-14"], "service_done",
         {"job": "j7pq", "hours": 5912.0, "date_us": 1_778_716_800_000_000}, "service-job"),
        (["service", "list"], "service_list",
         {"which": None, "window_hours": 40.0, "window_days": 7.0}, "service"),
        (["work", "--window", "60", "--shop-hours", "8"], "work",
         {"window_hours": 60.0, "window_days": 7.0, "shop_hours": 8.0}, "work"),
        (["forecast", "m", "--hours", "40"], "forecast_machine", {"which": "m", "hours": 40.0},
         "forecast"),
        (["courses", "f1", "--parts", "sensor=140", "--parts", "wiring=5"], "courses_of_fault",
         {"which": "f1", "parts": {"sensor": 140.0, "wiring": 5.0}}, "courses"),
        (["sunday"], "sunday", {"window_hours": 40.0, "window_days": 7.0}, "sunday"),
        (["secondhand", "m"], "secondhand", {"which": "m"}, "secondhand"),
        (["demo", "--folder", "here"], "demo", {"folder": "here"}, "demo"),
    ],
)  # fmt: skip
def test_every_command_asks_one_use_case(
    run: Run, words: list[str], called: str, told: dict[str, Any], name: str
) -> None:
    status, app = run(*words, document=made.all_documents()[name])
    assert (status, app.called) == (0, called)
    assert app.told["book"] == BOOK
    assert {key: app.told[key] for key in told} == told
    assert (app.told["wording"].lang, app.told["wording"].units) == ("en", "metric")


def test_signals_asks_for_samples_only_where_somebody_gets_them(run: Run) -> None:
    document = made.signals_document(made.signal())
    words = ["signals", "v5t8", "--spn", "110", "--spn", "190", "--address", "0", "--from", "1.5",
             "--to", "2026-05-14T07:00:00Z"]  # fmt: skip
    _, app = run(*words, document=document)
    assert app.told["asked"] == SignalsAsked(
        "v5t8", (110, 190), 0, "1.5", "2026-05-14T07:00:00Z", None, None
    )
    assert app.told["with_samples"] is False
    assert run("--json", *words, document=document)[1].told["with_samples"] is True
    assert run("--json", *words, "--csv", "x", document=document)[1].told["with_samples"] is False
    assert run(*words, "--csv", "x", "--parquet", "y")[0] == 2


def test_the_demonstration_stays_out_of_the_persons_own_book(
    run: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    app = App(made.demo_document())
    monkeypatch.setattr(printing, "use_cases", lambda: app)
    assert main(["demo"]) == 0
    assert app.told["book"] == Path("shearbolt-demo") / "book"
    assert app.told["folder"] == "shearbolt-demo"
    monkeypatch.setenv("SHEARBOLT_BOOK", "mine")
    assert main(["demo"]) == 0
    assert app.told["book"] == Path("mine")


@pytest.mark.parametrize("name", sorted(set(made.all_documents()) - {"error"}))
def test_json_prints_exactly_one_document(name: str, capsys: Capture) -> None:
    document = made.all_documents()[name]
    printing.print_json(document)
    out = capsys.readouterr().out
    assert json.loads(out) == document
    assert next(iter(json.loads(out))) == "schema"
    assert out.isascii()


def test_options_may_stand_before_or_after_the_command(
    run: Run, capsys: Capture, monkeypatch: pytest.MonkeyPatch
) -> None:
    document = made.yard_document()
    for words in (["--json", "yard"], ["yard", "--json"], ["yard", "--json", "--quiet"]):
        assert run(*words, document=document)[0] == 0
        assert json.loads(capsys.readouterr().out) == document
    assert run("yard", "--book", "other", document=document)[1].told["book"] == Path("other")
    assert run("--units", "us", "yard", document=document)[1].told["wording"].units == "us"
    assert run("own", "--units", "us", "code", "list", document=made.OWN_CODES)[1].told[
        "wording"
    ].units == ("us")
    capsys.readouterr()
    run("yard", "--quiet", document=document)
    assert "More:" not in capsys.readouterr().out
    monkeypatch.setenv("SHEARBOLT_BOOK", "from the environment")
    app = App(document)
    monkeypatch.setattr(printing, "use_cases", lambda: app)
    main(["yard"])
    assert app.told["book"] == Path("from the environment")


def test_a_language_that_is_not_there_yet_is_taken_and_said(run: Run, capsys: Capture) -> None:
    assert run("yard", "--lang", "es", document=made.yard_document())[0] == 0
    assert "Nothing is translated to 'es' yet" in capsys.readouterr().err
    assert run("yard", "--lang", "en-GB", document=made.yard_document())[0] == 0
    assert capsys.readouterr().err == ""
    assert run("yard", "--lang", "???", document=made.yard_document())[0] == 2


def test_the_exit_status_follows_the_document() -> None:
    refused = [{"file": "x", "reason": "it is empty"}]
    damaged = made.visit(not_read=[{"line": 1, "byte": None, "count": 1, "reason": "odd"}])
    whole = made.visit()
    assert exit_status(made.add_document(whole)) == 0
    assert exit_status(made.add_document(damaged)) == 1
    assert exit_status(made.add_document(whole, refused=refused)) == 1
    assert exit_status(made.add_document(refused=refused)) == 3
    assert exit_status(made.CHECK) == 1
    assert exit_status({**made.CHECK, "sound": True}) == 0
    assert exit_status({**made.BACKUP, "sound": False}) == 1
    assert exit_status(made.IMPORT_BOOK) == 0
    assert exit_status({**made.IMPORT_BOOK, "refused": refused}) == 1
    assert exit_status({**made.IMPORT_BOOK, "refused": refused, "machines": []}) == 3
    assert exit_status({**made.demo_document(), "add": made.add_document(damaged)}) == 1
    assert exit_status(made.faults_document()) == 0


@pytest.mark.parametrize(
    ("error", "status", "kind", "sentence"),
    [
        (NotInBook("No machine 'x' in the book."), 3, "NotInBook", "No machine 'x' in the book."),
        (NoteNotUnderstood("'0.0.0' reads as no code."), 2, "NoteNotUnderstood", "reads as no"),
        (EmptyRecording("a.log", "it holds no frame"), 3, "EmptyRecording", "a.log: it holds"),
        (ShearboltError("odd \x1b[2J name"), 3, "ShearboltError", "odd \ufffd[2J name"),
        (KeyboardInterrupt(), 3, "Interrupted", "Stopped:"),
    ],
)
def test_an_error_is_one_sentence_and_with_json_one_document(
    run: Run, capsys: Capture, error: BaseException, status: int, kind: str, sentence: str
) -> None:
    assert run("yard", error=error)[0] == status
    out, err = capsys.readouterr()
    assert out == ""
    assert sentence in err
    assert err.strip().count("\n") == 0
    assert run("yard", "--json", error=error)[0] == status
    out, err = capsys.readouterr()
    document = json.loads(out)
    Draft202012Validator(schema_of("error", closed=True)).validate(document)
    assert (document["kind"], document["exit_status"]) == (kind, status)
    assert sentence in document["error"]
    assert sentence in err


def test_an_error_nobody_foresaw_is_a_sentence_with_its_log(
    run: Run, capsys: Capture, tmp_path: Path
) -> None:
    book = tmp_path / "book"
    error = KeyError("inner secret")
    assert run("yard", "--json", "--book", str(book), error=error)[0] == 3
    out, err = capsys.readouterr()
    assert "Traceback" not in out + err
    assert str(book / "trouble.log") in err
    assert json.loads(out)["trouble_log"] == str(book / "trouble.log")
    assert "KeyError: 'inner secret'" in (book / "trouble.log").read_text(encoding="utf-8")
    run("yard", "--book", str(book), error=error)
    assert (book / "trouble.log").read_text(encoding="utf-8").count("Traceback") == 2


def test_the_log_goes_elsewhere_where_the_book_cannot_be_written_and_never_grows_on(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("tempfile.gettempdir", lambda: str(tmp_path / "temp"))
    (tmp_path / "file").write_text("in the way", encoding="utf-8")
    log = trouble.write_log(ValueError("x"), tmp_path / "file")
    assert log == tmp_path / "temp" / "shearbolt" / "trouble.log"
    monkeypatch.setattr(trouble, "_LOG_LIMIT", 10)
    trouble.write_log(ValueError("second"), tmp_path / "file")
    assert "second" in log.read_text(encoding="utf-8")
    assert "second" not in (log.parent / "trouble.log.old").read_text(encoding="utf-8")
    monkeypatch.setattr("tempfile.gettempdir", lambda: str(tmp_path / "file"))
    assert trouble.write_log(ValueError("x"), tmp_path / "file") is None


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (["add"], "Missing argument 'FILE...'."),
        (["nonsense"], "No such command 'nonsense'."),
        (["yard", "--nonsense"], "No such option '--nonsense'."),
        (["add", "x", "--start", "yesterday"], "'yesterday' is no time such as"),
        (["add", "x", "--hours", "-1"], "'-1' is no engine-hour reading"),
        (["add", "x", "--columns", "time"], "'time' is not of the form time=COLUMN."),
        (["repair", "add", "--machine", "m", "--text", "t"], "Missing option '--hours'."),
        (["rename", "m", " "], "A name needs at least one letter."),
        (["note"], "Missing argument 'TEXT...'."),
        (["own", "code", "add", "--spn", "1", "--fmi", "32", "--text", "t"], "0<=x<=31"),
        (["signals", "v", "--address", "2048"], "0<=x<=2047"),
    ],
)
def test_wrong_usage(run: Run, capsys: Capture, words: list[str], sentence: str) -> None:
    assert run(*words)[0] == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert sentence in err
    assert "--help" in err
    assert run(*words, "--json")[0] == 2
    document = json.loads(capsys.readouterr().out)
    assert document["schema"] == "shearbolt/error/1"
    assert sentence in document["error"]
    run("--quiet", *words)
    assert capsys.readouterr().err.count("\n") == 1


def test_no_command_is_wrong_usage_with_the_help(capsys: Capture) -> None:
    assert main([]) == 2
    assert "Commands:" in capsys.readouterr().err
    assert main(["own"]) == 2
    assert "signal" in capsys.readouterr().err


def test_whoever_reads_only_the_first_lines_gets_no_traceback(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    class Closed(io.StringIO):
        def write(self, text: str) -> int:
            raise BrokenPipeError

        def fileno(self) -> int:
            return other.fileno()

    with (tmp_path / "out").open("w") as other:
        monkeypatch.setattr(sys, "stdout", Closed())
        printing.put("a line")


def test_the_book_lies_where_each_platform_keeps_such_things() -> None:
    home = "/home/nan"
    assert default_book("linux", {}, home) == Path(home, ".local/share/shearbolt/book")
    assert default_book("linux", {"XDG_DATA_HOME": "/d"}, home) == Path("/d/shearbolt/book")
    assert default_book("linux", {"XDG_DATA_HOME": "rel"}, home) == Path(
        home, ".local/share/shearbolt/book"
    )
    assert default_book("darwin", {}, home) == Path(
        home, "Library/Application Support/Shearbolt/book"
    )
    assert default_book("win32", {"LOCALAPPDATA": "/l"}, home) == Path("/l/Shearbolt/book")
    assert default_book("win32", {}, home) == Path(home, "AppData/Local/Shearbolt/book")


@pytest.mark.parametrize(
    ("text", "hours"),
    [
        ("5910", 5910.0),
        ("5910.5 h", 5910.5),
        ("5,910.5", 5910.5),
        ("5,910", 5910.0),
        ("5910,5", 5910.5),
        ("0", 0.0),
    ],
)
def test_hours_as_people_type_them(text: str, hours: float) -> None:
    assert kinds.hours_typed(text) == hours


@pytest.mark.parametrize("text", ["", "h", "nan", "inf", "-3", "1,2,3", "twelve", "5.9.1"])
def test_hours_that_are_none(text: str) -> None:
    with pytest.raises(click.BadParameter):
        kinds.hours_typed(text)


@pytest.mark.skipif(not hasattr(time, "tzset"), reason="the zone cannot be set here")
def test_a_time_without_a_zone_is_the_computers_own(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TZ", "UTC-2")
    time.tzset()
    try:
        expected = kinds.time_typed("2026-05-14T06:00:00Z")
        assert kinds.time_typed("2026-05-14T08:00") == expected
        assert kinds.time_typed("2026-05-14 08:00:00+02:00") == expected
        assert kinds.time_typed("2026-05-14") == kinds.time_typed("2026-05-14T00:00:00Z")
    finally:
        monkeypatch.undo()
        time.tzset()


def test_times_and_columns_that_are_none() -> None:
    for text in ("", "noon", "2026-13-01", "2026-05-14T25:00"):
        with pytest.raises(click.BadParameter):
            kinds.time_typed(text)
    for text in ("", "time=", "=x", "time=a,time=b"):
        with pytest.raises(click.BadParameter):
            kinds.columns_typed(text)


@given(st.text(max_size=40))
def test_whatever_is_typed_gives_a_value_or_is_refused(text: str) -> None:
    for read in (kinds.time_typed, kinds.hours_typed, kinds.columns_typed):
        with contextlib.suppress(click.BadParameter):
            assert read(text) is not None


def test_the_help_lines_of_the_table_agree_with_the_commands() -> None:
    context = click.Context(shearbolt)
    for name, entry in COMMANDS.items():
        command = shearbolt.get_command(context, name)
        assert command is not None
        assert command.name == name
        help_text = " ".join((command.help or "").split())
        assert help_text[:12] == entry.words[:12], name
    assert shearbolt.get_command(context, "nonsense") is None
