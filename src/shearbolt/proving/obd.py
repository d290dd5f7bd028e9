"""A road vehicle with a tester on its plug: SAE J1979 and ISO 14229 on 11-bit identifiers."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np

from shearbolt.model.frames import F64, U64, Frames
from shearbolt.model.instants import from_iso
from shearbolt.proving.columns import FRAME_500_US, Bus, instants
from shearbolt.proving.packing import Event
from shearbolt.proving.road_services import RoadCodes, RoadUnit, code_bytes
from shearbolt.proving.trace import STEP_S, Build, Day, Phase, Trace, simulate
from shearbolt.proving.transport import iso_tp

FUNCTIONAL = 0x7DF
ENGINE_ASKED, ENGINE_ANSWERS = 0x7E0, 0x7E8
GEARBOX_ASKED, GEARBOX_ANSWERS = 0x7E1, 0x7E9
CHANNEL = "can0"
ANSWER_US = 12_000
"""How long a unit takes to answer."""


@dataclass(frozen=True, slots=True)
class RoadTrip:
    """A recording of a road vehicle with a tester."""

    started: str
    """ISO 8601 UTC."""
    build: Build
    day: Day
    phases: tuple[Phase, ...]
    vin: str
    codes: RoadCodes
    tester_from_s: float
    """When the tester begins to ask."""


def play_road(trip: RoadTrip, seed: int) -> tuple[Frames, Trace]:
    """Play a road vehicle's recording: its own groups, and the tester's questions and answers."""
    rng = np.random.default_rng(seed)
    trace = simulate(trip.build, trip.day, trip.phases, rng)
    bus = Bus(FRAME_500_US)
    seconds = float(sum(one.seconds for one in trip.phases))
    for times, ident, words in own_groups(trace, rng, seconds):
        bus.add_words(CHANNEL, times, ident, words, extended=False)
    bus.add_events(_dialogue(units_of(trip, trace), trip, seconds))
    frames, _ = bus.frames(from_iso(trip.started), seconds)
    return frames, trace


def units_of(trip: RoadTrip, trace: Trace) -> dict[int, RoadUnit]:
    """Return the vehicle's control units by the identifier that asks each of them."""
    gearbox = RoadUnit(trace, trip.vin, RoadCodes((), (), ()), gearbox=True)
    return {ENGINE_ASKED: RoadUnit(trace, trip.vin, trip.codes), GEARBOX_ASKED: gearbox}


def own_groups(
    trace: Trace, rng: np.random.Generator, seconds: float
) -> Iterator[tuple[F64, int, U64]]:
    """Return the vehicle's own broadcasts: instants (s), identifier, words."""
    for ident, period_s, values in _OWN_GROUPS:
        times = instants(rng, 0.02, seconds, period_s, 0.01 * (ident % 7))
        step = (times / STEP_S).astype(np.int64).clip(max=len(trace.time_s) - 1)
        raw = np.rint(values(trace)[step]).astype(np.uint64) & np.uint64(0xFFFF)
        counter = np.arange(len(times), dtype=np.uint64) % np.uint64(16)
        # Most significant byte first, as most road vehicles do.
        swapped = (raw >> np.uint64(8)) | (raw & np.uint64(0xFF)) << np.uint64(8)
        yield times, ident, swapped | counter << np.uint64(56) | np.uint64(0x00FF_0000_0000_0000)


_OWN_GROUPS: tuple[tuple[int, float, Callable[[Trace], F64]], ...] = (
    (0x0C4, 0.02, lambda t: t.engine_rpm * 4.0),
    (0x0D2, 0.02, lambda t: t.speed_km_h * 100.0),
    (0x1A8, 0.05, lambda t: t.load_pct * 100.0),
    (0x2F0, 0.1, lambda t: t.coolant_c * 10.0 + 400.0),
    (0x3B6, 0.5, lambda t: t.battery_v * 100.0),
)


def _ask(at_us: int, ident: int, payload: bytes) -> Event:
    """Make the tester's request, one frame, padded to 8 bytes with zeros."""
    data = (bytes((len(payload),)) + payload).ljust(8, b"\0")
    return Event(at_us, ident, data, extended=False, channel=CHANNEL)


_ONCE = (
    (FUNCTIONAL, b"\x01\x00"),
    (FUNCTIONAL, b"\x01\x01"),
    (FUNCTIONAL, b"\x03"),
    (FUNCTIONAL, b"\x07"),
    (FUNCTIONAL, b"\x0a"),
    (FUNCTIONAL, b"\x02\x02\x00"),
    (FUNCTIONAL, b"\x09\x02"),
    (FUNCTIONAL, b"\x09\x04"),
    (ENGINE_ASKED, b"\x10\x03"),
    (ENGINE_ASKED, b"\x19\x02\x0d"),
    (ENGINE_ASKED, b"\x22\xf1\x90"),
    (GEARBOX_ASKED, b"\x22\xf1\x90"),
)
"""What the tester asks once, in order."""
_OVER_AND_OVER = (0x0C, 0x0D, 0x05, 0x04, 0x42, 0x0B)


def _dialogue(units: dict[int, RoadUnit], trip: RoadTrip, seconds: float) -> Iterator[Event]:
    """Ask for codes and identification once, then for values until the end."""
    at_us = round(trip.tester_from_s * 1e6)
    for asked, question in _ONCE:
        yield _ask(at_us, asked, question)
        yield from _answers(units, asked, question, at_us)
        at_us += 400_000
    turn = 0
    while at_us < (seconds - 1.0) * 1e6:
        question = bytes((1, _OVER_AND_OVER[turn % len(_OVER_AND_OVER)]))
        yield _ask(at_us, FUNCTIONAL, question)
        yield from _answers(units, FUNCTIONAL, question, at_us)
        at_us += 250_000
        turn += 1


def _answers(
    units: dict[int, RoadUnit], asked: int, question: bytes, at_us: int
) -> Iterator[Event]:
    """Return the answers of all units that are asked, one after the other."""
    turn = 0
    for ident, unit in units.items():
        if asked not in (FUNCTIONAL, ident):
            continue
        payload = unit.answer(question, at_us / 1e6, asked == FUNCTIONAL)
        if payload is not None:
            begin_us = at_us + ANSWER_US + turn * 3_000
            yield from iso_tp(begin_us, ident + 8, ident, payload, channel=CHANNEL)
            turn += 1


__all__ = ["RoadCodes", "RoadTrip", "code_bytes", "own_groups", "play_road", "units_of"]
