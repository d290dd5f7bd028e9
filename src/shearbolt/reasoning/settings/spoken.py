"""The driver's words as weak evidence with a weight of their own.

A person remembers the striking cases, and says 'always' of two: each visit's word counts little,
and all of them together no more than a fact seen once (own rule; weights of evidence, Good 1950).
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from typing import Literal

from shearbolt.reasoning.case import MachineCase
from shearbolt.reasoning.settings.profile import Cut
from shearbolt.reasoning.settings.setting import Spoken, Term

WORD_DB = 1.8
"""Weight of one visit's word: a ratio of 1.5 (own rule, no source)."""
MOST_DB = 6.0
"""Weight of all words of one kind together."""
SOON_S = 300.0
"""What begins so soon after the start is said to belong to the start."""
WARMTH = frozenset(
    {"coolant_c", "oil_c", "hydraulic_c", "transmission_c", "fuel_c", "minutes_since_start"}
)
"""Quantities that 'hot' and 'cold' speak of."""

Kind = Literal["warmth", "doing", "after_start"]


def spoken_of(case: MachineCase, fault: str) -> tuple[tuple[Kind, str, int], ...]:
    """Count in how many visits what was said of a fault: (kind, text, visits), the most first."""
    said: dict[tuple[Kind, str], set[str]] = defaultdict(set)
    for visit in case.visits:
        for note in visit.notes:
            if note.fault != fault:
                continue
            if note.hot_cold in ("hot", "cold"):
                said["warmth", note.hot_cold].add(visit.visit)
            if note.doing and note.doing.strip():
                said["doing", " ".join(note.doing.casefold().split())].add(visit.visit)
            if note.after_start_s is not None:
                text = "soon" if note.after_start_s <= SOON_S else "later"
                said["after_start", text].add(visit.visit)
    counted = [(kind, text, len(visits)) for (kind, text), visits in said.items()]
    return tuple(sorted(counted, key=lambda one: (-one[2], one[0], one[1])))


def _fits(kind: Kind, text: str, cuts: Sequence[Cut]) -> bool | None:
    """Tell whether words fit the terms; None: they speak of something else."""
    for cut in cuts:
        if kind == "warmth" and cut.quantity in WARMTH and cut.op in ("<", ">"):
            return (text == "cold") == (cut.op == "<")
        if kind == "after_start" and cut.quantity == "minutes_since_start" and cut.op in "<>":
            return (text == "soon") == (cut.op == "<")
    return None


def weighed(said: Sequence[tuple[Kind, str, int]], cuts: Sequence[Cut]) -> tuple[Spoken, ...]:
    """Weigh the words against terms; without terms each stands for itself with its own weight."""
    found: list[Spoken] = []
    for kind, text, visits in said:
        agrees = _fits(kind, text, cuts)
        sign = -1.0 if agrees is False else 0.0 if agrees is None and cuts else 1.0
        weight = sign * min(MOST_DB, WORD_DB * visits)
        found.append(Spoken(kind, text, visits, agrees, weight))
    return tuple(found)


def weight_db(said: Sequence[tuple[Kind, str, int]], cuts: Sequence[Cut]) -> float:
    """Give the weight of all words for terms, bounded by MOST_DB."""
    total = sum(one.weight_db for one in weighed(said, cuts) if one.agrees is not None)
    return max(-MOST_DB, min(MOST_DB, total))


def told_terms(said: Sequence[tuple[Kind, str, int]]) -> tuple[Term, ...]:
    """Give what was said in two visits or more, and nothing against it, as terms: at most three."""
    by_kind: dict[Kind, list[tuple[str, int]]] = defaultdict(list)
    for kind, text, visits in said:
        by_kind[kind].append((text, visits))
    terms = [
        Term("driver_words", None, "in", None, None, None, "", some[0][0])
        for some in by_kind.values()
        if len(some) == 1 and some[0][1] >= 2
    ]
    return tuple(terms[:3])
