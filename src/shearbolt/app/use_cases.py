"""One function a command: opens the book, does one thing, gives one document.

What decodes, draws on the proving ground or writes tables is imported by the functions that need
it: looking at the yard shall start at once.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from zipfile import ZipFile

from shearbolt import book as books
from shearbolt.app.composing.faults import (
    fault_document,
    machine_faults,
    read_machine,
    repair_shown,
)
from shearbolt.app.composing.machines import machine_document, yard_machine
from shearbolt.app.composing.tables import FactTables
from shearbolt.app.composing.tells import tells_document
from shearbolt.app.composing.visits import visit_document
from shearbolt.app.documents import (
    AddDocument,
    BackupDocument,
    CheckDocument,
    DemoDocument,
    ExportDocument,
    FaultDocument,
    FaultsDocument,
    ImportBookDocument,
    MachineDocument,
    NoteAsked,
    NoteDocument,
    OwnCodeAsked,
    OwnCodesDocument,
    OwnSignalsDocument,
    Progress,
    Refused,
    RenameDocument,
    RepairDocument,
    SignalsAsked,
    SignalsDocument,
    TellsDocument,
    VisitDocument,
    Wording,
    YardDocument,
)
from shearbolt.app.now import now_us
from shearbolt.app.repairs import faults_named
from shearbolt.book import Book
from shearbolt.dictionary.merged import dictionary_of
from shearbolt.dictionary.owner import parse_signals, parse_texts
from shearbolt.errors import ColumnsNeeded, DictionaryError, RecordingError, UsageError
from shearbolt.model.instants import HOUR_US, to_iso


def _opened(book: Path) -> Book:
    return Book.open(book)


def _tables(book: Book) -> FactTables:
    return FactTables(dictionary_of(book.owner.signals(), book.owner.codes()))


def add_recordings(
    book: Path,
    files: Sequence[str],
    *,
    machine: str | None,
    start_us: int | None,
    hours: float | None,
    columns: Mapping[str, str],
    progress: Progress,
    wording: Wording,
) -> AddDocument:
    """Bring recordings in, in the order of their own times; what cannot be is in `refused`.

    Raises Ambiguous, BookError, DictionaryError; UsageError for columns that do not fit, and
    ColumnsNeeded when the only file asks for them.
    """
    from shearbolt.app.filing import Asked, Filed, expand, file_recording, open_all
    from shearbolt.recordings import parse_columns

    wanted = ",".join(f"{key}={value}" for key, value in columns.items())
    asked = Asked(machine, start_us, hours, parse_columns(wanted) if columns else None)
    refused: list[Refused] = []
    filed: list[Filed] = []
    with _opened(book) as opened:
        tables = _tables(opened)
        try:
            recordings, not_taken = open_all(expand(files), asked)
        except ColumnsNeeded as trouble:
            if len(files) == 1:
                raise
            raise UsageError(f"{trouble.sentence} Bring that file in by itself.") from None
        refused.extend({"file": name, "reason": reason} for name, reason in not_taken)
        for _, path, recording in recordings:
            try:
                filed.append(
                    file_recording(opened, path, recording, tables.dictionary, asked, progress)
                )
            except RecordingError as trouble:
                refused.append({"file": str(path), "reason": trouble.reason})
        return {
            "schema": "shearbolt/add/1",
            "visits": [
                visit_document(opened, one.visit, tables, already=one.already) for one in filed
            ],
            "refused": refused,
        }


def note(book: Path, asked: NoteAsked, *, wording: Wording) -> NoteDocument:
    """File a note as a visit by hand; raises NoteNotUnderstood."""
    from shearbolt.app.notes import file_note

    with _opened(book) as opened:
        visit = file_note(opened, asked)
        shown = visit_document(opened, visit, _tables(opened))
    return {"schema": "shearbolt/note/1", **shown}


def yard(book: Path, *, wording: Wording) -> YardDocument:
    """Look at the fleet."""
    with _opened(book) as opened:
        return _yard(opened)


def _yard(opened: Book) -> YardDocument:
    tables = _tables(opened)
    with opened.snapshot() as reads:
        machines = [yard_machine(read_machine(reads, one), tables) for one in reads.machines()]
    machines.sort(key=lambda one: (-one["active"], -one["open"], one["machine_name"].casefold()))
    return {"schema": "shearbolt/yard/1", "machines": machines}


def machine(book: Path, which: str, *, wording: Wording) -> MachineDocument:
    """Look at one machine. Raises NotInBook, Ambiguous."""
    with _opened(book) as opened, opened.snapshot() as reads:
        found = reads.machine(which)
        notes = {one.visit: one.text for one in reads.notes(found.id)}
        return machine_document(read_machine(reads, found), _tables(opened), notes)


def visit(book: Path, which: str, *, wording: Wording) -> VisitDocument:
    """Look at one visit. Raises NotInBook."""
    with _opened(book) as opened, opened.snapshot() as reads:
        shown = visit_document(reads, reads.visit(which), _tables(opened))
    return {"schema": "shearbolt/visit/1", **shown}


def faults(
    book: Path,
    *,
    machine: str | None,
    visit: str | None,
    everything: bool,
    wording: Wording,
) -> FaultsDocument:
    """Look at faults; `everything` includes cleared and stale ones and clean machines."""

    with _opened(book) as opened:
        return _faults(opened, machine, visit, everything)


def _faults(
    opened: Book, machine: str | None, visit: str | None, everything: bool
) -> FaultsDocument:
    tables = _tables(opened)
    with opened.snapshot() as reads:
        chosen = [reads.machine(machine)] if machine is not None else reads.machines()
        if visit is not None:
            heard = reads.visit(visit)
            ids = {heard.machine, *heard.others}
            chosen = [one for one in chosen if one.id in ids]
        shown = [
            machine_faults(read_machine(reads, one), tables, visit=visit, everything=everything)
            for one in chosen
        ]
    if not everything and machine is None:
        shown = [one for one in shown if one["faults"] or one["lamp_without_code"]]
    return {"schema": "shearbolt/faults/1", "machines": shown}


def fault(book: Path, which: str, *, wording: Wording) -> FaultDocument:
    """Look at one fault. Raises NotInBook."""
    with _opened(book) as opened, opened.snapshot() as reads:
        found = reads.fault(which)
        owner = reads.machine(found.machine)
        record = read_machine(reads, owner)
        shown = fault_document(record, found, _tables(opened))
    return {
        "schema": "shearbolt/fault/1",
        "machine": owner.id,
        "machine_name": owner.name,
        "repairs": [repair_shown(one) for one in record.repairs if found.id in one.faults],
        **shown,
    }


def signals(
    book: Path,
    asked: SignalsAsked,
    *,
    with_samples: bool,
    progress: Progress,
    wording: Wording,
) -> SignalsDocument:
    """Give samples: in a file if one is named, else in the document if `with_samples`."""
    from shearbolt.app.samples import signals_document

    with _opened(book) as opened:
        return signals_document(
            opened,
            opened.visit(asked.visit),
            _tables(opened),
            asked,
            with_samples=with_samples,
            progress=progress,
        )


def tells(book: Path, which: str, *, wording: Wording) -> TellsDocument:
    """Say what a machine tells. Raises NotInBook, Ambiguous."""
    with _opened(book) as opened, opened.snapshot() as reads:
        return tells_document(read_machine(reads, reads.machine(which)), _tables(opened))


def export_machine(
    book: Path, which: str, folder: str, *, progress: Progress, wording: Wording
) -> ExportDocument:
    """Write everything of a machine as one folder."""
    from shearbolt.app.carrying import export

    with _opened(book) as opened:
        record = read_machine(opened, opened.machine(which))
        return export(opened, record, _tables(opened), Path(folder), progress)


def import_book(
    book: Path, folder: str, *, progress: Progress, wording: Wording
) -> ImportBookDocument:
    """Take in another book or a backup of one."""
    with _opened(book) as opened:
        progress(0, 0, "Taking in the other book")
        brought = books.import_book(opened, folder)
    return {
        "schema": "shearbolt/import-book/1",
        "folder": folder,
        "machines": [*brought.machines_new, *brought.machines_known],
        "visits_added": len(brought.visits_new),
        "visits_known": len(brought.visits_known),
        "repairs_added": len(brought.repairs_new),
        "refused": [
            *(_refused(one, "missing or damaged in the other book") for one in brought.damaged),
            *(_refused(one, "differs, and was left as it is here") for one in brought.left),
        ],
    }


def _refused(file: str, reason: str) -> Refused:
    return {"file": file, "reason": reason}


def backup(book: Path, target: str, *, progress: Progress, wording: Wording) -> BackupDocument:
    """Copy the whole book, and check the copy."""
    with _opened(book) as opened:
        done = books.backup(
            opened, target, lambda so_far, whole: progress(so_far, whole, "Copying the book")
        )
        machines = len(opened.machines())
    sound = not done.missing
    if done.path.is_dir():
        with Book.open(done.path, create=False) as copy:
            sound = sound and not books.check(copy)
    else:
        with ZipFile(done.path) as packed:
            sound = sound and packed.testzip() is None
    return {
        "schema": "shearbolt/backup/1",
        "target": str(done.path),
        "files": done.files,
        "bytes": done.size,
        "machines": machines,
        "visits": done.visits,
        "sound": sound,
    }


LOOKED_AT = {
    "record": "the record itself",
    "evidence": "recordings, against their hashes",
    "signals": "signals, every part read",
    "attachment": "photos and voice clips",
    "owner": "your own signals and code texts",
    "orphan": "files that nothing refers to",
}
"""What the integrity check looks at."""


def check(book: Path, *, progress: Progress, wording: Wording) -> CheckDocument:
    """Check the book's integrity."""
    with _opened(book) as opened:
        findings = books.check(
            opened, lambda so_far, whole: progress(so_far, whole, "Checking the book")
        )
        visits = opened.visits()
    counts = {
        "record": 1,
        "evidence": sum(one.sha256 is not None for one in visits),
        "signals": sum(one.frames > 0 for one in visits),
    }
    wrong = {one.what for one in findings}
    return {
        "schema": "shearbolt/check/1",
        "book": str(book),
        "sound": not findings,
        "looked_at": [
            {
                "words": words,
                "count": counts.get(what, sum(one.what == what for one in findings)),
                "sound": what not in wrong,
            }
            for what, words in LOOKED_AT.items()
            if what in counts or what in wrong
        ],
        "problems": [{"where": one.path, "words": one.words} for one in findings],
    }


