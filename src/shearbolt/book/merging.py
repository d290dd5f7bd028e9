"""Another book, or a backup, taken into this one: nothing twice, nothing lost, in one step."""

from __future__ import annotations

import sqlite3
import zipfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path, PurePosixPath
from typing import Protocol

from sqlalchemy import select

from shearbolt.book import schema as t
from shearbolt.book.copies import copy_file, copy_record
from shearbolt.book.durable import make_folder, remove, sync_file
from shearbolt.book.evidence import attachment_path, evidence_path, hash_file, verify_evidence
from shearbolt.book.ids import VISIT
from shearbolt.book.owner import OwnerFiles
from shearbolt.book.reads import Reads
from shearbolt.book.record import RECORD, Book
from shearbolt.book.records import Machine, NewNote, NewVisit, Part, Visit
from shearbolt.book.staging import Stage
from shearbolt.book.telling import told
from shearbolt.book.work_merging import WorkMerge
from shearbolt.book.writer import SIGNALS, Writer
from shearbolt.errors import BookDamaged, BookError


@dataclass(frozen=True, slots=True)
class Imported:
    """What an import brought, by the ids of this book."""

    machines_new: tuple[str, ...]
    machines_known: tuple[str, ...]
    visits_new: tuple[str, ...]
    visits_known: tuple[str, ...]
    notes_new: tuple[str, ...]
    repairs_new: tuple[str, ...]
    damaged: tuple[str, ...]
    """Files of the other book that are missing or damaged; what the record says came in."""
    left: tuple[str, ...]
    """Settings and owner's tables that differ and were left as they are here."""


class _Files(Protocol):
    """Files of the other book by their path in it."""

    def copy(self, name: str, target: Path) -> bool:
        """Copy one, synced; False: it is not there."""


class _FolderFiles:
    def __init__(self, root: Path) -> None:
        self._root = root

    def copy(self, name: str, target: Path) -> bool:
        source = self._root / name
        if not source.is_file():
            return False
        copy_file(source, target)
        return True


class _ZipFiles:
    def __init__(self, packed: zipfile.ZipFile) -> None:
        self._packed = packed

    def copy(self, name: str, target: Path) -> bool:
        try:
            source = self._packed.open(name)
        except KeyError:
            return False
        make_folder(target.parent)
        with source, target.open("wb") as out:
            while chunk := source.read(1 << 20):
                out.write(chunk)
        sync_file(target)
        return True


@contextmanager
def _opened(source: Path, aside: Path) -> Iterator[tuple[Book, _Files]]:
    """Open a private copy of the other record (it may be old, or on a medium that cannot be
    written), and its files where they are.
    """
    make_folder(aside)
    record = aside / RECORD
    if source.is_dir():
        if not (source / RECORD).is_file():
            raise BookError(f"{source}: there is no book in this folder.")
        try:
            copy_record(source / RECORD, record)
        except sqlite3.DatabaseError as trouble:
            raise BookDamaged(f"{source}: its record is damaged ({trouble}).") from trouble
        with Book.open(aside, create=False) as other:
            yield other, _FolderFiles(source)
        return
    try:
        packed = zipfile.ZipFile(source)
    except (zipfile.BadZipFile, FileNotFoundError) as trouble:
        raise BookError(
            f"{source}: this is neither a book's folder nor a backup of one ({trouble})."
        ) from trouble
    with packed:
        files = _ZipFiles(packed)
        try:
            if not files.copy(RECORD, record):
                raise BookError(f"{source}: there is no book in this file.")
            with Book.open(aside, create=False) as other:
                yield other, files
        except (zipfile.BadZipFile, EOFError) as trouble:
            raise BookDamaged(f"{source}: this backup is damaged ({trouble}).") from trouble


