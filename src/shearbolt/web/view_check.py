"""A check's form, and how the odds moved by its answer. Pure."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal, TypedDict

from shearbolt.app.composing.check_words import check_title, outcome_choices
from shearbolt.app.documents import CheckAddDocument, FaultDocument, Suspect
from shearbolt.app.documents.asking import Units
from shearbolt.web import phrases, words
from shearbolt.web.forms import Filled
from shearbolt.web.look import Look
from shearbolt.web.verdict import CheckShown, check_shown, fault_name
from shearbolt.web.view_fault import done_shown

_US: dict[str, tuple[float, float, str]] = {
    # Filed unit: factor, offset, unit of the field (NIST SP 811 appendix B, from memory).
    "kPa": (0.1450377, 0.0, "psi"),
    "K": (1.8, 0.0, "°F"),
    "degC": (1.8, 32.0, "°F"),
}
_METRIC = {"K": "°C", "degC": "°C"}


@dataclass(frozen=True, slots=True)
class CheckAsked:
    """The form of one check."""

    fault: str
    fault_name: str
    machine_name: str
    check: str
    shown: CheckShown
    asked_for: bool
    """The fault asks for it now."""
    outcomes: tuple[tuple[str, str], ...]
    """Name and words, 'could not do it' last."""
    unit: str
    """Unit of what is measured; '' where nothing is."""
    place_unit: str
    """Unit of the temperature at that place, where the value needs it; else ''."""


class Before(TypedDict):
    """A cause, before an answer and after it."""

    words: str
    odds: str
    percent: int
    before: str
    percent_before: int


class Next(TypedDict):
    """What to check next."""

    title: str
    minutes: str
    form: str


class Moved(TypedDict):
    """What an answer did; kept with the form that brought it."""

    fault: str
    fault_name: str
    machine_name: str
    title: str
    found: str
    line: str
    """What it did, in one sentence."""
    suspects: list[Before]
    next: Next | None


def check_asked(
    fault: FaultDocument, name: str, system_v: Literal[12, 24], look: Look
) -> CheckAsked:
    """Make the form of a check. Raises KeyError for one that the catalogue lacks."""
    listed = next((one for one in fault["checks"] if one["check"] == name), None)
    asked_for = listed is not None
    if listed is None:
        # What came of it can be told all the same; how it is done only stands beside its cautions.
        listed = {
            "check": name,
            "words": check_title(name),
            "minutes": None,
            "tools": [],
            "settles": [],
            "cautions": [],
            "not_possible_because": None,
        }
    unit = words.MEASURED.get(name, "")
    return CheckAsked(
        fault=fault["fault"],
        fault_name=fault_name(fault),
        machine_name=fault["machine_name"],
        check=name,
        shown=check_shown(listed, fault["fault"]),
        asked_for=asked_for,
        outcomes=tuple(
            (one, told[:1].upper() + told[1:])
            for one, told in outcome_choices(name, look.units, system_v)
        ),
        unit=field_unit(unit, look.units),
        place_unit=field_unit("degC", look.units) if name in words.BY_TEMPERATURE else "",
    )


def field_unit(unit: str, units: Units) -> str:
    """Name the unit in which a field takes what is filed in `unit`."""
    return _US[unit][2] if units == "us" and unit in _US else _METRIC.get(unit, unit)


def value_filed(filled: Filled, name: str, unit: str, units: Units) -> float | None:
    """Read a number typed in the field's unit into `unit`; what cannot be read is a problem."""
    typed = filled.text(name)
    if not typed or not unit:
        return None
    try:
        value = float(typed.replace("−", "-").replace(" ", "").replace(",", "."))
    except ValueError:
        value = math.nan
    if not math.isfinite(value) or abs(value) > 1e9:
        filled.problems[name] = f"Write a number alone, in {field_unit(unit, units)}: 4.8."
        return None
    if units == "us" and unit in _US:
        factor, offset, _ = _US[unit]
        value = (value - offset) / factor
    return value


def moved_shown(document: CheckAddDocument, fault: FaultDocument, look: Look) -> Moved:
    """Say what an answer did to the odds, and what to check next."""
    told = done_shown(document, look)
    can = [one for one in document["checks"] if one["not_possible_because"] is None]
    coming = check_shown(can[0], fault["fault"]) if can else None
    return {
        "fault": fault["fault"],
        "fault_name": fault_name(fault),
        "machine_name": document["machine_name"],
        "title": told.title,
        "found": told.found,
        "line": _line(document["suspects_before"], document["suspects"]),
        "suspects": _suspects(document["suspects_before"], document["suspects"]),
        "next": {"title": coming.title, "minutes": coming.minutes, "form": coming.form}
        if coming
        else None,
    }


def _suspects(before: Sequence[Suspect], now: Sequence[Suspect]) -> list[Before]:
    was = {one["cause"]: one["probability"] for one in before}
    found: list[Before] = []
    for one in now:
        percent = round(100 * one["probability"])
        old = round(100 * was.get(one["cause"], 0.0))
        found.append(
            {
                "words": phrases.sentence(one["words"]),
                "odds": phrases.odds(one["probability"]),
                "percent": percent,
                "before": f"{old} % before" if old != percent else "as before",
                "percent_before": old,
            }
        )
    return found


def _line(before: Sequence[Suspect], now: Sequence[Suspect]) -> str:
    if not now:
        return "There is nothing to weigh it against yet."
    was = {one["cause"]: one["probability"] for one in before}
    moves = [(one, one["probability"] - was.get(one["cause"], 0.0)) for one in now]
    if max(abs(by) for _, by in moves) < 0.01:
        return "It moved nothing: the odds stand as before."
    first = now[0]
    old, new = round(100 * was.get(first["cause"], 0.0)), round(100 * first["probability"])
    name = phrases.sentence(first["words"]).rstrip(".")
    return f"Likeliest now: {name}. It was {old} %, and is {new} %."
