"""The owner's additions: read, refused with a clear sentence, kept apart from ours."""

from __future__ import annotations

import pickle

import pytest

from shearbolt.dictionary.merged import Dictionary
from shearbolt.dictionary.owner import (
    SIGNAL_COLUMNS,
    TEXT_COLUMNS,
    CodeText,
    parse_owner,
    parse_signals,
    parse_texts,
    write_signals,
    write_texts,
)
from shearbolt.errors import DictionaryError
from shearbolt.model.controller import Name

HEAD = ",".join(SIGNAL_COLUMNS)
SEAT = '520500,Seat switch,65300,,3,1,2,1,0,state,0,3,"0 empty,1 seated",drive round the yard,23'
LEVER = "520501,Lever,65300,OWN,4,1,8,0.4,0,%,0,100,,guess from the lever,"
TEXT_HEAD = ",".join(TEXT_COLUMNS)
TEXT = "1234,0,524020,31,Start blocked: lever not in park,manual p. 212,Ana,2026-05-03"


def name_of(manufacturer_code: int, function: int) -> Name:
    return Name(manufacturer_code << 21 | function << 40)


def test_signals_are_read() -> None:
    seat, lever = parse_signals(f"{HEAD}\n{SEAT}\n\n{LEVER}\n")
    assert (seat.spn, seat.address, seat.owner) == (520500, 23, True)
    assert seat.states == ((0, "empty"), (1, "seated"))
    assert lever.address is None
    assert lever.resolution == 0.4


def test_signals_of_a_spreadsheet_with_semicolons_and_mark() -> None:
    text = "\ufeff" + HEAD.replace(",", ";") + "\r\n" + LEVER.replace(",", ";") + "\r\n"
    assert parse_signals(text)[0].spn == 520501


@pytest.mark.parametrize(
    ("row", "sentence"),
    [
        (SEAT.replace("520500", "x"), r"mine\.csv, line 2: spn is 'x'; write a whole number"),
        (SEAT.replace("520500", "524288"), "spn is '524288'"),
        (SEAT.replace(",3,1,2,", ",3,9,2,"), "start_bit is '9'; write a whole number from 1 to 8"),
        (SEAT.replace(",3,1,2,", ",0,1,2,"), "start_byte is '0'"),
        (SEAT.replace(",3,1,2,", ",3,1,65,"), "length_bits is '65'"),
        (LEVER.replace("0.4", "0"), "resolution is 0"),
        (LEVER.replace("0.4", "nan"), "resolution is 'nan'; write a number"),
        (LEVER.replace("0.4", "much"), "resolution is 'much'"),
        (LEVER.replace(",0,100,", ",100,0,"), r"low \(100\) is above high \(0\)"),
        (SEAT.replace("65300", "61185"), "for this kind of group write 61184"),
        (SEAT.replace("Seat switch", " "), "name is empty"),
        (SEAT.replace(",23", ",254"), "address is '254'"),
        (SEAT.replace("1 seated", "4 seated"), r"code 4 \('seated'\) does not fit 2 bits"),
        (SEAT.replace("1 seated", "0 seated"), "code 0 is named twice"),
        (SEAT.replace("1 seated", "3..1 seated"), "no run of codes"),
        (SEAT.rsplit(",", 1)[0], "14 fields where the heading has 15"),
        (LEVER.replace("520501", "190").replace("65300", "61444"), "already in the standard table"),
        (LEVER + "\n" + LEVER, r"line 3: SPN 520501 in group 65300 stands already in line 2"),
        (LEVER + "\n" + LEVER + "7", "stands already in line 2"),
        (SEAT.replace('"', "", 1), "15"),
        (LEVER.replace("Lever", '"Lever'), "quotes do not close"),
    ],
)
def test_wrong_rows_get_one_sentence(row: str, sentence: str) -> None:
    with pytest.raises(DictionaryError, match=sentence) as caught:
        parse_signals(f"{HEAD}\n{row}\n", "mine.csv")
    assert caught.value.sentence.startswith("mine.csv, line ")
    assert "\n" not in caught.value.sentence


def test_the_line_counts_lines_of_the_file() -> None:
    folded = SEAT.replace("Seat switch", '"Seat\nswitch"')
    with pytest.raises(DictionaryError, match=r"mine\.csv, line 5: spn"):
        parse_signals(f"{HEAD}\n\n{folded}\n{LEVER.replace('520501', '-1')}\n", "mine.csv")


