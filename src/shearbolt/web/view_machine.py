"""A machine: can I keep going, what is wrong with it, did the repairs hold. Pure."""

from __future__ import annotations

from dataclasses import dataclass

from shearbolt.app.documents import Fault, Followup, MachineDocument, Repair, VisitBrief
from shearbolt.web import phrases, words
from shearbolt.web.look import Look
from shearbolt.web.verdict import Verdict, fault_name, machine_verdict

_LOOKS_SHOWN = 6
_STATES = {"active": 0, "permanent": 1, "pending": 2, "previously_active": 3, "unknown": 4}


@dataclass(frozen=True, slots=True)
class FaultRow:
    """One fault in a few words."""

    fault: str
    name: str
    on: bool
    state: str
    kind: str
    """Class of its advice, or ''."""
    word: str
    last: str
    often: str
    code: str
    root: str
    root_name: str
    follows: tuple[FaultRow, ...] = ()
    """Faults that follow from this one."""


@dataclass(frozen=True, slots=True)
class RepairRow:
    """One repair, and whether it held."""

    text: str
    when: str
    hours: str
    results: tuple[tuple[str, str, str], ...]
    """Class of the answer, its word, its sentence; one a fault."""
    faults: tuple[tuple[str, str, tuple[tuple[str, str, str], ...]], ...]
    """Identifier and name of the faults it was meant for, and the answers for each."""


@dataclass(frozen=True, slots=True)
class LookRow:
    """One look at the machine."""

    visit: str
    what: str
    when: str
    hours: str
    words: str


@dataclass(frozen=True, slots=True)
class MachineShown:
    """A machine's page."""

    machine: str
    name: str
    verdict: Verdict
    seen: str
    old: bool
    hours: str
    now: tuple[FaultRow, ...]
    before: tuple[FaultRow, ...]
    memories: tuple[FaultRow, ...]
    wiped: tuple[FaultRow, ...]
    lamps: tuple[str, ...]
    odd: tuple[str, ...]
    limits: tuple[str, ...]
    repairs: tuple[RepairRow, ...]
    looks: tuple[LookRow, ...]
    older_looks: tuple[LookRow, ...]
    doubts: tuple[str, ...]
    facts: tuple[tuple[str, str], ...]
    controllers: tuple[tuple[str, str, str], ...]
    """Name, how it tells its faults, its numbers."""
    events: tuple[tuple[str, str], ...]


def machine_shown(document: MachineDocument, look: Look) -> MachineShown:
    """Make the page of a machine."""
    faults = sorted(document["faults"], key=lambda one: _STATES.get(one["state"], 5))
    by_id = {one["fault"]: one for one in faults}
    tops = [one for one in faults if one["root"] not in by_id]
    rows = [(one, fault_row(one, look, by_id)) for one in tops]
    open_now = ("active", "permanent", "pending")
    looks = [_look(one, look) for one in reversed(document["visits"])]
    last = document["visits"][-1] if document["visits"] else None
    return MachineShown(
        machine=document["machine"],
        name=document["machine_name"],
        verdict=machine_verdict(document, look),
        seen=_last_seen(last, look),
        old=last is None or phrases.old(last["end"], look),
        hours="" if document["engine_hours"] is None else phrases.hours(document["engine_hours"]),
        now=tuple(row for one, row in rows if not one["stale"] and one["state"] in open_now),
        before=tuple(
            row
            for one, row in rows
            if not one["stale"] and one["state"] in ("previously_active", "unknown")
        ),
        memories=tuple(row for one, row in rows if one["stale"]),
        wiped=tuple(row for one, row in rows if not one["stale"] and one["state"] == "cleared"),
        lamps=tuple(
            phrases.sentence(
                f"{', '.join(phrases.lamps_lit(one['lamps'])) or 'a lamp lit'}, and no code that "
                f"explains it: {phrases.when(one['start'], look, one['start_at_s'])}"
            )
            for one in document["lamp_without_code"]
        ),
        odd=tuple(
            phrases.sentence(one["words"])
            for one in (*document["odd_readings"], *document["drifts"])
        ),
        limits=tuple(phrases.sentence(one["words"]) for one in document["power_limits"]),
        repairs=tuple(repair_row(one, faults, look) for one in reversed(document["repairs"])),
        looks=tuple(looks[:_LOOKS_SHOWN]),
        older_looks=tuple(looks[_LOOKS_SHOWN:]),
        doubts=tuple(phrases.for_page(one) for one in document["doubts"]),
        facts=_facts(document),
        controllers=tuple(
            (
                phrases.sentence(one["label"] or one["function_text"] or "Controller").rstrip("."),
                words.MANNERS[one["dm1_manner"]],
                ", ".join(
                    part
                    for part in (
                        "" if one["address"] is None else f"address {one['address']}",
                        f"NAME {one['name']}" if one["name"] else "",
                        phrases.many(len(one["boxes"]), "box", "boxes")
                        if len(one["boxes"]) > 1
                        else "",
                    )
                    if part
                ),
            )
            for one in document["controllers"]
        ),
        events=tuple(
            (phrases.sentence(one["words"]), phrases.when(one["at"], look, one["at_s"]))
            for one in reversed(document["events"])
            if one["what"] not in ("repair", "note")
        ),
    )


