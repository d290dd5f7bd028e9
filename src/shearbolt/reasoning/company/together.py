"""All visits of a machine together: which faults follow which, and which share an event."""

from __future__ import annotations

import hashlib
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from shearbolt.dictionary.company_roles import plays
from shearbolt.model.fault import Lamps
from shearbolt.model.instants import SECOND_US
from shearbolt.reasoning.case import FaultCase, MachineCase
from shearbolt.reasoning.company.instants import instances_of
from shearbolt.reasoning.company.values import (
    CODES_FOLLOW_US,
    Instance,
    Link,
    LinkWhy,
    Start,
    spells_by_fault,
    starts_of,
)
from shearbolt.reasoning.senders import by_id, place_of

MOSTLY = 0.5
"""A follower keeps company with its root in at least this share of its spells."""
TOGETHER_US = 2 * SECOND_US
"""Codes of one report, or of two controllers' reports of one second."""
LIMIT_SLACK_US = 5 * SECOND_US
"""The cause of a power limit may be reported so much later, by another controller."""
VISIT_US = 10**9 * SECOND_US
"""Sets visits apart on one scale: longer than any, and room for ten thousand of them."""
TOGETHER_TIMES = 2
"""So often must two codes start together before it is no chance."""
LEVELS = ((15, 16, 0), (17, 18, 1))
"""Levels of one condition, the lightest first: too high, too low (SAE J1939-73)."""
LEVEL_WITHIN_US = 600 * SECOND_US
"""A worse level belongs to a lighter one that ended at most so long before."""
LOST = ("unit_lost_power", "unit_off_bus", "unit_unheard")
LIT = ("on", "slow", "fast")
STRENGTH: Mapping[LinkWhy, int] = {
    "cranking_dip": 4,
    "supply": 3,
    "lost_unit": 3,
    "worse_level": 2,
    "power_limit": 1,
}
"""Which explanation wins where a fault has two."""


@dataclass(frozen=True, slots=True)
class Company:
    """What belongs together on one machine."""

    roots: Mapping[str, str]
    """Root of every follower; the root itself is not in it."""
    events: Mapping[str, str]
    """Event of faults of one common instant."""
    instances: tuple[Instance, ...]
    links: tuple[Link, ...]

    def followers(self, fault: str) -> tuple[str, ...]:
        """Give the faults that follow from one."""
        return tuple(sorted(one for one, root in self.roots.items() if root == fault))

    def link_of(self, follower: str) -> Link | None:
        """Give the link by which a fault was judged a follower."""
        return next((one for one in self.links if one.follower == follower), None)


def company_of(case: MachineCase) -> Company:
    """Judge which faults of a machine belong together.

    A fault follows from another only where it keeps company with it in at least half of its
    spells; a circuit that flickers by itself is not excused by one bad start. Of one condition
    reported at several levels the worst one is the root and the lighter ones the same matter.
    """
    starts = starts_of(case)
    by_fault = spells_by_fault(starts)
    instances: list[Instance] = []
    for index, visit in enumerate(case.visits):
        instances.extend(instances_of(visit, [one for one in starts if one.visit == index]))
    instances = [one for one in instances if _mostly(one, instances, by_fault)]
    links = [
        *_from_instances(case, instances, by_fault),
        *_levels(by_fault),
        *_supplies_standing(by_fault),
        *_limits(case, by_fault),
    ]
    named = [_named(case, one) for one in links]
    roots, kept = _resolve(named)
    events = _events(instances, by_fault, roots)
    return Company(roots, events, tuple(instances), tuple(kept))


def _named(case: MachineCase, link: tuple[str, str, LinkWhy, int, int, Start]) -> Link:
    follower, root, why, times, of, last = link
    return Link(follower, root, why, times, of, case.visits[last.visit].visit, last.at_us)


_Raw = tuple[str, str, LinkWhy, int, int, Start]


def _mostly(
    one: Instance, instances: Sequence[Instance], by_fault: Mapping[str, Sequence[Start]]
) -> bool:
    """Tell whether at least two of its faults keep to such instants in half of their spells."""
    faithful = 0
    for fault in one.faults:
        times = sum(fault in other.faults for other in instances if other.why == one.why)
        faithful += times >= MOSTLY * len(by_fault[fault])
    return faithful >= (1 if one.why in LOST else 2)


def _from_instances(
    case: MachineCase,
    instances: Sequence[Instance],
    by_fault: Mapping[str, Sequence[Start]],
) -> Iterable[_Raw]:
    faults = by_id(case.faults)
    times: Counter[tuple[str, str, LinkWhy]] = Counter()
    for one in instances:
        why, cause = _cause_in(one, faults, by_fault)
        if why is None or cause is None:
            continue
        for follower in one.faults - {cause}:
            times[follower, cause, why] += 1
    for (follower, cause, why), count in sorted(times.items()):
        spells = by_fault[follower]
        if count >= MOSTLY * len(spells):
            yield follower, cause, why, count, len(spells), spells[-1]


