"""ISO 15765-2 transport as a listener hears it: frames in, whole messages and broken ones out.

The rules, per sender (channel and identifier):

* A single frame is a whole message. A first frame opens a session; consecutive frames fill it,
  numbered 1 to F, then 0 to F again. Any number out of turn, twice, or differing ends it.
* A new single or first frame before the session is full ends it: REPLACED, or INCOMPLETE when
  the time was up anyway.
* The next frame must follow within 1000 ms (N_Cr, N_Bs) of the last one or of the partner's
  flow control. A later one ends the session: TIMEOUT. Time is that of the recording.
* Flow control of the partner: go (a block size may follow), wait (the time starts anew),
  overflow (the message is off), anything else ends it.
* After an end, further consecutive frames belong to the same failure and are not told again.
  Without any session a run of them is told once.
* CAN FD: a single frame longer than 8 bytes has 00 and its length in byte 2; a first frame with
  length 000 has 32 bits of length in bytes 3 to 6. All frames but the last are equally long.

Nothing is ever sent, and nothing is given out that is not whole. A listener cannot see that
sixteen frames in a row, or a multiple of it, were lost with the rest arriving in time but for
the length: such a message stays INCOMPLETE.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TypeAlias

from shearbolt.model.message import Broken, IsoTpBroken, IsoTpMessage
from shearbolt.wire.diagnostic_ids import (
    diagnostic_mask,
    is_diagnostic,
    is_functional,
    partner,
)

__all__ = ["TIMEOUT_US", "IsoTpListener", "diagnostic_mask", "is_diagnostic"]

TIMEOUT_US = 1_000_000
"""N_Cr and N_Bs (ISO 15765-2)."""
_CLASSIC_FRAME = 8
_LONGEST_SHORT_FORM = 4095

_Key: TypeAlias = tuple[int, int, bool]
_Heard: TypeAlias = tuple[IsoTpMessage | IsoTpBroken, ...]


@dataclass(slots=True)
class _Session:
    """A message being filled."""

    start_us: int
    last_us: int
    size: int
    frame_size: int
    payload: bytearray
    number: int = 0
    """Sequence number of the last frame."""
    last_data: bytes | None = None
    """Data of the last consecutive frame; None: none yet."""
    flow_due: bool = True
    """The partner's flow control is the next thing that should come."""
    block_size: int = 0
    in_block: int = 0

    @property
    def missing(self) -> int:
        return self.size - len(self.payload)

    @property
    def so_far(self) -> str:
        words = f"{len(self.payload)} of {self.size} bytes"
        return words + ("; no flow control heard" if self.flow_due else "")


