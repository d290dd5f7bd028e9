"""What choosing a check starts from and what comes out."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

from shearbolt.dictionary.advice_kinds import kind_of_code
from shearbolt.dictionary.cause_priors import Cause
from shearbolt.dictionary.checks import By
from shearbolt.dictionary.sensor_kinds import (
    FmiGroup,
    SensorKind,
    fmi_group,
    kind_of_spn,
    kind_of_trouble_code,
    kind_of_words,
)
from shearbolt.reasoning.case import FaultCase

SAFETY_UNITS = frozenset(("safety_unit", "safety_unit_missing"))
"""Kinds of advice for controllers of brakes, steering and lift: nobody measures there himself."""


@dataclass(frozen=True, slots=True)
class CheckContext:
    """What is known of the machine and the moment, as far as checks depend on it."""

    live: frozenset[int] | None = None
    """Parameters that this machine sends; None: not known, then a check may try."""
    system_v: Literal[12, 24] | None = None
    """The machine's system voltage."""
    flags: frozenset[str] = frozenset()
    """Circumstances: 'volts_differ' (two controllers read the feed more than 0.5 V apart),
    'power_lost' (the unit came back with a fresh address claim, SAE J1939-81),
    'moving_part' (it follows steering, lifting or folding), 'stood_long' (60 days or more),
    'frost',
    'plugged_in_just_before' (it began within a minute of plugging our adapter in), 'implement',
    'powered_terminators' (ISO 11783-2), 'soot_above_limit', 'high_voltage'."""
    ready: frozenset[str] = frozenset()
    """Preparation already done: 'listening', 'plug_open', 'battery_box', 'cold_night', ..."""
    no_tools: frozenset[str] = frozenset()
    """Tools that are not at hand."""
    sensor_c: float | None = None
    """Temperature of the sensor, or of the battery, when something was measured."""
    expected_ohm: float | None = None
    """What the manual's own table says for that temperature."""


@dataclass(frozen=True, slots=True)
class Asked:
    """A fault as the catalogue sees it."""

    fault: str
    spn: int | None
    kind: SensorKind
    group: FmiGroup


@dataclass(frozen=True, slots=True)
class NextCheck:
    """One check, with what it takes and what it settles."""

    check: str
    minutes: float
    """Hands-on minutes, preparation that is still to do included."""
    waits: tuple[str, ...]
    """Preparation that is waiting, not work: 'cold_night', 'workshop'."""
    tools: tuple[str, ...]
    by: By
    settles: tuple[Cause, ...]
    """Likely causes, the likeliest first, that an outcome shows, finds or rules out."""
    cautions: tuple[str, ...]
    """Message keys: the check's own, then those of the place."""
    gate: bool
    """It comes first whatever it is worth: safety."""
    worth_min: float
    """Minutes of expected further cost that knowing its outcome saves; never below 0."""
    cost_min: float
    """Minutes it costs, waiting included."""
    pays: bool
    """Whether it is worth doing, alone or with the one after it."""
    not_possible_because: str | None
    """Message key; None: it can be done."""
    source: str


def asked_of(fault: FaultCase, function: int | None = None) -> Asked:
    """Tell what a fault speaks of and how it fails.

    `function` is that of the sender's NAME (SAE J1939-81). Controllers of brakes, steering and lift
    count as licensed ground, whatever their code says.
    """
    if fault.kind == "symptom":
        return Asked(fault.fault, None, kind_of_words(fault.text), "symptom")
    if fault.spn is None:
        return Asked(fault.fault, None, kind_of_trouble_code(fault.code or ""), "unsaid")
    kind = kind_of_spn(fault.spn)
    advice = kind_of_code(fault.spn, fault.fmi, fault.address, function)
    if advice.kind in SAFETY_UNITS and not kind.limit:
        kind = replace(kind, limit="licensed", unplug=False)
    return Asked(fault.fault, fault.spn, kind, fmi_group(fault.fmi))
