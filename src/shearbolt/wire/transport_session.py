"""One transport session as a listener hears it: packets in their order, or a reason why not.

States and what moves them:

    OPEN      the next packet is due. It comes: stay, or WHOLE with the last one (a Message).
              A later one comes: SKIPPED. Time is up, a short or changed packet: REJECTED.
    SKIPPED   a packet was missed. Between two addresses a clearance for it, or for an earlier
              packet, reopens; in a broadcast nothing can: the missed one coming now is WRONG_ORDER,
              its never coming is INCOMPLETE.
    WHOLE     delivered. Repeats of its packets (the partner asked again) are ignored.
    REJECTED  told once with its reason; what still comes of it in time is not told again.
    CLOSED    ended; data belong to nobody.

Only whole packets in sequence enter the payload. A repeat must be identical; a broadcast may
repeat only its latest packet, since a step back can be the start of another broadcast whose
announcement was lost. Times are those of the recording: lateness counts, steps back do not.

Timers (SAE J1939-21 5.10.2.4): T1 750 ms between packets, T2 1250 ms from clearance to packet,
T3 1250 ms from the last packet of a clearance to the next control frame, T4 1050 ms after a hold.
A listener may have missed a clearance, so T3 stands wherever it cannot tell.
"""

from __future__ import annotations

from enum import IntEnum
from typing import TypeAlias

from shearbolt.model.message import Broken, BrokenSession, Carried, Message
from shearbolt.wire.transport_control import PACKET_BYTES

T1_US = 750_000
T2_US = 1_250_000
T3_US = 1_250_000
T4_US = 1_050_000
FRAME_BYTES = 8

Heard: TypeAlias = Message | BrokenSession


class State(IntEnum):
    """Where a session stands (see the module)."""

    OPEN = 0
    SKIPPED = 1
    WHOLE = 2
    REJECTED = 3
    CLOSED = 4


