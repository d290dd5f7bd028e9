"""The shop's work: what each job would buy in a window of work, by the reasoning's own figures."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from shearbolt.app.composing.advice_words import caution_words
from shearbolt.app.composing.check_words import check_caution_words, check_title
from shearbolt.app.composing.faults import words_by_id
from shearbolt.app.composing.planning_words import CAUSE_WORK, entries, pressing, share_text
from shearbolt.app.composing.tables import FactTables
from shearbolt.app.concluding.conclude import Conclusions
from shearbolt.app.documents import ServiceEntry, Wording, WorkDocument, WorkJob
from shearbolt.app.owner_costs import OwnerCosts
from shearbolt.app.planned import Planned
from shearbolt.dictionary.cause_priors import CAUSES, Cause
from shearbolt.dictionary.checks import repair_minutes
from shearbolt.reasoning.checks import NextCheck
from shearbolt.reasoning.follow_up import Job, ShopJob, Worth, forecast, not_offered, work_list
from shearbolt.reasoning.follow_up.forecast import stops_machine
from shearbolt.reasoning.odds import FaultOdds

NO_PARTS = frozenset({"operator", "inhibited_regeneration", "calibration"})
"""Causes that need no part."""
NOT_OWN = frozenset({"ash"})
"""Causes that nobody puts right in his own shop (ash: the filter is cleaned on a bench)."""
LEAST_ODDS = 0.05
"""Nobody tries a cause less likely than this before calling (own choice)."""
CALL = "call_workshop"
"""The check that hands it over: no work of one's own."""
SAFETY = frozenset({"safety_function", "brakes", "steering", "lifting_gear"})
STOP_H = 2.0
"""Standstill that one stop brings where the owner has given no figures (own choice)."""


@dataclass(frozen=True, slots=True)
class _Candidate:
    planned: Planned
    fault: str
    check: NextCheck | None
    cause: Cause
    probability: float
    job: ShopJob
    stands: bool
    licensed: bool


def own_jobs(
    odds: FaultOdds, concluded: Conclusions, costs: OwnerCosts, parts: Mapping[str, float]
) -> tuple[Job, ...]:
    """Give what can be done oneself against each suspect: its check, then putting it right."""
    minutes = dict(zip(CAUSES, repair_minutes(), strict=False))
    found: list[Job] = []
    for one in odds.suspects:
        if one.cause in NOT_OWN or one.probability < LEAST_ODDS:
            continue
        check = _check_for(concluded.checks.get(odds.fault, ()), one.cause)
        own = minutes[one.cause] + (check.minutes if check is not None else 0.0)
        usual = 0.0 if one.cause in NO_PARTS else costs.parts or 0.0
        price = parts.get(one.cause, usual)
        fetch = (costs.fetch_hours or 0.0) if price > 0.0 else 0.0
        found.append(Job(one.cause, one.probability, own / 60.0, price, 1.0, fetch))
    return tuple(found)


def _check_for(checks: Sequence[NextCheck], cause: Cause) -> NextCheck | None:
    able = [one for one in checks if one.not_possible_because is None and one.check != CALL]
    return next((one for one in able if cause in one.settles), None)


def work_document(
    fleet: Sequence[Planned],
    tables: FactTables,
    costs: OwnerCosts,
    window_h: float,
    window_days: float,
    shop_h: float | None,
    wording: Wording,
) -> WorkDocument:
    """Order the jobs against all open faults of the fleet, with service due beside."""
    figures = costs.figures()
    due = {one.id: pressing(entries(one, window_h, window_days)) for one in fleet}
    candidates = {
        one.job.job: one for machine in fleet for one in _candidates(machine, costs, window_h)
    }
    ranked = work_list(
        [one.job for one in candidates.values()],
        window_h,
        # Without the owner's figures an hour of standstill weighs as much as one of work.
        standstill_hour=figures.standstill_hour if figures is not None else 1.0,
        shop_hour=figures.own_hour if figures is not None else 1.0,
        time_h=math.inf if shop_h is None else shop_h,
    )
    words = [
        "Ordered by the standstill that a job is expected to save in this window for what it "
        "costs; safety comes first, whatever it costs.",
        "Times are reckoned, not measured: a check as the catalogue tells it, and a usual time to "
        "put that cause right. Stops are those that this book knows about.",
    ]
    if figures is None:
        words.append(
            "You have given no costs yet, so an hour of standstill counts like an hour of work; "
            "`shearbolt costs` takes yours."
        )
    return {
        "schema": "shearbolt/work/1",
        "window_hours": window_h,
        "window_days": window_days,
        "shop_hours": shop_h,
        "currency": costs.currency if figures is not None else None,
        "jobs": [
            _shown(one, candidates[one.job.job], tables, due, wording, priced=figures is not None)
            for one in ranked
        ],
        "service": [entry for one in fleet for entry in due[one.id]],
        "not_looked_at": [one.name for one in fleet if one.fresh.not_looked_at_since],
        "words": words,
    }


