"""`faults`: what is wrong with which machine, as lines for people."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from shearbolt.app.documents import (
    Advice,
    Counts,
    Fault,
    FaultsDocument,
    LampWithoutCode,
    MachineFaults,
)
from shearbolt.app.documents import Repair as RepairEntry
from shearbolt.cli import phrases
from shearbolt.cli.look import Look
from shearbolt.cli.page import Page

_REASONS_SHOWN = 4
_ODD_SHOWN = 5
_SETTLED = 0.9
"""From so sure a cause on, another check buys little."""


def render_faults(document: FaultsDocument, look: Look) -> list[str]:
    """Show every machine with its faults, one short paragraph a fault."""
    page = Page(look)
    machines = document["machines"]
    if not any(one["faults"] or one["lamp_without_code"] for one in machines):
        page.text("No faults to show.")
        page.text(
            "That is what the book holds; a controller that was not heard may still have some."
        )
        page.more("shearbolt faults --all  (cleared and old ones too)", "shearbolt yard")
        return page.lines
    first = None
    for machine in machines:
        page.blank()
        machine_heading(page, machine)
        for fault in machine["faults"]:
            fault_lines(page, fault, machine["faults"])
            first = first or fault["fault"]
        for lamp in machine["lamp_without_code"]:
            lamp_lines(page, lamp)
        concluded_lines(page, machine)
    page.more(
        *([f"shearbolt fault {first}  (spells, counts and freeze frames)"] if first else []),
        f"shearbolt machine {machines[0]['machine']}",
    )
    return page.lines


def machine_heading(page: Page, machine: MachineFaults) -> None:
    """Set the machine's name, what it may do where that is known, and how many faults."""
    page.title(machine["machine_name"])
    active = sum(fault["state"] == "active" for fault in machine["faults"])
    parts = [phrases.many(len(machine["faults"]), "fault")]
    if active:
        parts.append(f"{active} active")
    if machine["advice"] is not None:
        as_of = (
            f" (as of {phrases.day_or_time(machine['as_of'], page.look)})"
            if machine["as_of"]
            else ""
        )
        parts.insert(0, phrases.ADVICE[machine["advice"]] + as_of)
    page.line([*parts, f"machine {machine['machine']}"], indent=2)
    if machine["words"]:
        page.text(machine["words"], 2)
    for reason in machine["because"][:_REASONS_SHOWN]:
        page.item(reason)


def concluded_lines(page: Page, machine: MachineFaults) -> None:
    """Set what is odd about the machine beside its faults: readings, drifts, limited power."""
    if not (machine["odd_readings"] or machine["drifts"] or machine["power_limits"]):
        return
    page.blank()
    page.title("Readings that make no sense, and limited power")
    for drift in machine["drifts"]:
        page.item(drift["words"])
        page.line([f"since visit {drift['since']}", f"noticed in visit {drift['noticed']}"], 4)
    for odd in machine["odd_readings"][:_ODD_SHOWN]:
        sure = "" if odd["result"] == "odd" else " (doubtful)"
        page.item(odd["words"] + sure)
        at = phrases.when(odd["at"][0], page.look, odd["at_s"][0]) if odd["at"] else ""
        page.line([at, f"visit {odd['visit']}"], 4, " · ")
    left = len(machine["odd_readings"]) - _ODD_SHOWN
    if left > 0:
        page.item(f"and {phrases.many(left, 'more', 'more')}; --json gives them all")
    for limit in machine["power_limits"][:_ODD_SHOWN]:
        page.item(limit["words"])
        page.line(
            [
                phrases.span(
                    limit["start"],
                    limit["end"],
                    page.look,
                    limit["start_at_s"],
                    limit["end_at_s"],
                ),
                f"visit {limit['visit']}",
            ],
            4,
            " · ",
        )


def fault_lines(page: Page, fault: Fault, others: Sequence[Fault] = (), indent: int = 2) -> None:
    """Set one fault: words, then numbers, then codes."""
    look = page.look
    page.blank()
    page.text(fault_words(fault), indent, hang=2)
    page.line(
        [
            state_words(fault["state"], fault["stale"]),
            spell_words(fault, look),
            count_words(fault["counts"]),
            *phrases.lamps_lit(fault["lamps"]),
        ],
        indent + 4,
    )
    if fault["advice"] is not None:
        page.text(advice_words(fault["advice"]), indent + 4)
    if fault["root"] is None:
        if fault["setting"] is not None and fault["setting"]["terms"]:
            page.text(fault["setting"]["words"], indent + 4)
        for words in likely_words(fault):
            page.text(words, indent + 4)
    if fault["root"] is not None:
        page.text(f"Follows from {_named(fault['root'], others)}.", indent + 4)
    page.line(
        [sender_words(fault), code_words(fault), f"fault {fault['fault']}"], indent + 4, " · "
    )


