"""From a machine's case to each fault's line: what was heard, what was shown, what was counted."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

import numpy as np

from shearbolt.model.fault import COUNT_FULL, FaultSeen, Spell
from shearbolt.model.instants import SECOND_US
from shearbolt.model.visit import TextAnswer
from shearbolt.reasoning.between import Between
from shearbolt.reasoning.case import FaultCase, MachineCase, VisitCase
from shearbolt.reasoning.follow_up.amounts import (
    Spans,
    amounts_of,
    part_before,
    table_once,
    whole_visit_s,
)
from shearbolt.reasoning.follow_up.line import Group, Line, Scale, Start, Stretch, Watcher
from shearbolt.reasoning.quantity_view import QuantityView
from shearbolt.reasoning.senders import by_id, place_of, senders_in
from shearbolt.reasoning.standing import MEMORY_LISTS, clear_reaches

Answers = Mapping[str, Sequence[TextAnswer]]
"""What controllers told in each visit: readiness and counters (SAE J1939-73 DM5, DM26)."""
HEAL_DELAY_S = (2.0, 60.0)
"""Bounds of a sender's heal delay as its shortest spell tells it (own rule)."""
JUST_NOTED_H = 1.0
"""What is on in a recording this soon after a person noted it is what the person noted."""
BY_THE_HOUR: tuple[Scale, ...] = ("loaded_hours", "fuel_l", "km")
"""Scales on which time between looks is reckoned from engine hours. Starts and key cycles are not:
looks are short, and have many of both in an hour."""
ROAD = frozenset({"obd", "uds"})
"""Kinds whose controllers tell a list when they are asked, and no spells."""
BY_PERSON = frozenset({"hand", "symptom"})


@dataclass(frozen=True, slots=True)
class Ears:
    """What one visit could tell of a fault."""

    heard_s: tuple[float, float] | None
    """First and last sign of its sender; None: a start would not have been seen."""
    active_s: Spans
    spells: tuple[tuple[float, float, Spell], ...]
    """Spells joined over the heal delay: start, end, and the first of each."""


