"""An outing: one recording's script, from the key to the frames and the truth of it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TypeAlias

from shearbolt.model.controller import Name
from shearbolt.model.instants import SECOND_US, from_iso
from shearbolt.proving.controllers import TRACTOR_BUS, Controller, Machine
from shearbolt.proving.faults import Fault, Memory, Outage, StandingLamp, Upset
from shearbolt.proving.memory import Store
from shearbolt.proving.packing import TO_ALL
from shearbolt.proving.trace import Activity, Day, Phase, Trace
from shearbolt.proving.truth import Cause

Life: TypeAlias = tuple[float, float, bool]
"""A stretch in which a controller speaks: from, to (s), and whether it booted at its start."""


@dataclass(frozen=True, slots=True)
class Ask:
    """A request that someone on the bus makes (PGN 59904)."""

    at_s: float
    asker: int
    pgn: int
    asked: int = TO_ALL
    channel: str = TRACTOR_BUS


@dataclass(frozen=True, slots=True)
class Hush:
    """A stop or start of broadcasts that someone sends (DM13)."""

    at_s: float
    asker: int
    stop: bool = True
    hold: bool = False
    """It renews a stop; without it the stop lapses after 6 s."""
    channel: str = TRACTOR_BUS


@dataclass(frozen=True, slots=True)
class ClearOne:
    """A request to clear one code (DM22)."""

    at_s: float
    asker: int
    asked: int
    spn: int
    fmi: int
    active: bool = False
    """Clear it as an active code; False: as a previously active one."""
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
    """When the recording begins, ISO 8601 UTC."""
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
    watched: bool = False
    """Controllers find faults by themselves, from what they read (`common_codes`); those of
    `faults` are scripted, on top."""
    stores: Mapping[tuple[str, str], Store] = field(default_factory=dict)
    """What controllers kept from before, by machine and controller."""
    blame: Mapping[tuple[str, int, int], tuple[Cause, str]] = field(default_factory=dict)
    """True cause and words of what is found, by controller, SPN and FMI."""
    hushes: tuple[Hush, ...] = ()
    clears: tuple[ClearOne, ...] = ()
    lead_s: int = 0
    """So long after the first phase the recording begins: what comes before is lived, not recorded.
    All instants of an outing count from its first phase."""
    thinned_s: float = 0.0
    """A logger keeps one frame of each periodic group in so many seconds, of public groups only;
    0: everything is kept."""

    @property
    def begins_with_key(self) -> bool:
        """Tell whether the key is turned at the start of the outing."""
        return self.phases[0].activity == "key_on"

    @property
    def shows_key_on(self) -> bool:
        """Tell whether the key is turned at the start of the recording."""
        return self.begins_with_key and self.lead_s == 0

    @property
    def zero_us(self) -> int:
        """The instant of the first phase (UTC), or what it would be by the recording's own times.

        Raises ValueError for a start that is no date.
        """
        started_us = 0 if self.relative else from_iso(self.started)
        return started_us - self.lead_s * SECOND_US

    @property
    def seconds(self) -> int:
        """Length of the outing in seconds, up to the end of the recording."""
        return sum(one.seconds for one in self.phases)

    @property
    def key_off_s(self) -> float | None:
        """When the key is turned off, in seconds; None: not in this outing."""
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


def work(*parts: tuple[Activity, int] | Phase) -> tuple[Phase, ...]:
    """Write phases down in short: (activity, seconds)."""
    return tuple(one if isinstance(one, Phase) else Phase(*one) for one in parts)


def on_until(trace: Trace) -> int:
    """Return the number of steps until key-off (all of them when there is none)."""
    return int(trace.key.argmin()) if not trace.key.all() else len(trace.key)
