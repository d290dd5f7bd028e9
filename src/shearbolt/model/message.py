"""Messages put together from frames, and the sessions that never became one."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class Carried(StrEnum):
    """How a message travelled."""

    SINGLE = "single"
    """One frame."""
    BAM = "bam"
    """Broadcast announce transport (SAE J1939-21)."""
    RTS = "rts"
    """Transport with request and clear to send (SAE J1939-21)."""
    ETP = "etp"
    """Extended transport (ISO 11783-3)."""
    ISO_TP = "iso_tp"
    """ISO 15765-2."""


class Broken(StrEnum):
    """Why a transport session never became a message."""

    INCOMPLETE = "incomplete"
    """Packets missing when the time was up or the recording ended."""
    TIMEOUT = "timeout"
    """The next packet came later than the standard allows."""
    WRONG_ORDER = "wrong order"
    """A packet out of sequence where nothing can be sent again."""
    REPLACED = "replaced by a new session"
    """A new session began between the same two before this one was complete."""
    ABORTED = "aborted"
    """One side said so; see `detail`."""
    BAD_ANNOUNCEMENT = "announcement does not add up"
    """Size and number of packets disagree, or are outside the standard's limits."""
    NO_SESSION = "packet without a session"
    """Data heard whose announcement was not."""
    SHORT_PACKET = "packet too short"
    """A data packet with fewer bytes than it must have."""
    CHANGED = "repeated packet differs"
    """The same packet twice with different data."""
    OVERFLOW = "refused by the receiver"
    """ISO-TP: flow control 'overflow'."""


@dataclass(frozen=True, slots=True)
class Message:
    """One whole message of a parameter group."""

    time_us: int
    """Instant of its first frame."""
    end_us: int
    """Instant of its last frame."""
    channel: int
    """Channel index, as in Frames.channel."""
    source: int
    destination: int
    """255: to all."""
    pgn: int
    payload: bytes
    carried: Carried


@dataclass(frozen=True, slots=True)
class BrokenSession:
    """A transport session that yielded nothing."""

    time_us: int
    channel: int
    source: int
    destination: int
    pgn: int | None
    reason: Broken
    detail: str = ""
    """Abort reason in words, or what exactly disagreed."""


@dataclass(frozen=True, slots=True)
class IsoTpMessage:
    """One whole ISO 15765-2 message."""

    time_us: int
    end_us: int
    channel: int
    ident: int
    """Identifier of its frames."""
    extended: bool
    """29-bit identifier."""
    payload: bytes


@dataclass(frozen=True, slots=True)
class IsoTpBroken:
    """An ISO 15765-2 message that never became whole."""

    time_us: int
    channel: int
    ident: int
    extended: bool
    reason: Broken
    detail: str = ""
