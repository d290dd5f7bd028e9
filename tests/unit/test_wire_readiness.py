"""Readiness and counters: SAE J1939-73, reference sheet 2.8 and 2.11 rows 15, 19, 21, 22."""

from __future__ import annotations

from collections.abc import Iterable

import pytest

from shearbolt.wire.readiness import (
    CONTINUOUS,
    NON_CONTINUOUS,
    OBD_TYPES,
    Distances,
    FaultCounts,
    Monitor,
    Ratio,
    read_dm5,
    read_dm20,
    read_dm21,
    read_dm26,
    read_dm29,
)


def supported(monitors: Iterable[Monitor]) -> set[str]:
    return {one.name for one in monitors if one.supported}


def incomplete(monitors: Iterable[Monitor]) -> set[str]:
    return {one.name for one in monitors if not one.complete}


def test_row_19_dm5() -> None:
    read = read_dm5(bytes.fromhex("02011406C00E8004"))
    assert read is not None
    assert (read.active, read.previously_active, read.obd_type) == (2, 1, 20)
    assert OBD_TYPES[20] == "heavy-duty OBD"
    assert supported(read.monitors) == {
        "fuel",
        "components",
        "sensor_heater",
        "egr_vvt",
        "boost_control",
        "dpf",
        "nox_catalyst",
    }
    assert incomplete(read.monitors) == {"egr_vvt", "dpf"}


def test_dm5_of_a_real_trace() -> None:
    # Reference sheet 2.8: 2B 20 14 37 A0 1E A0 1E, 43 active, 32 previous, type 20. Bytes 5-8 say
    # 'all incomplete'; of the continuous monitors bit 7 of byte 4 (components) is clear.
    read = read_dm5(bytes.fromhex("2B201437A01EA01E"))
    assert read is not None
    assert (read.active, read.previously_active, read.obd_type) == (43, 32, 20)
    others = [one for one in read.monitors if one.name in NON_CONTINUOUS]
    assert supported(others) == incomplete(others) != set()
    assert supported(read.monitors) >= set(CONTINUOUS)
    assert incomplete(read.monitors) - set(NON_CONTINUOUS) == {"misfire", "fuel"}


@pytest.mark.parametrize("bit", range(3))
def test_continuous_bits(bit: int) -> None:
    # Reference sheet 2.8: byte 4 bits 1-3 supported, 5-7 not complete.
    first = read_dm5(bytes([0, 0, 20, 1 << bit, 0, 0, 0, 0]))
    second = read_dm5(bytes([0, 0, 20, 1 << bit + 4, 0, 0, 0, 0]))
    assert first is not None
    assert second is not None
    assert supported(first.monitors) == {CONTINUOUS[bit]}
    assert incomplete(first.monitors) == set()
    assert supported(second.monitors) == set()
    assert incomplete(second.monitors) == {CONTINUOUS[bit]}


@pytest.mark.parametrize("bit", range(13))
def test_other_bits(bit: int) -> None:
    # Reference sheet 2.8: bytes 5 and 7 bits 1-8, bytes 6 and 8 bits 1-5.
    word = (1 << bit).to_bytes(2, "little")
    first = read_dm5(bytes([0, 0, 20, 0]) + word + bytes(2))
    second = read_dm5(bytes([0, 0, 20, 0]) + bytes(2) + word)
    assert first is not None
    assert second is not None
    assert supported(first.monitors) == {NON_CONTINUOUS[bit]}
    assert incomplete(second.monitors) == {NON_CONTINUOUS[bit]}


def test_monitors_not_available() -> None:
    read = read_dm5(bytes.fromhex("0000FFFFFFFFFFFF"))
    assert read is not None
    assert (read.obd_type, read.monitors) == (None, ())
    assert read_dm5(bytes(7)) is None


def test_dm26() -> None:
    # Reference sheet 2.1 and 2.8: seconds since start, warm-ups, then the bits of DM5.
    read = read_dm26(bytes.fromhex("2C010706C00E8004"))
    assert read is not None
    assert (read.since_start_s, read.warm_ups_since_clear) == (300, 7)
    assert supported(read.monitors) >= {"fuel", "components", "dpf"}
    assert incomplete(read.monitors) == {"egr_vvt", "dpf"}
    missing = read_dm26(b"\xff" * 8)
    assert missing is not None
    assert (missing.since_start_s, missing.warm_ups_since_clear) == (None, None)
    assert read_dm26(bytes(7)) is None


def test_row_15_dm20() -> None:
    read = read_dm20(bytes.fromhex("78005F00CA14F80E001400"))
    assert read is not None
    assert (read.ignition_cycles, read.general_denominator) == (120, 95)
    assert read.ratios == (Ratio(5322, 14, 20),)
    assert read.ratios[0].value == pytest.approx(0.70)


def test_dm20_spns_of_a_real_trace() -> None:
    # Reference sheet 2.8: CA 14 F8 and B8 12 F8 are plain numbers of 24 bits, upper five set.
    read = read_dm20(bytes.fromhex("78005F00 CA14F8 0E00 0000 B812F8 FFFF 1400 FFFFFF FFFFFFFF"))
    assert read is not None
    assert [one.spn for one in read.ratios] == [0x14CA, 0x12B8]
    assert [one.value for one in read.ratios] == [None, None]
    assert read_dm20(b"\x78\x00\x5f") is None


def test_row_22_dm21() -> None:
    assert read_dm21(bytes.fromhex("0C00F4013C005802")) == Distances(12, 500, 60, 600)
    assert read_dm21(bytes.fromhex("0C00FFFF3C00")) == Distances(12, None, 60, None)
    assert read_dm21(b"") is None


def test_row_21_dm29() -> None:
    assert read_dm29(bytes.fromhex("0102030001FFFFFF")) == FaultCounts(1, 2, 3, 0, 1)
    assert read_dm29(b"\x01\xff") == FaultCounts(1, None, None, None, None)
    assert read_dm29(b"") is None
