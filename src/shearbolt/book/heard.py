"""What all visits of a machine told of senders, clears and lamps: one query for each table."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from typing import Any, TypeVar

from sqlalchemy import Connection, Table, select

from shearbolt.book import schema as t
from shearbolt.book.content import from_row
from shearbolt.model.controller import ControllerSeen
from shearbolt.model.fault import Cleared, LampSpell
from shearbolt.model.signal import SignalSeen

T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class VisitHeard:
    """The part of a visit's content that is looked at over many visits; times by its own clock."""

    first_us: int
    earliest_us: int
    latest_us: int
    controllers: tuple[ControllerSeen, ...]
    places: tuple[str | None, ...]
    """Controller of the book for each of `controllers`."""
    clears: tuple[Cleared, ...]
    lamp_without_code: tuple[LampSpell, ...]
    pauses: tuple[tuple[int, int], ...]
    """Stretches without any frame."""


def _of(machine: str) -> Any:
    """Return the query of a machine's visits, those beside another machine included."""
    v, m = t.visits, t.visit_machines
    beside = select(m.c.visit).where(m.c.machine == machine)
    return select(v.c.id).where((v.c.machine == machine) | v.c.id.in_(beside))


def _rows(connection: Connection, table: Table, machine: str) -> dict[str, list[Any]]:
    query = select(table).where(table.c.visit.in_(_of(machine)))
    found: dict[str, list[Any]] = defaultdict(list)
    for row in connection.execute(query.order_by(table.c.visit, table.c.seq)).mappings():
        found[row["visit"]].append(row)
    return found


def _all(connection: Connection, table: Table, machine: str, cls: type[T]) -> dict[str, list[T]]:
    return {
        visit: [from_row(cls, row) for row in rows]
        for visit, rows in _rows(connection, table, machine).items()
    }


def read_heard(connection: Connection, machine: str) -> dict[str, VisitHeard]:
    """Read what a machine's visits told, by visit, in no order."""
    v = t.visits
    heads = connection.execute(
        select(v.c.id, v.c.first_us, v.c.earliest_us, v.c.latest_us).where(v.c.id.in_(_of(machine)))
    ).mappings()
    seats = _rows(connection, t.visit_controllers, machine)
    clears = _all(connection, t.clears, machine, Cleared)
    lamps = _all(connection, t.lamp_spells, machine, LampSpell)
    pauses = _rows(connection, t.visit_pauses, machine)
    return {
        row["id"]: VisitHeard(
            row["first_us"],
            row["earliest_us"],
            row["latest_us"],
            tuple(from_row(ControllerSeen, one) for one in seats.get(row["id"], ())),
            tuple(one["controller"] for one in seats.get(row["id"], ())),
            tuple(clears.get(row["id"], ())),
            tuple(lamps.get(row["id"], ())),
            tuple((one["start_us"], one["end_us"]) for one in pauses.get(row["id"], ())),
        )
        for row in heads
    }


def read_signals_seen(connection: Connection, machine: str) -> dict[str, tuple[SignalSeen, ...]]:
    """Read which signals a machine's visits held, of all senders in them, by visit."""
    found = _all(connection, t.visit_signals, machine, SignalSeen)
    return {visit: tuple(some) for visit, some in found.items()}
