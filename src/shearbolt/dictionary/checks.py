"""The catalogue of checks: what a person can do to tell causes apart, and what each outcome says.

`data/checks.csv` has one row a check, `data/check_outcomes.csv` the chance of each outcome by cause
class, `data/check_costs.csv` the minutes that putting a class right costs while nobody knows where,
`data/check_curves.csv` figures that outcomes are measured against. No words for people stand here.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from typing import Literal, TypeVar, get_args

from shearbolt.dictionary.cause_priors import CAUSES, OTHER, Cause
from shearbolt.dictionary.sensor_kinds import FMI_GROUPS, FmiGroup, SensorKind, sensor_kinds
from shearbolt.dictionary.tables import table
from shearbolt.errors import DictionaryError

Touches = Literal["ask", "read", "look", "plug", "meter", "unplug", "swap", "open", "call"]
"""How deep a check goes: asking, reading what the machine sends, looking; opening a plug, holding a
meter to it, unplugging for a test, changing two parts over, opening a line; calling somebody."""
EngineState = Literal["off", "key_on", "crank", "seat", "any"]
"""'seat': it runs, and a person reads from the seat; 'crank': it is started from the seat."""
By = Literal["driver", "owner", "technician"]
Measure = Literal["", "limits", "limits24", "ntc", "pt", "cranking"]
"""How a value chooses the outcome: by the row's limits (of a 12 V machine and doubled at 24 V for
'limits24'), by a thermistor's or platinum sensor's curve, by the least voltage while cranking."""
COULD_NOT = "could_not"
"""The outcome of a check that could not be done; it says nothing."""
CLASSES: tuple[str, ...] = (*CAUSES, OTHER)
"""All that odds are spread over: the cause classes and 'none of these'."""
HANDS_OFF: frozenset[Touches] = frozenset(("ask", "read", "look", "call"))
"""Checks that neither open nor measure anything."""


@dataclass(frozen=True, slots=True)
class Outcome:
    """One thing that can come of a check, and what it says."""

    outcome: str
    low: float | None
    """In the check's unit: the least value of it; None: no lower limit, or nothing measured."""
    high: float | None
    """It is below this; None: no upper limit, or nothing measured."""
    likelihood: tuple[float, ...]
    """Chance of it if the cause is of each of CLASSES, in their order."""
    locates: tuple[tuple[Cause, float], ...]
    """Class, and minutes that putting it right costs once this is known."""
    source: str

    @property
    def tells(self) -> bool:
        """Whether it moves the odds at all."""
        return self.outcome != COULD_NOT

    def by_cause(self) -> dict[Cause, float]:
        """Give the chances by cause class, 'none of these' left out."""
        return dict(zip(CAUSES, self.likelihood, strict=False))


@dataclass(frozen=True, slots=True)
class Check:
    """One check."""

    check: str
    kinds: frozenset[str]
    """Kinds of sensor that it serves; empty: any."""
    fmi_groups: frozenset[FmiGroup]
    """Kinds of failure that it serves; empty: any."""
    by_class: Cause | None
    """It also serves any kind while this class is among the likely ones."""
    touches: Touches
    engine: EngineState
    minutes: float
    setup: tuple[tuple[str, float], ...]
    """What must be made ready first, and its minutes; once done it serves other checks too."""
    tools: tuple[str, ...]
    by: By
    needs: tuple[str, ...]
    """What must be so for it to be possible: message keys."""
    gate: str
    """'always': before all others, for safety; else the circumstance in which it comes first."""
    unit: str
    measure: Measure
    group: str
    """Name of the fact it rests on; what rests on one fact does not add up."""
    cautions: tuple[str, ...]
    source: str
    plain: tuple[Outcome, ...]
    """Outcomes, `could_not` last."""
    changed: tuple[tuple[str, tuple[Outcome, ...]], ...]
    """Circumstance, and the outcomes as they are then."""

    def outcomes(self, flags: frozenset[str] = frozenset()) -> tuple[Outcome, ...]:
        """Give what can come of it in these circumstances, `could_not` last."""
        for flag, found in self.changed:
            if flag in flags:
                return (*found, self.plain[-1])
        return self.plain

    def outcome(self, name: str, flags: frozenset[str] = frozenset()) -> Outcome | None:
        """Give one outcome by its name; None: the check has no such outcome."""
        return next((one for one in self.outcomes(flags) if one.outcome == name), None)

    def telling(self, flags: frozenset[str] = frozenset()) -> tuple[Outcome, ...]:
        """Give the outcomes that say something; their chances add up to 1 for each class."""
        return tuple(one for one in self.outcomes(flags) if one.tells)


_T = TypeVar("_T", bound=str)


def _pick(text: str, allowed: tuple[_T, ...], where: str) -> _T:
    for one in allowed:
        if one == text:
            return one
    raise DictionaryError(f"checks.csv: '{text}' is not known: {where}")


def _parts(text: str) -> tuple[str, ...]:
    return tuple(text.split("|")) if text else ()


def _kinds_of(text: str, where: str) -> frozenset[str]:
    """Read kinds: '#ntc' stands for every kind of that type."""
    if text == "*":
        return frozenset()
    found: set[str] = set()
    for part in _parts(text):
        fits = {one.kind for one in sensor_kinds().values() if _named(one, part)}
        if not fits:
            raise DictionaryError(f"checks.csv: no sensor is of the kind '{part}': {where}")
        found |= fits
    return frozenset(found)


def _named(one: SensorKind, part: str) -> bool:
    return one.type == part[1:] if part.startswith("#") else one.kind == part


