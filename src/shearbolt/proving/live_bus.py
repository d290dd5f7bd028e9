"""A live machine on a real or simulated bus: the one file of the proving ground with a bus library.

`LiveBus` plays a `LiveMachine` (or a `LiveRoad`) on python-can buses, in real time or faster, by
the clock it is given; a thread per bus listens, one thread speaks. Stopping ends all of them and
says what went wrong, if anything did. It opens in-process and UDP multicast buses by itself, never
an adapter: a simulated machine has no business on a real one.
"""

from __future__ import annotations

import queue
import threading
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass, field
from functools import partial
from types import TracebackType
from typing import Literal, Protocol, TypeAlias

import can

from shearbolt.proving.live_machine import ERROR_FRAME
from shearbolt.proving.packing import Event

Clock: TypeAlias = Callable[[], float]
"""Gives a steady time in seconds, from any zero."""
_LISTEN_S = 0.05
"""A listener looks so often whether it is to stop."""
_JOIN_S = 5.0
_WAIT_S = 0.25
"""The speaker waits no longer for a frame than this, so that a clock that leaps is noticed."""


class Player(Protocol):
    """What lives on the bus: `LiveMachine` or `LiveRoad`."""

    @property
    def seconds(self) -> float:
        """How long it lasts."""

    def next_s(self) -> float:
        """Return when something comes due next."""

    def due(self, now_s: float) -> list[Event]:
        """Return what is sent up to an instant."""

    def hear(self, at_s: float, event: Event) -> None:
        """Take a frame of someone else."""


def open_buses(
    interface: Literal["virtual", "udp_multicast"], channels: Mapping[str, str]
) -> dict[str, can.BusABC]:
    """Open a bus for each of a machine's channels, by the names the interface gives them.

    Raises ValueError for another interface, and the bus library's own errors when one cannot be
    opened; those that were opened before are shut down then.
    """
    if interface not in ("virtual", "udp_multicast"):
        raise ValueError(f"a simulated machine does not speak on {interface!r}")
    opened: dict[str, can.BusABC] = {}
    try:
        for channel, name in channels.items():
            opened[channel] = can.Bus(name, interface=interface)
    except BaseException:
        for bus in opened.values():
            bus.shutdown()
        raise
    return opened


@dataclass(slots=True)
class LiveBus:
    """A machine that plays on buses until its outing is over or it is stopped."""

    machine: Player
    buses: Mapping[str, can.BusABC]
    """By the machine's channels; a channel without a bus is not played."""
    clock: Clock
    pace: float = 1.0
    """Seconds of the machine in one second of the clock."""
    from_s: float = 0.0
    """Where in the outing it begins."""
    sent: int = 0
    error: BaseException | None = None
    """What ended a thread, if something did."""
    _stop: threading.Event = field(default_factory=threading.Event)
    _over: threading.Event = field(default_factory=threading.Event)
    _heard: queue.SimpleQueue[Event | None] = field(default_factory=queue.SimpleQueue)
    _threads: list[threading.Thread] = field(default_factory=list)
    _zero: float = 0.0

    def start(self) -> None:
        """Begin to play; raises RuntimeError when it has begun before."""
        if self._threads:
            raise RuntimeError("this machine plays already")
        self._zero = self.clock()
        if self.from_s > 0.0:
            self.machine.due(self.from_s)
        for channel, bus in self.buses.items():
            self._run(f"hears {channel}", partial(self._listen, channel, bus))
        self._run("speaks", self._speak)

    def _run(self, name: str, work: Callable[[], None]) -> None:
        def guarded() -> None:
            try:
                work()
            except BaseException as trouble:  # what ends a thread must be seen by who stops it
                self.error = self.error or trouble
                self._stop.set()
                self._heard.put(None)
                self._over.set()

        thread = threading.Thread(target=guarded, name=f"machine {name}", daemon=True)
        self._threads.append(thread)
        thread.start()

    def now_s(self) -> float:
        """Return the machine's own time: seconds from the outing's zero."""
        return self.from_s + (self.clock() - self._zero) * self.pace

    def wait(self, timeout_s: float) -> bool:
        """Wait until the outing is over; tell whether it is."""
        return self._over.wait(timeout_s)

    def stop(self) -> None:
        """Stop playing and listening; the buses stay open, they are the caller's.

        Raises what ended a thread before, and RuntimeError when one does not end.
        """
        self._stop.set()
        self._heard.put(None)
        for thread in self._threads:
            thread.join(_JOIN_S)
        left = [thread.name for thread in self._threads if thread.is_alive()]
        if self.error is not None:
            raise self.error
        if left:
            raise RuntimeError(f"still running: {', '.join(left)}")

    def __enter__(self) -> LiveBus:
        self.start()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        trouble: BaseException | None,
        where: TracebackType | None,
    ) -> None:
        if trouble is None:
            self.stop()
            return
        with suppress(Exception):
            self.stop()

    def _listen(self, channel: str, bus: can.BusABC) -> None:
        while not self._stop.is_set():
            message = bus.recv(_LISTEN_S)
            if message is None or message.is_error_frame or message.is_remote_frame:
                continue
            self._heard.put(
                Event(
                    0,
                    message.arbitration_id,
                    bytes(message.data),
                    extended=message.is_extended_id,
                    channel=channel,
                )
            )

    def _speak(self) -> None:
        while not self._stop.is_set():
            now = self.now_s()
            for event in self.machine.due(now):
                self._send(event)
            if now >= self.machine.seconds:
                self._over.set()
                return
            wait_s = (self.machine.next_s() - self.now_s()) / self.pace
            with suppress(queue.Empty):
                heard = self._heard.get(timeout=min(_WAIT_S, max(0.0, wait_s)))
                while heard is not None:
                    self.machine.hear(self.now_s(), heard)
                    heard = self._heard.get_nowait()

    def _send(self, event: Event) -> None:
        bus = self.buses.get(event.channel)
        if bus is None:
            return
        error = event.tag == ERROR_FRAME
        bus.send(
            can.Message(
                arbitration_id=event.ident,
                data=event.data,
                is_extended_id=event.extended and not error,
                is_error_frame=error,
            )
        )
        self.sent += 1
