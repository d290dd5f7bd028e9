"""Cleaning, wrapping and tables: nothing is lost, nothing is too wide, nothing moves the cursor."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from shearbolt.cli.layout import clean, padded, table, width_of, wrapped
from shearbolt.cli.look import Look
from shearbolt.cli.page import Page

ANY_TEXT = st.text(st.characters(exclude_categories=()), max_size=200)


def test_clean_takes_the_teeth_out_of_control_marks() -> None:
    assert clean("a\x1b[2Jb\x07\u202ec\n\td\udce9") == "a\ufffd[2Jb\ufffd\ufffdc d\ufffd"


def test_clean_keeps_scripts_and_accents() -> None:
    assert clean("Mähdrescher  «Zoë» 收割机") == "Mähdrescher «Zoë» 收割机"


@given(ANY_TEXT)
def test_clean_text_is_printable_and_clean_again(text: str) -> None:
    once = clean(text)
    assert clean(once) == once
    assert "\x1b" not in once
    once.encode("utf-8")


def test_width_counts_wide_marks_twice_and_combining_ones_not_at_all() -> None:
    assert width_of("abc") == 3
    assert width_of("收割机") == 6
    assert width_of("e\u0301") == 1


@given(ANY_TEXT, st.integers(20, 90), st.integers(0, 6))
def test_wrapped_keeps_every_mark_and_the_width(text: str, width: int, indent: int) -> None:
    lines = wrapped(text, width, first=" " * indent)
    assert all(width_of(line) <= width for line in lines)
    kept = "".join(line[indent:] for line in lines).replace(" ", "")
    assert kept == clean(text).replace(" ", "")


def test_wrapped_hangs_and_breaks_long_words() -> None:
    assert wrapped("one two three", 10, first="- ", rest="  ") == ["- one two", "  three"]
    assert wrapped("x" * 25, 10) == ["x" * 10, "x" * 10, "x" * 5]
    assert wrapped("", 10, first="- ") == ["- "]


def test_padded() -> None:
    assert padded("收", 4) == "收  "
    assert padded("1", 3, right=True) == "  1"
    assert padded("long", 2) == "long"


def test_table_aligns_numbers_to_the_right() -> None:
    lines = table(["Name", "Count"], [["a", "1"], ["bb", "1,234"]], Look(), right=(1,))
    assert lines == ["  Name  Count", "  a         1", "  bb    1,234"]


def test_a_table_too_wide_for_the_page_is_stacked() -> None:
    heads = ["Reading", "Frequency", "Address"]
    lines = table(heads, [["coolant", "1 s", "0"]], Look(width=28))
    assert lines == ["  Reading: coolant", "    Frequency: 1 s", "    Address: 0"]


def test_a_wide_table_is_narrowed_where_it_is_widest() -> None:
    lines = table(["Name", "N"], [["one two three four", "1"]], Look(width=18))
    assert lines == ["  Name           N", "  one two three  1", "  four"]


@given(st.lists(st.tuples(ANY_TEXT, ANY_TEXT, ANY_TEXT), max_size=5))
def test_a_table_is_never_too_wide(rows: list[tuple[str, str, str]]) -> None:
    for line in table(["First", "Second", "Third"], rows, Look(width=60)):
        assert width_of(line) <= 60


def test_headings_are_set_apart_without_a_change_of_words() -> None:
    plain, bold = Page(Look()), Page(Look(emphasis=True))
    for page in (plain, bold):
        page.title("Faults")
    assert plain.lines == ["Faults"]
    assert bold.lines == ["\x1b[1mFaults\x1b[0m"]


def test_a_line_of_parts_breaks_between_them() -> None:
    page = Page(Look(width=24))
    page.line(["engine (address 0)", "", "SPN 110 FMI 0", "fault f1aa"], 2, " · ")
    assert page.lines == ["  engine (address 0) ·", "  SPN 110 FMI 0 ·", "  fault f1aa"]


def test_hints_can_be_left_out() -> None:
    page = Page(Look(hints=False))
    page.more("shearbolt yard")
    assert page.lines == []
