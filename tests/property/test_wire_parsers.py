"""Every diagnostic parser is total on bytes, and reads back what was packed."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shearbolt.model.controller import Name
from shearbolt.model.fault import COUNT_NONE
from shearbolt.wire.broadcast_control import read_dm13
from shearbolt.wire.calibration import read_dm19
from shearbolt.wire.claim import AddressBook, Claim, read_claim
from shearbolt.wire.clearing import ClearListener, read_dm22
from shearbolt.wire.clock import clock_us, read_clock
from shearbolt.wire.dtc import NO_SPN, read_dtc, settle_method, spn_by_method
from shearbolt.wire.emission_lists import read_dm31, read_dm32, read_dm33
from shearbolt.wire.fault_list import read_fault_list
from shearbolt.wire.freeze_frame import (
    SupportedSpn,
    read_dm4,
    read_dm24,
    read_dm25,
    scale_values,
)
from shearbolt.wire.identifier import make_identifier, read_identifier
from shearbolt.wire.readiness import read_dm5, read_dm20, read_dm21, read_dm26, read_dm29
from shearbolt.wire.request import read_acknowledgement, read_request, read_request2
from shearbolt.wire.texts import (
    plain_text,
    read_component,
    read_drivers,
    read_software,
    read_unit_identification,
    read_vehicle_identification,
)

PARSERS: list[Callable[[bytes], object]] = [
    read_request,
    read_request2,
    read_acknowledgement,
    read_dtc,
    read_fault_list,
    read_dm4,
    read_dm5,
    read_dm13,
    read_dm19,
    read_dm20,
    read_dm21,
    read_dm22,
    read_dm24,
    read_dm26,
    read_dm29,
    read_dm31,
    read_dm32,
    read_dm33,
    read_clock,
    clock_us,
    plain_text,
    read_vehicle_identification,
    read_component,
    read_software,
    read_unit_identification,
    read_drivers,
]


@pytest.mark.parametrize("parser", PARSERS, ids=lambda one: one.__name__)
@given(st.binary(max_size=80))
def test_total_on_bytes(parser: Callable[[bytes], object], payload: bytes) -> None:
    parser(payload)


@given(st.binary(max_size=80), st.binary(max_size=40), st.integers(0, 255))
def test_total_on_bytes_with_more_arguments(payload: bytes, other: bytes, source: int) -> None:
    read_claim(source, payload)
    for frame in read_dm25(payload, read_dm24(other)):
        assert scale_values(frame.values, lambda _: None) == ()


@given(st.integers(0, 2**29 - 1))
def test_identifier_there_and_back(ident: int) -> None:
    read = read_identifier(ident)
    assert make_identifier(read.priority, read.pgn, read.source, read.destination) == ident


CODES = st.tuples(st.integers(1, NO_SPN - 1), st.integers(0, 31), st.integers(0, 127))


def pack(spn: int, fmi: int, count: int) -> bytes:
    """Pack a code by method 4 from its definition, bit by bit (SAE J1939-73 5.7.1)."""
    bits = spn & 0xFFFF | (spn >> 16) << 21 | fmi << 16 | count << 24
    return bits.to_bytes(4, "little")


@given(st.lists(CODES, max_size=12), st.integers(0, 255), st.integers(0, 8))
def test_fault_lists_there_and_back(
    codes: list[tuple[int, int, int]], lamps: int, padding: int
) -> None:
    body = b"".join(pack(*code) for code in codes)
    read = read_fault_list(bytes([lamps, 0xFF]) + body + b"\xff" * padding)
    assert read is not None
    expected = [(spn, fmi, None if n == COUNT_NONE else n) for spn, fmi, n in codes]
    assert [(one.spn, one.fmi, one.count) for one in read.dtcs] == expected
    assert b"".join(one.raw for one in read.dtcs) == body
    assert read.rest == b""


def old_code(spn: int, method: int) -> bytes:
    """Pack an SPN by an older method from the reference sheet's table, with the old bit set."""
    high, middle, low = spn >> 11, spn >> 3 & 0xFF, spn & 7
    if method == 1:
        return bytes([high, middle, low << 5 | 3, 0x81])
    if method == 2:
        return bytes([middle, high, low << 5 | 3, 0x81])
    return bytes([spn & 0xFF, spn >> 8 & 0xFF, spn >> 16 << 5 | 3, 0x81])


