"""Packing of the answers that SAE J1939-73 lists beside DM1: DM5, DM19 to DM29, clearing.

Layouts are those of the standard, written down for the proving ground alone.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from shearbolt.proving.layouts import Layout, layouts, raw_counts
from shearbolt.proving.packing import Event, identifier

DM3, DM11, DM22 = 65228, 65235, 49920
DM5, DM6, DM12, DM13 = 65230, 65231, 65236, 57088
DM19, DM20, DM21 = 54016, 49664, 49408
DM23, DM24, DM25, DM26 = 64949, 64950, 64951, 64952
DM27, DM28, DM29 = 64898, 64896, 40448

CONTINUOUS = ("misfire", "fuel", "components")
"""Monitors of byte 4, bits 1 to 3 (SAE J1939-73 DM5)."""
NON_CONTINUOUS = (
    "catalyst", "heated_catalyst", "evaporative", "secondary_air", "ac_refrigerant",
    "exhaust_gas_sensor", "sensor_heater", "egr_vvt", "cold_start_aid", "boost_control", "dpf",
    "nox_catalyst", "nmhc_catalyst",
)  # fmt: skip
"""Monitors of bytes 5 and 6, from bit 1 of byte 5 up."""
NO_FRAME = bytes(5) + b"\xff\xff\xff"
"""No freeze frame stored (DM4, DM25)."""
_SUPPORTED_FRAME = 0b00011000
"""DM24 byte 3: in freeze frame, data stream and test results; a 0 says yes, bits 4-5 are ones."""


@dataclass(frozen=True, slots=True)
class Monitoring:
    """State of the readiness monitors: which there are, and which of them have not run."""

    supported: frozenset[str]
    incomplete: frozenset[str]


def _word(value: float, most: int = 0xFAFF) -> bytes:
    """Pack a count of two bytes; it stops at its highest valid value."""
    return min(most, max(0, int(value))).to_bytes(2, "little")


def _byte(value: float) -> int:
    return min(0xFA, max(0, int(value)))


def monitor_bytes(monitoring: Monitoring) -> bytes:
    """Pack bytes 4 to 8 of DM5 and DM26: a set status bit means NOT complete."""
    first = sum(1 << bit for bit, one in enumerate(CONTINUOUS) if one in monitoring.supported)
    first |= sum(16 << bit for bit, one in enumerate(CONTINUOUS) if one in monitoring.incomplete)
    there = sum(1 << bit for bit, one in enumerate(NON_CONTINUOUS) if one in monitoring.supported)
    left = sum(1 << bit for bit, one in enumerate(NON_CONTINUOUS) if one in monitoring.incomplete)
    return bytes((first,)) + there.to_bytes(2, "little") + left.to_bytes(2, "little")


def dm5(active: int, previous: int, obd_type: int, monitoring: Monitoring) -> bytes:
    """Pack readiness 1."""
    return bytes((_byte(active), _byte(previous), obd_type)) + monitor_bytes(monitoring)


def dm19(calibrations: Iterable[tuple[str, int]]) -> bytes:
    """Pack calibration records: verification number, then 16 characters filled up with 00."""
    return b"".join(
        number.to_bytes(4, "little") + name.encode("ascii")[:16].ljust(16, b"\0")
        for name, number in calibrations
    )


def dm20(cycles: int, denominator: int, ratios: Mapping[int, tuple[int, int]]) -> bytes:
    """Pack monitor ratios: SPN as a plain number whose upper five bits are set."""
    body = b"".join(
        (spn | 0xF8_0000).to_bytes(3, "little") + _word(done) + _word(could)
        for spn, (done, could) in sorted(ratios.items())
    )
    return (_word(cycles) + _word(denominator) + body).ljust(8, b"\xff")


def dm21(mil_km: float, clear_km: float, mil_min: float, clear_min: float) -> bytes:
    """Pack distances and minutes with the MIL on and since the last clear."""
    return _word(mil_km) + _word(clear_km) + _word(mil_min) + _word(clear_min)


def dm24(frame: Sequence[int], stream: Iterable[int]) -> bytes:
    """Pack the supported SPNs: first those of the freeze frame in its order, then the others."""
    rows = []
    for spn in frame:
        rows.append((spn, _SUPPORTED_FRAME | 0b100, frame_bytes(spn)))
    for spn in sorted(set(stream) - set(frame)):
        rows.append((spn, _SUPPORTED_FRAME | 0b101, 0))
    return b"".join(
        bytes((spn & 0xFF, spn >> 8 & 0xFF, (spn >> 16) << 5 | flags, length))
        for spn, flags, length in rows
    )


def layout_of(spn: int) -> Layout:
    """Return the layout of a signal; raises KeyError for one that the table does not hold."""
    for one in layouts():
        if one.spn == spn:
            return one
    raise KeyError(spn)


def frame_bytes(spn: int) -> int:
    """Return how many bytes a signal takes in an expanded freeze frame."""
    return -(-layout_of(spn).length_bits // 8)


def dm25_frame(dtc: bytes, frame: Sequence[int], values: Mapping[int, float]) -> bytes:
    """Pack one expanded freeze frame: length, code, and the values in the order of DM24."""
    body = dtc
    for spn in frame:
        raw = int(raw_counts(layout_of(spn), np.asarray(values.get(spn, float("nan")))))
        body += raw.to_bytes(frame_bytes(spn), "little")
    return bytes((len(body),)) + body


def dm26(since_start_s: float, warm_ups: int, monitoring: Monitoring) -> bytes:
    """Pack readiness 3."""
    return _word(since_start_s) + bytes((_byte(warm_ups),)) + monitor_bytes(monitoring)


def dm29(pending: int, all_pending: int, mil_on: int, previous: int, permanent: int) -> bytes:
    """Pack the counts of codes of each kind."""
    few = (pending, all_pending, mil_on, previous, permanent)
    return bytes(_byte(one) for one in few).ljust(8, b"\xff")


def dm22(control: int, reason: int | None, spn: int, fmi: int) -> bytes:
    """Pack the clearing of one fault: control, reason (None: FF), and the code."""
    code = bytes((spn & 0xFF, spn >> 8 & 0xFF, spn >> 16 << 5 | fmi))
    return bytes((control, 0xFF if reason is None else reason, 0xFF, 0xFF, 0xFF)) + code


def dm22_code(payload: bytes) -> tuple[int, int]:
    """Read SPN and FMI of a DM22 (the machine must understand what it is asked)."""
    low, middle, top = payload[5:8]
    return low | middle << 8 | top >> 5 << 16, top & 0x1F


def dm13(*, stop: bool, hold: bool = False, suspend_s: int | None = None) -> bytes:
    """Pack stop or start of network 1; `hold` renews a stop (signal 0, all devices)."""
    first = 0xFC | (0b00 if stop else 0b01)
    signals = 0xFF if not hold else 0x0F
    seconds = b"\xff\xff" if suspend_s is None else _word(suspend_s)
    return bytes((first, 0xFF, 0xFF, signals)) + seconds + b"\xff\xff"


def dm13_event(
    at_us: int, asker: int, payload: bytes, asked: int = 255, channel: str = "can0"
) -> Event:
    """Make a DM13 frame."""
    return Event(at_us, identifier(6, DM13, asker, asked), payload, channel=channel)