@pytest.mark.parametrize(
    ("head", "sentence"),
    [
        (HEAD.replace("spn,", ""), "the column spn is missing"),
        (HEAD + ",colour", "the column 'colour' is not known"),
        (HEAD + ",spn", "a column stands twice"),
        ("", "the column spn is missing"),
    ],
)
def test_wrong_headings(head: str, sentence: str) -> None:
    with pytest.raises(DictionaryError, match=f"line 1: {sentence}.*must be spn,name"):
        parse_signals(f"{head}\n{SEAT}\n", "mine.csv")


def test_texts_are_read_and_written() -> None:
    texts = parse_texts(f"{TEXT_HEAD}\n{TEXT}\n")
    assert texts == (
        CodeText(
            *(1234, 0, 524020, 31, "Start blocked: lever not in park"),
            *("manual p. 212", "Ana", "2026-05-03"),
        ),
    )
    assert parse_texts(write_texts(texts)) == texts


@pytest.mark.parametrize(
    ("row", "sentence"),
    [
        (TEXT.replace("1234", "2048"), "manufacturer_code is '2048'"),
        (TEXT.replace("1234", ""), "manufacturer_code is ''"),
        (TEXT.replace(",31,", ",32,"), "fmi is '32'"),
        (TEXT.replace("524020", "524288"), "spn is '524288'"),
        (TEXT.replace("manual p. 212", ""), "page is empty"),
        (TEXT + "\n" + TEXT, "line 3: this code stands already in line 2"),
    ],
)
def test_wrong_texts_get_one_sentence(row: str, sentence: str) -> None:
    with pytest.raises(DictionaryError, match=sentence):
        parse_texts(f"{TEXT_HEAD}\n{row}\n")


def test_signals_are_written_as_they_were() -> None:
    rows = parse_signals(f"{HEAD}\n{SEAT}\n{LEVER}\n")
    assert parse_signals(write_signals(rows)) == rows


def test_nothing_is_an_empty_addition() -> None:
    assert parse_owner("", " ").signals == ()
    assert parse_owner(f"{HEAD}\n", "").signals == ()


def test_the_owners_rows_stand_beside_ours() -> None:
    rows = parse_signals(
        f"{HEAD}\n{SEAT}\n{LEVER}\n" + LEVER.replace("65300", "65271").replace("520501", "520502")
    )
    both = Dictionary.with_owner(rows, ())
    assert [row.spn for row in both.rows_of_group(65300, 23)] == [520500, 520501]
    assert [row.spn for row in both.rows_of_group(65300, 24)] == [520501]
    assert [row.spn for row in both.rows_of_group(65300)] == [520501]
    assert both.addresses_of_group(65300) == (23,)
    assert [row.spn for row in both.rows_of_group(65271, 0)] == [114, 115, 167, 168, 158, 520502]
    assert [row.owner for row in both.rows_of_group(65271, 0)] == [False] * 5 + [True]
    assert both.group_is_known(65300)
    assert both.acronym(65300) == "PROPB"
    assert both.spn_name(520500) == "Seat switch"
    assert both.rows_of_spn(520502) == rows[2:]
    assert not both.known_spn(520500)
    ours = Dictionary.ours()
    assert ours.rows_of_group(65300, 23) == ()
    assert not ours.group_is_known(65300)
    assert ours is Dictionary.ours()


def test_the_owners_text_goes_first_for_its_controller_only() -> None:
    texts = parse_texts(
        f"{TEXT_HEAD}\n{TEXT}\n"
        "1234,0,524020,,Start blocked,p. 212,Ana,2026-05-03\n"
        "1234,0,100,1,Oil pressure low: see chapter 7,p. 80,Ana,2026-05-03\n"
    )
    both = Dictionary.with_owner((), texts)
    mine = name_of(1234, 0)
    assert both.text(524020, 31, mine) == "Start blocked: lever not in park"
    assert both.text(524020, 2, mine) == "Start blocked"
    assert both.text(100, 1, mine) == "Oil pressure low: see chapter 7"
    public = "a code of the maker's own (SPN 524020): condition exists"
    # Never joined across manufacturer codes, functions, or controllers without a NAME.
    assert both.text(524020, 31, name_of(1235, 0)) == public
    assert both.text(524020, 31, name_of(1234, 3)) == public
    assert both.text(524020, 31, None) == public
    assert both.owner_text(524020, 31, mine) == texts[0]
    assert both.text(100, 4, mine) == "Engine oil pressure: voltage too low or shorted to minus"


def test_a_dictionary_goes_to_other_processes() -> None:
    both = Dictionary.with_owner(parse_signals(f"{HEAD}\n{SEAT}\n"), ())
    again = pickle.loads(pickle.dumps(both))
    assert again == both
    assert again.rows_of_group(65300, 23) == both.rows_of_group(65300, 23)