def repair_add(
    book: Path,
    *,
    machine: str,
    faults: Sequence[str],
    hours: float,
    date_us: int | None,
    text: str,
    wording: Wording,
) -> RepairDocument:
    """File a repair; with no fault named it stands for the open ones that its text names."""
    if not text.strip():
        raise UsageError("Say what was done with --text.")
    if hours < 0:
        raise UsageError("Engine hours cannot be negative; check --hours.")
    now = now_us()
    with _opened(book) as opened:
        tables = _tables(opened)
        owner = opened.machine(machine)
        record = read_machine(opened, owner)
        if faults:
            known = {one.id for one in record.faults}
            for one in faults:
                if one not in known:
                    raise UsageError(f"{owner.name} has no fault {one!r}.")
            concerned = tuple(dict.fromkeys(faults))
        else:
            concerned = faults_named(text, record, tables)
        at_us = now if date_us is None else date_us
        with opened.writing() as writer:
            repair = writer.add_repair(
                owner.id,
                text.strip(),
                now_us=now,
                faults=concerned,
                hours=hours,
                date_us=at_us,
                date_only=date_us is not None and date_us % (24 * HOUR_US) == 0,
            )
    return {
        "schema": "shearbolt/repair/1",
        "repair": repair.id,
        "faults": list(repair.faults),
        "machine": owner.id,
        "machine_name": owner.name,
        "hours": repair.hours,
        "date": to_iso(at_us),
        "text": repair.text,
    }


