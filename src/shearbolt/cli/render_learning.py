"""Baselines and learnt signals, as lines for people. No I/O."""

from __future__ import annotations

from shearbolt.app.documents import (
    BaselineDocument,
    BaselineStep,
    LearnDocument,
    LearnMatch,
    LearntDocument,
    LearntSignal,
)
from shearbolt.cli import phrases
from shearbolt.cli.look import Look
from shearbolt.cli.page import Page
from shearbolt.cli.render_visit import refused_lines

_MOST_FOUND = 8
_STATES = {"done": "done", "not_done": "not seen", "not_told": "cannot be told here"}


def render_baseline(document: BaselineDocument, look: Look) -> list[str]:
    """Show the baseline: its steps, its readings, and what later visits differ in."""
    page = Page(look)
    if document["visit"] is None:
        page.title(f"{document['machine_name']} has no baseline yet")
    else:
        page.title(
            f"{'New baseline' if document['kept_now'] else 'Baseline'} of "
            f"{document['machine_name']}, from visit {document['visit']}"
        )
    for words in document["words"]:
        page.text(words, 2)
    refused_lines(page, document["refused"])
    if document["differences"]:
        page.blank()
        page.title("What differs since")
        for gap in document["differences"]:
            page.item(f"{gap['words']} (visit {gap['visit']}, {gap['verdict'].replace('_', ' ')})")
    page.blank()
    page.title("The round")
    for number, step in enumerate(document["steps"], 1):
        _step(page, number, step, kept=document["visit"] is not None)
    if document["readings"]:
        page.blank()
        page.title("Its readings")
        page.table(
            ["Step", "Reading", "Value"],
            [
                [
                    one["step"].replace("_", " "),
                    one["text"],
                    phrases.reading(one["value"], one["unit"], look),
                ]
                for one in document["readings"]
            ],
            right=(2,),
        )
    page.more(f"shearbolt tells {document['machine']}  (which readings it really has)")
    return page.lines


def _step(page: Page, number: int, step: BaselineStep, *, kept: bool) -> None:
    state = f" [{_STATES[step['state']]}]" if kept else ""
    missing = f" (not told: {', '.join(step['missing'])})" if step["missing"] else ""
    page.text(f"{number}. {step['words']}{state}{missing}", 2, hang=3)
    if not kept:
        for one in step["cautions"]:
            page.item(f"CAUTION: {one}", 5)


def render_learn(document: LearnDocument, look: Look) -> list[str]:
    """Show what a session found, and what is kept."""
    page = Page(look)
    page.title(f"'{document['what']}' on {document['machine_name']}")
    refused_lines(page, document["refused"])
    if document["prompts"]:
        page.text(
            f"{phrases.many(len(document['prompts']), 'prompt')}; "
            f"{document['looked_at']:,} bits and numbers looked at, "
            f"{document['left_out']:,} counters and checksums left out.",
            2,
        )
    for match in document["found"][:_MOST_FOUND]:
        page.item(_found(match))
    if len(document["found"]) > _MOST_FOUND:
        page.text(f"{len(document['found']) - _MOST_FOUND} more (--json gives all)", 2)
    for words in document["words"]:
        page.text(words, 2)
    if document["signals"]:
        page.blank()
        page.title("What is kept")
        for one in document["signals"]:
            page.item(one["words"])
    page.more("shearbolt learn --list")
    return page.lines


def _found(one: LearnMatch) -> str:
    bits = "bit" if one["length_bits"] == 1 else f"{one['length_bits']} bits from bit"
    parts = [
        f"Group {one['pgn']} from address {one['address']}, byte {one['start_byte']}, "
        f"{bits} {one['start_bit']}",
        f"p = {one['p_value']:.2g}",
    ]
    if one["stretches"] is not None:
        parts.append(f"as asked in {one['agreeing']} of {one['stretches']} stretches")
    else:
        parts.append(f"rank correlation {one['score']:.2f}")
    if one["delay_s"] is not None:
        parts.append(f"{one['delay_s']:g} s later")
    if one["inverted"]:
        parts.append("the other way round")
    return "; ".join(parts)


def render_learnt(document: LearntDocument, look: Look) -> list[str]:
    """Show everything learnt, and the experiments that there are."""
    page = Page(look)
    page.title("Learnt signals")
    if not document["signals"]:
        page.text("None yet.", 2)
    machine = None
    for one in document["signals"]:
        if one["machine_name"] != machine:
            machine = one["machine_name"]
            page.text(machine, 2)
        _signal(page, one)
    page.blank()
    page.title("Experiments")
    for exp in document["experiments"]:
        page.item(
            f"{exp['experiment']}: '{exp['what']}'. {exp['on']}, {_lower(exp['off'])}, "
            f"{exp['times']} times."
        )
        for caution in exp["cautions"]:
            page.item(f"CAUTION: {caution}", 4)
    page.more("shearbolt learn MACHINE --experiment seat --interface NAME --channel NAME")
    return page.lines


def _signal(page: Page, one: LearntSignal) -> None:
    page.item(f"[{one['state']}] {one['words']} ({one['learnt']})", 4)


def _lower(words: str) -> str:
    return words[:1].lower() + words[1:]
