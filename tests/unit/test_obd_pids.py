"""The PID table: every formula of reference sheet 4.4, and the rules that all rows keep."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shearbolt.dictionary.pids import pid_table
from shearbolt.dictionary.tables import table
from shearbolt.model.road import PidValue
from shearbolt.wire.obd_pids import read_monitors, read_support, read_values


def value_of(pid: int, data: str, at: int = 0) -> PidValue:
    return read_values(pid, bytes.fromhex(data))[at]


# SAE J1979, reference sheet 4.4. Bytes are chosen here, values computed from the sheet's formulas.
FORMULAS = [
    (0x04, "80", 128 * 100 / 255, "%"),
    (0x05, "7B", 83, "degC"),
    (0x06, "90", 144 * 100 / 128 - 100, "%"),
    (0x07, "80", 0, "%"),
    (0x08, "00", -100, "%"),
    (0x09, "FF", 255 * 100 / 128 - 100, "%"),
    (0x0A, "64", 300, "kPa"),
    (0x0B, "65", 101, "kPa"),
    (0x0C, "1AF8", 1726, "rpm"),
    (0x0D, "32", 50, "km/h"),
    (0x0E, "90", 8, "deg"),
    (0x0F, "3C", 20, "degC"),
    (0x10, "0BB8", 30, "g/s"),
    (0x11, "33", 20, "%"),
    (0x1C, "14", 20, "state"),
    (0x1E, "01", 1, "state"),
    (0x1F, "0E10", 3600, "s"),
    (0x21, "0102", 258, "km"),
    (0x22, "03E8", 79, "kPa"),
    (0x23, "1388", 50_000, "kPa"),
    (0x2C, "FF", 100, "%"),
    (0x2D, "C0", 50, "%"),
    (0x2F, "66", 40, "%"),
    (0x30, "2A", 42, ""),
    (0x31, "FFFF", 65_535, "km"),
    (0x33, "62", 98, "kPa"),
    (0x3C, "1388", 460, "degC"),
    (0x42, "3A98", 15, "V"),
    (0x43, "00FF", 100, "%"),
    (0x44, "8000", 1, ""),
    (0x45, "33", 20, "%"),
    (0x46, "14", -20, "degC"),
    (0x49, "CC", 80, "%"),
    (0x4A, "66", 40, "%"),
    (0x4C, "33", 20, "%"),
    (0x4D, "003C", 60, "min"),
    (0x4E, "0400", 1024, "min"),
    (0x51, "04", 4, "state"),
    (0x59, "4E20", 200_000, "kPa"),
    (0x5C, "82", 90, "degC"),
    (0x5D, "6C80", 7, "deg"),
    (0x5E, "0190", 20, "L/h"),
    (0x61, "AF", 50, "%"),
    (0x62, "64", -25, "%"),
    (0x63, "0190", 400, "Nm"),
    (0xA6, "00123456", 0x123456 / 10, "km"),
]


@pytest.mark.parametrize(("pid", "data", "expected", "unit"), FORMULAS)
def test_formula(pid: int, data: str, expected: float, unit: str) -> None:
    got = value_of(pid, data)
    assert got.value == pytest.approx(expected, abs=1e-12)
    assert got.unit == unit


def test_particulate_filter_pressures() -> None:
    """PID 7A: flags, signed pressure drop, inlet, outlet, each per 100 kPa."""
    drop, inlet, outlet = read_values(0x7A, bytes.fromhex("07 FF38 0BB8 0C80"))
    assert [drop.value, inlet.value, outlet.value] == [-2.0, 30.0, 32.0]
    assert {one.unit for one in (drop, inlet, outlet)} == {"kPa"}
    assert drop.spn == 3251


def test_quantities_that_a_unit_has_not_got_are_no_numbers() -> None:
    """PID 7C: a pair of bytes a temperature, a flag each."""
    values = read_values(0x7C, bytes.fromhex("01 1388 FFFF FFFF FFFF"))
    assert [one.value for one in values] == [460.0, None, None, None]


def test_nox_sensor() -> None:
    assert value_of(0x83, "01 0123 0000").value == 0x123
    assert value_of(0x83, "02 0123 0000").value is None


def test_states_in_words() -> None:
    assert value_of(0x51, "04").state == "diesel"
    assert value_of(0x1C, "14").state == "heavy-duty OBD"
    assert value_of(0x1E, "00").state == "off"
    assert value_of(0x51, "EE").state is None


def test_oxygen_sensor_without_trim() -> None:
    """SAE J1979, from memory: FF says that the sensor takes no part in the trim."""
    volts, trim = read_values(0x14, b"\x5a\xff")
    assert (volts.value, trim.value) == (0.45, None)


def test_engine_run_times() -> None:
    """SAE J1979-DA PID 7F, from memory: seconds in four bytes each."""
    total, idle, pto = read_values(0x7F, bytes.fromhex("03 00002328 00000E10 00000000"))
    assert (total.value, idle.value, pto.value) == (2.5, 1.0, None)
    assert total.unit == "h"


def test_numbers_are_big_endian_for_every_width() -> None:
    assert value_of(0x1F, "0001").value == 1
    assert value_of(0xA6, "0000000A").value == 1.0


def test_forty_identifiers_of_the_sheet_are_there() -> None:
    sheet = {pid for pid, *_ in FORMULAS} | {0x7A, 0x7C, 0x83}
    assert len(sheet) >= 40
    assert sheet <= set(pid_table())


def test_every_row_keeps_the_rules() -> None:
    for pid in pid_table().values():
        assert pid.name
        assert len({one.field for one in pid.fields}) == len(pid.fields)
        for field in pid.fields:
            assert field.source, pid
            assert field.size in (1, 2, 4)
            assert field.denominator > 0
            assert pid.length is None or field.end <= pid.length
            assert field.bit is None or field.size == 1
            assert (field.unit == "state") == bool(field.states)
            if field.flag is not None:
                assert field.first > 0


def test_joined_parameters_have_the_unit_of_the_signal_table() -> None:
    units: dict[int, set[str]] = {}
    for row in table("signals"):
        units.setdefault(int(row["spn"]), set()).add(row["unit"])
    joined = [one for pid in pid_table().values() for one in pid.fields if one.spn is not None]
    assert len(joined) > 20
    for field in joined:
        assert field.spn is not None
        assert units[field.spn] == {field.unit}, field


def test_bits_of_one_byte_do_not_overlap_with_other_quantities() -> None:
    for pid in pid_table().values():
        taken: list[tuple[int, int | None]] = []
        for field in pid.fields:
            for byte in range(field.first, field.end):
                for other, bit in taken:
                    assert other != byte or (bit != field.bit and None not in (bit, field.bit))
            taken += [(byte, field.bit) for byte in range(field.first, field.end)]


@given(pid=st.integers(0, 255), data=st.binary(max_size=45))
def test_any_bytes_are_read(pid: int, data: bytes) -> None:
    known = pid_table().get(pid)
    values = read_values(pid, data)
    fitting = [one for one in known.fields if one.end <= len(data)] if known else []
    assert [one.field for one in values] == [one.field for one in fitting]


def test_bitmap_of_the_sheet() -> None:
    """Reference sheet 4.3 row 9: first byte bit 7 is the next identifier."""
    assert read_support(0x00, bytes.fromhex("98188013")) == (1, 4, 5, 12, 13, 17, 28, 31, 32)


@given(st.sampled_from(range(0, 0x100, 0x20)), st.sets(st.integers(1, 32)))
def test_bitmap_goes_there_and_back(base: int, members: set[int]) -> None:
    bits = sum(1 << 32 - member for member in members)
    expected = tuple(base + member for member in sorted(members))
    assert read_support(base, bits.to_bytes(4, "big")) == expected


@given(st.binary(min_size=4, max_size=4))
def test_monitors_follow_their_bits(data: bytes) -> None:
    compression, monitors = read_monitors(data)
    assert compression == bool(data[1] & 8)
    assert len(monitors) == (9 if compression else 11)
    supported = bin(data[1] & 7).count("1") + bin(data[2] & (0xEB if compression else 0xFF)).count(
        "1"
    )
    assert sum(one.supported for one in monitors) == supported
    assert all((one.complete is None) != one.supported for one in monitors)


def test_readiness_needs_four_bytes() -> None:
    with pytest.raises(ValueError, match="4 bytes"):
        read_monitors(b"\x00\x00\x00")
