"""What checks that people did say of the causes."""

from __future__ import annotations

from collections.abc import Sequence

from shearbolt.dictionary.checks import Outcome, checks
from shearbolt.reasoning.case import CheckDone
from shearbolt.reasoning.checks.measuring import outcome_of
from shearbolt.reasoning.checks.values import CheckContext
from shearbolt.reasoning.odds.values import AnswerWeights

_NOTHING = CheckContext()
_UNIT_IN_NAME = {"%": "pct", "degC": "c"}


def outcome_done(done: CheckDone, context: CheckContext = _NOTHING) -> Outcome | None:
    """Give the catalogue's row for what came of a check; where none was named, by its value.

    None: the catalogue has no such check or outcome, or the value alone does not tell.
    """
    one = checks().get(done.check)
    if one is None:
        return None
    name = done.outcome
    if not name and done.value is not None:
        name = outcome_of(done.check, done.value, context) or ""
    return one.outcome(name, context.flags)


def latest(checks_done: Sequence[CheckDone]) -> tuple[CheckDone, ...]:
    """Give the last answer of each check for each fault, in the order of their last doing."""
    last: dict[tuple[str, str], CheckDone] = {}
    for one in checks_done:
        last.pop((one.fault, one.check), None)
        last[one.fault, one.check] = one
    return tuple(last.values())


def answers_of(
    checks_done: Sequence[CheckDone], context: CheckContext = _NOTHING
) -> tuple[AnswerWeights, ...]:
    """Turn checks that people did into weights on the cause classes.

    `checks_done` in their order; only the last answer of each check and fault counts. A check that
    could not be done says nothing (Little and Rubin 2002), and is left out, as is one that the
    catalogue does not know.
    """
    found: list[AnswerWeights] = []
    for done in latest(checks_done):
        row = outcome_done(done, context)
        if row is None or not row.tells:
            continue
        one = checks()[done.check]
        figures: tuple[tuple[str, float], ...] = ()
        if done.value is not None and one.unit:
            unit = _UNIT_IN_NAME.get(one.unit, one.unit.casefold())
            figures = ((f"measured_{unit}", done.value),)
        found.append(
            AnswerWeights(
                done.check,
                done.fault,
                row.outcome,
                row.by_cause(),
                one.group,
                row.source,
                done.at_us,
                figures,
            )
        )
    return tuple(found)