@dataclass(frozen=True, slots=True)
class Builder:
    """A machine's case with its views, for the lines of all its faults."""

    case: MachineCase
    views: Mapping[str, QuantityView]
    answers: Answers
    faults: Mapping[str, FaultCase]

    @classmethod
    def of(
        cls, case: MachineCase, views: Sequence[QuantityView], answers: Answers | None = None
    ) -> Builder:
        """Make one; answers by visit."""
        return cls(case, {one.visit.visit: one for one in views}, answers or {}, by_id(case.faults))

    def line_of(self, fault: FaultCase, between: Between | None) -> Line:
        """Lay out one fault's line."""
        visits = self.case.visits
        seen = [_seen_in(visit, fault.fault) for visit in visits]
        delay_s = self._heal_delay(fault)
        ears = [self.ears(visit, fault, delay_s) for visit in visits]
        noted = fault.kind in BY_PERSON or any(
            one is not None and visit.kind == "by_hand"
            for visit, one in zip(visits, seen, strict=True)
        )
        groups, counted = _groups_of(self, fault, seen, between)
        starts = self._starts(seen, ears, noted)
        return Line(
            fault.fault,
            self._stretches(ears, counted, noted),
            starts,
            groups,
            delay_s,
            tuple(_instants(visit) for visit in visits),
            tuple((visit.hours_start, visit.hours_end) for visit in visits),
            _ends_active(seen, ears),
        )

    def ears(self, visit: VisitCase, fault: FaultCase, heal_delay_s: float) -> Ears:
        """Tell when a visit could have shown a start of a fault, and the spells that it showed."""
        seen = _seen_in(visit, fault.fault)
        joined: list[tuple[float, float, Spell]] = []
        for spell in seen.spells if seen is not None else ():
            begin, end = spell.start_us / SECOND_US, spell.end_us / SECOND_US
            if joined and begin - joined[-1][1] < heal_delay_s:
                joined[-1] = (joined[-1][0], max(end, joined[-1][1]), joined[-1][2])
            else:
                joined.append((begin, end, spell))
        active = tuple(
            (begin if first.start_known else -np.inf, end) for begin, end, first in joined
        )
        return Ears(self._heard(visit, fault, bool(joined)), active, tuple(joined))

    def _heard(self, visit: VisitCase, fault: FaultCase, shown: bool) -> tuple[float, float] | None:
        if fault.kind in BY_PERSON and visit.kind != "by_hand":
            return whole_visit_s(visit)
        if visit.kind == "by_hand" or visit.quality == "lossy":
            return None
        senders = senders_in(visit, fault, self.faults)
        spans = [
            (one.first_us / SECOND_US, one.last_us / SECOND_US)
            for one in visit.controllers
            if (one.channel, one.address) in senders
            and (one.dm1_manner != "never_heard" or self._only_while_active(one.address))
        ]
        if spans:
            return min(a for a, _ in spans), max(b for _, b in spans)
        return whole_visit_s(visit) if shown else None

    def _only_while_active(self, address: int) -> bool:
        """Tell whether a sender is known to be silent while all is well: then silence counts."""
        return any(
            one.address == address and one.dm1_manner == "while_active"
            for visit in self.case.visits
            for one in visit.controllers
        )

    def _heal_delay(self, fault: FaultCase) -> float:
        """Take the sender's shortest healed spell: it lists a fault at least so long."""
        place = place_of(fault)
        lengths = [
            (spell.end_us - spell.start_us) / SECOND_US
            for visit in self.case.visits
            for one in visit.faults
            if one.fault in self.faults and place_of(self.faults[one.fault]) == place
            for spell in one.seen.spells
            if spell.start_known and spell.ended_by == "healed"
        ]
        low, high = HEAL_DELAY_S
        return min(max(min(lengths, default=low), low), high)

    def _starts(
        self, seen: Sequence[FaultSeen | None], ears: Sequence[Ears], noted: bool
    ) -> tuple[Start, ...]:
        found: list[Start] = []
        last_count: int | None = None
        still_on = False
        noted_h: float | None = None
        for place, visit in enumerate(self.case.visits):
            here, mine = seen[place], ears[place]
            view = self.views.get(visit.visit)
            heard = mine.heard_s or whole_visit_s(visit)
            for at_s, _, spell in mine.spells:
                goes_on = not spell.start_known and (
                    (still_on and last_count is not None and spell.count_start == last_count)
                    or _just_noted(noted_h, visit)
                )
                found.append(
                    Start(
                        place,
                        at_s,
                        spell.start_known,
                        goes_on,
                        place == 0 and not spell.start_known,
                        _cycle_at(view, at_s),
                        part_before(visit, view, heard, mine.active_s, at_s),
                        _hours_at(visit, at_s),
                    )
                )
            if here is None:
                if mine.heard_s is not None:
                    still_on = False
                continue
            if visit.kind == "by_hand" and noted and not mine.spells:
                at_s = here.first_us / SECOND_US
                found.append(Start(place, at_s, True, False, place == 0, 0, 0.0, visit.hours_start))
                noted_h = visit.hours_start
            if mine.spells:
                still_on = mine.spells[-1][2].ended_by != "healed" and here.state == "active"
            told = [one.count for one in here.counts if one.count is not None]
            last_count = told[-1] if told else last_count
        return tuple(found)

    def _stretches(
        self, ears: Sequence[Ears], counted: frozenset[int], noted: bool
    ) -> tuple[Stretch, ...]:
        visits = self.case.visits
        amounts: list[dict[Scale, float]] = []
        for visit, mine in zip(visits, ears, strict=True):
            if mine.heard_s is None:
                amounts.append({})
                continue
            view = self.views.get(visit.visit)
            amounts.append(amounts_of(visit, view, mine.heard_s, mine.active_s))
        per_hour = _per_hour(amounts)
        found: list[Stretch] = []
        left_h: float | None = None
        for place, visit in enumerate(visits):
            if place:
                watcher: Watcher | None = (
                    "counts" if place in counted else "person" if noted else None
                )
                found.append(_gap(place, left_h, visit.hours_start, watcher, per_hour))
            mine = ears[place]
            found.append(
                Stretch(
                    place,
                    True,
                    visit.hours_start,
                    visit.hours_end,
                    "recording" if mine.heard_s is not None else None,
                    amounts[place],
                    frozenset(),
                    _active_cycles(self.views.get(visit.visit), mine),
                )
            )
            known = visit.hours_end if visit.hours_end is not None else visit.hours_start
            left_h = known if known is not None else left_h
        return tuple(found)


