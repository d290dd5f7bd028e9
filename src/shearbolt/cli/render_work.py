"""Checks done, causes found and repairs, as lines for people."""

from __future__ import annotations

from shearbolt.app.documents import (
    CauseDocument,
    CheckAddDocument,
    CheckDoneEntry,
    ChecksDocument,
    RepairsDocument,
    Suspect,
    WithdrawnDocument,
)
from shearbolt.cli import phrases
from shearbolt.cli.look import Look
from shearbolt.cli.page import Page
from shearbolt.cli.render_fault import check_lines

_SHOWN = 3
GRADES = {
    "measured": "shown by a measurement",
    "swapped": "shown by swapping both ways",
    "part_held": "a part was changed, and it held",
    "opinion": "an opinion",
}


def render_check_add(document: CheckAddDocument, look: Look) -> list[str]:
    """Show the answer filed, what is likely now, and what to check next."""
    page = Page(look)
    page.title(f"Filed for {document['machine_name']}")
    _done(page, document)
    before: dict[str, float] = {
        one["cause"]: one["probability"] for one in document["suspects_before"]
    }
    if document["suspects"]:
        page.blank()
        page.title("What is likely now")
        for one in document["suspects"][:_SHOWN]:
            page.item(_moved(one, before))
    if document["checks"]:
        page.blank()
        page.title("What to check next")
        check_lines(page, document["checks"][:_SHOWN])
    page.more(f"shearbolt fault {document['fault']}")
    return page.lines


def _moved(one: Suspect, before: dict[str, float]) -> str:
    was = before.get(one["cause"])
    words = f"{one['words'].rstrip('.')} ({one['probability']:.0%}"
    return f"{words}, was {was:.0%})" if was is not None else f"{words})"


def _done(page: Page, done: CheckDoneEntry) -> None:
    value = ""
    if done["value"] is not None:
        value = f" ({phrases.reading(done['value'], done['unit'], page.look)})"
    page.text(f"{done['title']}: {done['outcome_words']}{value}", 2, hang=2)
    if done["note"]:
        page.text(done["note"], 4)
    page.line(
        [
            "withdrawn" if done["withdrawn"] else "",
            f"for '{done['fault_text']}'" if done["fault_text"] else "",
            phrases.day(done["date"], page.look) if done["date"] else "",
            f"at {phrases.hours(done['hours'])}" if done["hours"] is not None else "",
            f"by {done['who']}" if done["who"] else "",
            f"entry {done['check_done']}",
        ],
        4,
        " · ",
    )


def render_checks(document: ChecksDocument, look: Look) -> list[str]:
    """Show the checks done on a machine."""
    page = Page(look)
    page.title(f"Checks done on {document['machine_name']}")
    if not document["done"]:
        page.text("None yet.", 2)
    for one in document["done"]:
        _done(page, one)
    page.more(f"shearbolt machine {document['machine']}")
    return page.lines


def render_cause(document: CauseDocument, look: Look) -> list[str]:
    """Show the cause kept."""
    page = Page(look)
    page.title(f"Kept for {document['machine_name']} and its sisters")
    page.text(document["fault_text"], 2)
    page.text(document["words"], 4)
    page.line(
        [
            phrases.CAUSES[document["cause"]],
            GRADES[document["grade"]],
            f"by {document['who']}" if document["who"] else "",
            f"entry {document['cause_found']}",
        ],
        4,
        " · ",
    )
    page.more(f"shearbolt fault {document['fault']}")
    return page.lines


def render_repairs(document: RepairsDocument, look: Look) -> list[str]:
    """Show a machine's repairs, and whether they held."""
    page = Page(look)
    page.title(f"Repairs of {document['machine_name']}")
    if not document["repairs"]:
        page.text("None yet.", 2)
    for one in document["repairs"]:
        page.item(one["text"] + (" (withdrawn)" if one["withdrawn"] else ""))
        for text in one["fault_texts"]:
            page.text(f"for '{text}'", 4)
        for followup in one["followups"]:
            if followup["words"]:
                page.text(followup["words"], 4)
        page.line(
            [
                phrases.day(one["date"], look) if one["date"] else "",
                f"at {phrases.hours(one['hours'])}" if one["hours"] is not None else "",
                f"parts: {one['parts']}" if one["parts"] else "",
                f"cost {phrases.number(one['cost'])}" if one["cost"] is not None else "",
                f"{phrases.number(one['minutes'])} min" if one["minutes"] is not None else "",
                f"repair {one['repair']}",
            ],
            4,
            " · ",
        )
    page.more(f"shearbolt machine {document['machine']}")
    return page.lines


def render_withdrawn(document: WithdrawnDocument, look: Look) -> list[str]:
    """Show the entry taken back."""
    page = Page(look)
    page.title("Taken back")
    page.text(document["words"], 2)
    page.text(f"It stays in the book, and counts no more ({document['entry']}).", 2)
    page.more("shearbolt yard")
    return page.lines
