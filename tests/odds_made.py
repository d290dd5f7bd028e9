"""Odds of made machines, for the tests of odds."""

from __future__ import annotations

from collections.abc import Sequence

from tests.advised import standings_of

from shearbolt.reasoning.case import MachineCase
from shearbolt.reasoning.company import company_of
from shearbolt.reasoning.odds import AnswerWeights, FaultOdds, OwnCause, odds_of
from shearbolt.reasoning.plausibility.examination import examine
from shearbolt.reasoning.settings import settings_of


def all_odds(
    case: MachineCase,
    answers: Sequence[AnswerWeights] = (),
    own_causes: Sequence[OwnCause] = (),
) -> dict[str, FaultOdds]:
    """Give the odds of every fault of a machine."""
    return dict(
        odds_of(
            case,
            examine(case),
            settings_of(case, permutations=100),
            company_of(case),
            standings_of(case),
            answers,
            own_causes,
        )
    )


def chances(odds: FaultOdds) -> dict[str, float]:
    """Give the suspects' probabilities by class."""
    return {one.cause: one.probability for one in odds.suspects}


def evidence_keys(odds: FaultOdds) -> set[str]:
    """Give every piece of evidence that bears on any suspect."""
    return {one.key for suspect in odds.suspects for one in suspect.evidence}
