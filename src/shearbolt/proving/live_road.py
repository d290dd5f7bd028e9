"""A live road vehicle: its own broadcasts, and answers to a tester over ISO 15765-2.

The same way of use as `LiveMachine`: `due` gives what is to be sent up to an instant, `hear` takes
what others sent; no input, output or clock.
"""

from __future__ import annotations

import heapq
import itertools
from dataclasses import dataclass, field

import numpy as np

from shearbolt.model.frames import Frames
from shearbolt.proving.columns import FRAME_500_US, Bus
from shearbolt.proving.obd import (
    ANSWER_US,
    CHANNEL,
    FUNCTIONAL,
    RoadTrip,
    own_groups,
    units_of,
)
from shearbolt.proving.packing import Event
from shearbolt.proving.road_services import RoadUnit
from shearbolt.proving.trace import simulate

_WAITS_US = 1_000_000
"""It waits no longer for a flow control (N_Bs, ISO 15765-2)."""
_FILL = 0xAA
_LONG = 8
_PLAIN_MS = 127
"""Separation times of up to so many are milliseconds; F1 to F9 are steps of 100 µs."""


@dataclass(slots=True)
class RoadTransfer:
    """One answer of more than seven bytes on its way; instants are given, never taken."""

    ident: int
    payload: bytes
    deadline_us: int = 0
    _at: int = 6
    _number: int = 1

    def begin(self, at_us: int) -> Event:
        """Send the first frame; the rest waits for the tester's flow control."""
        self.deadline_us = at_us + _WAITS_US
        head = (0x1000 | len(self.payload)).to_bytes(2, "big") + self.payload[:6]
        return Event(at_us, self.ident, head, extended=False, channel=CHANNEL)

    @property
    def over(self) -> bool:
        """Tell whether all of it is sent."""
        return self._at >= len(self.payload)

    def flow(self, at_us: int, data: bytes) -> list[Event]:
        """Take a flow control: continue, wait or give up; return the frames that it lets go."""
        state, block, pause = data[0] & 0xF, data[1], data[2]
        if state == 1:
            self.deadline_us = at_us + _WAITS_US
            return []
        if state != 0:
            self._at = len(self.payload)
            return []
        gap_us = pause * 1000 if pause <= _PLAIN_MS else max(0, pause - 0xF0) * 100
        events: list[Event] = []
        while not self.over and (block == 0 or len(events) < block):
            part = self.payload[self._at : self._at + 7]
            frame = (bytes((0x20 | self._number & 0xF,)) + part).ljust(8, bytes((_FILL,)))
            at_us += max(gap_us, 500)
            events.append(Event(at_us, self.ident, frame, extended=False, channel=CHANNEL))
            self._at += 7
            self._number += 1
        self.deadline_us = at_us + _WAITS_US
        return events


@dataclass(slots=True)
class LiveRoad:
    """One trip of a road vehicle, played as it comes."""

    trip: RoadTrip
    seed: int
    units: dict[int, RoadUnit] = field(init=False)
    """By the identifier that asks each of them."""
    heard: int = 0
    _traffic: Frames = field(init=False)
    _next: int = 0
    _queue: list[tuple[int, int, Event]] = field(default_factory=list)
    _order: itertools.count[int] = field(default_factory=itertools.count)
    _transfers: dict[int, RoadTransfer] = field(default_factory=dict)
    """By the identifier that asks."""

    def __post_init__(self) -> None:
        rng = np.random.default_rng(self.seed)
        trace = simulate(self.trip.build, self.trip.day, self.trip.phases, rng)
        self.units = units_of(self.trip, trace)
        bus = Bus(FRAME_500_US)
        for times, ident, words in own_groups(trace, rng, self.seconds):
            bus.add_words(CHANNEL, times, ident, words, extended=False)
        self._traffic, _ = bus.frames(0, self.seconds)

    @property
    def seconds(self) -> float:
        """How long the trip lasts."""
        return float(sum(one.seconds for one in self.trip.phases))

    @property
    def channels(self) -> tuple[str, ...]:
        """The one bus on its plug."""
        return (CHANNEL,)

    def next_s(self) -> float:
        """Return when the next frame comes due; the end at last."""
        times = [self.seconds]
        if self._next < len(self._traffic):
            times.append(int(self._traffic.time_us[self._next]) / 1e6)
        if self._queue:
            times.append(self._queue[0][0] / 1e6)
        return min(times)

    def due(self, now_s: float) -> list[Event]:
        """Return what is sent up to an instant, in the order of time."""
        now_us, frames = int(now_s * 1e6), self._traffic
        end = max(self._next, int(np.searchsorted(frames.time_us, now_us, side="right")))
        out = [
            Event(
                int(frames.time_us[row]),
                int(frames.ident[row]),
                int(frames.word[row]).to_bytes(8, "little"),
                extended=False,
                channel=CHANNEL,
            )
            for row in range(self._next, end)
        ]
        self._next = end
        while self._queue and self._queue[0][0] <= now_us:
            out.append(heapq.heappop(self._queue)[2])
        for ident, one in list(self._transfers.items()):
            if one.over or now_us > one.deadline_us:
                del self._transfers[ident]
        return sorted(out, key=lambda one: one.time_us)

    def hear(self, at_s: float, event: Event) -> None:
        """Take a frame of a tester: a request of one frame, or flow control."""
        asked = [one for one in self.units if event.ident in (FUNCTIONAL, one)]
        if event.extended or not asked or len(event.data) < 2:
            return
        self.heard += 1
        kind, at_us = event.data[0] >> 4, round(at_s * 1e6)
        if kind == 3 and event.ident in self._transfers and len(event.data) >= 3:
            self._put(self._transfers[event.ident].flow(at_us, event.data))
        elif kind == 0 and 1 <= event.data[0] < len(event.data):
            request = event.data[1 : 1 + event.data[0]]
            for turn, one in enumerate(asked):
                said = self.units[one].answer(request, at_s, event.ident == FUNCTIONAL)
                if said is not None:
                    self._say(one, said, at_us + ANSWER_US + turn * 3_000)

    def _say(self, asked: int, payload: bytes, at_us: int) -> None:
        ident = asked + 8
        if len(payload) < _LONG:
            data = (bytes((len(payload),)) + payload).ljust(8, bytes((_FILL,)))
            self._put([Event(at_us, ident, data, extended=False, channel=CHANNEL)])
        else:
            self._transfers[asked] = RoadTransfer(ident, payload)
            self._put([self._transfers[asked].begin(at_us)])

    def _put(self, events: list[Event]) -> None:
        for one in events:
            heapq.heappush(self._queue, (one.time_us, next(self._order), one))
