"""Which readings each judgement of a machine needs (`data/judgements.csv`)."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from functools import cache

from shearbolt.dictionary.tables import table
from shearbolt.errors import DictionaryError


@dataclass(frozen=True, slots=True)
class Judgement:
    """A judgement, and the inputs it needs."""

    key: str
    words: str
    any_of: tuple[tuple[int, ...], ...]
    """For each input, the SPNs that can serve; one of them must be alive."""
    source: str

    @property
    def spns(self) -> tuple[int, ...]:
        """All SPNs that it may use."""
        return tuple(spn for choice in self.any_of for spn in choice)


@cache
def judgements() -> tuple[Judgement, ...]:
    """Give the table. Raises DictionaryError when a row cannot be read."""
    found: list[Judgement] = []
    for row in table("judgements"):
        try:
            inputs = tuple(
                tuple(int(spn) for spn in choice.split("|")) for choice in row["any_of"].split(";")
            )
        except ValueError as error:
            raise DictionaryError(f"judgements.csv: a number cannot be read: {row}") from error
        found.append(Judgement(row["judgement"], row["words"], inputs, row["source"]))
    return tuple(found)


def missing_inputs(judgement: Judgement, alive: Collection[int]) -> tuple[int, ...]:
    """Return the first choice of each input of which nothing is alive; empty: it is possible."""
    return tuple(
        choice[0] for choice in judgement.any_of if not any(spn in alive for spn in choice)
    )
