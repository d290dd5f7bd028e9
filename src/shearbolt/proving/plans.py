"""What a machine's season is made of, as data: troubles, mendings, happenings and looks.

Moments are dates of the season ('06-26', or '06-26 14' with the hour, UTC) or engine hours since
the season's first key-on.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from typing import Literal, TypeAlias

from shearbolt.proving.calendar import YEAR, Shift
from shearbolt.proving.causes import Active, Course, cause, repair
from shearbolt.proving.controllers import Machine
from shearbolt.proving.hardware import perturbed_build

Moment: TypeAlias = str | float
"""A date of the season, or engine hours since its first key-on."""
Part = Literal["start", "work", "end", "whole"]
"""Which part of a shift is recorded: from the key on, amid the work, up to key-off, or all."""


@dataclass(frozen=True, slots=True)
class Trouble:
    """A true cause that comes to a machine."""

    cause: str
    """Key of the catalogue."""
    at: Moment
    grows_h: float = 0.0
    """Engine hours until it is at its peak; 0: at once."""
    peak: float = 1.0
    bend: float = 1.0
    on_implement: bool = False
    """It travels with the implement, and is there only when that is hitched."""


@dataclass(frozen=True, slots=True)
class Mending:
    """Something done to a machine, with what was written down about it."""

    at: Moment
    repairs: tuple[str, ...]
    """Keys of the list of repairs: what was done in truth."""
    text: str
    """As it was written down."""
    about: tuple[tuple[int, int], ...] = ()
    """SPN and FMI of the faults that it was done for."""
    cleared: bool = False
    """The codes were cleared with it, by a tester."""
    codes: tuple[str, ...] = ()
    """The same for road vehicles: P-codes."""


@dataclass(frozen=True, slots=True)
class Happening:
    """Something that happened, or was seen, and was written down."""

    at: Moment
    text: str
    kind: Literal["event", "symptom", "code"] = "event"
    wet: bool = False
    """The machine was washed, or stood in the rain."""
    doing: str | None = None
    warmth: Literal["hot", "cold"] | None = None
    minutes_since_start: float | None = None
    with_hours: bool = True
    """The engine hours were written down."""


@dataclass(frozen=True, slots=True)
class LookPlan:
    """A recording that somebody makes."""

    at: Moment
    part: Part = "start"
    seconds: int = 150
    form: str = "log.gz"
    """Format by its endings: log, asc, blf, trc, csv or mf4, with .gz or .zst behind."""
    tester: bool = False
    """A tester is plugged in and asks for identification, hours and memories."""
    asks_names: bool = True
    """Whoever records asks who is there (address claims)."""
    kind: str | None = None
    """Another kind of work than the calendar's."""
    hitched: bool = True
    """The implement is behind it."""
    relative: bool = False
    regenerates: bool = False
    """The driver asks for an active regeneration, standing, at the end."""
    clears: bool = False
    """The tester clears the codes (DM11) at the end, the engine stopped where it can be."""
    logger: bool = False
    """A logger was left on the plug: it asks nothing, and keeps the public groups only, one frame
    of each in a second (what comes by transport or on a change is kept whole)."""


@dataclass(frozen=True, slots=True)
class MachinePlan:
    """One machine's season as it was meant."""

    machine: Machine
    hours: float
    """Engine hours at the season's first key-on."""
    troubles: tuple[Trouble, ...] = ()
    mendings: tuple[Mending, ...] = ()
    happenings: tuple[Happening, ...] = ()
    looks: tuple[LookPlan, ...] = ()
    implement: Machine | None = None
    """Hitched when it carts."""
    hitched: tuple[str, str] = ("01-01", "12-31")
    """Between which days the implement is its own."""
    writes: float = 0.5
    """How likely its driver writes down a code when a lamp comes on."""
    drivers: tuple[str, ...] = ()
    stale: bool = True
    """Its controllers remember codes of other years."""
    swaps: tuple[tuple[Moment, str, int], ...] = ()
    """Controllers exchanged: when, which, and the new one's identity number."""
    about: str = ""
    """The story in a line."""


def moment_at(when: str, year: int = YEAR) -> datetime:
    """Read a date of the season; raises ValueError for anything else."""
    day, _, hour = when.partition(" ")
    month, date = (int(part) for part in day.split("-"))
    return datetime(year, month, date, tzinfo=UTC) + timedelta(hours=float(hour or 0.0))


def hours_of(shifts: Sequence[Shift], when: Moment) -> float:
    """Return the engine hours since the season's first key-on at a moment.

    Between shifts it is the end of the last; within one it goes by the clock.
    """
    if not isinstance(when, str):
        return float(when)
    moment = moment_at(when, shifts[0].start.year)
    done = 0.0
    for one in shifts:
        if one.start >= moment:
            return one.before_h
        done = one.before_h + min(one.hours, (moment - one.start).total_seconds() / 3600.0)
    return done


def shift_at(shifts: Sequence[Shift], hours: float) -> tuple[Shift, float]:
    """Return the shift that works at some engine hours, and how long it has worked then (h).

    Hours beyond the season are the end of its last shift.
    """
    low, high = 0, len(shifts) - 1
    while low < high:
        middle = (low + high + 1) // 2
        if shifts[middle].before_h <= hours + 1e-9:
            low = middle
        else:
            high = middle - 1
    one = shifts[low]
    return one, float(min(max(0.0, hours - one.before_h), one.hours))


def time_at(shifts: Sequence[Shift], hours: float) -> datetime:
    """Return when some engine hours of the season were reached."""
    one, into = shift_at(shifts, hours)
    return one.start + timedelta(hours=into)


def actives_of(
    shifts: Sequence[Shift], troubles: Sequence[Trouble], mendings: Sequence[Mending]
) -> tuple[Active, ...]:
    """Return the causes at work, with every repair of the season; hours are the season's own."""
    done = tuple((hours_of(shifts, one.at), repair(key)) for one in mendings for key in one.repairs)
    left = tuple(sorted(done, key=lambda one: one[0]))
    return tuple(
        Active(
            cause(one.cause),
            Course(hours_of(shifts, one.at), one.grows_h, one.peak, one.bend),
            left,
        )
        for one in troubles
    )


def another(
    machine: Machine, name: str, number: int, vin: str | None = None, spread: float = 0.05
) -> Machine:
    """Return a second machine of one kind: its own name, boxes, VIN and sample of the hardware.

    `number` tells it apart from all others of its kind.
    """
    boxes = tuple(
        replace(one, name=replace(one.name, value=_renumbered(one.name.value, number)))
        for one in machine.controllers
    )
    build = None if machine.build is None else perturbed_build(machine.build, number, spread)
    if vin is not None and machine.vin is not None:
        boxes = tuple(
            replace(
                one,
                texts={
                    pgn: text.replace(machine.vin.encode(), vin.encode())
                    for pgn, text in one.texts.items()
                },
            )
            for one in boxes
        )
    return replace(machine, name=name, build=build, controllers=boxes, vin=vin or machine.vin)


def _renumbered(value: int, number: int) -> int:
    """Return a NAME whose identity number (its lowest 21 bits) is another."""
    identity = (value & 0x1FFFFF) + 977 * number
    return (value & ~0x1FFFFF) | (identity & 0x1FFFFF)


__all__ = [
    "Happening", "LookPlan", "MachinePlan", "Mending", "Moment", "Part", "Trouble", "actives_of",
    "another", "hours_of", "moment_at", "shift_at", "time_at",
]  # fmt: skip
