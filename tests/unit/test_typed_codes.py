"""Codes in the forms the dash shows and people type."""

from __future__ import annotations

import pytest

from shearbolt.errors import NoteNotUnderstood
from shearbolt.wire.typed import TypedCode, format_code, read_code


@pytest.mark.parametrize(
    "typed",
    [
        *("SPN 110 FMI 0", "spn110/0", "110.00", "110-0", "110 0", "000110.00", "110/0", "110:0"),
        *("SPN:110 FMI:0", "SPN=110, FMI=0", "spn 110.0", "SPN 110 0", "FMI 0 SPN 110", "110,0"),
        *("DTC 110.00", "code 110.0", "Fault: SPN 110 FMI 0", "110 – 0", "  110.00 ", "110.00?"),
        *("SPN 110 FMI 0 CM 0", "SPN110FMI0", "１１０．００"),
    ],
)
def test_parameter_and_failure(typed: str) -> None:
    assert read_code(typed) == TypedCode("j1939", typed, spn=110, fmi=0)


@pytest.mark.parametrize(
    ("typed", "spn", "fmi", "address", "count", "unit"),
    [
        ("524020.31", 524020, 31, None, None, None),
        ("ECU 110.00", 110, 0, None, None, "ECU"),
        ("TCU SPN 177 FMI 16", 177, 16, None, None, "TCU"),
        ("SA0 SPN 110 FMI 0", 110, 0, 0, None, None),
        ("SA 0x3D 3226.18", 3226, 18, 61, None, None),
        ("SPN 110 FMI 0 from address 3", 110, 0, 3, None, None),
        ("110.00 x3", 110, 0, None, 3, None),
        ("SPN 100 FMI 4 OC 126", 100, 4, None, 126, None),
        ("SPN 100 FMI 4 OC 127", 100, 4, None, None, None),
        ("SPN 100, FMI 4, count: 7", 100, 4, None, 7, None),
        ("110.00 3 times", 110, 0, None, 3, None),
        ("110-0-3", 110, 0, None, 3, None),
        ("27-4", 27, 4, None, None, None),
        ("2.3", 2, 3, None, None, None),
        ("SPN 2 FMI 3", 2, 3, None, None, None),
    ],
)
def test_the_rest_of_a_j1939_code(
    typed: str, spn: int, fmi: int, address: int | None, count: int | None, unit: str | None
) -> None:
    code = read_code(typed)
    assert (code.kind, code.spn, code.fmi) == ("j1939", spn, fmi)
    assert (code.address, code.count, code.unit) == (address, count, unit)


@pytest.mark.parametrize(
    ("typed", "kind", "code", "failure"),
    [
        ("P0217", "obd", "P0217", None),
        ("p 0217", "obd", "P0217", None),
        ("PO217", "obd", "P0217", None),
        ("C1234", "obd", "C1234", None),
        ("b 1601", "obd", "B1601", None),
        ("u01ac", "obd", "U01AC", None),
        ("U0100-00", "uds", "U0100", 0),
        ("P0143-11", "uds", "P0143", 0x11),
        ("P0143:1f", "uds", "P0143", 0x1F),
        ("code P0217", "obd", "P0217", None),
    ],
)
def test_letter_codes(typed: str, kind: str, code: str, failure: int | None) -> None:
    found = read_code(typed)
    assert (found.kind, found.code, found.failure_type) == (kind, code, failure)
    assert (found.spn, found.fmi, found.blinks) == (None, None, False)


@pytest.mark.parametrize(
    ("typed", "code"),
    [
        ("2-3-1", "2-3-1"),
        ("2 3 1", "2-3-1"),
        ("blink 2-3-1", "2-3-1"),
        ("blinks 2, 3, 1", "2-3-1"),
        ("blink code 2-3", "2-3"),
        ("flashing 12", "12"),
        ("2-3-1 blinking", "2-3-1"),
        ("the lamp blinks two long three short", "2 long 3 short"),
        ("2 long 3 short", "2 long 3 short"),
        ("2L 3S", "2 long 3 short"),
        ("1 long, 2 short and 1 long", "1 long 2 short 1 long"),
        ("2-3", "2-3"),
        ("1 2 3 4", "1-2-3-4"),
    ],
)
def test_blinks(typed: str, code: str) -> None:
    found = read_code(typed)
    assert (found.kind, found.code, found.blinks) == ("hand", code, True)


