"""How likely each cause class is before any evidence, by kind of code.

`data/cause_priors.csv` is read from the top: the first row that fits a code is its row. Percent of
true causes when the code was seen active at least once; `other` is kept aside for 'none of these'.
`data/prior_adjustments.csv` has what multiplies them.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from typing import Literal, get_args

from shearbolt.dictionary.advice_kinds import symptom_of
from shearbolt.dictionary.company_roles import numbers_of
from shearbolt.dictionary.obd_codes import code_text
from shearbolt.dictionary.tables import table
from shearbolt.errors import DictionaryError

Cause = Literal[
    "real_condition",
    "sensor",
    "wiring",
    "shared_supply",
    "low_voltage",
    "network",
    "operator",
    "calibration",
    "inhibited_regeneration",
    "ash",
]
"""The ten cause classes; a suspect belongs to exactly one."""
CAUSES: tuple[Cause, ...] = get_args(Cause)
OTHER = "other"
"""None of these: a control unit broken in itself, or what nobody thought of."""


@dataclass(frozen=True, slots=True)
class CausePrior:
    """One row: a kind of code and how often each class is behind it."""

    kind: str
    spns: frozenset[int] | None
    """None: any."""
    fmis: frozenset[int]
    """Empty: any."""
    shares: Mapping[Cause, float]
    """They and `other` add up to 1."""
    other: float
    traits: frozenset[str]
    """What else the kind is: electrical, temperature, pressure, speed, switch, fluid, soot,
    network, voltage, interlock, supply."""
    source: str

    def fits(self, spn: int | None, fmi: int | None) -> bool:
        """Tell whether a code is of this kind."""
        if self.spns is not None and spn not in self.spns:
            return False
        return not self.fmis or fmi in self.fmis


@dataclass(frozen=True, slots=True)
class PriorAdjustment:
    """What makes one class likelier on a machine, whatever the code."""

    key: str
    cause: Cause
    factor: float
    at_least: float
    """Figure from which it holds: days, hours, years (by key)."""
    within_h: float | None
    """Engine hours for which it holds; None: for good."""
    source: str


def cause_of(text: str, where: str) -> Cause:
    """Read a cause class. Raises DictionaryError for any other word."""
    for one in CAUSES:
        if one == text:
            return one
    raise DictionaryError(f"{where}: '{text}' is no cause class")


def _shares(row: Mapping[str, str], where: str) -> tuple[dict[Cause, float], float]:
    """Read the shares of a row, and what it keeps aside. Raises DictionaryError."""
    try:
        percent = {one: float(row[one] or 0.0) for one in CAUSES}
        other = float(row["other"]) / 100.0
    except ValueError as error:
        raise DictionaryError(f"{where}: a number cannot be read: {row['kind']}") from error
    if not math.isclose(sum(percent.values()), 100.0) or min(percent.values()) < 0.0:
        raise DictionaryError(f"{where}: {row['kind']} does not add up to 100")
    if not 0.0 < other < 1.0:
        raise DictionaryError(f"{where}: {row['kind']} keeps nothing aside")
    return {one: share / 100.0 * (1.0 - other) for one, share in percent.items()}, other


@cache
def cause_priors() -> tuple[CausePrior, ...]:
    """Give the table in its order.

    Raises DictionaryError when a number cannot be read, a row does not add up to 100, or none is
    left for codes that no other row fits.
    """
    found: list[CausePrior] = []
    for row in table("cause_priors"):
        shares, other = _shares(row, "cause_priors.csv")
        try:
            spns = None if row["spns"] == "*" else numbers_of(row["spns"])
            fmis = numbers_of(row["fmis"])
        except ValueError as error:
            raise DictionaryError(
                f"cause_priors.csv: a number cannot be read: {row['kind']}"
            ) from error
        traits = frozenset(row["traits"].split("|")) if row["traits"] else frozenset()
        found.append(CausePrior(row["kind"], spns, fmis, shares, other, traits, row["source"]))
    if not found or found[-1].spns is not None or found[-1].fmis:
        raise DictionaryError("cause_priors.csv: its last row must fit any code")
    return tuple(found)


@cache
def symptom_priors() -> Mapping[str, CausePrior]:
    """Give the rows for symptoms by the symptom's key. Raises DictionaryError as above."""
    found: dict[str, CausePrior] = {}
    for row in table("symptom_priors"):
        shares, other = _shares(row, "symptom_priors.csv")
        traits = frozenset(row["traits"].split("|")) if row["traits"] else frozenset()
        one = CausePrior(
            row["kind"], frozenset(), frozenset(), shares, other, traits, row["source"]
        )
        found.update(dict.fromkeys(row["symptoms"].split("|"), one))
    return found


@cache
def prior_of_words(words: str) -> CausePrior:
    """Give the row of a symptom in words; what is not plain is of the last row's kind."""
    return symptom_priors().get(symptom_of(words) or "", cause_priors()[-1])


@cache
def prior_of(spn: int | None, fmi: int | None) -> CausePrior:
    """Give the first row that fits a code; what has no numbers is of the last row's kind."""
    rows = cause_priors()
    if spn is None:
        return rows[-1]
    return next(one for one in rows if one.fits(spn, fmi))


@cache
def prior_of_code(code: str) -> CausePrior:
    """Give the row of a road vehicle's code (SAE J2012), by the failure mode that its words name.

    A code whose words are not known, or name none, is of the last row's kind.
    """
    rows = cause_priors()
    try:
        text = code_text(code[:5])
    except ValueError:
        return rows[-1]
    if not text.known:
        return rows[-1]
    for row in table("code_modes"):
        if row["words"] in text.text:
            fmi = int(row["fmi"])
            return next(one for one in rows if one.spns is None and one.fits(None, fmi))
    return rows[-1]


@cache
def prior_adjustments() -> tuple[PriorAdjustment, ...]:
    """Give the table. Raises DictionaryError when a row cannot be read."""
    found: list[PriorAdjustment] = []
    for row in table("prior_adjustments"):
        try:
            found.append(
                PriorAdjustment(
                    row["key"],
                    cause_of(row["cause"], "prior_adjustments.csv"),
                    float(row["factor"]),
                    float(row["at_least"]),
                    float(row["within_h"]) if row["within_h"] else None,
                    row["source"],
                )
            )
        except ValueError as error:
            raise DictionaryError(
                f"prior_adjustments.csv: a number cannot be read: {row['key']}"
            ) from error
    return tuple(found)