def _per_hour(amounts: Sequence[Mapping[Scale, float]]) -> dict[Scale, float]:
    """Give how much of each scale an engine hour brings, over the recorded time that tells it."""
    found: dict[Scale, float] = {}
    for scale in sorted({one for some in amounts for one in some}):
        told = [(some[scale], some["engine_hours"]) for some in amounts if scale in some]
        hours = sum(one for _, one in told)
        if hours > 0.0:
            found[scale] = sum(one for one, _ in told) / hours
    return found


def _gap(
    place: int,
    from_h: float | None,
    to_h: float | None,
    watcher: Watcher | None,
    per_hour: Mapping[Scale, float],
) -> Stretch:
    amounts: dict[Scale, float] = {}
    if watcher is not None and from_h is not None and to_h is not None and to_h >= from_h:
        hours = to_h - from_h
        amounts = {scale: per_hour[scale] * hours for scale in BY_THE_HOUR if scale in per_hour}
        amounts["engine_hours"] = hours
    else:
        watcher = None
    estimated = frozenset(amounts) - {"engine_hours"}
    return Stretch(place, False, from_h, to_h, watcher, amounts, estimated)


def _seen_in(visit: VisitCase, fault: str) -> FaultSeen | None:
    return next((one.seen for one in visit.faults if one.fault == fault), None)


def _just_noted(noted_h: float | None, visit: VisitCase) -> bool:
    """Tell whether a person had written it down within the hour before: the same start."""
    if noted_h is None or visit.hours_start is None:
        return False
    return 0.0 <= visit.hours_start - noted_h <= JUST_NOTED_H


def _instants(visit: VisitCase) -> tuple[int | None, int | None]:
    if visit.zero_us is None:
        return None, None
    return visit.zero_us + visit.earliest_us, visit.zero_us + visit.latest_us


def _hours_at(visit: VisitCase, at_s: float) -> float | None:
    """Give the engine hours of a moment of a visit: between its ends, as time goes."""
    begin, end = visit.hours_start, visit.hours_end
    span_us = visit.latest_us - visit.earliest_us
    if begin is None or end is None or span_us <= 0:
        return begin if begin is not None else end
    part = (at_s * SECOND_US - visit.earliest_us) / span_us
    return begin + min(1.0, max(0.0, part)) * (end - begin)


def _cycle_at(view: QuantityView | None, at_s: float) -> int:
    if view is None or not len(view.second):
        return 0
    row = int(np.searchsorted(view.second, np.floor(at_s), "right")) - 1
    return int(table_once(view).cycle[max(row, 0)])


def _active_cycles(view: QuantityView | None, mine: Ears) -> int:
    if not mine.spells:
        return 0
    if view is None or not len(view.second):
        return 1
    cycle = table_once(view).cycle
    rows = np.zeros(len(view.second), np.bool_)
    for begin, end, _ in mine.spells:
        rows |= (view.second >= np.floor(begin)) & (view.second <= end)
    return max(1, len(np.unique(cycle[rows])))


def _ends_active(seen: Sequence[FaultSeen | None], ears: Sequence[Ears]) -> bool:
    for here, mine in zip(reversed(seen), reversed(ears), strict=True):
        if here is not None and here.spells:
            return here.spells[-1].ended_by != "healed"
        if mine.heard_s is not None:
            return False
    return False


_What = Literal["count", "empty", "clear", "listed"]
_Point = tuple[int, _What, int]


