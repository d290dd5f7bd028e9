"""Odds, next checks and follow-ups of a machine: what the evidence, the people and repairs say."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from shearbolt.app.concluding.record import MachineRecord
from shearbolt.book import records as r
from shearbolt.book.work_records import CauseFound
from shearbolt.dictionary.checks import checks as catalogue
from shearbolt.reasoning.advice import Gauge
from shearbolt.reasoning.case import CheckDone, FaultCase, MachineCase
from shearbolt.reasoning.checks import (
    CheckContext,
    NextCheck,
    answers_of,
    asked_of,
    context_of,
    next_checks,
)
from shearbolt.reasoning.company import Company
from shearbolt.reasoning.odds import AnswerWeights, FaultOdds, OwnCause, odds_of
from shearbolt.reasoning.plausibility.examination import Examination
from shearbolt.reasoning.settings import Setting
from shearbolt.reasoning.standing import Standing

SHOWN_CHECKS = 6
"""More than a person reads."""


@dataclass(frozen=True, slots=True)
class FleetCause:
    """A cause that people confirmed on any machine of the fleet, with the code it stood for."""

    found: CauseFound
    fault: r.Fault
    machine_name: str


def own_causes(known: Sequence[FleetCause]) -> tuple[OwnCause, ...]:
    """Give the farm's confirmed causes as the odds take them."""
    return tuple(
        OwnCause(one.fault.spn, one.fault.fmi, one.found.cause, one.found.grade, one.fault.code)  # type: ignore[arg-type]
        for one in known
    )


def known_of(record: MachineRecord, known: Sequence[FleetCause]) -> dict[str, tuple[str, ...]]:
    """Give, for each fault, the words that people of this farm found for the same code.

    Makers' own numbers are never joined across manufacturer codes.
    """
    told: dict[str, tuple[str, ...]] = {}
    for fault in record.faults:
        code = _code(fault)
        words = [
            one.found.words
            if one.found.machine == record.machine.id
            else f"{one.found.words} ({one.machine_name})"
            for one in known
            if _code(one.fault) == code
        ]
        if words:
            told[fault.id] = tuple(words)
    return told


def _code(fault: r.Fault) -> tuple[object, ...]:
    return fault.kind, fault.spn, fault.fmi, fault.code, fault.manufacturer_code, fault.function


def answers_given(case: MachineCase, company: Company) -> tuple[AnswerWeights, ...]:
    """Turn the checks that people did into weights, each for its fault and for that fault's root.

    A follower has the odds of its root, so what was answered for one counts for both.
    """
    faults = {one.fault: one for one in case.faults}
    found: list[AnswerWeights] = []
    by_fault: dict[str, list[CheckDone]] = {}
    for one in case.checks:
        by_fault.setdefault(company.roots.get(one.fault, one.fault), []).append(one)
    for fault, done in by_fault.items():
        moved = [one if one.fault == fault else _for(one, fault) for one in done]
        context = context_of(case, faults[fault]) if fault in faults else CheckContext()
        found.extend(answers_of(moved, context))
    return tuple(found)


def _for(done: CheckDone, fault: str) -> CheckDone:
    return CheckDone(
        done.check, fault, done.outcome, done.value, done.hours, done.at_us,
        done.visits_before, done.note,
    )  # fmt: skip


def odds_of_machine(
    case: MachineCase,
    examination: Examination,
    settings: Mapping[str, Setting],
    company: Company,
    standings: Mapping[str, Standing],
    known: Sequence[FleetCause],
) -> dict[str, FaultOdds]:
    """Give the odds of every fault of a machine."""
    answers = answers_given(case, company)
    return dict(
        odds_of(case, examination, settings, company, standings, answers, own_causes(known))
    )


def checks_of_machine(
    record: MachineRecord, case: MachineCase, odds: Mapping[str, FaultOdds]
) -> dict[str, tuple[NextCheck, ...]]:
    """Give what to check next for every fault that has odds; what is done is left out."""
    found: dict[str, tuple[NextCheck, ...]] = {}
    for fault in case.faults:
        if fault.fault not in odds:
            continue
        done = [one for one in case.checks if one.fault == fault.fault]
        told = next_checks(
            asked_of(fault, _function(record, fault)),
            odds[fault.fault].posterior,
            context_of(case, fault, odds[fault.fault]),
            done,
            [one for one in case.repairs if fault.fault in one.faults],
        )
        found[fault.fault] = told[:SHOWN_CHECKS]
    return found


def _function(record: MachineRecord, fault: FaultCase) -> int | None:
    name = record.names.get(fault.controller) if fault.controller is not None else None
    return name.function if name is not None else None


def grades_of(record: MachineRecord, case: MachineCase) -> dict[tuple[str, str], str]:
    """Grade repairs: settled by a check where one had located the cause before, else a hunch.

    So had a cause that was measured or shown by swapping, and tied to the repair.
    """
    grades: dict[tuple[str, str], str] = {}
    for repair in case.repairs:
        for fault in repair.faults:
            located = any(
                one.fault == fault
                and one.visits_before <= repair.visits_before
                and _locates(one)
                and (one.hours is None or repair.hours is None or one.hours <= repair.hours)
                for one in case.checks
            )
            measured = any(
                one.fault == fault
                and one.repair == repair.repair
                and one.grade in ("measured", "swapped")
                for one in record.causes
            )
            if located or measured:
                grades[repair.repair, fault] = "check_settled"
    return grades


def _locates(done: CheckDone) -> bool:
    one = catalogue().get(done.check)
    row = one.outcome(done.outcome) if one is not None else None
    return row is not None and bool(row.locates)


def gauges_of(record: MachineRecord) -> dict[str, Gauge]:
    """Give the last mechanical reading of oil pressure of each fault; it calms for 10 hours."""
    found: dict[str, Gauge] = {}
    for one in record.checks:
        if one.check == "mechanical_gauge" and one.fault is not None and one.hours is not None:
            found[one.fault] = Gauge(
                one.fault, one.hours, one.outcome == "right", one.who or "Somebody"
            )
    return found