@pytest.mark.parametrize(
    ("typed", "code"),
    [
        *(("code 47", "47"), ("E12", "E12"), ("e 47", "E47"), ("code C12", "C12")),
        *(("error F-103", "F-103"), ("fault code 5.1a", "5.1A")),
    ],
)
def test_codes_of_the_makers_own(typed: str, code: str) -> None:
    found = read_code(typed)
    assert (found.kind, found.code, found.blinks) == ("hand", code, False)


def test_what_else_it_might_have_been_is_said() -> None:
    assert read_code("2-3").doubt == "if it is a parameter number, write 'SPN 2 FMI 3'"
    doubt = read_code("2.3").doubt
    assert doubt is not None
    assert "'blink 2-3'" in doubt
    assert read_code("110-0").doubt is None
    three = read_code("110 0 3").doubt
    assert three is not None
    assert "3, was taken for the occurrence count" in three
    assert read_code("PO217").doubt == "a letter O was taken for a nought"
    assert read_code("P0217 engine hot").doubt == "the words after the code were not used"
    assert read_code("SPN 110 FMI 0 coolant").spn == 110


def test_it_says_what_was_understood() -> None:
    assert read_code("SA0 110.00 x126").understood == (
        "SPN 110 FMI 0 (Engine coolant temperature: too high, worst level) from address 0, "
        "counted at least 126 times"
    )
    assert read_code("2-3-1").understood == "blink code 2-3-1"
    assert read_code("P0143-11").understood == "code P0143 with failure type 11"
    assert read_code("code 47").understood == "code 47"


@pytest.mark.parametrize(
    ("typed", "understood"),
    [
        ("", "no code was typed"),
        ("hello", "there is no code in it"),
        ("110", "understood the number 110, but a parameter needs its FMI"),
        ("SPN 110", "understood SPN 110, but its FMI is missing"),
        ("110.45", r"understood SPN 110, but 45 is no FMI \(0 to 31\)"),
        ("SPN 999999 FMI 1", r"999999 is no SPN \(at most 524287\)"),
        ("P217", "needs a letter and four digits"),
        ("SA 254 110.0", r"254 is no source address \(0 to 253\)"),
        ("110.0 x200", r"200 is no occurrence count \(0 to 126\)"),
        ("0.0", "says that there is no fault"),
        ("524287.31", "says that there is no fault"),
        ("3 110 0", "write 'SA3 SPN 110 FMI 0'"),
        ("blink 99-99", "a group has 1 to 20 blinks"),
        ("blink", "there is no code in it"),
        ("7E8 03 41", "it holds numbers, but in no form"),
        ("hot 5", "it holds numbers, but in no form"),
        ("1" * 500, "too long for a code"),
    ],
)
def test_a_refusal_says_what_was_understood_and_shows_three_forms(
    typed: str, understood: str
) -> None:
    with pytest.raises(NoteNotUnderstood, match=understood) as caught:
        read_code(typed)
    assert caught.value.sentence.endswith("Write it like 'SPN 110 FMI 0', '110.00' or 'P0217'.")
    assert len(caught.value.sentence) < 300
    assert "\n" not in caught.value.sentence


def test_a_code_is_written_as_people_read_it() -> None:
    assert format_code(read_code("sa0 ecu 110.00 x3")) == "SA0 ECU SPN 110 FMI 0 x3"
    assert format_code(read_code("p 0143:1f")) == "P0143-1F"
    assert format_code(read_code("2 3 1")) == "blink 2-3-1"
    assert format_code(read_code("e 12")) == "code E12"
