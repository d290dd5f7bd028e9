"""The pages for people are true: links, commands, errors, rooms, columns and words."""

from __future__ import annotations

import inspect
import re
import tomllib
from pathlib import Path
from typing import get_args

import pytest
from bootstrap.__main__ import JOBS
from tests.command_table import understood

from shearbolt import errors
from shearbolt.book.record import LOCK, RECORD, Book
from shearbolt.book.writer import SIGNALS
from shearbolt.dictionary.owner import SIGNAL_COLUMNS, TEXT_COLUMNS, parse_signals, parse_texts
from shearbolt.model.fault import FaultState
from shearbolt.model.visit import Quality, StartFrom
from shearbolt.recordings import parse_columns
from shearbolt.recordings.asc import AscRecording
from shearbolt.recordings.blf import BlfRecording
from shearbolt.recordings.mdf4 import Mdf4Recording
from shearbolt.recordings.pycan_csv import PycanCsvRecording
from shearbolt.recordings.table import TableRecording
from shearbolt.recordings.trc import TrcRecording

ROOT = Path(__file__).resolve().parents[2]
PAGES = {
    path.relative_to(ROOT).as_posix(): path.read_text(encoding="utf-8")
    for path in (*ROOT.glob("*.md"), *(ROOT / "docs").rglob("*.md"))
}
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
MAKE = (ROOT / "Makefile").read_text(encoding="utf-8")
OTHERS = {"git clone", "cd shearbolt"}
"""Lines of the pages' terminals that run no program of ours."""


def page(name: str) -> str:
    return PAGES[name]


def first_cells(text: str, heading: str) -> list[str]:
    """First cells, without their backticks, of the table whose heading begins so."""
    rows = text[text.index(f"| {heading}") :].split("\n\n")[0].splitlines()[2:]
    return [re.sub(r"`", "", row.split("|")[1]).strip() for row in rows]


@pytest.mark.parametrize("name", sorted(PAGES))
def test_every_link_leads_somewhere(name: str) -> None:
    for target in re.findall(r"\]\(([^)]+)\)", page(name)):
        path, _, anchor = target.partition("#")
        assert not anchor, f"{target}: nothing checks anchors"
        assert ((ROOT / name).parent / path).exists(), target


def test_every_page_is_linked_from_the_readme() -> None:
    linked = set(re.findall(r"\]\(([^)]+\.md)\)", page("README.md")))
    assert linked == set(PAGES) - {"README.md"}


def terminal_lines() -> list[tuple[str, str]]:
    found = []
    for name, text in PAGES.items():
        for block in re.findall(r"^```(?:sh|bat)\n(.*?)^```", text, re.M | re.S):
            found += [(name, line) for line in block.splitlines() if line.strip()]
        found += [(name, line) for line in re.findall(r"^    \$ (.*)$", text, re.M)]
        found += [
            (name, line) for line in re.findall(r"`((?:make|python -m bootstrap) [^`]+)`", text)
        ]
    return found


@pytest.mark.parametrize(("name", "line"), terminal_lines())
def test_every_command_of_the_pages_exists(name: str, line: str) -> None:
    words = line.split("#")[0].split()
    if line.startswith(tuple(OTHERS)):
        return
    if words[0] == "make":
        targets = re.search(r"^\.PHONY: (.*)$", MAKE, re.M)
        assert targets is not None
        assert words[1] in targets[1].split()
    elif words[1:3] == ["-m", "bootstrap"]:
        assert words[0] in ("python", "python3", "py")
        assert words[3] in JOBS
    else:
        program = re.split(r"[/\\]", words[0])[-1]
        assert program == "shearbolt", line
        understood(line.replace(words[0], "shearbolt", 1))


def test_make_and_bootstrap_do_the_same_jobs() -> None:
    targets = re.search(r"^\.PHONY: (.*)$", MAKE, re.M)
    assert targets is not None
    assert set(targets[1].split()) == set(JOBS)


def test_every_error_is_told_with_its_exit_status() -> None:
    ours = {
        name: one.exit_status
        for name, one in inspect.getmembers(errors, inspect.isclass)
        if issubclass(one, errors.ShearboltError)
    }
    told = dict(re.findall(r"^\| `(\w+)` \| (\d) \|", page("docs/errors.md"), re.M))
    assert {name: int(status) for name, status in told.items()} == ours


