"""Checks as sentences: what to do, what can come of it, what can hurt, and why it is not possible.

The steps stand in `check_step_words` and `check_place_words`, the outcomes in
`check_outcome_words`; bands of measured values are written from the catalogue's own limits.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal

from shearbolt.app.composing.advice_words import caution_words
from shearbolt.app.composing.check_outcome_words import EXTRA_WORDS, OUTCOME_WORDS, SIDE_WORDS
from shearbolt.app.composing.check_place_words import PLACE_STEPS
from shearbolt.app.composing.check_step_words import WIRE_STEPS
from shearbolt.app.composing.measures import fill, measure
from shearbolt.app.documents.asking import PLAIN_WORDING, Units, Wording
from shearbolt.app.documents.fault import Check as CheckShown
from shearbolt.dictionary.checks import By, Check, Outcome, checks
from shearbolt.reasoning.checks import NextCheck

STEPS: Mapping[str, tuple[str, str]] = {**WIRE_STEPS, **PLACE_STEPS}
"""Title and steps by the check's name."""
OWN_CAUTIONS: Mapping[str, str] = {
    "engine_off_key_out": "Engine off, key out, nobody else at the machine before you begin.",
    "key_on_engine_off": "Key on, engine off, brakes on: nobody touches the starter meanwhile.",
    "in_the_open": "Run it in the open air only: exhaust gas kills without a smell.",
    "clear_of_implement": "It can move when it gets power: nobody near what turns, drops or grips.",
    "pressure_off_first": "Engine off, cold, pressure let off and shown to be zero before anything "
    "is opened.",
    "def_eyes": "DEF hurts eyes and eats copper: goggles on, rinse with water.",
}
"""Cautions of checks beside those of cautions.csv."""
WHY_NOT: Mapping[str, str] = {
    "not_sent": "this machine does not send that reading",
    "no_twin": "there is no second one of the same on the machine",
    "volts_unknown": "it is not known whether this machine is 12 or 24 V",
    "powered_terminators": "this bus has powered terminators, and 60 ohm does not apply to it",
    "soot_above_limit": "the soot is above the maker's limit: workshop only",
    "no_tool": "a tool for it is not at hand",
    "could_not_before": "it was tried, and could not be done",
}
TOOLS: Mapping[str, str] = {
    "brush": "wire brush",
    "cardboard": "piece of cardboard",
    "clean_cup": "clean cup",
    "cloth": "white cloth",
    "compressed_air": "compressed air",
    "contact_cleaner": "contact cleaner",
    "dipstick": "dipstick",
    "feeler_gauge": "feeler gauge",
    "goggles": "goggles",
    "infrared_thermometer": "infrared thermometer",
    "jar": "clean jar",
    "manual": "the machine's manual",
    "multimeter": "multimeter",
    "pressure_gauge": "tested pressure gauge",
    "refractometer": "refractometer for DEF",
    "second_person": "a second person",
    "spanners": "spanners",
    "test_lamp": "test lamp",
    "thermometer": "thermometer",
    "torch": "torch",
}
BY: Mapping[By, str] = {
    "driver": "the driver",
    "owner": "somebody handy with tools",
    "technician": "a workshop",
}
WAITS: Mapping[str, str] = {
    "cold_night": "after a night's standing",
    "workshop": "when the workshop can take it",
}


def check_title(check: str) -> str:
    """Name a check in a few words. Raises KeyError for one without words."""
    return STEPS[check][0]


def check_words(check: str, units: Units = "metric") -> str:
    """Say what to do in a check. Raises KeyError for one without words."""
    title, steps = STEPS[check]
    return f"{title}. {fill(steps, units)}"


def check_caution_words(key: str, units: Units = "metric") -> str:
    """Say a caution of a check. Raises KeyError for a key without words."""
    return OWN_CAUTIONS[key] if key in OWN_CAUTIONS else caution_words(key, units)


def outcome_words(
    check: str, outcome: str, units: Units = "metric", system_v: Literal[12, 24] = 12
) -> str:
    """Name an outcome: 'moved the reading', 'below 4.8 V'.

    Limits that go by the battery are doubled for a 24 V machine. Raises KeyError for a check or
    an outcome that the catalogue lacks.
    """
    one = checks()[check]
    row = one.outcome(outcome)
    if row is None:
        raise KeyError(outcome)
    if row.low is None and row.high is None:
        return OUTCOME_WORDS[outcome]
    return _band(one, row, units, 2.0 if one.measure == "limits24" and system_v == 24 else 1.0)


def outcome_choices(
    check: str, units: Units = "metric", system_v: Literal[12, 24] = 12
) -> tuple[tuple[str, str], ...]:
    """Give a check's outcomes with their names, 'could not do it' last.

    Raises KeyError for a check that the catalogue lacks.
    """
    return tuple(
        (one.outcome, outcome_words(check, one.outcome, units, system_v))
        for one in checks()[check].plain
    )


def _band(one: Check, row: Outcome, units: Units, factor: float) -> str:
    low = None if row.low is None else _value(row.low * factor, one.unit, units)
    high = None if row.high is None else _value(row.high * factor, one.unit, units)
    extra = EXTRA_WORDS.get((one.check, row.outcome))
    if extra is not None:
        return extra.format(low or high)
    if low is None:
        words = f"below {high}"
    elif high is None:
        words = f"{low} or more"
    else:
        words = f"{low} to {high}"
    return SIDE_WORDS.get(one.check, "{}").format(words)


def _value(value: float, unit: str, units: Units) -> str:
    if unit == "K":
        # A difference of temperatures: no offset between the scales.
        return f"{value * 1.8:g} °F" if units == "us" else f"{value:g} °C"
    if unit == "kPa" and units == "us":
        return measure(value, unit, units)
    return f"{value:,g} {unit}" if value < 1e6 else measure(value, unit, units)


def why_not_words(key: str) -> str:
    """Say why a check cannot be done here. Raises KeyError for a key without words."""
    return WHY_NOT[key]


def check_document(one: NextCheck, wording: Wording = PLAIN_WORDING) -> CheckShown:
    """Make a check as documents hold it: who does it and what is waited for stand in the words."""
    units = wording.units
    words = check_words(one.check, units)
    if one.by == "technician":
        words = f"{words} By: {BY[one.by]}."
    for key in one.waits:
        words = f"{words} Best {WAITS[key]}." if key == "cold_night" else words
    return {
        "check": one.check,
        "words": words,
        "minutes": one.minutes,
        "tools": [TOOLS[key] for key in one.tools],
        "settles": list(one.settles),
        "cautions": [check_caution_words(key, units) for key in one.cautions],
        "not_possible_because": (
            None if one.not_possible_because is None else why_not_words(one.not_possible_because)
        ),
    }
