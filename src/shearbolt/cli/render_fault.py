"""`fault ID`: all that the book holds of one fault, as lines for people."""

from __future__ import annotations

from collections.abc import Sequence

from shearbolt.app.documents import (
    Advice,
    Check,
    Counts,
    Evidence,
    Fault,
    FaultDocument,
    Followup,
    Setting,
    Spell,
)
from shearbolt.cli import phrases
from shearbolt.cli.look import Look
from shearbolt.cli.page import Page
from shearbolt.cli.render_faults import (
    code_words,
    fault_words,
    lamp_summary,
    repair_lines,
    sender_words,
    spell_words,
    state_words,
)

_SPELLS_SHOWN = 12
_SUSPECTS_SHOWN = 4
_EVIDENCE_SHOWN = 3


def render_fault(document: FaultDocument, look: Look, why: bool = False) -> list[str]:
    """Show one fault: how it stands, when it came, what was stored with it, what was done.

    `why`: every piece of evidence with its weight, its group and where to look.
    """
    page = Page(look)
    page.title(fault_words(document))
    page.text(document["machine_name"], 2)
    page.line(
        [
            state_words(document["state"], document["stale"]),
            spell_words(document, look),
        ],
        indent=2,
    )
    if document["advice"] is not None:
        _advice(page, document["advice"])
        page.blank()
    _lamps(page, document)
    if document["root"] is not None:
        page.text(f"Follows from fault {document['root']}; look at that one first.", 2)
        if document["root_words"]:
            page.item(document["root_words"])
    if document["setting"] is not None:
        _setting(page, document["setting"])
    _suspects(page, document, why)
    _checks(page, document)
    _spells(page, document)
    _unrecorded(page, document)
    _counts(page, document)
    _freeze_frames(page, document)
    _happenings(page, document)
    if document["repairs"]:
        page.blank()
        page.title("Repairs")
        repair_lines(page, document["repairs"])
    for followup in document["followups"]:
        _followup(page, followup)
    if document["trend"] is not None and document["trend"]["direction"] != "unknown":
        page.named("Trend", document["trend"]["words"])
    page.blank()
    page.line(
        [
            sender_words(document),
            code_words(document),
            f"listed by {', '.join(document['from'])}" if document["from"] else "",
            f"NAME {document['name']}" if document["name"] else "",
            f"fault {document['fault']}",
        ],
        2,
        " · ",
    )
    hints = [f"shearbolt machine {document['machine']}"]
    if document["visits"]:
        hints.insert(
            0, f"shearbolt visit {document['visits'][-1]}  (the last visit that showed it)"
        )
    page.more(*hints)
    return page.lines


def _advice(page: Page, advice: Advice) -> None:
    page.blank()
    page.title(phrases.ADVICE[advice["class"]])
    page.text(advice["words"], 2)
    if not advice["applies_now"]:
        page.text("It does not apply at the moment; it holds for when this fault is on.", 2)
    if advice["watch"] is not None:
        stop = f"; stop {advice['watch']['stop_at']}" if advice["watch"]["stop_at"] else ""
        page.named("Watch", advice["watch"]["words"] + stop)
    if advice["until"]:
        page.named("Until", advice["until"])
    for reason in advice["because"]:
        page.item(reason)
    for caution in advice["cautions"]:
        page.text(f"CAUTION: {caution}", 2, hang=2)
    if advice["as_of"]:
        page.named("As of", phrases.day_or_time(advice["as_of"], page.look))


def _lamps(page: Page, fault: Fault) -> None:
    if fault["kind"] not in ("hand", "symptom"):
        page.named("Lamps lit whenever it is listed", lamp_summary(fault["lamps"]))
    sure = phrases.lamps_lit(fault["lamps_sure"])
    if sure:
        page.named("Lit by this fault for sure", ", ".join(sure))


def _setting(page: Page, setting: Setting) -> None:
    page.blank()
    page.title("When it starts")
    page.text(setting["words"], 2)
    for other in setting["cannot_be_told_apart"]:
        page.item(f"cannot be told from: {other['words']}")
    if setting["would_tell"]:
        page.named("What would tell", setting["would_tell"])


def _suspects(page: Page, fault: Fault, why: bool) -> None:
    if fault["known_here"]:
        page.blank()
        page.title("Found on this farm before")
        for words in fault["known_here"]:
            page.item(words)
    if not fault["suspects"]:
        return
    page.blank()
    page.title("Suspects")
    if fault["cannot_tell"]:
        page.text("It cannot be told yet: no cause stands out. The first check tells most.", 2)
    shown = fault["suspects"] if why else fault["suspects"][:_SUSPECTS_SHOWN]
    for one in shown:
        beside = ", a contributing cause" if one["contributing"] else ""
        page.text(
            f"{one['words'].rstrip('.')} ({one['probability']:.0%}, "
            f"{phrases.CAUSES[one['cause']]}{beside})",
            2,
            hang=2,
        )
        if why:
            page.text(f"Before any evidence: {one['odds_before']:.0%}", 4)
        counted = [piece for piece in one["evidence"] if piece["counts"]]
        for piece in one["evidence"] if why else counted[:_EVIDENCE_SHOWN]:
            _evidence(page, piece, why)
    if fault["probability_other"] is not None:
        page.text(f"None of these ({fault['probability_other']:.0%})", 2)
    if why and fault["not_judged"]:
        page.blank()
        page.title("What could not be judged here")
        for words in fault["not_judged"]:
            page.item(words)
    elif not why:
        page.text("`--why` shows all that speaks for and against each.", 2)