def test_every_room_of_the_house_is_on_the_tour() -> None:
    source = ROOT / "src" / "shearbolt"
    rooms = {
        folder.relative_to(source).as_posix()
        for folder in (one.parent for one in source.rglob("__init__.py"))
        if folder not in (source, source / "book" / "migrations" / "versions")
    }
    assert len(rooms) > 15
    told = page("CONTRIBUTING.md")
    assert [room for room in rooms if f"`{room}/`" not in told] == []


@pytest.mark.parametrize("name", ["CONTRIBUTING.md", "docs/architecture.md"])
def test_every_module_that_is_named_exists(name: str) -> None:
    every = {path.relative_to(ROOT).as_posix() for path in ROOT.glob("src/**/*.*")}
    every |= {path.relative_to(ROOT).as_posix() for path in ROOT.glob("tests/**/*.*")}
    named = set(re.findall(r"`([\w/*-]+\.(?:py|c|csv|txt))`", page(name)))
    assert len(named) > 10
    for one in named:
        pattern = re.compile("(^|/)" + re.escape(one).replace(r"\*", r"\w*") + "$")
        assert any(pattern.search(path) for path in every), one


def test_the_table_of_layers_is_the_one_that_is_checked() -> None:
    layers = PROJECT["tool"]["importlinter"]["contracts"][0]["layers"]
    rows = re.findall(r"^\| (`[a-z`| \\]+`) \|", page("docs/architecture.md"), re.M)
    told = [row.replace("`", "").replace("\\|", "|").strip() for row in rows]
    assert told == layers


def test_every_form_of_recordings_is_told() -> None:
    kinds = (
        AscRecording,
        BlfRecording,
        Mdf4Recording,
        PycanCsvRecording,
        TableRecording,
        TrcRecording,
    )
    forms = {one.format for one in kinds} | {"candump"}
    assert set(first_cells(page("docs/recordings.md"), "`format`")) == forms


def test_words_of_columns_are_understood() -> None:
    words = re.findall(r"\w+", " ".join(first_cells(page("docs/recordings.md"), "word")))
    assert len(words) > 10
    values = {"unit": "ms", "base": "hex"}
    for word in words:
        parse_columns(f"{word}={values.get(word, 'Name')}")


def test_every_start_and_quality_is_told() -> None:
    text = page("docs/recordings.md")
    assert set(first_cells(text, "`start_from`")) == set(get_args(StartFrom))
    assert set(first_cells(text, "`quality`")) == set(get_args(Quality))


def test_every_state_of_a_fault_has_its_word() -> None:
    words = set(first_cells(page("docs/glossary.md"), "state"))
    states = {one.replace("_", " ") for one in get_args(FaultState)} - {"unknown"}
    assert states <= words


def test_columns_of_own_tables_are_the_real_ones() -> None:
    text = page("docs/own-tables.md")
    codes, signals = text.split("## Signals")
    assert re.findall(r"\w+", " ".join(first_cells(codes, "column"))) == list(TEXT_COLUMNS)
    assert re.findall(r"\w+", " ".join(first_cells(signals, "column"))) == list(SIGNAL_COLUMNS)


def test_examples_of_own_tables_are_read() -> None:
    codes, signals = re.findall(r"^```csv\n(.*?)^```", page("docs/own-tables.md"), re.M | re.S)
    assert len(parse_texts(codes)) == 1
    assert len(parse_signals(signals)) == 1


def test_the_folder_of_the_book_is_as_told(tmp_path: Path) -> None:
    told = set(re.findall(r"^  ([\w.]+)", page("docs/book.md"), re.M))
    assert {RECORD, LOCK, SIGNALS} <= told
    with Book.open(tmp_path / "book") as book, book.writing() as writer:
        writer.add_machine("The grey one", name_given=True, now_us=0)
        there = {path.name for path in (tmp_path / "book").iterdir()}
    # SQLite's own companions of the record come and go.
    assert {name for name in there if not name.startswith(RECORD + "-")} <= told


def test_the_changelog_knows_this_version() -> None:
    versions = re.findall(r"^## (\S+)$", page("CHANGELOG.md"), re.M)
    assert versions[0] == PROJECT["project"]["version"]