class Session:
    """One session of one sender with one destination; mutable, private to its Reassembler.

    `expect`, `stop`, `last_us`, `limit_us`, `gap_us` and `payload` serve the fast loop of
    `Reassembler.feed_many`: a packet with sequence number `expect` below `stop`, no later than
    `limit_us` after `last_us`, only needs appending.
    """

    __slots__ = (
        "carried",
        "channel",
        "destination",
        "expect",
        "first_us",
        "gap_us",
        "highest",
        "last_us",
        "limit_us",
        "offset",
        "packets",
        "payload",
        "pgn",
        "size",
        "source",
        "state",
        "stop",
        "swapped",
        "window",
    )

    def __init__(
        self,
        time_us: int,
        channel: int,
        source: int,
        destination: int,
        pgn: int | None,
        size: int,
        packets: int,
        carried: Carried,
    ) -> None:
        self.first_us = self.last_us = time_us
        self.channel, self.source, self.destination = channel, source, destination
        self.pgn, self.size, self.packets, self.carried = pgn, size, packets, carried
        self.payload = bytearray()
        self.state = State.OPEN
        self.offset = 0
        self.highest = 0
        self.swapped = False
        self.gap_us = T1_US if carried is Carried.BAM else T3_US
        self.limit_us = self.gap_us
        # An extended session takes no data before its first packet offset.
        extended = carried is Carried.ETP
        self.expect = 0 if extended else 1
        self.window = 0 if extended else packets
        self.stop = self.window

    @property
    def held(self) -> int:
        """Number of packets in hand, without a gap from the first."""
        return len(self.payload) // PACKET_BYTES

    @property
    def unfinished(self) -> bool:
        """Tell whether it may still become whole, or has not been told as broken."""
        return self.state <= State.SKIPPED

    @property
    def untouched(self) -> bool:
        """Tell whether no packet has come yet."""
        return self.state is State.OPEN and not self.payload

    def late(self, time_us: int) -> bool:
        """Tell whether a frame now is later than the standard allows."""
        return time_us - self.last_us > self.limit_us

    def reject(self, reason: Broken, detail: str, out: list[Heard]) -> None:
        """End the session without a message and tell why."""
        out.append(
            BrokenSession(
                self.first_us,
                self.channel,
                self.source,
                self.destination,
                self.pgn,
                reason,
                detail,
            )
        )
        self.state = State.REJECTED
        self.payload = bytearray()
        self.expect = self.stop = 0
        self.limit_us = self.gap_us

    def give_up(self, out: list[Heard], why: str) -> None:
        """End an unfinished session whose time is up or whose rest cannot come any more."""
        reason = Broken.WRONG_ORDER if self.swapped else Broken.INCOMPLETE
        self.reject(reason, f"{self.held} of {self.packets} packets in order; {why}", out)

    def data(
        self, time_us: int, sequence: int, chunk: bytes, length: int, out: list[Heard]
    ) -> None:
        """Take one data frame: its sequence number and the seven bytes after it."""
        if self.state is State.CLOSED:
            self._stray(time_us, out)
        elif self.state is State.REJECTED:
            self._swallow(time_us, out)
        elif self.state is State.WHOLE:
            self._after_whole(time_us, sequence, chunk, length, out)
        elif self.late(time_us):
            self._too_late(time_us, sequence, out)
        else:
            self.last_us = time_us
            if length != FRAME_BYTES:
                words = f"packet of {length} bytes where {FRAME_BYTES} must be"
                self.reject(Broken.SHORT_PACKET, words, out)
            else:
                self._in_time(time_us, sequence, chunk, out)

    def _in_time(self, time_us: int, sequence: int, chunk: bytes, out: list[Heard]) -> None:
        number = self.offset + sequence
        if sequence == 0 or number > self.packets:
            words = f"packet {number} of {self.packets}"
            self.reject(Broken.WRONG_ORDER, words, out)
        elif number <= self.held:
            self._repeat(sequence, chunk, out)
        elif self.carried is Carried.ETP and not self.expect <= sequence <= self.window:
            self.give_up(out, f"sequence number {sequence} without a packet offset for it")
        elif self.state is State.SKIPPED:
            self._after_gap(number, out)
        elif sequence == self.expect:
            self._append(time_us, sequence, chunk, out)
        else:
            self.state = State.SKIPPED
            self.highest = number
            self.stop = 0

    def _append(self, time_us: int, sequence: int, chunk: bytes, out: list[Heard]) -> None:
        self.payload += chunk
        if self.held == self.packets:
            whole = bytes(self.payload[: self.size])
            pgn = 0 if self.pgn is None else self.pgn
            out.append(
                Message(
                    self.first_us,
                    time_us,
                    self.channel,
                    self.source,
                    self.destination,
                    pgn,
                    whole,
                    self.carried,
                )
            )
            self._whole()
            return
        self._next(sequence)

    def _whole(self) -> None:
        self.state = State.WHOLE
        self.expect = self.stop = 0
        self.limit_us = self.gap_us

    def deliver(self, time_us: int, packets: bytes) -> None:
        """Take all packets at once, in their order and in time; its message was given out."""
        self.payload += packets
        self.last_us = time_us
        self._whole()

    def _next(self, sequence: int) -> None:
        """Expect the packet after this one."""
        if sequence < self.window:
            self.expect = sequence + 1
            self.limit_us = self.gap_us
            self.stop = self.window if self.offset + sequence == self.held else 0
            return
        # The clearance is used up: a control frame is due, which may have been missed.
        self.limit_us = self.gap_us = T3_US
        if self.carried is Carried.ETP:
            self.expect = self.window = self.stop = 0
        else:
            self.expect, self.window = sequence + 1, self.packets
            self.stop = self.window if sequence == self.held else 0

    def _same(self, number: int, chunk: bytes) -> bool:
        first = (number - 1) * PACKET_BYTES
        return self.payload[first : first + PACKET_BYTES] == chunk

    def _repeat(self, sequence: int, chunk: bytes, out: list[Heard]) -> None:
        number = self.offset + sequence
        if self.carried is Carried.BAM and number < self.held:
            words = f"packet {number} after packet {self.held}"
            self.reject(Broken.WRONG_ORDER, words, out)
        elif not self._same(number, chunk):
            self.reject(Broken.CHANGED, f"packet {number}", out)
        elif self.state is State.OPEN and sequence == self.expect:
            self._next(sequence)

    def _after_gap(self, number: int, out: list[Heard]) -> None:
        if number >= self.highest:
            self.highest = number
        elif self.carried is Carried.BAM:
            words = f"packet {number} after packet {self.highest}"
            self.reject(Broken.WRONG_ORDER, words, out)
        else:
            self.swapped = True

    def _too_late(self, time_us: int, sequence: int, out: list[Heard]) -> None:
        waited_ms = (time_us - self.last_us) // 1000
        if self.state is State.OPEN and sequence == self.expect:
            words = f"packet {self.offset + sequence} after {waited_ms} ms"
            self.reject(Broken.TIMEOUT, words, out)
            self.last_us = time_us
        else:
            self.give_up(out, f"nothing for {waited_ms} ms")
            self.state = State.CLOSED
            self._stray(time_us, out)

    def _swallow(self, time_us: int, out: list[Heard]) -> None:
        if self.late(time_us):
            self.state = State.CLOSED
            self._stray(time_us, out)
        else:
            self.last_us = time_us

    def _after_whole(
        self, time_us: int, sequence: int, chunk: bytes, length: int, out: list[Heard]
    ) -> None:
        number = self.offset + sequence
        earliest = self.packets if self.carried is Carried.BAM else 1
        known = not self.late(time_us) and sequence > 0 and earliest <= number <= self.packets
        if known and length == FRAME_BYTES and self._same(number, chunk):
            self.last_us = time_us
            return
        self.state = State.CLOSED
        self.payload = bytearray()
        self._stray(time_us, out)

    def _stray(self, time_us: int, out: list[Heard]) -> None:
        out.append(stray_data(time_us, self.channel, self.source, self.destination))

    def clear(self, time_us: int, packets: int, number: int, out: list[Heard]) -> None:
        """Take a clearance of the partner: how many packets (0: hold), from which one on."""
        if self.state is State.WHOLE:
            self.last_us, self.limit_us = time_us, T2_US
            return
        if not self.unfinished:
            return
        if self.late(time_us):
            self.give_up(out, f"clearance after {(time_us - self.last_us) // 1000} ms")
            self.last_us = time_us
            return
        if packets == 0:
            self.last_us, self.limit_us = time_us, T4_US
            return
        if not 0 < number <= self.packets:
            return
        self.last_us, self.limit_us, self.gap_us = time_us, T2_US, T1_US
        if number > self.held + 1:
            self.give_up(out, f"the receiver has all before {number}")
        elif self.carried is Carried.ETP:
            self.state = State.OPEN
            self.expect = self.window = self.stop = 0
        else:
            self._expect_from(number, min(number + packets - 1, self.packets))

    def set_offset(self, time_us: int, packets: int, offset: int, out: list[Heard]) -> None:
        """Take a packet offset of the sender (extended transport) and how many it covers."""
        if self.state is State.WHOLE:
            self.last_us = time_us
            self.offset = offset
            return
        if not self.unfinished:
            return
        if self.late(time_us):
            self.give_up(out, f"packet offset after {(time_us - self.last_us) // 1000} ms")
            self.last_us = time_us
            return
        self.last_us, self.limit_us, self.gap_us = time_us, T2_US, T1_US
        if offset > self.held:
            self.give_up(out, f"the sender goes on from {offset + 1}")
            return
        self.offset = offset
        self._expect_from(1, packets)

    def _expect_from(self, sequence: int, window: int) -> None:
        self.state = State.OPEN
        self.swapped = False
        self.expect, self.window = sequence, window
        self.stop = window if self.offset + sequence == self.held + 1 else 0

    def acknowledged(self, out: list[Heard]) -> None:
        """Take the receiver's word that it has the whole message."""
        if self.unfinished:
            self.give_up(out, "the receiver has them all")
        self.state = State.CLOSED
        self.payload = bytearray()

    def aborted(self, time_us: int, words: str, out: list[Heard]) -> None:
        """Take an abort by either side; a message already whole stands."""
        if self.unfinished:
            self.reject(Broken.ABORTED, words, out)
            self.last_us = time_us


def stray_data(time_us: int, channel: int, source: int, destination: int) -> BrokenSession:
    """Tell of one data packet that belongs to no session."""
    return BrokenSession(time_us, channel, source, destination, None, Broken.NO_SESSION)
