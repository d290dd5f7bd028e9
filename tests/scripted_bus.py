"""Buses that do what a test says: frames, errors, an adapter pulled off, a thread that dies.

Whoever sends on one of them fails the test.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterable, Iterator
from typing import Any

import can

from shearbolt.live import Adapter, AdapterAsked, Manners, ReceiveOnly

Step = can.Message | BaseException | None
"""A frame, something raised, or nothing for as long as one look lasts."""


class ScriptedBus(can.BusABC):
    """Gives its steps one by one, then nothing; `sent` shows what somebody tried to send."""

    def __init__(self, steps: Iterable[Step] = (), pace_s: float = 0.0, **options: Any) -> None:
        self.options = options
        self.sent: list[can.Message] = []
        self.closed = False
        self.used_up = threading.Event()
        self._steps: Iterator[Step] = iter(steps)
        self._pace_s = pace_s
        self._woken = threading.Event()
        super().__init__(channel="scripted")

    def _recv_internal(self, timeout: float | None) -> tuple[can.Message | None, bool]:
        step = next(self._steps, ...)
        if step is ...:
            self.used_up.set()
            self._woken.wait(timeout)
            return None, True
        if isinstance(step, BaseException):
            raise step
        if step is None or self._pace_s:
            self._woken.wait(self._pace_s or timeout)
        return step, True

    def send(self, msg: can.Message, timeout: float | None = None) -> None:
        self.sent.append(msg)
        raise AssertionError("something sent on a bus that is only listened to")

    def shutdown(self) -> None:
        super().shutdown()
        self.closed = True
        self._woken.set()


def frame(
    number: int = 0, *, stamp_s: float = 0.0, ident: int = 0x0CF00400, error: bool = False
) -> can.Message:
    """Make a frame whose data are a number; without a stamp it is timed by its arrival."""
    return can.Message(
        timestamp=stamp_s,
        arbitration_id=ident,
        is_error_frame=error,
        data=number.to_bytes(8, "little"),
    )


def adapter(
    name: str = "can0",
    interface: str = "scripted",
    *,
    bitrate: int | None = 250_000,
    takes_bitrate: bool = False,
) -> Adapter:
    """Make an adapter that listens only; its own way to open it is never used."""
    return Adapter(AdapterAsked(interface, name, bitrate), name, Manners(takes_bitrate, ()), "on")


def opener(*buses: ScriptedBus | Exception) -> Callable[[int | None], ReceiveOnly]:
    """Give one bus after another, each time the adapter is opened; an exception is raised."""
    left = list(buses)

    def open_bus(bitrate: int | None) -> ReceiveOnly:
        one = left.pop(0) if len(left) > 1 else left[0]
        if isinstance(one, Exception):
            raise one
        one.options["bitrate"] = bitrate
        return ReceiveOnly(one)

    return open_bus


def until(condition: Callable[[], bool], wait_s: float = 20.0) -> None:
    """Wait until something is so; fails the test when it does not come to be."""
    end = time.monotonic() + wait_s
    while not condition():
        assert time.monotonic() < end, "it did not come to be"
        time.sleep(0.005)
