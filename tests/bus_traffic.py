"""A small bus made by hand: who says what when, as frames and as what decoding tells of them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import pairwise

import numpy as np

from shearbolt.decode.visit import decode_recording
from shearbolt.dictionary.merged import Dictionary
from shearbolt.kernels import Kernel
from shearbolt.model.controller import ControllerSeen, Name
from shearbolt.model.fault import FaultSeen
from shearbolt.model.frames import Frames, PlainFrame, frames_from, plain_frames
from shearbolt.model.instants import SECOND_US
from shearbolt.model.reading import TimeBase
from shearbolt.model.visit import VisitContent

TOOL = 0xF9
ALL = 0xFF
DM1, DM2, DM3, DM4, DM6, DM11, DM12 = 65226, 65227, 65228, 65229, 65231, 65235, 65236
DM13, DM22, DM23, DM24, DM25, DM27, DM28, DM31 = (
    57088, 49920, 64949, 64950, 64951, 64898, 64896, 41728,
)  # fmt: skip
EEC1, HOURS, CLAIM, REQUEST, ACK, VIN, CLOCK = 61444, 65253, 60928, 59904, 59392, 65260, 65254
OWN_GROUP = 65300
"""A maker's group: says nothing but that its sender lives."""
NO_CODE = bytes(4)


def dtc(spn: int, fmi: int, count: int | None = 1, old: bool = False) -> bytes:
    """Pack a code by conversion method 4, or 3 with `old` (SAE J1939-73; None: no count)."""
    last = 127 if count is None else count
    return bytes((spn & 0xFF, spn >> 8 & 0xFF, spn >> 16 << 5 | fmi, last | 0x80 * old))


def name_of(
    identity: int,
    function: int = 0,
    *,
    maker: int = 77,
    device_class: int = 1,
    group: int = 2,
    instance: int = 0,
    anywhere: bool = False,
) -> Name:
    """Make a NAME (SAE J1939-81): a tractor's engine controller where nothing else is said."""
    return Name(
        identity
        | maker << 21
        | instance << 35
        | function << 40
        | device_class << 49
        | group << 60
        | anywhere << 63
    )


