"""An outing: one recording's script, from the key to the frames and the truth of it."""

from __future__ import annotations

from dataclasses import dataclass

from shearbolt.model.controller import Name
from shearbolt.proving.controllers import TRACTOR_BUS, Controller, Machine
from shearbolt.proving.faults import Fault, Memory, Outage, StandingLamp, Upset
from shearbolt.proving.packing import TO_ALL
from shearbolt.proving.trace import Activity, Day, Phase, Trace


@dataclass(frozen=True, slots=True)
class Ask:
    """A request that someone on the bus makes (PGN 59904)."""

    at_s: float
    asker: int
    pgn: int
    asked: int = TO_ALL
    channel: str = TRACTOR_BUS


@dataclass(frozen=True, slots=True)
class Tool:
    """A tester on the plug, which claims its address and then asks."""

    address: int
    name: Name
    from_s: float


@dataclass(frozen=True, slots=True)
class Outing:
    """Everything that decides one recording."""

    file_name: str
    file_format: str
    started: str
    """ISO 8601 UTC."""
    machine: Machine
    day: Day
    phases: tuple[Phase, ...]
    implement: Machine | None = None
    faults: tuple[Fault, ...] = ()
    memories: tuple[Memory, ...] = ()
    upsets: tuple[Upset, ...] = ()
    standing: tuple[StandingLamp, ...] = ()
    outages: tuple[Outage, ...] = ()
    asks: tuple[Ask, ...] = ()
    tool: Tool | None = None
    swapped: tuple[tuple[str, Name], ...] = ()
    """Controllers replaced since the last recording: key, and NAME of the one before."""
    relative: bool = False
    """The recording's times count from its own zero."""

    @property
    def begins_with_key(self) -> bool:
        """Tell whether the key is turned at the start of the recording."""
        return self.phases[0].activity == "key_on"

    @property
    def seconds(self) -> int:
        """Length of the recording in seconds."""
        return sum(one.seconds for one in self.phases)

    @property
    def key_off_s(self) -> float | None:
        """When the key is turned off, in seconds; None: not in this recording."""
        at = 0
        for phase in self.phases:
            if phase.activity == "key_off":
                return float(at)
            at += phase.seconds
        return None

    def machines(self) -> tuple[Machine, ...]:
        """Return the vehicle, then the implement where there is one."""
        return (self.machine,) if self.implement is None else (self.machine, self.implement)

    def controllers(self) -> tuple[tuple[Machine, Controller], ...]:
        """Return every controller with its machine."""
        return tuple((machine, one) for machine in self.machines() for one in machine.controllers)

    def lives(self, controller: Controller) -> list[tuple[float, float, bool]]:
        """Return the stretches in which a controller has power: from, to (s), and booted in it."""
        key_off = self.key_off_s
        end = float(self.seconds)
        if key_off is not None:
            end = min(end, key_off + controller.after_run_s)
        begin, boots = (controller.boot_s, True) if self.begins_with_key else (0.0, False)
        lives: list[tuple[float, float, bool]] = []
        for outage in self.outages:
            if outage.controller == controller.key:
                lives.append((begin, outage.window[0], boots))
                begin, boots = outage.window[1], True
        return [*lives, (begin, end, boots)]


def work(*parts: tuple[Activity, int] | Phase) -> tuple[Phase, ...]:
    """Write phases down in short: (activity, seconds)."""
    return tuple(one if isinstance(one, Phase) else Phase(*one) for one in parts)


def on_until(trace: Trace) -> int:
    """Return the number of steps until key-off (all of them when there is none)."""
    return int(trace.key.argmin()) if not trace.key.all() else len(trace.key)
