"""Working on faults: checks done, causes found, repairs, and what was not so after all."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import cast, get_args

from shearbolt.app.composing.check_words import check_title, outcome_choices
from shearbolt.app.composing.faults import fault_document, words_by_id
from shearbolt.app.composing.work import check_entry, repair_entry
from shearbolt.app.concluding.kept import conclusions_of
from shearbolt.app.concluding.record import MachineRecord, read_machine
from shearbolt.app.documents import (
    CauseDocument,
    CheckAddDocument,
    ChecksDocument,
    RepairDocument,
    RepairsDocument,
    WithdrawnDocument,
    Wording,
)
from shearbolt.app.now import now_us
from shearbolt.app.repairs import faults_named
from shearbolt.app.use_cases.looking import fault as look_at_fault
from shearbolt.app.use_cases.opening import opened_book, tables_of
from shearbolt.book import records as r
from shearbolt.book.work_records import Grade
from shearbolt.dictionary.cause_priors import CAUSES
from shearbolt.dictionary.checks import checks
from shearbolt.errors import NotInBook, UsageError
from shearbolt.model.instants import HOUR_US, to_iso
from shearbolt.reasoning.checks import CheckContext, outcome_of

DAY_US = 24 * HOUR_US


def repair_add(
    book: Path,
    *,
    machine: str,
    faults: Sequence[str],
    hours: float,
    date_us: int | None,
    text: str,
    wording: Wording,
    parts: str | None = None,
    cost: float | None = None,
    minutes: float | None = None,
) -> RepairDocument:
    """File a repair; with no fault named it stands for the open ones that its text names."""
    if not text.strip():
        raise UsageError("Say what was done with --text.")
    if hours < 0:
        raise UsageError("Engine hours cannot be negative; check --hours.")
    now = now_us()
    with opened_book(book) as opened:
        tables = tables_of(opened)
        owner = opened.machine(machine)
        record = read_machine(opened, owner)
        if faults:
            concerned = _known_faults(record, faults)
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
                date_only=_day_only(date_us),
                parts=parts,
                cost=cost,
                minutes=minutes,
            )
    return _repair_document(repair, owner)


def repair_change(
    book: Path,
    which: str,
    *,
    faults: Sequence[str] | None,
    hours: float | None,
    date_us: int | None,
    text: str | None,
    wording: Wording,
    parts: str | None = None,
    cost: float | None = None,
    minutes: float | None = None,
) -> RepairDocument:
    """Correct a repair: only what is given changes. Raises NotInBook."""
    changes: dict[str, object] = {}
    if text is not None:
        if not text.strip():
            raise UsageError("Say what was done with --text.")
        changes["text"] = text.strip()
    if date_us is not None:
        changes |= {"date_us": date_us, "date_only": _day_only(date_us)}
    given = {"hours": hours, "parts": parts, "cost": cost, "minutes": minutes}
    changes |= {key: value for key, value in given.items() if value is not None}
    if not changes and faults is None:
        raise UsageError("Say what to change: --text, --hours, --date, --fault, --parts, --cost.")
    with opened_book(book) as opened:
        before = opened.repair(which)
        owner = opened.machine(before.machine)
        concerned = None
        if faults is not None:
            concerned = _known_faults(read_machine(opened, owner), faults)
        with opened.writing() as writer:
            repair = writer.change_repair(which, faults=concerned, **changes)
    return _repair_document(repair, owner)


def repair_list(book: Path, which: str, *, wording: Wording) -> RepairsDocument:
    """Show a machine's repairs, and whether they held. Raises NotInBook, Ambiguous."""
    with opened_book(book) as opened, opened.snapshot() as reads:
        owner = reads.machine(which)
        record = read_machine(reads, owner)
        tables = tables_of(opened)
        concluded = conclusions_of(opened, record, tables)
        shown = [fault_document(record, one, tables, concluded, wording) for one in record.faults]
        by_id = {one["fault"]: one for one in shown}
        repairs = reads.repairs(owner.id, withdrawn=True)
    return {
        "schema": "shearbolt/repairs/1",
        "machine": owner.id,
        "machine_name": owner.name,
        "repairs": [repair_entry(one, by_id) for one in repairs],
    }


def check_add(
    book: Path,
    *,
    fault: str,
    check: str,
    outcome: str | None,
    value: float | None,
    sensor_c: float | None,
    hours: float | None,
    date_us: int | None,
    who: str | None,
    note: str | None,
    wording: Wording,
) -> CheckAddDocument:
    """File what came of a check; the odds and the order of checks move at once.

    The outcome is named, or follows from the measured value. Raises NotInBook, UsageError.
    """
    if check not in checks():
        raise UsageError(
            f"There is no check {check!r}; `shearbolt fault {fault}` names its checks."
        )
    now = now_us()
    before = look_at_fault(book, fault, wording=wording)
    with opened_book(book) as opened:
        owner = opened.machine(before["machine"])
        record = read_machine(opened, owner)
        system_v = conclusions_of(opened, record, tables_of(opened)).system_v
        named = _outcome(check, outcome, value, CheckContext(system_v=system_v, sensor_c=sensor_c))
        with opened.writing() as writer:
            done = writer.add_check_done(
                owner.id,
                check,
                named,
                now_us=now,
                fault=before["fault"],
                value=value,
                hours=hours,
                date_us=now if date_us is None else date_us,
                date_only=_day_only(date_us),
                who=who,
                note=note,
            )
    after = look_at_fault(book, fault, wording=wording)
    return {
        "schema": "shearbolt/check-add/1",
        **check_entry(done, {after["fault"]: after["text"]}, wording),
        "machine": owner.id,
        "machine_name": owner.name,
        "suspects_before": before["suspects"],
        "suspects": after["suspects"],
        "probability_other": after["probability_other"],
        "checks": after["checks"],
    }