def _candidates(one: Planned, costs: OwnerCosts, window_h: float) -> list[_Candidate]:
    """Give the job against each open root fault: check and put right its likeliest cause."""
    found: list[_Candidate] = []
    concluded = one.concluded
    minutes = dict(zip(CAUSES, repair_minutes(), strict=False))
    standing = {fault.fault for fault in one.standing()}
    for fault in one.case.faults:
        judged = concluded.standings[fault.fault]
        odds = concluded.odds.get(fault.fault)
        if judged.stale or judged.state == "cleared" or odds is None or not odds.suspects:
            continue
        if concluded.company.roots.get(fault.fault) is not None:
            continue
        followers = [
            other for other, root in concluded.company.roots.items() if root == fault.fault
        ]
        together = {fault.fault, *followers}
        likeliest = odds.suspects[0]
        check = _check_for(concluded.checks.get(fault.fault, ()), likeliest.cause)
        why = not_offered(fault, one.case)
        stands = bool(together & standing)
        takes = minutes[likeliest.cause] + (check.minutes if check is not None else 0.0)
        parts = 0.0 if likeliest.cause in NO_PARTS else costs.parts or 0.0
        job = ShopJob(
            fault.fault,
            one.id,
            "fault",
            takes,
            parts,
            _stop_rate(one, together, window_h, stands=stands),
            likeliest.probability,
            (costs.wait_hours + (costs.called_hours or 0.0))
            if costs.wait_hours is not None
            else STOP_H,
            why in SAFETY,
        )
        found.append(
            _Candidate(
                one, fault.fault, check, likeliest.cause, likeliest.probability, job, stands,
                why is not None,
            )
        )  # fmt: skip
    return found


def _stop_rate(one: Planned, faults: set[str], window_h: float, *, stands: bool) -> float:
    """Give the stops an hour of work that some faults bring; one that stands now brings one."""
    stopping = [
        fault.fault
        for fault in one.case.faults
        if fault.fault in faults and stops_machine(fault, one.case)
    ]
    if not stopping:
        return 0.0
    # Faults of one root stop it together: the one with most stops tells how often.
    history = max((one.history(each) for each in stopping), key=lambda told: told.stops)
    told = forecast(history, window_h)
    rate = -math.log(max(told.chance, 1e-12)) / window_h
    return max(rate, 1.0 / window_h) if stands else rate


def _shown(
    worth: Worth,
    one: _Candidate,
    tables: FactTables,
    due: Mapping[str, list[ServiceEntry]],
    wording: Wording,
    *,
    priced: bool,
) -> WorkJob:
    planned = one.planned
    advice = planned.concluded.advice.by_fault.get(one.fault)
    cautions = [caution_words(key, wording.units) for key in (advice.cautions if advice else ())]
    work = f"{CAUSE_WORK[one.cause]} ({share_text(one.probability)} likely)"
    if one.licensed:
        work = f"have it seen to by somebody qualified; likeliest: {work}"
    elif one.check is not None:
        cautions += [check_caution_words(key, wording.units) for key in one.check.cautions]
        work = f"{check_title(one.check.check).rstrip('.')}; then {work}"
    hours = worth.job.minutes / 60.0
    return {
        "machine": planned.id,
        "machine_name": planned.name,
        "fault": one.fault,
        "text": words_by_id(planned.record, tables)(one.fault),
        "words": f"{work[:1].upper()}{work[1:]}.",
        "cause": one.cause,
        "probability": one.probability,
        "minutes": worth.job.minutes,
        "parts": worth.job.parts if priced else None,
        "stands_now": one.stands,
        "safety": worth.job.safety,
        "by_yourself": not one.licensed,
        "chance_before": worth.chance_before,
        "chance_after": worth.chance_after,
        "risk_taken": max(0.0, worth.risk_taken),
        "risk_per_hour": max(0.0, worth.risk_taken) / hours if hours > 0.0 else 0.0,
        "hours_saved": worth.hours_saved,
        "value": worth.value if priced else None,
        "per_cost": worth.per_cost if priced and math.isfinite(worth.per_cost) else None,
        "fits": worth.fits,
        "service": [entry["text"] for entry in due[planned.id]],
        "cautions": list(dict.fromkeys(cautions)),
    }
