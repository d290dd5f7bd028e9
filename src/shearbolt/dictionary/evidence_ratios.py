"""What each piece of evidence says for which cause, and how much: `data/evidence_ratios.csv`.

One row is one likelihood ratio: the fact is so many times as likely under the causes `for` as under
those `against`. Several rows of one piece of evidence hold together. Beside it lie the quantities
that move together (`data/companions.csv`) and the repairs that people's words name
(`data/repair_acts.csv`).
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cache
from typing import Literal

from shearbolt.dictionary.cause_priors import CAUSES, Cause, cause_of
from shearbolt.dictionary.phrases import stem, words_of
from shearbolt.dictionary.tables import table
from shearbolt.errors import DictionaryError

By = Literal["recording", "record", "person"]
"""Who can tell it: a recording, what people wrote into the book, or a person who does a check."""
Direction = Literal["up", "down"]


@dataclass(frozen=True, slots=True)
class Ratio:
    """One likelihood ratio."""

    evidence: str
    group: str
    by: By
    favours: frozenset[Cause]
    against: frozenset[Cause]
    ratio: float
    """Above 1."""
    reason: str
    source: str

    @property
    def decibel(self) -> float:
        """10 log10 of the ratio (weight of evidence; Good 1950)."""
        return 10.0 * math.log10(self.ratio)


@dataclass(frozen=True, slots=True)
class Companion:
    """A quantity that moves with another where that truly moves."""

    quantity: str
    direction: Direction
    companion: str
    companion_direction: Direction
    source: str


@dataclass(frozen=True, slots=True)
class RepairAct:
    """What a repair was about, by the words that people use for it."""

    act: str
    phrases: tuple[tuple[frozenset[str], ...], ...]
    """Rows of words, each word the stems that serve for it."""
    source: str


def _classes(text: str, where: str) -> frozenset[Cause]:
    return frozenset(cause_of(one, where) for one in text.split("|"))


@cache
def evidence_ratios() -> Mapping[str, tuple[Ratio, ...]]:
    """Give the table by piece of evidence, in its order.

    Raises DictionaryError when a row cannot be read, sets a class against itself, or puts one
    piece of evidence into two groups.
    """
    found: dict[str, list[Ratio]] = {}
    for row in table("evidence_ratios"):
        where = f"evidence_ratios.csv: {row['evidence']}"
        try:
            ratio = float(row["ratio"])
        except ValueError as error:
            raise DictionaryError(f"{where}: the ratio '{row['ratio']}' is no number") from error
        if not (math.isfinite(ratio) and ratio > 1.0):
            raise DictionaryError(f"{where}: the ratio must be above 1; swap 'for' and 'against'")
        everyone = frozenset(CAUSES)
        favours = everyone if row["for"] == "*" else _classes(row["for"], where)
        against = everyone if row["against"] == "*" else _classes(row["against"], where)
        if row["for"] == "*":
            favours -= against
        if row["against"] == "*":
            against -= favours
        if favours & against or not favours or not against:
            raise DictionaryError(f"{where}: a class stands against itself, or none does")
        if row["by"] not in ("recording", "record", "person"):
            raise DictionaryError(f"{where}: '{row['by']}' can tell nothing")
        by: By = row["by"]  # type: ignore[assignment]
        one = Ratio(
            row["evidence"], row["group"], by, favours, against, ratio, row["reason"], row["source"]
        )
        before = found.setdefault(one.evidence, [])
        if before and before[0].group != one.group:
            raise DictionaryError(f"{where}: stands in two groups")
        before.append(one)
    return {key: tuple(some) for key, some in found.items()}


@cache
def companions() -> Mapping[tuple[str, str], tuple[Companion, ...]]:
    """Give what moves with a quantity, by (quantity, direction).

    Raises DictionaryError when a direction is neither up nor down.
    """
    found: dict[tuple[str, str], list[Companion]] = {}
    for row in table("companions"):
        directions = row["direction"], row["companion_direction"]
        if not set(directions) <= {"up", "down"}:
            raise DictionaryError(f"companions.csv: up or down, not {directions}")
        one = Companion(
            row["quantity"],
            row["direction"],  # type: ignore[arg-type]
            row["companion"],
            row["companion_direction"],  # type: ignore[arg-type]
            row["source"],
        )
        found.setdefault((one.quantity, one.direction), []).append(one)
    return {key: tuple(some) for key, some in found.items()}


@cache
def repair_acts() -> tuple[RepairAct, ...]:
    """Give the table in its order."""
    return tuple(
        RepairAct(
            row["act"],
            tuple(
                tuple(frozenset(map(stem, word.split("/"))) for word in phrase.split())
                for phrase in row["words"].split(";")
            ),
            row["source"],
        )
        for row in table("repair_acts")
    )


def acts_named(text: str) -> tuple[str, ...]:
    """Give the repairs that a person's words name, in the table's order; a negated one is none."""
    words = frozenset(words_of(text))
    if "not" in words:
        return ()
    return tuple(
        one.act for one in repair_acts() if any(_all_in(phrase, words) for phrase in one.phrases)
    )


def _all_in(phrase: Iterable[frozenset[str]], words: frozenset[str]) -> bool:
    return all(word & words for word in phrase)
