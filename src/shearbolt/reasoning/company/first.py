"""Which fault to look at first: the first thing that a person sees."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from shearbolt.reasoning.company.together import Company

ORDER = ("note_only", "keep_working", "finish_gently", "stop_now")
"""Advice classes, the least careful first."""


@dataclass(frozen=True, slots=True)
class Weight:
    """What one fault brings to the order."""

    advice: str
    """Its advice class."""
    applies_now: bool
    stale: bool
    last_us: int
    """Last time that it was reported, on a scale common to all faults of the machine."""
    spells: int


def first_to_look(company: Company, weights: Mapping[str, Weight]) -> tuple[str, ...]:
    """Order the faults of a machine: what matters now first, each root before its followers.

    A root is ordered by the gravest advice of all that follows from it; a follower stands right
    behind its root. Faults without a weight come last.
    """
    empty = Weight("note_only", False, True, 0, 0)

    def grave(fault: str) -> tuple[int, int, int]:
        one = weights.get(fault, empty)
        return (0 if one.stale else 1, int(one.applies_now), ORDER.index(one.advice))

    def rank(fault: str) -> tuple[object, ...]:
        family = (fault, *company.followers(fault))
        fresh, now, advice = max(grave(one) for one in family)
        own = weights.get(fault, empty)
        return (-fresh, -now, -advice, -len(family), -own.last_us, -own.spells, fault)

    ordered: list[str] = []
    for root in sorted((one for one in weights if one not in company.roots), key=rank):
        ordered.append(root)
        followers: Sequence[str] = [one for one in company.followers(root) if one in weights]
        ordered.extend(sorted(followers, key=lambda one: (*tuple(-n for n in grave(one)), one)))
    return tuple(ordered)
