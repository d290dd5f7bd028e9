"""Odds: which cause is behind a fault, how sure that is, and what it rests on.

Priors by kind of code, moved by groups of evidence with stated likelihood ratios (weights of
evidence: Good 1950), with a reserve for 'none of these' and room for a second cause.
"""

from shearbolt.reasoning.odds.odds import odds_of
from shearbolt.reasoning.odds.values import (
    Adjusted,
    AnswerWeights,
    Evidence,
    FaultOdds,
    Grade,
    Moment,
    OwnCause,
    Suspect,
    Unused,
)

__all__ = [
    "Adjusted",
    "AnswerWeights",
    "Evidence",
    "FaultOdds",
    "Grade",
    "Moment",
    "OwnCause",
    "Suspect",
    "Unused",
    "odds_of",
]
