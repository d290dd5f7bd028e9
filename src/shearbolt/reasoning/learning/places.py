"""Payloads that nothing decodes as columns, and the places in them where a signal may lie.

A group is told apart by bits 8 to 25 of the identifier (`group`): the parameter group number, with
the destination in its low byte where the group is sent to one address (SAE J1939-21 5.2). Two
messages of one number to two destinations may have two layouts.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from shearbolt.model.frames import EXTENDED, I64, NOT_DATA, U8, Frames

BITS = 64
"""Bits of a classic frame."""
_FIRST_BROADCAST = 240
"""From this PDU format on the low byte belongs to the number (SAE J1939-21 5.2)."""


@dataclass(frozen=True, slots=True, order=True)
class Place:
    """Where a signal lies; little-endian, as SAE J1939-71 packs."""

    group: int
    address: int
    """Source address."""
    start_bit: int
    """From 0, the lowest bit of the first byte first."""
    bits: int

    @property
    def pgn(self) -> int:
        """Parameter group number."""
        return pgn_of(self.group)

    @property
    def destination(self) -> int | None:
        """Whom it is sent to; None: a broadcast group."""
        return destination_of(self.group)


def pgn_of(group: int) -> int:
    """Give the parameter group number of a group (bits 8 to 25 of its identifier)."""
    return group if group >> 8 & 0xFF >= _FIRST_BROADCAST else group & 0x3FF00


def destination_of(group: int) -> int | None:
    """Give the destination of a group, 255 for all; None where the group has none."""
    return None if group >> 8 & 0xFF >= _FIRST_BROADCAST else group & 0xFF


def overlap(one: Place, two: Place) -> bool:
    """Tell whether two places share a bit."""
    same = (one.group, one.address) == (two.group, two.address)
    return (
        same
        and one.start_bit < two.start_bit + two.bits
        and two.start_bit < one.start_bit + one.bits
    )


@dataclass(frozen=True, slots=True)
class Payloads:
    """Frames of groups that nothing decodes, one row a frame, in order of time."""

    time_us: I64
    group: I64
    """Bits 8 to 25 of the identifier."""
    address: I64
    """Source address."""
    data: U8
    """Shape (n, 8); bytes that a frame does not have are FF."""

    def __post_init__(self) -> None:
        size = len(self.time_us)
        if self.data.shape != (size, 8) or len(self.group) != size or len(self.address) != size:
            raise ValueError("payload columns differ in length")

    def __len__(self) -> int:
        return len(self.time_us)

    def within(self, from_us: int, until_us: int) -> Payloads:
        """Give the rows of a stretch of time, its end not included."""
        low, high = np.searchsorted(self.time_us, (from_us, until_us))
        cut = slice(int(low), int(high))
        return Payloads(self.time_us[cut], self.group[cut], self.address[cut], self.data[cut])

    def senders(self) -> tuple[tuple[int, int], ...]:
        """Give every (group, address) there is, in order."""
        keys = np.unique(self.group << 8 | self.address)
        return tuple((int(key) >> 8, int(key) & 0xFF) for key in keys)

    def of(self, group: int, address: int) -> Payloads:
        """Give the rows of one group of one sender."""
        kept = (self.group == group) & (self.address == address)
        return Payloads(self.time_us[kept], self.group[kept], self.address[kept], self.data[kept])


def payloads_of(frames: Frames) -> Payloads:
    """Take the 29-bit data frames of a block as payloads; the rest is left out."""
    kept = (frames.flags & EXTENDED != 0) & (frames.flags & NOT_DATA == 0)
    ident = frames.ident[kept].astype(np.int64)
    data = np.ascontiguousarray(frames.word[kept]).astype("<u8").view(np.uint8).reshape(-1, 8)
    return Payloads(frames.time_us[kept], ident >> 8 & 0x3FFFF, ident & 0xFF, data)


def joined(parts: list[Payloads]) -> Payloads:
    """Put payloads together, in order of time (rows of one instant keep their order)."""
    if not parts:
        empty = np.empty(0, np.int64)
        return Payloads(empty, empty, empty, np.empty((0, 8), np.uint8))
    time_us = np.concatenate([one.time_us for one in parts])
    order = np.argsort(time_us, kind="stable")
    return Payloads(
        time_us[order],
        np.concatenate([one.group for one in parts])[order],
        np.concatenate([one.address for one in parts])[order],
        np.concatenate([one.data for one in parts])[order],
    )


def bits_of(data: U8) -> U8:
    """Spread payloads (n, 8) into bits (n, 64), the lowest bit of the first byte first."""
    return np.unpackbits(data, axis=1, bitorder="little")


def raw_of(data: U8, place: Place) -> I64:
    """Give the raw counts of a place in payloads (n, 8). Raises ValueError beyond the frame."""
    if not (0 < place.bits <= 32 and 0 <= place.start_bit <= BITS - place.bits):
        raise ValueError(f"no such place in a frame: {place}")
    word = np.ascontiguousarray(data).view("<u8").reshape(-1)
    mask = np.uint64((1 << place.bits) - 1)
    return ((word >> np.uint64(place.start_bit)) & mask).astype(np.int64)