def rename_machine(book: Path, which: str, new_name: str, *, wording: Wording) -> RenameDocument:
    """Give a machine another name."""
    if not new_name.strip():
        raise UsageError("Give the machine's new name.")
    with _opened(book) as opened, opened.writing() as writer:
        old = writer.machine(which)
        taken = [one for one in writer.machines() if one.id != old.id]
        if any(one.name.casefold() == new_name.strip().casefold() for one in taken):
            raise UsageError(f"Another machine is called {new_name.strip()!r} already.")
        renamed = writer.rename_machine(old.id, new_name)
    return {
        "schema": "shearbolt/rename/1",
        "machine": renamed.id,
        "machine_name": renamed.name,
        "old_name": old.name,
    }


def own_signal_add(
    book: Path, rows_file: str, *, tried_on: str, wording: Wording
) -> OwnSignalsDocument:
    """Try rows on a visit or recording and keep them."""
    return _own_signals(book, rows_file, tried_on, kept=True)


def own_signal_try(
    book: Path, rows_file: str, *, tried_on: str, wording: Wording
) -> OwnSignalsDocument:
    """Try rows on a visit or recording without keeping them."""
    return _own_signals(book, rows_file, tried_on, kept=False)


def _own_signals(book: Path, rows_file: str, tried_on: str, *, kept: bool) -> OwnSignalsDocument:
    from shearbolt.app import own

    rows = own.read_rows(rows_file)
    if not rows:
        raise DictionaryError(f"{rows_file} holds no row.")
    with _opened(book) as opened:
        tried = own.try_rows(opened, rows, tried_on)
        if kept:
            own.keep_rows(opened, rows)
    return {
        "schema": "shearbolt/own-signals/1",
        "tried_on": tried_on,
        "kept": kept,
        "signals": tried,
    }