def _cause_in(
    one: Instance, faults: Mapping[str, FaultCase], by_fault: Mapping[str, Sequence[Start]]
) -> tuple[LinkWhy | None, str | None]:
    """Find the fault that names the cause of a common instant; None: only an event."""
    why: LinkWhy
    if one.why == "supply":
        role, why = "supply", "supply"
    elif one.why == "cranking_dip":
        role, why = "feed", "cranking_dip"
    elif one.why in LOST:
        # A unit that says so itself had lost its power, whether or not its claim was heard.
        role, why = "unit_power", "lost_unit"
    else:
        return None, None
    told = [
        fault
        for fault in sorted(one.faults)
        if plays(role, faults[fault].spn, faults[fault].fmi)
        and (one.why not in LOST or any(start.address == one.address for start in by_fault[fault]))
    ]
    # Several units may report the weak feed: the one that does so most often speaks for it.
    told.sort(key=lambda fault: (-len(by_fault[fault]), _level(faults[fault]), fault))
    return (why, told[0]) if told else (None, None)


def _level(fault: FaultCase) -> int:
    """Rank a code by how grave its level is, the worst first; codes without levels last."""
    return min((-levels.index(fault.fmi) for levels in LEVELS if fault.fmi in levels), default=1)


def _levels(by_fault: Mapping[str, Sequence[Start]]) -> Iterable[_Raw]:
    """Join the levels of one condition of one parameter and controller: the worst is the root."""
    for lighter, worse in _pairs_of_levels(by_fault):
        last: Start | None = None
        times = 0
        for one in by_fault[lighter]:
            for other in by_fault[worse]:
                near = one.at_us - LEVEL_WITHIN_US <= other.at_us
                if (
                    one.visit == other.visit
                    and near
                    and other.at_us <= one.spell.end_us + LEVEL_WITHIN_US
                ):
                    times, last = times + 1, one
                    break
        if last is not None:
            yield lighter, worse, "worse_level", times, len(by_fault[lighter]), last


def _pairs_of_levels(by_fault: Mapping[str, Sequence[Start]]) -> Iterable[tuple[str, str]]:
    for one, other in combinations(sorted(by_fault), 2):
        first, second = by_fault[one][0].fault, by_fault[other][0].fault
        if first.spn is None or first.spn != second.spn or place_of(first) != place_of(second):
            continue
        for levels in LEVELS:
            if first.fmi in levels and second.fmi in levels:
                worse_first = levels.index(first.fmi) > levels.index(second.fmi)
                yield (other, one) if worse_first else (one, other)


def _supplies_standing(by_fault: Mapping[str, Sequence[Start]]) -> Iterable[_Raw]:
    """Join sensors that are at the rail only while their controller's supply code stands."""
    supplies = [
        one
        for one, some in by_fault.items()
        if plays("supply", some[0].fault.spn, some[0].fault.fmi)
    ]
    for supply in supplies:
        root = by_fault[supply]
        for follower, spells in by_fault.items():
            fault = spells[0].fault
            if follower in supplies or fault.fmi not in (3, 4):
                continue
            if place_of(fault) != place_of(root[0].fault):
                continue
            inside = [one for one in spells if any(_within(one, other) for other in root)]
            # One spell from before both were heard may be chance; more, or a start, is not.
            sure = len(inside) > 1 or any(one.spell.start_known for one in inside)
            if inside and len(inside) == len(spells) and (sure or len(root) == 1):
                yield follower, supply, "supply", len(inside), len(spells), inside[-1]


def _within(one: Start, other: Start) -> bool:
    """Tell whether a spell lies within another of the same visit, give or take the debounce."""
    return (
        one.visit == other.visit
        and other.at_us - CODES_FOLLOW_US <= one.at_us <= other.at_us + CODES_FOLLOW_US
        and one.spell.end_us <= other.spell.end_us + CODES_FOLLOW_US
    )


def _limits(case: MachineCase, by_fault: Mapping[str, Sequence[Start]]) -> Iterable[_Raw]:
    """Let codes that only say 'power is limited' follow the fault that stood when they began."""
    lamps = {
        (index, one.fault): one.seen.lamps
        for index, visit in enumerate(case.visits)
        for one in visit.faults
    }
    for follower, spells in sorted(by_fault.items()):
        fault = spells[0].fault
        if plays("inducement", fault.spn, fault.fmi):
            roles: tuple[str, ...] = ("treatment",)
        elif plays("derate", fault.spn, fault.fmi):
            roles = ("limiter", "treatment", "inducement")
        else:
            continue
        votes: Counter[str] = Counter()
        last: dict[str, Start] = {}
        for one in spells:
            booting = one.at_us - case.visits[one.visit].first_us <= CODES_FOLLOW_US
            slack_us = CODES_FOLLOW_US if booting or not one.spell.start_known else LIMIT_SLACK_US
            cause = _standing_cause(one, slack_us, roles, by_fault, lamps)
            if cause is not None:
                votes[cause] += 1
                last[cause] = one
        if votes:
            cause, times = min(votes.items(), key=lambda item: (-item[1], item[0]))
            if times >= MOSTLY * len(spells):
                yield follower, cause, "power_limit", times, len(spells), last[cause]


