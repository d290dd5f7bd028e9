"""The proving ground's layouts against another library's decode, and against the dictionary."""

from __future__ import annotations

from itertools import groupby

import numpy as np
import pytest
from cantools.database.can import Message, Signal
from cantools.database.conversion import BaseConversion

from shearbolt.dictionary.signals import signal_rows
from shearbolt.proving.layouts import (
    ERROR,
    NOT_AVAILABLE,
    Layout,
    group_layouts,
    layouts,
    pack_words,
    raw_counts,
)
from shearbolt.proving.readings import READINGS

ROWS = layouts()


def test_dictionary_says_the_same_of_every_row() -> None:
    ours = {(row.spn, row.pgn): row for row in signal_rows()}
    for row in ROWS:
        other = ours[row.spn, row.pgn]
        assert (row.start_byte, row.start_bit, row.length_bits) == (
            other.start_byte,
            other.start_bit,
            other.length_bits,
        ), row
        assert (row.resolution, row.offset) == (other.resolution, other.offset), row
        assert row.unit == other.unit, row


def test_layouts_do_not_overlap() -> None:
    for _, rows in groupby(sorted(ROWS, key=lambda one: one.pgn), key=lambda one: one.pgn):
        taken = 0
        for row in rows:
            bits = ((1 << row.length_bits) - 1) << row.first_bit
            assert not taken & bits, row
            assert row.first_bit + row.length_bits <= 64
            taken |= bits


def message(row: Layout) -> Message:
    signal = Signal(
        f"SPN{row.spn}",
        row.first_bit,
        row.length_bits,
        byte_order="little_endian",
        conversion=BaseConversion.factory(scale=row.resolution, offset=row.offset),
    )
    return Message(0x18000000 | row.pgn << 8, "GROUP", 8, [signal], is_extended_frame=True)


@pytest.mark.parametrize("row", ROWS, ids=lambda row: f"{row.spn}")
def test_another_library_reads_what_was_packed(row: Layout) -> None:
    rng = np.random.default_rng(row.spn)
    counts = rng.integers(0, row.highest_raw, 60, endpoint=True)
    values = counts * row.resolution + row.offset
    other = message(row)
    for word, value in zip(pack_words(row.pgn, {row.spn: values}, 60), values, strict=True):
        decoded = other.decode(int(word).to_bytes(8, "little"))
        assert isinstance(decoded, dict)
        assert decoded[f"SPN{row.spn}"] == pytest.approx(value, abs=row.resolution * 1e-3)


@pytest.mark.parametrize(
    ("spn", "pgn", "value", "expected"),
    [
        # SAE J1939-71 (reference sheet 3.1)
        (110, 65262, -40.0, 0x00),
        (110, 65262, 95.0, 0x87),
        (110, 65262, 210.0, 0xFA),
        (110, 65262, 500.0, 0xFA),
        (175, 65262, 90.0, 0x2D60),
        (175, 65262, 0.0, 0x2220),
        (513, 61444, 0.0, 0x7D),
        (513, 61444, 25.0, 0x96),
        (523, 61445, 0.0, 0x7D),
        (523, 61445, -1.0, 0x7C),
        (523, 61445, 3.0, 0x80),
        (1879, 65093, 12_500.0, 0x81E2),
        (110, 65262, NOT_AVAILABLE, 0xFF),
        (110, 65262, ERROR, 0xFE),
        (190, 61444, NOT_AVAILABLE, 0xFFFF),
        (190, 61444, ERROR, 0xFE00),
        (247, 65253, ERROR, 0xFE000000),
        (70, 65265, NOT_AVAILABLE, 3),
        (70, 65265, ERROR, 2),
        (3697, 64892, NOT_AVAILABLE, 7),
        (899, 61444, NOT_AVAILABLE, 15),
    ],
)
def test_raw_values(spn: int, pgn: int, value: float, expected: int) -> None:
    (row,) = (one for one in group_layouts(pgn) if one.spn == spn)
    assert int(raw_counts(row, value)) == expected


def test_unsent_bits_are_ones() -> None:
    (word,) = pack_words(61444, {190: 900.0}, 1)
    assert int(word).to_bytes(8, "little") == bytes.fromhex("ffffff201cffffff")
    with pytest.raises(KeyError):
        pack_words(61444, {110: 20.0}, 1)
    with pytest.raises(KeyError):
        group_layouts(1)


def test_every_reading_has_a_place() -> None:
    assert set(READINGS) <= {row.spn for row in ROWS}
