"""Identifiers: SAE J1939-21 5.2, reference sheet 1.1."""

from __future__ import annotations

import numpy as np
import pytest

from shearbolt.wire.identifier import (
    Identifier,
    destinations_of,
    make_identifier,
    pgns_of,
    read_identifier,
    sources_of,
)

SHEET_1_1 = [
    (0x0CF00400, 3, 61444, 0x00, 0xFF),
    (0x18FECA00, 6, 65226, 0x00, 0xFF),
    (0x18EA00F9, 6, 59904, 0xF9, 0x00),
    (0x1CECFF00, 7, 60416, 0x00, 0xFF),
    (0x1CEBF900, 7, 60160, 0x00, 0xF9),
    (0x18E8FF00, 6, 59392, 0x00, 0xFF),
    (0x18FE563D, 6, 65110, 0x3D, 0xFF),
    (0x0CFE45F0, 3, 65093, 0xF0, 0xFF),
    (0x18EEFF26, 6, 60928, 0x26, 0xFF),
    (0x18DA00F1, 6, 55808, 0xF1, 0x00),
]


@pytest.mark.parametrize(("ident", "priority", "pgn", "source", "destination"), SHEET_1_1)
def test_table_of_the_reference_sheet(
    ident: int, priority: int, pgn: int, source: int, destination: int
) -> None:
    assert read_identifier(ident) == Identifier(priority, pgn, source, destination)
    assert make_identifier(priority, pgn, source, destination) == ident


def test_the_same_table_as_arrays() -> None:
    ident = np.array([row[0] for row in SHEET_1_1], np.uint32)
    assert pgns_of(ident).tolist() == [row[2] for row in SHEET_1_1]
    assert sources_of(ident).tolist() == [row[3] for row in SHEET_1_1]
    assert destinations_of(ident).tolist() == [row[4] for row in SHEET_1_1]


def test_page_bits_sit_at_bits_16_and_17_of_the_group() -> None:
    # Reference sheet 1.1: DP at PGN bit 16, EDP at bit 17.
    data_page = read_identifier(1 << 24 | 0xF00400)
    assert (data_page.pgn, data_page.data_page, data_page.extended_data_page) == (
        0x1F004,
        True,
        False,
    )
    extended = read_identifier(1 << 25 | 0xF00400)
    assert (extended.pgn, extended.data_page, extended.extended_data_page) == (0x2F004, False, True)


@pytest.mark.parametrize(
    ("priority", "pgn", "source", "destination"),
    [
        (8, 65226, 0, 255),
        (6, 0x40000, 0, 255),
        (6, 65226, 256, 255),
        (6, 65226, 0, 3),
        (6, 59905, 0, 3),
        (6, 59904, 0, 256),
    ],
)
def test_what_cannot_be_an_identifier(
    priority: int, pgn: int, source: int, destination: int
) -> None:
    with pytest.raises(ValueError, match=r"group|addresses"):
        make_identifier(priority, pgn, source, destination)
