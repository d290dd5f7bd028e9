"""What visits just brought in added to the book, told against what it held before."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import replace
from typing import TypeVar

from shearbolt.app.composing.labels import fault_words
from shearbolt.app.composing.tables import FactTables
from shearbolt.app.concluding.record import Lazily, MachineRecord, looks_at
from shearbolt.app.documents.news import FaultNews, NewSince
from shearbolt.book import Fault, Machine, Reads
from shearbolt.model.fault import COUNT_FULL
from shearbolt.model.instants import to_iso
from shearbolt.reasoning.standing import Look, standing

T = TypeVar("T")


def what_is_new(book: Reads, brought: Collection[str], tables: FactTables) -> NewSince:
    """Compare the visits brought in (their ids) with all others.

    Only machines that were heard in them are read. A recording of old times that was brought in
    late makes nothing 'come back': visits count in their own order.
    """
    new = frozenset(brought)
    visits = book.visits()
    before = [one.filed_us for one in visits if one.id not in new]
    told: NewSince = {
        "since": to_iso(max(before)) if before else None,
        "machines": [],
        "faults": [],
        "came_back": [],
        "counts_rose": [],
    }
    heard = {id_ for one in visits if one.id in new for id_ in (one.machine, *one.others)}
    for machine in book.machines():
        if machine.id not in heard:
            continue
        record = _read(book, machine)
        if all(one.id in new for one in record.visits):
            told["machines"].append({"machine": machine.id, "machine_name": machine.name})
        for fault in record.faults:
            _fault(record, fault, new, tables, told)
    return told


def _read(book: Reads, machine: Machine) -> MachineRecord:
    """Read a machine as `read_machine` does, but what its visits told only when it is needed."""
    visits = tuple(book.visits(machine.id))
    ids = [one.id for one in visits]
    return MachineRecord(
        machine,
        visits,
        Lazily(ids, book.visit_content),
        book.heard(machine.id),
        {one.id: one for one in book.controllers(machine.id)},
        {box.controller: box.name for box in book.boxes(machine.id)},
        tuple(book.faults(machine.id)),
        book.sightings_of(machine.id),
        (),
        (),
        (),
        (),
        (),
        {one.id: one for one in visits},
    )


def _fault(
    record: MachineRecord, fault: Fault, new: frozenset[str], tables: FactTables, told: NewSince
) -> None:
    seen = {one.visit for one in record.sightings.get(fault.id, ())}
    order = [one.id for one in record.visits]
    known = [i for i, id_ in enumerate(order) if id_ in seen and id_ not in new]
    mine = [i for i, id_ in enumerate(order) if id_ in seen and id_ in new]
    if not mine:
        return
    # From the last look before on; what lies further back decides nothing.
    begin = known[-1] if known else mine[0]
    looks = looks_at(replace(record, visits=record.visits[begin:]), fault)
    later = [one for one in looks if one.visit in new and one.seen is not None]
    if not known:
        told["faults"].append(_news(record, fault, looks, later[0], None, tables))
        return
    if not later:
        return
    count = _count(looks[:1])
    news = _news(record, fault, looks, later[0], count, tables)
    active = any(one.seen is not None and one.seen.spells for one in later)
    if active and standing(looks[: looks.index(later[0])]).state != "active":
        told["came_back"].append(news)
    now = news["count_now"]
    if count is not None and now is not None and now > count:
        told["counts_rose"].append(news)


def _count(looks: Sequence[Look]) -> int | None:
    """Return the last occurrence count told in these looks."""
    counts = [
        count.count
        for look in looks
        if look.seen is not None
        for count in look.seen.counts
        if count.count is not None
    ]
    return min(counts[-1], COUNT_FULL) if counts else None


def _news(
    record: MachineRecord,
    fault: Fault,
    looks: Sequence[Look],
    first: Look,
    count_before: int | None,
    tables: FactTables,
) -> FaultNews:
    name = record.names.get(fault.controller) if fault.controller is not None else None
    now = _count(looks)
    return {
        "machine": record.machine.id,
        "machine_name": record.machine.name,
        "fault": fault.id,
        "text": fault_words(fault, tables, name)[0],
        "spn": fault.spn,
        "fmi": fault.fmi,
        "code": fault.code,
        "state": standing(looks).state,
        "visit": first.visit,
        "count_before": count_before,
        "count_now": now,
        "count_at_least": now is not None and now >= COUNT_FULL,
    }
