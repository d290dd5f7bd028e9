"""The sheet for a technician, put in words: what a stranger to the machine needs, on one page."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime, tzinfo

from shearbolt.app.composing.check_words import check_title
from shearbolt.app.composing.measures import measure
from shearbolt.app.composing.planning_words import share_text, short
from shearbolt.app.documents.asking import Units
from shearbolt.app.documents.fault import Evidence, Fault, Spell, Suspect
from shearbolt.app.documents.handed import HandoverSheet, SheetEvidence, SheetSuspect
from shearbolt.app.documents.machine import MachineDocument, TellsDocument
from shearbolt.app.documents.work import CheckDoneEntry, RepairEntry
from shearbolt.model.fault import COUNT_FULL
from shearbolt.model.instants import Instant, to_iso

MOST_SPELLS, MOST_SUSPECTS, MOST_EVIDENCE, MOST_STORED, MOST_DONE = 3, 3, 2, 8, 8
MOST_QUESTIONS, MOST_CAUTIONS = 6, 5
LONGEST = 400
"""Marks of one entry; the whole of it is in the folder."""
LEAST_DB = 1.0
"""Evidence that weighs less is left to the folder, in decibans."""
CALL = "call_workshop"
"""The check that hands it over: no question to the one who has it in hand."""
MIDNIGHT = "T00:00:00.000000Z"
STATES: Mapping[str, str] = {
    "active": "active at the last look",
    "previously_active": "was active before",
    "pending": "pending",
    "permanent": "permanent",
    "cleared": "cleared",
    "unknown": "state not known",
}
LAMPS: Mapping[str, str] = {
    "mil": "engine check lamp",
    "red_stop": "red stop lamp",
    "amber_warning": "amber warning lamp",
    "protect": "protect lamp",
}


def handover_sheet(
    fault: Fault,
    machine: MachineDocument,
    tells: TellsDocument,
    checks: Sequence[CheckDoneEntry],
    repairs: Sequence[RepairEntry],
    made_us: Instant,
    units: Units = "metric",
    zone: tzinfo | None = None,
) -> HandoverSheet:
    """Put the sheet together; times in `zone` (None: the computer's own)."""
    advice = fault["advice"]
    cautions = list(advice["cautions"]) if advice is not None else []
    for check in fault["checks"]:
        cautions += check["cautions"]
    return {
        "title": short(_upper(fault["text"]), LONGEST),
        "machine": machine["machine_name"],
        "facts": _facts(fault, machine),
        "advice": None
        if advice is None
        else f"{'' if advice['applies_now'] else 'If it is on: '}{advice['words']}",
        "when": _when(fault, machine, zone),
        "conditions": [short(one, LONGEST) for one in _conditions(fault)],
        "stored": _stored(fault, units),
        "suspects": [_suspect(one, fault["suspects"]) for one in fault["suspects"][:MOST_SUSPECTS]],
        "other": None
        if fault["probability_other"] is None
        else f"None of these: {share_text(fault['probability_other'])}",
        "done": _done(checks, repairs, zone),
        "tells": _tells(fault, tells),
        "questions": [short(one, LONGEST) for one in _questions(fault)[:MOST_QUESTIONS]],
        "cautions": list(dict.fromkeys(cautions))[:MOST_CAUTIONS],
        "made": f"Made {day(to_iso(made_us), zone)} from the record of {machine['machine_name']}: "
        "what its control units told, and what people wrote down. The evidence lies beside it.",
    }


def _suspect(one: Suspect, every: Sequence[Suspect]) -> SheetSuspect:
    """Tell a suspect with what speaks for or against it more than for or against the others."""
    shares: dict[str, list[float]] = {}
    for other in every:
        if other is not one:
            for piece in other["evidence"]:
                shares.setdefault(piece["words"], []).append(piece["weight_db"])
    told: list[tuple[float, Evidence]] = []
    for piece in one["evidence"]:
        others = shares.get(piece["words"], [])
        apart = abs(piece["weight_db"] - (sum(others) / len(others) if others else 0.0))
        if piece["counts"] and min(apart, abs(piece["weight_db"])) >= LEAST_DB:
            told.append((apart, piece))
    told.sort(key=lambda pair: -pair[0])
    evidence: list[SheetEvidence] = [
        {"words": piece["words"], "weight": weight_words(piece["weight_db"])}
        for _, piece in told[:MOST_EVIDENCE]
    ]
    return {
        "words": one["words"].rstrip("."),
        "chance": share_text(one["probability"]),
        "evidence": evidence,
    }


def weight_words(db: float) -> str:
    """Say a weight of evidence: which way, and how much (10 decibans: ten times the odds)."""
    side = "for" if db > 0 else "against"
    return f"{side} it, {10 ** (abs(db) / 10):.1f} times the odds".replace(".0 times", " times")


def day(time: str | None, zone: tzinfo | None = None) -> str:
    """Write the day of a time: '14 May 2026'."""
    if time is None:
        return "date not known"
    moment = datetime.fromisoformat(time)
    if not time.endswith(MIDNIGHT):
        moment = moment.astimezone(zone)
    return f"{moment.day} {moment:%b %Y}"


def _clock(time: str, zone: tzinfo | None) -> str:
    return f"{day(time, zone)}, {datetime.fromisoformat(time).astimezone(zone):%H:%M:%S}"


def _facts(fault: Fault, machine: MachineDocument) -> list[str]:
    code = fault["code"] or ""
    if code.casefold() == fault["text"].casefold():
        code = ""
    if fault["spn"] is not None:
        code = f"{code} SPN {fault['spn']} FMI {fault['fmi']}".strip()
    lit = [
        words for key, words in LAMPS.items() if fault["lamps"].get(key) in ("on", "slow", "fast")
    ]
    where = fault["controller_text"] or ""
    if fault["address"] is not None:
        where = f"{where} (address {fault['address']})".strip()
    hours = machine["engine_hours"]
    found = [
        code,
        where,
        f"NAME {fault['name']}" if fault["name"] else "",
        STATES[fault["state"]],
        ", ".join(lit),
        f"{hours:,.1f} engine hours at the last look" if hours is not None else "",
        f"VIN {machine['vin']}" if machine["vin"] else "",
        f"software {', '.join(machine['software'][:3])}" if machine["software"] else "",
        f"the manual of its owner says: {fault['own_text']}" if fault["own_text"] else "",
    ]
    return [one for one in found if one]


def _when(fault: Fault, machine: MachineDocument, zone: tzinfo | None) -> list[str]:
    spells = fault["spells"]
    said: list[str] = []
    if fault["stale"]:
        said.append("Known only as an old memory: it was never seen active.")
    if spells:
        days = {day(one["start"], zone) for one in spells if one["start"] is not None}
        times = "once" if len(spells) == 1 else f"{len(spells)} times"
        on = f" on {len(days)} days" if len(days) > 1 else ""
        said.append(
            f"Recorded {times}{on}; first seen {day(fault['first_seen'], zone)}, last "
            f"{day(fault['last_seen'], zone)}."
        )
    elif fault["first_seen"] is not None:
        said.append(
            f"First seen {day(fault['first_seen'], zone)}, last {day(fault['last_seen'], zone)}; "
            "no recording shows it active."
        )
    counts = [one["last"] for one in fault["counts"] if one["last"] is not None]
    if counts:
        more = " or more" if counts[-1] >= COUNT_FULL else ""
        said.append(f"Its control unit counts {counts[-1]} occurrences{more}.")
    said += [one["words"] for one in fault["unrecorded"][-1:]]
    hours = {one["visit"]: one["engine_hours_start"] for one in machine["visits"]}
    said += [_spell(one, hours.get(one["visit"]), zone) for one in spells[-MOST_SPELLS:]]
    if fault["trend"] is not None and fault["trend"]["direction"] != "unknown":
        said.append(fault["trend"]["words"])
    if fault["root_words"]:
        said.append(fault["root_words"])
    return [one for one in said if one]


def _spell(one: Spell, hours: float | None, zone: tzinfo | None) -> str:
    if one["start"] is None:
        start = f"{one['start_at_s'] or 0.0:,.0f} s from the first frame of its recording"
    else:
        start = _clock(one["start"], zone)
    before = "" if one["start_known"] else " or earlier"
    long_s = (one["end_at_s"] or 0.0) - (one["start_at_s"] or 0.0)
    length = f"{long_s:,.0f} s" if long_s < 120 else f"{long_s / 60:,.0f} min"
    at = f", in the recording from {hours:,.1f} h" if hours is not None else ""
    return f"{start}{before}, for {length}{at}."


def _conditions(fault: Fault) -> list[str]:
    setting = fault["setting"]
    if setting is None:
        return []
    said = [setting["words"]]
    said += [f"As likely by the data: {one['words']}" for one in setting["cannot_be_told_apart"]]
    return [one for one in said if one]


def _stored(fault: Fault, units: Units) -> list[str]:
    if not fault["freeze_frames"]:
        return []
    values = fault["freeze_frames"][-1]["values"]
    return [
        f"{one['text']} {measure(one['value'], one['unit'], units)}"
        for one in values
        if one["value"] is not None and one["unit"] != "state"
    ][:MOST_STORED]


def _done(
    checks: Sequence[CheckDoneEntry], repairs: Sequence[RepairEntry], zone: tzinfo | None
) -> list[str]:
    dated: list[tuple[str, str]] = []
    for one in checks:
        value = "" if one["value"] is None else f" ({one['value']:g} {one['unit'] or ''})"
        by = f", by {one['who']}" if one["who"] else ""
        note = f" ({one['note']})" if one["note"] else ""
        text = f"{one['title'].rstrip('.')}: {one['outcome_words'].rstrip('.')}"
        dated.append(
            (
                one["date"] or "",
                f"{_stamp(one['date'], one['hours'], zone)}{text}"
                f"{value.replace(' )', ')')}{by}{note}.",
            )
        )
    for each in repairs:
        came = " ".join(told["words"] or "" for told in each["followups"]).strip()
        parts = f" Parts: {each['parts'].rstrip('.')}." if each["parts"] else ""
        words = f"{each['text'].rstrip('.')}.{parts} {came}".rstrip()
        dated.append((each["date"] or "", f"{_stamp(each['date'], each['hours'], zone)}{words}"))
    dated.sort(key=lambda pair: pair[0])
    shown = [short(words, LONGEST) for _, words in dated[-MOST_DONE:]]
    if len(dated) > MOST_DONE:
        shown.insert(0, f"{len(dated) - MOST_DONE} earlier entries are in the folder.")
    return shown


def _stamp(date: str | None, hours: float | None, zone: tzinfo | None) -> str:
    parts = [day(date, zone)] if date is not None else []
    if hours is not None:
        parts.append(f"{hours:,.1f} h")
    return f"{', '.join(parts)}: " if parts else ""


def _tells(fault: Fault, tells: TellsDocument) -> list[str]:
    alive = sum(one["status"] == "alive" for one in tells["readings"])
    looks = "1 recording" if tells["visits"] == 1 else f"{tells['visits']} recordings"
    said = [f"{looks} of it, with {alive} readings that come by themselves."]
    mine = [one for one in tells["controllers"] if one["controller"] == fault["controller"]]
    for one in mine:
        if one["dm1_manner"] in ("while_active", "at_key_on", "never_heard"):
            said.append(
                {
                    "while_active": "Its control unit reports codes only while one is active.",
                    "at_key_on": "Its control unit reports codes only at key-on.",
                    "never_heard": "Its control unit was never heard to report codes by itself.",
                }[one["dm1_manner"]]
            )
    missing = fault["not_judged"][:2]
    return said + missing


def _questions(fault: Fault) -> list[str]:
    asked: list[str] = []
    setting = fault["setting"]
    if setting is not None and setting["would_tell"]:
        asked.append(setting["would_tell"])
    titles = [
        check_title(one["check"]).rstrip(".")
        for one in fault["checks"]
        if one["not_possible_because"] is None and one["check"] != CALL
    ]
    if titles:
        asked.append(f"Not checked yet: {'; '.join(titles)}.")
    for followup in fault["followups"]:
        if followup["result"] == "too_early" and followup["words"]:
            asked.append("Whether the last repair held cannot be said yet.")
            break
    return list(dict.fromkeys(asked))


def _upper(words: str) -> str:
    return words[:1].upper() + words[1:]
