"""A machine's whole record as one folder of open formats."""

from __future__ import annotations

import csv
import hashlib
import json
import shutil
from collections.abc import Iterable
from io import StringIO
from pathlib import Path

from shearbolt.app.composing.faults import machine_faults
from shearbolt.app.composing.machines import machine_document
from shearbolt.app.composing.tables import FactTables
from shearbolt.app.composing.tells import tells_document
from shearbolt.app.composing.visits import visit_document
from shearbolt.app.concluding.conclude import Conclusions
from shearbolt.app.concluding.record import MachineRecord
from shearbolt.app.documents import ExportDocument, FileWritten, Progress, SignalsAsked
from shearbolt.app.samples import signals_document
from shearbolt.book import Book, Visit
from shearbolt.errors import UsageError

README = """This folder holds everything that the book knows of one machine, in open formats.

machine.json       the machine, its controllers and visits
faults.json        its faults with spells, counts and freeze frames, and its repairs
faults.csv         the same faults, one line each
spells.csv         one line a spell
tells.json         which readings and manners it really has
visits/ID.json     each visit as it was filed
recordings/        the recordings themselves, byte for byte
signals/ID.parquet every decoded sample of a visit, with its unit

Times are UTC. The JSON documents are described in the project's docs/schemas.
"""


def export(
    book: Book,
    record: MachineRecord,
    tables: FactTables,
    concluded: Conclusions,
    folder: Path,
    progress: Progress,
) -> ExportDocument:
    """Write everything of a machine into a new folder; nothing stays there when it fails."""
    if folder.exists():
        raise UsageError(f"{folder}: there is something of this name already; choose a new one.")
    aside = folder.with_name(folder.name + ".part")
    if aside.exists():
        shutil.rmtree(aside)
    files: list[FileWritten] = []
    try:
        aside.mkdir(parents=True)
        write_file(aside, "README.txt", README.encode(), "what is what", files)
        machine = machine_document(record, tables, concluded)
        write_json(aside, "machine.json", machine, "the machine", files)
        faults = machine_faults(record, tables, concluded, visit=None, everything=True)
        write_json(aside, "faults.json", faults, "its faults and repairs", files)
        rows = [
            (
                one["fault"], one["text"], one["spn"], one["fmi"], one["code"], one["state"],
                one["stale"], one["controller_text"], one["first_seen"], one["last_seen"],
            )
            for one in faults["faults"]
        ]  # fmt: skip
        heads = (
            "fault", "text", "spn", "fmi", "code", "state", "stale", "controller", "first_seen",
            "last_seen",
        )  # fmt: skip
        write_csv(aside, "faults.csv", heads, rows, "its faults, one line each", files)
        spells = [
            (
                one["fault"], one["text"], spell["visit"], spell["start"], spell["start_at_s"],
                spell["end"], spell["end_at_s"], spell["ended_by"], spell["count_start"],
                spell["count_end"],
            )
            for one in faults["faults"]
            for spell in one["spells"]
        ]  # fmt: skip
        heads = (
            "fault", "text", "visit", "start", "start_at_s", "end", "end_at_s", "ended_by",
            "count_start", "count_end",
        )  # fmt: skip
        write_csv(aside, "spells.csv", heads, spells, "its spells, one line each", files)
        write_json(aside, "tells.json", tells_document(record, tables), "what it tells", files)
        for i, visit in enumerate(record.visits):
            progress(i, len(record.visits), f"Writing visit {visit.id}")
            _visit(book, visit, tables, aside, files, progress)
        aside.rename(folder)
    except OSError as trouble:
        raise UsageError(f"{folder} cannot be written: {trouble.strerror}.") from None
    finally:
        if aside.exists():
            shutil.rmtree(aside)
    return {
        "schema": "shearbolt/export/1",
        "machine": record.machine.id,
        "machine_name": record.machine.name,
        "folder": str(folder),
        "visits": len(record.visits),
        "faults": len(record.faults),
        "files": files,
    }


def _visit(
    book: Book,
    visit: Visit,
    tables: FactTables,
    aside: Path,
    files: list[FileWritten],
    progress: Progress,
) -> None:
    shown = visit_document(book, visit, tables)
    write_json(aside, f"visits/{visit.id}.json", shown, "a visit", files)
    if visit.sha256 is None:
        for note in book.notes(visit.machine):
            if note.visit != visit.id:
                continue
            for one in note.attachments:
                with book.open_attachment(one.sha256) as stream:
                    name = f"attachments/{visit.id}-{Path(one.name).name}"
                    write_file(aside, name, stream.read(), "a photo or voice clip", files)
        return
    name = f"recordings/{visit.id}-{Path(visit.file or 'recording').name}"
    target = aside / name
    target.parent.mkdir(parents=True, exist_ok=True)
    digest, size = hashlib.sha256(), 0
    with book.open_evidence(visit.id) as stream, target.open("wb") as out:
        while chunk := stream.read(1 << 20):
            digest.update(chunk)
            size += len(chunk)
            out.write(chunk)
    files.append(
        {"file": name, "bytes": size, "sha256": digest.hexdigest(), "words": "the recording"}
    )
    name = f"signals/{visit.id}.parquet"
    (aside / "signals").mkdir(exist_ok=True)
    signals_document(
        book,
        visit,
        tables,
        SignalsAsked(visit.id, parquet=str(aside / name)),
        with_samples=False,
        progress=progress,
    )
    data = (aside / name).read_bytes()
    files.append(
        {
            "file": name,
            "bytes": len(data),
            "sha256": hashlib.sha256(data).hexdigest(),
            "words": "its decoded samples",
        }
    )


def write_file(folder: Path, name: str, data: bytes, words: str, files: list[FileWritten]) -> None:
    """Write a file of the folder, and add it to the list of what was written."""
    target = folder / name
    target.parent.mkdir(parents=True, exist_ok=True)
    target.write_bytes(data)
    files.append(
        {
            "file": name,
            "bytes": len(data),
            "sha256": hashlib.sha256(data).hexdigest(),
            "words": words,
        }
    )


def write_json(
    folder: Path, name: str, document: object, words: str, files: list[FileWritten]
) -> None:
    """Write a document as JSON, UTF-8."""
    text = json.dumps(document, ensure_ascii=False, indent=1) + "\n"
    write_file(folder, name, text.encode(), words, files)


def write_csv(
    folder: Path,
    name: str,
    heads: Iterable[str],
    rows: Iterable[tuple[object, ...]],
    words: str,
    files: list[FileWritten],
) -> None:
    """Write rows as CSV, UTF-8."""
    out = StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(heads)
    writer.writerows(rows)
    write_file(folder, name, out.getvalue().encode(), words, files)
