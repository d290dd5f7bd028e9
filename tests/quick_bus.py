"""A virtual bus on which time runs quickly: what a person does is set, and the machine tells it.

Nothing here waits for a length of time to pass where a condition will do; the player alone sends at
a pace, as a machine does.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from types import TracebackType

import can
from tests.bus_traffic import EEC1, Bus, name_of

from shearbolt.live import Clocks
from shearbolt.model.frames import plain_frames

SPEED = 12
"""Seconds of the session in one second."""
STEP_S = 0.01
COOLANT = 65262
CAB = 65531
START_US = 1_782_000_000_000_000


def quick_clocks() -> Clocks:
    """Make clocks that run SPEED times as fast, as one."""
    zero = time.monotonic_ns()

    def steady_us() -> int:
        return (time.monotonic_ns() - zero) * SPEED // 1000

    return Clocks(lambda: START_US + steady_us(), steady_us)


class Player:
    """A machine on a virtual channel: a context that sends until it is left."""

    def __init__(self, channel: str) -> None:
        self.rpm = 0.0
        self.coolant_c = 12.0
        self.seat = 0
        self.act: Callable[[float], None] = lambda seconds: None
        """Called before each step with the session's seconds since it began."""
        self.heard_others = 0
        self._channel = channel
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._play, name="quick machine", daemon=True)

    def __enter__(self) -> Player:
        self._thread.start()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        trouble: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._stop.set()
        self._thread.join()

    def _play(self) -> None:
        count = 0
        begun = time.monotonic()
        with can.Bus(self._channel, interface="virtual") as bus:
            while not self._stop.wait(STEP_S):
                self.act((time.monotonic() - begun) * SPEED)
                said = Bus()
                if count % 100 == 0:
                    said.claim(0.0, 0, name_of(1234))
                    said.claim(0.0, 71, name_of(77, function=52))
                raw = round(self.rpm / 0.125).to_bytes(2, "little")
                said.say(0.0, EEC1, 0, b"\xff\xff\xff" + raw + b"\xff\xff\xff", priority=3)
                said.say(0.0, COOLANT, 0, bytes((round(self.coolant_c) + 40,)) + b"\xff" * 7)
                said.say(0.0, CAB, 71, bytes((count % 16, 0, 0, self.seat << 2, 0, 0, 0, 9)))
                for row in plain_frames(said.frames):
                    bus.send(can.Message(arbitration_id=row.ident, data=row.data, timestamp=0.0))
                while bus.recv(0.0) is not None:
                    self.heard_others += 1
                count += 1
