"""What to expect of a repair before anything is seen of it (`data/repair_grades.csv`)."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache

from shearbolt.dictionary.tables import table
from shearbolt.errors import DictionaryError

HUNCH = "hunch"
"""The grade of a repair of which nothing else is known."""


@dataclass(frozen=True, slots=True)
class RepairGrade:
    """How well the cause was known when a repair was done."""

    grade: str
    cured: float
    """Share of such repairs that cure."""
    partly: float
    """Of the others, the share that helps a little."""
    weight: float
    """What a repair of this grade that held counts as a confirmed case."""
    words: str
    source: str


@cache
def repair_grades() -> Mapping[str, RepairGrade]:
    """Give the grades by name.

    Raises DictionaryError when a row cannot be read, or a share does not lie between 0 and 1, or
    the grade of a hunch is missing.
    """
    found: dict[str, RepairGrade] = {}
    for row in table("repair_grades"):
        try:
            cured, partly, weight = (float(row[name]) for name in ("cured", "partly", "weight"))
        except ValueError as error:
            raise DictionaryError(
                f"repair_grades.csv: a number cannot be read: {row}; write it with a decimal point"
            ) from error
        if not (0.0 < cured < 1.0 and 0.0 <= partly <= 1.0 and 0.0 <= weight <= 1.0):
            raise DictionaryError(f"repair_grades.csv: {row['grade']} has a share beyond 0 to 1")
        found[row["grade"]] = RepairGrade(
            row["grade"], cured, partly, weight, row["words"], row["source"]
        )
    if HUNCH not in found:
        raise DictionaryError(f"repair_grades.csv: the grade '{HUNCH}' is missing")
    return found


def repair_grade(name: str | None) -> RepairGrade:
    """Give a grade; that of a hunch where none or an unknown one is named."""
    grades = repair_grades()
    return grades.get(name or HUNCH, grades[HUNCH])
