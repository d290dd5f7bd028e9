"""What a check is worth: expected cost of the way to a sound machine, with and without it.

Heckerman, Breese and Rommelse 1995 (decision-theoretic troubleshooting); Jensen and others 2001
(calling for help as an action, shared preparation). Chances are rows over the classes, in one
order; costs are minutes. The last class is 'none of these': nothing but calling help ends it, and
its cost is the cost of calling.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

LOOK_AHEAD = 5
"""Two steps are looked ahead among the best so many only."""
_TINY = 1e-9
Floats: TypeAlias = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Candidate:
    """A check as the arithmetic sees it."""

    key: str
    minutes: float
    """Without preparation."""
    setup: tuple[tuple[str, float], ...]
    """Preparation and its minutes; shared by checks that name the same."""
    group: str
    """Fact it rests on: a second check of the same fact brings nothing more."""
    chances: Floats
    """Outcomes by classes: chance of each outcome under each class."""
    repairs: Floats
    """Outcomes by classes: minutes to put each class right once it is known; infinite where the
    outcome does not tell where it is."""

    def cost(self, ready: Collection[str] = ()) -> float:
        """Give its minutes with the preparation that is still to do."""
        return self.minutes + sum(value for key, value in self.setup if key not in ready)


@dataclass(frozen=True, slots=True)
class Ranked:
    """A check in its place."""

    key: str
    worth: float
    """Minutes of expected cost saved by knowing its outcome, its own cost not taken off; >= 0."""
    cost: float
    pays: bool
    """It saves more than it costs, alone or with another after it."""


def expected_minutes(chances: Floats, minutes: Floats) -> Floats:
    """Give the least expected minutes to a sound machine when nothing more is checked.

    Both are (n, classes) and the result is (n,); a row of chances that adds up to less than 1 gives
    that share of the minutes. Classes are put right one after another by falling chance over cost,
    until calling is cheaper; no other order or stop does better (exchange argument, Kadane and
    Simon 1977).
    """
    call = minutes[:, -1]
    rows = np.arange(len(chances))[:, None]
    order = np.argsort(-chances[:, :-1] / minutes[:, :-1], axis=1, kind="stable")
    chance = chances[rows, order]
    cost = minutes[rows, order]
    total = chances.sum(axis=1)
    left = np.maximum(0.0, total[:, None] - np.cumsum(chance, axis=1))
    before = np.concatenate((total[:, None], left[:, :-1]), axis=1)
    spent = np.cumsum(before * cost, axis=1)
    best = np.min(spent + left * call[:, None], axis=1)
    found: Floats = np.minimum(best, total * call)
    return found


def _split(chances: Floats, minutes: Floats, one: Candidate) -> tuple[Floats, Floats]:
    """Give, row by row and outcome by outcome, joint chances and the minutes thereafter."""
    size = chances.shape[1]
    joint = chances[:, None, :] * one.chances[None, :, :]
    known = np.minimum(minutes[:, None, :], one.repairs[None, :, :])
    return joint.reshape(-1, size), known.reshape(-1, size)


def worth_of(chances: Floats, minutes: Floats, one: Candidate) -> float:
    """Give the minutes that knowing a check's outcome saves; both are (classes,). Never below 0.

    The expected cost is a minimum of linear functions of the chances, so it is concave, and
    splitting it by outcomes cannot raise it; rounding below 0 is cut off.
    """
    now = expected_minutes(chances[None, :], minutes[None, :])
    after = expected_minutes(*_split(chances[None, :], minutes[None, :], one))
    return max(0.0, float(now[0] - after.sum()))


def expected_of_pairs(
    candidates: Sequence[Candidate],
    chances: Floats,
    minutes: Floats,
    ready: Collection[str] = (),
) -> dict[tuple[str, str], float]:
    """Give, for each ordered pair, the expected minutes of doing one and the other where it pays.

    Chances and minutes are (classes,); the keys are those of the first and the second check.
    """
    found: dict[tuple[str, str], float] = {}
    if not candidates:
        return found
    every = np.concatenate([one.chances for one in candidates])
    places = np.concatenate([one.repairs for one in candidates])
    ends = np.cumsum([0, *(len(one.chances) for one in candidates)])
    for first in candidates:
        joint, known = _split(chances[None, :], minutes[None, :], first)
        stop = expected_minutes(joint, known)
        then = expected_minutes(
            (joint[:, None, :] * every[None, :, :]).reshape(-1, len(chances)),
            np.minimum(known[:, None, :], places[None, :, :]).reshape(-1, len(chances)),
        ).reshape(len(joint), -1)
        done = frozenset(ready) | {key for key, _ in first.setup}
        for place, second in enumerate(candidates):
            total = stop
            if first.group != second.group:
                after = then[:, ends[place] : ends[place + 1]].sum(axis=1)
                total = np.minimum(stop, joint.sum(axis=1) * second.cost(done) + after)
            if first is not second:
                found[first.key, second.key] = first.cost(ready) + float(total.sum())
    return found


def ranked(
    candidates: Sequence[Candidate],
    chances: Floats,
    minutes: Floats,
    ready: Collection[str] = (),
) -> tuple[Ranked, ...]:
    """Put checks in order: by minutes saved over minutes spent, the best five two steps ahead.

    Among the five, one goes before another when doing it first, with the other after it where that
    pays, is expected to end sooner. With one fault, perfect checks and costs of their own this is
    the order of falling chance over cost. Chances and minutes are (classes,).
    """
    found = [
        (one, worth, max(one.cost(ready), _TINY))
        for one, worth in zip(candidates, _worths(candidates, chances, minutes), strict=True)
    ]
    found.sort(key=lambda row: (-row[1] / row[2], row[2], row[0].key))
    now = float(expected_minutes(chances[None, :], minutes[None, :])[0])
    best = found[:LOOK_AHEAD]
    pairs = expected_of_pairs([one for one, _, _ in best], chances, minutes, ready)
    wins = {one.key: 0 for one, _, _ in best}
    alone = {one.key: now - worth + cost for one, worth, cost in best}
    pays = {one.key for one, worth, cost in found if worth > cost + _TINY}
    for place, (one, _, _) in enumerate(best):
        for other, _, _ in best[place + 1 :]:
            before, behind = pairs[one.key, other.key], pairs[other.key, one.key]
            wins[one.key] += before < behind + _TINY
            wins[other.key] += behind < before - _TINY
            if before < min(now, alone[other.key]) - _TINY:
                pays.add(one.key)
            if behind < min(now, alone[one.key]) - _TINY:
                pays.add(other.key)
    # Sorting is stable: equal wins keep the order by minutes saved over minutes spent.
    best.sort(key=lambda row: -wins[row[0].key])
    return tuple(
        Ranked(one.key, worth, cost, one.key in pays)
        for one, worth, cost in (*best, *found[LOOK_AHEAD:])
    )


def _worths(candidates: Sequence[Candidate], chances: Floats, minutes: Floats) -> list[float]:
    """Give what each check is worth, all at once."""
    if not candidates:
        return []
    rows = np.concatenate([one.chances for one in candidates]) * chances
    known = np.minimum(minutes, np.concatenate([one.repairs for one in candidates]))
    after = expected_minutes(rows, known)
    ends = np.cumsum([len(one.chances) for one in candidates])[:-1]
    now = float(expected_minutes(chances[None, :], minutes[None, :])[0])
    return [max(0.0, now - float(part.sum())) for part in np.split(after, ends)]
