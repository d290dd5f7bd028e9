"""What is wrong with a machine at one moment, as data: the causes at work, put together.

A healthy machine is `Plight()`. Causes (see `causes`) turn it into worse ones; the trace, the
sensing and the bus are worked out from it.
"""

from __future__ import annotations

import zlib
from dataclasses import dataclass, field
from typing import Literal

Driver = Literal[
    "always", "vibration", "steering", "boom", "hitch", "wet", "warm", "cold", "cranking",
    "running", "pickup",
]  # fmt: skip
"""What brings an intermittent trouble about."""


@dataclass(frozen=True, slots=True)
class Health:
    """State of mechanics and fluids; shares are of a sound part, 1 is sound."""

    radiator: float = 1.0
    thermostat_open: float = 0.0
    """It never shuts further than this share."""
    thermostat_shut: float = 0.0
    """It never opens further than 1 less this share."""
    fan: float = 1.0
    """What the fan clutch still carries."""
    water_pump: float = 1.0
    coolant_level_pct: float = 98.0
    bearings: float = 1.0
    """Clearance in shares of new: more is looser."""
    oil_thinness: float = 1.0
    """Viscosity in shares of good oil's: fuel in it makes it less."""
    oil_level: float = 1.0
    oil_relief: float = 1.0
    """Setting of the relief valve in shares: a stuck one opens early."""
    hydraulic_filter: float = 1.0
    """Free area of the element."""
    hydraulic_thickness: float = 1.0
    """Viscosity in shares of the right oil's."""
    hydraulic_cooler: float = 1.0
    hydraulic_leak: float = 0.0
    """Share of the flow lost inside pump and valves, as heat."""
    hydraulic_level_pct: float = 91.0
    fuel_filter: float = 1.0
    """Free area of the element."""
    fuel_pump: float = 1.0
    rail_leak: float = 0.0
    """Share of the rail's flow lost in injectors or the regulator."""
    water_in_fuel_ml: float = 20.0
    air_filter: float = 1.0
    """Free area of the element."""
    charge_cooler: float = 1.0
    boost_leak: float = 0.0
    turbo: float = 1.0
    transmission_cooler: float = 1.0
    transmission_pump: float = 1.0
    clutch_slip_pct: float = 0.0
    """Slip at full load."""
    def_concentration_pct: float = 32.5
    doser: float = 1.0
    catalyst: float = 1.0
    soot: float = 1.0
    """Soot made, in shares of a sound engine's."""
    oxidation: float = 1.0
    """What the oxidation catalyst before the filter still does."""
    filter_crack: float = 0.0
    """Share of the exhaust that passes the filter by."""
    ash_pct: float = 0.0
    """On top of the day's."""
    alternator: float = 1.0
    regulator_v: float = 0.0
    """Added to the charging voltage, 12 V system."""
    battery_charge: float = 1.0
    """Shares of the day's state of charge."""
    battery_resistance: float = 1.0
    ground_ohm: float = 0.0
    """Main ground: between battery and frame."""
    feed_ohm: float = 0.0
    """Main feed: between battery and fuse box."""
    parasitic_a: float = 0.0
    implement_ohm: float = 0.0
    """In the plug that feeds the implement."""
    air_leak: float = 0.0
    """Of the brake air, in shares of what the compressor makes."""
    wheel_slip: float = 0.0


@dataclass(frozen=True, slots=True)
class Habits:
    """How the machine is used; zero is by the book."""

    leaves_seat_an_hour: float = 0.0
    """Leaves the seat with the PTO on, or in gear."""
    park_dragged: float = 0.0
    """Share of drives that begin with the park lever still set."""
    rides_brake: float = 0.0
    """Share of the driving with a foot on the brake."""
    rides_clutch: float = 0.0
    revs_cold: bool = False
    starts_in_gear: bool = False
    pto_at_high_speed: bool = False
    """Engages the PTO at full engine speed."""
    lugs: float = 0.0
    """Shares of rated speed that the engine is pulled down to full load."""
    overloads: float = 0.0
    """Share of load above what the machine is made for."""
    isolates_early: bool = False
    """Turns the isolator while controllers still run on after key-off."""


BY_THE_BOOK = Habits()


@dataclass(frozen=True, slots=True)
class When:
    """At which moments an intermittent trouble is there."""

    driver: Driver = "always"
    above: float = 0.0
    """The driving quantity must be beyond this (or below, for `cold`)."""
    share: float = 1.0
    """Of those moments, the share in which it is there."""
    long_s: float = 0.4
    """About how long it lasts each time."""


ALWAYS = When()


@dataclass(frozen=True, slots=True)
class SensorFault:
    """A sensing device that tells something else than is so."""

    spn: int
    kind: Literal["offset", "gain", "stuck", "noise", "slow", "dropout"]
    size: float
    """In the reading's unit; for `gain` a factor, for `slow` seconds, for `stuck` the value (NaN:
    the first one)."""
    controller: str | None = None
    """None: whichever controller reads it."""
    when: When = ALWAYS
    pivot: float = 0.0
    """Reading that a wrong gain leaves as it is."""


@dataclass(frozen=True, slots=True)
class WireFault:
    """Something wrong in the circuit between one sensor and its controller."""

    spn: int
    kind: Literal["open", "short_minus", "short_plus", "resistance"]
    ohm: float = 0.0
    controller: str | None = None
    when: When = ALWAYS


@dataclass(frozen=True, slots=True)
class RailFault:
    """The reference supply that several sensors of one controller share is not at 5 V."""

    controller: str
    rail: str
    volts: float
    when: When = ALWAYS


@dataclass(frozen=True, slots=True)
class FeedFault:
    """The feed of one controller: resistance, or open at moments."""

    controller: str
    ohm: float
    """Infinity: open."""
    when: When = ALWAYS


@dataclass(frozen=True, slots=True)
class BusFault:
    """Something wrong on a bus, or with one who takes part in it."""

    kind: Literal["no_terminator", "chafed", "mute", "babble", "corrupts"]
    size: float
    """Share of frames lost (at full load of the bus); for `babble` frames a second."""
    channel: str = "can0"
    controller: str | None = None
    """Who is mute or disturbs."""
    when: When = ALWAYS


@dataclass(frozen=True, slots=True)
class Plight:
    """All that is wrong."""

    health: Health = Health()
    habits: Habits = Habits()
    sensors: tuple[SensorFault, ...] = ()
    wires: tuple[WireFault, ...] = ()
    rails: tuple[RailFault, ...] = ()
    feeds: tuple[FeedFault, ...] = ()
    buses: tuple[BusFault, ...] = ()
    inhibits: frozenset[int] = field(default_factory=frozenset)
    """Reasons (SPNs 3703 to 3715) that keep active regeneration from starting all the time."""


HEALTHY = Plight()


def word_seed(*words: object) -> int:
    """Return a seed that goes with words, the same on every machine."""
    return zlib.crc32(repr(words).encode())
