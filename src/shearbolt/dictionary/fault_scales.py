"""Kinds of fault whose starts are not counted by engine hours (`data/fault_scales.csv`)."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from shearbolt.dictionary.advice_kinds import symptom_of
from shearbolt.dictionary.company_roles import numbers_of
from shearbolt.dictionary.tables import table
from shearbolt.errors import DictionaryError


@dataclass(frozen=True, slots=True)
class FaultScale:
    """One scale and the faults that belong to it."""

    scale: str
    spns: frozenset[int]
    fmis: frozenset[int]
    """Empty: any."""
    symptoms: frozenset[str]
    source: str


@cache
def fault_scales() -> tuple[FaultScale, ...]:
    """Give the table. Raises DictionaryError when a row cannot be read."""
    found: list[FaultScale] = []
    for row in table("fault_scales"):
        try:
            spns, fmis = numbers_of(row["spns"]), numbers_of(row["fmis"])
        except ValueError as error:
            raise DictionaryError(f"fault_scales.csv: a number cannot be read: {row}") from error
        symptoms = frozenset(row["symptoms"].split("|")) if row["symptoms"] else frozenset[str]()
        found.append(FaultScale(row["scale"], spns, fmis, symptoms, row["source"]))
    return tuple(found)


def scale_of_code(spn: int | None, fmi: int | None) -> str | None:
    """Give the scale of a code's kind; None: engine hours, or what fits best."""
    return next(
        (
            one.scale
            for one in fault_scales()
            if spn in one.spns and (not one.fmis or fmi in one.fmis)
        ),
        None,
    )


def scale_of_symptom(words: str) -> str | None:
    """Give the scale of a symptom in a person's words; None as for codes."""
    key = symptom_of(words)
    return next((one.scale for one in fault_scales() if key in one.symptoms), None)
