"""What happened between visits, as far as occurrence counts and memory lists tell.

A count is one number heard now and then: the difference of two of them is the number of starts in
between, less those that the book's own spells show (panel counts: Sun and Zhao 2013; Cook and
Lawless 2007). When the count steps differs by sender (SAE J1939-73 leaves it open; measured on
open recordings) and is learnt (`manners`); 126 means 'at least'; a fall without a clear heard is a
clear that nobody saw, and from there on counts only bound.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

from shearbolt.model.fault import COUNT_FULL, Cleared, FaultSeen, Spell
from shearbolt.model.instants import Instant
from shearbolt.reasoning.case import FaultCase, MachineCase, VisitCase
from shearbolt.reasoning.manners import CountSteps
from shearbolt.reasoning.senders import (
    active_at,
    by_id,
    place_of,
    senders_in,
    sightings,
    steps_by_place,
)
from shearbolt.reasoning.standing import MEMORY_LISTS, clear_reaches

Why = Literal[
    "count_rose",
    "before_first_visit",
    "count_after_clear",
    "count_after_unseen_clear",
    "listed_after_clear",
    "count_at_stop",
    "steps_unknown",
    "one_a_key_cycle",
    "kept_over_clear",
]
"""What a number of starts rests on, and what bounds it."""


@dataclass(frozen=True, slots=True)
class Unrecorded:
    """Starts of one fault that no spell of the book shows."""

    after_visit: str | None
    """Last visit before them; None: before the first that counted."""
    before_visit: str
    """First visit after them; the same as `after_visit`: within one, unheard."""
    from_h: float | None
    to_h: float | None
    """Engine hours between which they lie."""
    from_us: Instant | None
    to_us: Instant | None
    """Instants between which they lie."""
    at_least: int
    at_most: int | None
    """None: the counts set no upper bound."""
    count_before: int | None
    count_after: int | None
    why: tuple[Why, ...]


@dataclass(frozen=True, slots=True)
class Reset:
    """An occurrence count set back."""

    after_visit: str | None
    before_visit: str
    from_h: float | None
    to_h: float | None
    count_before: int
    count_after: int | None
    """Count told next; None: none was told since."""
    heard: bool
    """False: it fell and no clear was heard (a tool, a flat battery, new software, a new unit)."""


@dataclass(frozen=True, slots=True)
class Between:
    """All that counts tell of one fault beside its spells."""

    fault: str
    steps: CountSteps
    """How its sender's counts step."""
    unrecorded: tuple[Unrecorded, ...]
    resets: tuple[Reset, ...]

    @property
    def at_least(self) -> int:
        """Starts that nobody recorded, since the first visit that counted; at least so many."""
        return sum(one.at_least for one in self.unrecorded if one.after_visit is not None)

    @property
    def at_most(self) -> int | None:
        """The same, at most; None: no bound, as where counts do not step by starts."""
        if self.steps not in ("at_onset", "at_end"):
            return None
        total = 0
        for one in self.unrecorded:
            if one.after_visit is not None:
                if one.at_most is None:
                    return None
                total += one.at_most
        return total


@dataclass(frozen=True, slots=True)
class _Point:
    """One thing told of a fault at one instant: a count, a bare listing, a clear."""

    visit: int
    at_us: int
    what: Literal["count", "memory", "clear"]
    count: int | None
    active: bool


@dataclass(frozen=True, slots=True)
class _Shown:
    """All spells of one fault in their order, and where each starts: visit and its own clock."""

    starts: list[tuple[int, int]]
    spells: list[Spell]


def between_visits(case: MachineCase) -> dict[str, Between]:
    """Reconcile counts, memory lists, clears and spells of every fault of a machine."""
    faults = by_id(case.faults)
    steps = steps_by_place(case)
    seen = sightings(case)
    found: dict[str, Between] = {}
    for fault in case.faults:
        looks = {one.visit: one.seen for one in seen[fault.fault]}
        points = _points(case, fault, looks, faults)
        shown = _shown(looks)
        found[fault.fault] = _reconcile(
            case, fault.fault, steps.get(place_of(fault), "unknown"), shown, points
        )
    return found


def _shown(looks: Mapping[int, FaultSeen]) -> _Shown:
    pairs = [(index, spell) for index in sorted(looks) for spell in looks[index].spells]
    return _Shown([(index, one.start_us) for index, one in pairs], [one for _, one in pairs])


