"""The odds of every fault's causes: prior, evidence in groups, posterior."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from shearbolt.dictionary.cause_priors import CAUSES, OTHER
from shearbolt.dictionary.evidence_ratios import Ratio, evidence_ratios
from shearbolt.model.instants import Instant
from shearbolt.reasoning.case import FaultCase, MachineCase
from shearbolt.reasoning.company import Company
from shearbolt.reasoning.company.values import spells_by_fault, starts_of
from shearbolt.reasoning.odds import (
    checked,
    conditions,
    neighbours,
    readings,
    siblings,
    soot,
    together,
    written,
)
from shearbolt.reasoning.odds.priors import Before, before_evidence
from shearbolt.reasoning.odds.scene import Found, MachineScene, Missing, Scene, quantity_of
from shearbolt.reasoning.odds.values import (
    AnswerWeights,
    Evidence,
    FaultOdds,
    OwnCause,
    Suspect,
    Unused,
)
from shearbolt.reasoning.odds.weights import (
    DISCOUNT,
    Piece,
    Posterior,
    counting,
    piece_of,
    piece_of_answer,
    posterior,
)
from shearbolt.reasoning.plausibility.examination import Examination
from shearbolt.reasoning.quantity_view import QuantityView
from shearbolt.reasoning.settings import Setting
from shearbolt.reasoning.standing import Standing

LOOKS = (
    readings.look,
    siblings.look,
    together.look,
    checked.look,
    neighbours.look,
    conditions.look,
    soot.look,
    written.look,
)
LEAST_SHOWN = 0.005
FLAT_SHARE, FLAT_TIMES = 0.5, 1.6
"""It cannot be told while no suspect reaches a half and the second is nearly as likely (own
rule)."""


def odds_of(
    case: MachineCase,
    examination: Examination,
    settings: Mapping[str, Setting],
    company: Company,
    standings: Mapping[str, Standing],
    answers: Sequence[AnswerWeights] = (),
    own_causes: Sequence[OwnCause] = (),
) -> Mapping[str, FaultOdds]:
    """Give the odds of every fault of a machine, by fault.

    A stale fault has none. A fault that follows from another has the odds of its root. `answers`
    are those of checks that people did, of any fault; `own_causes` what the farm confirmed.
    """
    scene = _machine(case, examination, company)
    found: dict[str, FaultOdds] = {}
    stale = {one for one, standing in standings.items() if standing.stale}
    fresh = {one.fault: one for one in case.faults if one.fault not in stale}
    roots = {one: root for one, root in company.roots.items() if one in fresh and root in fresh}
    for fault in fresh.values():
        if fault.fault not in roots:
            found[fault.fault] = _odds(scene, fault, settings, answers, own_causes)
    for one, root in roots.items():
        if root in found:
            found[one] = replace(found[root], fault=one, root=root)
    return found


def _machine(case: MachineCase, examination: Examination, company: Company) -> MachineScene:
    views: dict[int, QuantityView] = {}
    before = None
    for index, visit in enumerate(case.visits):
        if len(visit.state):
            views[index] = QuantityView(visit, before)
            before = visit
    return MachineScene(
        case,
        views,
        {one.visit: one.results for one in examination.visits},
        examination.charts,
        company,
        spells_by_fault(starts_of(case)),
    )


def _odds(
    machine: MachineScene,
    fault: FaultCase,
    settings: Mapping[str, Setting],
    answers: Sequence[AnswerWeights],
    own_causes: Sequence[OwnCause],
) -> FaultOdds:
    starts = machine.starts.get(fault.fault, ())
    before = before_evidence(machine.case, fault, starts, own_causes)
    scene = Scene(
        machine, fault, before.row, settings.get(fault.fault), starts, quantity_of(fault.spn)
    )
    seen: dict[str, Found] = {}
    missing: dict[str, Missing] = {}
    for look in LOOKS:
        for one in look(scene) if starts else ():
            if isinstance(one, Found):
                seen.setdefault(one.key, one)
            else:
                missing.setdefault(one.key, one)
    mine = [one for one in answers if one.fault == fault.fault]
    return assembled(fault.fault, before, tuple(seen.values()), tuple(missing.values()), mine)


def assembled(
    fault: str,
    before: Before,
    seen: Sequence[Found],
    missing: Sequence[Missing] = (),
    answers: Sequence[AnswerWeights] = (),
) -> FaultOdds:
    """Put a prior, evidence and answers together; the order of the evidence does not matter.

    Raises KeyError for evidence that the table of ratios does not have.
    """
    table = evidence_ratios()
    seen = sorted(seen, key=lambda one: one.key)
    pieces = [piece_of(table[one.key]) for one in seen]
    ordered = sorted(answers, key=lambda one: (one.check, one.outcome))
    pieces += [
        piece_of_answer(f"check.{one.check}.{one.outcome}", one.group, one.likelihood)
        for one in ordered
    ]
    after = posterior(before.shares, pieces)
    shares = after.shares
    first = max(CAUSES, key=lambda cause: shares[cause])
    shown = [cause for cause in CAUSES if shares[cause] > LEAST_SHOWN]
    kept = sum(shares[cause] for cause in shown) + shares[OTHER]
    suspects = tuple(
        Suspect(
            cause,
            shares[cause] / kept,
            before.shares[cause],
            after.pair is not None and cause == after.pair[1],
            _evidence(cause, seen, ordered, pieces),
        )
        for cause in sorted(shown, key=lambda cause: -shares[cause])
    )
    rest = sorted((shares[cause] for cause in CAUSES), reverse=True)
    flat = shares[first] < FLAT_SHARE and rest[0] < FLAT_TIMES * max(rest[1], shares[OTHER])
    return FaultOdds(
        fault,
        None,
        suspects,
        shares[OTHER] / kept,
        before.shares,
        shares,
        before.row.kind,
        before.row.source,
        before.adjusted,
        before.own_cases,
        _not_used(seen, missing, answers),
        flat,
    )


def _evidence(
    cause: str,
    seen: Sequence[Found],
    answers: Sequence[AnswerWeights],
    pieces: Sequence[Piece],
) -> tuple[Evidence, ...]:
    """Give what bears on one cause, the weightiest first."""
    counts = counting(pieces)
    found: list[Evidence] = []
    for i, piece in enumerate(pieces):
        weight = next((w for name, w in piece.weight_db.items() if name == cause), 0.0)
        if not weight:
            continue
        one = seen[i] if i < len(seen) else None
        answer = answers[i - len(seen)] if i >= len(seen) else None
        reason, source, values, done = _told(cause, one, answer)
        found.append(
            Evidence(
                piece.key,
                "for" if weight > 0.0 else "against",
                piece.group,
                round(weight * DISCOUNT, 2),
                cause in counts[i],
                values,
                reason,
                source,
                one.at if one is not None else (),
                done,
            )
        )
    return tuple(sorted(found, key=lambda one: (-abs(one.weight_db), one.key)))


def _told(
    cause: str, found: Found | None, answer: AnswerWeights | None
) -> tuple[str, str, tuple[tuple[str, float | str], ...], Instant | None]:
    if found is not None:
        rows = [one for one in evidence_ratios()[found.key] if _names(one, cause)]
        best = max(rows, key=lambda one: one.ratio)
        return best.reason, best.source, found.values, None
    assert answer is not None
    return "", answer.source, answer.figures, answer.at_us


def _names(one: Ratio, cause: str) -> bool:
    return cause in one.favours or cause in one.against


def _not_used(
    seen: Sequence[Found], missing: Sequence[Missing], answers: Sequence[AnswerWeights]
) -> tuple[Unused, ...]:
    """List what could not be judged: it counts neither way."""
    table = evidence_ratios()
    have = {one.key for one in seen}
    found = [
        Unused(one.key, "not_possible", table[one.key][0].group, one.why, one.missing)
        for one in missing
        if one.key not in have
    ]
    if not answers:
        found.append(Unused("check", "not_done", "H", "no_check_done"))
    return tuple(found)


__all__ = ["LOOKS", "Posterior", "assembled", "odds_of"]
