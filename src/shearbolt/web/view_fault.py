"""A fault: what to do, what it may be, when it comes, what to check, did it hold. Pure."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from shearbolt.app.documents import (
    CheckDoneEntry,
    Evidence,
    FaultDocument,
    MachineDocument,
    Setting,
    Suspect,
)
from shearbolt.web import phrases, words
from shearbolt.web.look import Look
from shearbolt.web.verdict import CheckShown, Verdict, check_shown, fault_name, fault_verdict
from shearbolt.web.view_machine import (
    FaultRow,
    RepairRow,
    code_of,
    fault_row,
    often,
    repair_row,
    state_of,
)

_SPELLS_SHOWN = 5


@dataclass(frozen=True, slots=True)
class EvidenceShown:
    """One fact that was seen."""

    words: str
    speaks: str
    """Which way, and how strongly."""
    reason: str
    counts: bool
    """False: a stronger fact of the same kind says it already."""
    source: str
    visits: tuple[tuple[str, str], ...]
    """The looks that tell of it, and when."""


@dataclass(frozen=True, slots=True)
class SuspectShown:
    """A candidate cause."""

    words: str
    odds: str
    percent: int
    before: str
    """How likely it was before anything was seen; '' where that is much the same."""
    percent_before: int
    contributing: bool
    evidence: tuple[EvidenceShown, ...]


@dataclass(frozen=True, slots=True)
class DoneShown:
    """A check that somebody did."""

    title: str
    found: str
    when: str


@dataclass(frozen=True, slots=True)
class FaultShown:
    """A fault's page."""

    fault: str
    name: str
    table_text: str
    """Our own text, where the owner's stands in the name."""
    machine: str
    machine_name: str
    verdict: Verdict
    on: bool
    state: str
    stale: bool
    symptom: bool
    last: str
    often: str
    lamps: tuple[str, ...]
    lamps_sure: tuple[str, ...]
    root: FaultRow | None
    root_words: str
    follows: tuple[FaultRow, ...]
    setting: str
    setting_figures: tuple[str, ...]
    setting_others: tuple[str, ...]
    setting_would_tell: str
    trend: str
    cannot_tell: bool
    not_judged: tuple[str, ...]
    known_here: tuple[str, ...]
    suspects: tuple[SuspectShown, ...]
    other: str
    other_percent: int
    checks: tuple[CheckShown, ...]
    checks_done: tuple[DoneShown, ...]
    pictures: frozenset[str]
    """Those of its pictures that have something to show."""
    repairs: tuple[RepairRow, ...]
    figures: tuple[tuple[str, str], ...]
    spells: tuple[tuple[str, str, str], ...]
    """When, how it ended, and in which visit; the latest first."""
    older_spells: tuple[tuple[str, str, str], ...]
    unrecorded: tuple[str, ...]
    frozen: tuple[tuple[str, str, tuple[tuple[str, str, int], ...]], ...]
    """When told, visit, and the values: name, reading, number."""
    facts: tuple[tuple[str, str], ...]


