"""Everything that can be read from the record, the same on a book, a snapshot and a writer."""

from __future__ import annotations

import json
from abc import abstractmethod
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, cast

from sqlalchemy import Connection, RowMapping, Table, func, select

from shearbolt.book import schema as t
from shearbolt.book.content import read_content, read_sightings
from shearbolt.book.heard import VisitHeard, read_heard, read_signals_seen
from shearbolt.book.ordering import Placing, order_visits
from shearbolt.book.records import (
    Attachment,
    Box,
    Controller,
    Fault,
    Machine,
    MachineEvent,
    Note,
    Place,
    Repair,
    Sighting,
    Visit,
)
from shearbolt.book.telling import told
from shearbolt.book.work_reads import WorkReads
from shearbolt.errors import Ambiguous, NotInBook
from shearbolt.model.controller import Name
from shearbolt.model.reading import TimeBase
from shearbolt.model.signal import SignalSeen
from shearbolt.model.visit import VisitContent

_Row = RowMapping


def place_key(place: Place | None, address: int | None) -> str:
    """Write a controller's place as one text: by NAME, else by address."""
    if place is not None:
        return "n:" + ":".join(str(part) for part in place)
    return f"a:{'-' if address is None else address}"


def _place(key: str) -> Place | None:
    if not key.startswith("n:"):
        return None
    return cast(Place, tuple(int(part) for part in key[2:].split(":")))


def _plain_name(name: str) -> str:
    return " ".join(name.split()).casefold()


