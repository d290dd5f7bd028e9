"""Reading what people did about faults."""

from __future__ import annotations

from abc import ABC, abstractmethod
from typing import Any, TypeVar

from sqlalchemy import Table, select

from shearbolt.book import schema_work as t
from shearbolt.book.work_records import (
    CauseFound,
    CheckDone,
    LearntSignal,
    ServiceDone,
    ServiceJob,
)
from shearbolt.errors import NotInBook

T = TypeVar("T")


class WorkReads(ABC):
    """The part of the book's reading methods that is about checks, causes, service, signals."""

    @abstractmethod
    def _rows(self, query: Any) -> list[Any]:
        """Run a query and return its rows as mappings."""

    def _all_of(self, cls: type[T], table: Table, machine: str | None, withdrawn: bool) -> list[T]:
        query = select(table).order_by(table.c.created_us, table.c.id)
        if machine is not None:
            query = query.where(table.c.machine == machine)
        if not withdrawn:
            query = query.where(table.c.withdrawn.is_(False))
        return [cls(**row) for row in self._rows(query)]

    def _single(self, cls: type[T], table: Table, id_: str, what: str) -> T:
        found = self._rows(select(table).where(table.c.id == id_))
        if not found:
            raise NotInBook(f"The book has no {what} {id_!r}.")
        return cls(**found[0])

    def checks_done(
        self, machine: str | None = None, *, withdrawn: bool = False
    ) -> list[CheckDone]:
        """Return checks done in the order they were written down; withdrawn ones when asked."""
        return self._all_of(CheckDone, t.checks_done, machine, withdrawn)

    def check_done(self, id_: str) -> CheckDone:
        """Return one check done, withdrawn or not. Raises NotInBook."""
        return self._single(CheckDone, t.checks_done, id_, "check done")

    def causes_found(
        self, machine: str | None = None, *, withdrawn: bool = False
    ) -> list[CauseFound]:
        """Return confirmed causes in the order they were written down."""
        return self._all_of(CauseFound, t.causes_found, machine, withdrawn)

    def cause_found(self, id_: str) -> CauseFound:
        """Return one confirmed cause, withdrawn or not. Raises NotInBook."""
        return self._single(CauseFound, t.causes_found, id_, "cause")

    def service_jobs(
        self, machine: str | None = None, *, withdrawn: bool = False
    ) -> list[ServiceJob]:
        """Return service jobs in the order they were written down."""
        return self._all_of(ServiceJob, t.service_jobs, machine, withdrawn)

    def service_job(self, id_: str) -> ServiceJob:
        """Return one service job, withdrawn or not. Raises NotInBook."""
        return self._single(ServiceJob, t.service_jobs, id_, "service job")

    def services_done(
        self, job: str | None = None, *, withdrawn: bool = False
    ) -> list[ServiceDone]:
        """Return when service jobs were done, in the order they were written down."""
        found = self._all_of(ServiceDone, t.services_done, None, withdrawn)
        return [one for one in found if job is None or one.job == job]

    def learnt_signals(self, machine: str | None = None) -> list[LearntSignal]:
        """Return signals learnt, candidates and dropped ones included."""
        return self._all_of(LearntSignal, t.learnt_signals, machine, True)
