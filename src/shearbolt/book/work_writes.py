"""Writing down what people did about faults."""

from __future__ import annotations

from abc import ABC, abstractmethod
from typing import Any, Literal

from sqlalchemy import Table, insert, select, update

from shearbolt.book import schema_work as t
from shearbolt.book.ids import CAUSE, CHECK, JOB, LEARNT, SERVICE
from shearbolt.book.work_reads import WorkReads
from shearbolt.book.work_records import (
    CauseFound,
    CheckDone,
    Grade,
    LearntSignal,
    ServiceDone,
    ServiceJob,
)
from shearbolt.model.instants import Instant


class WorkWrites(WorkReads, ABC):
    """The part of the writer that is about checks, causes, service, signals."""

    @abstractmethod
    def _run(self, statement: Any, rows: list[dict[str, Any]] | None = None) -> None:
        """Run a statement in the writer's transaction."""

    @abstractmethod
    def fresh_id(self, kind: str, table: Table, wish: str | None = None) -> str:
        """Return `wish` where it is free in `table`, else a new identifier of its kind."""

    def add_check_done(
        self,
        machine: str,
        check: str,
        outcome: str,
        *,
        now_us: Instant,
        fault: str | None = None,
        value: float | None = None,
        hours: float | None = None,
        date_us: Instant | None = None,
        date_only: bool = False,
        who: str | None = None,
        note: str | None = None,
        wish: str | None = None,
    ) -> CheckDone:
        """Add a check that was done, and what came of it."""
        made = CheckDone(
            self.fresh_id(CHECK, t.checks_done, wish), machine, fault, check, outcome, value,
            hours, date_us, date_only, who, note, False, now_us,
        )  # fmt: skip
        self._insert(t.checks_done, made)
        return made

    def add_cause_found(
        self,
        machine: str,
        fault: str,
        cause: str,
        words: str,
        grade: Grade,
        *,
        now_us: Instant,
        repair: str | None = None,
        hours: float | None = None,
        date_us: Instant | None = None,
        date_only: bool = False,
        who: str | None = None,
        wish: str | None = None,
    ) -> CauseFound:
        """Add a cause that a person confirmed."""
        made = CauseFound(
            self.fresh_id(CAUSE, t.causes_found, wish), machine, fault, cause, words, grade,
            repair, hours, date_us, date_only, who, False, now_us,
        )  # fmt: skip
        self._insert(t.causes_found, made)
        return made

    def add_service_job(
        self,
        machine: str,
        text: str,
        *,
        now_us: Instant,
        every_hours: float | None = None,
        every_days: float | None = None,
        minutes: float | None = None,
        wish: str | None = None,
    ) -> ServiceJob:
        """Add something that is due again and again."""
        made = ServiceJob(
            self.fresh_id(JOB, t.service_jobs, wish), machine, text, every_hours, every_days,
            minutes, False, now_us,
        )  # fmt: skip
        self._insert(t.service_jobs, made)
        return made

    def add_service_done(
        self,
        job: str,
        *,
        now_us: Instant,
        hours: float | None = None,
        date_us: Instant | None = None,
        date_only: bool = False,
        note: str | None = None,
        wish: str | None = None,
    ) -> ServiceDone:
        """Add one time that a service job was done."""
        made = ServiceDone(
            self.fresh_id(SERVICE, t.services_done, wish), job, hours, date_us, date_only, note,
            False, now_us,
        )  # fmt: skip
        self._insert(t.services_done, made)
        return made

    def keep_learnt_signal(
        self,
        machine: str,
        what: str,
        *,
        now_us: Instant,
        pgn: int,
        address: int,
        start_bit: int,
        bits: int,
        sessions: int,
        p_value: float | None,
        state: Literal["candidate", "learnt", "dropped"],
        controller: str | None = None,
        wish: str | None = None,
    ) -> LearntSignal:
        """Keep what an experiment found; the same place for the same thing is kept once."""
        c = t.learnt_signals.c
        known = self._rows(
            select(t.learnt_signals).where(
                c.machine == machine,
                c.what == what,
                c.pgn == pgn,
                c.address == address,
                c.start_bit == start_bit,
            )
        )
        made = LearntSignal(
            known[0]["id"] if known else self.fresh_id(LEARNT, t.learnt_signals, wish),
            machine, controller, what, pgn, address, start_bit, bits, sessions, p_value, state,
            known[0]["created_us"] if known else now_us,
        )  # fmt: skip
        if known:
            row = {name: getattr(made, name) for name in ("bits", "sessions", "p_value", "state")}
            self._run(update(t.learnt_signals).where(c.id == made.id).values(**row))
        else:
            self._insert(t.learnt_signals, made)
        return made

    def withdraw_work(self, id_: str) -> None:
        """Mark a check done, a cause found, a service job or service done as not so after all.

        It stays in the book. Raises NotInBook.
        """
        tables: dict[str, tuple[Table, type[Any], str]] = {
            CHECK: (t.checks_done, CheckDone, "check done"),
            CAUSE: (t.causes_found, CauseFound, "cause"),
            JOB: (t.service_jobs, ServiceJob, "service job"),
            SERVICE: (t.services_done, ServiceDone, "service"),
        }
        table, cls, what = tables.get(id_[:1], (t.checks_done, CheckDone, "entry"))
        self._single(cls, table, id_, what)
        self._run(update(table).where(table.c.id == id_).values(withdrawn=True))

    def _insert(self, table: Table, made: object) -> None:
        self._run(insert(table), [{c.name: getattr(made, c.name) for c in table.c}])
