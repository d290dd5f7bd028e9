"""A listening session: readers in, one spool on the disk, blocks of frames out.

Three kinds of threads. Each reader takes frames off its adapter. The keeper comes round five
times a second: it orders what they heard, writes it to the spool, syncs about once a second and
watches the readers and the clock. Whoever started the session takes blocks when it likes; a slow
one never holds up the writing.
"""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Callable, Sequence

from shearbolt.errors import ListeningError, SpoolStopped
from shearbolt.kernels.candump_lines import candump_lines
from shearbolt.live.adapters import SYSTEM_INTERFACE, Adapter, ReceiveOnly
from shearbolt.live.clocks import Clocks, StampFollower, Timeline, system_clocks
from shearbolt.live.error_frames import driver_overruns
from shearbolt.live.events import Event, What
from shearbolt.live.gathering import HOLD_BACK_US, Order, Timed, timed
from shearbolt.live.reader import Reader, hangs
from shearbolt.live.spool import SYNC_US, Spool
from shearbolt.model.frames import EXTENDED, SENT, Frames
from shearbolt.model.instants import Instant

ROUND_S = 0.2
"""Time between two rounds of the keeper."""
MOST_BLOCKS = 300
"""Blocks that wait for whoever shows them, a minute; older ones are dropped from the show only."""
_END_S = 3.0


