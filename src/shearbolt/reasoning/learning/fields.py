"""Where the signals of an unknown payload begin and end, and which parts are mere bookkeeping.

Bits are told apart by how often they flip from one frame to the next (bit-flip rate; Marchetti and
Stabili 2019, IEEE Transactions on Information Forensics and Security; Pese and others 2019, ACM
CCS; both from memory). Inside a number the rate falls from the lowest bit to the highest; where it
rises by a power of ten, or at a byte's edge rises at all, another field begins. Their methods take
the highest bit first; here the lowest comes first, since SAE J1939-71 packs so.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy as np

from shearbolt.model.frames import F64, I64, U8
from shearbolt.reasoning.learning.places import BITS, bits_of

Kind: TypeAlias = Literal["constant", "counter", "checksum", "number", "state"]
"""`state`: a single bit, or two that move together; `number`: three bits or more."""
LEAST_FRAMES = 8
"""Fewer frames tell nothing of how a group is laid out."""
STEADY_SHARE = 0.95
"""Share of the steps that a counter takes as a counter does; the rest are frames lost."""
LEAST_WRAPS = 2
"""A counter goes round at least so often; a rising reading does not."""
MOVES_SHARE = 0.5
"""It moves with most frames; the low bits of a slow reading do not."""
COUNTER_BITS = (8, 7, 6, 5, 4, 3, 2)
CHECKSUM_CHANGES = 0.9
"""A checksum over a counter changes with nearly every frame."""
CHECKSUM_RATES = (0.2, 0.8)
"""Flip rate of every bit of a checksum (about one half for a good one)."""
CARRY = 128.0
"""Half a step of the high byte."""
CHECKSUM_FRAMES = 100
"""Frames that it takes to call a byte a checksum by its flip rates alone."""


@dataclass(frozen=True, slots=True)
class Field:
    """A run of neighbouring bits of one group of one sender."""

    start_bit: int
    bits: int
    kind: Kind

    @property
    def reads(self) -> bool:
        """Tell whether it may hold a reading: neither constant nor bookkeeping."""
        return self.kind in ("number", "state")


def flip_rates(bits: U8) -> F64:
    """Give for each bit the share of frames in which it differs from the frame before.

    `bits`: shape (n, 64), n at least 2.
    """
    return np.asarray((bits[1:] != bits[:-1]).mean(axis=0), np.float64)


def fields_of(data: U8) -> tuple[Field, ...]:
    """Divide the payloads (n, 8) of one group of one sender, in order of time, into fields.

    Fewer than LEAST_FRAMES frames give single bits as states and never a number.
    """
    if len(data) < 2:
        return (Field(0, BITS, "constant"),)
    bits = bits_of(data)
    rates = flip_rates(bits)
    taken: dict[int, Field] = {}
    if len(data) >= LEAST_FRAMES:
        counters = _counters(bits, rates)
        for found in (*_checksums(data, rates, counters), *counters):
            if all(bit not in taken for bit in _span(found)):
                taken.update(dict.fromkeys(_span(found), found))
    found_fields = set(taken.values())
    begun: int | None = None
    for bit in range(BITS + 1):
        ends = bit == BITS or bit in taken or rates[bit] == 0.0
        if begun is not None and (ends or _edge(rates, bit)):
            found_fields |= _run(begun, bit, few=len(data) < LEAST_FRAMES)
            begun = None
        if not ends and begun is None:
            begun = bit
    covered = {bit for one in found_fields for bit in _span(one)}
    found_fields |= {Field(bit, 1, "constant") for bit in range(BITS) if bit not in covered}
    return tuple(sorted(found_fields, key=lambda one: one.start_bit))


def _span(one: Field) -> range:
    return range(one.start_bit, one.start_bit + one.bits)


def _run(begun: int, end: int, *, few: bool) -> set[Field]:
    if few:
        return {Field(bit, 1, "state") for bit in range(begun, end)}
    return {Field(begun, end - begun, "state" if end - begun <= 2 else "number")}


def _edge(rates: F64, bit: int) -> bool:
    """Tell whether a field ends before this bit, whose rate is not zero."""
    before, now = float(rates[bit - 1]), float(rates[bit])
    if bit % 8 == 0:
        return now > before
    return bool(_magnitude(now) > _magnitude(before))


def _magnitude(rate: float) -> int:
    return int(np.ceil(np.log10(rate)))


def _counters(bits: U8, rates: F64) -> list[Field]:
    """Find fields that go up (or down) by a fixed step, round and round."""
    found: list[Field] = []
    bit = 0
    while bit < BITS:
        one = None
        if rates[bit] > 0.0:
            # The widest that counts: its lower bits alone would count as well.
            one = next(
                (
                    Field(bit, width, "counter")
                    for width in COUNTER_BITS
                    if bit % 8 + width <= 8 and _counts(bits[:, bit : bit + width])
                ),
                None,
            )
        if one is not None:
            found.append(one)
        bit += 1 if one is None else one.bits
    return found


def _counts(bits: U8) -> bool:
    width = bits.shape[1]
    top = 1 << width
    value = bits.astype(np.int64) @ (1 << np.arange(width, dtype=np.int64))
    steps = np.diff(value) % top
    moved = steps[steps != 0]
    if len(moved) < LEAST_WRAPS * top or len(moved) < MOVES_SHARE * len(steps):
        return False
    step = int(np.bincount(moved).argmax())
    if np.count_nonzero(moved == step) < STEADY_SHARE * len(moved) or step % 2 == 0:
        return False
    return bool(len(np.unique(value)) == top)


def _checksums(data: U8, rates: F64, counters: list[Field]) -> list[Field]:
    """Find bytes that only check the others."""
    wide = data.astype(np.int64)
    changes = (data[1:] != data[:-1]).sum(axis=0)
    patterns = len(np.unique(data, axis=0))
    moving = np.flatnonzero(changes)
    found: list[Field] = []
    if patterns >= 4 and len(moving) >= 3 and _checked(wide):
        # Every byte of such a sum could be the check; it changes with all others, and stands last.
        counting = [one.start_bit // 8 for one in counters]
        changes[counting] = 0
        often = np.flatnonzero(changes >= CHECKSUM_CHANGES * changes.max())
        found.append(Field(8 * int(often[-1]), 8, "checksum"))
    if len(data) < CHECKSUM_FRAMES:
        return found
    low, high = CHECKSUM_RATES
    for byte in range(8):
        own = rates[8 * byte : 8 * byte + 8]
        often = changes[byte] >= CHECKSUM_CHANGES * (len(data) - 1)
        if often and ((own >= low) & (own <= high)).all() and not _carries(wide, byte):
            found.append(Field(8 * byte, 8, "checksum"))
    return found


def _carries(wide: I64, byte: int) -> bool:
    """Tell whether a byte is the low one of a number: where a neighbour changes, both together
    change by little.
    """
    for high in (byte - 1, byte + 1):
        if not 0 <= high < 8:
            continue
        changed = np.flatnonzero(wide[1:, high] != wide[:-1, high])
        steps = np.abs(np.diff(wide[:, high] * 256 + wide[:, byte]))[changed]
        if len(changed) >= LEAST_FRAMES and float(np.median(steps)) < CARRY:
            return True
    return False


def _checked(wide: I64) -> bool:
    """Tell whether exclusive-or or sum of all bytes never changes."""
    folded = np.bitwise_xor.reduce(wide, axis=1)
    summed = wide.sum(axis=1) % 256
    return bool((folded == folded[0]).all() or (summed == summed[0]).all())
