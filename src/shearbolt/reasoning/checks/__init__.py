"""The next check: which ones fit a fault, in which order, and what their outcomes say.

Decision-theoretic troubleshooting (Heckerman, Breese and Rommelse 1995): checks are ordered by what
they settle for what they cost, with imperfect checks, shared preparation and calling a workshop as
an action; what safety asks for comes first. No words for people here: keys and figures.
"""

from shearbolt.reasoning.checks.answers import answers_of
from shearbolt.reasoning.checks.choosing import next_checks
from shearbolt.reasoning.checks.circumstances import context_of
from shearbolt.reasoning.checks.measuring import outcome_of
from shearbolt.reasoning.checks.values import Asked, CheckContext, NextCheck, asked_of

__all__ = [
    "Asked",
    "CheckContext",
    "NextCheck",
    "answers_of",
    "asked_of",
    "context_of",
    "next_checks",
    "outcome_of",
]