def check_list(book: Path, which: str, *, wording: Wording) -> ChecksDocument:
    """Show the checks done on a machine. Raises NotInBook, Ambiguous."""
    with opened_book(book) as opened, opened.snapshot() as reads:
        owner = reads.machine(which)
        record = read_machine(reads, owner)
        named = words_by_id(record, tables_of(opened))
        texts = {one.id: named(one.id) for one in record.faults}
        done = reads.checks_done(owner.id, withdrawn=True)
    return {
        "schema": "shearbolt/checks/1",
        "machine": owner.id,
        "machine_name": owner.name,
        "done": [check_entry(one, texts, wording) for one in done],
    }


def cause_add(
    book: Path,
    *,
    fault: str,
    cause: str,
    words: str,
    grade: str,
    repair: str | None,
    hours: float | None,
    date_us: int | None,
    who: str | None,
    wording: Wording,
) -> CauseDocument:
    """Keep a cause that a person confirmed, for this machine and its sisters."""
    if cause not in CAUSES:
        raise UsageError(f"{cause!r} is no cause class; there are: {', '.join(CAUSES)}.")
    if not words.strip():
        raise UsageError("Say in your own words what it was with --words.")
    if grade not in get_args(Grade):
        raise UsageError(f"{grade!r} is no way to confirm: {', '.join(get_args(Grade))}.")
    how = cast(Grade, grade)
    now = now_us()
    at_us = now if date_us is None else date_us
    with opened_book(book) as opened:
        found = opened.fault(fault)
        owner = opened.machine(found.machine)
        text = words_by_id(read_machine(opened, owner), tables_of(opened))(found.id)
        if repair is not None and opened.repair(repair).machine != owner.id:
            raise UsageError(f"Repair {repair} was done on another machine.")
        with opened.writing() as writer:
            kept = writer.add_cause_found(
                owner.id,
                found.id,
                cause,
                words.strip(),
                how,
                now_us=now,
                repair=repair,
                hours=hours,
                date_us=at_us,
                date_only=_day_only(date_us),
                who=who,
            )
    return {
        "schema": "shearbolt/cause/1",
        "cause_found": kept.id,
        "machine": owner.id,
        "machine_name": owner.name,
        "fault": found.id,
        "fault_text": text,
        "cause": cause,
        "words": kept.words,
        "grade": kept.grade,
        "hours": kept.hours,
        "date": to_iso(at_us),
        "who": kept.who,
    }


def withdraw(book: Path, which: str, *, wording: Wording) -> WithdrawnDocument:
    """Take back a repair, a check, a cause or a service: it stays in the book, and counts no more.

    Raises NotInBook.
    """
    with opened_book(book) as opened, opened.writing() as writer:
        if which.startswith("r"):
            words = writer.withdraw_repair(which).text
        elif which.startswith("k"):
            done = writer.check_done(which)
            words = check_title(done.check) if done.check in checks() else done.check
            writer.withdraw_work(which)
        elif which.startswith("a"):
            words = writer.cause_found(which).words
            writer.withdraw_work(which)
        elif which.startswith("j"):
            words = writer.service_job(which).text
            writer.withdraw_work(which)
        else:
            raise NotInBook(f"The book has no repair, check, cause or service job {which!r}.")
    return {"schema": "shearbolt/withdrawn/1", "entry": which, "words": words}


def _outcome(check: str, outcome: str | None, value: float | None, context: CheckContext) -> str:
    choices = dict(outcome_choices(check, system_v=context.system_v or 12))
    listed = "; ".join(f"{name} ({words})" for name, words in choices.items())
    if outcome is not None:
        plain = outcome.strip().casefold().replace(" ", "_").replace("-", "_")
        hits = [
            name
            for name, words in choices.items()
            if plain in (name, words.casefold().replace(" ", "_"))
        ]
        if not hits:
            raise UsageError(f"Check {check} has no outcome {outcome!r}; it has: {listed}.")
        return hits[0]
    if value is None:
        raise UsageError(f"Say what came of it with --outcome: {listed}.")
    named = outcome_of(check, value, context)
    if named is None:
        more = (
            " or the temperature there with --temperature"
            if checks()[check].measure in ("ntc", "pt", "cranking") and context.sensor_c is None
            else ""
        )
        raise UsageError(
            f"What {value:g} means in check {check} is not known here; say the outcome with "
            f"--outcome{more}: {listed}."
        )
    return named


def _known_faults(record: MachineRecord, faults: Sequence[str]) -> tuple[str, ...]:
    known = {one.id for one in record.faults}
    for one in faults:
        if one not in known:
            raise UsageError(f"{record.machine.name} has no fault {one!r}.")
    return tuple(dict.fromkeys(faults))


def _day_only(date_us: int | None) -> bool:
    return date_us is not None and date_us % DAY_US == 0


def _repair_document(repair: r.Repair, owner: r.Machine) -> RepairDocument:
    return {
        "schema": "shearbolt/repair/1",
        "repair": repair.id,
        "faults": list(repair.faults),
        "machine": owner.id,
        "machine_name": owner.name,
        "hours": repair.hours,
        "date": to_iso(repair.date_us) if repair.date_us is not None else None,
        "text": repair.text,
    }