def _points(
    case: MachineCase,
    fault: FaultCase,
    looks: Mapping[int, FaultSeen],
    faults: Mapping[str, FaultCase],
) -> list[_Point]:
    points: list[_Point] = []
    active = False
    for index, visit in enumerate(case.visits):
        here: list[_Point] = []
        seen = looks.get(index)
        if seen is not None:
            for one in seen.counts:
                for at_us in sorted({one.first_us, one.last_us}):
                    if one.count is not None and not one.cleared:
                        here.append(
                            _Point(index, at_us, "count", one.count, active_at(seen, at_us))
                        )
            if not seen.counts and set(seen.sources) & MEMORY_LISTS and not seen.spells:
                here.append(_Point(index, seen.first_us, "memory", None, False))
        for clear in _clears_of(visit, fault, faults):
            on = active_at(seen, clear.at_us) if seen is not None else active
            if clear_reaches(clear, fault.spn, fault.fmi, on):
                here.append(_Point(index, clear.at_us, "clear", 0, on))
        # A clear and a count of one instant: the count was told first.
        here.sort(key=lambda one: (one.at_us, one.what == "clear"))
        points.extend(here)
        if seen is not None:
            active = bool(seen.spells) and seen.spells[-1].ended_by not in ("healed", "unknown")
    return points


def _clears_of(
    visit: VisitCase, fault: FaultCase, faults: Mapping[str, FaultCase]
) -> list[Cleared]:
    senders = senders_in(visit, fault, faults)
    return [
        one
        for one in visit.clears
        if senders
        and (one.controller is None or (one.channel, one.controller) in senders)
        and one.result == "done"
    ]


def _reconcile(
    case: MachineCase,
    fault: str,
    steps: CountSteps,
    shown: _Shown,
    points: Sequence[_Point],
) -> Between:
    unrecorded: list[Unrecorded] = []
    resets: list[Reset] = []
    if steps != "never" and points:
        first = points[0]
        told = _first(case, steps, shown, first)
        if told is not None:
            unrecorded.append(told)
        before: _Point | None = None
        kept: int | None = None
        """Count that stood before the last clear, as long as nothing was told since."""
        for one, after in pairwise(points):
            if one.what == "count":
                before = one
            if after.what == "clear":
                if before is not None and before.count and kept is None:
                    resets.append(_reset(case, before, after, _told_next(points, after), True))
                    kept = before.count
                # A clear and the count before it lie in one recording: the spells are all there.
                if one.visit != after.visit:
                    _add(unrecorded, _up_to_clear(case, steps, shown, one, after))
                continue
            if one.what == "clear" and after.what == "count" and after.count == kept and kept:
                if resets and resets[-1].heard:
                    resets.pop()
                _add(unrecorded, _bounded(case, one, after, 0, None, ("kept_over_clear",)))
            else:
                if one.what == "count" and after.what == "count" and _fell(one, after):
                    resets.append(_reset(case, one, after, after.count, False))
                _add(unrecorded, _pair(case, steps, shown, one, after))
            kept = None
    return Between(fault, steps, tuple(unrecorded), tuple(resets))


def _add(found: list[Unrecorded], one: Unrecorded | None) -> None:
    if one is not None:
        found.append(one)


def _fell(one: _Point, after: _Point) -> bool:
    return one.count is not None and after.count is not None and after.count < one.count


def _told_next(points: Sequence[_Point], clear: _Point) -> int | None:
    later = points[points.index(clear) + 1 :]
    return next((one.count for one in later if one.what == "count"), None)


def _first(case: MachineCase, steps: CountSteps, shown: _Shown, first: _Point) -> Unrecorded | None:
    """Tell what the very first count says of the time before the book."""
    if first.what != "count" or first.count is None:
        return None
    starts = _starts_since_zero(steps, first.count, first.active)
    seen, _ = _visible(shown, None, first, was_on=False)
    at_least = max(0, starts - seen)
    if not at_least:
        return None
    why: tuple[Why, ...] = ("before_first_visit",)
    if first.count >= COUNT_FULL:
        why += ("count_at_stop",)
    return _bounded(case, None, first, at_least, None, why)


def _up_to_clear(
    case: MachineCase,
    steps: CountSteps,
    shown: _Shown,
    one: _Point,
    clear: _Point,
) -> Unrecorded | None:
    """Between a count and a clear in a later visit nothing bounds the starts."""
    if clear.active and not one.active and one.what == "count":
        seen, _ = _visible(shown, one, clear, was_on=False)
        if not seen:
            return _bounded(case, one, clear, 1, None, ("count_rose",))
    return None


def _pair(
    case: MachineCase,
    steps: CountSteps,
    shown: _Shown,
    one: _Point,
    after: _Point,
) -> Unrecorded | None:
    """Tell the starts between two points that no spell shows; None: none."""
    if after.what == "memory":
        seen, _ = _visible(shown, one, after, was_on=one.active)
        if one.what == "clear" and not seen and not one.active:
            return _bounded(case, one, after, 1, None, ("listed_after_clear",))
        return None
    if one.what == "memory" or after.count is None:
        return None
    shown_most, shown_least = _visible(shown, one, after, was_on=one.active)
    if one.what == "clear" or _fell(one, after):
        # An active fault is listed again after a clear: that is no new start.
        again = 1 if one.active else 0
        starts = _starts_since_zero(steps, after.count, after.active) - again
        at_least = max(0, starts - shown_most)
        if one.what == "clear" and steps in ("at_onset", "at_end") and after.count < COUNT_FULL:
            most = max(0, _starts_since_zero(steps, after.count, after.active) - shown_least)
            if not most:
                return None
            return _bounded(case, one, after, at_least, most, ("count_after_clear",))
        why: Why = "count_after_clear" if one.what == "clear" else "count_after_unseen_clear"
        if one.what == "clear" and not at_least:
            return None
        return _bounded(case, one, after, at_least, None, (why,))
    assert one.count is not None
    if one.count >= COUNT_FULL:
        return (
            _bounded(case, one, after, 0, None, ("count_at_stop",))
            if _apart(case, one, after)
            else None
        )
    return _risen(case, steps, one, after, shown_most, shown_least)


