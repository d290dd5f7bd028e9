"""Freeze frames: SAE J1939-73 DM4, DM24, DM25; reference sheet 2.6, 2.9, 2.11 rows 12 to 14."""

from __future__ import annotations

import pytest

from shearbolt.model.fault import FrozenValue
from shearbolt.model.layout import SignalRow
from shearbolt.wire.freeze_frame import (
    SupportedSpn,
    read_dm4,
    read_dm24,
    read_dm25,
    scale_values,
)

ROW_12 = bytes.fromhex("0C6E000001013C40385599000C")
ROW_13 = bytes.fromhex("5C001C01BE001C026E001C01B30C1802")
ROW_14 = bytes.fromhex("0AB30C1001554038 7DB900")
NO_FRAME = bytes.fromhex("0000000000FFFFFF")
# Not a number: all bytes of the values are FF.
BLANK = bytes.fromhex("0C6E000001FFFFFFFFFFFFFFFF")


def row(spn: int, bits: int, resolution: float, offset: float, unit: str) -> SignalRow:
    top = (0xFB << bits - 8) - 1
    high = top * resolution + offset
    return SignalRow(spn, "x", 0, "X", 1, 1, bits, resolution, offset, unit, offset, high)


ROWS = {
    92: row(92, 8, 1, 0, "%"),
    190: row(190, 16, 0.125, 0, "rpm"),
    110: row(110, 8, 1, -40, "degC"),
    3251: row(3251, 16, 0.1, 0, "kPa"),
}


def test_row_12_dm4() -> None:
    (frame,) = read_dm4(ROW_12)
    assert (frame.dtc.spn, frame.dtc.fmi, frame.dtc.count) == (110, 0, 1)
    assert frame.values == (
        FrozenValue(899, 1, "state"),
        FrozenValue(102, 120, "kPa"),
        FrozenValue(190, 1800, "rpm"),
        FrozenValue(92, 85, "%"),
        FrozenValue(110, 113, "degC"),
        FrozenValue(84, 12, "km/h"),
    )
    assert frame.maker == b""


def test_dm4_several_frames_with_the_makers_bytes() -> None:
    longer = bytes([0x0E]) + ROW_12[1:] + b"\xaa\xbb"
    first, second = read_dm4(longer + ROW_12)
    assert first.maker == b"\xaa\xbb"
    assert first.values == second.values


def test_dm4_length_that_counts_itself() -> None:
    # Reference sheet 2.6: accept 12 or 13 for the minimum frame.
    counted = bytes([0x0D]) + ROW_12[1:]
    assert read_dm4(counted) == read_dm4(ROW_12)
    assert read_dm4(counted * 3) == read_dm4(ROW_12) * 3
    # One byte more, and 13 is an ordinary length with one byte of the maker's.
    (frame,) = read_dm4(counted + b"\xaa")
    assert frame.maker == b"\xaa"


def test_dm4_torque_mode_is_bits_1_to_4() -> None:
    frame = ROW_12[:5] + b"\xfe" + ROW_12[6:]
    assert read_dm4(frame)[0].values[0] == FrozenValue(899, 14, "state")


def test_dm4_values_that_are_no_numbers() -> None:
    (frame,) = read_dm4(BLANK)
    assert [one.value for one in frame.values] == [None] * 6


@pytest.mark.parametrize("cut", range(13))
def test_dm4_cut_short(cut: int) -> None:
    assert read_dm4(ROW_12[:cut]) == ()
    assert len(read_dm4(ROW_12 + ROW_12[:cut])) == 1


def test_no_frame_stored() -> None:
    # Reference sheet 2.6.
    assert read_dm4(NO_FRAME) == ()
    assert read_dm25(NO_FRAME, read_dm24(ROW_13)) == ()


def test_row_13_dm24() -> None:
    assert read_dm24(ROW_13) == (
        SupportedSpn(92, True, True, False, 1),
        SupportedSpn(190, True, True, False, 2),
        SupportedSpn(110, True, True, False, 1),
        SupportedSpn(3251, True, True, True, 2),
    )


def test_dm24_inverted_sense_and_high_bits() -> None:
    # Reference sheet 2.9: zero means yes; byte 3 bits 8-6 are SPN bits 17-19.
    (entry,) = read_dm24(bytes.fromhex("0001 FF 00"))
    assert entry == SupportedSpn(0x70100, False, False, False, 0)
    (only_stream,) = read_dm24(bytes.fromhex("64001D00"))
    assert only_stream == SupportedSpn(100, False, True, False, 0)


def test_dm24_padding_and_cut() -> None:
    assert read_dm24(ROW_13 + b"\xff" * 4) == read_dm24(ROW_13)
    assert read_dm24(ROW_13 + b"\x5c\x00\x1c") == read_dm24(ROW_13)


def test_row_14_dm25() -> None:
    (frame,) = read_dm25(ROW_14, read_dm24(ROW_13))
    assert (frame.dtc.spn, frame.dtc.fmi) == (3251, 16)
    assert frame.fits
    assert frame.values == ((92, b"\x55"), (190, b"\x40\x38"), (110, b"\x7d"), (3251, b"\xb9\x00"))
    *whole, pressure = scale_values(frame.values, ROWS.get)
    assert whole == [
        FrozenValue(92, 85, "%"),
        FrozenValue(190, 1800, "rpm"),
        FrozenValue(110, 85, "degC"),
    ]
    assert (pressure.spn, pressure.unit) == (3251, "kPa")
    assert pressure.value == pytest.approx(18.5)


def test_dm25_of_the_size_seen_in_a_real_trace() -> None:
    # Reference sheet 2.6 and 2.9: 66 of 99 SPNs in the frame, 108 bytes; 15 frames of 113 bytes.
    supported = [SupportedSpn(1000 + at, True, True, True, 1 + (at < 42)) for at in range(66)]
    supported += [SupportedSpn(2000 + at, False, True, True, 0) for at in range(33)]
    assert sum(one.length for one in supported) == 108
    frame = bytes([112, 110, 0, 0, 1]) + bytes(range(108))
    frames = read_dm25(frame * 15, supported)
    assert len(frames) == 15
    assert all(one.fits and len(one.values) == 66 for one in frames)


def test_dm25_with_no_or_another_dm24() -> None:
    # Reference sheet 2.6: decode is impossible without the DM24 of the same address.
    for supported in ((), read_dm24(ROW_13)[:3]):
        (frame,) = read_dm25(ROW_14, supported)
        assert (frame.dtc.spn, frame.fits, frame.values) == (3251, False, ())
        assert frame.data == bytes.fromhex("5540387DB900")


def test_dm25_cut_short() -> None:
    assert read_dm25(ROW_14[:-1], read_dm24(ROW_13)) == ()
    assert len(read_dm25(ROW_14 + ROW_14[:6], read_dm24(ROW_13))) == 1


def test_scaling_leaves_out_what_it_cannot_read() -> None:
    values = [(92, b"\xff"), (190, b"\x40"), (4711, b"\x01"), (110, b"\x7d\x00")]
    assert scale_values(values, ROWS.get) == (
        FrozenValue(92, None, "%"),
        FrozenValue(110, 85, "degC"),
    )
