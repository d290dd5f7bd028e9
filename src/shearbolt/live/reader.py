"""One thread an adapter: takes frames as fast as they come, and nothing else.

It opens the adapter anew when it is gone, finds the bit rate where that has to be found, and
leaves what it heard in `rows` for the session, which alone writes and decodes.
"""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Callable
from typing import TYPE_CHECKING, Literal, NamedTuple, Protocol

from shearbolt.errors import AdapterAbsent
from shearbolt.live.adapters import Adapter, ReceiveOnly
from shearbolt.live.clocks import Clocks
from shearbolt.live.events import What
from shearbolt.live.rates import RateFinder
from shearbolt.model.instants import SECOND_US

if TYPE_CHECKING:
    from can import Message

WAIT_S = 0.1
"""How long one look for a frame waits."""
HELD_UP_US = 300_000
"""A look that took longer than this means that the thread was held up."""
DRAIN_US = 500_000
"""How long at most is read on, at the end, what waits in the driver."""
AGAIN_S = 0.5
"""Time between attempts to open an adapter that is gone."""
MOST_ROWS = 400_000
"""Frames that may wait for the session, about a minute of a full bus; beyond it they are lost."""

State = Literal["opening", "finding_rate", "open", "gone"]


class Row(NamedTuple):
    """One frame as the reader got it (a tuple: thousands are made each second)."""

    heard_us: int
    """Steady time at which the reader got it."""
    held_up_us: int
    """How long the reader had been held up since it last found nothing waiting."""
    message: Message


class Tell(Protocol):
    """Takes what happened."""

    def __call__(self, what: What, channel: str, at_us: int, **figures: str | int | None) -> None:
        """Take an event at a steady time."""


