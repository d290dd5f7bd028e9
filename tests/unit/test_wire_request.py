"""Requests and acknowledgements: SAE J1939-21 5.4, reference sheet 1.2."""

from __future__ import annotations

import pytest

from shearbolt.wire.identifier import read_identifier
from shearbolt.wire.request import (
    ACKNOWLEDGEMENT,
    REQUEST,
    Answer,
    read_acknowledgement,
    read_request,
    read_request2,
)


def test_request_for_the_vehicle_identification() -> None:
    # Reference sheet 1.5, frame 1: 18EA00F9 EC FE 00.
    who = read_identifier(0x18EA00F9)
    assert (who.pgn, who.source, who.destination) == (REQUEST, 0xF9, 0)
    assert read_request(bytes.fromhex("ECFE00")) == 65260


def test_request_filled_up_to_eight_bytes() -> None:
    assert read_request(bytes.fromhex("CAFE00FFFFFFFFFF")) == 65226


@pytest.mark.parametrize("data", ["", "CAFE", "FFFFFF"])
def test_no_request(data: str) -> None:
    assert read_request(bytes.fromhex(data)) is None


def test_request_2_keeps_its_instructions() -> None:
    read = read_request2(bytes.fromhex("CAFE0001FFFFFFFF"))
    assert read is not None
    assert (read.pgn, read.instructions) == (65226, 1)
    short = read_request2(bytes.fromhex("CAFE00"))
    assert short is not None
    assert short.instructions is None


@pytest.mark.parametrize(
    ("control", "answer"),
    [(0, Answer.ACK), (1, Answer.NACK), (2, Answer.DENIED), (3, Answer.BUSY), (4, None)],
)
def test_control_byte(control: int, answer: Answer | None) -> None:
    # Reference sheet 1.2, table of PGN 59392.
    read = read_acknowledgement(bytes([control]) + bytes.fromhex("FFFFFFF9D3FE00"))
    assert read is not None
    assert (read.answer, read.control) == (answer, control)
    assert (read.group_function, read.asker, read.pgn) == (None, 0xF9, 65235)


def test_for_whom_the_answer_is() -> None:
    # Reference sheet 1.2: byte 5 names the asker; in older editions it is FF.
    assert read_identifier(0x18E8FF00).pgn == ACKNOWLEDGEMENT
    newer = read_acknowledgement(bytes.fromhex("00FFFFFFF9D3FE00"))
    older = read_acknowledgement(bytes.fromhex("00FFFFFFFFD3FE00"))
    assert newer is not None
    assert older is not None
    assert newer.meant_for(255) == 0xF9
    assert newer.meant_for(0x21) == 0xF9
    assert older.meant_for(0xF9) == 0xF9
    assert older.meant_for(255) is None


def test_group_function() -> None:
    read = read_acknowledgement(bytes.fromhex("0107FFFFF9D3FE00"))
    assert read is not None
    assert read.group_function == 7


@pytest.mark.parametrize("data", ["", "00FFFFFFF9D3FE", "00FFFFFFF9FFFFFF"])
def test_no_acknowledgement(data: str) -> None:
    assert read_acknowledgement(bytes.fromhex(data)) is None