def import_book(book: Book, source: Path | str) -> Imported:
    """Take everything of another book (its folder, or a backup's folder or .zip) into this one.

    A machine is the same by VIN, by id, or when at least half of the NAMEs heard on the one with
    fewer are common to both; a visit by the hash of its recording, or by id and time of filing.
    Ids are kept where they are free here. All or nothing. Raises BookError, BookBusy, BookDamaged.
    """
    source = Path(source).absolute()
    if source == book.folder:
        raise BookError(f"{source}: this is the open book itself.")
    stage = Stage(book.folder, book.checkpoint)
    try:
        with told(source), _opened(source, stage.folder / "other") as (other, files):
            with other.snapshot() as theirs, book.writing() as w:
                merge = _Merge(w, theirs, files, stage)
                merge.run()
            _owner_tables(book, files, stage, merge)
    finally:
        stage.close()
    return merge.result()


@dataclass
class _Merge:
    w: Writer
    theirs: Reads
    files: _Files
    stage: Stage
    machines: dict[str, str] = field(default_factory=dict)
    controllers: dict[str, str] = field(default_factory=dict)
    faults: dict[str, str] = field(default_factory=dict)
    visits: dict[str, str] = field(default_factory=dict)
    new: dict[str, list[str]] = field(default_factory=dict)
    known: dict[str, list[str]] = field(default_factory=dict)
    damaged: list[str] = field(default_factory=list)
    left: list[str] = field(default_factory=list)

    def result(self) -> Imported:
        def of(where: dict[str, list[str]], kind: str) -> tuple[str, ...]:
            return tuple(dict.fromkeys(where.get(kind, ())))

        return Imported(
            of(self.new, "machines"),
            of(self.known, "machines"),
            of(self.new, "visits"),
            of(self.known, "visits"),
            of(self.new, "notes"),
            of(self.new, "repairs"),
            tuple(self.damaged),
            tuple(self.left),
        )

    def run(self) -> None:
        for machine in self.theirs.machines():
            self._machine(machine)
        for machine in self.theirs.machines():
            self._places(machine)
        for visit in self.theirs.visits():
            self._visit(visit)
        self._notes()
        self._repairs()
        WorkMerge(self.w, self.theirs, self.machines, self.controllers, self.faults).run()
        self._events()
        ours = self.w.settings()
        for key, value in self.theirs.settings().items():
            if key not in ours:
                self.w.set_setting(key, value)
            elif ours[key] != value:
                self.left.append(f"setting {key}")
        self.w.settle_with(self.stage)

    # -- machines and what is on them -----------------------------------------------------------

    def _same(self, theirs: Machine) -> Machine | None:
        fleet = self.w.machines()

        def may_be(ours: Machine) -> bool:
            return ours.vin is None or theirs.vin is None or ours.vin == theirs.vin

        if theirs.vin is not None:
            for ours in fleet:
                if ours.vin == theirs.vin:
                    return ours
        for ours in fleet:
            if ours.id == theirs.id and may_be(ours):
                return ours
        names = self.theirs.names_heard().get(theirs.id, set())
        heard = self.w.names_heard()
        hits = [
            ours
            for ours in fleet
            if may_be(ours)
            and (common := len(names & heard.get(ours.id, set())))
            and 2 * common >= min(len(names), len(heard[ours.id]))
        ]
        return hits[0] if len(hits) == 1 else None

    def _machine(self, theirs: Machine) -> None:
        ours = self._same(theirs)
        if ours is None:
            made = self.w.add_machine(
                theirs.name,
                name_given=theirs.name_given,
                now_us=theirs.created_us,
                kind=theirs.kind,
                vin=theirs.vin,
                note=theirs.note,
                wish=theirs.id,
            )
            self.machines[theirs.id] = made.id
            self.new.setdefault("machines", []).append(made.id)
            return
        changes: dict[str, str | bool | None] = {
            name: getattr(theirs, name)
            for name in ("kind", "vin", "note")
            if getattr(ours, name) is None and getattr(theirs, name) is not None
        }
        if theirs.name_given and not ours.name_given:
            changes |= {"name": theirs.name, "name_given": True}
        if changes:
            self.w.change_machine(ours.id, **changes)
        self.machines[theirs.id] = ours.id
        self.known.setdefault("machines", []).append(ours.id)

    def _places(self, machine: Machine) -> None:
        home = self.machines[machine.id]
        for theirs in self.theirs.controllers(machine.id):
            ours = next(
                (
                    one
                    for one in self.w.controllers(home)
                    if theirs.place is not None and one.place == theirs.place
                ),
                None,
            ) or self.w.ensure_controller(
                home,
                place=theirs.place,
                address=theirs.address,
                now_us=theirs.created_us,
                wish=theirs.id,
            )
            if ours.label is None and theirs.label is not None:
                self.w.label_controller(ours.id, theirs.label)
            self.controllers[theirs.id] = ours.id
        for fault in self.theirs.faults(machine.id):
            self.faults[fault.id] = self.w.ensure_fault(
                home,
                None if fault.controller is None else self.controllers[fault.controller],
                fault.kind,
                now_us=fault.created_us,
                spn=fault.spn,
                fmi=fault.fmi,
                code=fault.code,
                manufacturer_code=fault.manufacturer_code,
                function=fault.function,
                wish=fault.id,
            ).id

    # -- visits ---------------------------------------------------------------------------------

    def _known_visit(self, theirs: Visit) -> Visit | None:
        if theirs.sha256 is not None:
            return self.w.visit_by_sha256(theirs.sha256)
        found = self.w._rows(
            select(t.visits.c.id).where(
                t.visits.c.id == theirs.id,
                t.visits.c.filed_us == theirs.filed_us,
                t.visits.c.sha256.is_(None),
            )
        )
        return self.w.visit(found[0]["id"]) if found else None

    def _visit(self, theirs: Visit) -> None:
        ours = self._known_visit(theirs)
        if ours is not None:
            self.visits[theirs.id] = ours.id
            self.known.setdefault("visits", []).append(ours.id)
            return
        content = self.theirs.visit_content(theirs.id)
        id_ = self.w.fresh_id(VISIT, t.visits, theirs.id)
        new = NewVisit(
            kind=theirs.kind,
            machine=self.machines[theirs.machine],
            content=content,
            filed_us=theirs.filed_us,
            others=tuple(self.machines[one] for one in theirs.others),
            file=theirs.file,
            format=theirs.format,
            quality=theirs.quality,
            start_from=theirs.start_from,
            zero_us=theirs.zero_us,
            unpacked_sha256=theirs.unpacked_sha256,
            date_only=theirs.date_only,
            hours_start=theirs.hours_start,
            hours_end=theirs.hours_end,
            hours_from=theirs.hours_from,
            vin=theirs.vin,
            component=theirs.component,
            software=theirs.software,
            recognised_by=theirs.recognised_by,
            doubts=theirs.doubts[len(content.doubts) :],
            controllers=tuple(
                None if one is None else self.controllers[one]
                for one in self.theirs.visit_places(theirs.id)
            ),
            faults=tuple(
                None if one is None else self.faults[one]
                for one in self.theirs.visit_faults(theirs.id)
            ),
        )
        self._evidence(theirs)
        parts = self._signals(theirs.id, id_)
        self.w.file_rows(new, id_, theirs.sha256, theirs.size, parts)
        self.visits[theirs.id] = id_
        self.new.setdefault("visits", []).append(id_)

    def _fetch(self, path: Path) -> Path | None:
        """Copy a file of the other book into the stage, under the same path."""
        name = path.as_posix()
        staged = self.stage.folder / "files" / path
        if self.files.copy(name, staged):
            return staged
        self.damaged.append(f"{name}: missing")
        return None

    def _evidence(self, theirs: Visit) -> None:
        if theirs.sha256 is None:
            return
        path = evidence_path(Path(), theirs.sha256)
        staged = self._fetch(path)
        if staged is None:
            return
        wrong = verify_evidence(self.stage.folder / "files", theirs.sha256)
        if wrong is not None:
            self.damaged.append(f"{path.as_posix()}: {wrong}")
        else:
            self.stage.will_move(staged, self.w.folder / path)

    def _signals(self, theirs: str, ours: str) -> list[Part]:
        from shearbolt.book.signals import verify_part

        p = t.visit_parts
        rows = self.theirs._rows(select(p).where(p.c.visit == theirs).order_by(p.c.seq))
        parts = [Part(row["name"], row["rows"], row["size"], row["sha256"]) for row in rows]
        folder = self.stage.folder / "files" / SIGNALS / theirs
        for part in parts:
            if PurePosixPath(part.name).name != part.name:
                raise BookDamaged(f"{part.name!r} is no name of a file of signals.")
            path = Path(SIGNALS) / theirs / part.name
            if self._fetch(path) is None:
                continue
            wrong = verify_part(folder, part)
            if wrong is not None:
                self.damaged.append(f"{path.as_posix()}: {wrong}")
                remove(folder / part.name)
        if folder.is_dir():
            self.stage.will_move(folder, self.w.folder / SIGNALS / ours)
        return parts

    # -- by hand --------------------------------------------------------------------------------

    def _notes(self) -> None:
        here = {(one.id, one.created_us, one.text) for one in self.w.notes()}
        for note in self.theirs.notes():
            if (note.id, note.created_us, note.text) in here:
                continue
            for one in note.attachments:
                path = attachment_path(Path(), one.sha256)
                staged = self._fetch(path)
                if staged is None:
                    continue
                if hash_file(staged) == one.sha256:
                    self.stage.will_move(staged, self.w.folder / path)
                else:
                    self.damaged.append(f"{path.as_posix()}: holds other bytes than were kept")
            added = self.w.add_note(
                NewNote(
                    visit=self.visits[note.visit],
                    machine=self.machines[note.machine],
                    kind=note.kind,
                    text=note.text,
                    created_us=note.created_us,
                    fault=None if note.fault is None else self.faults[note.fault],
                    code=note.code,
                    hours=note.hours,
                    date_us=note.date_us,
                    date_only=note.date_only,
                    doing=note.doing,
                    hot_cold=note.hot_cold,
                    after_start_s=note.after_start_s,
                    driver=note.driver,
                    attachments=note.attachments,
                ),
                wish=note.id,
            )
            self.new.setdefault("notes", []).append(added.id)

    def _repairs(self) -> None:
        here = {(one.id, one.created_us): one for one in self.w.repairs(withdrawn=True)}
        for theirs in self.theirs.repairs(withdrawn=True):
            ours = here.get((theirs.id, theirs.created_us))
            if ours is None:
                ours = self.w.add_repair(
                    self.machines[theirs.machine],
                    theirs.text,
                    now_us=theirs.created_us,
                    faults=tuple(self.faults[one] for one in theirs.faults),
                    hours=theirs.hours,
                    date_us=theirs.date_us,
                    date_only=theirs.date_only,
                    parts=theirs.parts,
                    cost=theirs.cost,
                    minutes=theirs.minutes,
                    wish=theirs.id,
                )
                self.new.setdefault("repairs", []).append(ours.id)
            if theirs.withdrawn and not ours.withdrawn:
                self.w.withdraw_repair(ours.id)

    def _events(self) -> None:
        for machine in self.theirs.machines():
            home = self.machines[machine.id]
            here = {(one.id, one.created_us) for one in self.w.events(home)}
            for event in self.theirs.events(machine.id):
                if (event.id, event.created_us) in here:
                    continue
                self.w.add_event(
                    home,
                    event.kind,
                    now_us=event.created_us,
                    visit=None if event.visit is None else self.visits[event.visit],
                    controller=(
                        None if event.controller is None else self.controllers[event.controller]
                    ),
                    at_us=event.at_us,
                    hours=event.hours,
                    detail=event.detail,
                    wish=event.id,
                )


def _owner_tables(book: Book, files: _Files, stage: Stage, merge: _Merge) -> None:
    """Take the owner's tables where this book has none, and the rows it lacks where both have."""
    folder = stage.folder / "owners"
    for name in ("signals.csv", "codes.csv"):
        files.copy(f"owner/{name}", folder / "owner" / name)
    theirs = OwnerFiles(folder)
    for name, load, keep, save in (
        ("signals.csv", theirs.signals, book.owner.signals, book.owner.save_signals),
        ("codes.csv", theirs.codes, book.owner.codes, book.owner.save_codes),
    ):
        given, own = load().splitlines(), keep().splitlines()
        if not given or given == own:
            continue
        if not own:
            save("\n".join(given) + "\n")
        elif given[0] != own[0]:
            merge.left.append(f"owner/{name}")
        elif more := [line for line in given[1:] if line not in set(own)]:
            save("\n".join([*own, *more]) + "\n")