class Listening:
    """One session. Use as a context manager, or call `start` and `stop`."""

    def __init__(
        self,
        adapters: Sequence[Adapter],
        spool: Spool,
        *,
        clocks: Clocks | None = None,
        opened: Sequence[ReceiveOnly | None] = (),
        open_with: Sequence[Callable[[int | None], ReceiveOnly] | None] = (),
        may_write: Callable[[], str | None] = lambda: None,
        said: Sequence[tuple[str, str | int | None]] = (),
    ) -> None:
        """Prepare it. `opened` are adapters that are open already, one each or None; `open_with`
        other ways to open them. `may_write` is asked about once a second and says why nothing
        more may be written, None: it may. `said` are figures to be kept with the first event, for
        whoever files the spool.
        """
        self._clocks = clocks or system_clocks()
        self._spool = spool
        self._may_write = may_write
        self._said = dict(said)
        self._line = Timeline(self._clocks)
        self.names = tuple(one.name for one in adapters)
        """Channel names as in the frames."""
        self.readers = tuple(
            Reader(
                one,
                self._clocks,
                self._tell,
                opened=opened[i] if i < len(opened) else None,
                open_bus=open_with[i] if i < len(open_with) else None,
            )
            for i, one in enumerate(adapters)
        )
        """One an adapter, with its state and counts."""
        self.frames = 0
        """Frames written so far, error frames included."""
        self.trouble: ListeningError | None = None
        """What ended it early."""
        self.events: deque[Event] = deque()
        """Everything that happened so far but the syncs, oldest first."""
        self._new_events: deque[Event] = deque()
        self._order = Order(self.names)
        self._stamps = [StampFollower() for _ in adapters]
        self._jumps = [0] * len(adapters)
        self._lost_told = [0] * len(adapters)
        self._stuck: set[str] = set()
        self._sent: deque[tuple[int, Timed]] = deque()
        self._blocks: deque[Frames] = deque(maxlen=MOST_BLOCKS)
        self._fresh = threading.Condition()
        self._synced_us = self._clocks.steady_us()
        self._ending = threading.Event()
        self._spool_open = True
        self._keeper = threading.Thread(target=self._keep, name="keep what is heard", daemon=True)

    def __enter__(self) -> Listening:
        self.start()
        return self

    def __exit__(self, *_: object) -> None:
        self.stop("left")

    @property
    def start_us(self) -> Instant:
        """Wall clock when it began."""
        return self._line.start_us

    def now_us(self) -> Instant:
        """Return the instant now, on the session's own line of time."""
        return self._line.now_us()

    @property
    def ended(self) -> bool:
        """Tell whether it ended by itself; `trouble` says why."""
        return self._keeper.ident is not None and not self._keeper.is_alive()

    def start(self) -> None:
        """Begin to listen."""
        self._tell("started", None, self._clocks.steady_us(), **self._said)
        for one in self.readers:
            one.start()
        self._keeper.start()

    def take(self, wait_s: float) -> list[Frames]:
        """Return the blocks that came since the last call, waiting for one if there is none."""
        with self._fresh:
            if not self._blocks and not self.ended:
                self._fresh.wait(wait_s)
            taken = list(self._blocks)
            self._blocks.clear()
        return taken

    def note_sent(self, channel: int, ident: int, data: bytes, *, extended: bool = True) -> None:
        """Record a frame that `act` has sent on an adapter of this session; nothing is sent here.

        `channel` is the index into `names`.
        """
        at_us = self._line.instant_us(self._clocks.steady_us())
        flags = SENT | (EXTENDED if extended else 0)
        self._sent.append((channel, Timed(at_us, channel, ident, flags, len(data), data)))

    def stop(self, reason: str = "asked") -> None:
        """End it: everything heard is written and synced, the spool closed. Safe to call twice."""
        for one in self.readers:
            one.stop()
        for one in self.readers:
            one.join(_END_S)
        self._ending.set()
        if self._keeper.ident is not None:
            self._keeper.join()
        if self._spool_open:
            self._spool_open = False
            last = Event(self.now_us(), "stopped", None, (("reason", reason),))
            self._spool.close(None if self.trouble else last)

    def _tell(
        self, what: What, channel: str | None, at_us: int, **figures: str | int | None
    ) -> None:
        """Take an event at a steady time, from any thread."""
        event = Event(self._line.instant_us(at_us), what, channel, tuple(figures.items()))
        self.events.append(event)
        self._new_events.append(event)

    def _keep(self) -> None:
        try:
            while not self._ending.wait(ROUND_S):
                self._round(self._line.now_us() - HOLD_BACK_US)
            self._round(None)
            self._spool.sync(self._line.now_us())
        except SpoolStopped as trouble:
            self.trouble = trouble
            self._tell("disk_full", None, self._clocks.steady_us(), reason=trouble.sentence)
            self._write_events()
        finally:
            for one in self.readers:
                one.stop()
            with self._fresh:
                self._fresh.notify_all()

    def _round(self, until_us: Instant | None) -> None:
        """Take what the readers heard up to an instant, write it, hand it on."""
        for i, reader in enumerate(self.readers):
            rows = [reader.rows.popleft() for _ in range(len(reader.rows))]
            self._order.add(timed(rows, i, self._stamps[i], self._line.instant_us))
            self._watch(i, reader)
        while self._sent:
            self._order.add([self._sent.popleft()[1]])
        jump_us = self._line.jumped_us()
        if jump_us:
            self._tell("clock_jump", None, self._clocks.steady_us(), by_us=jump_us)
        frames = self._order.take(until_us if len(self.readers) > 1 else None)
        if len(frames):
            self._spool.write("".join(candump_lines(frames)).encode("ascii"))
            self.frames += len(frames)
            self._tell_overruns(frames)
            with self._fresh:
                self._blocks.append(frames)
                self._fresh.notify_all()
        self._write_events()
        now_us = self._clocks.steady_us()
        if now_us - self._synced_us >= SYNC_US:
            self._spool.sync(self._line.now_us())
            self._synced_us = now_us
            reason = self._may_write()
            if reason is not None:
                raise SpoolStopped(reason)

    def _tell_overruns(self, frames: Frames) -> None:
        for i, count in enumerate(driver_overruns(frames)):
            if count and self.readers[i].adapter.asked.interface == SYSTEM_INTERFACE:
                now_us = self._clocks.steady_us()
                self._tell("overrun", self.names[i], now_us, count=count, where="driver")

    def _write_events(self) -> None:
        while self._new_events:
            self._spool.tell(self._new_events.popleft())

    def _watch(self, i: int, reader: Reader) -> None:
        """Look after one reader: a dead one is started again, losses are told."""
        now_us = self._clocks.steady_us()
        name = self.names[i]
        if reader.died and not self._ending.is_set():
            self._tell("reader_died", name, now_us)
            reader.revive()
        if hangs(reader, now_us) != (name in self._stuck):
            self._stuck ^= {name}
            if name in self._stuck:
                self._tell("reader_stuck", name, now_us)
        if reader.lost_here > self._lost_told[i]:
            count, self._lost_told[i] = reader.lost_here - self._lost_told[i], reader.lost_here
            self._tell("overrun", name, now_us, count=count, where="here")
        if self._stamps[i].jumps > self._jumps[i]:
            self._jumps[i] = self._stamps[i].jumps
            self._tell("stamp_jump", name, now_us, useless=int(self._stamps[i].useless))
