"""What of a machine's case checks depend on: what it sends, its voltage, the circumstances."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from itertools import combinations
from typing import Literal

import numpy as np

from shearbolt.model.instants import SECOND_US
from shearbolt.model.state import F32
from shearbolt.reasoning.case import FaultCase, MachineCase, VisitCase
from shearbolt.reasoning.checks.values import CheckContext, asked_of
from shearbolt.reasoning.odds.values import FaultOdds
from shearbolt.reasoning.voltage import nominal_of_all

LAST_VISITS = 5
"""What a machine sends is looked for in so many last recordings."""
FEED_SPNS = (158, 168)
DIFFER_V, DIFFER_S = 0.5, 60
"""Two readings of one feed further apart than this, for so long, are wiring (reference sheet 6.5);
doubled at 24 V."""
CRANK_DIFFER_V, CRANK_DIFFER_S, CRANK_BELOW_V = 1.0, 3, 11.0
"""The same while a start pulls the voltage down: samples of one second need not be of one instant,
so the difference must be larger and last for three seconds on end (own rule)."""
PLUGGED_US = 60 * SECOND_US
SOOT_LIMIT_PCT = 100.0
"""SPN 3719 at 100 %: the level at which a regeneration is due at the latest (SAE J1939-71, from
memory); the maker's own limit counts where it is known."""
FROST_C = -10.0
FIRST_MISSING_SPN = 2000
"""SPN 2000 + address: the controller at that address (SAE J1939-73, from memory)."""
BY_EVIDENCE: Mapping[str, str] = {
    "shaken": "moving_part",
    "power_lost": "power_lost",
    "rodents": "stood_long",
}
"""Evidence that speaks for a cause, and the circumstance it is."""


def context_of(
    case: MachineCase,
    fault: FaultCase,
    odds: FaultOdds | None = None,
    ready: Collection[str] = (),
    no_tools: Collection[str] = (),
) -> CheckContext:
    """Gather what checks of a fault depend on from the machine's case and the fault's odds.

    `ready` is preparation already done, `no_tools` what is not at hand.
    """
    nominal = nominal_of_all(case.visits)
    system_v: Literal[12, 24] | None = 12 if nominal == 12 else 24 if nominal == 24 else None
    flags: set[str] = set()
    if case.kind == "implement":
        flags |= {"implement", "powered_terminators"}
    if any(_differ(one, system_v or 12) for one in case.visits[-LAST_VISITS:]):
        flags.add("volts_differ")
    if _lost_power(case, fault):
        flags.add("power_lost")
    if _plugged_in_just_before(case, fault):
        flags.add("plugged_in_just_before")
    if _soot_above_limit(case):
        flags.add("soot_above_limit")
    if _frosty(case):
        flags.add("frost")
    if odds is not None:
        flags |= _by_odds(odds)
    return CheckContext(
        _live(case), system_v, frozenset(flags), frozenset(ready), frozenset(no_tools)
    )


def _live(case: MachineCase) -> frozenset[int] | None:
    """Give the parameters sent in the last recordings; one in error is sent all the same."""
    heard = [one for one in case.visits if one.signals][-LAST_VISITS:]
    if not heard:
        return None
    return frozenset(
        seen.spn for one in heard for seen in one.signals if seen.numbers + seen.errors > 0
    )


def _differ(visit: VisitCase, system_v: int) -> bool:
    """Tell whether two senders read the feed apart, running or while a start pulls it down."""
    lows = [
        column.low for key, column in visit.state.columns.items() if key.spn in FEED_SPNS
    ]  # two parameters of one sender are two readings as well
    scale = system_v / 12.0
    return any(_apart(one, other, scale) for one, other in combinations(lows, 2))


def _apart(one: F32, other: F32, scale: float) -> bool:
    both = np.isfinite(one) & np.isfinite(other)
    if not both.any():
        return False
    gap = np.abs(one[both] - other[both]) / scale
    pulled = np.minimum(one[both], other[both]) < CRANK_BELOW_V * scale
    steady = gap[~pulled]
    if len(steady) >= DIFFER_S and float(np.median(steady)) > DIFFER_V:
        return True
    wide = pulled & (gap > CRANK_DIFFER_V)
    return bool((np.convolve(wide, np.ones(CRANK_DIFFER_S), "valid") >= CRANK_DIFFER_S).any())


def _lost_power(case: MachineCase, fault: FaultCase) -> bool:
    """Tell whether the unit concerned fell silent and came back with a fresh address claim."""
    units = {fault.address}
    if fault.spn is not None and 0 <= fault.spn - FIRST_MISSING_SPN < 254:
        units = {fault.spn - FIRST_MISSING_SPN}
    return any(
        one.why == "silence" and one.claimed_us is not None and one.address in units
        for visit in case.visits
        for one in visit.absences or ()
    )


def _plugged_in_just_before(case: MachineCase, fault: FaultCase) -> bool:
    """Tell whether a bus fault only ever began within a minute of a recording's beginning."""
    if asked_of(fault).kind.type != "bus":
        return False
    starts = [
        (spell, visit)
        for visit in case.visits
        for one in visit.faults
        if one.fault == fault.fault
        for spell in one.seen.spells
    ]
    return bool(starts) and all(
        spell.start_known and 0 <= spell.start_us - visit.first_us <= PLUGGED_US
        for spell, visit in starts
    )


def _soot_above_limit(case: MachineCase) -> bool:
    soot = _latest(case, (3719,))
    return soot is not None and soot > SOOT_LIMIT_PCT


def _frosty(case: MachineCase) -> bool:
    ambient = _latest(case, (171, 172))
    return ambient is not None and ambient < FROST_C


def _latest(case: MachineCase, spns: Collection[int]) -> float | None:
    """Give the last number that any sender told of these parameters."""
    for visit in reversed(case.visits):
        for key, column in visit.state.columns.items():
            if key.spn in spns:
                told = column.last[np.isfinite(column.last)]
                if len(told):
                    return float(told[-1])
    return None


def _by_odds(odds: FaultOdds) -> set[str]:
    found = {
        BY_EVIDENCE[one.key]
        for suspect in odds.suspects
        for one in suspect.evidence
        if one.key in BY_EVIDENCE and one.state == "for"
    }
    if any(one.key == "stood_days" for one in odds.adjusted):
        found.add("stood_long")
    return found
