"""The yard: which machine needs somebody, and which can go out. Pure."""

from __future__ import annotations

from dataclasses import dataclass

from shearbolt.app.documents import YardDocument, YardMachine
from shearbolt.web import phrases, words
from shearbolt.web.look import Look
from shearbolt.web.verdict import yard_kind

_FAULTS_SHOWN = 2


@dataclass(frozen=True, slots=True)
class YardRow:
    """One machine of the yard."""

    machine: str
    name: str
    kind: str
    """Class of its advice, or 'none'."""
    word: str
    line: str
    faults: tuple[str, ...]
    more: int
    """Open faults beside those shown."""
    seen: str
    old: bool
    """The last look is too long ago to say much of today."""
    hours: str


@dataclass(frozen=True, slots=True)
class YardGroup:
    """Machines that may do the same."""

    head: str
    kind: str
    rows: tuple[YardRow, ...]


def yard_groups(document: YardDocument, look: Look) -> tuple[YardGroup, ...]:
    """Sort the fleet by what each may do; those that need somebody come first."""
    heads: dict[str, list[YardRow]] = {}
    kinds: dict[str, str] = {}
    for kind in words.ADVICE_ORDER:
        for machine in document["machines"]:
            if yard_kind(machine) == kind:
                head = words.YARD_HEADS[kind]
                heads.setdefault(head, []).append(_row(machine, kind, look))
                kinds.setdefault(head, kind)
    return tuple(YardGroup(head, kinds[head], tuple(rows)) for head, rows in heads.items())


def _row(machine: YardMachine, kind: str, look: Look) -> YardRow:
    shown = [one for one in machine["faults"] if one["root"] is None] or machine["faults"]
    shown = shown[:_FAULTS_SHOWN]
    return YardRow(
        machine=machine["machine"],
        name=machine["machine_name"],
        kind=kind,
        word=words.ADVICE[kind] if machine["advice"] else "",
        line=phrases.sentence(machine["words"] or ""),
        faults=tuple(_brief(one["text"], one["state"]) for one in shown),
        more=len(machine["faults"]) - len(shown),
        seen=_seen(machine, look),
        old=phrases.old(machine["last_visit_end"], look),
        hours="" if machine["engine_hours"] is None else phrases.hours(machine["engine_hours"]),
    )


def _brief(text: str, state: str) -> str:
    text = phrases.sentence(text).rstrip(".")
    return f"{text} (on)" if state == "active" else text


def _seen(machine: YardMachine, look: Look) -> str:
    if machine["last_visit"] is None:
        return "never looked at"
    if machine["last_visit_end"] is None:
        return "looked at, time not known"
    return f"looked at {phrases.ago(machine['last_visit_end'], look)}"