class Reads(WorkReads):
    """Reading methods. Each sees one consistent state; a snapshot or writer keeps it."""

    folder: Path

    @abstractmethod
    def _connected(self) -> Any:
        """Return a context manager that gives a connection with a transaction."""

    @contextmanager
    def _reading(self) -> Iterator[Connection]:
        with told(self.folder), self._connected() as connection:
            yield connection

    def _rows(self, query: Any) -> list[_Row]:
        with self._reading() as connection:
            return list(connection.execute(query).mappings())

    def _one(self, table: Table, id_: str, what: str) -> _Row:
        found = self._rows(select(table).where(table.c.id == id_))
        if not found:
            raise NotInBook(f"The book has no {what} {id_!r}.")
        return found[0]

    # -- machines -------------------------------------------------------------------------------

    def machines(self) -> list[Machine]:
        """Return the fleet by name."""
        found = [Machine(**row) for row in self._rows(select(t.machines))]
        return sorted(found, key=lambda one: (_plain_name(one.name), one.created_us, one.id))

    def machine(self, id_or_name: str) -> Machine:
        """Find a machine by its id or its whole name (case and spaces do not matter).

        Raises NotInBook and Ambiguous.
        """
        fleet = self.machines()
        wanted = _plain_name(id_or_name)
        hits = [one for one in fleet if one.id == id_or_name.strip()]
        hits = hits or [one for one in fleet if _plain_name(one.name) == wanted]
        if not hits:
            known = ", ".join(f"{one.name!r}" for one in fleet[:12])
            more = ", ..." if len(fleet) > 12 else ""
            has = f"it has {known}{more}" if fleet else "it is still empty"
            raise NotInBook(f"The book has no machine {id_or_name!r}; {has}.")
        if len(hits) > 1:
            ids = ", ".join(one.id for one in hits)
            raise Ambiguous(
                f"{len(hits)} machines are called {id_or_name!r}; name one by its id: {ids}."
            )
        return hits[0]

    def controllers(self, machine: str) -> list[Controller]:
        """Return the places of a machine by address."""
        c = t.controllers
        found = self._rows(
            select(c).where(c.c.machine == machine).order_by(c.c.address, c.c.created_us, c.c.id)
        )
        return [_controller(row) for row in found]

    def controller(self, id_: str) -> Controller:
        """Return one place. Raises NotInBook."""
        return _controller(self._one(t.controllers, id_, "controller"))

    def controller_at(self, machine: str, address: int) -> Controller | None:
        """Return the place of a machine that last held an address, by the order of its visits."""
        c, v = t.visit_controllers, t.controllers
        found = self._rows(
            select(c.c.visit, c.c.seq, c.c.controller)
            .join(v, v.c.id == c.c.controller)
            .where(v.c.machine == machine, c.c.address == address)
        )
        if found:
            order = self._order(machine)
            last = max(found, key=lambda row: (order.get(row["visit"], -1), row["seq"]))
            return self.controller(last["controller"])
        for one in self.controllers(machine):
            if one.address == address:
                return one
        return None

    def boxes(self, machine: str) -> list[Box]:
        """Return the NAMEs that filled the machine's places, in the order they came."""
        c, v = t.visit_controllers, t.controllers
        found = self._rows(
            select(c.c.visit, c.c.controller, c.c.name)
            .join(v, v.c.id == c.c.controller)
            .where(v.c.machine == machine, c.c.name.is_not(None))
        )
        order = self._order(machine)
        seen: dict[tuple[str, str], set[str]] = {}
        for row in found:
            seen.setdefault((row["controller"], row["name"]), set()).add(row["visit"])
        boxes: list[tuple[int, Box]] = []
        for (controller, name), visits in seen.items():
            ranked = sorted(visits, key=lambda visit: order.get(visit, -1))
            box = Box(controller, Name(int(name, 16)), ranked[0], ranked[-1], len(ranked))
            boxes.append((order.get(ranked[0], -1), box))
        boxes.sort(key=lambda pair: (pair[1].controller, pair[0], pair[1].name))
        return [box for _, box in boxes]

    def names_by_visit(self, machine: str) -> list[tuple[str, str, Name]]:
        """Return (visit, controller, NAME) of all its places with one, visits in their order."""
        c, v = t.visit_controllers, t.controllers
        found = self._rows(
            select(c.c.visit, c.c.seq, c.c.controller, c.c.name)
            .join(v, v.c.id == c.c.controller)
            .where(v.c.machine == machine, c.c.name.is_not(None))
        )
        order = self._order(machine)
        found.sort(key=lambda row: (order.get(row["visit"], -1), row["seq"]))
        return [(row["visit"], row["controller"], Name(int(row["name"], 16))) for row in found]

    def names_heard(self) -> dict[str, set[int]]:
        """Return for each machine every NAME (64 bits) that ever filled one of its places."""
        c, v = t.visit_controllers, t.controllers
        found = self._rows(
            select(v.c.machine, c.c.name)
            .distinct()
            .join(v, v.c.id == c.c.controller)
            .where(c.c.name.is_not(None))
        )
        heard: dict[str, set[int]] = {}
        for row in found:
            heard.setdefault(row["machine"], set()).add(int(row["name"], 16))
        return heard

    def events(self, machine: str) -> list[MachineEvent]:
        """Return what happened to a machine, in the order it was noticed."""
        e = t.machine_events
        found = self._rows(select(e).where(e.c.machine == machine).order_by(e.c.created_us, e.c.id))
        return [
            MachineEvent(
                **{key: value for key, value in row.items() if key != "detail_json"},
                detail=tuple((key, value) for key, value in json.loads(row["detail_json"])),
            )
            for row in found
        ]

    # -- visits ---------------------------------------------------------------------------------

    def visits(self, machine: str | None = None) -> list[Visit]:
        """Return visits in their order (`order_visits`); of the whole fleet, machine by machine
        merged by time.

        A machine's visits include those in which it was heard beside another.
        """
        v, m = t.visits, t.visit_machines
        query = select(v)
        others = select(m).order_by(m.c.visit, m.c.seq)
        if machine is not None:
            beside = select(m.c.visit).where(m.c.machine == machine)
            query = query.where((v.c.machine == machine) | v.c.id.in_(beside))
            others = others.where(
                m.c.visit.in_(select(v.c.id).where(v.c.machine == machine)) | m.c.visit.in_(beside)
            )
        with self._reading() as connection:
            rows = list(connection.execute(query).mappings())
            along: dict[str, list[str]] = {}
            for row in connection.execute(others).mappings():
                along.setdefault(row["visit"], []).append(row["machine"])
        found = {row["id"]: _visit(row, along.get(row["id"], ())) for row in rows}
        if machine is not None:
            return [found[id_] for id_ in order_visits(_placing(one) for one in found.values())]
        return _fleet_order(found.values())

    def _order(self, machine: str) -> dict[str, int]:
        return {one.id: at for at, one in enumerate(self.visits(machine))}

    def visit(self, id_: str) -> Visit:
        """Return one visit. Raises NotInBook."""
        row = self._one(t.visits, id_, "visit")
        return _visit(row, self._others(id_))

    def _others(self, visit: str) -> list[str]:
        m = t.visit_machines
        found = self._rows(select(m.c.machine).where(m.c.visit == visit).order_by(m.c.seq))
        return [row["machine"] for row in found]

    def visit_by_sha256(self, sha256: str) -> Visit | None:
        """Find the visit of a recording by the hash of its bytes, as they came or unpacked."""
        v = t.visits.c
        same = (v.sha256 == sha256) | (v.unpacked_sha256 == sha256)
        found = self._rows(select(t.visits).where(same))
        return _visit(found[0], self._others(found[0]["id"])) if found else None

    def holds_size(self, size: int) -> bool:
        """Tell whether any recording of the book has this many bytes (cheaper than a hash)."""
        return bool(self._rows(select(t.visits.c.id).where(t.visits.c.size == size).limit(1)))

    def visit_content(self, id_: str) -> VisitContent:
        """Return all that a visit's recording told, as it was filed. Raises NotInBook."""
        with self._reading() as connection:
            head = connection.execute(select(t.visits).where(t.visits.c.id == id_)).mappings()
            row = head.first()
            if row is None:
                raise NotInBook(f"The book has no visit {id_!r}.")
            return read_content(connection, id_, row)

    def heard(self, machine: str) -> dict[str, VisitHeard]:
        """Return of each visit of a machine who was heard, clears and lamps without a code."""
        with self._reading() as connection:
            return read_heard(connection, machine)

    def signals_seen(self, machine: str) -> dict[str, tuple[SignalSeen, ...]]:
        """Return of each visit of a machine the signals that it held."""
        with self._reading() as connection:
            return read_signals_seen(connection, machine)

    def visit_places(self, id_: str) -> tuple[str | None, ...]:
        """Return the controller id of each of the content's controllers, in their order."""
        c = t.visit_controllers
        found = self._rows(select(c.c.controller).where(c.c.visit == id_).order_by(c.c.seq))
        return tuple(row["controller"] for row in found)

    def visit_faults(self, id_: str) -> tuple[str | None, ...]:
        """Return the fault id of each of the content's faults, in their order."""
        s = t.fault_sightings
        found = self._rows(select(s.c.fault).where(s.c.visit == id_).order_by(s.c.seq))
        return tuple(row["fault"] for row in found)

    # -- faults ---------------------------------------------------------------------------------

    def faults(self, machine: str | None = None) -> list[Fault]:
        """Return faults, of one machine or all, in the order they were first filed."""
        f = t.faults
        query = select(f).order_by(f.c.created_us, f.c.id)
        if machine is not None:
            query = query.where(f.c.machine == machine)
        return [_fault(row) for row in self._rows(query)]

    def fault(self, id_: str) -> Fault:
        """Return one fault. Raises NotInBook."""
        return _fault(self._one(t.faults, id_, "fault"))

    def sightings(self, fault: str) -> list[Sighting]:
        """Return what each visit tells of a fault, in the order of the visits."""
        with self._reading() as connection:
            found = read_sightings(connection, t.fault_sightings.c.fault == fault)
        return self._in_visit_order(self.fault(fault).machine, found)

    def sightings_of(self, machine: str) -> dict[str, list[Sighting]]:
        """Return the sightings of all faults of a machine by fault id, each in visit order."""
        s, f = t.fault_sightings, t.faults
        with self._reading() as connection:
            found = read_sightings(
                connection, s.c.fault.in_(select(f.c.id).where(f.c.machine == machine))
            )
        result: dict[str, list[Sighting]] = {}
        for one in self._in_visit_order(machine, found):
            if one.fault is not None:
                result.setdefault(one.fault, []).append(one)
        return result

    def _in_visit_order(self, machine: str, found: list[Sighting]) -> list[Sighting]:
        order = self._order(machine)
        return sorted(found, key=lambda one: order.get(one.visit, len(order)))

    # -- by hand --------------------------------------------------------------------------------

    def notes(self, machine: str | None = None, fault: str | None = None) -> list[Note]:
        """Return notes in the order they were written down."""
        n, a = t.notes, t.note_attachments
        query = select(n).order_by(n.c.created_us, n.c.id)
        if machine is not None:
            query = query.where(n.c.machine == machine)
        if fault is not None:
            query = query.where(n.c.fault == fault)
        with self._reading() as connection:
            rows = list(connection.execute(query).mappings())
            kept: dict[str, list[Attachment]] = {}
            for row in connection.execute(select(a).order_by(a.c.note, a.c.seq)).mappings():
                one = Attachment(row["sha256"], row["name"], row["media_type"])
                kept.setdefault(row["note"], []).append(one)
        return [Note(**row, attachments=tuple(kept.get(row["id"], ()))) for row in rows]

    def note(self, id_: str) -> Note:
        """Return one note. Raises NotInBook."""
        row = self._one(t.notes, id_, "note")
        a = t.note_attachments
        found = self._rows(select(a).where(a.c.note == id_).order_by(a.c.seq))
        kept = tuple(Attachment(one["sha256"], one["name"], one["media_type"]) for one in found)
        return Note(**row, attachments=kept)

    def repairs(self, machine: str | None = None, *, withdrawn: bool = False) -> list[Repair]:
        """Return repairs in the order they were written down; withdrawn ones only when asked."""
        r = t.repairs
        query = select(r).order_by(r.c.created_us, r.c.id)
        if machine is not None:
            query = query.where(r.c.machine == machine)
        if not withdrawn:
            query = query.where(r.c.withdrawn.is_(False))
        rows = self._rows(query)
        concerned = self._repair_faults([row["id"] for row in rows])
        return [Repair(**row, faults=concerned.get(row["id"], ())) for row in rows]

    def repair(self, id_: str) -> Repair:
        """Return one repair, withdrawn or not. Raises NotInBook."""
        row = self._one(t.repairs, id_, "repair")
        return Repair(**row, faults=self._repair_faults([id_]).get(id_, ()))

    def _repair_faults(self, repairs: Iterable[str]) -> dict[str, tuple[str, ...]]:
        f = t.repair_faults
        wanted = set(repairs)
        result: dict[str, tuple[str, ...]] = {}
        for row in self._rows(select(f).order_by(f.c.repair, f.c.seq)):
            if row["repair"] in wanted:
                result[row["repair"]] = (*result.get(row["repair"], ()), row["fault"])
        return result

    # -- settings -------------------------------------------------------------------------------

    def setting(self, key: str) -> Any:
        """Return a setting of the book (any JSON value), None where it was never set."""
        found = self._rows(select(t.settings.c.value_json).where(t.settings.c.key == key))
        return json.loads(found[0]["value_json"]) if found else None

    def settings(self) -> dict[str, Any]:
        """Return all settings."""
        return {row["key"]: json.loads(row["value_json"]) for row in self._rows(select(t.settings))}

    def counts(self) -> dict[str, int]:
        """Return the number of rows of every table by its name."""
        with self._reading() as connection:
            return {
                table.name: connection.execute(select(func.count()).select_from(table)).scalar_one()
                for table in t.metadata.sorted_tables
            }


