"""What the plausibility checks go by: their limits, and the words for what they find.

`data/plausibility.csv` holds the limits (check, parameter, value, unit, source),
`data/plausibility_words.csv` short words for each check and each finding.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache

from shearbolt.dictionary.tables import table
from shearbolt.errors import DictionaryError


@dataclass(frozen=True, slots=True)
class Limit:
    """One limit of one check."""

    check: str
    parameter: str
    value: float
    unit: str
    source: str


@cache
def all_limits() -> tuple[Limit, ...]:
    """Give the table. Raises DictionaryError when a row cannot be read or stands twice."""
    found: list[Limit] = []
    seen: set[tuple[str, str]] = set()
    for row in table("plausibility"):
        try:
            value = float(row["value"])
        except ValueError as error:
            raise DictionaryError(
                f"plausibility.csv: a number cannot be read: {row}; write it with a decimal point"
            ) from error
        place = row["check"], row["parameter"]
        if place in seen or not math.isfinite(value):
            raise DictionaryError(f"plausibility.csv: {place} stands twice or is no limit")
        seen.add(place)
        found.append(Limit(*place, value, row["unit"], row["source"]))
    return tuple(found)


@cache
def limits(check: str) -> Mapping[str, float]:
    """Give the limits of one check by parameter; none where the table has none."""
    return {one.parameter: one.value for one in all_limits() if one.check == check}


@cache
def check_words() -> Mapping[str, str]:
    """Give short words for each check."""
    return _words("check")


@cache
def finding_words() -> Mapping[str, str]:
    """Give short words for each finding; `{name}` stands for the figure of that name (SI)."""
    return _words("finding")


def _words(kind: str) -> Mapping[str, str]:
    return {row["key"]: row["words"] for row in table("plausibility_words") if row["kind"] == kind}
