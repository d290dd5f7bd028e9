"""What is likely before any evidence of this machine's recordings."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from shearbolt.dictionary.cause_priors import (
    CAUSES,
    OTHER,
    CausePrior,
    PriorAdjustment,
    prior_adjustments,
    prior_of,
    prior_of_code,
    prior_of_words,
)
from shearbolt.dictionary.phrases import matches
from shearbolt.model.instants import HOUR_US
from shearbolt.reasoning.case import FaultCase, MachineCase
from shearbolt.reasoning.company.values import Start
from shearbolt.reasoning.odds.values import GRADE_WEIGHT, Adjusted, OwnCause

WEIGHT = 10.0
"""Cases that a row of the table stands for: a Dirichlet prior (reference sheet section 5.1)."""
LEAST_SHARE = 0.002
"""A class that the table rounds to nothing is rare, not impossible; soot and ash need a filter."""
DAY_US = 24 * HOUR_US
NEED_A_FILTER = ("inhibited_regeneration", "ash")


@dataclass(frozen=True, slots=True)
class Before:
    """A fault's prior and what made it."""

    row: CausePrior
    shares: dict[str, float]
    """Every class and 'other'; adds up to 1."""
    adjusted: tuple[Adjusted, ...]
    own_cases: float


def before_evidence(
    case: MachineCase,
    fault: FaultCase,
    starts: Sequence[Start],
    own_causes: Sequence[OwnCause] = (),
) -> Before:
    """Give a fault's prior: the table's row, what is known of the machine, the farm's own cases.

    The row counts like 10 cases; each confirmed cause of the same kind of code adds its weight.
    """
    if fault.kind == "symptom":
        row = prior_of_words(fault.text)
    elif fault.spn is None and fault.code:
        row = prior_of_code(fault.code)
    else:
        row = prior_of(fault.spn, fault.fmi)
    shares: dict[str, float] = {
        cause: max(row.shares[cause], 0.0 if cause in NEED_A_FILTER else LEAST_SHARE)
        for cause in CAUSES
    }
    adjusted = [one for one in prior_adjustments() if _holds(one, case, starts)]
    for one in adjusted:
        shares[one.cause] *= one.factor
    kept = 1.0 - row.other
    total = sum(shares.values())
    shares = {cause: share / total * kept for cause, share in shares.items()} | {OTHER: row.other}
    own = 0.0
    counted = {cause: WEIGHT * share for cause, share in shares.items()}
    for case_of in own_causes:
        if _same_kind(case_of, fault, row):
            counted[case_of.cause] += GRADE_WEIGHT[case_of.grade]
            own += GRADE_WEIGHT[case_of.grade]
    total = sum(counted.values())
    return Before(
        row,
        {cause: one / total for cause, one in counted.items()},
        tuple(Adjusted(one.key, one.cause, one.factor, one.source) for one in adjusted),
        own,
    )


def _same_kind(one: OwnCause, fault: FaultCase, row: CausePrior) -> bool:
    """Tell whether a confirmed cause was of the same code, or of the same row of the table."""
    if one.spn is None or fault.spn is None:
        return one.code is not None and one.code == fault.code
    if (one.spn, one.fmi) == (fault.spn, fault.fmi):
        return True
    return row.spns is not None and prior_of(one.spn, one.fmi).kind == row.kind


def _holds(one: PriorAdjustment, case: MachineCase, starts: Sequence[Start]) -> bool:
    if one.key == "machine_hours":
        told = [visit.hours_end for visit in case.visits if visit.hours_end is not None]
        return bool(told) and max(told) >= one.at_least
    if one.key == "stood_days":
        return _stood(case, starts, one.at_least, one.within_h or 0.0)
    return False


def _stood(case: MachineCase, starts: Sequence[Start], days: float, within_h: float) -> bool:
    """Tell whether the first start fell into the first hours after a long standing still."""
    if not starts:
        return False
    first = starts[0].visit
    visit = case.visits[first]
    for note in visit.notes:
        if note.kind == "event" and any(one.known.key == "stood" for one in matches(note.text)):
            return True
    earlier = [
        one for one in case.visits[:first] if one.zero_us is not None and one.hours_end is not None
    ]
    if visit.zero_us is None or visit.hours_start is None:
        return False
    begin_us, hours = visit.zero_us + visit.earliest_us, visit.hours_start
    for one in reversed(earlier):
        if hours - (one.hours_end or 0.0) > within_h:
            return False
        if begin_us - ((one.zero_us or 0) + one.latest_us) >= days * DAY_US:
            return True
        begin_us = (one.zero_us or 0) + one.earliest_us
    return False
