"""The demo: a season of the proving ground, written as recordings and filed like any other.

Machines that share nothing live in processes of their own, each writing its recordings; what was
written down by hand and what is true of it all lies beside them in one file, and a folder made
before is taken as it is.
"""

from __future__ import annotations

import json
import os
from collections.abc import Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from dataclasses import asdict, dataclass
from multiprocessing import get_context
from pathlib import Path
from typing import Any

from shearbolt.app.bringing import bring
from shearbolt.app.documents import NoteAsked, Progress
from shearbolt.app.filing import Asked, Filed
from shearbolt.app.notes import file_note
from shearbolt.app.now import now_us
from shearbolt.app.writing_out import write_recording
from shearbolt.book import Book
from shearbolt.model.instants import HOUR_US, from_iso
from shearbolt.proving import (
    GROUPS,
    Season,
    WrittenNote,
    WrittenRepair,
    as_json,
    demo_group,
    play_look,
    together,
)

TRUTH = "truth.json"
"""What was written by hand and what is true, beside the recordings."""
_DAY_US = 24 * HOUR_US


@dataclass(frozen=True, slots=True)
class Written:
    """One recording of the season as a file."""

    file_name: str
    machines: tuple[str, ...]
    """Names of those that took part, as their people call them: the one recorded first."""
    told: bool
    """Something on its bus says which machine it is."""
    given_start: str | None
    """When it began, where its own times do not say: as a person would say it."""


@dataclass(frozen=True, slots=True)
class DemoSeason:
    """A season on disk."""

    folder: Path
    written: tuple[Written, ...]
    """In the order of their days."""
    notes: tuple[WrittenNote, ...]
    repairs: tuple[WrittenRepair, ...]

    def path(self, one: Written) -> Path:
        """Return where a recording lies."""
        return self.folder / one.file_name


def write_season(
    folder: Path, progress: Progress, groups: Sequence[int] | None = None
) -> DemoSeason:
    """Write the season's recordings (of some groups of machines, None: all) into a folder.

    A folder that holds them already is left as it is.
    """
    numbers = tuple(range(len(GROUPS)) if groups is None else groups)
    made = _made_before(folder, numbers)
    if made is not None:
        return made
    folder.mkdir(parents=True, exist_ok=True)
    progress(0, len(numbers), "Living through the season")
    parts: dict[int, tuple[Season, list[tuple[Written, Any]]]] = {}
    if len(numbers) == 1 or (os.cpu_count() or 1) == 1:
        for number in numbers:
            parts[number] = _make(number, str(folder))
            progress(len(parts), len(numbers), f"Written {_names(parts[number][0])}")
    else:
        with ProcessPoolExecutor(
            min(len(numbers), os.cpu_count() or 1), mp_context=get_context("spawn")
        ) as pool:
            # Those with the most to live through come first in the list.
            tasks = {pool.submit(_make, number, str(folder)): number for number in numbers}
            for task in as_completed(tasks):
                parts[tasks[task]] = task.result()
                whom = _names(parts[tasks[task]][0])
                progress(len(parts), len(numbers), f"Written {whom}")
    return _put_down(folder, numbers, [parts[number] for number in numbers])


def _names(one: Season) -> str:
    return " and ".join(machine.name for machine in one.truth.machines)


def _make(number: int, folder: str) -> tuple[Season, list[tuple[Written, Any]]]:
    """Live one group's season and write its recordings; in a process of its own."""
    lived = demo_group(number)
    rows: list[tuple[Written, Any]] = []
    for look in lived.looks:
        one = play_look(look)
        write_recording(Path(folder) / one.file_name, one.file_format, one.frames)
        main = one.truth.machines[0]
        told = main.vin_told or any(each.claimed for each in main.controllers)
        start = one.truth.started_truly if one.truth.time_base == "relative" else None
        rows.append(
            (
                Written(
                    one.file_name, tuple(each.name for each in one.truth.machines), told, start
                ),
                as_json(one.truth),
            )
        )
    return Season(lived.seed, (), lived.notes, lived.repairs, lived.truth), rows


def _put_down(
    folder: Path,
    numbers: tuple[int, ...],
    parts: Sequence[tuple[Season, list[tuple[Written, Any]]]],
) -> DemoSeason:
    """Write down what is true, last of all: a folder with it is whole."""
    whole = together([one for one, _ in parts])
    rows = sorted((row for _, few in parts for row in few), key=lambda one: _started(one[1]))
    document = {
        "groups": list(numbers),
        "recordings": [{**asdict(one), "truth": truth} for one, truth in rows],
        "notes": [asdict(one) for one in whole.notes],
        "repairs": [asdict(one) for one in whole.repairs],
        "season": as_json(whole.truth),
    }
    part = folder / f".{TRUTH}-part"
    part.write_text(json.dumps(document, indent=1), encoding="utf-8")
    part.replace(folder / TRUTH)
    return DemoSeason(folder, tuple(one for one, _ in rows), whole.notes, whole.repairs)