def _groups_of(
    builder: Builder,
    fault: FaultCase,
    seen: Sequence[FaultSeen | None],
    between: Between | None,
) -> tuple[tuple[Group, ...], frozenset[int]]:
    """Give the starts known by number alone, and the times between visits that were counted.

    Time counts where a count stands at both ends, or an empty memory at the later one after a
    clear or an empty memory: then all starts in between are known, none included. Where a count
    rose by a number that only bounds the starts from below, the time counts with that number: a
    rate taken too low is the more careful one.
    """
    case = builder.case
    place = {visit.visit: i for i, visit in enumerate(case.visits)}
    told: dict[tuple[int, int], list[tuple[int, int | None]]] = {}
    for one in between.unrecorded if between is not None else ():
        if one.after_visit is not None:
            key = place[one.after_visit], place[one.before_visit]
            told.setdefault(key, []).append((one.at_least, one.at_most))
    counted: set[int] = set()
    closed: set[tuple[int, int]] = set()
    # A controller that never counts tells nothing by an unchanged count.
    counts = between is not None and between.steps != "never"
    by_start = between is not None and between.steps in ("at_onset", "at_end")
    points = _points(builder, fault, seen)
    for (i, what, value), (j, then, later) in pairwise(points):
        if what in ("clear", "empty") and then == "listed":
            # A memory that was empty and holds it again: it came at least once.
            told.setdefault((i, j), []).append((1, None))
        if i == j:
            continue
        whole = False
        if what == "count" and then == "count":
            whole = counts and value < COUNT_FULL and value <= later < COUNT_FULL
        elif then == "empty":
            whole = what in ("clear", "empty")
        elif what == "clear" and then == "count":
            whole = by_start
        elif then == "listed":
            whole = what in ("clear", "empty")
        bounds = told.get((i, j), [])
        known = all(most is not None for _, most in bounds)
        if whole and (known or any(least for least, _ in bounds)):
            counted.update(range(i + 1, j + 1))
            closed.add((i, j))
    groups = [
        Group(
            i,
            j,
            sum(least for least, _ in some),
            None if any(most is None for _, most in some) else sum(m for _, m in some if m),
            (i, j) not in closed,
        )
        for (i, j), some in sorted(told.items())
        if any(least or most is None or most for least, most in some)
    ]
    return tuple(groups), frozenset(counted)


def _points(builder: Builder, fault: FaultCase, seen: Sequence[FaultSeen | None]) -> list[_Point]:
    """Collect, visit by visit in time order, what was told of a fault's memory."""
    points: list[_Point] = []
    for place, visit in enumerate(builder.case.visits):
        here: list[tuple[int, int, _What, int]] = []
        told = seen[place]
        for one in told.counts if told is not None else ():
            if one.count is not None and not one.cleared:
                here.append((one.first_us, 0, "count", one.count))
                here.append((one.last_us, 0, "count", one.count))
        if told is not None and fault.kind in ROAD and not told.counts and not told.spells:
            here.append((told.first_us, 0, "listed", 0))
        senders = senders_in(visit, fault, builder.faults)
        for clear in visit.clears:
            reached = clear.controller is None or (clear.channel, clear.controller) in senders
            active = told is not None and any(
                one.start_us <= clear.at_us <= one.end_us for one in told.spells
            )
            if senders and reached and clear_reaches(clear, fault.spn, fault.fmi, active):
                here.append((clear.at_us, 1, "clear", 0))
        if told is None:
            here += [(at_us, 0, "empty", 0) for at_us in _empty_at(builder, visit, fault)]
        here.sort(key=lambda one: one[:2])
        points.extend((place, what, value) for _, _, what, value in here)
    return points


def _empty_at(builder: Builder, visit: VisitCase, fault: FaultCase) -> list[int]:
    """Give the instants at which its sender told a memory without the fault: a list of what was
    active before that names others alone, or no codes at all (SAE J1939-73 DM5; SAE J1979 PID 01).
    """
    found = [
        one.seen.first_us
        for one in visit.faults
        if one.fault in builder.faults
        and place_of(builder.faults[one.fault]) == place_of(fault)
        and set(one.seen.sources) & MEMORY_LISTS
    ]
    senders = senders_in(visit, fault, builder.faults)
    for answer in builder.answers.get(visit.visit, ()):
        values = dict(answer.values)
        if (
            answer.what == "dm5"
            and (answer.channel, answer.address) in senders
            and values.get("active") == 0
            and values.get("previously_active") == 0
        ):
            found.append(answer.at_us)
        if answer.what == "obd01" and answer.address == fault.address and values.get("codes") == 0:
            found.append(answer.at_us)
    return found
