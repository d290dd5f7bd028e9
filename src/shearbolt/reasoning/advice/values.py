"""The values of an advice: class, where, engine, what to watch, until when, and why."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from shearbolt.dictionary.advice_kinds import CLASSES, AdviceClass, Bound, EngineAction
from shearbolt.model.instants import Instant
from shearbolt.reasoning.advice.limp import Limp

Figures = tuple[tuple[str, float | str], ...]
"""What a sentence needs, by name with its unit: `coolant_c`, `hold_s`."""


@dataclass(frozen=True, slots=True)
class Reason:
    """One reason of an advice: a message key with its figures and the moment it refers to."""

    key: str
    figures: Figures = ()
    visit: str | None = None
    at_us: int | None = None
    """By that visit's clock."""


@dataclass(frozen=True, slots=True)
class Watch:
    """The reading to watch, and the value at which it becomes 'stop now'.

    The value is our cautious default; where the maker's limit is known that one counts.
    """

    bound: Bound
    on_bus: bool
    """The machine sends it; else it is read off the dash or by hand."""
    volts_unknown: bool = False
    """It is a voltage of a 12 V system, and whether the machine is one is not known."""


@dataclass(frozen=True, slots=True)
class Until:
    """When an advice ends, whatever comes first of place, load or hours."""

    key: str
    """Message key: yard, day_end, before_creep, cause_found, open, ..."""
    hours: float | None
    """Engine hours from `as_of`."""


@dataclass(frozen=True, slots=True)
class Advice:
    """What to do with the machine if this fault is on."""

    fault: str
    kind: str
    advice: AdviceClass
    """Judged at the worst moment of its recorded spells; it does not fade."""
    applies_now: bool
    place: str | None
    """Where first: message key; None where nothing must stop."""
    engine: EngineAction | None
    watch: Watch | None
    until: Until
    because: tuple[Reason, ...]
    cautions: tuple[str, ...]
    """Keys of cautions.csv."""
    as_of: Instant | None
    """End of the last look at the machine; None: no date is known."""
    as_of_visit: str | None
    as_of_h: float | None
    """Engine hours then."""
    root: str | None
    release: str
    """What lifts a power limit that it causes: message key; empty: not known or none."""


@dataclass(frozen=True, slots=True)
class MachineAdvice:
    """What a machine may do today, as far as this book knows."""

    advice: AdviceClass | None
    """The worst that applies now; None: nothing can be said, which is no green word."""
    because: tuple[Reason, ...]
    fault: str | None
    """The fault that it comes from."""
    as_of: Instant | None
    as_of_visit: str | None
    not_looked_at_since: bool
    """The last look is more than 20 engine hours or 14 days old."""
    not_tested: bool
    """Cleared, and not run since for long enough to test anything."""
    by_fault: Mapping[str, Advice]
    limps: tuple[Limp, ...] = ()
    """Every stretch of limited power."""


@dataclass(frozen=True, slots=True)
class Now:
    """The moment that is judged for."""

    at_us: Instant | None
    hours: float | None
    """Engine hours now, where known."""


@dataclass(frozen=True, slots=True)
class Gauge:
    """A reading of a mechanical oil-pressure gauge, filed by a person."""

    fault: str
    hours: float
    """Engine hours at which it was read."""
    sound: bool
    """It showed enough pressure."""
    by: str
    """Who read it."""


def worst(classes: Iterable[AdviceClass]) -> AdviceClass:
    """Return the most careful of some classes; 'note_only' of none."""
    return max(classes, key=CLASSES.index, default="note_only")