class Reader:
    """Reads one adapter in a thread of its own until it is stopped."""

    def __init__(
        self,
        adapter: Adapter,
        clocks: Clocks,
        tell: Tell,
        *,
        opened: ReceiveOnly | None = None,
        open_bus: Callable[[int | None], ReceiveOnly] | None = None,
        most_rows: int = MOST_ROWS,
    ) -> None:
        """Make it; `opened` is the adapter as it was opened already, `open_bus` another way to
        open it than its own.
        """
        self.adapter = adapter
        self.rows: deque[Row] = deque()
        """What was heard and not yet taken, oldest first."""
        self.state: State = "opening"
        self.bitrate: int | None = adapter.bitrate
        """Rate it is read at; None: not known."""
        self.rate_from: Literal["given", "found", "system", None] = (
            "given"
            if adapter.asked.bitrate
            else ("system" if adapter.bitrate is not None else None)
        )
        self.no_rate_fits = False
        """Something is on the bus, and at none of the rates tried."""
        self.frames = 0
        """Frames heard so far, error frames left out."""
        self.errors = 0
        """Error frames heard so far."""
        self.turn_us = clocks.steady_us()
        """When the thread last came round."""
        self.lost_here = 0
        """Frames dropped because nobody took them."""
        self.trouble: str | None = None
        """Why the adapter is gone, in words."""
        self._clocks = clocks
        self._tell = tell
        self._opened = opened
        self._open_bus = open_bus or adapter.open
        self._most_rows = most_rows
        self._held_up_us = 0
        self._gone_us: int | None = None
        self._stop = threading.Event()
        self._thread = self._new_thread()

    def start(self) -> None:
        """Begin to read."""
        self._thread.start()

    def revive(self) -> None:
        """Begin again after the thread died; what it heard is kept."""
        self.state, self._opened = "opening", None
        self._thread = self._new_thread()
        self._thread.start()

    def _new_thread(self) -> threading.Thread:
        return threading.Thread(target=self._run, name=f"hear {self.adapter.name}", daemon=True)

    def stop(self) -> None:
        """Ask it to end; `join` waits for that."""
        self._stop.set()

    def join(self, wait_s: float) -> bool:
        """Wait until it has ended; False: it hangs in the adapter's driver."""
        self._thread.join(wait_s)
        return not self._thread.is_alive()

    @property
    def died(self) -> bool:
        """Tell whether the thread ended without being asked to."""
        return self._thread.ident is not None and not (
            self._thread.is_alive() or self._stop.is_set()
        )

    def _run(self) -> None:
        finder = RateFinder() if self.adapter.finds_rate else None
        while not self._stop.is_set():
            bus = self._open(finder)
            if bus is None:
                self._stop.wait(AGAIN_S)
                continue
            try:
                if finder is not None:
                    found = self._find_rate(bus, finder)
                    if not found:
                        continue
                    finder = None
                self.state = "open"
                self._read(bus)
            except Exception as trouble:
                # Whatever a driver raises, the adapter did not answer as it should.
                self._lose(str(trouble) or type(trouble).__name__)
            finally:
                bus.close()

    def _open(self, finder: RateFinder | None) -> ReceiveOnly | None:
        bus, self._opened = self._opened, None
        try:
            bitrate = self.bitrate if finder is None else finder.bitrate
            bus = bus or self._open_bus(bitrate)
        except AdapterAbsent as trouble:
            self._lose(trouble.sentence)
            return None
        now_us = self._clocks.steady_us()
        self.turn_us = now_us
        self._held_up_us = 0
        self.trouble = None
        if self._gone_us is not None:
            gap_us, self._gone_us = now_us - self._gone_us, None
            self._tell("back", self.adapter.name, now_us, gap_us=gap_us)
        elif finder is None:
            self._tell_opened(now_us)
        return bus

    def _tell_opened(self, now_us: int) -> None:
        self._tell(
            "opened",
            self.adapter.name,
            now_us,
            interface=self.adapter.asked.interface,
            bitrate=self.bitrate,
            rate_from=self.rate_from,
            listen_only=self.adapter.listen_only,
        )

    def _lose(self, reason: str) -> None:
        """Note that the adapter is gone, from its last frame on."""
        self.trouble = " ".join(reason.split())
        if self._gone_us is None:
            # It answered for the last time when the last look came back.
            self._gone_us = self.turn_us
            self._tell("gone", self.adapter.name, self._gone_us, reason=self.trouble)
        self.state = "gone"

    def _find_rate(self, bus: ReceiveOnly, finder: RateFinder) -> bool:
        """Listen at one rate; True: it is the right one, and what was heard is kept."""
        self.state = "finding_rate"
        bitrate = finder.bitrate
        finder.begin(self._clocks.steady_us())
        verdict = finder.judge(self._clocks.steady_us())
        kept: list[Row] = []
        while verdict == "wait" and not self._stop.is_set():
            row = self._look(bus)
            if row is not None:
                finder.hear(error=row.message.is_error_frame)
                kept.append(row)
            verdict = finder.judge(self._clocks.steady_us())
        if verdict == "wrong":
            self._tell("wrong_rate", self.adapter.name, self._clocks.steady_us(), bitrate=bitrate)
        self.no_rate_fits = finder.none_fits
        if verdict != "found":
            return False
        self.bitrate, self.rate_from = bitrate, "found"
        self._tell_opened(self._clocks.steady_us())
        for row in kept:
            self._keep(row)
        return True

    def _read(self, bus: ReceiveOnly) -> None:
        while not self._stop.is_set():
            row = self._look(bus)
            if row is not None:
                self._keep(row)
        # What came before the end and still waits in the driver belongs to what was heard.
        end_us = self._clocks.steady_us() + DRAIN_US
        while (row := self._look(bus, 0.0)) is not None and row.heard_us < end_us:
            self._keep(row)

    def _look(self, bus: ReceiveOnly, wait_s: float = WAIT_S) -> Row | None:
        """Wait for one frame, and watch how long the thread itself was away."""
        message = bus.receive(wait_s)
        now_us = self._clocks.steady_us()
        away_us, self.turn_us = now_us - self.turn_us, now_us
        if message is None:
            self._held_up_us = 0
            return None
        if away_us > HELD_UP_US:
            self._held_up_us += away_us
        return Row(now_us, self._held_up_us, message)

    def _keep(self, row: Row) -> None:
        if row.message.is_error_frame:
            self.errors += 1
        else:
            self.frames += 1
        if len(self.rows) >= self._most_rows:
            self.lost_here += 1
            return
        self.rows.append(row)


def hangs(reader: Reader, now_us: int) -> bool:
    """Tell whether a reader has not come round for so long that it hangs in a driver."""
    return reader.state in ("open", "finding_rate") and now_us - reader.turn_us > 5 * SECOND_US
