"""Codes and conversion methods: SAE J1939-73 5.7.1, reference sheet 2.3, 2.4 and 2.11."""

from __future__ import annotations

import pytest

from shearbolt.wire.dtc import Settled, means_no_fault, read_dtc, settle_method, spn_by_method

KNOWN = frozenset({100, 110, 151, 523, 639, 1208, 5112})
"""SPNs taken as listed; 151 and 5112 are the accidental ones of examples 7 and 10."""


def known(spn: int) -> bool:
    return spn in KNOWN


# Reference sheet 2.11, rows 5 to 11: data, SPN by method 1, 2, 3 (or 4), FMI, count.
SHEET_2_11 = [
    ("B804030A", None, None, 1208, 3, 10),
    ("0097038A", 1208, 309248, 38656, 3, 10),
    ("9700038A", 309248, 1208, 151, 3, 10),
    ("B804038A", 376864, 9664, 1208, 3, 10),
    ("00416581", 523, 133123, 213248, 5, 1),
    ("7F020982", 260112, 5112, 639, 9, 2),
    ("10F7FF7F", None, None, 522000, 31, None),
]


@pytest.mark.parametrize(("data", "first", "second", "third", "fmi", "count"), SHEET_2_11)
def test_rows_5_to_11(
    data: str, first: int | None, second: int | None, third: int, fmi: int, count: int | None
) -> None:
    raw = bytes.fromhex(data)
    dtc = read_dtc(raw)
    assert dtc is not None
    assert (dtc.spn, dtc.fmi, dtc.count, dtc.raw) == (third, fmi, count, raw)
    assert dtc.old_method == (first is not None)
    assert spn_by_method(raw, 3) == spn_by_method(raw, 4) == third
    if first is not None:
        assert (spn_by_method(raw, 1), spn_by_method(raw, 2)) == (first, second)


@pytest.mark.parametrize(
    ("data", "settled", "spns"),
    [
        ("B804030A", Settled(4, (4,)), (1208,)),  # row 5
        ("0097038A", Settled(1, (1,)), (1208,)),  # row 6
        ("9700038A", Settled(0, (2, 3)), (1208, 151)),  # row 7: ambiguous between 2 and 3
        ("B804038A", Settled(3, (3,)), (1208,)),  # row 8
        ("00416581", Settled(1, (1,)), (523,)),  # row 9
        # Row 10 gives method 3 and says that 5112 by method 2 is possible too: by itself open.
        ("7F020982", Settled(0, (2, 3)), (5112, 639)),
        ("10F7FF7F", Settled(4, (4,)), (522000,)),  # row 11, maker's range, never looked up
    ],
)
def test_methods_settled_on_one_code(data: str, settled: Settled, spns: tuple[int, ...]) -> None:
    raw = bytes.fromhex(data)
    assert settle_method([raw], known) == settled
    assert settled.spns(raw) == spns


def test_row_10_is_method_3_where_5112_is_not_listed() -> None:
    raw = bytes.fromhex("7F020982")
    assert settle_method([raw], lambda spn: spn == 639) == Settled(3, (3,))


def test_more_faults_settle_an_ambiguous_one() -> None:
    # Reference sheet 2.3 (c): row 7 alone is open; with a second code of that sender it is not.
    ambiguous = bytes.fromhex("9700038A")
    second = bytes([523 >> 3 & 0xFF, 523 >> 11, (523 & 7) << 5 | 5, 0x81])
    assert spn_by_method(second, 2) == 523
    assert not known(spn_by_method(second, 3))
    settled = settle_method([ambiguous, second], known)
    assert settled == Settled(2, (2,))
    assert settled.spns(ambiguous) == (1208,)


def test_method_3_wins_a_tie_of_several_codes() -> None:
    # Reference sheet 2.3 (d).
    both = [bytes.fromhex("9700038A"), bytes.fromhex("7F020982")]
    assert settle_method(both, known) == Settled(3, (3,))


