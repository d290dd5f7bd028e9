"""A machine's line as one fault saw it: looks and the time between, with starts and exposure.

Exposure is time in which a start would have been seen: recorded while its sender was heard and the
fault was not active (dead time; Cox 1962), and, between two looks, where the occurrence count or an
empty memory tells how many starts there were (panel counts; Sun and Zhao 2013), or where a person
notes the fault whenever it comes. All other time is blind: neither exposure nor clean.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Literal

from shearbolt.model.instants import Instant

Scale = Literal[
    "engine_hours", "starts", "key_cycles", "loaded_hours", "fuel_l", "km", "setting_hours"
]
"""What exposure is counted in. starts: of the engine; setting_hours: in the fault's own setting."""
Watcher = Literal["recording", "counts", "person"]


@dataclass(frozen=True, slots=True)
class Start:
    """One start of a fault, its spells joined over the sender's heal delay."""

    place: int
    """Index of its visit."""
    at_s: float
    """By the visit's clock; of a start that was not seen, the first sign of it."""
    seen: bool
    """The start itself was seen; False: it was on when its sender was first heard."""
    goes_on: bool
    """It is the spell of an earlier look going on: the count had not risen."""
    opened: bool
    """It opened the watch: the machine was first looked at because of it."""
    cycle: int
    """Key cycle of the visit."""
    part: float
    """Share of the visit's exposure that lies before it."""
    hours: float | None
    """Engine hours at it."""


@dataclass(frozen=True, slots=True)
class Stretch:
    """A visit, or the time between two, as exposure."""

    place: int
    """Index of the visit, or of the visit that ends the time between."""
    recorded: bool
    from_h: float | None
    to_h: float | None
    """Engine hours at its ends."""
    watcher: Watcher | None
    """None: blind."""
    amounts: Mapping[Scale, float]
    """Exposure on each scale that is known here; nothing where blind."""
    estimated: frozenset[Scale]
    """Scales on which it is estimated from the recorded share."""
    active_cycles: int = 0
    """Key cycles of a visit in which the fault was active."""


@dataclass(frozen=True, slots=True)
class Group:
    """Starts between two looks, known by their number alone."""

    after: int
    """Visit before them."""
    until: int
    """Visit that told of them."""
    at_least: int
    at_most: int | None
    bounds_only: bool
    """The time between gives no exposure: nothing sets an upper bound."""


@dataclass(frozen=True, slots=True)
class Cut:
    """Where a repair lies on the line: in the time before a visit, at an engine-hour reading.

    A reading within the hours of that visit cuts it: the repair was done while it was recorded.
    """

    place: int
    hours: float | None


@dataclass(frozen=True, slots=True)
class Window:
    """The line between two repairs, or its open ends."""

    begin: Cut | None
    end: Cut | None

    def holds_start(self, start: Start) -> bool:
        """Tell whether a start lies in it."""
        return (self.begin is None or not _lies_before(start, self.begin)) and (
            self.end is None or _lies_before(start, self.end)
        )

    def part_of(self, stretch: Stretch) -> tuple[float, float]:
        """Give the part of a stretch that lies in it, as shares of its length; equal: none.

        Of time between visits with a repair in it whose hours are not known nothing is taken; a
        visit belongs whole to what comes after the repair before it, unless the repair's hours lie
        within its own.
        """
        low, high = 0.0, 1.0
        if self.begin is not None:
            if stretch.place < self.begin.place:
                return 0.0, 0.0
            if stretch.place == self.begin.place:
                low = _share(stretch, self.begin.hours, 0.0 if stretch.recorded else 1.0)
        if self.end is not None:
            if stretch.place > self.end.place:
                return 0.0, 0.0
            if stretch.place == self.end.place:
                high = _share(stretch, self.end.hours, 0.0)
        return (low, high) if high > low else (0.0, 0.0)

    def holds_group(self, group: Group) -> bool | None:
        """Tell whether grouped starts lie in it; None: some may, some may not."""
        begins = 0 if self.begin is None else self.begin.place
        ends = None if self.end is None else self.end.place
        if group.until < begins or (ends is not None and group.after >= ends):
            return False
        inside = self.begin is None or group.after >= begins
        inside = inside and (ends is None or group.until < ends)
        return True if inside else None


def _lies_before(start: Start, cut: Cut) -> bool:
    if start.place != cut.place:
        return start.place < cut.place
    known = start.seen and start.hours is not None and cut.hours is not None
    return known and (start.hours or 0.0) < (cut.hours or 0.0)


def _share(stretch: Stretch, hours: float | None, unknown: float) -> float:
    if hours is None or stretch.from_h is None or stretch.to_h is None:
        return unknown
    if stretch.to_h <= stretch.from_h:
        return unknown
    return min(1.0, max(0.0, (hours - stretch.from_h) / (stretch.to_h - stretch.from_h)))


@dataclass(frozen=True, slots=True)
class Line:
    """All of one fault's line."""

    fault: str
    stretches: tuple[Stretch, ...]
    """In their order: a visit, the time after it, the next visit."""
    starts: tuple[Start, ...]
    """Shown by the book's spells, in their order."""
    groups: tuple[Group, ...]
    heal_delay_s: float
    """Spells closer than that are one start."""
    instants: tuple[tuple[Instant | None, Instant | None], ...]
    """First and last instant of every visit."""
    hours: tuple[tuple[float | None, float | None], ...]
    """Engine hours at the ends of every visit."""
    ends_active: bool
    """It was still on when it was last heard of."""

    def within(self, window: Window) -> Iterator[tuple[Stretch, float, float]]:
        """Give the stretches that a window holds, with the part that lies in it."""
        for one in self.stretches:
            low, high = window.part_of(one)
            if high > low:
                yield one, low, high