def _evidence(page: Page, piece: Evidence, why: bool) -> None:
    words = piece["words"].rstrip(".")
    page.item(f"{words} ({piece['weight_db']:+.0f} dB)", 4)
    if not why:
        return
    told = "" if piece["counts"] else "a stronger fact of its group already says it"
    page.line([f"group {piece['group']}", told, piece["source"]], 6, " · ")
    if piece["reason"]:
        page.text(piece["reason"], 6)
    for visit, at, at_s in zip(piece["visits"], piece["at"], piece["at_s"], strict=False):
        page.text(f"{phrases.when(at, page.look, at_s)} in visit {visit}", 6)


def _checks(page: Page, fault: Fault) -> None:
    if not fault["checks"]:
        return
    page.blank()
    page.title("What to check")
    check_lines(page, fault["checks"])


def check_lines(page: Page, checks: Sequence[Check]) -> None:
    """Set checks: what to do, how long, with what, and what can hurt."""
    for check in checks:
        minutes = f" ({phrases.number(check['minutes'])} min)" if check["minutes"] else ""
        page.item(check["words"] + minutes)
        if check["not_possible_because"]:
            page.text(f"Not possible here, because {check['not_possible_because']}", 4)
        if check["tools"]:
            page.named("Tools", ", ".join(check["tools"]), 4)
        for caution in check["cautions"]:
            page.text(f"CAUTION: {caution}", 4, hang=2)
        page.line([f"check {check['check']}"], 4)


def _spells(page: Page, fault: Fault) -> None:
    spells = fault["spells"]
    if not spells:
        return
    page.blank()
    page.title("Spells")
    shown = spells[-_SPELLS_SHOWN:]
    if len(shown) < len(spells):
        page.text(f"The last {len(shown)} of {len(spells):,}; --json gives them all.", 2)
    for spell in shown:
        _spell(page, spell)


def _spell(page: Page, spell: Spell) -> None:
    look = page.look
    time = phrases.span(spell["start"], spell["end"], look, spell["start_at_s"], spell["end_at_s"])
    page.text(time, 2, hang=2)
    counts = [one for one in (spell["count_start"], spell["count_end"]) if one is not None]
    healed = ""
    if spell["end_latest"] is not None or spell["end_latest_at_s"] is not None:
        shown = phrases.when(spell["end_latest"], look, spell["end_latest_at_s"])
        healed = f"first report without it {shown}"
    page.line(
        [
            "" if spell["start_known"] else "may have begun before",
            phrases.ENDED[spell["ended_by"]],
            healed,
            f"count {' to '.join(str(one) for one in dict.fromkeys(counts))}" if counts else "",
            f"visit {spell['visit']}",
        ],
        4,
    )


def _unrecorded(page: Page, fault: Fault) -> None:
    told = [one for one in fault["unrecorded"] if one["at_least"]]
    if not told:
        return
    page.blank()
    page.title("While nobody was recording")
    for one in told[-_SPELLS_SHOWN:]:
        page.item(one["words"])


def _counts(page: Page, fault: Fault) -> None:
    told = [one for one in fault["counts"] if one["first"] is not None or one["last"] is not None]
    if not told:
        return
    page.blank()
    page.title("Occurrence counts")
    page.line([f"{_count(one)} (visit {one['visit']})" for one in told[-_SPELLS_SHOWN:]], 2)
    if len(told) > _SPELLS_SHOWN:
        page.text(f"The last {_SPELLS_SHOWN} of {len(told):,}; --json gives them all.", 2)


def _count(one: Counts) -> str:
    values = [value for value in (one["first"], one["last"]) if value is not None]
    text = " to ".join(str(value) for value in dict.fromkeys(values))
    return f"at least {text}" if one["at_least"] else text


def _freeze_frames(page: Page, fault: Fault) -> None:
    for frame in fault["freeze_frames"]:
        page.blank()
        page.title(f"Stored with it, told {phrases.when(frame['at'], page.look, frame['at_s'])}")
        if not frame["values"]:
            page.text("No values.", 2)
            continue
        page.table(
            ["Reading", "Value", "SPN"],
            [
                [
                    value["text"],
                    phrases.reading(value["value"], value["unit"], page.look),
                    str(value["spn"]),
                ]
                for value in frame["values"]
            ],
            right=(1, 2),
        )


def _happenings(page: Page, fault: Fault) -> None:
    if not fault["events"]:
        return
    page.blank()
    page.title("On its line")
    for one in fault["events"]:
        time = phrases.when(one["at"], page.look, one["at_s"])
        at = f", {phrases.hours(one['hours'])}" if one["hours"] is not None else ""
        page.item(f"{phrases.sentence(one['words'])} ({time}{at})")


def _followup(page: Page, followup: Followup) -> None:
    if followup["words"]:
        page.named(f"Did repair {followup['repair']} hold", followup["words"])
