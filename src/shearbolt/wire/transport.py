"""Transport protocols as a listener hears them: frames in, messages and broken sessions out.

SAE J1939-21 5.10 (broadcast; request and clear to send) and the extended transport of
ISO 11783-3. Data frames carry no group number: a session is known by channel, sender and
destination, and a broadcast, an addressed and an extended session of one sender run side by side.
What one session does with its packets is in `transport_session`.

* An announcement opens a session. One that does not add up is told, and its packets with it.
  It ends the unfinished session in its place: REPLACED, or INCOMPLETE when its time was up.
  The same announcement again before any packet is a repeat.
* Control frames of the receiver come with the addresses the other way round. One for another
  group than the open session's shows that a newer request was missed: REPLACED.
* An abort by either side ends the session of its group in either direction.
* A control frame that cannot be read may have been an announcement: it ends the open session.
* A data frame without a session is told by itself; nothing is ever put together from those.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from shearbolt.model.frames import I64, U8, U32, U64
from shearbolt.model.message import Broken, BrokenSession, Carried
from shearbolt.wire import extended_transport, transport_control
from shearbolt.wire.identifier import TO_ALL, pgns_of
from shearbolt.wire.plain_broadcasts import Delivery, plain_broadcasts, turned
from shearbolt.wire.transport_control import Control, Step, abort_words
from shearbolt.wire.transport_session import FRAME_BYTES, Heard, Session, stray_data

TRANSPORT_GROUPS = frozenset(
    {
        transport_control.CONTROL_GROUP,
        transport_control.DATA_GROUP,
        extended_transport.CONTROL_GROUP,
        extended_transport.DATA_GROUP,
    }
)
"""Groups whose frames a Reassembler takes."""
_EXTENDED_GROUPS = (extended_transport.CONTROL_GROUP, extended_transport.DATA_GROUP)
_CARRIED = {
    Step.BROADCAST: Carried.BAM,
    Step.REQUEST: Carried.RTS,
    Step.LONG_REQUEST: Carried.ETP,
}
_EXTENDED_BIT = 1 << 16


def is_transport(ident: U32) -> npt.NDArray[np.bool_]:
    """Tell which of many 29-bit identifiers belong to transport frames, shape as given."""
    return np.isin(pgns_of(ident), np.array(sorted(TRANSPORT_GROUPS), np.uint32))


class Reassembler:
    """Puts the messages of one recording together; feed it every transport frame in file order.

    It keeps its sessions between calls, so blocks may be cut anywhere. Events come out in the
    order in which they became certain.
    """

    def __init__(self) -> None:
        self._sessions: dict[int, Session] = {}

    @property
    def open_sessions(self) -> int:
        """Number of sessions begun and neither delivered nor told as broken."""
        return sum(one.unfinished for one in self._sessions.values())

    def feed(
        self, time_us: int, channel: int, source: int, destination: int, pgn: int, data: bytes
    ) -> tuple[Heard, ...]:
        """Take one frame of group 60416, 60160, 51200 or 50944.

        `data` are its bytes, `channel` a small whole number. Raises ValueError for another group.
        """
        if pgn not in TRANSPORT_GROUPS:
            raise ValueError(f"group {pgn} is no transport group")
        out: list[Heard] = []
        extended = _EXTENDED_BIT if pgn in _EXTENDED_GROUPS else 0
        key = channel << 17 | extended | destination << 8 | source
        if pgn in (transport_control.DATA_GROUP, extended_transport.DATA_GROUP):
            self._data(time_us, key, data[0] if data else 0, data[1:8], len(data), out)
        else:
            self._control(time_us, key, data, len(data), out)
        return tuple(out)

    def feed_many(
        self,
        time_us: I64,
        channel: U8,
        ident: U32,
        length: U8,
        word: U64,
        certain_at: list[int] | None = None,
    ) -> tuple[Heard, ...]:
        """Take many frames in file order, columns as in model.frames.Frames; the same as `feed`.

        Every row must be a transport frame with data (see `is_transport`); ValueError if not.
        `certain_at` is filled with the row at which each event became certain.
        """
        if not len(ident):
            return ()
        ident = ident.astype(np.int64)
        if not is_transport(ident.astype(np.uint32)).all():
            raise ValueError("a frame of another group among the transport frames")
        form = ident >> 16 & 0xFF
        # Data groups have odd formats (EB, C7); extended ones lie below E0.
        is_data = (form & 1).astype(bool)
        extended = form < 0xE0
        source, destination = ident & 0xFF, ident >> 8 & 0xFF
        key = channel.astype(np.int64) << 17 | extended.astype(np.int64) << 16
        key |= destination << 8 | source
        # What is sent as if from everybody could abort the broadcast of its receiver.
        concerns = np.where(source == TO_ALL, key & ~0xFFFF | TO_ALL << 8 | destination, key)
        concerns[extended | (source != TO_ALL) & (destination != TO_ALL)] = -1
        found = plain_broadcasts(time_us, key, is_data, length, word, concerns)
        delivery = Delivery(self._sessions, found, time_us, key)
        times, keys = time_us.tolist(), key.tolist()
        plain = (is_data & (length == FRAME_BYTES)).tolist()
        blob = word.astype("<u8").tobytes()
        out: list[Heard] = []
        certain: list[int] = []
        session_of = self._sessions.get
        for row, number in delivery.steps():
            now, where, first = times[row], keys[row], 8 * row
            if number >= 0:
                if delivery.step(number, row):
                    self._control(now, where, blob[first : first + 8], FRAME_BYTES, out)
            else:
                delivery.settle(where)
                delivery.settle(turned(where))
                if plain[row]:
                    one = session_of(where)
                    sequence, chunk = blob[first], blob[first + 1 : first + 8]
                    if (
                        one is not None
                        and one.expect == sequence < one.stop
                        and now - one.last_us <= one.limit_us
                    ):
                        one.payload += chunk
                        one.expect = sequence + 1
                        one.last_us = now
                        one.limit_us = one.gap_us
                        continue
                    self._data(now, where, sequence, chunk, FRAME_BYTES, out)
                elif is_data[row]:
                    size = int(length[row])
                    sequence = blob[first] if size else 0
                    self._data(now, where, sequence, blob[first + 1 : first + 8], size, out)
                else:
                    self._control(now, where, blob[first : first + 8], int(length[row]), out)
            certain.extend([row] * (len(out) - len(certain)))
        out, certain = delivery.finish(out, certain)
        if certain_at is not None:
            certain_at.extend(certain)
        return tuple(out)

    def advance(self, time_us: int, channel: int) -> tuple[BrokenSession, ...]:
        """Tell the sessions of one channel whose time is up now (for a listener on a live bus).

        Recordings do not need it: lateness is noticed with the next frame or at the end.
        """
        late = [
            one
            for one in self._sessions.values()
            if one.channel == channel and one.unfinished and one.late(time_us)
        ]
        return _given_up(late, "time is up")

    def finish(self) -> tuple[BrokenSession, ...]:
        """End the recording: tell the sessions still open, by their beginning, and forget all."""
        left = [one for one in self._sessions.values() if one.unfinished]
        self._sessions.clear()
        return _given_up(left, "the recording ends")

    def _data(
        self, time_us: int, key: int, sequence: int, chunk: bytes, length: int, out: list[Heard]
    ) -> None:
        session = self._sessions.get(key)
        if session is None:
            out.append(stray_data(time_us, key >> 17, key & 0xFF, key >> 8 & 0xFF))
        else:
            session.data(time_us, sequence, chunk, length, out)

    def _control(self, time_us: int, key: int, data: bytes, length: int, out: list[Heard]) -> None:
        if length != FRAME_BYTES:
            words = f"control frame of {length} bytes where {FRAME_BYTES} must be"
            self._refuse(time_us, key, Broken.SHORT_PACKET, words, out)
            return
        extended = bool(key & _EXTENDED_BIT)
        read = extended_transport.read_control if extended else transport_control.read_control
        control = read(data)
        if control is None:
            words = f"control byte {data[0]}"
            self._refuse(time_us, key, Broken.BAD_ANNOUNCEMENT, words, out)
            return
        step = control.step
        if step in _CARRIED:
            self._announce(time_us, key, control, out)
        elif step is Step.ABORT:
            self._abort(time_us, key, control, out)
        elif step is Step.LONG_OFFSET:
            session = self._of_group(time_us, key, control, out)
            if session is not None:
                session.set_offset(time_us, control.packets, control.number, out)
        else:
            session = self._of_group(time_us, turned(key), control, out)
            if session is None:
                return
            if step in (Step.CLEAR, Step.LONG_CLEAR):
                session.clear(time_us, control.packets, control.number, out)
            else:
                session.acknowledged(out)

    def _announce(self, time_us: int, key: int, control: Control, out: list[Heard]) -> None:
        destination = key >> 8 & 0xFF
        extended = bool(key & _EXTENDED_BIT)
        check = extended_transport if extended else transport_control
        fault = check.announcement_fault(control, destination == TO_ALL)
        old = self._sessions.get(key)
        if old is not None and old.unfinished:
            said = (old.pgn, old.size, old.packets)
            if old.late(time_us):
                old.give_up(out, "time was up")
            elif old.untouched and said == (control.pgn, control.size, control.packets):
                old.last_us = time_us
                return
            else:
                old.reject(Broken.REPLACED, f"by group {control.pgn}", out)
        new = Session(
            time_us,
            key >> 17,
            key & 0xFF,
            destination,
            control.pgn,
            control.size,
            control.packets,
            _CARRIED[control.step],
        )
        self._sessions[key] = new
        if fault:
            new.reject(Broken.BAD_ANNOUNCEMENT, fault, out)

    def _of_group(
        self, time_us: int, key: int, control: Control, out: list[Heard]
    ) -> Session | None:
        """Return the session a control frame is about; end one that it shows to be over."""
        session = self._sessions.get(key)
        if session is None or session.carried is Carried.BAM:
            return None
        if session.pgn == control.pgn:
            return session
        if session.unfinished:
            if session.late(time_us):
                session.give_up(out, "time was up")
            else:
                words = f"by group {control.pgn}, whose request was not heard"
                session.reject(Broken.REPLACED, words, out)
            session.last_us = time_us
        return None

    def _abort(self, time_us: int, key: int, control: Control, out: list[Heard]) -> None:
        words = abort_words(control.number)
        for where, who in ((key, "the sender"), (turned(key), "the receiver")):
            session = self._sessions.get(where)
            if session is not None and session.pgn == control.pgn:
                session.aborted(time_us, f"{who}: {words}", out)

    def _refuse(self, time_us: int, key: int, reason: Broken, words: str, out: list[Heard]) -> None:
        """Tell a control frame that cannot be read.

        It may have been an announcement, so its sender's open session cannot be trusted to own
        the packets that follow.
        """
        source, destination = key & 0xFF, key >> 8 & 0xFF
        session = self._sessions.get(key)
        if session is not None and session.unfinished:
            session.give_up(out, "an unreadable control frame followed")
        out.append(BrokenSession(time_us, key >> 17, source, destination, None, reason, words))


def _by_beginning(one: Session) -> tuple[int, int, int, int, Carried]:
    return one.first_us, one.channel, one.source, one.destination, one.carried


def _given_up(sessions: Sequence[Session], why: str) -> tuple[BrokenSession, ...]:
    out: list[Heard] = []
    for session in sorted(sessions, key=_by_beginning):
        session.give_up(out, why)
    return tuple(one for one in out if isinstance(one, BrokenSession))
