"""A machine of the book as planning sees it: its stops, its service, how old the last look is."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from shearbolt.app.composing.tables import FactTables
from shearbolt.app.concluding.case import machine_case
from shearbolt.app.concluding.conclude import Conclusions
from shearbolt.app.concluding.kept import conclusions_of, last_hours
from shearbolt.app.concluding.record import MachineRecord, read_machine
from shearbolt.book import Book, Reads
from shearbolt.book import records as r
from shearbolt.book.work_records import ServiceDone, ServiceJob
from shearbolt.model.instants import Instant
from shearbolt.model.state import StateTable
from shearbolt.reasoning.advice import Now
from shearbolt.reasoning.case import FaultCase, MachineCase
from shearbolt.reasoning.follow_up import (
    FollowUp,
    Freshness,
    ServiceDue,
    ServicePlan,
    StopHistory,
    freshness,
    hours_per_day,
    service_due,
    stop_history,
)
from shearbolt.reasoning.follow_up.forecast import stops_machine

NO_STATE = StateTable(np.empty(0, np.int64), {})
"""Planning counts starts and hours: the second-by-second state is not read for it."""


@dataclass(frozen=True, slots=True)
class Planned:
    """One machine, with all that planning rests on."""

    record: MachineRecord
    concluded: Conclusions
    case: MachineCase
    """Without any state."""
    now: Now
    fresh: Freshness
    jobs: dict[str, ServiceJob]
    """Service jobs by identifier."""
    plans: tuple[ServicePlan, ...]

    @property
    def id(self) -> str:
        """Identifier of the machine."""
        return self.record.machine.id

    @property
    def name(self) -> str:
        """What its people call it."""
        return self.record.machine.name

    def due(self, window_h: float, window_days: float) -> tuple[ServiceDue, ...]:
        """Tell what service is due, the most urgent first."""
        return service_due(
            self.plans,
            self.now,
            window_h=window_h,
            window_days=window_days,
            per_day_h=hours_per_day(self.case),
        )

    def history(self, *faults: str) -> StopHistory:
        """Count its stops that the book knows about: of some faults, or of all."""
        case = self.case
        if faults:
            some = tuple(one for one in case.faults if one.fault in faults)
            case = MachineCase(case.machine, case.kind, case.visits, some)
        told = self.concluded.followups
        cured = {one: not_cured(told[one]) for one in told}
        return stop_history(case, self.record.machine.kind, self.concluded.between, cured)

    def standing(self) -> list[FaultCase]:
        """Give the faults that stop it or take its power now."""
        advice = self.concluded.advice.by_fault
        return [
            one
            for one in self.case.faults
            if one.fault in advice
            and advice[one.fault].applies_now
            and stops_machine(one, self.case)
        ]


def not_cured(followups: Sequence[FollowUp]) -> float:
    """Give the chance that the last repair of a fault did not take it away wholly."""
    judged = [one for one in followups if one.p_unchanged is not None]
    if not judged or judged[-1].result == "not_held":
        return 1.0
    last = judged[-1]
    return min(1.0, (last.p_unchanged or 0.0) + (last.p_partly or 0.0))


def planned_fleet(book: Book, tables: FactTables, at_us: Instant) -> list[Planned]:
    """Give every machine of the book."""
    with book.snapshot() as reads:
        return [planned(book, reads, one, tables, at_us) for one in reads.machines()]


def planned(
    book: Book, reads: Reads, machine: r.Machine, tables: FactTables, at_us: Instant
) -> Planned:
    """Give one machine for planning."""
    record = read_machine(reads, machine)
    case = machine_case(record, tables, {}, lambda _: NO_STATE)
    jobs = reads.service_jobs(machine.id)
    done: dict[str, list[ServiceDone]] = {}
    for one in reads.services_done():
        done.setdefault(one.job, []).append(one)
    own = [entry for job in jobs for entry in done.get(job.id, ())]
    now = Now(at_us, _hours_now(record, own))
    return Planned(
        record,
        conclusions_of(book, record, tables, at_us),
        case,
        now,
        freshness(case, now),
        {one.id: one for one in jobs},
        tuple(plan_of(one, done.get(one.id, ())) for one in jobs),
    )


def plan_of(job: ServiceJob, done: Sequence[ServiceDone]) -> ServicePlan:
    """Put a job and the times it was done together: the latest of them counts."""
    hours = [one.hours for one in done if one.hours is not None]
    dates = [one.date_us for one in done if one.date_us is not None]
    return ServicePlan(
        job.id,
        job.text,
        job.every_hours,
        job.every_days,
        max(hours, default=None),
        max(dates, default=None),
    )


def _hours_now(record: MachineRecord, done: Sequence[ServiceDone]) -> float | None:
    """Give the most engine hours that anybody read: on the bus, or on the meter and wrote down."""
    told = [last_hours(record)]
    told += [one.hours for one in record.repairs]
    told += [one.hours for one in record.checks]
    told += [one.hours for one in done]
    return max((one for one in told if one is not None), default=None)
