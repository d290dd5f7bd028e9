"""Broadcast sessions that came just as they should, found many at once by whole-array operations.

Plain is a broadcast announcement that adds up, directly followed, of all that its sender says to
everybody and of all that could end its session, by its packets 1, 2, 3 ... to the last, each of
eight bytes and none later than T1 after the frame before (SAE J1939-21 5.10). Whatever else comes
is left to the sessions of `transport_session`, frame by frame.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import repeat
from typing import Any

import numpy as np
import numpy.typing as npt

from shearbolt.model.frames import I64, U8, U64
from shearbolt.model.message import Carried, Message
from shearbolt.wire.identifier import TO_ALL
from shearbolt.wire.transport_control import LARGEST, LAST_GROUP, PACKET_BYTES, SMALLEST, Step
from shearbolt.wire.transport_session import FRAME_BYTES, T1_US, Heard, Session

Flags = npt.NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class PlainBroadcasts:
    """Plain sessions, s of them, among n frames."""

    first: I64
    """Row of each announcement, shape (s,)."""
    last: I64
    """Row of each last packet, shape (s,)."""
    group: I64
    """Parameter group of each, shape (s,)."""
    size: I64
    """Bytes of each message, shape (s,)."""
    packets: I64
    """Packets of each, shape (s,)."""
    begin: I64
    """Where each payload begins in `blob`, shape (s,)."""
    blob: bytes
    """Seven bytes of every packet, those of one session together."""
    rest: I64
    """Rows of the frames that belong to none of them, rising."""


class Delivery:
    """Gives plain sessions out as messages, and leaves the sessions as frame by frame would."""

    def __init__(
        self, sessions: dict[int, Session], found: PlainBroadcasts, time_us: I64, key: I64
    ) -> None:
        self._sessions = sessions
        self._key = key[found.first].tolist()
        self._first = found.first.tolist()
        begins, sizes = found.begin.tolist(), found.size.tolist()
        self._packets = [
            found.blob[a : a + PACKET_BYTES * n]
            for a, n in zip(begins, found.packets.tolist(), strict=True)
        ]
        self._messages = list(
            map(
                Message,
                time_us[found.first].tolist(),
                time_us[found.last].tolist(),
                (key[found.first] >> 17).tolist(),
                (key[found.first] & 0xFF).tolist(),
                repeat(TO_ALL),
                found.group.tolist(),
                [one[:size] for one, size in zip(self._packets, sizes, strict=True)],
                repeat(Carried.BAM),
            )
        )
        self._rest, self._last = found.rest.tolist(), found.last.tolist()
        self._newest: dict[int, int] = {}
        """Newest session of each key, if plain and not yet a Session."""
        watched = {one for one, session in sessions.items() if session.unfinished}
        for one in set(key[found.rest].tolist()):
            watched |= {one, turned(one)}
        self._watched = [i for i, one in enumerate(self._key) if one in watched]

    def steps(self) -> list[tuple[int, int]]:
        """Return what cannot be done at once, by rows: a row, and its plain session or -1.

        Those are the frames of no plain session, and begin and end of the sessions that such a
        frame, or one heard before, can have to do with.
        """
        some = [(row, -1) for row in self._rest]
        for i in self._watched:
            some += ((self._first[i], i), (self._last[i], i))
        some.sort()
        return some

    def step(self, number: int, row: int) -> bool:
        """Begin or end a session; tell whether its announcement must be taken by itself.

        So it must where a session is open in its place: it ends that one, or repeats its begin.
        """
        key = self._key[number]
        old = None if key in self._newest else self._sessions.get(key)
        was_open = old is not None and old.unfinished
        if row == self._first[number]:
            return was_open
        if old is not None and was_open:
            # Opened by the announcement, or already before and only announced again.
            self._messages[number] = replace(self._messages[number], time_us=old.first_us)
        self._newest[key] = number
        return False

    def settle(self, key: int) -> None:
        """Make a whole session out of the newest of a key, where that was plain."""
        number = self._newest.pop(key, None)
        if number is None:
            return
        message, packets = self._messages[number], self._packets[number]
        session = Session(
            message.time_us,
            message.channel,
            message.source,
            TO_ALL,
            message.pgn,
            len(message.payload),
            len(packets) // PACKET_BYTES,
            Carried.BAM,
        )
        session.deliver(message.end_us, packets)
        self._sessions[key] = session

    def finish(
        self, heard: Sequence[Heard], certain_at: Sequence[int]
    ) -> tuple[list[Heard], list[int]]:
        """Put the messages among what else was heard, by the row at which each became certain."""
        watched = set(self._watched)
        for i, key in enumerate(self._key):
            if i not in watched:
                self._newest[key] = i
        for key in list(self._newest):
            self.settle(key)
        rows = [*certain_at, *self._last]
        order = np.argsort(np.array(rows, np.int64), kind="stable").tolist()
        every = [*heard, *self._messages]
        return [every[i] for i in order], [rows[i] for i in order]


def turned(key: int) -> int:
    """Return the key of the session for which a frame of this key comes from the receiver."""
    return key & ~0xFFFF | (key & 0xFF) << 8 | key >> 8 & 0xFF


def plain_broadcasts(
    time_us: I64, key: I64, is_data: Flags, length: U8, word: U64, concerns: I64
) -> PlainBroadcasts:
    """Find the plain sessions among transport frames in file order, columns of shape (n,).

    `key` tells sessions apart, its lowest byte being the sender; `concerns` is the key of the one
    broadcast session that a frame is part of or could end, -1 where there is none.
    """
    everyone = np.flatnonzero(concerns >= 0)
    rows = everyone[np.argsort(concerns[everyone], kind="stable")]
    where = concerns[rows]
    own = key[rows] == where
    at_us, content = time_us[rows], word[rows]
    full = own & (length[rows] == FRAME_BYTES)
    packet = full & is_data[rows]
    number = (content & np.uint64(0xFF)).astype(np.int64)
    size = (content >> np.uint64(8) & np.uint64(0xFFFF)).astype(np.int64)
    packets = (content >> np.uint64(24) & np.uint64(0xFF)).astype(np.int64)
    group = (content >> np.uint64(40)).astype(np.int64)
    announced: Flags = full & ~packet & (number == Step.BROADCAST)
    announced &= (size >= SMALLEST) & (size <= LARGEST) & (group <= LAST_GROUP)
    announced &= packets == -(-size // PACKET_BYTES)
    announced &= (where & 0xFF) != TO_ALL
    # A packet goes on when it is the next one of what stands before it, and in time.
    before = np.where(announced, 0, number)[:-1]
    goes_on = np.zeros(len(rows), np.bool_)
    goes_on[1:] = packet[1:] & (announced | packet)[:-1] & (number[1:] == before + 1)
    goes_on[1:] &= (where[1:] == where[:-1]) & (np.diff(at_us) <= T1_US)
    breaks = np.cumsum(~goes_on)
    start = np.flatnonzero(announced)
    end = start + packets[start]
    within = end < len(rows)
    start, end = start[within], end[within]
    whole = breaks[end] == breaks[start]
    start, end = start[whole], end[whole]
    taken = np.zeros(len(rows) + 1, np.int64)
    taken[start] = 1
    taken[end + 1] -= 1
    rest = np.ones(len(key), np.bool_)
    rest[rows[np.cumsum(taken[:-1]) > 0]] = False
    octets: npt.NDArray[Any] = content.astype("<u8").view(np.uint8).reshape(len(rows), 8)
    return PlainBroadcasts(
        rows[start],
        rows[end],
        group[start],
        size[start],
        packets[start],
        (start + 1) * PACKET_BYTES,
        octets[:, 1:].tobytes(),
        np.flatnonzero(rest),
    )
