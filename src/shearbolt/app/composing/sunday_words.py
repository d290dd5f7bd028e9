"""Sunday evening: one page, at most two lines a machine, each with something to do."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime

from shearbolt.app.composing.check_words import check_title
from shearbolt.app.composing.faults import words_by_id
from shearbolt.app.composing.planning_words import (
    LISTEN,
    LISTEN_MIN,
    MOST_MIN,
    WALK_MIN,
    WALK_ROUND,
    entries,
    hours_text,
    pressing,
    short,
)
from shearbolt.app.composing.tables import FactTables
from shearbolt.app.documents import ServiceEntry, SundayDocument, SundayMachine
from shearbolt.app.planned import Planned
from shearbolt.dictionary.advice_kinds import AdviceClass
from shearbolt.model.instants import Instant, to_iso

ROOM = 80
"""Marks that fit on a line, the machine's name included."""
VERDICTS: Mapping[AdviceClass, str] = {
    "stop_now": "leave it standing",
    "finish_gently": "may finish gently",
    "keep_working": "may go",
    "note_only": "may go",
}
CARE = ("stop_now", "finish_gently", "keep_working", "note_only")
READY_MIN = 5.0
"""Laying ready what a service needs (own choice)."""


def sunday_document(
    fleet: Sequence[Planned],
    tables: FactTables,
    at_us: Instant,
    window_h: float,
    window_days: float,
) -> SundayDocument:
    """Tell every machine in two lines, what needs attention first first."""
    machines = [_machine(one, tables, window_h, window_days) for one in fleet]
    machines.sort(
        key=lambda one: (
            CARE.index(one["advice"]) if one["advice"] is not None else 1.5,
            one["looked_at"],
            one["machine_name"].casefold(),
        )
    )
    return {
        "schema": "shearbolt/sunday/1",
        "as_of": to_iso(at_us),
        "window_hours": window_h,
        "window_days": window_days,
        "machines": machines,
        "minutes": sum(one["minutes"] for one in machines),
    }


def _machine(
    one: Planned, tables: FactTables, window_h: float, window_days: float
) -> SundayMachine:
    due = pressing(entries(one, window_h, window_days))
    do, minutes = _to_do(one, due, tables)
    fresh = one.fresh
    return {
        "machine": one.id,
        "machine_name": one.name,
        "advice": one.concluded.advice.advice,
        "looked_at": not fresh.not_looked_at_since,
        "hours_since": fresh.hours,
        "days_since": fresh.days,
        "says": _says(one, tables),
        "do": do,
        "minutes": minutes,
        "service": due,
    }


def _says(one: Planned, tables: FactTables) -> str:
    """Say how it stands; 'may go' no longer stands when nobody has looked for too long."""
    advice = one.concluded.advice
    old = one.fresh.not_looked_at_since
    words = "nothing can be said of today" if advice.advice is None else VERDICTS[advice.advice]
    old_words = f"not looked at since{_since(one)}"
    if old and advice.advice in ("keep_working", "note_only"):
        words = old_words
    elif old:
        words = f"{words}; {old_words}"
    room = ROOM - len(one.name) - len(": ") - len(words)
    if advice.fault is not None and advice.advice in ("stop_now", "finish_gently") and room > 16:
        return f"{words}; {short(words_by_id(one.record, tables)(advice.fault), room - 2)}"
    return words


def _since(one: Planned) -> str:
    fresh = one.fresh
    if fresh.days is not None and fresh.days >= 1.0 and one.now.at_us is not None:
        seen = datetime.fromtimestamp((one.now.at_us / 1e6) - fresh.days * 86400).astimezone()
        return f" {seen.day} {seen:%b}" if fresh.days < 300 else f" {seen.day} {seen:%b %Y}"
    return f", {hours_text(fresh.hours)} ago" if fresh.hours is not None else ""


def _to_do(one: Planned, due: Sequence[ServiceEntry], tables: FactTables) -> tuple[str, float]:
    """Choose something to do in under fifteen minutes, and give it with its minutes."""
    concluded = one.concluded
    named = words_by_id(one.record, tables)
    for fault in concluded.order:
        judged = concluded.standings.get(fault)
        if judged is None or judged.stale or judged.state == "cleared":
            continue
        for check in concluded.checks.get(fault, ()):
            if (
                check.not_possible_because is None
                and check.minutes < MOST_MIN
                and (check.by != "technician")
            ):
                what = f"{check_title(check.check).rstrip('.')} (for {named(fault)})"
                return what, check.minutes
    for entry in due:
        if entry["minutes"] is not None and entry["minutes"] < MOST_MIN:
            return f"Service: {entry['text']}", entry["minutes"]
    if one.fresh.not_looked_at_since and one.concluded.advice.advice != "stop_now":
        return LISTEN, LISTEN_MIN
    watched = _watched(one)
    if watched is not None and one.concluded.advice.advice != "stop_now":
        return f"Listen once more: {watched}", LISTEN_MIN
    if due:
        return f"Lay ready what '{due[0]['text']}' needs", READY_MIN
    return WALK_ROUND, WALK_MIN


def _watched(one: Planned) -> str | None:
    """Name a repair whose answer is still to come."""
    texts = {each.repair: each.text for each in one.case.repairs}
    for told in one.concluded.followups.values():
        for followup in reversed(told):
            if followup.result == "too_early" and followup.repair in texts:
                return f"whether '{texts[followup.repair]}' held"
    return None
