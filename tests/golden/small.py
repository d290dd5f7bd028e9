"""Small recordings for tests of the command line: a made machine, some seconds, as candump text.

Frames are packed by the proving ground, which shares no code with what reads them.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from shearbolt.model.controller import Name
from shearbolt.model.fault import Lamps
from shearbolt.model.instants import SECOND_US, from_iso
from shearbolt.proving.packing import (
    DM1,
    Event,
    claim,
    diagnostic_payload,
    dtc_bytes,
    identifier,
    make_name,
    stars,
)
from shearbolt.proving.transport import broadcast

ENGINE = make_name(4711, 1900, 0, device_class=1)
GEARBOX = make_name(4712, 1900, 3, device_class=1)
NEW_GEARBOX = make_name(9999, 1900, 3, device_class=1)
CAB = make_name(4713, 1900, 26, device_class=1)
OTHER_ENGINE = make_name(815, 1901, 0, device_class=1)
AMBER = Lamps("off", "off", "on", "off")
OFF = Lamps("off", "off", "off", "off")
HOURS, CLOCK, VIN, SPEED, COOLANT = 65253, 65254, 65260, 61444, 65262


@dataclass(frozen=True, slots=True)
class Fault:
    """One code that one address lists once a second from `first_s` to `last_s`."""

    address: int
    spn: int
    fmi: int
    first_s: float
    last_s: float
    count: int = 1


@dataclass(frozen=True, slots=True)
class Small:
    """A short recording."""

    start: str | None = "2026-05-14T06:00:00Z"
    """None: times from zero."""
    names: dict[int, Name] = field(default_factory=lambda: {0: ENGINE, 3: GEARBOX, 71: CAB})
    hours: float | None = 100.0
    vin: str | None = None
    faults: Sequence[Fault] = ()
    seconds: int = 12
    clock: str | None = None
    """What the clock on the bus shows at the start (SAE J1939-71 TD)."""
    channel: str = "can0"

    def lines(self) -> list[str]:
        """Return the lines of the recording."""
        zero_us = 0 if self.start is None else from_iso(self.start)
        events = sorted(self._events(), key=lambda one: one.time_us)
        return [
            f"({(zero_us + one.time_us) // SECOND_US}.{(zero_us + one.time_us) % SECOND_US:06d}) "
            f"{self.channel} {one.ident:08X}#{one.data.hex().upper()}"
            for one in events
        ]

    def write(self, path: Path) -> Path:
        """Write it, and return its path."""
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text("\n".join(self.lines()) + "\n", encoding="ascii")
        return path

    def _events(self) -> Iterable[Event]:
        for number, (address, name) in enumerate(self.names.items()):
            yield claim(1_000 * number, address, name)
        if self.vin is not None:
            yield from broadcast(400_000, 0, VIN, stars(self.vin), gap_us=20_000)
        if self.clock is not None:
            yield Event(300_000, identifier(6, CLOCK, 23), _clock_bytes(self.clock))
        for at_us in range(50_000, self.seconds * SECOND_US, 20_000):
            rpm = round(900 / 0.125)
            data = b"\xff" * 3 + rpm.to_bytes(2, "little") + b"\xff" * 3
            yield Event(at_us, identifier(3, SPEED, 0), data)
        for second in range(self.seconds):
            at_us = second * SECOND_US
            yield Event(at_us + 310_000, identifier(6, COOLANT, 0), bytes((60 + 40,)) + b"\xff" * 7)
            if self.hours is not None:
                raw = round(self.hours / 0.05)
                data = raw.to_bytes(4, "little") + b"\xff" * 4
                yield Event(at_us + 320_000, identifier(6, HOURS, 0), data)
            for address in self.names:
                codes = [
                    dtc_bytes(one.spn, one.fmi, one.count)
                    for one in self.faults
                    if one.address == address and one.first_s <= second <= one.last_s
                ]
                payload = diagnostic_payload(AMBER if codes else OFF, codes)
                report_us = at_us + 500_000 + 1_000 * address
                if len(payload) > 8:
                    yield from broadcast(report_us, address, DM1, payload)
                else:
                    yield Event(report_us, identifier(6, DM1, address), payload)


def _clock_bytes(shown: str) -> bytes:
    """Pack a clock reading in UTC (SAE J1939-71 TD: quarter seconds, quarter days)."""
    day, time = shown.removesuffix("Z").split("T")
    year, month, date = (int(part) for part in day.split("-"))
    hour, minute, second = (int(part) for part in time.split(":"))
    return bytes((4 * second, minute, hour, month, 4 * date - 1, year - 1985, 125, 125))


SLIPPING = Fault(3, 191, 2, 3, 6)
HOT = Fault(0, 110, 16, 4, 20)
IDENTIFICATION = "WEN00000000000042"


def season(folder: Path) -> list[Path]:
    """Four recordings of one machine, an implement code and a swapped gearbox among them."""
    swapped = {0: ENGINE, 3: NEW_GEARBOX, 71: CAB}
    days = [
        Small("2026-05-01T06:00:00Z", hours=100.0, faults=(SLIPPING,)),
        Small("2026-05-02T06:00:00Z", hours=104.5, faults=(HOT, Fault(3, 191, 2, 2, 4, 2))),
        Small("2026-05-03T06:00:00Z", swapped, hours=110.0, faults=(Fault(3, 191, 2, 1, 3, 1),)),
        Small("2026-05-04T06:00:00Z", swapped, hours=111.0, vin=IDENTIFICATION),
    ]
    return [one.write(folder / f"day{number}.log") for number, one in enumerate(days, 1)]