def own_signal_list(book: Path, *, wording: Wording) -> OwnSignalsDocument:
    """List the owner's signals."""
    from shearbolt.app import own

    with _opened(book) as opened:
        text = opened.owner.signals()
    rows = parse_signals(text) if text.strip() else ()
    return {
        "schema": "shearbolt/own-signals/1",
        "tried_on": None,
        "kept": True,
        "signals": [own.own_signal(row, None) for row in rows],
    }


def own_code_add(book: Path, asked: OwnCodeAsked, *, wording: Wording) -> OwnCodesDocument:
    """Keep a code text."""
    from shearbolt.app import own

    with _opened(book) as opened:
        return own.codes_document(opened, [own.keep_code(opened, asked)])


def own_code_list(book: Path, *, wording: Wording) -> OwnCodesDocument:
    """List the owner's code texts."""
    from shearbolt.app import own

    with _opened(book) as opened:
        text = opened.owner.codes()
        return own.codes_document(opened, parse_texts(text) if text.strip() else ())


def demo(book: Path, folder: str, *, progress: Progress, wording: Wording) -> DemoDocument:
    """Generate recordings in `folder`, file them with the season's notes, and show them."""
    from shearbolt.app import demo as season

    written = season.write_season(Path(folder), progress)
    total: AddDocument = {"schema": "shearbolt/add/1", "visits": [], "refused": []}
    new = False
    for path, recording in written:
        told = add_recordings(
            book,
            [str(path)],
            machine=season.asked_machine(recording),
            start_us=season.given_start_us(recording),
            hours=None,
            columns={},
            progress=progress,
            wording=wording,
        )
        new = new or any(not one["already_in_book"] for one in told["visits"])
        season.name_machines(book, told, recording)
        total["visits"].extend(told["visits"])
        total["refused"].extend(told["refused"])
    if new:
        for one in season.demo_notes():
            note(book, season.asked_of(one), wording=wording)
    with _opened(book) as opened:
        names = {one.id: one.name for one in opened.machines()}
        for visit in total["visits"]:
            visit["machine_name"] = names[visit["machine"]]
        return {
            "schema": "shearbolt/demo/1",
            "folder": folder,
            "book": str(book),
            "files": [str(path) for path, _ in written],
            "add": total,
            "yard": _yard(opened),
            "faults": _faults(opened, None, None, everything=False),
        }