def _standing_cause(
    one: Start,
    slack_us: int,
    roles: Sequence[str],
    by_fault: Mapping[str, Sequence[Start]],
    lamps: Mapping[tuple[int, str], Lamps],
) -> str | None:
    """Find the fault that limits power: standing then, the gravest lamp and the latest start.

    At key-on a limit kept from before may be told sooner than its cause, in the order of booting.
    """
    standing: list[tuple[int, bool, int, str]] = []
    for fault, spells in by_fault.items():
        code = spells[0].fault
        if not any(plays(role, code.spn, code.fmi) for role in roles):
            continue
        for other in spells:
            if (
                other.visit == one.visit
                and other.at_us <= one.at_us + slack_us
                and other.spell.end_us >= one.at_us - CODES_FOLLOW_US
                and fault != one.fault.fault
            ):
                shown = lamps.get((one.visit, fault), Lamps())
                before = other.at_us <= one.at_us + TOGETHER_US
                standing.append((_gravity(shown), before, other.at_us, fault))
    return max(standing)[3] if standing else None


def _gravity(lamps: Lamps) -> int:
    if lamps.red_stop in LIT:
        return 3
    if lamps.amber_warning in LIT or lamps.mil in LIT:
        return 2
    return 1 if lamps.protect in LIT else 0


def _resolve(links: Sequence[Link]) -> tuple[dict[str, str], list[Link]]:
    """Choose one link a follower and lead each to the root itself; a circle is never closed."""
    ordered = sorted(
        links, key=lambda one: (-STRENGTH[one.why], -one.times, one.follower, one.root)
    )
    parent: dict[str, str] = {}
    kept: list[Link] = []
    for link in ordered:
        if link.follower in parent or link.follower == link.root:
            continue
        if _top(parent, link.root) == link.follower:
            continue
        parent[link.follower] = link.root
        kept.append(link)
    return {follower: _top(parent, follower) for follower in parent}, kept


def _top(parent: Mapping[str, str], fault: str) -> str:
    while fault in parent:
        fault = parent[fault]
    return fault


def _events(
    instances: Sequence[Instance],
    by_fault: Mapping[str, Sequence[Start]],
    roots: Mapping[str, str],
) -> dict[str, str]:
    """Give an event to faults of one common instant; instants that share a fault are one event."""
    leader: dict[str, str] = {}

    def lead(fault: str) -> str:
        while leader.setdefault(fault, fault) != fault:
            fault = leader[fault]
        return fault

    groups = [sorted(one.faults) for one in instances]
    groups.extend([one, other] for one, other in _start_together(by_fault))
    for group in groups:
        if len(group) < 2:
            continue
        tops = sorted({lead(one) for one in group})
        for one in tops[1:]:
            leader[one] = tops[0]
    members: dict[str, list[str]] = {}
    for fault in leader:
        members.setdefault(lead(fault), []).append(fault)
    return {fault: event_id(some) for some in members.values() if len(some) > 1 for fault in some}


def event_id(faults: Iterable[str]) -> str:
    """Make an event's identifier from its faults: stable while its first fault stays."""
    return "e" + hashlib.blake2s(min(faults).encode(), digest_size=5).hexdigest()


def _start_together(by_fault: Mapping[str, Sequence[Start]]) -> Iterable[tuple[str, str]]:
    """Find pairs of codes that start in the same seconds, at least twice and mostly."""
    base: dict[int, int] = {}
    for some in by_fault.values():
        for one in some:
            base[one.visit] = min(base.get(one.visit, one.at_us), one.at_us)
    known = {
        fault: np.array(
            [
                one.visit * VISIT_US + one.at_us - base[one.visit]
                for one in some
                if one.spell.start_known
            ],
            np.int64,
        )
        for fault, some in by_fault.items()
    }
    for first, other in combinations(sorted(by_fault), 2):
        mine, theirs = known[first], known[other]
        if min(len(mine), len(theirs)) < TOGETHER_TIMES:
            continue
        # Starts come in order: the one at or after each of mine, and the one before it.
        after = np.searchsorted(theirs, mine)
        gap = np.minimum(
            np.abs(theirs[np.minimum(after, len(theirs) - 1)] - mine),
            np.abs(theirs[np.maximum(after - 1, 0)] - mine),
        )
        both = int(np.count_nonzero(gap <= TOGETHER_US))
        most = max(len(by_fault[first]), len(by_fault[other]))
        if both >= TOGETHER_TIMES and both >= MOSTLY * most:
            yield first, other
