"""A machine for the tests of asking: broadcasts, and answers what is asked of it. Plain bytes.

Nothing of the code under test is used here: frames are put together by hand, as SAE J1939-21 and
ISO 15765-2 say. It notes whatever reaches it.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, field

from shearbolt.model.frames import EXTENDED, PlainFrame

TOOL = 0xF9
SECOND = 1_000_000
ENGINE_NAME = bytes.fromhex("0100a04c00000020")
"""Function 0, industry group 2 (byte 6 is 00, byte 8 is 20)."""


def ext(ident: int, data: bytes) -> PlainFrame:
    return PlainFrame(0, ident, data, EXTENDED)


def le3(number: int) -> bytes:
    return bytes((number & 0xFF, number >> 8 & 0xFF, number >> 16 & 0xFF))


@dataclass
class Unit:
    """One controller: what it answers, and how."""

    address: int
    answers: dict[int, bytes] = field(default_factory=dict)
    """Payload by group; longer than 8 bytes goes by transport."""
    control: dict[int, int] = field(default_factory=dict)
    """Control byte of an acknowledgement by group: 1 refused, 2 denied, 3 busy."""
    refuses_rest: bool = True
    """Refuse by address what it does not know; else keep silent."""
    deaf_to_all: bool = False
    """It answers only when asked by its address."""
    busy_once: set[int] = field(default_factory=set)


@dataclass
class Session:
    unit: Unit
    pgn: int
    payload: bytes


class Machine:
    """Engine (address 0) and whatever else is plugged in; `step` gives what it says."""

    def __init__(
        self, *units: Unit, speed_kmh: float | None = 0.0, rpm: float | None = 0.0
    ) -> None:
        self.units = list(units)
        self.speed_kmh = speed_kmh
        self.rpm = rpm
        self.got: list[tuple[int, PlainFrame]] = []
        self.drop_packets: set[int] = set()
        """Sequence numbers that get lost once."""
        self.sessions: dict[int, Session] = {}
        self._out: deque[tuple[int, PlainFrame]] = deque()
        self._next_us = 0
        self.talks = True
        self.ended: list[tuple[int, int]] = []
        """(address, group) of the ends of message that reached it."""

    def say(self, at_us: int, *frames: PlainFrame) -> None:
        for one in frames:
            self._out.append((at_us, one))

    def step(self, now_us: int) -> list[PlainFrame]:
        """Return what is on the bus up to now: broadcasts every 100 ms, and answers."""
        said: list[PlainFrame] = []
        while self.talks and self._next_us <= now_us:
            said += self._broadcasts()
            self._next_us += 100_000
        waiting: deque[tuple[int, PlainFrame]] = deque()
        while self._out:
            at_us, frame = self._out.popleft()
            if at_us <= now_us:
                said.append(frame)
            else:
                waiting.append((at_us, frame))
        self._out = waiting
        return said

    def _broadcasts(self) -> list[PlainFrame]:
        said = [ext(0x18FEEE00, bytes((0x87,)) + b"\xff" * 7)]
        if self.rpm is not None:
            raw = round(self.rpm / 0.125)
            said.append(
                ext(0x0CF00400, b"\xff\xff\xff" + raw.to_bytes(2, "little") + b"\xff\xff\xff")
            )
        if self.speed_kmh is not None:
            raw = round(self.speed_kmh * 256)
            said.append(ext(0x18FEF117, b"\xff" + raw.to_bytes(2, "little") + b"\xff" * 5))
        return said

    def take(self, now_us: int, frame: PlainFrame) -> None:
        """Hear what the tool sends."""
        self.got.append((now_us, frame))
        head, asked = frame.ident & 0x1FFF00FF, frame.ident >> 8 & 0xFF
        if head == 0x18EA0000 | TOOL:
            pgn = int.from_bytes(frame.data, "little")
            for unit in self.units:
                if asked == 0xFF and not unit.deaf_to_all:
                    self._answer(now_us, unit, pgn, to_all=True)
                elif asked == unit.address:
                    self._answer(now_us, unit, pgn, to_all=False)
        elif head == 0x1CEC0000 | TOOL and asked in self.sessions:
            session = self.sessions[asked]
            if frame.data[0] == 17:
                for number in range(frame.data[2], frame.data[2] + frame.data[1]):
                    self._packet(now_us, session, number)
            elif frame.data[0] == 19:
                self.ended.append((asked, int.from_bytes(frame.data[5:8], "little")))
                del self.sessions[asked]

    def _packet(self, now_us: int, session: Session, number: int) -> None:
        if number in self.drop_packets:
            self.drop_packets.discard(number)
            return
        part = session.payload[7 * (number - 1) : 7 * number].ljust(7, b"\xff")
        ident = 0x1CEB0000 | TOOL << 8 | session.unit.address
        self.say(now_us + 2000, ext(ident, bytes((number,)) + part))

    def _answer(self, now_us: int, unit: Unit, pgn: int, *, to_all: bool) -> None:
        at_us = now_us + 20_000
        if pgn in unit.busy_once and not to_all:
            unit.busy_once.discard(pgn)
            self.say(at_us, self.acknowledgement(unit.address, 3, pgn))
        elif pgn in unit.answers:
            self._tell(at_us, unit, pgn, to_all)
        elif not to_all and (pgn in unit.control or unit.refuses_rest):
            control = unit.control.get(pgn, 1)
            self.say(at_us, self.acknowledgement(unit.address, control, pgn))

    @staticmethod
    def acknowledgement(address: int, control: int, pgn: int) -> PlainFrame:
        return ext(0x18E8FF00 | address, bytes((control, 0xFF, 0xFF, 0xFF, TOOL)) + le3(pgn))

    def _tell(self, at_us: int, unit: Unit, pgn: int, to_all: bool) -> None:
        payload = unit.answers[pgn]
        if len(payload) <= 8:
            ident = 0x18000000 | pgn << 8 | unit.address
            if pgn >> 8 & 0xFF < 240:
                ident |= (0xFF if to_all else TOOL) << 8
            self.say(at_us, ext(ident, payload.ljust(8, b"\xff")))
            return
        size, packets = len(payload), -(-len(payload) // 7)
        head = size.to_bytes(2, "little") + bytes((packets, 0xFF)) + le3(pgn)
        if to_all:
            self.say(at_us, ext(0x1CECFF00 | unit.address, b"\x20" + head))
            for number in range(1, packets + 1):
                part = payload[7 * (number - 1) : 7 * number].ljust(7, b"\xff")
                self.say(
                    at_us + 60_000 * number,
                    ext(0x1CEBFF00 | unit.address, bytes((number,)) + part),
                )
            return
        self.sessions[unit.address] = Session(unit, pgn, payload)
        self.say(at_us, ext(0x1CEC0000 | TOOL << 8 | unit.address, b"\x10" + head))

    # What reached it, by kind.

    @property
    def requests(self) -> list[tuple[int, int, int]]:
        """(time, group, address asked)."""
        return [
            (at, int.from_bytes(one.data, "little"), one.ident >> 8 & 0xFF)
            for at, one in self.got
            if one.ident & 0x1FFF00FF == 0x18EA0000 | TOOL
        ]

    @property
    def claims(self) -> list[int]:
        return [at for at, one in self.got if one.ident == 0x18EEFF00 | TOOL]


def tractor() -> Machine:
    """Three units: an engine that answers much, a gearbox that refuses DM2, a silent terminal."""
    engine = Unit(
        0,
        {
            65253: bytes.fromhex("00100000ffffffff"),
            65260: b"AB1CD23E4FG567890*",
            65242: b"\x01" + b"V12.3*",
            65227: bytes.fromhex("04ff64001203ffff"),
            65230: bytes.fromhex("0201140000000000"),
            49408: bytes.fromhex("0c00f4013c005802"),
        },
    )
    gearbox = Unit(3, {65236: bytes.fromhex("00ff00000000ffff")}, {65227: 1})
    terminal = Unit(0x26, refuses_rest=False)
    machine = Machine(engine, gearbox, terminal)
    machine.say(0, ext(0x18EEFF00, ENGINE_NAME), ext(0x18F00203, b"\xff" * 8))
    machine.say(200_000, ext(0x18FF1026, b"\x01" * 8))
    return machine