def _number(text: str, where: str) -> float:
    try:
        value = float(text)
    except ValueError as error:
        raise DictionaryError(f"{where}: '{text}' is no number") from error
    if not math.isfinite(value):
        raise DictionaryError(f"{where}: '{text}' is no number")
    return value


def _amounts(text: str, mark: str, where: str) -> tuple[tuple[str, float], ...]:
    return tuple(
        (one.partition(":")[0], _number(one.partition(":")[2], where))
        for one in (text.split(mark) if text else ())
    )


def _outcome(row: Mapping[str, str]) -> Outcome:
    where = f"check_outcomes.csv, {row['check']}.{row['outcome']}"
    likelihood = tuple(_number(row[one], where) for one in CLASSES)
    if not all(0.0 < one <= 1.0 for one in likelihood):
        raise DictionaryError(f"{where}: a chance must lie above 0 and not above 1")
    return Outcome(
        row["outcome"],
        _number(row["low"], where) if row["low"] else None,
        _number(row["high"], where) if row["high"] else None,
        likelihood,
        tuple(
            (_pick(cause, CAUSES, where), minutes)
            for cause, minutes in _amounts(row["locates"], ";", where)
        ),
        row["source"],
    )


def _proved(check: str, measure: Measure, found: tuple[Outcome, ...]) -> tuple[Outcome, ...]:
    """Hold the outcomes of one check to the rules. Raises DictionaryError for a breach."""
    telling = [one for one in found if one.tells]
    if len(telling) < 2:
        raise DictionaryError(f"check_outcomes.csv: {check} tells nothing apart")
    for place, cause in enumerate(CLASSES):
        total = sum(one.likelihood[place] for one in telling)
        if abs(total - 1.0) > 1e-6:
            raise DictionaryError(
                f"check_outcomes.csv: the chances of {check} under {cause} add up to {total:g}"
            )
    if measure in ("limits", "limits24"):
        bands = [one for one in telling if (one.low, one.high) != (None, None)]
        ends = [None, *(one.high for one in bands)]
        if len(bands) < 2 or ends != [*(one.low for one in bands), None]:
            raise DictionaryError(f"check_outcomes.csv: the limits of {check} leave a gap")
    return found


@cache
def checks() -> Mapping[str, Check]:
    """Give the catalogue by the checks' names, in its order.

    Raises DictionaryError when a row cannot be read, chances do not add up, or limits leave a gap.
    """
    rows: dict[str, dict[str, list[Outcome]]] = {}
    for row in table("check_outcomes"):
        rows.setdefault(row["check"], {}).setdefault(row["when"], []).append(_outcome(row))
    found: dict[str, Check] = {}
    for row in table("checks"):
        name = row["check"]
        if name not in rows:
            raise DictionaryError(f"check_outcomes.csv: {name} has no outcome")
        found[name] = _check(row, rows.pop(name))
    if rows:
        raise DictionaryError(f"check_outcomes.csv: no check is called {next(iter(rows))}")
    _same_setups(found)
    return found


def _check(row: Mapping[str, str], outcomes: Mapping[str, list[Outcome]]) -> Check:
    name = row["check"]
    measure = _pick(row["measure"], get_args(Measure), name)
    plain = _proved(name, measure, tuple(outcomes.get("", ())))
    if plain[-1].outcome != COULD_NOT:
        raise DictionaryError(f"check_outcomes.csv: {name} does not end with '{COULD_NOT}'")
    groups = () if row["fmi_groups"] == "*" else _parts(row["fmi_groups"])
    return Check(
        name,
        _kinds_of(row["kinds"], name),
        frozenset(_pick(one, FMI_GROUPS, name) for one in groups),
        _pick(row["by_class"], CAUSES, name) if row["by_class"] else None,
        _pick(row["touches"], get_args(Touches), name),
        _pick(row["engine"], get_args(EngineState), name),
        _number(row["minutes"], name),
        _amounts(row["setup"], ";", name),
        _parts(row["tools"]),
        _pick(row["by"], get_args(By), name),
        _parts(row["needs"]),
        row["gate"],
        row["unit"],
        measure,
        row["group"],
        _parts(row["cautions"]),
        row["source"],
        plain,
        tuple(
            (flag, _proved(name, measure, tuple(some))) for flag, some in outcomes.items() if flag
        ),
    )


def _same_setups(found: Mapping[str, Check]) -> None:
    minutes: dict[str, float] = {}
    for one in found.values():
        for key, value in one.setup:
            if minutes.setdefault(key, value) != value:
                raise DictionaryError(f"checks.csv: '{key}' takes two different times")


@cache
def repair_minutes() -> tuple[float, ...]:
    """Give what putting right each of CLASSES costs in minutes; for the last, handing it over.

    Raises DictionaryError when a class is missing or a cost is not above 0.
    """
    found = {
        row["cause"]: _number(row["minutes"], "check_costs.csv") for row in table("check_costs")
    }
    if set(found) != set(CLASSES) or min(found.values()) <= 0.0:
        raise DictionaryError("check_costs.csv: every cause class needs a cost above 0")
    return tuple(found[one] for one in CLASSES)


@cache
def check_curves() -> Mapping[str, Mapping[str, float]]:
    """Give the figures of each curve by parameter. Raises DictionaryError for what is no number."""
    found: dict[str, dict[str, float]] = {}
    for row in table("check_curves"):
        found.setdefault(row["curve"], {})[row["parameter"]] = _number(
            row["value"], "check_curves.csv"
        )
    return found
