"""Pictures by the real command line: from frames on a bus to SVG, PNG and the table beside them."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from pathlib import Path

import pytest
from tests.bus_traffic import Bus, dtc
from tests.command_line import call, run
from tests.small_yard import NAMES, Yard

from shearbolt.app.documents.asking import PLAIN_WORDING
from shearbolt.app.picturing import fault_picture, machine_picture

SVG = "{http://www.w3.org/2000/svg}"
COOLANT, SOOT, REGENERATION = 65262, 64891, 64892
HOT = dtc(110, 0)
PEAK_S = 23.04


def outing() -> Bus:
    """Sixty seconds: warming to 108 degC, the fault on from 20 to 40 s, no coolant from 28 to 34 s,
    one sample of 120 degC, soot burned off from 30 s on."""
    bus = Bus()
    for address, name in NAMES.items():
        bus.claim(0.1, address, name)
    bus.alive(0, 60, *NAMES)
    bus.engine(0, 60, 1500.0)
    for i in range(60):
        at_s = float(i)
        bus.say(at_s, SOOT, 0, bytes((100 - i,)) + b"\xff" * 7)
        burning = 1 if i >= 30 else 0
        bus.say(at_s, REGENERATION, 0, bytes((0xFF, 0xF3 | burning << 2)) + b"\xff" * 6)
        if not 28 <= i < 34:
            bus.say(at_s, COOLANT, 0, bytes((40 + 88 + min(i, 20),)) + b"\xff" * 7)
    bus.say(PEAK_S, COOLANT, 0, bytes((40 + 120,)) + b"\xff" * 7)
    bus.dm1_each(0.5, 20, 0)
    bus.dm1_each(20.5, 40, 0, HOT, lamps=0x04)
    bus.dm1_each(40.5, 60, 0)
    return bus


@pytest.fixture(scope="module")
def yard(tmp_path_factory: pytest.TempPathFactory) -> Yard:
    yard = Yard(tmp_path_factory.mktemp("pictures"))
    yard.add_bus(outing(), "--hours", "5910")
    yard.add_bus(outing(), "--hours", "5912", day=1)
    (fault,) = yard.faults()
    repair = ("repair", "add", "--machine", "Grey", "--hours", "5911", "--text", "Belt <renewed>")
    call(yard.book, *repair, "--fault", fault["fault"], "--json").done()
    return yard


@pytest.fixture(scope="module")
def fault(yard: Yard) -> str:
    return str(yard.faults()[0]["fault"])


def texts(path: Path) -> list[str]:
    root = ET.parse(path).getroot()
    return [(one.text or "").replace("\u00a0", " ") for one in root.iter(f"{SVG}text")]


def test_a_spell_in_a_process_of_its_own(yard: Yard, fault: str, tmp_path: Path) -> None:
    path = tmp_path / "spell.svg"
    told = run(yard.book, "fault", fault, "--picture", path)
    assert told.status == 0, told.err
    assert f"Writtento{path}" in "".join(told.out.split())
    assert "It was on for 19 s; then it was gone." in told.out
    assert re.search(r"coolant\s+.*108 °C", told.out)
    said = texts(path)
    assert "Coolant temperature, °C" in said
    assert "when it came: 108 °C; lowest 88, highest 120" in said, "the one sample's peak"
    assert "fault on, 19 s" in said
    assert {"no reading", "gap"} & set(said)
    root = ET.parse(path).getroot()
    assert root.get("role") == "img"
    description = root.find(f"{SVG}desc")
    assert description is not None
    assert "engine speed: 1,500 rpm when the fault came" in (description.text or "")
    assert list(tmp_path.iterdir()) == [path], "nothing else is left"


def test_units_of_the_united_states(yard: Yard, fault: str, tmp_path: Path) -> None:
    path = tmp_path / "spell.svg"
    assert call(yard.book, "fault", fault, "--picture", path, "--units", "us").status == 0
    assert "when it came: 226 °F; lowest 190, highest 248" in texts(path)


def test_conditions_and_life(yard: Yard, fault: str, tmp_path: Path) -> None:
    path = tmp_path / "map.svg"
    told = call(yard.book, "fault", fault, "--picture", path, "--of", "conditions")
    assert told.status == 0, told.err
    # 20.5 s before the code and 20 s after it, in either outing, in whole seconds.
    assert re.search(r"Looked at for 1 min; 2 starts seen\.", told.out), told.out
    assert "the fault started here" in texts(path)
    told = call(yard.book, "fault", fault, "--picture", path, "--of", "life")
    assert "5,911.0 h" in told.out
    said = texts(path)
    assert "5,911.0 h: Belt <renewed>" in said
    assert "Seen twice by recordings." in said


def test_the_figures_behind_the_pictures(yard: Yard, fault: str) -> None:
    first = fault_picture(yard.book, fault, "spell", wording=PLAIN_WORDING, spell=0)
    last = fault_picture(yard.book, fault, "spell", wording=PLAIN_WORDING)
    none = fault_picture(yard.book, fault, "spell", wording=PLAIN_WORDING, spell=2)
    assert first["what"] == last["what"] == none["what"] == "spell"
    assert first["at"] == "2026-05-14T06:12:29.500000Z"
    assert last["at"] == "2026-05-15T06:12:29.500000Z"
    assert none["span"] is None
    coolant = first["strips"][0]
    assert coolant["own"]
    assert max(one for one in coolant["value"] if one is not None) == 120.0
    gap = coolant["value"].index(None)
    # Told last at 27 s and again at 34 s; the spell began at 20.5 s.
    assert coolant["at_s"][gap : gap + 2] == [6.5, 13.5]

    conditions = fault_picture(yard.book, fault, "conditions", wording=PLAIN_WORDING)
    assert conditions["what"] == "conditions"
    hours = sum(sum(row) for panel in conditions["panels"][:1] for row in panel["hours"])
    # In each outing the whole seconds from 0 to 20 and from 40 or 41 to 59, where it was not on.
    assert hours * 3600 == pytest.approx(2 * 40, abs=4)
    assert len(conditions["panels"][0]["starts"]) == 2

    soot = machine_picture(yard.book, "Grey", "soot", wording=PLAIN_WORDING)
    assert soot["what"] == "soot"
    assert soot["scale"] == "hours"
    assert (soot["low"], soot["value"][0]) == (5910.0, 100.0)
    assert len(soot["regenerations"]) == 2


def test_odds_of_which_nothing_is_said_yet_are_no_error(
    yard: Yard, fault: str, tmp_path: Path
) -> None:
    path = tmp_path / "odds.svg"
    told = call(yard.book, "fault", fault, "--picture", path, "--of", "odds")
    assert told.status == 0, told.err
    assert ET.parse(path).getroot().get("role") == "img"


def test_soot_of_a_machine_as_png(yard: Yard, tmp_path: Path) -> None:
    path = tmp_path / "soot.PNG"
    told = call(yard.book, "machine", "Grey", "--picture", path, "--of", "soot")
    assert told.status == 0, told.err
    assert "2 visits tell of it: between 41 and 100 %." in told.out
    assert "2 active regenerations were recorded." in told.out
    data = path.read_bytes()
    assert data.startswith(b"\x89PNG\r\n\x1a\n")
    assert int.from_bytes(data[16:20], "big") == 1440
    assert data.rstrip().endswith(b"IEND\xaeB`\x82")


def test_json_gives_the_document_as_without_a_picture(
    yard: Yard, fault: str, tmp_path: Path
) -> None:
    path = tmp_path / "spell.svg"
    document = call(yard.book, "fault", fault, "--picture", path, "--json").done()
    assert document["fault"] == fault
    assert path.is_file()


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (["--picture", "spell.jpg"], "'spell.jpg' must end in .svg or .png, the forms of a "),
        (["--of", "life"], "--of says which picture; say with --picture where to write it."),
    ],
)
def test_what_cannot_be_understood_is_said(
    yard: Yard, fault: str, words: list[str], sentence: str
) -> None:
    told = call(yard.book, "fault", fault, *words, "--json")
    assert told.status == 2
    assert told.sentence.startswith(sentence)


def test_a_place_that_cannot_be_written(yard: Yard, fault: str, tmp_path: Path) -> None:
    path = tmp_path / "none" / "spell.svg"
    told = call(yard.book, "fault", fault, "--picture", path, "--json")
    assert told.status == 2
    assert "cannot be written" in told.sentence


def test_a_fault_that_no_recording_caught(tmp_path: Path) -> None:
    yard = Yard(tmp_path / "yard")
    yard.add()
    yard.note("SPN 110 FMI 0")
    (fault,) = yard.faults()
    for of in ("spell", "conditions", "life"):
        path = tmp_path / f"{of}.svg"
        told = call(yard.book, "fault", fault["fault"], "--picture", path, "--of", of)
        assert told.status == 0, told.err
        assert ET.parse(path).getroot().get("role") == "img"
    assert "No recording caught this fault while it was on." in texts(tmp_path / "spell.svg")
