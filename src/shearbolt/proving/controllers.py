"""What a machine of the proving ground is made of: controllers, their groups and their manners."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from shearbolt.model.controller import Dm1Manner, Name
from shearbolt.proving.trace import Build
from shearbolt.proving.truth import CountSteps

VEHICLE_IDENTIFICATION = 65260
COMPONENT_IDENTIFICATION = 65259
SOFTWARE_IDENTIFICATION = 65242
HOURS = 65253
VEHICLE_HOURS = 65255
TOTAL_FUEL = 65257
CLOCK = 65254
TRACTOR_BUS = "can0"
IMPLEMENT_BUS = "can1"


@dataclass(frozen=True, slots=True)
class Group:
    """One group that a controller sends; signals of the group that it does not list it lacks."""

    pgn: int
    period_s: float
    """0: only when asked."""
    spns: tuple[int, ...]
    priority: int = 6


@dataclass(frozen=True, slots=True)
class Proprietary:
    """A group of the maker's own, whose meaning is not public."""

    pgn: int
    period_s: float
    destination: int = 255


@dataclass(frozen=True, slots=True)
class Controller:
    """One control function: its NAME, what it sends and how it behaves."""

    key: str
    address: int
    name: Name
    groups: tuple[Group, ...] = ()
    proprietary: tuple[Proprietary, ...] = ()
    dm1: Dm1Manner = "always"
    count_steps: CountSteps = "onset"
    boot_s: float = 0.2
    """From key-on to its first frame."""
    after_run_s: float = 0.8
    """From key-off to its last frame."""
    texts: Mapping[int, bytes] = field(default_factory=dict)
    """Answers to requests, by group."""
    remembers: bool = True
    """It answers requests for its previously active codes (DM2)."""
    freeze_frames: bool = False
    """It answers requests for freeze frames (DM4)."""
    method: int = 4
    """Conversion method of its trouble codes."""
    old_flash: bool = False
    """It leaves the flash byte of its lamps at zero."""
    clock: bool = False
    """It sends the time of day (PGN 65254) every 10 s."""
    channel: str = TRACTOR_BUS


@dataclass(frozen=True, slots=True)
class Machine:
    """One machine of the yard."""

    key: str
    name: str
    build: Build | None
    """None: an implement without an engine."""
    controllers: tuple[Controller, ...]
    vin: str | None = None

    def controller(self, key: str) -> Controller:
        """Return one controller by its key; raises KeyError for a stranger."""
        for one in self.controllers:
            if one.key == key:
                return one
        raise KeyError(key)

    def with_controller(self, new: Controller) -> Machine:
        """Return the machine with one controller replaced by another in the same place."""
        return replace(
            self,
            controllers=tuple(new if one.key == new.key else one for one in self.controllers),
        )