def test_the_same_code_with_another_count_is_no_second_word() -> None:
    same = [bytes.fromhex("9700038A"), bytes.fromhex("9700038B")]
    assert settle_method(same, known) == Settled(0, (2, 3))


def test_codes_that_no_method_knows_are_silent() -> None:
    unknown = bytes.fromhex("4EDC0381")
    assert settle_method([unknown], known) == Settled(0, (1, 2, 3))
    assert settle_method([unknown, bytes.fromhex("0097038A")], known) == Settled(1, (1,))


def test_contradicting_codes_stay_open() -> None:
    first, third = bytes.fromhex("0097038A"), bytes.fromhex("B804038A")
    assert settle_method([first, third], known) == Settled(0, (1, 3))


def test_a_makers_number_counts_only_where_nothing_is_listed() -> None:
    # 522000 by method 3; methods 1 and 2 read unlisted numbers below the makers' range.
    maker = bytes([522000 & 0xFF, 522000 >> 8 & 0xFF, 522000 >> 16 << 5 | 31, 0x81])
    assert settle_method([maker], known) == Settled(3, (3,))
    # A listed SPN by one method beats the makers' range by another.
    raw = bytes([0x00, 0xF1, 7 << 5 | 3, 0x81])
    assert spn_by_method(raw, 3) >= 520192
    listed = spn_by_method(raw, 1)
    assert settle_method([raw], lambda spn: spn == listed) == Settled(1, (1,))


def test_new_codes_of_a_sender_with_old_ones_stay_method_4() -> None:
    settled = settle_method([bytes.fromhex("0097038A"), bytes.fromhex("B804030A")], known)
    assert settled == Settled(1, (1,))
    assert settled.spns(bytes.fromhex("B804030A")) == (1208,)
    assert settle_method([], known) == Settled(4, (4,))
    assert settle_method([b"\x00\x97"], known) == Settled(4, (4,))


@pytest.mark.parametrize("spn", [0, 1, 100, 1208, 65535, 65536, 309248, 520192, 524287])
def test_bit_positions_of_every_method(spn: int) -> None:
    # Reference sheet 2.3, table of the older methods, bits counted from 1.
    def bits(high: int, low: int) -> int:
        return spn >> low - 1 & (1 << high - low + 1) - 1

    fmi = 5
    assert spn_by_method(bytes([bits(19, 12), bits(11, 4), bits(3, 1) << 5 | fmi]), 1) == spn
    assert spn_by_method(bytes([bits(11, 4), bits(19, 12), bits(3, 1) << 5 | fmi]), 2) == spn
    assert spn_by_method(bytes([bits(8, 1), bits(16, 9), bits(19, 17) << 5 | fmi]), 3) == spn
    assert spn_by_method(bytes([bits(8, 1), bits(16, 9), bits(19, 17) << 5 | fmi]), 4) == spn


def test_counts() -> None:
    # Reference sheet 2.4: 0-126, 127 not available.
    for count, expected in ((0, 0), (126, 126), (127, None)):
        dtc = read_dtc(bytes([100, 0, 1, count]))
        assert dtc is not None
        assert dtc.count == expected


@pytest.mark.parametrize(
    ("data", "none"),
    [
        ("00000000", True),
        ("00000005", True),
        ("FFFFFFFF", True),
        ("FFFFFF7F", True),
        ("00000100", False),  # SPN 0 with another FMI
        ("6400FF01", False),
        ("FFFFE301", False),  # SPN 524287 with another FMI
    ],
)
def test_no_fault(data: str, none: bool) -> None:
    dtc = read_dtc(bytes.fromhex(data))
    assert dtc is not None
    assert means_no_fault(dtc) is none


def test_what_is_no_code() -> None:
    assert read_dtc(b"\x64\x00\x01") is None
    with pytest.raises(ValueError, match="methods are 1 to 4"):
        spn_by_method(b"\x64\x00\x01", 5)
    with pytest.raises(ValueError, match="3 bytes"):
        spn_by_method(b"\x64\x00", 4)