@dataclass(slots=True)
class IsoTpListener:
    """Puts together the messages of all diagnostic identifiers; keeps its state between blocks."""

    _open: dict[_Key, _Session] = field(default_factory=dict)
    _dead: dict[_Key, int] = field(default_factory=dict)
    """Senders whose further consecutive frames are no news, with the instant of the last one."""

    def feed(self, time_us: int, channel: int, ident: int, extended: bool, data: bytes) -> _Heard:
        """Take one data frame; give what it completes or breaks, mostly nothing.

        Frames of identifiers that are not diagnostic are no business of this class: nothing.
        """
        if not is_diagnostic(ident, extended):
            return ()
        key = (channel, ident, extended)
        if not data:
            return (_broken(time_us, key, Broken.SHORT_PACKET, "a frame without data"),)
        kind = data[0] >> 4
        if kind == 0:
            return self._single(time_us, key, data)
        if kind == 1:
            return self._first(time_us, key, data)
        if kind == 2:
            return self._consecutive(time_us, key, data)
        if kind == 3:
            return self._flow(time_us, key, data)
        words = f"frame type {kind} is none of ISO 15765-2"
        return (_broken(time_us, key, Broken.BAD_ANNOUNCEMENT, words),)

    def finish(self) -> _Heard:
        """Give the sessions that the end of the recording left unfinished, and forget all."""
        rest = tuple(
            _broken(one.start_us, key, Broken.INCOMPLETE, one.so_far)
            for key, one in sorted(self._open.items(), key=lambda item: item[1].start_us)
        )
        self._open.clear()
        self._dead.clear()
        return rest

    def _single(self, time_us: int, key: _Key, data: bytes) -> _Heard:
        size, start = data[0] & 0xF, 1
        if len(data) > _CLASSIC_FRAME:
            if size:
                words = f"a single frame of {len(data)} bytes without the long form of its length"
                return (_broken(time_us, key, Broken.BAD_ANNOUNCEMENT, words),)
            size, start = data[1], 2
        if size == 0 or (len(data) <= _CLASSIC_FRAME and size > _CLASSIC_FRAME - 1):
            words = f"a single frame that announces {size} bytes"
            return (_broken(time_us, key, Broken.BAD_ANNOUNCEMENT, words),)
        if len(data) - start < size:
            words = f"a single frame with {len(data) - start} of {size} bytes"
            return (_broken(time_us, key, Broken.SHORT_PACKET, words),)
        whole = IsoTpMessage(time_us, time_us, *key, data[start : start + size])
        return (*self._displaced(time_us, key), whole)

    def _first(self, time_us: int, key: _Key, data: bytes) -> _Heard:
        if len(data) < _CLASSIC_FRAME:
            words = f"a first frame of {len(data)} bytes"
            return self._bad_start(time_us, key, Broken.SHORT_PACKET, words)
        if is_functional(key[1], key[2]):
            words = "a first frame on an identifier that speaks to all"
            return self._bad_start(time_us, key, Broken.BAD_ANNOUNCEMENT, words)
        # What fits a single frame (its length less 1, long form less 2) must be sent as one.
        size, start, least = (data[0] & 0xF) << 8 | data[1], 2, max(len(data) - 1, _CLASSIC_FRAME)
        if size == 0:
            size, start, least = int.from_bytes(data[2:6], "big"), 6, _LONGEST_SHORT_FORM + 1
        if size < least:
            words = f"a first frame that announces {size} bytes, {least} at least"
            return self._bad_start(time_us, key, Broken.BAD_ANNOUNCEMENT, words)
        displaced = self._displaced(time_us, key)
        self._open[key] = _Session(time_us, time_us, size, len(data), bytearray(data[start:]))
        return displaced

    def _bad_start(self, time_us: int, key: _Key, reason: Broken, words: str) -> _Heard:
        """Tell of a first frame that cannot open a session; what follows it is no news."""
        displaced = self._displaced(time_us, key)
        self._dead[key] = time_us
        return (*displaced, _broken(time_us, key, reason, words))

    def _consecutive(self, time_us: int, key: _Key, data: bytes) -> _Heard:
        session = self._open.get(key)
        if session is None:
            return self._orphan(time_us, key)
        number, part = data[0] & 0xF, bytes(data[1:])
        late = time_us - session.last_us
        if late > TIMEOUT_US:
            words = f"the next frame came {late / 1000:.0f} ms later; {session.so_far}"
            return self._end(time_us, key, session, Broken.TIMEOUT, words)
        expected = session.number + 1 & 0xF
        if number != expected:
            return self._out_of_turn(time_us, key, session, number, part)
        needed = min(session.missing, session.frame_size - 1)
        if len(part) < needed:
            words = f"a consecutive frame with {len(part)} of {needed} bytes; {session.so_far}"
            return self._end(time_us, key, session, Broken.SHORT_PACKET, words)
        if len(data) > session.frame_size and session.missing > session.frame_size - 1:
            words = f"a frame of {len(data)} bytes after one of {session.frame_size}"
            return self._end(time_us, key, session, Broken.BAD_ANNOUNCEMENT, words)
        session.payload += part[:needed]
        session.number, session.last_us, session.last_data = number, time_us, part
        session.flow_due = False
        session.in_block += 1
        if session.missing == 0:
            del self._open[key]
            return (IsoTpMessage(session.start_us, time_us, *key, bytes(session.payload)),)
        if session.block_size and session.in_block >= session.block_size:
            session.in_block, session.flow_due = 0, True
        return ()

    def _out_of_turn(
        self, time_us: int, key: _Key, session: _Session, number: int, part: bytes
    ) -> _Heard:
        expected = session.number + 1 & 0xF
        if number == session.number and session.last_data is not None:
            if part == session.last_data:
                words = f"frame {number:X} came twice; {session.so_far}"
                return self._end(time_us, key, session, Broken.WRONG_ORDER, words)
            words = f"frame {number:X} came twice with different data; {session.so_far}"
            return self._end(time_us, key, session, Broken.CHANGED, words)
        words = f"frame {number:X} came where {expected:X} was due; {session.so_far}"
        return self._end(time_us, key, session, Broken.WRONG_ORDER, words)

    def _orphan(self, time_us: int, key: _Key) -> _Heard:
        last = self._dead.get(key)
        self._dead[key] = time_us
        if last is not None and time_us - last <= TIMEOUT_US:
            return ()
        words = "a consecutive frame whose first frame was not heard"
        return (_broken(time_us, key, Broken.NO_SESSION, words),)

    def _flow(self, time_us: int, key: _Key, data: bytes) -> _Heard:
        channel, ident, extended = key
        if len(data) < 3:
            words = f"a flow control frame of {len(data)} bytes"
            return (_broken(time_us, key, Broken.SHORT_PACKET, words),)
        other = partner(ident, extended)
        if other is None:
            words = "flow control on an identifier that speaks to all"
            return (_broken(time_us, key, Broken.BAD_ANNOUNCEMENT, words),)
        steered = (channel, other, extended)
        session = self._open.get(steered)
        if session is None:
            return ()  # the standard has it ignored; the lost first frame is told by its followers
        state = data[0] & 0xF
        if state == 2:
            return self._end(time_us, steered, session, Broken.OVERFLOW, session.so_far)
        if state > 2:
            words = f"flow status {state} is reserved; {session.so_far}"
            return self._end(time_us, steered, session, Broken.ABORTED, words)
        if time_us - session.last_us > TIMEOUT_US:
            return ()  # too late: whatever follows it is judged by the time it is late
        session.last_us = time_us
        session.flow_due = state == 1
        if state == 0:
            session.block_size, session.in_block = data[1], 0
        return ()

    def _displaced(self, time_us: int, key: _Key) -> _Heard:
        """Make room for a new message of the same sender; tell what it pushes out."""
        self._dead.pop(key, None)
        session = self._open.pop(key, None)
        if session is None:
            return ()
        in_time = time_us - session.last_us <= TIMEOUT_US
        reason = Broken.REPLACED if in_time else Broken.INCOMPLETE
        return (_broken(session.start_us, key, reason, session.so_far),)

    def _end(
        self, time_us: int, key: _Key, session: _Session, reason: Broken, words: str
    ) -> _Heard:
        del self._open[key]
        self._dead[key] = time_us
        return (_broken(session.start_us, key, reason, words),)


def _broken(time_us: int, key: _Key, reason: Broken, detail: str) -> IsoTpBroken:
    return IsoTpBroken(time_us, *key, reason, detail)
