"""DM13, DM19, DM31 to DM33: SAE J1939-73, reference sheet 2.1 and 2.10."""

from __future__ import annotations

import pytest

from shearbolt.model.fault import Lamps
from shearbolt.wire.broadcast_control import read_dm13
from shearbolt.wire.calibration import Calibration, read_dm19
from shearbolt.wire.emission_lists import (
    DeviceTimers,
    LampedFault,
    LimitExceeded,
    read_dm31,
    read_dm32,
    read_dm33,
)

# Reference sheet 2.10: network, byte, lowest bit (counted from 1).
NETWORKS = [
    ("network_1", 1, 1),
    ("j1922", 1, 3),
    ("j1587", 1, 5),
    ("current_link", 1, 7),
    ("maker_port", 2, 1),
    ("j1850", 2, 3),
    ("iso_9141", 2, 5),
    ("network_2", 2, 7),
    ("network_3", 3, 7),
]


@pytest.mark.parametrize(("name", "byte", "bit"), NETWORKS)
@pytest.mark.parametrize(("code", "command"), [(0, "stop"), (1, "start"), (2, None), (3, None)])
def test_dm13_networks(name: str, byte: int, bit: int, code: int, command: str | None) -> None:
    data = bytearray(b"\xff" * 8)
    data[byte - 1] &= ~(3 << bit - 1) & 0xFF
    data[byte - 1] |= code << bit - 1
    read = read_dm13(bytes(data))
    assert read is not None
    assert read.commands == (() if command is None else ((name, command),))
    assert read.stops == (command == "stop" and name in ("network_1", "current_link"))


def test_dm13_signals_and_time() -> None:
    read = read_dm13(bytes.fromhex("FFFFFF022C01FFFF"))
    assert read is not None
    assert (read.suspend_signal, read.hold_signal, read.suspend_s) == (2, 0, 300)
    assert read.holds
    nothing = read_dm13(b"\xff" * 8)
    assert nothing is not None
    assert (nothing.suspend_signal, nothing.hold_signal, nothing.suspend_s) == (None, None, None)
    assert not nothing.holds
    assert read_dm13(b"\x00\x00\x00") is None


def test_dm19() -> None:
    # Reference sheet 2.1: 20 bytes a record, 1-4 number, 5-20 identification, 00 or space filled.
    first = bytes.fromhex("78563412") + b"CAL-7".ljust(16, b"\x00")
    second = bytes.fromhex("01000000") + b"B 12".ljust(16, b" ")
    read = read_dm19(first + second)
    assert read == (Calibration(0x12345678, "CAL-7"), Calibration(1, "B 12"))
    assert read[0].verification_hex == "12345678"
    assert len(read_dm19(first * 11)) == 11
    assert read_dm19(first + second[:19]) == read[:1]
    assert read_dm19(b"\xff" * 20) == ()
    assert read_dm19(bytes(4) + b"\xff" * 16) == (Calibration(0, None),)


def test_dm31() -> None:
    read = read_dm31(bytes.fromhex("6F001202 04FF 6E000001 501F"))
    assert [(one.dtc.spn, one.dtc.fmi) for one in read] == [(111, 18), (110, 0)]
    assert read[0].lamps == Lamps("off", "off", "on", "off")
    assert read[1] == LampedFault(read[1].dtc, Lamps("slow", "fast", "off", "off"))
    assert read_dm31(bytes.fromhex("6F00120204FFFFFF")) == read[:1]
    assert read_dm31(bytes.fromhex("0000000000FFFFFF")) == ()
    assert read_dm31(b"") == ()


def test_dm32() -> None:
    record = bytes.fromhex("B30C10 0102030405")
    assert read_dm32(record) == (LimitExceeded(3251, 16, bytes.fromhex("0102030405")),)
    # Reference sheet 2.1: 40 bytes = 5 records.
    assert len(read_dm32(record * 5)) == 5
    assert read_dm32(bytes.fromhex("0000000000FFFFFF")) == ()
    assert read_dm32(record[:7]) == ()


def test_dm33() -> None:
    record = bytes.fromhex("03 3C000000 FFFFFFFF")
    assert read_dm33(record) == (DeviceTimers(3, 60, None),)
    # Reference sheet 2.1: 117 bytes = 13 records.
    assert len(read_dm33(record * 13)) == 13
    assert read_dm33(b"\xff" * 9) == ()
    assert read_dm33(record[:8]) == ()