def fault_shown(
    document: FaultDocument,
    machine: MachineDocument,
    look: Look,
    done: Sequence[CheckDoneEntry] = (),
) -> FaultShown:
    """Make the page of a fault; `machine` gives its neighbours, `done` the checks done there."""
    by_id = {one["fault"]: one for one in machine["faults"]}
    root = by_id.get(document["root"] or "")
    name = fault_name(document)
    table_text = phrases.sentence(document["text"]).rstrip(".")
    spells = tuple(
        (phrases.stretch(one, look), words.ENDED[one["ended_by"]], one["visit"])
        for one in reversed(document["spells"])
    )
    setting = document["setting"]
    trend = document["trend"]
    other = document["probability_other"]
    return FaultShown(
        fault=document["fault"],
        name=name,
        table_text="" if table_text == name else table_text,
        machine=document["machine"],
        machine_name=document["machine_name"],
        verdict=fault_verdict(document, look),
        on=document["state"] == "active",
        state=state_of(document),
        stale=document["stale"],
        symptom=document["kind"] == "symptom",
        last=phrases.when(document["last_seen"], look, document["last_seen_at_s"]),
        often=often(document),
        lamps=tuple(phrases.lamps_lit(document["lamps"])),
        lamps_sure=tuple(phrases.lamps_lit(document["lamps_sure"])),
        root=fault_row(root, look) if root is not None else None,
        root_words=phrases.sentence(document["root_words"] or ""),
        follows=tuple(
            fault_row(one, look)
            for one in machine["faults"]
            if one["root"] == document["fault"] and one["fault"] != document["fault"]
        ),
        setting=phrases.sentence(setting["words"]) if setting else "",
        setting_figures=_setting_figures(setting) if setting else (),
        setting_others=tuple(
            phrases.sentence(one["words"]) for one in setting["cannot_be_told_apart"]
        )
        if setting
        else (),
        setting_would_tell=phrases.sentence(setting["would_tell"] or "") if setting else "",
        trend=phrases.sentence(trend["words"]) if trend else "",
        cannot_tell=document["cannot_tell"],
        not_judged=tuple(phrases.sentence(one) for one in document["not_judged"]),
        known_here=tuple(phrases.sentence(one) for one in document["known_here"]),
        suspects=tuple(suspect_shown(one, look) for one in document["suspects"]),
        other=phrases.odds(other) if other is not None else "",
        other_percent=round(100 * (other or 0.0)),
        checks=_later_checks(document),
        checks_done=tuple(
            done_shown(one, look)
            for one in reversed(done)
            if one["fault"] == document["fault"] and not one["withdrawn"]
        ),
        pictures=_pictures(document, machine),
        repairs=tuple(repair_row(one, [document], look) for one in reversed(document["repairs"])),
        figures=_followup_figures(document),
        spells=spells[:_SPELLS_SHOWN],
        older_spells=spells[_SPELLS_SHOWN:],
        unrecorded=tuple(phrases.sentence(one["words"]) for one in document["unrecorded"]),
        frozen=tuple(
            (
                phrases.when(one["at"], look, one["at_s"]),
                one["visit"],
                tuple(
                    (
                        phrases.sentence(value["text"]).rstrip("."),
                        phrases.reading(value["value"], value["unit"], look),
                        value["spn"],
                    )
                    for value in one["values"]
                ),
            )
            for one in reversed(document["freeze_frames"])
        ),
        facts=_facts(document),
    )


def _later_checks(document: FaultDocument) -> tuple[CheckShown, ...]:
    """Give the checks but the first that can be done, which stands above by itself."""
    found = [check_shown(one, document["fault"]) for one in document["checks"]]
    first = next((i for i, one in enumerate(found) if not one.not_possible), None)
    return tuple(one for i, one in enumerate(found) if i != first)


def suspect_shown(one: Suspect, look: Look) -> SuspectShown:
    """Put a candidate cause in words, with what was seen of it."""
    percent, before = round(100 * one["probability"]), round(100 * one["odds_before"])
    return SuspectShown(
        words=phrases.sentence(one["words"] or words.CAUSES[one["cause"]]),
        odds=phrases.odds(one["probability"]),
        percent=percent,
        before=f"{before} % before anything was seen" if percent != before else "",
        percent_before=before,
        contributing=one["contributing"],
        evidence=tuple(_evidence(fact, look) for fact in one["evidence"]),
    )


def _evidence(fact: Evidence, look: Look) -> EvidenceShown:
    # Each look stands once, by its first moment.
    told = zip(fact["visits"], fact["at"], fact["at_s"], strict=False)
    visits = {visit: phrases.when(at, look, at_s) for visit, at, at_s in reversed(list(told))}
    reason = phrases.sentence(fact["reason"] or "")
    said = phrases.sentence(fact["words"])
    return EvidenceShown(
        words=said,
        speaks=_speaks(fact["weight_db"]),
        reason=reason if reason.rstrip(".") not in said else "",
        counts=fact["counts"],
        source=fact["source"],
        visits=tuple(reversed(visits.items())),
    )