class Bus:
    """Frames in any order of saying; `frames` puts them in the order of their times."""

    def __init__(self, channel: str = "can0") -> None:
        self.channel = channel
        self.rows: list[PlainFrame] = []

    def say(
        self, at_s: float, pgn: int, source: int, data: bytes, to: int = ALL, priority: int = 6
    ) -> None:
        """Send one frame of a group."""
        ident = priority << 26 | pgn << 8 | source
        if pgn >> 8 & 0xFF < 240:
            ident |= to << 8
        self.rows.append(PlainFrame(round(at_s * SECOND_US), ident, data, channel=self.channel))

    def tell(
        self,
        at_s: float,
        pgn: int,
        source: int,
        payload: bytes,
        *,
        lost: Sequence[int] = (),
        step_s: float = 0.05,
    ) -> None:
        """Send a message: one frame up to 8 bytes (filled with FF), else BAM without `lost`."""
        if len(payload) <= 8:
            self.say(at_s, pgn, source, payload.ljust(8, b"\xff"))
            return
        packets = (len(payload) + 6) // 7
        size = len(payload).to_bytes(2, "little")
        head = b"\x20" + size + bytes((packets, 0xFF)) + pgn.to_bytes(3, "little")
        self.say(at_s, 60416, source, head, priority=7)
        for i in range(packets):
            if i + 1 not in lost:
                chunk = payload[7 * i : 7 * i + 7].ljust(7, b"\xff")
                self.say(at_s + (i + 1) * step_s, 60160, source, bytes((i + 1,)) + chunk)

    def dm1(
        self,
        at_s: float,
        source: int,
        *codes: bytes,
        lamps: int = 0,
        flash: int = 0xFF,
        lost: Sequence[int] = (),
    ) -> None:
        """Report codes; none is the current form of 'no fault' (SAE J1939-73)."""
        payload = bytes((lamps, flash)) + (b"".join(codes) or NO_CODE)
        self.tell(at_s, DM1, source, payload, lost=lost)

    def dm1_each(
        self,
        first_s: float,
        until_s: float,
        source: int,
        *codes: bytes,
        lamps: int = 0,
        step_s: float = 1.0,
        but: Iterable[int] = (),
    ) -> None:
        """Report at equal steps, leaving out the reports numbered in `but`."""
        left_out = frozenset(but)
        for i, at_s in enumerate(np.arange(first_s, until_s - 1e-9, step_s).tolist()):
            if i not in left_out:
                self.dm1(at_s, source, *codes, lamps=lamps)

    def alive(self, first_s: float, until_s: float, *sources: int, step_s: float = 0.1) -> None:
        """Let senders live: a group of their own at equal steps."""
        for source in sources:
            for at_s in np.arange(first_s, until_s, step_s).tolist():
                self.say(at_s + source * 1e-4, OWN_GROUP, source, bytes(8))

    def engine(self, first_s: float, until_s: float, rpm: float = 1500.0, source: int = 0) -> None:
        """Let the engine controller tell engine speed ten times a second (SPN 190)."""
        raw = round(rpm / 0.125).to_bytes(2, "little")
        for at_s in np.arange(first_s, until_s, 0.1).tolist():
            self.say(at_s, EEC1, source, b"\xff\xff\xff" + raw + b"\xff\xff\xff", priority=3)

    def claim(self, at_s: float, source: int, name: Name) -> None:
        """Claim an address."""
        self.say(at_s, CLAIM, source, name.value.to_bytes(8, "little"))

    def ask(self, at_s: float, pgn: int, to: int = ALL, source: int = TOOL) -> None:
        """Request a group."""
        self.say(at_s, REQUEST, source, pgn.to_bytes(3, "little"), to)

    def answer(
        self, at_s: float, source: int, pgn: int, control: int = 0, asker: int = TOOL
    ) -> None:
        """Acknowledge a request: 0 done, 1 refused, 3 busy."""
        data = bytes((control, 0xFF, 0xFF, 0xFF, asker)) + pgn.to_bytes(3, "little")
        self.say(at_s, ACK, source, data)

    @property
    def frames(self) -> Frames:
        """All frames in the order of their times."""
        return frames_from(sorted(self.rows, key=lambda one: one.time_us), (self.channel,))

    def content(self, cuts: Sequence[int] = (), kernel: Kernel | None = None) -> VisitContent:
        """Decode it, in blocks cut at the given rows."""
        return content_of(self.frames, cuts, kernel)


def content_of(
    frames: Frames, cuts: Sequence[int] = (), kernel: Kernel | None = None
) -> VisitContent:
    """Decode frames in blocks cut at the given rows."""
    return decode_recording(
        blocks_of(frames, cuts), Dictionary.ours(), TimeBase.RELATIVE, kernel=kernel
    )


def blocks_of(frames: Frames, cuts: Sequence[int] = ()) -> list[Frames]:
    """Cut frames into blocks."""
    rows = plain_frames(frames)
    edges = [0, *sorted({one for one in cuts if 0 < one < len(rows)}), len(rows)]
    return [frames_from(rows[a:b], frames.channels) for a, b in pairwise(edges)]


def fault(content: VisitContent, spn: int, fmi: int | None = None) -> FaultSeen:
    """Find the one fault of an SPN (and FMI)."""
    (found,) = (
        one for one in content.faults if one.key.spn == spn and (fmi is None or one.key.fmi == fmi)
    )
    return found


def sender(content: VisitContent, address: int) -> ControllerSeen:
    """Find the one sender of an address."""
    (found,) = (one for one in content.controllers if one.address == address)
    return found


def us(at_s: float) -> int:
    """Turn seconds into microseconds."""
    return round(at_s * SECOND_US)
