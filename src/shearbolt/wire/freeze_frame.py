"""Freeze frames of SAE J1939-73: DM4 (fixed layout), and DM25 in the layout that DM24 gives.

DM4, per frame: byte 1 length of what follows, 2-5 code, 6 torque mode, 7 boost, 8-9 engine speed,
10 load, 11 coolant, 12-13 vehicle speed, then the maker's own bytes. Some senders count byte 1
itself in the length (from memory); the reading that fits the whole message is taken.

DM25, per frame: byte 1 length, 2-5 code, then the values of exactly those SPNs that the DM24 of
the same address marks, in its order, each in its length there, without gaps. No frame stored:
00 00 00 00 00 FF FF FF, in both.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

from shearbolt.dictionary.rules import NUMBER, is_text, raw_rules, status_of
from shearbolt.dictionary.values import decode_value, physical
from shearbolt.model.fault import Dtc, FrozenValue
from shearbolt.model.layout import SignalRow
from shearbolt.wire.dtc import DTC_BYTES, means_no_fault, read_dtc

ENTRY_BYTES = 4
"""One SPN in DM24."""
_DM4_LEAST = 12
"""Code and fixed values, without the length byte."""
_VALUES_BYTE = 1 + DTC_BYTES
_PADDING = (0x00, 0xFF)


_TORQUE_MODES = (
    "low-idle governor/none",
    "accelerator",
    "cruise",
    "PTO governor",
    "road-speed governor",
    "ASR",
    "transmission",
    "ABS",
    "torque limiting",
    "high-speed governor",
    "braking system",
    "remote accelerator",
    "service procedure",
    "reserved",
    "other",
    "not available",
)


def _row(
    spn: int,
    name: str,
    first: int,
    bits: int,
    resolution: float,
    offset: float,
    unit: str,
    states: tuple[str, ...] = (),
) -> SignalRow:
    top = (1 << bits) - 1 if bits < 8 else (0xFB << bits - 8) - 1
    return SignalRow(
        spn,
        name,
        65229,
        "DM4",
        first,
        1,
        bits,
        resolution,
        offset,
        unit,
        offset,
        top * resolution + offset,
        tuple(enumerate(states)),
    )


DM4_ROWS = (
    _row(899, "Engine torque mode", 6, 4, 1, 0, "state", _TORQUE_MODES),
    _row(102, "Intake manifold 1 pressure (boost, gauge)", 7, 8, 2, 0, "kPa"),
    _row(190, "Engine speed", 8, 16, 0.125, 0, "rpm"),
    _row(92, "Percent load at current speed", 10, 8, 1, 0, "%"),
    _row(110, "Engine coolant temperature", 11, 8, 1, -40, "degC"),
    _row(84, "Wheel-based vehicle speed", 12, 16, 1 / 256, 0, "km/h"),
)
"""Values of every DM4 frame; bytes counted from its length byte."""


@dataclass(frozen=True, slots=True)
class StoredFrame:
    """One DM4 frame."""

    dtc: Dtc
    values: tuple[FrozenValue, ...]
    """SPN 899, 102, 190, 92, 110, 84; None where the sender had no number."""
    maker: bytes
    """The maker's own bytes after them."""


@dataclass(frozen=True, slots=True)
class SupportedSpn:
    """What DM24 says of one SPN."""

    spn: int
    in_freeze_frame: bool
    """Its value is in DM25."""
    in_data_stream: bool
    has_test_results: bool
    length: int
    """Bytes in DM25; 0 if not in it."""


@dataclass(frozen=True, slots=True)
class ExpandedFrame:
    """One DM25 frame."""

    dtc: Dtc
    values: tuple[tuple[int, bytes], ...]
    """(SPN, its bytes as stored), in the order of DM24; empty where the layout does not fit."""
    data: bytes
    """All bytes after the code, for whoever gets a DM24 later."""
    fits: bool
    """Its length is what the DM24 says."""


