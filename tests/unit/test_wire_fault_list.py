"""Lists in the layout of DM1: SAE J1939-73 5.7.1, reference sheet 2.2, 2.5 and 2.11."""

from __future__ import annotations

import pytest

from shearbolt.model.fault import Lamp, Lamps
from shearbolt.wire.diagnostics import DIAGNOSTIC_GROUPS, FAULT_LISTS, group_of
from shearbolt.wire.fault_list import FaultList, read_fault_list
from shearbolt.wire.lamps import read_lamps

ALL_OFF = Lamps("off", "off", "off", "off")


def read(data: str) -> FaultList:
    found = read_fault_list(bytes.fromhex(data))
    assert found is not None
    return found


def codes(data: str) -> list[tuple[int, int, int | None]]:
    return [(one.spn, one.fmi, one.count) for one in read(data).dtcs]


def test_row_1_one_fault_in_one_frame() -> None:
    data = "04FF6F001202FFFF"
    assert read(data).lamps == Lamps("off", "off", "on", "off")
    assert codes(data) == [(111, 18, 2)]
    assert not read(data).dtcs[0].old_method
    assert read(data).rest == b""


def test_row_2_flashing() -> None:
    data = "501F6E000001FFFF"
    assert read(data).lamps == Lamps("slow", "fast", "off", "off")
    assert codes(data) == [(110, 0, 1)]


@pytest.mark.parametrize(
    "data",
    [
        "00FF00000000FFFF",  # row 3, current form
        "00FFFFFFFFFFFFFF",  # row 4, accepted older form
        "000000000000FFFF",  # 2.5, older senders
        "0000000000000000",  # 2.5, all zero
    ],
)
def test_rows_3_and_4_no_fault(data: str) -> None:
    assert read(data).dtcs == ()
    assert read(data).all_clear
    assert read(data).lamps == ALL_OFF
    assert not read(data).lamps.any_lit


def test_lamps_kept_where_no_fault_is_listed() -> None:
    # Reference sheet 2.5: DM6 57 FF 00 00 00 00 FF FF, no fault, lamps on.
    found = read("57FF00000000FFFF")
    assert found.dtcs == ()
    assert found.lamps == Lamps("on", "on", "on", None)
    assert found.lamps.any_lit


def test_example_a_five_faults() -> None:
    # Reference sheet 1.4.
    data = "44FF640001036E000001B30C10077E140F7E10F7FF7F"
    assert read(data).lamps == Lamps("on", "off", "on", "off")
    assert codes(data) == [
        (100, 1, 3),
        (110, 0, 1),
        (3251, 16, 7),
        (5246, 15, 126),
        (522000, 31, None),
    ]


def test_padding_makes_no_fault() -> None:
    # Reference sheet 1.4: even uncut, the padding of the last packet is no sixth fault.
    data = "44FF640001036E000001B30C10077E140F7E10F7FF7F" + "FF" * 6
    assert len(codes(data)) == 5
    assert read(data).rest == b""


@pytest.mark.parametrize("shift", [6, 4, 2, 0])
def test_every_lamp_and_every_code(shift: int) -> None:
    # Reference sheet 2.2.
    names = {6: "mil", 4: "red_stop", 2: "amber_warning", 0: "protect"}
    expected: dict[tuple[int, int], Lamp | None] = {
        (0b01, 0b00): "slow",
        (0b01, 0b01): "fast",
        (0b01, 0b10): "on",
        (0b01, 0b11): "on",
    }
    for flash in range(4):
        expected[0b00, flash] = "off"
        expected[0b10, flash] = None
        expected[0b11, flash] = None
    for (state, flash), lamp in expected.items():
        lamps = read_lamps(state << shift, flash << shift)
        assert getattr(lamps, names[shift]) == lamp
        assert [getattr(lamps, other) for at, other in names.items() if at != shift] == ["off"] * 3


def test_flash_bits_of_unlit_lamps_are_not_read() -> None:
    # Reference sheet 2.2: older senders leave byte 2 at 00.
    assert read("000000000000FFFF").lamps == ALL_OFF


def test_short_and_odd_messages() -> None:
    assert read_fault_list(b"") is None
    assert read_fault_list(b"\x04") is None
    assert read("04FF").dtcs == ()
    assert read("04FF6F0012").rest == bytes.fromhex("6F0012")
    assert codes("04FF6F0012026E0000") == [(111, 18, 2)]


def test_groups_of_the_reference_sheet() -> None:
    # Reference sheet 2.1.
    assert dict(FAULT_LISTS) == {
        0xFECA: "dm1",
        0xFECB: "dm2",
        0xFECF: "dm6",
        0xFED4: "dm12",
        0xFDB5: "dm23",
        0xFD82: "dm27",
        0xFD80: "dm28",
    }
    for short_name, pgn in {
        "dm4": 0xFECD,
        "dm5": 0xFECE,
        "dm11": 0xFED3,
        "dm13": 0xDF00,
        "dm19": 0xD300,
        "dm20": 0xC200,
        "dm21": 0xC100,
        "dm22": 0xC300,
        "dm24": 0xFDB6,
        "dm25": 0xFDB7,
        "dm26": 0xFDB8,
        "dm29": 0x9E00,
        "dm31": 0xA300,
        "dm32": 0xA200,
        "dm33": 0xA100,
        "dm36": 64868,
        "dm39": 64865,
        "dm52": 64852,
        "dm58": 64475,
    }.items():
        assert group_of(short_name) == pgn
        assert DIAGNOSTIC_GROUPS[pgn] == short_name
    assert group_of("dm59") is None
    assert {f"dm{n}" for n in range(1, 59)} == set(DIAGNOSTIC_GROUPS.values())
