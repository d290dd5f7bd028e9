"""`signals` and the owner's own signals and code texts, as lines for people."""

from __future__ import annotations

from shearbolt.app.documents import (
    OwnCodesDocument,
    OwnSignal,
    OwnSignalsDocument,
    Sample,
    Signal,
    SignalsDocument,
)
from shearbolt.cli import phrases
from shearbolt.cli.look import Look
from shearbolt.cli.page import Page

_STATUS = {"not_available": "not available", "error": "error"}


def render_signals(document: SignalsDocument, look: Look) -> list[str]:
    """Show each signal in one row, and its samples where the document holds them."""
    page = Page(look)
    if not document["signals"]:
        page.text("No such samples in this visit.")
        page.more(f"shearbolt visit {document['visit']}")
        return page.lines
    page.title(
        f"{phrases.many(document['rows'], 'sample')} of "
        f"{phrases.many(len(document['signals']), 'signal')}"
    )
    for path in (document["csv"], document["parquet"]):
        if path is not None:
            page.text(f"Written to {path}", 2)
    page.table(
        ["Signal", "From", "To", "Numbers", "of", "SPN", "Address", "Channel"],
        [_signal(one, look) for one in document["signals"]],
        right=(1, 2, 3, 4, 5, 6),
    )
    for signal in document["signals"]:
        if signal["samples"]:
            page.blank()
            page.title(signal["text"])
            page.table(
                ["Value", "When"],
                [_sample(one, signal["unit"], look) for one in signal["samples"]],
                right=(0,),
            )
    if document["csv"] is None and document["parquet"] is None:
        page.more(
            f"shearbolt signals {document['visit']} --csv FILE  (every sample; also --parquet)"
        )
    else:
        page.more(f"shearbolt visit {document['visit']}")
    return page.lines


def _signal(one: Signal, look: Look) -> list[str]:
    return [
        one["text"] + (" (own)" if one["own"] else ""),
        phrases.reading(one["low"], one["unit"], look),
        phrases.reading(one["high"], one["unit"], look),
        f"{one['numbers']:,}",
        f"{one['count']:,}",
        str(one["spn"]),
        str(one["address"]),
        one["channel"],
    ]


def _sample(one: Sample, unit: str, look: Look) -> list[str]:
    value = phrases.reading(one["value"], unit, look)
    if one["status"] is not None:
        value = _STATUS[one["status"]]
    return [value, phrases.when(one["at"], look, one["at_s"])]


def render_own_signals(document: OwnSignalsDocument, look: Look) -> list[str]:
    """Show the owner's signals and what they gave when tried."""
    page = Page(look)
    if not document["signals"]:
        page.text("No signals of your own yet.")
        page.more("shearbolt own signal try ROWS --on VISIT")
        return page.lines
    kept = "kept" if document["kept"] else "not kept"
    tried = f", tried on {document['tried_on']}" if document["tried_on"] else ""
    page.title(f"{phrases.many(len(document['signals']), 'signal')} of your own, {kept}{tried}")
    for one in document["signals"]:
        page.blank()
        page.text(one["text"], 2, hang=2)
        if one["words"]:
            page.text(phrases.sentence(one["words"]), 4)
        _trial(page, one)
        sender = "any sender" if one["address"] is None else f"address {one['address']}"
        page.line(
            [
                f"{one['length_bits']} bits from byte {one['start_byte']} bit {one['start_bit']}",
                f"times {phrases.number(one['resolution'], 8)} plus "
                f"{phrases.number(one['offset'], 8)} {one['unit']}",
                one["source"],
            ],
            4,
        )
        page.line([f"SPN {one['spn']}", f"group {one['pgn']}", sender], 4, " · ")
    if not document["kept"]:
        page.more("shearbolt own signal add ROWS --on VISIT  (keeps them)")
    else:
        page.more("shearbolt signals VISIT --spn N")
    return page.lines


def _trial(page: Page, one: OwnSignal) -> None:
    if one["samples"] is None:
        return
    look = page.look
    parts = [f"{phrases.many(one['samples'], 'sample')}, {one['numbers'] or 0:,} of them numbers"]
    if one["low"] is not None and one["high"] is not None:
        parts.append(
            f"{phrases.reading(one['low'], one['unit'], look)} to "
            f"{phrases.reading(one['high'], one['unit'], look)}"
        )
    if one["first_values"]:
        parts.append("first " + ", ".join(phrases.number(value) for value in one["first_values"]))
    page.line(parts, 4)


def render_own_codes(document: OwnCodesDocument, look: Look) -> list[str]:
    """Show the owner's code texts."""
    page = Page(look)
    if not document["codes"]:
        page.text("No code texts of your own yet.")
        page.more("shearbolt own code add --spn N --fmi N --text WORDS --page PAGE")
        return page.lines
    page.title(f"{phrases.many(len(document['codes']), 'code text')} of your own")
    for one in document["codes"]:
        page.blank()
        page.text(one["text"], 2, hang=2)
        if one["faults"]:
            page.text(f"Names {', '.join(one['faults'])}", 4)
        page.line(
            [
                phrases.code(one["spn"], one["fmi"], None),
                ""
                if one["manufacturer_code"] is None
                else f"manufacturer code {one['manufacturer_code']}",
                "" if one["function"] is None else f"function {one['function']}",
                f"page {one['page']}" if one["page"] else "",
            ],
            4,
            " · ",
        )
    page.more("shearbolt faults")
    return page.lines
