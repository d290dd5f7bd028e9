"""All that is concluded of one machine: settings, plausibility, company, advice, the unseen."""

from __future__ import annotations

import zlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from shearbolt.app.concluding.case import repaired_since
from shearbolt.app.concluding.causes import (
    FleetCause,
    checks_of_machine,
    gauges_of,
    grades_of,
    known_of,
    odds_of_machine,
)
from shearbolt.app.concluding.record import MachineRecord, looks_at
from shearbolt.model.instants import Instant
from shearbolt.reasoning.advice import MachineAdvice, Now, advise
from shearbolt.reasoning.between import Between, between_visits
from shearbolt.reasoning.case import MachineCase
from shearbolt.reasoning.checks import NextCheck
from shearbolt.reasoning.company import Company, Weight, company_of, first_to_look
from shearbolt.reasoning.follow_up import FollowUp, Trend, followups_of, lines_of, trends_of
from shearbolt.reasoning.odds import FaultOdds
from shearbolt.reasoning.plausibility.charts import Chart
from shearbolt.reasoning.plausibility.check import CheckResult
from shearbolt.reasoning.plausibility.examination import (
    Examination,
    VisitExamined,
    charts_of,
    examine_visit,
)
from shearbolt.reasoning.plausibility.trait import Sensor, add_to_past
from shearbolt.reasoning.quantity_view import views_of
from shearbolt.reasoning.settings import Setting
from shearbolt.reasoning.standing import Standing, standing
from shearbolt.reasoning.voltage import nominal_of_all

DAY_US = 86_400_000_000


@dataclass(frozen=True, slots=True)
class Conclusions:
    """What the reasoning says of one machine; message keys and SI values, no sentences."""

    standings: Mapping[str, Standing]
    """Where each fault stands."""
    settings: Mapping[str, Setting]
    """When each fault starts."""
    company: Company
    """What belongs together."""
    between: Mapping[str, Between]
    """What happened while nobody was recording."""
    advice: MachineAdvice
    """What to do, fault by fault and for the machine."""
    odds: Mapping[str, FaultOdds]
    """Which cause is behind each fault; an old memory has none."""
    checks: Mapping[str, tuple[NextCheck, ...]]
    """What to check next for each fault."""
    followups: Mapping[str, tuple[FollowUp, ...]]
    """Whether repairs held."""
    trends: Mapping[str, Trend]
    """Whether each fault comes more often."""
    known: Mapping[str, tuple[str, ...]]
    """What people of this farm found each fault to be."""
    order: tuple[str, ...]
    """Faults, what to look at first first."""
    findings: tuple[CheckResult, ...]
    """What the plausibility checks found odd or doubtful."""
    charts: tuple[Chart, ...]
    """Each sensor's own chart over the visits."""
    system_v: Literal[12, 24] | None
    """12 or 24; None: not told, or unclear."""
    holds_until_us: Instant | None
    """From then on the same facts are too old to be judged so; None: nothing of it ages."""


@dataclass(frozen=True, slots=True)
class Examined:
    """What the plausibility checks found in one visit, under the key of all that went into it."""

    key: str
    visit: VisitExamined


def examined(case: MachineCase, before: Sequence[Examined]) -> tuple[Examined, ...]:
    """Examine every visit, taking over those whose own and earlier visits have not changed."""
    kept = {one.key: one for one in before}
    past: dict[tuple[Sensor, str], list[float]] = {}
    found: list[Examined] = []
    key = "1"
    for view in views_of(case):
        # A visit is judged by the traits of those before it: its key holds all of theirs.
        key = f"{zlib.crc32(f'{key} {view.visit.visit}'.encode()):08x}{view.visit.visit}"
        one = kept.get(key) or Examined(key, examine_visit(view, past))
        add_to_past(past, one.visit.traits)
        found.append(one)
    return tuple(found)


def conclude(
    record: MachineRecord,
    case: MachineCase,
    settings: Mapping[str, Setting],
    visits: Sequence[Examined],
    now: Now,
    known: Sequence[FleetCause] = (),
) -> Conclusions:
    """Draw all conclusions about a machine at a moment.

    `known` are causes that people confirmed on any machine of the fleet.
    """
    standings = {one.id: standing(looks_at(record, one)) for one in record.faults}
    company = company_of(case)
    advice = advise(
        case,
        standings,
        company,
        now=now,
        settled=repaired_since(case),
        gauges=gauges_of(record),
    )
    charts = charts_of([(one.visit.visit, one.visit.traits) for one in visits])
    examination = Examination(tuple(one.visit for one in visits), charts)
    between = between_visits(case)
    odds = odds_of_machine(case, examination, settings, company, standings, known)
    lines = lines_of(case, between)
    followups = followups_of(
        case, standings, settings, between, grades_of(record, case), lines=lines
    )
    return Conclusions(
        standings,
        settings,
        company,
        between,
        advice,
        odds,
        checks_of_machine(record, case, odds),
        followups,
        trends_of(case, lines, followups),
        known_of(record, known),
        first_to_look(company, weights(case, standings, advice)),
        tuple(
            result
            for one in visits
            for result in one.visit.results
            if result.result in ("odd", "doubtful")
        ),
        charts,
        system_volts(case),
        holds_until(case, now),
    )


def system_volts(case: MachineCase) -> Literal[12, 24] | None:
    """Tell the system voltage by what the machine's controllers measure."""
    volts = nominal_of_all(case.visits)
    return 12 if volts == 12 else 24 if volts == 24 else None


def weights(
    case: MachineCase, standings: Mapping[str, Standing], advice: MachineAdvice
) -> dict[str, Weight]:
    """Give what each fault brings to the order in which a person sees them."""
    last: dict[str, int] = {}
    spells: dict[str, int] = {}
    for at, visit in enumerate(case.visits):
        for one in visit.faults:
            # By the order of the visits first: not every visit has a date.
            last[one.fault] = at * 10**15 + max(0, one.seen.last_us - visit.earliest_us)
            spells[one.fault] = spells.get(one.fault, 0) + len(one.seen.spells)
    return {
        fault: Weight(
            one.advice,
            one.applies_now,
            standings[fault].stale,
            last.get(fault, 0),
            spells.get(fault, 0),
        )
        for fault, one in advice.by_fault.items()
    }


def holds_until(case: MachineCase, now: Now) -> Instant | None:
    """Give the moment at which a look becomes too old to say anything of today.

    Only looks younger than that now can still age: the last recording, and whatever people wrote.
    """
    from shearbolt.reasoning.advice.machine import OLD_DAYS

    if now.at_us is None:
        return None
    by_hand = {one.fault for one in case.faults if one.kind in ("symptom", "hand")}
    last = next((one for one in reversed(case.visits) if one.kind != "by_hand"), None)
    ages = [
        one.zero_us + one.latest_us + int(OLD_DAYS * DAY_US)
        for one in case.visits
        if one.zero_us is not None
        and (one is last or any(fault.fault in by_hand for fault in one.faults))
    ]
    return min((one for one in ages if one > now.at_us), default=None)
