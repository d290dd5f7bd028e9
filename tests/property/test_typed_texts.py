"""Whatever is typed: understood, or refused with NoteNotUnderstood; what we write reads back."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from shearbolt.dictionary.owner import parse_signals, parse_texts, write_signals
from shearbolt.dictionary.signals import signal_rows
from shearbolt.errors import DictionaryError, NoteNotUnderstood
from shearbolt.wire.typed import (
    TypedCode,
    format_code,
    read_code,
    read_event,
    read_heat,
    read_hours,
    read_minutes,
    read_note,
    read_symptom,
)

QUICK = settings(max_examples=80, deadline=None)

# Letters that the forms are made of, so that many texts come close to one.
CLOSE = st.text(alphabet="0123456789 .-/,:xpPcuBsnfmiaholdg'½²٣é\n", max_size=40)
PIECES = (
    *("spn", "fmi", "sa", "oc", "x", "blink", "long", "short", "110", "0", "31", "2", "3", "P0217"),
    *("U0100-00", "not", "won't", "start", "smoke", "lift", "weak", "hose", "washed", "no", "half"),
    *("an", "hour", "and", "a", "10", "min", "h", "hot", "cold", "warm", "code", "ecu", "-", "/"),
)
WORDS = st.lists(st.sampled_from(PIECES), max_size=12).map(" ".join)
ANY = st.one_of(st.text(max_size=80), CLOSE, WORDS)
READERS: list[Callable[[str], object]] = [
    *(read_code, read_symptom, read_event, read_note),
    *(read_hours, read_heat, read_minutes),
]


def refusal(read: Callable[[str], object], typed: str) -> str | None:
    """Give the sentence of a refusal, or None where something was understood."""
    try:
        found = read(typed)
    except (NoteNotUnderstood, DictionaryError) as refused:
        return refused.sentence
    assert found is not None
    return None


@pytest.mark.parametrize("read", READERS)
@QUICK
@given(typed=ANY)
def test_nothing_but_not_understood(read: Callable[[str], object], typed: str) -> None:
    sentence = refusal(read, typed)
    if sentence is not None:
        assert 10 < len(sentence) < 500
        assert "\n" not in sentence


ADDRESS = st.none() | st.integers(0, 253)
COUNT = st.none() | st.integers(0, 126)
UNIT = st.none() | st.sampled_from(["ECU", "ENG", "TCU", "ABS"])
J1939 = st.builds(
    TypedCode,
    kind=st.just("j1939"),
    typed=st.just(""),
    spn=st.integers(1, 524286),
    fmi=st.integers(0, 31),
    address=ADDRESS,
    count=COUNT,
    unit=UNIT,
)
LETTER = st.builds(
    lambda letter, first, rest, failure, address, count, unit: TypedCode(
        "obd" if failure is None else "uds",
        "",
        code=f"{letter}{first}{rest:03X}",
        failure_type=failure,
        address=address,
        count=count,
        unit=unit,
    ),
    st.sampled_from("PCBU"),
    st.integers(0, 3),
    st.integers(0, 0xFFF),
    st.none() | st.integers(0, 255),
    ADDRESS,
    COUNT,
    UNIT,
)
BLINKS = st.builds(
    lambda groups, address: TypedCode(
        "hand", "", code="-".join(map(str, groups)), blinks=True, address=address
    ),
    st.lists(st.integers(1, 20), min_size=1, max_size=6),
    ADDRESS,
)
LONG_SHORT = st.builds(
    lambda pairs: TypedCode(
        "hand", "", code=" ".join(f"{n} {word}" for n, word in pairs), blinks=True
    ),
    st.lists(
        st.tuples(st.integers(1, 20), st.sampled_from(["long", "short"])), min_size=1, max_size=3
    ),
)


@QUICK
@given(code=st.one_of(J1939, LETTER, BLINKS, LONG_SHORT))
def test_a_written_code_reads_back(code: TypedCode) -> None:
    again = read_code(format_code(code))
    assert (again.kind, again.spn, again.fmi, again.code) == (
        *(code.kind, code.spn, code.fmi, code.code),
    )
    assert (again.failure_type, again.blinks) == (code.failure_type, code.blinks)
    assert (again.address, again.count, again.unit) == (code.address, code.count, code.unit)


@QUICK
@given(
    spn=st.integers(10, 524287),
    fmi=st.integers(0, 30),
    form=st.sampled_from(
        ["{}.{:02}", "{:06}.{:02}", "{}-{}", "{} {}", "{}/{}", "spn{}/{}", "SPN {} FMI {}", "{},{}"]
    ),
)
def test_every_form_of_the_dash_reads_alike(spn: int, fmi: int, form: str) -> None:
    code = read_code(form.format(spn, fmi))
    assert (code.kind, code.spn, code.fmi) == ("j1939", spn, fmi)


@QUICK
@given(tenths=st.integers(0, 2_000_000), comma=st.booleans(), unit=st.sampled_from(["", " h", "h"]))
def test_hours_read_back(tenths: int, comma: bool, unit: str) -> None:
    text = f"{tenths / 10:.1f}".replace(".", "," if comma else ".") + unit
    assert read_hours(text) == tenths / 10


@QUICK
@given(text=st.one_of(st.text(max_size=200), CLOSE, WORDS))
def test_an_owners_file_is_read_or_refused(text: str) -> None:
    for read in (parse_signals, parse_texts):
        with pytest.raises(DictionaryError, match="line 1"):
            read(text)


HEAD = "spn,name,pgn,pgn_acronym,start_byte,start_bit,length_bits,resolution,offset,unit,low,high,"
FIELD = st.one_of(
    st.sampled_from(["0", "1", "8", "520300", "65300", "state", "kPa", "1e308", "-1", "nan", ""]),
    st.sampled_from(["0 off,1 on", "raw 3 error", "1..9 x", "5.. y", "0 a,0 b", "9" * 30]),
    st.text(max_size=8),
)


@QUICK
@given(fields=st.lists(FIELD, min_size=14, max_size=15))
def test_an_owners_row_is_read_or_refused(fields: list[str]) -> None:
    line = ",".join('"' + one.replace('"', '""') + '"' for one in fields)
    sentence = refusal(parse_signals, f"{HEAD}state_texts,source\n{line}\n")
    assert sentence is None or "your signals, line " in sentence


def test_our_own_rows_survive_being_written_as_an_owners() -> None:
    """Layout, states and remarks of every row of ours go through the owner's form unchanged."""
    moved = tuple(
        type(row)(
            *(520192 + place, row.name, row.pgn, row.acronym, row.start_byte, row.start_bit),
            *(row.length_bits, row.resolution, row.offset, row.unit, row.low, row.high),
            *(row.states, row.note, row.source, None, True),
        )
        for place, row in enumerate(signal_rows())
    )
    assert parse_signals(write_signals(moved)) == moved
