"""Everything that changes the record: one transaction of the one writer."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import asdict, replace
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Table, delete, insert, select, update

from shearbolt.book import schema as t
from shearbolt.book.content import content_rows, dumps
from shearbolt.book.evidence import evidence_path
from shearbolt.book.ids import CONTROLLER, EVENT, FAULT, MACHINE, NOTE, REPAIR, VISIT, new_id
from shearbolt.book.reads import Reads, place_key
from shearbolt.book.records import (
    Controller,
    Fault,
    Machine,
    MachineEvent,
    NewNote,
    NewVisit,
    Note,
    Part,
    Place,
    Repair,
    Visit,
)
from shearbolt.book.staging import Stage, StagedVisit
from shearbolt.book.telling import told
from shearbolt.book.work_writes import WorkWrites
from shearbolt.errors import BookError
from shearbolt.model.fault import FaultKind
from shearbolt.model.instants import Instant
from shearbolt.model.reading import TimeBase

SIGNALS = "signals"


def _names(table: Table) -> list[str]:
    return [column.name for column in table.c]


def _fault_row(fault: Fault) -> dict[str, Any]:
    identity = (
        fault.controller, fault.kind, fault.spn, fault.fmi, fault.code, fault.manufacturer_code,
        fault.function,
    )  # fmt: skip
    return {
        field: dumps(identity) if field == "identity" else getattr(fault, field)
        for field in _names(t.faults)
    }


class Writer(Reads, WorkWrites):
    """What `Book.writing()` gives. Nothing is in the book before its `with` block ends well."""

    def __init__(
        self, folder: Path, connection: Connection, checkpoint: Callable[[str], None]
    ) -> None:
        self.folder = folder
        self._connection = connection
        self._checkpoint = checkpoint
        self._stages: list[Stage] = []

    @contextmanager
    def _connected(self) -> Iterator[Connection]:
        yield self._connection

    def _run(self, statement: Any, rows: list[dict[str, Any]] | None = None) -> None:
        with told(self.folder):
            self._connection.execute(statement, rows)

    def fresh_id(self, kind: str, table: Table, wish: str | None = None) -> str:
        """Return `wish` where it is free in `table`, else a new identifier of its kind."""

        def taken(id_: str) -> bool:
            return bool(self._rows(select(table.c.id).where(table.c.id == id_)))

        return wish if wish is not None and not taken(wish) else new_id(kind, taken)

    # -- machines -------------------------------------------------------------------------------

    def add_machine(
        self,
        name: str,
        *,
        name_given: bool,
        now_us: Instant,
        kind: str | None = None,
        vin: str | None = None,
        note: str | None = None,
        wish: str | None = None,
    ) -> Machine:
        """Add a machine; `wish` is the id it should keep when that is free."""
        id_ = self.fresh_id(MACHINE, t.machines, wish)
        machine = Machine(id_, " ".join(name.split()), name_given, kind, vin, note, now_us)
        row = {field: getattr(machine, field) for field in _names(t.machines)}
        self._run(insert(t.machines), [row])
        return machine

    def rename_machine(self, id_: str, name: str) -> Machine:
        """Give a machine the name that a person chose. Raises NotInBook."""
        return self.change_machine(id_, name=" ".join(name.split()), name_given=True)

    def change_machine(self, id_: str, **changes: str | bool | None) -> Machine:
        """Change `name`, `name_given`, `kind`, `vin` or `note`. Raises NotInBook."""
        self._change(t.machines, id_, changes, ("name", "name_given", "kind", "vin", "note"))
        return self.machine(id_)

    def _change(
        self, table: Table, id_: str, changes: dict[str, Any], allowed: tuple[str, ...]
    ) -> None:
        unknown = set(changes) - set(allowed)
        if unknown:
            raise TypeError(f"cannot change {', '.join(sorted(unknown))}")
        self._one(table, id_, table.name.removesuffix("s"))
        if changes:
            self._run(update(table).where(table.c.id == id_).values(**changes))

    def ensure_controller(
        self,
        machine: str,
        *,
        place: Place | None,
        address: int | None,
        now_us: Instant,
        wish: str | None = None,
    ) -> Controller:
        """Find or add the place of a sender, and note the address it used last.

        Without a NAME (`place` is None) it is the place that last held the address. With one it is
        that NAME's place, and a place known by its address alone takes on the NAME first heard
        there, with all its history.
        """
        found: Controller | None = None
        if place is None:
            found = None if address is None else self.controller_at(machine, address)
        else:
            known = self.controllers(machine)
            found = next((one for one in known if one.place == place), None)
            if found is None and address is not None:
                found = next(
                    (one for one in known if one.place is None and one.address == address), None
                )
        if found is None:
            id_ = self.fresh_id(CONTROLLER, t.controllers, wish)
            row = {
                "id": id_,
                "machine": machine,
                "place_key": place_key(place, address),
                "address": address,
                "label": None,
                "created_us": now_us,
            }
            self._run(insert(t.controllers), [row])
            return self.controller(id_)
        changes: dict[str, Any] = {}
        if address is not None and found.address != address:
            changes["address"] = address
        if place is not None and found.place is None:
            changes["place_key"] = place_key(place, address)
        if changes:
            self._change(t.controllers, found.id, changes, ("address", "place_key"))
        return self.controller(found.id)

    def label_controller(self, id_: str, label: str | None) -> Controller:
        """Call a controller what its owner calls it. Raises NotInBook."""
        self._change(t.controllers, id_, {"label": label}, ("label",))
        return self.controller(id_)

    def add_event(
        self,
        machine: str,
        kind: str,
        *,
        now_us: Instant,
        visit: str | None = None,
        controller: str | None = None,
        at_us: Instant | None = None,
        hours: float | None = None,
        detail: tuple[tuple[str, str | float | None], ...] = (),
        wish: str | None = None,
    ) -> MachineEvent:
        """Put something that happened on a machine's line."""
        id_ = self.fresh_id(EVENT, t.machine_events, wish)
        event = MachineEvent(id_, machine, kind, visit, controller, at_us, hours, detail, now_us)
        row = {
            field: dumps(detail) if field == "detail_json" else getattr(event, field)
            for field in _names(t.machine_events)
        }
        self._run(insert(t.machine_events), [row])
        return event

    # -- faults ---------------------------------------------------------------------------------

    def ensure_fault(
        self,
        machine: str,
        controller: str | None,
        kind: FaultKind,
        *,
        now_us: Instant,
        spn: int | None = None,
        fmi: int | None = None,
        code: str | None = None,
        manufacturer_code: int | None = None,
        function: int | None = None,
        wish: str | None = None,
    ) -> Fault:
        """Find or add a fault.

        Give `manufacturer_code` and `function` for makers' own numbers only (SPN 520192 and up):
        two makers' numbers are two faults. One filed when its maker was not known yet takes on the
        first maker heard on the same controller, and a sighting whose maker is not known joins the
        only fault that fits.
        """
        alike = [
            one
            for one in self.faults(machine)
            if (one.controller, one.kind, one.spn, one.fmi, one.code)
            == (controller, kind, spn, fmi, code)
        ]
        maker = (manufacturer_code, function)
        exact = [one for one in alike if (one.manufacturer_code, one.function) == maker]
        if exact:
            return exact[0]
        if maker == (None, None) and len(alike) == 1:
            return alike[0]
        unknown = [one for one in alike if one.manufacturer_code is None and one.function is None]
        fault = Fault(
            unknown[0].id if unknown else self.fresh_id(FAULT, t.faults, wish),
            machine,
            controller,
            kind,
            spn,
            fmi,
            code,
            manufacturer_code,
            function,
            unknown[0].created_us if unknown else now_us,
        )
        if unknown:
            self._change_fault(fault)
        else:
            self._run(insert(t.faults), [_fault_row(fault)])
        return fault

    def place_fault(
        self,
        id_: str,
        controller: str,
        *,
        manufacturer_code: int | None = None,
        function: int | None = None,
    ) -> Fault:
        """Tie a fault that was written down by hand to the controller that now told of it.

        Raises NotInBook.
        """
        fault = replace(
            self.fault(id_),
            controller=controller,
            manufacturer_code=manufacturer_code,
            function=function,
        )
        self._change_fault(fault)
        return fault

    def _change_fault(self, fault: Fault) -> None:
        self._run(update(t.faults).where(t.faults.c.id == fault.id).values(**_fault_row(fault)))

    # -- visits ---------------------------------------------------------------------------------

    def file(self, stage: StagedVisit | None, new: NewVisit, *, wish: str | None = None) -> Visit:
        """File a visit with its staged recording and frames (None: by hand, without files).

        Waits for the recording to be copied. Raises BookError when the same recording is in the
        book already, or when it could not be copied.
        """
        id_ = self.fresh_id(VISIT, t.visits, wish)
        sha256: str | None = None
        size: int | None = None
        if stage is not None:
            stage.finish()
            if stage.job is not None:
                sha256, size = stage.job.wait(), stage.job.size
                stage.will_move(stage.job.path, evidence_path(self.folder, sha256))
            if stage.parts:
                stage.will_move(stage.signals_folder, self.folder / SIGNALS / id_)
            self.settle_with(stage)
        parts = () if stage is None else stage.parts
        return self.file_rows(new, id_, sha256, size, parts)

    def settle_with(self, stage: Stage) -> None:
        """Let a stage's files move into place when this transaction commits."""
        if stage not in self._stages:
            self._stages.append(stage)

    def file_rows(
        self,
        new: NewVisit,
        id_: str,
        sha256: str | None,
        size: int | None,
        parts: Sequence[Part] = (),
    ) -> Visit:
        """Write a visit's rows under a free id; its files are the caller's matter."""
        if sha256 is not None and (known := self.visit_by_sha256(sha256)) is not None:
            raise BookError(f"This recording is in the book already, as visit {known.id}.")
        content = new.content
        absolute = content.time_base is TimeBase.ABSOLUTE
        plain = {
            "kind", "machine", "file", "format", "quality", "start_from", "date_only",
            "hours_start", "hours_end", "hours_from", "vin", "component", "filed_us",
            "unpacked_sha256",
        }  # fmt: skip
        of_content = {
            "first_us", "earliest_us", "latest_us", "frames", "error_frames", "remote_frames",
        }  # fmt: skip
        row: dict[str, Any] = {
            **{field: getattr(new, field) for field in plain},
            **{field: int(getattr(content, field)) for field in of_content},
            "id": id_,
            "sha256": sha256,
            "size": size,
            "time_base": content.time_base.value,
            "zero_us": new.zero_us if new.zero_us is not None or not absolute else 0,
            "channels_json": dumps(content.channels),
            "software_json": dumps(new.software),
            "recognised_by_json": dumps(new.recognised_by),
            "doubts_json": dumps((*content.doubts, *new.doubts)),
            "content_doubts_json": dumps(content.doubts),
        }
        self._run(insert(t.visits), [row])
        beside = [
            {"visit": id_, "seq": seq, "machine": machine} for seq, machine in enumerate(new.others)
        ]
        if beside:
            self._run(insert(t.visit_machines), beside)
        files = [{"visit": id_, "seq": seq, **asdict(one)} for seq, one in enumerate(parts)]
        if files:
            self._run(insert(t.visit_parts), files)
        for table, rows in content_rows(id_, new):
            self._run(insert(table), rows)
        self._checkpoint("rows written")
        return self.visit(id_)

    # -- by hand --------------------------------------------------------------------------------

    def add_note(
        self, new: NewNote, stage: StagedVisit | None = None, *, wish: str | None = None
    ) -> Note:
        """Add a note to the visit by hand that was filed for it; `stage` holds its attachments."""
        id_ = self.fresh_id(NOTE, t.notes, wish)
        row = {field: id_ if field == "id" else getattr(new, field) for field in _names(t.notes)}
        self._run(insert(t.notes), [row])
        kept = [
            {"note": id_, "seq": seq, "sha256": one.sha256, "name": one.name,
             "media_type": one.media_type}
            for seq, one in enumerate(new.attachments)
        ]  # fmt: skip
        if kept:
            self._run(insert(t.note_attachments), kept)
        if stage is not None:
            self.settle_with(stage)
        return self.note(id_)

    def add_repair(
        self,
        machine: str,
        text: str,
        *,
        now_us: Instant,
        faults: tuple[str, ...] = (),
        hours: float | None = None,
        date_us: Instant | None = None,
        date_only: bool = False,
        parts: str | None = None,
        cost: float | None = None,
        minutes: float | None = None,
        wish: str | None = None,
    ) -> Repair:
        """Add a repair and the faults it was meant for."""
        id_ = self.fresh_id(REPAIR, t.repairs, wish)
        row = {
            "id": id_, "machine": machine, "text": text, "hours": hours, "date_us": date_us,
            "date_only": date_only, "parts": parts, "cost": cost, "minutes": minutes,
            "withdrawn": False, "created_us": now_us,
        }  # fmt: skip
        self._run(insert(t.repairs), [row])
        self._set_repair_faults(id_, faults)
        return self.repair(id_)

    def _set_repair_faults(self, repair: str, faults: tuple[str, ...]) -> None:
        self._run(delete(t.repair_faults).where(t.repair_faults.c.repair == repair))
        rows = [
            {"repair": repair, "seq": seq, "fault": fault}
            for seq, fault in enumerate(dict.fromkeys(faults))
        ]
        if rows:
            self._run(insert(t.repair_faults), rows)

    def change_repair(
        self, id_: str, *, faults: tuple[str, ...] | None = None, **changes: Any
    ) -> Repair:
        """Change any of `text`, `hours`, `date_us`, `date_only`, `parts`, `cost`, `minutes`,
        `withdrawn` or the `faults` of a repair. Raises NotInBook.
        """
        allowed = (
            "text", "hours", "date_us", "date_only", "parts", "cost", "minutes", "withdrawn",
        )  # fmt: skip
        self._change(t.repairs, id_, changes, allowed)
        if faults is not None:
            self._set_repair_faults(id_, faults)
        return self.repair(id_)

    def withdraw_repair(self, id_: str) -> Repair:
        """Mark a repair as not done after all; it stays in the book. Raises NotInBook."""
        return self.change_repair(id_, withdrawn=True)

    def set_setting(self, key: str, value: Any) -> None:
        """Keep a setting (any JSON value); None forgets it."""
        self._run(delete(t.settings).where(t.settings.c.key == key))
        if value is not None:
            self._run(insert(t.settings), [{"key": key, "value_json": dumps(value)}])

    # -- the end --------------------------------------------------------------------------------

    def settle(self) -> None:
        """Move the files of this transaction into place; `Book.writing` calls it."""
        with told(self.folder):
            for stage in self._stages:
                stage.settle()

    def unsettle(self, is_referenced: Callable[[Path], bool]) -> None:
        """Take files back that no committed row refers to; `Book.writing` calls it."""
        for stage in self._stages:
            stage.unsettle(is_referenced)