def _risen(
    case: MachineCase,
    steps: CountSteps,
    one: _Point,
    after: _Point,
    shown_most: int,
    shown_least: int,
) -> Unrecorded | None:
    assert one.count is not None
    assert after.count is not None
    rise = after.count - one.count
    ends = rise + int(after.active) - int(one.active)
    full = after.count >= COUNT_FULL
    why: tuple[Why, ...] = ("count_rose", "count_at_stop") if full else ("count_rose",)
    if steps == "at_onset" or steps == "at_end":
        starts = rise if steps == "at_onset" else ends
        at_least, at_most = max(0, starts - shown_most), max(0, starts - shown_least)
        if not at_most and not full:
            return None
        return _bounded(case, one, after, at_least, None if full else at_most, why)
    if not rise:
        return None
    # Each key cycle that counted had one start or more; one cycle may be that of a spell shown.
    cycles = max(0, rise - shown_most)
    if steps == "once_per_key_cycle":
        return _bounded(case, one, after, cycles, None, (*why, "one_a_key_cycle"))
    least = max(0, min(rise, ends) - shown_most)
    return _bounded(case, one, after, min(least, cycles), None, (*why, "steps_unknown"))


def _starts_since_zero(steps: CountSteps, count: int, active: bool) -> int:
    """Give the least number of starts that a count stands for."""
    if steps == "at_end":
        return count + int(active)
    return count


def _visible(shown: _Shown, one: _Point | None, after: _Point, was_on: bool) -> tuple[int, int]:
    """Count the starts that spells show after one point and up to another: at most, at least.

    A spell whose start was not seen may be the one before it going on.
    """
    most = least = 0
    begin = bisect_right(shown.starts, (one.visit, one.at_us)) if one is not None else 0
    before = shown.spells[begin - 1] if begin else None
    for spell in shown.spells[begin : bisect_right(shown.starts, (after.visit, after.at_us))]:
        most += 1
        # Where nothing was told of the time before, it may have been on all along.
        open_before = was_on if before is None else before.ended_by != "healed"
        goes_on = not spell.start_known and (open_before or one is None)
        least += 0 if goes_on else 1
        before = spell
    return most, least


def _apart(case: MachineCase, one: _Point, after: _Point) -> bool:
    return one.visit != after.visit


def _hours_at(visit: VisitCase, at_us: int, edge: Literal["start", "end"]) -> float | None:
    """Give the engine hours of an instant within a visit: between its ends, as time goes."""
    start, end = visit.hours_start, visit.hours_end
    if start is None or end is None:
        return start if edge == "start" or end is None else end
    span = visit.latest_us - visit.earliest_us
    if span <= 0:
        return start
    part = min(1.0, max(0.0, (at_us - visit.earliest_us) / span))
    return start + part * (end - start)


def _bounded(
    case: MachineCase,
    one: _Point | None,
    after: _Point,
    at_least: int,
    at_most: int | None,
    why: tuple[Why, ...],
) -> Unrecorded:
    later = case.visits[after.visit]
    earlier = case.visits[one.visit] if one is not None else None
    same = one is not None and one.visit == after.visit
    from_us = to_us = from_h = to_h = None
    if earlier is not None and one is not None:
        # Beyond the point the recording went on and its spells tell what there was.
        left_us = one.at_us if same else earlier.latest_us
        from_h = _hours_at(earlier, left_us, "end")
        from_us = earlier.zero_us + left_us if earlier.zero_us is not None else None
    right_us = after.at_us if same else later.earliest_us
    to_h = _hours_at(later, right_us, "start")
    to_us = later.zero_us + right_us if later.zero_us is not None else None
    return Unrecorded(
        earlier.visit if earlier is not None else None,
        later.visit,
        from_h,
        to_h,
        from_us,
        to_us,
        at_least,
        at_most,
        one.count if one is not None else None,
        after.count,
        why,
    )


def _reset(
    case: MachineCase, one: _Point, after: _Point, count_after: int | None, heard: bool
) -> Reset:
    span = _bounded(case, one, after, 0, None, ())
    assert one.count is not None
    return Reset(
        span.after_visit,
        span.before_visit,
        span.from_h,
        span.to_h,
        one.count,
        count_after,
        heard,
    )
