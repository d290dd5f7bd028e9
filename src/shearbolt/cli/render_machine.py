"""`yard`, `machine` and `tells`: the fleet and one of its machines, as lines for people."""

from __future__ import annotations

from shearbolt.app.documents import (
    FaultBrief,
    MachineDocument,
    Reading,
    TellsDocument,
    VisitBrief,
    YardDocument,
    YardMachine,
)
from shearbolt.cli import phrases
from shearbolt.cli.look import Look
from shearbolt.cli.page import Page
from shearbolt.cli.render_faults import (
    concluded_lines,
    fault_lines,
    lamp_lines,
    repair_lines,
    state_words,
)
from shearbolt.cli.render_visit import controllers_table

_FAULTS_SHOWN = 3
_VISITS_SHOWN = 10
_READING = {
    "alive": "Comes",
    "on_request": "Comes on request only",
    "learnt": "Learnt here",
    "not_available": "Sent as 'not available'",
    "never_sent": "Never sent",
}
_STEPS = {
    "at_onset": "its counts step when a fault begins",
    "at_end": "its counts step when a fault ends",
    "once_per_key_cycle": "its counts step once a key cycle",
    "never": "its counts never step",
    "unknown": "how its counts step is not known",
}


def render_yard(document: YardDocument, look: Look) -> list[str]:
    """Show every machine in a few lines."""
    page = Page(look)
    machines = document["machines"]
    if not machines:
        page.text("The book is empty.")
        page.more("shearbolt add FILE  (brings a recording in)", "shearbolt note  (by hand)")
        return page.lines
    page.title(f"The yard: {phrases.many(len(machines), 'machine')}")
    for machine in machines:
        page.blank()
        _yard_machine(page, machine)
    first = machines[0]
    page.more(
        f"shearbolt machine {first['machine']}",
        *([f"shearbolt fault {first['faults'][0]['fault']}"] if first["faults"] else []),
        "shearbolt faults",
    )
    return page.lines


def _yard_machine(page: Page, machine: YardMachine) -> None:
    look = page.look
    implement = " (implement)" if machine["kind"] == "implement" else ""
    page.title(machine["machine_name"] + implement)
    if machine["advice"] is not None:
        as_of = (
            f" (as of {phrases.day_or_time(machine['as_of'], look)})" if machine["as_of"] else ""
        )
        page.text(phrases.ADVICE[machine["advice"]] + as_of, 2)
    if machine["words"]:
        page.text(machine["words"], 2)
    for fault in machine["faults"][:_FAULTS_SHOWN]:
        page.item(brief_words(fault))
    left = len(machine["faults"]) - _FAULTS_SHOWN
    if left > 0:
        page.item(f"and {phrases.many(left, 'other open fault')}")
    if not machine["faults"]:
        page.text("No open faults in the book.", 2)
    last = "never looked at"
    if machine["last_visit_end"] is not None:
        last = f"last look {phrases.day_or_time(machine['last_visit_end'], look)}"
    elif machine["last_visit"] is not None:
        last = "last look at a time not known"
    page.line(
        [
            last,
            phrases.hours(machine["engine_hours"]),
            phrases.many(machine["visits"], "visit"),
            f"{machine['active']} active" if machine["active"] else "",
            f"{machine['stale']} old" if machine["stale"] else "",
            f"machine {machine['machine']}",
        ],
        2,
        " · ",
    )


def brief_words(fault: FaultBrief) -> str:
    """Say a fault in one line: words, state, codes."""
    code = phrases.code(fault["spn"], fault["fmi"], fault["code"])
    if code.casefold() == fault["text"].casefold():
        code = ""
    follows = f", follows from {fault['root']}" if fault["root"] else ""
    state = state_words(fault["state"], fault["stale"])
    state = state[0].lower() + state[1:]
    codes = ", ".join(part for part in (code, f"fault {fault['fault']}") if part)
    return f"{fault['text']}: {state}{follows} ({codes})"


