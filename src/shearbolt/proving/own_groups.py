"""Makers' own groups: counters, moving values, and states whose meaning only the maker tells.

Each group has a layout of its own, fixed by its sender's NAME and its number, as real ones have:
some bits follow the seat, the park lever, the hitch, the steering or the boom, and can be learnt
by who moves them on purpose; others are counters, constants and a checksum. `layout_of_own` is the
answer sheet for tests of learning.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache

import numpy as np

from shearbolt.model.controller import Name
from shearbolt.model.frames import F64, I64, U64
from shearbolt.proving.controllers import Controller, Proprietary
from shearbolt.proving.plight import word_seed
from shearbolt.proving.quantities import BOOM, SEAT, STEERING
from shearbolt.proving.sensing import sensed
from shearbolt.proving.trace import Trace


@dataclass(frozen=True, slots=True)
class OwnSignal:
    """One signal in a maker's own group."""

    quantity: str
    """What it follows: 'seat', 'park', 'pto', 'hitch', 'steering', 'boom', 'clutch', 'brake',
    'direction', 'speed', 'load', 'pickup', 'fill', 'slip', 'counter', 'constant'."""
    first_bit: int
    """From 0 over the whole group."""
    bits: int
    resolution: float = 1.0
    offset: float = 0.0
    """Value = raw x resolution + offset."""


_SWITCHES = frozenset({"seat", "park", "pto", "clutch", "brake", "pickup", "forward"})
_SCALES: Mapping[str, tuple[int, float, float]] = {
    "hitch": (8, 0.4, 0.0),
    "steering": (16, 0.01, -320.0),
    "boom": (8, 0.5, 0.0),
    "rpm": (16, 0.5, 0.0),
    "load": (8, 0.5, 0.0),
    "slip": (8, 0.25, 0.0),
    "fill": (8, 0.5, 0.0),
}
"""Bits, resolution and offset of what is no switch."""
_CARRIES: Mapping[str, tuple[tuple[str, ...], ...]] = {
    "engine": (("rpm", "load"), ("load", "pto")),
    "transmission": (("clutch", "forward", "slip", "rpm"), ("park", "forward")),
    "levers": (("seat", "park", "forward", "steering"),),
    "cab": (("seat", "pto", "brake", "hitch", "steering"), ("park", "seat")),
    "machine": (("seat", "pto", "steering", "load"), ("park", "fill")),
    "hydraulics": (("seat", "boom", "steering"), ("boom",)),
    "treatment": (("load", "rpm"),),
    "wagon": (("pickup", "fill"), ("pickup", "pto")),
}
"""What the first, second, ... own group of each controller carries."""
_OTHERS = (("rpm", "load"),)


def _quantity(trace: Trace, quantity: str, controller: str) -> F64:
    """Return the values that a signal follows, one a step of the trace."""
    if quantity == "seat":
        return sensed(trace, SEAT, controller)
    if quantity == "steering":
        return sensed(trace, STEERING, controller)
    if quantity == "boom":
        return sensed(trace, BOOM, controller)
    if quantity == "hitch":
        return sensed(trace, 1873, controller)
    known: dict[str, F64] = {
        "park": trace.park.astype(np.float64),
        "pto": trace.pto.astype(np.float64),
        "clutch": trace.clutch.astype(np.float64),
        "brake": trace.brake.astype(np.float64),
        "pickup": trace.pickup_down.astype(np.float64),
        "forward": (trace.direction > 0.0).astype(np.float64),
        "rpm": trace.engine_rpm,
        "load": trace.load_pct,
        "slip": trace.slip_pct,
        "fill": trace.fill_pct,
    }
    return known[quantity]


def layout_of_own(controller: Controller, one: Proprietary) -> tuple[OwnSignal, ...]:
    """Return where each signal lies in a maker's own group."""
    number = controller.proprietary.index(one)
    carries = _CARRIES.get(controller.key, _OTHERS)
    return _placed(controller.name, one.pgn, carries[min(number, len(carries) - 1)])


@cache
def _placed(name: Name, pgn: int, carried: tuple[str, ...]) -> tuple[OwnSignal, ...]:
    """Place signals in bytes drawn by the maker's code, the function and the group's number."""
    rng = np.random.default_rng(word_seed(name.manufacturer_code, name.function, pgn))
    spots = list(rng.permutation(8))
    rows = [OwnSignal("counter", 8 * int(spots.pop()) + 4 * int(rng.integers(2)), 4)]
    wide = [one for one in carried if one not in _SWITCHES]
    for one in sorted(wide, key=lambda name: -_SCALES[name][0]):
        bits, resolution, offset = _SCALES[one]
        place = int(spots.pop())
        if bits == 16:
            pair = next((spot for spot in spots if spot == place + 1), None)
            if pair is None:
                pairs = [(a, a + 1) for a in sorted((*spots, place)) if a + 1 in (*spots, place)]
                spots.append(place)
                place, pair = pairs[0]
                spots.remove(place)
            spots.remove(pair)
        rows.append(OwnSignal(one, 8 * int(place), bits, resolution, offset))
    states = int(spots.pop())
    order = rng.permutation(4)
    for number, one in enumerate(name for name in carried if name in _SWITCHES):
        rows.append(OwnSignal(one, 8 * states + 2 * int(order[number]), 2))
    for spot in spots:
        rows.append(OwnSignal("constant", 8 * int(spot), 8, 1.0, float(rng.integers(0, 256))))
    return tuple(rows)


def own_words(trace: Trace, controller: Controller, one: Proprietary, step: I64, since: I64) -> U64:
    """Pack a maker's own group at the given steps; `since` counts the frames since boot."""
    word = np.zeros(len(step), np.uint64)
    rows = layout_of_own(controller, one)
    filled = 0
    for row in rows:
        if row.quantity == "counter":
            raw = since.astype(np.uint64) % np.uint64(16)
        elif row.quantity == "constant":
            raw = np.full(len(step), int(row.offset), np.uint64)
        else:
            values = _quantity(trace, row.quantity, controller.key)[step]
            top = (1 << row.bits) - 1
            counts = np.rint((values - row.offset) / row.resolution)
            raw = np.clip(counts, 0, top).astype(np.uint64)
        word |= raw << np.uint64(row.first_bit)
        filled |= ((1 << row.bits) - 1) << row.first_bit
    rest = ~np.uint64(filled) & np.uint64(0xFFFF_FFFF_FFFF_FFFF)
    return np.asarray(word | rest, np.uint64)
