"""A road vehicle with a tester on its plug: SAE J1979 and ISO 14229 on 11-bit identifiers."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np

from shearbolt.model.frames import F64, Frames
from shearbolt.model.instants import from_iso
from shearbolt.proving.columns import FRAME_500_US, Bus, instants
from shearbolt.proving.packing import Event
from shearbolt.proving.trace import STEP_S, Build, Day, Phase, Trace, simulate
from shearbolt.proving.transport import iso_tp

FUNCTIONAL = 0x7DF
ENGINE_ASKED, ENGINE_ANSWERS = 0x7E0, 0x7E8
GEARBOX_ASKED, GEARBOX_ANSWERS = 0x7E1, 0x7E9
CHANNEL = "can0"
_ANSWER_US = 12_000


@dataclass(frozen=True, slots=True)
class RoadCodes:
    """The trouble codes that the engine control unit of a road vehicle holds."""

    confirmed: tuple[str, ...]
    """P-codes that mode 03 lists."""
    pending: tuple[str, ...]
    """P-codes that mode 07 lists."""
    status: tuple[tuple[str, int, int], ...]
    """Code, failure type and status byte that service 19 02 lists."""


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


def code_bytes(code: str) -> bytes:
    """Pack a code such as P0299 or U0100 into two bytes (SAE J2012).

    Raises ValueError for anything else.
    """
    letter, digits = code[:1], code[1:]
    if letter not in "PCBU" or len(digits) != 4 or digits[0] not in "0123":
        raise ValueError(f"{code!r} is no trouble code")
    return ("PCBU".index(letter) << 14 | int(digits, 16)).to_bytes(2, "big")


def play_road(trip: RoadTrip, seed: int) -> tuple[Frames, Trace]:
    """Play a road vehicle's recording: its own groups, and the tester's questions and answers."""
    rng = np.random.default_rng(seed)
    trace = simulate(trip.build, trip.day, trip.phases, rng)
    bus = Bus(FRAME_500_US)
    seconds = float(sum(one.seconds for one in trip.phases))
    for ident, period_s, values in _OWN_GROUPS:
        times = instants(rng, 0.02, seconds, period_s, 0.01 * (ident % 7))
        step = (times / STEP_S).astype(np.int64).clip(max=len(trace.time_s) - 1)
        raw = np.rint(values(trace)[step]).astype(np.uint64) & np.uint64(0xFFFF)
        counter = np.arange(len(times), dtype=np.uint64) % np.uint64(16)
        # Most significant byte first, as most road vehicles do.
        swapped = (raw >> np.uint64(8)) | (raw & np.uint64(0xFF)) << np.uint64(8)
        word = swapped | counter << np.uint64(56) | np.uint64(0x00FF_0000_0000_0000)
        bus.add_words(CHANNEL, times, ident, word, extended=False)
    bus.add_events(_dialogue(trip, trace, seconds))
    frames, _ = bus.frames(from_iso(trip.started), seconds)
    return frames, trace


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


def _answer(at_us: int, ident: int, payload: bytes) -> list[Event]:
    return iso_tp(at_us + _ANSWER_US, ident, ident - 8, payload, channel=CHANNEL)


def _now(pid: int, trace: Trace, at_s: float) -> bytes:
    """Return the data bytes of one mode 01 value (SAE J1979)."""
    step = int(at_s / STEP_S)
    if pid == 0x0C:
        return round(float(trace.engine_rpm[step]) * 4.0).to_bytes(2, "big")
    if pid == 0x0D:
        return bytes((round(float(trace.speed_km_h[step])),))
    if pid == 0x05:
        return bytes((round(float(trace.coolant_c[step])) + 40,))
    if pid == 0x04:
        return bytes((round(float(trace.load_pct[step]) * 2.55),))
    if pid == 0x42:
        return round(float(trace.battery_v[step]) * 1000.0).to_bytes(2, "big")
    pressure = float(trace.boost_kpa[step] + trace.barometer_kpa[step])
    return bytes((min(255, round(pressure)),))


def _dialogue(trip: RoadTrip, trace: Trace, seconds: float) -> Iterator[Event]:
    """Ask for codes and identification once, then for values until the end."""
    confirmed = b"".join(code_bytes(one) for one in trip.codes.confirmed)
    pending = b"".join(code_bytes(one) for one in trip.codes.pending)
    listed = b"".join(
        code_bytes(code) + bytes((kind, status)) for code, kind, status in trip.codes.status
    )
    lamp = (0x80 if trip.codes.confirmed else 0) | len(trip.codes.confirmed)
    vin = trip.vin.encode("ascii")
    engine, gearbox = ENGINE_ANSWERS, GEARBOX_ANSWERS
    script: tuple[tuple[int, bytes, tuple[tuple[int, bytes], ...]], ...] = (
        (FUNCTIONAL, b"\x01\x00", ((engine, bytes.fromhex("4100983b8013")),)),
        (FUNCTIONAL, b"\x01\x01", ((engine, bytes((0x41, 1, lamp, 0x0E, 0xEB, 0x42))),)),
        (
            FUNCTIONAL,
            b"\x03",
            (
                (engine, bytes((0x43, len(trip.codes.confirmed))) + confirmed),
                (gearbox, b"\x43\x00"),
            ),
        ),
        (
            FUNCTIONAL,
            b"\x07",
            ((engine, bytes((0x47, len(trip.codes.pending))) + pending), (gearbox, b"\x47\x00")),
        ),
        (FUNCTIONAL, b"\x0a", ((engine, b"\x4a\x00"),)),
        (FUNCTIONAL, b"\x09\x02", ((engine, b"\x49\x02\x01" + vin),)),
        (ENGINE_ASKED, b"\x10\x03", ((engine, bytes.fromhex("5003003201f4")),)),
        (ENGINE_ASKED, b"\x19\x02\x0d", ((engine, b"\x59\x02\xff" + listed),)),
        (ENGINE_ASKED, b"\x22\xf1\x90", ((engine, b"\x62\xf1\x90" + vin),)),
        (GEARBOX_ASKED, b"\x22\xf1\x90", ((gearbox, b"\x7f\x22\x31"),)),
    )
    at_us = round(trip.tester_from_s * 1e6)
    for asked, question, answers in script:
        yield _ask(at_us, asked, question)
        for number, (ident, payload) in enumerate(answers):
            yield from _answer(at_us + number * 3_000, ident, payload)
        at_us += 400_000
    turn = 0
    while at_us < (seconds - 1.0) * 1e6:
        pid = (0x0C, 0x0D, 0x05, 0x04, 0x42, 0x0B)[turn % 6]
        yield _ask(at_us, FUNCTIONAL, bytes((1, pid)))
        yield from _answer(at_us, engine, bytes((0x41, pid)) + _now(pid, trace, at_us / 1e6))
        at_us += 250_000
        turn += 1
