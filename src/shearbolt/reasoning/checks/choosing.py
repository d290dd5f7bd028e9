"""The next checks of a fault, in the order in which to do them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import cache

import numpy as np

from shearbolt.dictionary.cause_priors import CAUSES, Cause
from shearbolt.dictionary.checks import CLASSES, Check, Outcome, checks, repair_minutes
from shearbolt.reasoning.case import CheckDone, RepairDone
from shearbolt.reasoning.checks.answers import latest, outcome_done
from shearbolt.reasoning.checks.fitting import CALL, cautions_of, fitting, is_gate, why_not
from shearbolt.reasoning.checks.values import Asked, CheckContext, NextCheck
from shearbolt.reasoning.checks.worth import (
    Candidate,
    Floats,
    Ranked,
    expected_minutes,
    ranked,
)

WAITING = frozenset(("cold_night", "workshop"))
"""Preparation that is waiting, not work."""
DECISIVE = 5.0
"""How far an outcome must lift or lower a class against the rest to settle it (own choice)."""
OFTEN = 0.25
"""An outcome rarer than this rules nothing out for the plan (own choice)."""
NAMEABLE = 0.02
"""Classes less likely than this are not spoken of (own choice)."""
FEWEST = 3
"""So many are shown even where none of them pays: 'cannot tell' names what would."""
_NOTHING = CheckContext()


def next_checks(
    asked: Asked,
    posterior: Mapping[str, float],
    context: CheckContext = _NOTHING,
    checks_done: Sequence[CheckDone] = (),
    repairs: Sequence[RepairDone] = (),
) -> tuple[NextCheck, ...]:
    """Give the checks that fit a fault in the order in which to do them.

    First those that safety puts first, then those that pay, by what they settle for what they cost;
    then calling a workshop; last what is not possible here, with the reason. Where calling is the
    cheapest way from the start, or repair is licensed practice, it stands before the others.
    `posterior` holds the chances of the
    cause classes and 'other'; what is missing counts as 0, and nothing at all as even odds. Checks
    already answered are left out until the fault was repaired again.
    """
    chances = _shares(posterior)
    own = [one for one in latest(checks_done) if one.fault == asked.fault]
    own = [one for one in own if not _repaired_since(one, repairs)]
    rows = [(one, outcome_done(one, context)) for one in own]
    answered = {one.check for one, row in rows if row is not None and row.tells}
    facts = {checks()[one].group for one in answered}
    gave_up = [one.check for one, row in rows if row is not None and not row.tells]
    minutes = np.array(repair_minutes())
    for _, row in rows:
        minutes = minutes if row is None else np.minimum(minutes, _located(row))
    fit = [
        one
        for one in fitting(asked, posterior, context)
        if one.check not in answered and (one.group not in facts or is_gate(one, context))
    ]
    reasons = {one.check: why_not(one, asked, context, gave_up) for one in fit}
    possible = [one for one in fit if reasons[one.check] is None and one.check != CALL]
    gates = [one for one in possible if is_gate(one, context)]
    others = [one for one in possible if not is_gate(one, context)]
    places = {
        one.key: one
        for one in ranked(
            [_candidate(one.check, context.flags) for one in possible],
            chances,
            minutes,
            context.ready,
        )
    }
    order = {key: place for place, key in enumerate(places)}
    others.sort(key=lambda one: order[one.check])
    shown = [one for one in others if places[one.check].pays]
    spare = [one for one in others if not places[one.check].pays]
    spare = spare[: max(0, FEWEST - len(shown) - len(gates))]
    call = [one for one in fit if one.check == CALL]
    if asked.kind.limit == "licensed":
        middle = [*call, *shown, *spare]
    elif shown or _worth_a_try(chances, minutes):
        middle = [*shown, *call, *spare]
    else:
        middle = [*call, *spare]
    impossible = [one for one in fit if reasons[one.check] is not None]
    return tuple(
        _next(one, asked, context, chances, places.get(one.check), reasons[one.check])
        for one in (*gates, *middle, *impossible)
    )


def _worth_a_try(chances: Floats, minutes: Floats) -> bool:
    """Tell whether putting something right at a venture is cheaper than calling."""
    tried = expected_minutes(chances[None, :], minutes[None, :])
    return bool(tried[0] < minutes[-1])


def _repaired_since(done: CheckDone, repairs: Sequence[RepairDone]) -> bool:
    return any(
        done.fault in one.faults
        and (
            one.visits_before > done.visits_before
            or (one.at_us is not None and done.at_us is not None and one.at_us > done.at_us)
        )
        for one in repairs
    )


def _shares(posterior: Mapping[str, float]) -> Floats:
    found = np.array([max(0.0, posterior.get(one, 0.0)) for one in CLASSES])
    total = float(found.sum())
    return found / total if total > 0.0 else np.full(len(CLASSES), 1.0 / len(CLASSES))


def _located(row: Outcome) -> Floats:
    """Give minutes by class once an outcome is known; infinite where it does not tell the place."""
    known = dict(row.locates)
    return np.array([*(known.get(one, np.inf) for one in CAUSES), np.inf])


@cache
def _candidate(check: str, flags: frozenset[str]) -> Candidate:
    one = checks()[check]
    rows = one.telling(flags)
    return Candidate(
        check,
        one.minutes,
        one.setup,
        one.group,
        np.array([row.likelihood for row in rows]),
        np.array([_located(row) for row in rows]),
    )


def _next(
    one: Check,
    asked: Asked,
    context: CheckContext,
    chances: Floats,
    place: Ranked | None,
    reason: str | None,
) -> NextCheck:
    ahead = [(key, value) for key, value in one.setup if key not in context.ready]
    return NextCheck(
        one.check,
        one.minutes + sum(value for key, value in ahead if key not in WAITING),
        tuple(key for key, _ in ahead if key in WAITING),
        one.tools,
        one.by,
        _settled(one, context, chances),
        cautions_of(one, asked, context),
        is_gate(one, context),
        place.worth if place else 0.0,
        place.cost if place else one.minutes + sum(value for _, value in ahead),
        place.pays if place else False,
        reason,
        one.source,
    )


def _settled(one: Check, context: CheckContext, chances: Floats) -> tuple[Cause, ...]:
    """Name the likely classes, the likeliest first, that an outcome shows, finds or rules out."""
    found: list[tuple[float, Cause]] = []
    for place, cause in enumerate(CAUSES):
        own = float(chances[place])
        if own < NAMEABLE:
            continue
        for row in one.telling(context.flags):
            every = float(chances @ np.array(row.likelihood))
            rest = (every - own * row.likelihood[place]) / max(1.0 - own, 1e-9)
            shown = row.likelihood[place] >= DECISIVE * rest
            ruled_out = every >= OFTEN and row.likelihood[place] * DECISIVE <= rest
            if shown or ruled_out or cause in dict(row.locates):
                found.append((-own, cause))
                break
    return tuple(cause for _, cause in sorted(found))
