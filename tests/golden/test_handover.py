"""The technician's sheet: one page, its evidence, and nothing left when it fails."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import polars as pl
import pytest
from tests.command_line import call
from tests.golden.test_planning import HOT, fault, look
from tests.made_planning import SHEET
from tests.small_yard import Yard, small_yard

from shearbolt.errors import ShearboltError
from shearbolt.handover import sheet_pdf, sheet_png


@pytest.fixture
def yard(tmp_path: Path) -> Yard:
    made = small_yard(tmp_path)
    look(made, 1, 1000.0)
    look(made, 2, 1030.0, (0, HOT))
    return made


def test_the_page_and_its_evidence(yard: Yard, tmp_path: Path) -> None:
    which = fault(yard, 110)
    call(
        yard.book, "repair", "add", "--machine", "Grey", "--fault", which, "--hours", "1031",
        "--text", "thermostat changed", "--json",
    ).done()  # fmt: skip
    out = tmp_path / "for_the_workshop"
    document = call(yard.book, "handover", which, "--out", out, "--json").done()
    names = {one["file"] for one in document["files"]}
    assert {"README.txt", "fault.json", "spells.csv", "sheet.pdf"} <= names
    assert any(name.startswith("pictures/") for name in names)
    there = {path.relative_to(out).as_posix() for path in out.rglob("*") if path.is_file()}
    assert names == there
    pdf = (out / "sheet.pdf").read_bytes()
    assert pdf.startswith(b"%PDF-")
    assert json.loads((out / "fault.json").read_text(encoding="utf-8"))["fault"] == which
    with (out / "spells.csv").open(encoding="utf-8", newline="") as file:
        (spell,) = csv.DictReader(file)
    signals = pl.read_parquet(out / next(one for one in names if one.startswith("signals/")))
    assert 190 in signals["spn"].to_list()
    assert spell["start"].startswith("2026-05-16")
    sheet = document["sheet"]
    assert "SPN 110 FMI 0" in sheet["facts"]
    assert "thermostat changed" in sheet["done"][0]
    assert sheet["cautions"]
    assert any("Not checked yet" in one for one in sheet["questions"])
    assert not any("Call a workshop" in one for one in sheet["questions"])


def test_a_folder_that_is_there_is_left_alone(yard: Yard, tmp_path: Path) -> None:
    out = tmp_path / "there"
    out.mkdir()
    said = call(yard.book, "handover", fault(yard, 110), "--out", out, "--json")
    assert said.status == 2
    assert "already" in said.sentence
    assert list(out.iterdir()) == []


def test_nothing_is_left_of_a_fault_that_is_not_there(yard: Yard, tmp_path: Path) -> None:
    out = tmp_path / "new"
    assert call(yard.book, "handover", "f0000000", "--out", out, "--json").status == 3
    assert {path.name for path in tmp_path.iterdir()} == {"yard"}


SVG = (
    '<svg xmlns="http://www.w3.org/2000/svg" width="400" height="900">'
    '<rect width="400" height="900" fill="red"/></svg>'
)


def test_any_words_are_set_as_words_and_never_as_markup() -> None:
    wild = '#panic("no") *x* $y$ _z_ \\ @a <b> [c] " \' ``` =='
    sheet = {**SHEET, "title": wild, "done": [wild], "questions": [wild], "machine": wild}
    pdf = sheet_pdf(sheet, {})  # type: ignore[arg-type]
    assert pdf.startswith(b"%PDF-")


def test_letters_shrink_until_all_stands_on_one_page() -> None:
    pictures = {"a.svg": (SVG, "A red field."), "b.svg": (SVG, "Another.")}
    entry = "5,912.0 h: coolers blown out, and the code stayed away for eleven hours of mowing."
    full = {**SHEET, "done": [entry] * 18, "questions": [entry] * 6, "when": [entry] * 6}
    assert sheet_pdf(full, pictures).startswith(b"%PDF-")  # type: ignore[arg-type]
    assert sheet_png(SHEET, pictures, ppi=20).startswith(b"\x89PNG")
    with pytest.raises(ShearboltError, match="one page"):
        sheet_pdf({**SHEET, "done": [entry] * 400}, {})
