"""Conclusions kept beside the book until something new is filed, and made anew when they are asked.

They can be deleted at any time: everything in them follows from the record.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from typing import TypeVar

from shearbolt.app.baselines import baseline_findings, baseline_mark
from shearbolt.app.composing.tables import FactTables
from shearbolt.app.concluding.case import machine_case
from shearbolt.app.concluding.causes import FleetCause
from shearbolt.app.concluding.conclude import Conclusions, Examined, conclude, examined
from shearbolt.app.concluding.record import MachineRecord
from shearbolt.app.now import now_us
from shearbolt.book import Book
from shearbolt.model.instants import Instant
from shearbolt.reasoning.advice import Now
from shearbolt.reasoning.case import FaultCase, MachineCase
from shearbolt.reasoning.settings import (
    Setting,
    find_setting,
    ground_for,
    ground_of,
    lasting_name,
    tables_of,
    watched,
)
from shearbolt.reasoning.settings.spoken import spoken_of

SHAPE = "3"
"""Raised when what is kept changes its shape or its meaning."""
T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class _Kept:
    """A machine's conclusions under the mark of all that went into them."""

    mark: str
    conclusions: Conclusions


def conclusions_of(
    book: Book, record: MachineRecord, tables: FactTables, at_us: Instant | None = None
) -> Conclusions:
    """Give the conclusions about one machine: the kept ones while they hold, else new ones.

    `at_us`: the moment to judge for; None: now.
    """
    now = now_us() if at_us is None else at_us
    known = fleet_causes(book)
    mark = mark_of(book, record, known)
    name = f"{record.machine.id}.conclusions"
    kept = _read(book, name, _Kept)
    if kept is not None and kept.mark == mark:
        until = kept.conclusions.holds_until_us
        if until is None or now < until:
            return kept.conclusions
    beside = f"{record.machine.id}.examined"
    before = _read(book, beside, tuple[Examined, ...]) or ()
    signals = book.signals_seen(record.machine.id)
    case = machine_case(record, tables, signals, book.state)
    visits = examined(case, before)
    made = conclude(
        record, case, settings_together(case), visits, Now(now, last_hours(record)), known
    )
    made = replace(made, findings=(*made.findings, *baseline_findings(book, case)))
    _write(book, beside, visits)
    _write(book, name, _Kept(mark, made))
    return made


def last_hours(record: MachineRecord) -> float | None:
    """Give the most engine hours that the book knows of a machine."""
    told = [
        one.hours_end
        for one in record.visits
        if one.machine == record.machine.id and one.hours_end is not None
    ]
    return max(told, default=None)


def fleet_causes(book: Book) -> tuple[FleetCause, ...]:
    """Give the causes that people confirmed on any machine of the fleet."""
    found = book.causes_found()
    if not found:
        return ()
    faults = {one.id: one for one in book.faults()}
    names = {one.id: one.name for one in book.machines()}
    return tuple(FleetCause(one, faults[one.fault], names[one.machine]) for one in found)


def mark_of(book: Book, record: MachineRecord, known: Sequence[FleetCause] = ()) -> str:
    """Give a mark that changes whenever anything changes that conclusions rest on."""
    mark = hashlib.sha256(SHAPE.encode())
    for part in (
        record.machine,
        record.visits,
        record.faults,
        [(fault, [one.visit for one in some]) for fault, some in record.sightings.items()],
        record.repairs,
        record.notes,
        record.checks,
        known,
        list(record.controllers.values()),
        book.owner.codes(),
        baseline_mark(book, record.machine.id),
    ):
        mark.update(repr(part).encode())
    return mark.hexdigest()


def settings_together(case: MachineCase) -> Mapping[str, Setting]:
    """Find the settings of all faults of a machine, several at once: the arrays let go of the
    interpreter's lock."""
    if not any(one.spells for visit in case.visits for one in (seen.seen for seen in visit.faults)):
        return {}
    ground = ground_of(tables_of(case))

    def one(fault: FaultCase) -> Setting:
        said = spoken_of(case, fault.fault)
        name = lasting_name(fault)
        mine = ground_for(ground, fault)
        return find_setting(mine, fault.fault, watched(case, fault), said, name=name)

    with ThreadPoolExecutor(2) as pool:
        found = tuple(pool.map(one, case.faults))
    return {one.fault: one for one in found}


def _read(book: Book, name: str, shape: type[T]) -> T | None:
    import msgspec

    data = book.derived.read(name)
    if data is None:
        return None
    try:
        return msgspec.msgpack.decode(data, type=shape)
    except (msgspec.DecodeError, ValueError):
        return None


def _write(book: Book, name: str, value: object) -> None:
    import msgspec

    book.derived.write(name, msgspec.msgpack.encode(value))
