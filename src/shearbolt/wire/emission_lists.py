"""Lists beside the codes: DM31 lamps by code, DM32 limits exceeded, DM33 auxiliary devices.

SAE J1939-73. DM31 (layout from memory): 4 bytes code, 2 bytes lamps, per fault. DM32: 8 bytes per
fault, 1-3 SPN and FMI as in a code, 4-8 not decoded. DM33: 9 bytes per auxiliary emission control
device, 1 its number, 2-5 and 6-9 minutes of two timers, FFFFFFFF not used.
"""

from __future__ import annotations

from dataclasses import dataclass

from shearbolt.model.fault import Dtc, Lamps
from shearbolt.wire.dtc import DTC_BYTES, means_no_fault, read_dtc, spn_by_method
from shearbolt.wire.lamps import read_lamps
from shearbolt.wire.raw_values import number

LAMP_RECORD_BYTES = 6
LIMIT_RECORD_BYTES = 8
DEVICE_RECORD_BYTES = 9
_NO_CODE = (b"\x00\x00\x00", b"\xff\xff\xff")


@dataclass(frozen=True, slots=True)
class LampedFault:
    """One code and the lamps that it lights by itself (DM31)."""

    dtc: Dtc
    lamps: Lamps


@dataclass(frozen=True, slots=True)
class LimitExceeded:
    """One fault behind an exceeded exhaust limit (DM32)."""

    spn: int
    fmi: int
    state: bytes
    """Bytes 4-8, not decoded."""


@dataclass(frozen=True, slots=True)
class DeviceTimers:
    """Minutes that one auxiliary emission control device was at work (DM33)."""

    device: int
    timer_1_min: int | None
    timer_2_min: int | None


def _records(payload: bytes, size: int) -> list[bytes]:
    """Cut a payload into whole records; a rest is padding or cut short."""
    return [payload[first : first + size] for first in range(0, len(payload) - size + 1, size)]


def read_dm31(payload: bytes) -> tuple[LampedFault, ...]:
    """Read DM31; records that stand for no code are left out."""
    found = []
    for record in _records(payload, LAMP_RECORD_BYTES):
        dtc = read_dtc(record)
        if dtc is not None and not means_no_fault(dtc):
            found.append(LampedFault(dtc, read_lamps(record[DTC_BYTES], record[DTC_BYTES + 1])))
    return tuple(found)


def read_dm32(payload: bytes) -> tuple[LimitExceeded, ...]:
    """Read DM32; records that stand for no code are left out."""
    return tuple(
        LimitExceeded(spn_by_method(record, 4), record[2] & 0x1F, record[3:])
        for record in _records(payload, LIMIT_RECORD_BYTES)
        if record[:3] not in _NO_CODE
    )


def read_dm33(payload: bytes) -> tuple[DeviceTimers, ...]:
    """Read DM33; records of FF alone are left out."""
    return tuple(
        DeviceTimers(record[0], number(record, 2, 4), number(record, 6, 4))
        for record in _records(payload, DEVICE_RECORD_BYTES)
        if record != b"\xff" * DEVICE_RECORD_BYTES
    )
