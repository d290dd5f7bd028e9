"""What odds are made of and what comes out: answers of checks, evidence, suspects, odds."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from shearbolt.dictionary.cause_priors import Cause
from shearbolt.model.instants import Instant

Fact = tuple[str, float | str]
"""One value of a message: its name with its unit, SI."""
Grade = Literal["measured", "swapped", "part_held", "opinion"]
"""How a cause was confirmed: by a measurement, by swapping both ways, by a part that was changed
and held, by opinion alone."""
GRADE_WEIGHT: Mapping[Grade, float] = {
    "measured": 1.0,
    "swapped": 1.0,
    "part_held": 0.4,
    "opinion": 0.1,
}
"""Cases that one confirmation counts for (power prior: Ibrahim and Chen 2000; own figures)."""


@dataclass(frozen=True, slots=True)
class AnswerWeights:
    """The answer of one check that a person did, as weights on the cause classes.

    Made by the catalogue of checks; the odds only read it.
    """

    check: str
    fault: str
    outcome: str
    likelihood: Mapping[Cause, float]
    """Chance of this outcome (0 to 1) if the cause is of that class; a class left out is not
    touched by it."""
    group: str
    """Letter of the fact it rests on; answers and other evidence of one letter do not add up."""
    source: str
    at_us: Instant | None = None
    """When it was done."""
    figures: tuple[Fact, ...] = ()
    """What was measured."""


@dataclass(frozen=True, slots=True)
class OwnCause:
    """A cause that this farm confirmed, on this machine or a sister."""

    spn: int | None
    fmi: int | None
    cause: Cause | Literal["other"]
    grade: Grade
    code: str | None = None
    """Code of a road vehicle, where it has no SPN."""


@dataclass(frozen=True, slots=True)
class Moment:
    """Where in a recording to look."""

    visit: str
    at_us: int
    """By the visit's own clock."""


@dataclass(frozen=True, slots=True)
class Evidence:
    """One observed fact as it bears on one suspect."""

    key: str
    """Row of `evidence_ratios.csv`; 'check.NAME.OUTCOME' for the answer of a check."""
    state: Literal["for", "against"]
    group: str
    weight_db: float
    """10 log10 of its ratio, less the discount; negative: against."""
    counts: bool
    """False: a stronger piece of the same group already says it."""
    values: tuple[Fact, ...]
    reason: str
    source: str
    at: tuple[Moment, ...]
    done_us: Instant | None = None
    """Answers of checks: when it was done."""


@dataclass(frozen=True, slots=True)
class Unused:
    """Evidence that there is none of: it counts neither way (Little and Rubin 2002)."""

    key: str
    state: Literal["not_possible", "not_done"]
    group: str
    why: str
    """Message key: what was missing."""
    missing: tuple[str, ...] = ()
    """Quantities or conditions that were missing."""


@dataclass(frozen=True, slots=True)
class Suspect:
    """One cause class with its odds."""

    cause: Cause
    probability: float
    before: float
    """Before any evidence."""
    contributing: bool
    """A second cause beside the first: only both together explain what was seen."""
    evidence: tuple[Evidence, ...]
    """What bears on it, the weightiest first."""


@dataclass(frozen=True, slots=True)
class Adjusted:
    """A prior made larger by what is known of the machine."""

    key: str
    cause: Cause
    factor: float
    source: str


@dataclass(frozen=True, slots=True)
class FaultOdds:
    """The odds of one fault's causes."""

    fault: str
    root: str | None
    """Fault whose odds these are, where it follows from another."""
    suspects: tuple[Suspect, ...]
    """Classes with more than 0.5 %, the likeliest first; what is left out is in no share."""
    probability_other: float
    """None of these. With the suspects it adds up to 1."""
    prior: Mapping[str, float]
    """Every class and 'other', before any evidence; adds up to 1."""
    posterior: Mapping[str, float]
    """The same after it."""
    prior_row: str
    """Row of `cause_priors.csv`."""
    prior_source: str
    adjusted: tuple[Adjusted, ...]
    own_cases: float
    """Weight of the farm's own confirmed causes in the prior."""
    not_used: tuple[Unused, ...]
    flat: bool
    """It cannot be told: no suspect stands out."""