def _started(truth: Mapping[str, Any]) -> str:
    return str(truth["started_truly"])


def _made_before(folder: Path, numbers: tuple[int, ...]) -> DemoSeason | None:
    """Read a season that lies there already; None: there is none, or not all of it."""
    try:
        document = json.loads((folder / TRUTH).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return None
    if document["groups"] != list(numbers):
        return None
    written = tuple(
        Written(one["file_name"], tuple(one["machines"]), one["told"], one["given_start"])
        for one in document["recordings"]
    )
    if not all((folder / one.file_name).exists() for one in written):
        return None
    notes = tuple(WrittenNote(**one) for one in document["notes"])
    repairs = tuple(
        WrittenRepair(
            one["machine"], one["date"], one["hours"], one["text"],
            tuple((spn, fmi) for spn, fmi in one["about"]), tuple(one["codes"]),
            tuple(one["repairs"]),
        )
        for one in document["repairs"]
    )  # fmt: skip
    return DemoSeason(folder, written, notes, repairs)


def file_season(
    opened: Book, season: DemoSeason, progress: Progress, processes: int | None = None
) -> tuple[list[Filed], list[tuple[str, str]]]:
    """File the recordings, then what was written down by hand, unless it is there already.

    Returns what was filed in the order of the days, and what was refused with the reason.
    """
    plain = [one for one in season.written if one.told and one.given_start is None]
    filed: dict[str, Filed] = {}
    refused: list[tuple[str, str]] = []
    names = {one.file_name: one.machines for one in season.written}

    def file(few: Sequence[Written], asked: Asked, at_once: int | None) -> None:
        brought = bring(
            opened, [str(season.path(one)) for one in few], asked, progress, processes=at_once
        )
        refused.extend(brought.refused)
        for path, one in zip(brought.taken, brought.filed, strict=True):
            filed[path.name] = one
        _name_machines(opened, [(one, names[path.name]) for path, one in
                                zip(brought.taken, brought.filed, strict=True)])  # fmt: skip

    file(plain, Asked(), processes)
    for one in season.written:
        if one not in plain:
            start = None if one.given_start is None else from_iso(one.given_start)
            file([one], Asked(None if one.told else one.machines[0], start), 1)
    if any(not one.already for one in filed.values()):
        _by_hand(opened, season, progress)
    return [filed[one.file_name] for one in season.written if one.file_name in filed], refused


def _name_machines(opened: Book, filed: Sequence[tuple[Filed, tuple[str, ...]]]) -> None:
    """Give machines met for the first time the names that their people use."""
    with opened.writing() as writer:
        for one, names in filed:
            for machine, name in zip((one.visit.machine, *one.visit.others), names, strict=False):
                if not writer.machine(machine).name_given:
                    writer.rename_machine(machine, name)


def _by_hand(opened: Book, season: DemoSeason, progress: Progress) -> None:
    """File notes and repairs in the order of their days."""
    steps: list[tuple[str, WrittenNote | WrittenRepair]] = [
        *((one.date, one) for one in season.notes),
        *((one.date, one) for one in season.repairs),
    ]
    for i, (_, one) in enumerate(sorted(steps, key=lambda step: step[0])):
        progress(i, len(steps), f"Writing down what people noted of {one.machine}")
        if isinstance(one, WrittenNote):
            file_note(opened, asked_of(one))
        else:
            _repair(opened, one)


def _repair(opened: Book, one: WrittenRepair) -> None:
    """File a repair for the faults that it was done for, as far as the book has met them."""
    machine = opened.machine(one.machine)
    concerned = tuple(
        fault.id
        for fault in opened.faults(machine.id)
        if (fault.spn, fault.fmi) in one.about or (fault.code or "")[:5] in one.codes
    )
    at_us = from_iso(one.date)
    with opened.writing() as writer:
        writer.add_repair(
            machine.id,
            one.text,
            now_us=now_us(),
            faults=concerned,
            hours=one.hours,
            date_us=at_us,
            date_only=at_us % _DAY_US == 0,
        )


def asked_of(note: WrittenNote) -> NoteAsked:
    """Turn a note of the season into what a person would type."""
    minutes = note.minutes_since_start
    return NoteAsked(
        text=note.text,
        machine=note.machine,
        hours=note.hours,
        date_us=from_iso(note.date),
        doing=note.doing,
        hot_cold=note.warmth,
        after_start=None if minutes is None else (f"{minutes:g} min" if minutes else "at once"),
        who=note.who,
        own_words=None if note.kind == "code" else note.kind,
    )


__all__ = ["TRUTH", "DemoSeason", "Written", "asked_of", "file_season", "write_season"]
