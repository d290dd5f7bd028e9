"""What senses a parameter, by its number, by a road vehicle's code, or by a symptom.

`data/sensor_kinds.csv` is the table. Which sensor a maker fitted is not public; the kind says what
is commonly found, so that checks can be chosen by it. Groups of failure modes are those of
SAE J1939-73 appendix A, from memory.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from typing import Literal, get_args

from shearbolt.dictionary.advice_kinds import symptom_of
from shearbolt.dictionary.company_roles import numbers_of
from shearbolt.dictionary.tables import table
from shearbolt.errors import DictionaryError

FmiGroup = Literal[
    "high",
    "low",
    "circuit",
    "erratic",
    "rhythm",
    "mechanical",
    "message",
    "device",
    "calibration",
    "symptom",
    "unsaid",
]
"""Kinds of failure that ask for the same checks; 'unsaid': the code does not tell."""
FMI_GROUPS: tuple[FmiGroup, ...] = get_args(FmiGroup)
_BY_FMI: Mapping[int, FmiGroup] = {
    0: "high",
    15: "high",
    16: "high",
    20: "high",
    1: "low",
    17: "low",
    18: "low",
    21: "low",
    3: "circuit",
    4: "circuit",
    5: "circuit",
    6: "circuit",
    2: "erratic",
    10: "erratic",
    8: "rhythm",
    7: "mechanical",
    9: "message",
    19: "message",
    12: "device",
    13: "calibration",
}
Limit = Literal["", "licensed", "interlock"]
"""'licensed': nobody measures or opens there by himself; 'interlock': its state is read only."""
LIMITS: tuple[Limit, ...] = get_args(Limit)
UNKNOWN = "not_known"


@dataclass(frozen=True, slots=True)
class SensorKind:
    """One kind of sensor, actuator, line or figure that codes speak of."""

    kind: str
    type: str
    """How it works: `ntc`, `ratiometric`, `pickup`, `bus`, `symptom`, ..."""
    spns: frozenset[int]
    symptoms: frozenset[str]
    """Keys of symptoms.csv that speak of it."""
    codes: tuple[tuple[str, str], ...]
    """Ranges of codes of road vehicles (SAE J2012, from memory)."""
    limit: Limit
    unplug: bool
    """It may be unplugged for a test, the engine off: temperature sensors and 5 V pressure
    senders only."""
    twin: bool
    """Machines often have another of the same."""
    cautions: tuple[str, ...]
    """What can hurt at its place: message keys."""
    source: str


def _parts(text: str) -> tuple[str, ...]:
    return tuple(text.split("|")) if text else ()


@cache
def sensor_kinds() -> Mapping[str, SensorKind]:
    """Give the table by kind, in its order.

    Raises DictionaryError when a row cannot be read, two rows claim one number, or a kind that may
    be unplugged is none that may.
    """
    found: dict[str, SensorKind] = {}
    claimed: dict[int, str] = {}
    for row in table("sensor_kinds"):
        one = _kind(row)
        for spn in one.spns:
            if spn in claimed:
                raise DictionaryError(
                    f"sensor_kinds.csv: {spn} stands in {claimed[spn]} and in {one.kind}"
                )
            claimed[spn] = one.kind
        if one.unplug and (one.type not in ("ntc", "ratiometric") or one.limit):
            raise DictionaryError(f"sensor_kinds.csv: {one.kind} may not be unplugged")
        found[one.kind] = one
    if UNKNOWN not in found:
        raise DictionaryError(f"sensor_kinds.csv: the kind {UNKNOWN} is missing")
    return found


def _kind(row: Mapping[str, str]) -> SensorKind:
    limit = next((one for one in LIMITS if one == row["limits"]), None)
    if limit is None:
        raise DictionaryError(f"sensor_kinds.csv: '{row['limits']}' is no limit: {row['kind']}")
    try:
        spns = numbers_of(row["spns"])
    except ValueError as error:
        raise DictionaryError(
            f"sensor_kinds.csv: a number cannot be read: {row['kind']}"
        ) from error
    return SensorKind(
        row["kind"],
        row["type"],
        spns,
        frozenset(_parts(row["symptoms"])),
        tuple(
            (one.partition("-")[0], one.partition("-")[2] or one) for one in _parts(row["codes"])
        ),
        limit,
        row["unplug"] == "yes",
        row["twin"] == "yes",
        _parts(row["cautions"]),
        row["source"],
    )


@cache
def _by_spn() -> Mapping[int, SensorKind]:
    return {spn: one for one in sensor_kinds().values() for spn in one.spns}


def fmi_group(fmi: int | None) -> FmiGroup:
    """Give the group of a failure mode (SAE J1939-73); 'unsaid' for those that tell nothing."""
    return _BY_FMI.get(fmi, "unsaid") if fmi is not None else "unsaid"


def kind_of_spn(spn: int) -> SensorKind:
    """Give what senses a parameter; `not_known` where the table has no row."""
    return _by_spn().get(spn, sensor_kinds()[UNKNOWN])


def kind_of_trouble_code(code: str) -> SensorKind:
    """Give what a road vehicle's code speaks of (SAE J2012); `not_known` where no row fits."""
    plain = code.strip().upper()[:5]
    if len(plain) == 5:
        for one in sensor_kinds().values():
            if any(first <= plain <= last for first, last in one.codes):
                return one
    return sensor_kinds()[UNKNOWN]


def kind_of_words(words: str) -> SensorKind:
    """Give what a person's words for a symptom speak of; `not_known` where nothing is plain."""
    key = symptom_of(words)
    for one in sensor_kinds().values():
        if key in one.symptoms:
            return one
    return sensor_kinds()[UNKNOWN]