def likely_words(fault: Fault) -> list[str]:
    """Say what is likeliest, or that it cannot be told, and what to check first."""
    said: list[str] = []
    if fault["suspects"] and not fault["cannot_tell"]:
        first = fault["suspects"][0]
        said.append(f"Most likely: {first['words'].rstrip('.')} ({first['probability']:.0%}).")
        if first["probability"] >= _SETTLED:
            said.append("That is enough to act on: put it right, and file what was done.")
            return said
    first_check = next((one for one in fault["checks"] if not one["not_possible_because"]), None)
    if first_check is not None:
        title = first_check["words"].partition(". ")[0].rstrip(".")
        minutes = (
            f" ({phrases.number(first_check['minutes'])} min)" if first_check["minutes"] else ""
        )
        doubt = "What it is cannot be told yet. " if fault["cannot_tell"] else ""
        said.append(f"{doubt}Check first: {title}{minutes}.")
    return said


def advice_words(advice: Advice) -> str:
    """Say an advice; a stop is named as one before its sentence, which begins with where."""
    words = advice["words"]
    return f"{phrases.ADVICE['stop_now']}. {words}" if advice["class"] == "stop_now" else words


def _named(root: str, others: Sequence[Fault]) -> str:
    for one in others:
        if one["fault"] == root:
            return f"'{one['text']}' (fault {root})"
    return f"fault {root}"


def fault_words(fault: Fault) -> str:
    """Name a fault; the owner's own words beside ours."""
    text = fault["text"]
    if fault["own_text"] and fault["own_text"] != text:
        text = f"{text} [own text: {fault['own_text']}]"
    return text


def state_words(state: str, stale: bool) -> str:
    """Say how a fault stands."""
    words = phrases.sentence(phrases.STATES[state]).rstrip(".")
    return words + (" (an old memory only)" if stale else "")


def spell_words(fault: Fault, look: Look) -> str:
    """Say how many spells there were and when the last one was."""
    spells = fault["spells"]
    if spells:
        last = spells[-1]
        time = phrases.span(last["start"], last["end"], look, last["start_at_s"], last["end_at_s"])
        if len(spells) == 1:
            return f"1 spell, {time}"
        return f"{len(spells):,} spells, the last {time}"
    if fault["last_seen"] is not None or fault["last_seen_at_s"] is not None:
        time = phrases.day_or_time(fault["last_seen"], look, fault["last_seen_at_s"])
        return f"last listed {time}"
    return ""


def count_words(counts: Sequence[Counts]) -> str:
    """Say the last occurrence count that was a number."""
    for one in reversed(counts):
        if one["last"] is not None:
            least = "at least " if one["at_least"] else ""
            return f"counted {least}{phrases.many(one['last'], 'time')}"
    return ""


def sender_words(fault: Fault) -> str:
    """Say who reports a fault: in words, and its address."""
    words = fault["controller_text"]
    if fault["address"] is None or fault["address"] > 0xFF:
        # A road vehicle's unit answers at an 11-bit identifier, which its words name already.
        return words or ""
    if words and words.startswith(f"address {fault['address']}"):
        return words
    if words:
        return f"{words} (address {fault['address']})"
    return f"address {fault['address']}"


def code_words(fault: Fault) -> str:
    """Write the code as its numbers, and what sort of code it is where that is not plain."""
    code = phrases.code(fault["spn"], fault["fmi"], fault["code"], fault["spn_candidates"])
    if fault["kind"] == "symptom":
        return "symptom"
    if fault["kind"] == "hand":
        return f"{code} by hand".strip()
    return code


def lamp_lines(page: Page, lamp: LampWithoutCode, indent: int = 2) -> None:
    """Set a lamp that no listed fault explains."""
    lit = phrases.lamps_lit(lamp["lamps"]) or ["a lamp lit"]
    time = phrases.span(lamp["start"], lamp["end"], page.look, lamp["start_at_s"], lamp["end_at_s"])
    page.blank()
    page.text(phrases.sentence(f"{', '.join(lit)}, without a code"), indent, hang=2)
    page.line([time, f"address {lamp['address']}", f"visit {lamp['visit']}"], indent + 4, " · ")


def repair_lines(page: Page, repairs: Sequence[RepairEntry]) -> None:
    """Set the repairs, in order."""
    for repair in repairs:
        page.item(repair["text"])
        page.line(
            [
                phrases.day(repair["date"], page.look) if repair["date"] else "",
                f"at {phrases.hours(repair['hours'])}" if repair["hours"] is not None else "",
                f"for {', '.join(repair['faults'])}" if repair["faults"] else "",
                f"repair {repair['repair']}",
            ],
            4,
            " · ",
        )


def lamp_summary(lamps: Mapping[str, object]) -> str:
    """Say which lamps are lit, or that none is, or that none was told."""
    lit = phrases.lamps_lit(lamps)
    if lit:
        return ", ".join(lit)
    return "none lit" if any(state == "off" for state in lamps.values()) else "not told"
