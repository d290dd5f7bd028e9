"""The arithmetic of odds: groups of evidence, the reserve, pairs of causes.

Weights of evidence add up as logarithms (Good 1950; Spiegelhalter and Knill-Jones 1984), but only
between facts: within a group each class keeps the strongest for it and the strongest against it,
and no group moves any two classes apart by more than 20 dB. All weights are discounted until field
cases say how good they are (Kennedy and O'Hagan 2001).
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from shearbolt.dictionary.cause_priors import CAUSES, OTHER, Cause
from shearbolt.dictionary.evidence_ratios import Ratio

DISCOUNT = 0.7
"""Share of each weight that counts (reference sheet section 5.2)."""
MOST_APART_DB = 20.0
"""How far one group may move two classes apart (reference sheet section 3, row 15)."""
PAIR_SHARE = 0.05
"""Chance that a second, independent cause is at work on the same code (own figure)."""
LEAST_CHANCE = 0.01
"""No answer of a check is impossible under any cause (own rule): people misread."""


@dataclass(frozen=True, slots=True)
class Piece:
    """One piece of evidence as weights on the classes; those not named are not touched."""

    key: str
    group: str
    weight_db: Mapping[Cause, float]
    """Full weight by class: positive for it, negative against it, before the discount."""


def piece_of(ratios: Sequence[Ratio]) -> Piece:
    """Make the piece that rows of one evidence give.

    A row of ratio r lifts the classes it favours by half of 10 log10 r and lowers those against by
    half; classes it does not name, and the reserve, stay in between. Raises ValueError for none.
    """
    if not ratios:
        raise ValueError("a piece of evidence needs at least one ratio")
    weight: dict[Cause, float] = {}
    for one in ratios:
        for cause in one.favours:
            weight[cause] = weight.get(cause, 0.0) + one.decibel
        for cause in one.against:
            weight[cause] = weight.get(cause, 0.0) - one.decibel
    return Piece(ratios[0].evidence, ratios[0].group, weight)


def piece_of_answer(key: str, group: str, likelihood: Mapping[Cause, float]) -> Piece:
    """Make the piece that a check's answer gives: chances of the outcome by class.

    The middle between the highest and the lowest is where classes it does not name stay.
    """
    level = {
        cause: 10.0 * math.log10(min(1.0, max(LEAST_CHANCE, chance)))
        for cause, chance in likelihood.items()
    }
    if not level:
        return Piece(key, group, {})
    middle = (max(level.values()) + min(level.values())) / 2.0
    return Piece(key, group, {cause: 2.0 * (one - middle) for cause, one in level.items()})


def group_weights(pieces: Iterable[Piece]) -> dict[str, dict[Cause, float]]:
    """Put pieces together by group: for each class what the group says, before the discount.

    Full weights are distances between favoured and disfavoured; half of one is what moves a class.
    """
    best: dict[str, dict[Cause, tuple[float, float]]] = {}
    for one in pieces:
        group = best.setdefault(one.group, {})
        for cause, weight in one.weight_db.items():
            high, low = group.get(cause, (0.0, 0.0))
            group[cause] = max(high, weight), min(low, weight)
    bound = MOST_APART_DB / 2.0
    return {
        letter: {
            cause: max(-bound, min(bound, (high + low) / 2.0))
            for cause, (high, low) in group.items()
        }
        for letter, group in best.items()
    }


def counting(pieces: Sequence[Piece]) -> list[frozenset[Cause]]:
    """Tell for each piece on which classes it counts: where no stronger one of its group stands."""
    taken: set[tuple[str, Cause, bool]] = set()
    found: list[frozenset[Cause]] = [frozenset()] * len(pieces)
    order = sorted(
        range(len(pieces)),
        key=lambda i: (-max((abs(w) for w in pieces[i].weight_db.values()), default=0.0), i),
    )
    strongest: dict[tuple[str, Cause, bool], float] = {}
    for one in pieces:
        for cause, weight in one.weight_db.items():
            place = one.group, cause, weight > 0.0
            strongest[place] = max(strongest.get(place, 0.0), abs(weight))
    for i in order:
        counts: set[Cause] = set()
        for cause, weight in pieces[i].weight_db.items():
            place = pieces[i].group, cause, weight > 0.0
            if weight and place not in taken and abs(weight) >= strongest[place]:
                taken.add(place)
                counts.add(cause)
        found[i] = frozenset(counts)
    return found


@dataclass(frozen=True, slots=True)
class Posterior:
    """Shares after the evidence."""

    shares: Mapping[str, float]
    """Every class and 'other'; adds up to 1."""
    pair: tuple[Cause, Cause] | None
    """First and contributing cause, where the two together explain more than any one."""


def posterior(
    prior: Mapping[str, float], pieces: Sequence[Piece], discount: float = DISCOUNT
) -> Posterior:
    """Move a prior (shares by class and 'other') by evidence.

    Causes alone and pairs of causes stand side by side; a pair explains of each group what the
    better of the two does, and costs its second prior (parsimonious covering: Peng and Reggia
    1990). The mass of a pair goes to its classes by their own shares.
    """
    groups = group_weights(pieces)
    present = [cause for cause in CAUSES if prior.get(cause, 0.0) > 0.0]

    def level(*causes: Cause) -> float:
        return discount * math.fsum(
            max(group.get(cause, 0.0) for cause in causes) for group in groups.values()
        )

    alone = {cause: _log(prior[cause]) + _nats(level(cause)) for cause in present}
    rest = _log(prior.get(OTHER, 0.0))
    pairs = {
        (one, two): _log(prior[one]) + _log(prior[two]) + _log(PAIR_SHARE) + _nats(level(one, two))
        for i, one in enumerate(present)
        for two in present[i + 1 :]
        if _both_needed(one, two, groups)
    }
    top = max([*alone.values(), *pairs.values(), rest], default=0.0)
    mass = {cause: math.exp(one - top) for cause, one in alone.items()}
    other = math.exp(rest - top)
    joint = {pair: math.exp(one - top) for pair, one in pairs.items()}
    total = math.fsum([*mass.values(), other, *joint.values()])
    shares: dict[str, float] = dict.fromkeys(CAUSES, 0.0)
    shares.update({cause: one / total for cause, one in mass.items()})
    for (one, two), both in joint.items():
        split = mass[one] / (mass[one] + mass[two]) if mass[one] + mass[two] else 0.5
        shares[one] += both / total * split
        shares[two] += both / total * (1.0 - split)
    shares[OTHER] = other / total
    return Posterior(_exact(shares), _leading_pair(mass, joint))


def _log(share: float) -> float:
    return math.log(share) if share > 0.0 else -math.inf


def _nats(decibel: float) -> float:
    return decibel * math.log(10.0) / 10.0


def _both_needed(one: Cause, two: Cause, groups: Mapping[str, Mapping[Cause, float]]) -> bool:
    """Tell whether each explains a group that the other does not: else one is too much."""
    gains = [(group.get(one, 0.0), group.get(two, 0.0)) for group in groups.values()]
    return any(a > max(0.0, b) for a, b in gains) and any(b > max(0.0, a) for a, b in gains)


def _leading_pair(
    mass: Mapping[Cause, float], joint: Mapping[tuple[Cause, Cause], float]
) -> tuple[Cause, Cause] | None:
    """Give the likeliest pair where it is likelier than any cause alone."""
    if not joint or not mass:
        return None
    pair = max(joint, key=lambda one: joint[one])
    if joint[pair] <= max(mass.values()):
        return None
    one, two = pair
    return (one, two) if mass[one] >= mass[two] else (two, one)


def _exact(shares: dict[str, float]) -> dict[str, float]:
    """Make shares add up to 1 as closely as numbers can."""
    total = math.fsum(shares.values())
    return {cause: max(0.0, one / total) for cause, one in shares.items()}
