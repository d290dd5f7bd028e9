"""Readiness and counters of SAE J1939-73: DM5, DM20, DM21, DM26, DM29.

Monitors lie in the same bits in DM5 and DM26. Byte 4 has the continuous ones: bits 1-3 supported
(DM26: enabled), bits 5-7 not complete. Bytes 5-6 say which others are supported (enabled), bytes
7-8 which are not complete. A set status bit means NOT complete.
"""

from __future__ import annotations

from dataclasses import dataclass

from shearbolt.wire.raw_values import count, number, unsigned

CONTINUOUS = ("misfire", "fuel", "components")
"""Byte 4, bits 1 to 3; their status in bits 5 to 7."""
NON_CONTINUOUS = (
    "catalyst",
    "heated_catalyst",
    "evaporative",
    "secondary_air",
    "ac_refrigerant",
    "exhaust_gas_sensor",
    "sensor_heater",
    "egr_vvt",
    "cold_start_aid",
    "boost_control",
    "dpf",
    "nox_catalyst",
    "nmhc_catalyst",
)
"""Bytes 5 and 6 (status: 7 and 8), from bit 1 of the first up."""
OBD_TYPES = {
    1: "OBD II",
    2: "OBD",
    3: "OBD and OBD II",
    4: "OBD I",
    5: "not compliant",
    6: "EOBD",
    17: "engine manufacturer diagnostics",
    18: "engine manufacturer diagnostics, enhanced",
    19: "heavy-duty OBD, partial",
    20: "heavy-duty OBD",
    21: "WWH-OBD",
}
"""DM5 byte 3, as numbered in SAE J1979 PID 1C (its use here from memory)."""
_MONITOR_BYTES = 8
_SPN_MASK = 0x7FFFF
_RATIO_BYTES = 7


@dataclass(frozen=True, slots=True)
class Monitor:
    """One monitor of the emission controls."""

    name: str
    """One of CONTINUOUS or NON_CONTINUOUS."""
    supported: bool
    """DM26: enabled in this cycle."""
    complete: bool


@dataclass(frozen=True, slots=True)
class Readiness:
    """DM5, readiness since the last clear."""

    active: int | None
    """Active codes."""
    previously_active: int | None
    obd_type: int | None
    """See OBD_TYPES."""
    monitors: tuple[Monitor, ...]


@dataclass(frozen=True, slots=True)
class CycleReadiness:
    """DM26, readiness in this driving cycle."""

    since_start_s: int | None
    warm_ups_since_clear: int | None
    monitors: tuple[Monitor, ...]


@dataclass(frozen=True, slots=True)
class Ratio:
    """How often one monitor ran against how often it could have (DM20)."""

    spn: int
    numerator: int | None
    denominator: int | None

    @property
    def value(self) -> float | None:
        """Numerator over denominator; None where one is not known or the denominator is 0."""
        if self.numerator is None or not self.denominator:
            return None
        return self.numerator / self.denominator


@dataclass(frozen=True, slots=True)
class Performance:
    """DM20, monitor performance."""

    ignition_cycles: int | None
    general_denominator: int | None
    ratios: tuple[Ratio, ...]


@dataclass(frozen=True, slots=True)
class Distances:
    """DM21: how far and how long with the MIL on, and since the last clear."""

    mil_km: int | None
    since_clear_km: int | None
    mil_min: int | None
    """Engine minutes."""
    since_clear_min: int | None
    """Engine minutes."""


@dataclass(frozen=True, slots=True)
class FaultCounts:
    """DM29: how many codes of each kind; None where the sender does not say."""

    pending: int | None
    all_pending: int | None
    mil_on: int | None
    previously_mil_on: int | None
    permanent: int | None


def read_dm5(payload: bytes) -> Readiness | None:
    """Read DM5; None when it is shorter than 8 bytes."""
    if len(payload) < _MONITOR_BYTES:
        return None
    return Readiness(
        number(payload, 1, 1), number(payload, 2, 1), number(payload, 3, 1), _monitors(payload)
    )


def read_dm26(payload: bytes) -> CycleReadiness | None:
    """Read DM26; None when it is shorter than 8 bytes."""
    if len(payload) < _MONITOR_BYTES:
        return None
    return CycleReadiness(number(payload, 1, 2), number(payload, 3, 1), _monitors(payload))


def _monitors(payload: bytes) -> tuple[Monitor, ...]:
    """Read bytes 4 to 8; a group of bytes that is all ones is not available and left out."""
    monitors = []
    if payload[3] != 0xFF:
        for bit, name in enumerate(CONTINUOUS):
            supported, incomplete = payload[3] >> bit & 1, payload[3] >> bit + 4 & 1
            monitors.append(Monitor(name, bool(supported), not incomplete))
    support = int.from_bytes(payload[4:6], "little")
    status = int.from_bytes(payload[6:8], "little")
    if (support, status) != (0xFFFF, 0xFFFF):
        for bit, name in enumerate(NON_CONTINUOUS):
            monitors.append(Monitor(name, bool(support >> bit & 1), not status >> bit & 1))
    return tuple(monitors)


def read_dm20(payload: bytes) -> Performance | None:
    """Read DM20; None when it is shorter than its two counters.

    The SPN is a plain number of 24 bits whose upper five are set, not the layout of a code; an
    entry that is all ones is padding, one that is cut short is left out.
    """
    if len(payload) < 4:
        return None
    ratios = []
    for first in range(4, len(payload) - _RATIO_BYTES + 1, _RATIO_BYTES):
        entry = payload[first : first + _RATIO_BYTES]
        spn = int.from_bytes(entry[:3], "little") & _SPN_MASK
        if spn != _SPN_MASK:
            ratios.append(Ratio(spn, number(entry, 4, 2), number(entry, 6, 2)))
    return Performance(number(payload, 1, 2), number(payload, 3, 2), tuple(ratios))


def read_dm21(payload: bytes) -> Distances | None:
    """Read DM21; None when it is empty, a field None where it ends before or is no number."""
    if unsigned(payload, 1, 2) is None:
        return None
    return Distances(
        number(payload, 1, 2), number(payload, 3, 2), number(payload, 5, 2), number(payload, 7, 2)
    )


def read_dm29(payload: bytes) -> FaultCounts | None:
    """Read DM29; None when it is empty, a count None where it ends before or is FF."""
    if not payload:
        return None
    return FaultCounts(
        count(payload, 1),
        count(payload, 2),
        count(payload, 3),
        count(payload, 4),
        count(payload, 5),
    )
