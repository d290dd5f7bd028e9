"""Where a visit belongs among the others of its machine: by time, else by engine hours.

1. Visits with an exact start stand in the order of their starts.
2. A visit without one is put among those where its engine hours contradict the fewest neighbours
   (an hour meter that once ran backwards must not throw everything about): right after the nearest
   visit known to be at or before its hours, else right before the first known to be after them.
   One that knows only its day stays within that day, and closes it when its hours say nothing.
3. A visit with neither stands before the first that began after it was filed, since it cannot be
   younger than its filing.

Own rule, no source.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import inf

from shearbolt.model.instants import HOUR_US, Instant

_DAY_US = 24 * HOUR_US


@dataclass(frozen=True, slots=True)
class Placing:
    """What of one visit decides about its place."""

    id: str
    start_us: Instant | None
    """Start; of a visit that knows only its day, that day's first microsecond."""
    end_us: Instant | None
    date_only: bool
    hours: float | None
    """Engine hours at its start."""
    filed_us: Instant


def order_visits(visits: Iterable[Placing]) -> list[str]:
    """Return the ids of one machine's visits in their order, whatever order they came in."""
    exact: list[tuple[Instant, Placing]] = []
    loose: list[Placing] = []
    for one in visits:
        if one.start_us is None or one.date_only:
            loose.append(one)
        else:
            exact.append((one.start_us, one))
    exact.sort(key=lambda pair: (pair[0], pair[1].end_us or pair[0], pair[1].filed_us, pair[1].id))
    starts = [start for start, _ in exact]
    hours = [one.hours for _, one in exact]
    before: dict[int, list[Placing]] = {}
    for one in loose:
        before.setdefault(_position(one, starts, hours), []).append(one)
    result: list[str] = []
    for at in range(len(exact) + 1):
        # Days first (two notes of a pause between visits), then hours, then filing.
        here = sorted(before.get(at, ()), key=_loose_key)
        result += [one.id for one in _by_hours_between(here)]
        if at < len(exact):
            result.append(exact[at][1].id)
    return result


def _loose_key(one: Placing) -> tuple[Instant, float, Instant, str]:
    day = one.start_us if one.start_us is not None else one.filed_us
    return (day, one.hours if one.hours is not None else inf, one.filed_us, one.id)


def _by_hours_between(here: Sequence[Placing]) -> list[Placing]:
    """Put those without a day among those with one, by their hours; both are sorted already."""
    dated = [one for one in here if one.start_us is not None]
    rest = [one for one in here if one.start_us is None]
    hours = [one.hours for one in dated]
    slots: dict[int, list[Placing]] = {}
    for one in rest:
        at = len(dated)
        if one.hours is not None:
            at = _fewest_contradictions(one.hours, hours, 0, len(dated))
        slots.setdefault(at, []).append(one)
    result: list[Placing] = []
    for at in range(len(dated) + 1):
        result += sorted(
            slots.get(at, ()),
            key=lambda one: (
                one.hours if one.hours is not None else inf,
                one.filed_us,
                one.id,
            ),
        )
        if at < len(dated):
            result.append(dated[at])
    return result


def _position(one: Placing, starts: Sequence[Instant], hours: Sequence[float | None]) -> int:
    """Return before which of the exactly dated visits a loose one belongs."""
    low, high = 0, len(starts)
    if one.start_us is not None:
        low = bisect_left(starts, one.start_us)
        high = bisect_left(starts, one.start_us + _DAY_US)
    by_filing = bisect_right(starts, one.filed_us)
    if one.hours is None:
        return high if one.start_us is not None else by_filing
    if one.start_us is None and not any(known is not None for known in hours):
        return by_filing
    return _fewest_contradictions(one.hours, hours, low, high)


def _fewest_contradictions(mine: float, hours: Sequence[float | None], low: int, high: int) -> int:
    """Return the position in low..high that the hours on both sides contradict least.

    Of several, the one behind the nearest visit known to be earlier; where none is known to be
    earlier, the last of them, right before the first visit known to be later.
    """
    # Standing before all of them contradicts every visit with hours at or below mine.
    wrong = sum(1 for known in hours[low:high] if known is not None and known <= mine)
    fewest, best, nearest = wrong, low, -inf
    for at in range(low + 1, high + 1):
        known = hours[at - 1]
        if known is not None:
            wrong += 1 if known > mine else -1
        if wrong > fewest:
            continue
        if wrong < fewest:
            fewest, nearest = wrong, -inf
            best = at
        if known is not None and known <= mine and known > nearest:
            best, nearest = at, known
        elif nearest == -inf:
            best = at
    return best