def render_machine(document: MachineDocument, look: Look) -> list[str]:
    """Show one machine: its faults, repairs, visits and controllers."""
    page = Page(look)
    page.title(document["machine_name"])
    if document["advice"] is not None:
        as_of = (
            f" (as of {phrases.day_or_time(document['as_of'], look)})" if document["as_of"] else ""
        )
        page.text(phrases.ADVICE[document["advice"]] + as_of, 2)
    if document["words"]:
        page.text(document["words"], 2)
    for reason in document["because"]:
        page.item(reason)
    page.line(
        [
            phrases.hours(document["engine_hours"]),
            phrases.many(len(document["visits"]), "visit"),
            f"VIN {document['vin']}" if document["vin"] else "",
            f"machine {document['machine']}",
        ],
        2,
        " · ",
    )
    if document["component"]:
        page.named("Component", document["component"])
    if document["software"]:
        page.named("Software", ", ".join(document["software"]))
    for doubt in document["doubts"]:
        page.text(f"Doubt: {phrases.sentence(doubt)}", 2, hang=2)
    page.blank()
    page.title("Faults")
    if not document["faults"]:
        page.text("None in the book.", 2)
    for fault in document["faults"]:
        fault_lines(page, fault, document["faults"])
    for lamp in document["lamp_without_code"]:
        lamp_lines(page, lamp)
    concluded_lines(page, document)
    if document["repairs"]:
        page.blank()
        page.title("Repairs")
        repair_lines(page, document["repairs"])
    _visits(page, document)
    if document["controllers"]:
        page.blank()
        page.title("Controllers")
        controllers_table(page, document["controllers"])
        swapped = [one for one in document["controllers"] if len(one["boxes"]) > 1]
        for one in swapped:
            page.text(
                f"{phrases.many(len(one['boxes']), 'box', 'boxes')} so far in "
                f"{one['label'] or one['function_text'] or 'controller'} ({one['controller']})",
                2,
            )
    for event in document["events"]:
        page.item(
            f"{phrases.sentence(event['words'])} ({phrases.when(event['at'], look, event['at_s'])})"
        )
    hints = [f"shearbolt tells {document['machine']}  (which readings it really has)"]
    if document["visits"]:
        hints.insert(0, f"shearbolt visit {document['visits'][-1]['visit']}")
    if document["faults"]:
        hints.insert(0, f"shearbolt fault {document['faults'][0]['fault']}")
    page.more(*hints)
    return page.lines


def _visits(page: Page, document: MachineDocument) -> None:
    visits = document["visits"]
    if not visits:
        return
    page.blank()
    page.title("Visits")
    if len(visits) > _VISITS_SHOWN:
        page.text(f"The last {_VISITS_SHOWN} of {len(visits):,}; --json gives them all.", 2)
    for visit in visits[-_VISITS_SHOWN:]:
        _visit(page, visit)


def _visit(page: Page, visit: VisitBrief) -> None:
    look = page.look
    if visit["kind"] == "by_hand":
        time = phrases.day_or_time(visit["start"], look)
        page.text(f"{time}: {visit['words'] or 'by hand'}", 2, hang=2)
    else:
        time = phrases.span(
            visit["start"], visit["end"], look, visit["start_at_s"], visit["end_at_s"]
        )
        page.text(time, 2, hang=2)
    page.line(
        [
            phrases.hour_span(visit["engine_hours_start"], visit["engine_hours_end"]),
            phrases.many(visit["frames"], "frame") if visit["frames"] else "",
            phrases.many(len(visit["faults"]), "fault") if visit["faults"] else "",
            f"visit {visit['visit']}",
        ],
        4,
        " · ",
    )


def render_tells(document: TellsDocument, look: Look) -> list[str]:
    """Show which readings come and how each controller behaves."""
    page = Page(look)
    page.title(f"What {document['machine_name']} tells")
    page.text(f"From {phrases.many(document['visits'], 'recording')}.", 2)
    for status, heading in _READING.items():
        readings = [one for one in document["readings"] if one["status"] == status]
        if not readings:
            continue
        page.blank()
        page.title(f"{heading} ({len(readings)})")
        if status in ("not_available", "never_sent"):
            page.text("; ".join(_reading_name(one) for one in readings), 2)
        else:
            _readings(page, readings)
    if document["learnt"]:
        page.blank()
        page.title(f"Learnt here ({len(document['learnt'])})")
        for own in document["learnt"]:
            where = f"byte {own['start_byte']}, bit {own['start_bit']}"
            group = f"group {own['pgn']}, address {own['address']}"
            page.item(f"{own['text']}: {where} of {group} ({own['sessions']} sessions)")
    for one in document["not_possible"]:
        page.text(f"Not possible here: {one['check']}, because {one['because']}", 2, hang=2)
    if document["controllers"]:
        page.blank()
        page.title("Controllers")
    for manner in document["controllers"]:
        page.text(manner["text"], 2, hang=2)
        after = manner["after_run_s"]
        page.line(
            [
                phrases.MANNERS[manner["dm1_manner"]],
                _STEPS[manner["count_steps"]],
                f"goes on for {phrases.seconds(after)} after key-off" if after is not None else "",
                phrases.many(len(manner["groups"]), "group"),
            ],
            4,
        )
        address = "" if manner["address"] is None else f"address {manner['address']}"
        page.line([address, manner["name"] or "", f"controller {manner['controller']}"], 4, " · ")
    page.more(f"shearbolt machine {document['machine']}")
    return page.lines


def _reading_name(one: Reading) -> str:
    return f"{one['text']} (SPN {one['spn']})"


def _readings(page: Page, readings: list[Reading]) -> None:
    look = page.look
    page.table(
        ["Reading", "From", "To", "Last", "Every", "SPN", "Address"],
        [
            [
                one["text"] + (" (own)" if one["own"] else ""),
                phrases.reading(one["low"], one["unit"], look),
                phrases.reading(one["high"], one["unit"], look),
                phrases.reading(one["last"], one["unit"], look),
                "–" if one["period_s"] is None else phrases.seconds(one["period_s"]),
                str(one["spn"]),
                "–" if one["address"] is None else str(one["address"]),
            ]
            for one in readings
        ],
        right=(1, 2, 3, 4, 5, 6),
    )
