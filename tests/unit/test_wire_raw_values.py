"""Raw-value rules of SAE J1939-71 for whole bytes: reference sheet 3.1."""

from __future__ import annotations

import pytest

from shearbolt.wire.raw_values import count, number, unsigned


@pytest.mark.parametrize("width", [1, 2, 3, 4])
def test_the_top_byte_decides(width: int) -> None:
    # Reference sheet 3.1: 00-FA number, FB specific, FC-FD reserved, FE error, FF not available.
    low = 8 * (width - 1)
    rest = (1 << low) - 1
    assert number((0xFA << low | rest).to_bytes(width, "little"), 1, width) == 0xFA << low | rest
    for top in (0xFB, 0xFC, 0xFD, 0xFE, 0xFF):
        for below in (0, rest):
            assert number((top << low | below).to_bytes(width, "little"), 1, width) is None
    assert number(bytes(width), 1, width) == 0


def test_highest_numbers_by_width() -> None:
    # Reference sheet 3.1: 250, 64255, FAFFFF, 4211081215.
    assert number(b"\xfa", 1, 1) == 250
    assert number(b"\xff\xfa", 1, 2) == 64255
    assert number(b"\xff\xff\xfa", 1, 3) == 0xFAFFFF
    assert number(b"\xff\xff\xff\xfa", 1, 4) == 4211081215


def test_least_significant_byte_first_and_counted_from_one() -> None:
    # Reference sheet 3.1: oil temperature raw 2D60 is sent as 60 2D.
    assert unsigned(b"\x00\x60\x2d\x00", 2, 2) == 0x2D60
    assert unsigned(b"\x60", 1, 2) is None
    assert number(b"\x60", 2, 1) is None


def test_counts_use_every_code_but_ff() -> None:
    assert count(b"\xfe\xff", 1) == 254
    assert count(b"\xfe\xff", 2) is None
    assert count(b"", 1) is None
