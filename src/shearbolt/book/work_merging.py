"""What people did about faults, taken from another book: nothing twice, nothing lost."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from shearbolt.book.reads import Reads
from shearbolt.book.writer import Writer


@dataclass(slots=True)
class WorkMerge:
    """Merges checks, causes, service and learnt signals; the maps go from their ids to ours.

    An entry is the same by its id and the time it was made. One withdrawn over there is withdrawn
    here too. A repair keeps its id wherever that was free; where it was not, the cause stands
    without it.
    """

    w: Writer
    theirs: Reads
    machines: Mapping[str, str]
    controllers: Mapping[str, str]
    faults: Mapping[str, str]
    jobs: dict[str, str] = field(default_factory=dict)

    def run(self) -> None:
        """Take everything over."""
        self._checks()
        self._causes()
        self._jobs()
        self._services()
        self._learnt()

    def _checks(self) -> None:
        here = {(one.id, one.created_us): one for one in self.w.checks_done(withdrawn=True)}
        for one in self.theirs.checks_done(withdrawn=True):
            ours = here.get((one.id, one.created_us)) or self.w.add_check_done(
                self.machines[one.machine], one.check, one.outcome, now_us=one.created_us,
                fault=self.faults[one.fault] if one.fault is not None else None,
                value=one.value, hours=one.hours, date_us=one.date_us, date_only=one.date_only,
                who=one.who, note=one.note, wish=one.id,
            )  # fmt: skip
            self._withdraw(one.withdrawn, ours.withdrawn, ours.id)

    def _causes(self) -> None:
        here = {(one.id, one.created_us): one for one in self.w.causes_found(withdrawn=True)}
        repairs = {(one.id, one.created_us) for one in self.w.repairs(withdrawn=True)}
        made = {one.id: one.created_us for one in self.theirs.repairs(withdrawn=True)}
        for one in self.theirs.causes_found(withdrawn=True):
            repair = one.repair
            if repair is not None and (repair, made.get(repair)) not in repairs:
                repair = None
            ours = here.get((one.id, one.created_us)) or self.w.add_cause_found(
                self.machines[one.machine], self.faults[one.fault], one.cause, one.words,
                one.grade, now_us=one.created_us, repair=repair, hours=one.hours,
                date_us=one.date_us, date_only=one.date_only, who=one.who, wish=one.id,
            )  # fmt: skip
            self._withdraw(one.withdrawn, ours.withdrawn, ours.id)

    def _jobs(self) -> None:
        here = {(one.id, one.created_us): one for one in self.w.service_jobs(withdrawn=True)}
        for one in self.theirs.service_jobs(withdrawn=True):
            ours = here.get((one.id, one.created_us)) or self.w.add_service_job(
                self.machines[one.machine], one.text, now_us=one.created_us,
                every_hours=one.every_hours, every_days=one.every_days, minutes=one.minutes,
                wish=one.id,
            )  # fmt: skip
            self.jobs[one.id] = ours.id
            self._withdraw(one.withdrawn, ours.withdrawn, ours.id)

    def _services(self) -> None:
        here = {(one.id, one.created_us): one for one in self.w.services_done(withdrawn=True)}
        for one in self.theirs.services_done(withdrawn=True):
            ours = here.get((one.id, one.created_us)) or self.w.add_service_done(
                self.jobs[one.job], now_us=one.created_us, hours=one.hours, date_us=one.date_us,
                date_only=one.date_only, note=one.note, wish=one.id,
            )  # fmt: skip
            self._withdraw(one.withdrawn, ours.withdrawn, ours.id)

    def _learnt(self) -> None:
        here = {
            (one.machine, one.what, one.pgn, one.address, one.start_bit)
            for one in self.w.learnt_signals()
        }
        for one in self.theirs.learnt_signals():
            machine = self.machines[one.machine]
            if (machine, one.what, one.pgn, one.address, one.start_bit) in here:
                continue
            controller = self.controllers.get(one.controller or "")
            self.w.keep_learnt_signal(
                machine, one.what, now_us=one.created_us, pgn=one.pgn, address=one.address,
                start_bit=one.start_bit, bits=one.bits, sessions=one.sessions,
                p_value=one.p_value, state=one.state, controller=controller, wish=one.id,
            )  # fmt: skip

    def _withdraw(self, theirs: bool, ours: bool, id_: str) -> None:
        if theirs and not ours:
            self.w.withdraw_work(id_)
