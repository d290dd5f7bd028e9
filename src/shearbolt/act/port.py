"""The port: the bus library, wrapped so thinly that there is nothing to get wrong.

Whatever is sent goes through the gate here, and nowhere else is anything sent. The adapter is
opened at the rate that a person gave or that listening found before: this module never tries one.
"""

from __future__ import annotations

import contextlib
import logging
from collections.abc import Callable, Iterator, Mapping
from typing import TYPE_CHECKING, Any

from shearbolt.act.gate import Gate
from shearbolt.errors import PortTrouble
from shearbolt.model.frames import BITRATE_SWITCH, ERROR, EXTENDED, FD, REMOTE, PlainFrame

if TYPE_CHECKING:
    from can import BusABC, Message


ECHO_US = 100_000
"""An adapter that gives back what it sends does so within this time (own choice)."""


class Port:
    """One adapter that may send what the gate lets through."""

    def __init__(self, bus: BusABC, gate: Gate, channel: str, clock_us: Callable[[], int]) -> None:
        """Take an open bus; `clock_us` is the steady clock that the gate goes by."""
        self._bus = bus
        self._gate = gate
        self._clock_us = clock_us
        self.channel = channel
        self._echoes: dict[tuple[int, bytes], int] = {}
        """When each frame that may still come back to us was sent."""

    @classmethod
    def open(
        cls,
        interface: str,
        channel: str,
        gate: Gate,
        clock_us: Callable[[], int],
        *,
        bitrate: int | None = None,
        options: Mapping[str, str | int | float | bool] | None = None,
    ) -> Port:
        """Open an adapter by the bus library's own words. Raises PortTrouble."""
        import can

        told: dict[str, Any] = dict(options or {})
        if bitrate is not None:
            told["bitrate"] = bitrate
        where: str | int = int(channel) if channel.isdecimal() else channel
        with _told(f"The adapter '{interface} {channel}' cannot be opened"), _silent():
            bus = can.Bus(
                channel=where,
                interface=interface,
                ignore_config=True,
                receive_own_messages=False,
                **told,
            )
        return cls(bus, gate, channel.rsplit("/", 1)[-1] or "can", clock_us)

    def receive(self, wait_s: float) -> PlainFrame | None:
        """Wait at most so long for one frame of somebody else; None: none came.

        Raises PortTrouble when the adapter is gone.
        """
        with _told(f"The adapter '{self.channel}' failed"), _silent():
            message = self._bus.recv(wait_s)
        if message is None:
            return None
        frame = frame_of(message, self._clock_us(), self.channel)
        # An adapter that hears itself must not be taken for another tester.
        sent_us = self._echoes.pop((frame.ident, frame.data), None)
        if not message.is_rx or (sent_us is not None and frame.time_us - sent_us <= ECHO_US):
            return None
        return frame

    def send(self, frame: PlainFrame) -> PlainFrame:
        """Send one frame if the gate lets it through; give it as it was sent.

        Raises NotAllowed, PortTrouble.
        """
        from can import Message

        now_us = self._clock_us()
        self._gate.let_through(now_us, frame)
        message = Message(
            arbitration_id=frame.ident,
            is_extended_id=bool(frame.flags & EXTENDED),
            data=frame.data,
        )
        self._echoes[frame.ident, frame.data] = now_us
        with _told(f"The adapter '{self.channel}' did not send"), _silent():
            self._bus.send(message, timeout=0.5)
        return PlainFrame(now_us, frame.ident, frame.data, frame.flags, self.channel)

    def close(self) -> None:
        """Let go of the adapter, whatever state it is in; nothing is sent any more."""
        self._gate.close("the adapter was let go of")
        with _silent(), contextlib.suppress(Exception):
            self._bus.shutdown()


def frame_of(message: Message, now_us: int, channel: str) -> PlainFrame:
    """Turn a frame of the bus library into ours, heard now."""
    flags = (
        (EXTENDED if message.is_extended_id else 0)
        | (REMOTE if message.is_remote_frame else 0)
        | (ERROR if message.is_error_frame else 0)
        | (FD if message.is_fd else 0)
        | (BITRATE_SWITCH if message.bitrate_switch else 0)
    )
    data = b"" if flags & (REMOTE | ERROR) else bytes(message.data)
    return PlainFrame(now_us, message.arbitration_id, data, flags, channel, message.dlc)


@contextlib.contextmanager
def _told(what: str) -> Iterator[None]:
    """Turn whatever the library or a driver raises into one sentence."""
    try:
        yield
    except PortTrouble:
        raise
    except Exception as trouble:
        words = " ".join(str(trouble).split()).rstrip(".") or type(trouble).__name__
        raise PortTrouble(
            f"{what} ({words[:160]}); check that it is plugged in and that no other program "
            "holds it."
        ) from trouble


@contextlib.contextmanager
def _silent() -> Iterator[None]:
    """Keep the library's own log off the person's screen."""
    log = logging.getLogger("can")
    before = log.level
    log.setLevel(logging.CRITICAL + 1)
    try:
        yield
    finally:
        log.setLevel(before)
