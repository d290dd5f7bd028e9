"""`listen`: the bus while it is heard, and what came of it, as lines for people. No I/O."""

from __future__ import annotations

from shearbolt.app.documents import AdapterHeard, ListenDocument, LiveFault, LiveView
from shearbolt.cli import phrases
from shearbolt.cli.look import Look
from shearbolt.cli.page import Page
from shearbolt.cli.render_visit import refused_lines, visit_summary

_MOST_CONTROLLERS = 8
_MOST_FAULTS = 8
_ENDED = {
    "asked": "Listening ended.",
    "time": "Listening ended after the time asked for.",
    "disk": "Listening was stopped.",
}


def live_lines(view: LiveView, look: Look) -> list[str]:
    """Show one moment: the machine, its active faults, its readings, who is there, the bus."""
    page = Page(look)
    page.title(_machine(view))
    page.line(
        [
            f"listening for {phrases.seconds(float(int(view['seconds'])))}",
            phrases.many(view["frames"], "frame"),
            "Ctrl-C ends it and files the visit",
        ],
        2,
    )
    for adapter in view["adapters"]:
        page.line(_adapter(adapter), 2)
        for words in adapter["words"]:
            page.item(words)
    _faults(page, view)
    if view["readings"]:
        page.blank()
        page.title("Readings")
        page.table(
            ["Reading", "Now"],
            [
                [
                    one["words"],
                    phrases.reading(one["value"], one["unit"], look)
                    + ("" if one["fresh"] else "  (old)"),
                ]
                for one in view["readings"]
            ],
        )
    if view["controllers"]:
        page.blank()
        page.title("Who is there")
        for one in view["controllers"][:_MOST_CONTROLLERS]:
            # Without a NAME the words are the address itself.
            named = one["name"] is not None
            told = [f"address {one['address']}"] if named else []
            told += [] if one["alive"] else ["silent"]
            page.item(one["words"] + (f" ({', '.join(told)})" if told else ""))
        _more(page, len(view["controllers"]), _MOST_CONTROLLERS)
    if view["health"]:
        page.blank()
        page.title("The bus")
        for finding in view["health"]:
            page.item(finding["words"])
    shown = [one for one in view["events"] if one["what"] not in ("started", "opened")]
    if shown:
        page.blank()
        for event in shown:
            page.text(f"{phrases.when(event['at'], look)}: {event['words']}", 2, hang=2)
    return page.lines


def _machine(view: LiveView) -> str:
    if view["machine_name"] is not None:
        return view["machine_name"]
    if not view["frames"]:
        return "Nothing heard yet"
    return "A machine that the book does not know yet"


def _adapter(one: AdapterHeard) -> list[str]:
    rate = "" if one["bitrate"] is None else f"{one['bitrate'] / 1000:g} kbit/s"
    if rate and one["bitrate_from"] == "found":
        rate += " (found by listening)"
    quiet = {"on": "listen-only", "off": "NOT listen-only", "not_offered": "no listen-only mode"}
    return [
        one["channel"],
        rate,
        quiet.get(one["listen_only"], ""),
        "" if one["load"] is None else f"{100 * one['load']:.0f} % busy",
        f"{one['error_frames']:,} error frames" if one["error_frames"] else "",
        {"gone": "GONE", "finding_rate": "finding the rate", "opening": "opening"}.get(
            one["state"], ""
        ),
    ]


def _faults(page: Page, view: LiveView) -> None:
    active = [one for one in view["faults"] if one["state"] == "active"]
    others = [one for one in view["faults"] if one["state"] != "active"]
    page.blank()
    if not active:
        page.title("No active fault heard" if view["frames"] else "No fault heard")
    else:
        page.title(phrases.many(len(active), "active fault"))
        for one in active[:_MOST_FAULTS]:
            page.item(fault_line(one))
        _more(page, len(active), _MOST_FAULTS)
    for one in others[:_MOST_FAULTS]:
        page.item(f"{fault_line(one)} ({phrases.STATES[one['state']]})")


def fault_line(one: LiveFault) -> str:
    """Write a fault in one line: words, lamps, who, numbers."""
    lamps = ", ".join(phrases.lamps_lit(one["lamps"]))
    code = phrases.code(one["spn"], one["fmi"], one["code"])
    parts = [one["words"], lamps, one["controller_words"], code]
    return "; ".join(part for part in parts if part)


def _more(page: Page, count: int, most: int) -> None:
    if count > most:
        page.text(f"{count - most} more", 4)


def new_lines(view: LiveView, look: Look, told: set[str]) -> list[str]:
    """Say what was not said before; `told` remembers it from view to view."""
    lines: list[tuple[str, str]] = []
    if view["machine"] is not None:
        lines.append(("machine", f"This is {view['machine_name']}."))
    for event in view["events"]:
        if event["what"] != "started":
            text = f"{phrases.when(event['at'], look)}: {event['words']}"
            lines.append((f"event {event['at']} {event['what']} {event['channel']}", text))
    for adapter in view["adapters"]:
        lines += [(words, words) for words in adapter["words"]]
    for one in view["faults"]:
        if one["state"] == "active":
            text = f"Active fault: {fault_line(one)}"
            lines.append((f"fault {one['channel']} {one['address']} {one['spn']} {one['fmi']}"
                          f" {one['code']}", text))  # fmt: skip
    for finding in view["health"]:
        whom = (finding["what"], finding["channel"], *finding["addresses"], finding["pgn"])
        lines.append((f"health {whom}", finding["words"]))
    page = Page(look)
    for key, text in lines:
        if key not in told:
            told.add(key)
            page.text(text, 0, hang=2)
    return page.lines


def render_listen(document: ListenDocument, look: Look) -> list[str]:
    """Show what came of it: the visits filed, what was amiss on the bus, what to check."""
    page = Page(look)
    if document["left_over"]:
        page.title("Filed from a session that had been broken off")
        for visit in document["left_over"]:
            visit_summary(page, visit)
        page.blank()
    page.text(_ENDED[document["stopped_by"]])
    for words in document["words"]:
        page.text(phrases.sentence(words))
    for adapter in document["adapters"]:
        page.line(_adapter(adapter), 2)
        for words in adapter["words"]:
            page.item(words)
    for visit in document["visits"]:
        page.blank()
        visit_summary(page, visit)
    if document["health"]:
        page.blank()
        page.title("The bus")
        for finding in document["health"]:
            page.item(finding["words"])
    refused_lines(page, document["refused"])
    if not document["visits"]:
        page.text("Nothing was filed.")
        return page.lines
    last = document["visits"][-1]
    page.more(
        f"shearbolt faults --visit {last['visit']}"
        if last["faults"]
        else f"shearbolt visit {last['visit']}",
        "shearbolt yard",
    )
    return page.lines