def done_shown(one: CheckDoneEntry, look: Look) -> DoneShown:
    """Put a check that was done in words."""
    value = "" if one["value"] is None else phrases.reading(one["value"], one["unit"] or "", look)
    found = ": ".join(part for part in (value, one["outcome_words"]) if part)
    return DoneShown(
        title=phrases.sentence(one["title"]).rstrip("."),
        found=phrases.sentence(found),
        when=", ".join(
            part
            for part in (
                phrases.when(one["date"], look) if one["date"] else "",
                "" if one["hours"] is None else phrases.hours(one["hours"]),
                one["who"] or "",
                one["note"] or "",
            )
            if part
        ),
    )


def _pictures(document: FaultDocument, machine: MachineDocument) -> frozenset[str]:
    recorded = {one["visit"] for one in machine["visits"] if one["kind"] != "by_hand"}
    found = {"life"} if len(machine["visits"]) > 1 else set()
    if document["suspects"]:
        found.add("odds")
    if any(one["visit"] in recorded for one in document["spells"]):
        found.add("spell")
        if not document["stale"]:
            found.add("conditions")
    return frozenset(found)


def _speaks(weight_db: float) -> str:
    """Say which way evidence speaks; 10 decibans are ten to one (I. J. Good)."""
    size = abs(weight_db)
    how = "strongly" if size >= 10 else "clearly" if size >= 5 else "a little"
    if size < 1:
        return f"hardly either way ({weight_db:+.0f} dB)"
    return f"{how} {'for' if weight_db > 0 else 'against'} it ({weight_db:+.0f} dB)"


def _setting_figures(setting: Setting) -> tuple[str, ...]:
    figures = []
    if setting["starts_total"] is not None and setting["starts_inside"] is not None:
        days = setting["days"]
        on_days = f", on {phrases.many(days, 'day')}" if days else ""
        figures.append(
            f"{setting['starts_inside']:,} of {phrases.many(setting['starts_total'], 'start')}"
            f"{on_days}"
        )
    inside, total = setting["exposure_inside_h"], setting["exposure_total_h"]
    if inside is not None and total is not None:
        figures.append(f"{inside:,.1f} of {total:,.1f} recorded hours were like that")
    if setting["p_adjusted"] is not None:
        figures.append(f"chance of so clear a pattern by accident: {setting['p_adjusted']:.2g}")
    return tuple(figures)


def _followup_figures(document: FaultDocument) -> tuple[tuple[str, str], ...]:
    rows = []
    for one in document["followups"]:
        scale = words.SCALES.get(one["scale"] or "", (one["scale"] or "").replace("_", " "))
        if one["events_before"] is not None and one["exposure_before"] is not None:
            rows.append(
                ("Before", f"{one['events_before']:,} in {one['exposure_before']:,.1f} {scale}")
            )
        if one["events_after"] is not None and one["exposure_after"] is not None:
            rows.append(
                ("Since", f"{one['events_after']:,} in {one['exposure_after']:,.1f} {scale}")
            )
        if one["still_needed"] is not None and one["result"] == "too_early":
            rows.append(("Still needed", f"{one['still_needed']:,.1f} {scale} without it"))
        if one["p_unchanged"] is not None:
            rows.append(("Chance that nothing has changed", f"{one['p_unchanged']:.0%}"))
    return tuple(rows)


def _facts(document: FaultDocument) -> tuple[tuple[str, str], ...]:
    counts = ", ".join(
        f"{one['last']}{' or more' if one['at_least'] else ''}"
        for one in document["counts"]
        if one["last"] is not None
    )
    facts = (
        ("Code", code_of(document)),
        ("Told by", document["controller_text"] or ""),
        ("Address", "" if document["address"] is None else str(document["address"])),
        ("NAME", document["name"] or ""),
        ("Listed in", ", ".join(document["from"])),
        ("Counts", counts),
        ("In this book", document["fault"]),
    )
    return tuple(one for one in facts if one[1])