def _controller(row: _Row) -> Controller:
    return Controller(
        id=row["id"],
        machine=row["machine"],
        place=_place(row["place_key"]),
        address=row["address"],
        label=row["label"],
        created_us=row["created_us"],
    )


def _fault(row: _Row) -> Fault:
    return Fault(**{key: value for key, value in row.items() if key != "identity"})


def _visit(row: _Row, others: Iterable[str]) -> Visit:
    zero = row["zero_us"]
    return Visit(
        id=row["id"],
        kind=row["kind"],
        machine=row["machine"],
        others=tuple(others),
        file=row["file"],
        sha256=row["sha256"],
        unpacked_sha256=row["unpacked_sha256"],
        size=row["size"],
        format=row["format"],
        quality=row["quality"],
        start_from=row["start_from"],
        time_base=TimeBase(row["time_base"]),
        zero_us=zero,
        date_only=row["date_only"],
        start_us=None if zero is None else zero + row["earliest_us"],
        end_us=None if zero is None else zero + row["latest_us"],
        first_us=row["first_us"],
        hours_start=row["hours_start"],
        hours_end=row["hours_end"],
        hours_from=row["hours_from"],
        frames=row["frames"],
        error_frames=row["error_frames"],
        channels=tuple(json.loads(row["channels_json"])),
        vin=row["vin"],
        component=row["component"],
        software=tuple(json.loads(row["software_json"])),
        recognised_by=tuple(json.loads(row["recognised_by_json"])),
        doubts=tuple(json.loads(row["doubts_json"])),
        filed_us=row["filed_us"],
    )


def _placing(one: Visit) -> Placing:
    return Placing(one.id, one.start_us, one.end_us, one.date_only, one.hours_start, one.filed_us)


def _fleet_order(visits: Iterable[Visit]) -> list[Visit]:
    """Merge the machines' own orders by time; an undated visit goes with its predecessor."""
    by_machine: dict[str, list[Visit]] = {}
    for one in visits:
        by_machine.setdefault(one.machine, []).append(one)
    keyed: list[tuple[int, str, int, Visit]] = []
    for machine, own in by_machine.items():
        known = {one.id: one for one in own}
        time_us = 0
        for at, id_ in enumerate(order_visits(_placing(one) for one in own)):
            one = known[id_]
            if one.start_us is not None:
                time_us = max(time_us, one.start_us)
            keyed.append((time_us, machine, at, one))
    keyed.sort(key=lambda entry: entry[:3])
    return [one for _, _, _, one in keyed]