def read_dm4(payload: bytes) -> tuple[StoredFrame, ...]:
    """Read the freeze frames of DM4; a frame cut short, or without a code, is left out."""
    outside = _chain(payload, 1, _DM4_LEAST)
    inside = _chain(payload, 0, _DM4_LEAST + 1)
    frames, whole = outside
    if not whole and inside[1]:
        frames = inside[0]
    stored = []
    for frame in frames:
        dtc = read_dtc(frame[1:_VALUES_BYTE])
        if dtc is None or means_no_fault(dtc):
            continue
        values = tuple(_frozen(frame, row) for row in DM4_ROWS)
        stored.append(StoredFrame(dtc, values, frame[1 + _DM4_LEAST :]))
    return tuple(stored)


def _frozen(frame: bytes, row: SignalRow) -> FrozenValue:
    value, _ = decode_value(frame, row)
    return FrozenValue(row.spn, value, row.unit)


def _chain(payload: bytes, extra: int, least: int) -> tuple[list[bytes], bool]:
    """Cut a payload into frames of (first byte + extra) bytes; tell whether that used it up."""
    frames, first = [], 0
    while first < len(payload):
        length = payload[first]
        end = first + length + extra
        if length < least or end > len(payload):
            break
        frames.append(payload[first:end])
        first = end
    rest = payload[first:]
    return frames, all(one in _PADDING for one in rest)


def read_dm24(payload: bytes) -> tuple[SupportedSpn, ...]:
    """Read the list of supported SPNs; a support bit of 0 means yes. Padding is left out."""
    supported = []
    for first in range(0, len(payload) - ENTRY_BYTES + 1, ENTRY_BYTES):
        low, middle, third, length = payload[first : first + ENTRY_BYTES]
        if (low, middle, third) in ((0xFF, 0xFF, 0xFF), (0, 0, 0)):
            continue
        supported.append(
            SupportedSpn(
                low | middle << 8 | third >> 5 << 16,
                not third & 1,
                not third & 2,
                not third & 4,
                length,
            )
        )
    return tuple(supported)


def read_dm25(payload: bytes, supported: Sequence[SupportedSpn]) -> tuple[ExpandedFrame, ...]:
    """Read expanded freeze frames by the DM24 of the same address.

    With another DM24, or none (an empty one), codes and bytes come without values. A frame cut
    short is left out, and so is one that stands for no code.
    """
    layout = [(one.spn, one.length) for one in supported if one.in_freeze_frame and one.length]
    size = sum(length for _, length in layout)
    frames, _ = _chain(payload, 1, DTC_BYTES)
    expanded = []
    for frame in frames:
        dtc = read_dtc(frame[1:_VALUES_BYTE])
        if dtc is None or means_no_fault(dtc):
            continue
        data = frame[_VALUES_BYTE:]
        fits = bool(layout) and len(data) == size
        values = tuple(_cut(data, layout)) if fits else ()
        expanded.append(ExpandedFrame(dtc, values, data, fits))
    return tuple(expanded)


def _cut(data: bytes, layout: Iterable[tuple[int, int]]) -> Iterable[tuple[int, bytes]]:
    first = 0
    for spn, length in layout:
        yield spn, data[first : first + length]
        first += length


def scale_values(
    values: Iterable[tuple[int, bytes]], row_of: Callable[[int], SignalRow | None]
) -> tuple[FrozenValue, ...]:
    """Scale the values of a DM25 frame; `row_of` gives the row of an SPN, or None.

    Unknown SPNs, texts, and values shorter than their field are left out (their bytes stay in the
    frame); a value that is no number is None. Bits beyond the field are ignored.
    """
    scaled = []
    for spn, data in values:
        row = row_of(spn)
        if row is None or is_text(row) or row.length_bits > 8 * len(data):
            continue
        raw = int.from_bytes(data, "little") & (1 << row.length_bits) - 1
        number = status_of(raw, raw_rules(row)) == NUMBER
        scaled.append(FrozenValue(spn, physical(raw, row) if number else None, row.unit))
    return tuple(scaled)