@given(
    st.sets(st.integers(1, 520191), min_size=1, max_size=8),
    st.sets(st.integers(1, 520191), max_size=40),
    st.sampled_from([1, 2, 3]),
)
def test_the_true_method_is_never_ruled_out(sent: set[int], more: set[int], method: int) -> None:
    listed = sent | more
    raws = [old_code(spn, method) for spn in sent]
    assert [spn_by_method(raw, method) for raw in raws] == list(sent)
    settled = settle_method(raws, listed.__contains__)
    tied = all(spn_by_method(raw, 3) in listed for raw in raws)
    assert method in settled.candidates or (settled.method == 3 and tied)
    if settled.method == method:
        assert [settled.spns(raw) for raw in raws] == [(spn,) for spn in sent]
    assert settled == settle_method(reversed(raws), listed.__contains__)


@given(
    st.lists(
        st.tuples(st.integers(1, NO_SPN - 1), st.integers(0, 8)), unique_by=lambda one: one[0]
    ),
    st.lists(st.binary(min_size=40, max_size=40), max_size=3),
)
def test_expanded_freeze_frames_there_and_back(
    layout: list[tuple[int, int]], stored: list[bytes]
) -> None:
    listed = b"".join(
        bytes([spn & 0xFF, spn >> 8 & 0xFF, spn >> 16 << 5 | 0x1C | (0 if length else 1), length])
        for spn, length in layout
    )
    supported = read_dm24(listed)
    assert supported == tuple(
        SupportedSpn(spn, length > 0, True, False, length) for spn, length in layout
    )
    inside = [(spn, length) for spn, length in layout if length][:5]
    supported = tuple(one for one in supported if (one.spn, one.length) in inside)
    size = sum(length for _, length in inside)
    payload = b"".join(bytes([4 + size]) + pack(110, 0, 1) + data[:size] for data in stored)
    frames = read_dm25(payload, supported)
    assert [one.data for one in frames] == [data[:size] for data in stored]
    for frame, data in zip(frames, stored, strict=True):
        assert frame.fits == bool(inside)
        assert b"".join(value for _, value in frame.values) == data[:size]
        assert [spn for spn, _ in frame.values] == [spn for spn, _ in inside]


@given(
    st.datetimes(datetime(1985, 1, 1), datetime(2235, 12, 31)), st.integers(0, 3), st.integers(1, 4)
)
def test_clock_there_and_back(moment: datetime, quarter: int, day_quarter: int) -> None:
    moment = moment.replace(microsecond=0, tzinfo=UTC)
    payload = bytes(
        [
            moment.second * 4 + quarter,
            moment.minute,
            moment.hour,
            moment.month,
            (moment.day - 1) * 4 + day_quarter,
            moment.year - 1985,
            125,
            125,
        ]
    )
    whole_us = (moment - datetime(1970, 1, 1, tzinfo=UTC)) // timedelta(microseconds=1)
    assert clock_us(payload) == whole_us + quarter * 250_000


@given(st.lists(st.tuples(st.integers(0, 3), st.none() | st.integers(0, 2)), max_size=30))
def test_addresses_and_names_are_one_to_one(claims: list[tuple[int, int | None]]) -> None:
    book = AddressBook()
    for at, (name, address) in enumerate(claims):
        book.feed(at, Claim(Name(name), address))
        holders = [holder for holder in map(book.holder, range(3)) if holder is not None]
        assert len(set(holders)) == len(holders)
    stretches = book.held("can0")
    assert all(one.first_us <= one.last_us for one in stretches)
    for address in range(3):
        mine = [one for one in stretches if one.address == address]
        assert all(a.last_us < b.first_us for a, b in pairwise(mine))


CLEAR_FRAMES = st.tuples(
    st.sampled_from(["request", "acknowledgement", "clear_one"]),
    st.integers(0, 700_000),
    st.sampled_from([0, 3, 0xF9]),
    st.sampled_from([0, 3, 0xF9, 255]),
    st.sampled_from([65228, 65235, 65260]),
    st.binary(max_size=9)
    | st.sampled_from([bytes.fromhex("00FFFFFFF9D3FE00"), bytes.fromhex("01FFFFFFFF640001")]),
)


@given(st.lists(CLEAR_FRAMES, max_size=30))
def test_clears_are_total_and_every_question_ends(
    frames: list[tuple[str, int, int, int, int, bytes]],
) -> None:
    listener = ClearListener()
    now = questions = 0
    told: list[tuple[int, int]] = []
    for kind, wait, source, destination, pgn, payload in frames:
        now += wait
        if kind == "request":
            questions += pgn != 65260
            events = listener.request(now, "can0", source, destination, pgn)
        elif kind == "acknowledgement":
            events = listener.acknowledgement(now, "can0", source, destination, payload)
        else:
            read = read_dm22(payload)
            questions += read is not None and read.step == "ask"
            events = listener.clear_one(now, "can0", source, destination, payload)
        told += [(one.at_us, one.asker) for one in events]
    told += [(one.at_us, one.asker) for one in listener.finish()]
    assert len(told) >= questions
    assert listener.finish() == ()