def fault_row(fault: Fault, look: Look, others: dict[str, Fault] | None = None) -> FaultRow:
    """Put a fault in a few words, with those that follow from it."""
    others = others or {}
    advice = fault["advice"]
    last = fault["spells"][-1] if fault["spells"] else None
    root = others.get(fault["root"] or "")
    return FaultRow(
        fault=fault["fault"],
        name=fault_name(fault),
        on=fault["state"] == "active",
        state=state_of(fault),
        kind=advice["class"] if advice else "",
        word=words.ADVICE[advice["class"]] if advice else "",
        last=phrases.when(fault["last_seen"], look, fault["last_seen_at_s"])
        if fault["last_seen"] or last is None
        else phrases.when(last["end"], look, last["end_at_s"]),
        often=often(fault),
        code=code_of(fault),
        root=fault["root"] or "",
        root_name=fault_name(root) if root else "",
        follows=tuple(
            fault_row(one, look)
            for one in others.values()
            if one["root"] == fault["fault"] and one["fault"] != fault["fault"]
        ),
    )


def state_of(fault: Fault) -> str:
    """Say how a fault stands; of what a person wrote down nobody knows whether it is over."""
    if fault["kind"] in ("symptom", "hand") and fault["state"] == "active":
        return "Written down; nobody has said that it is over"
    return words.STATES[fault["state"]]


def often(fault: Fault) -> str:
    """Say how often the machine itself counted a fault; '' where it did not."""
    for one in reversed(fault["counts"]):
        if one["last"]:
            least = "at least " if one["at_least"] else ""
            return f"counted {least}{phrases.many(one['last'], 'time')} by the machine"
    return ""


def code_of(fault: Fault) -> str:
    """Write a fault's code as its numbers; a symptom has none."""
    if fault["kind"] == "symptom":
        return ""
    return phrases.code(fault["spn"], fault["fmi"], fault["code"], fault["spn_candidates"])


def repair_row(repair: Repair, faults: list[Fault], look: Look) -> RepairRow:
    """Put a repair in words, with the answer whether it held for each of its faults."""
    answers = {
        fault["fault"]: tuple(
            _answer(one) for one in fault["followups"] if one["repair"] == repair["repair"]
        )
        for fault in faults
    }
    names = {one["fault"]: fault_name(one) for one in faults}
    return RepairRow(
        text=phrases.sentence(repair["text"]).rstrip("."),
        when=phrases.when(repair["date"], look) if repair["date"] else "",
        hours="" if repair["hours"] is None else phrases.hours(repair["hours"]),
        results=tuple(answer for told in answers.values() for answer in told),
        faults=tuple((one, names.get(one, one), answers.get(one, ())) for one in repair["faults"]),
    )


def _answer(one: Followup) -> tuple[str, str, str]:
    """Give the class of an answer, its word, and its sentence without that word."""
    kind = one["result"] or "unknown"
    word = words.HELD[kind]
    told = one["words"] or ""
    head, colon, rest = told.partition(": ")
    if colon and word.casefold().endswith(head.casefold().removeprefix("did ")):
        told = rest
    return kind, word, phrases.sentence(told)


def _look(visit: VisitBrief, look: Look) -> LookRow:
    if visit["kind"] == "by_hand":
        told = phrases.sentence(visit["words"] or "written down").rstrip(".")
    elif visit["faults"]:
        told = f"{phrases.many(len(visit['faults']), 'fault')} told"
    else:
        told = "No fault told"
    return LookRow(
        visit=visit["visit"],
        what=words.KINDS[visit["kind"]],
        when=phrases.when(visit["start"], look, visit["start_at_s"]),
        hours=phrases.hour_span(visit["engine_hours_start"], visit["engine_hours_end"]),
        words=told,
    )


def _last_seen(last: VisitBrief | None, look: Look) -> str:
    if last is None:
        return "Never looked at."
    if last["end"] is None:
        return "Last looked at, when is not known."
    return f"Last looked at {phrases.ago(last['end'], look)}, {phrases.when(last['end'], look)}."


def _facts(document: MachineDocument) -> tuple[tuple[str, str], ...]:
    facts = (
        ("Identification number (VIN)", document["vin"] or ""),
        ("Component", (document["component"] or "").strip("*").replace("*", ", ")),
        ("Software", ", ".join(document["software"])),
        ("In this book", document["machine"]),
    )
    return tuple(one for one in facts if one[1])
