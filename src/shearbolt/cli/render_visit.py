"""`add`, `visit` and `note`: what a look at a machine told, as lines for people."""

from __future__ import annotations

from collections.abc import Sequence

from shearbolt.app.documents import (
    AddDocument,
    Controller,
    FaultNews,
    NewSince,
    NoteDocument,
    NotRead,
    Refused,
    Visit,
    VisitDocument,
)
from shearbolt.cli import phrases
from shearbolt.cli.look import Look
from shearbolt.cli.page import Page

_RECOGNISED = {
    "vin": "by its VIN",
    "names": "by its controllers",
    "given": "by your word",
    "new": "new in the book",
}
_START_FROM = {
    "recording": "",
    "bus_clock": "times by the clock on the bus",
    "given": "times by the start you gave",
    "file_date": "times by the file's date",
    "none": "no times of day known",
}
_HOURS_FROM = {"bus": "", "given": " (as given)", "estimated": " (estimated)"}
_ROWS_SHOWN = 20


def render_add(document: AddDocument, look: Look) -> list[str]:
    """Show what each recording told, in a few lines, and which files were refused and why."""
    page = Page(look)
    for visit in document["visits"]:
        page.blank()
        visit_summary(page, visit)
    refused_lines(page, document["refused"])
    if not document["visits"]:
        page.blank()
        page.text("Nothing was filed.")
        return page.lines
    news_lines(page, document["new_since"])
    last = document["visits"][-1]
    page.more(
        f"shearbolt faults --visit {last['visit']}"
        if last["faults"]
        else f"shearbolt visit {last['visit']}",
        "shearbolt yard",
    )
    return page.lines


def news_lines(page: Page, news: NewSince) -> None:
    """Set what is new since last time; nothing where the book was empty before."""
    if news["since"] is None:
        return
    page.blank()
    page.title(f"New since {phrases.when(news['since'], page.look)}")
    for machine in news["machines"]:
        page.item(f"New machine: {machine['machine_name']}")
    heads = (
        ("New", news["faults"]),
        ("Came back", news["came_back"]),
        ("Counted up", news["counts_rose"]),
    )
    for head, faults in heads:
        for one in faults[:_ROWS_SHOWN]:
            page.item(f"{head}: {one['machine_name']}, {news_words(one)}")
        if len(faults) > _ROWS_SHOWN:
            page.item(f"{head}: and {len(faults) - _ROWS_SHOWN:,} more")
    if not news["machines"] and not any(faults for _, faults in heads):
        page.text("No machine and no fault that was not known.", 2)


def news_words(news: FaultNews) -> str:
    """Say what is new of a fault: what it is, how it stands, how its count rose."""
    code = news["code"] or (f"SPN {news['spn']} FMI {news['fmi']}" if news["spn"] else "")
    count = ""
    if news["count_before"] is not None and news["count_now"] is not None:
        least = "at least " if news["count_at_least"] else ""
        if news["count_now"] > news["count_before"]:
            count = f", count {news['count_before']} to {least}{news['count_now']}"
    told = f" ({code})" if code and code not in news["text"] else ""
    return f"{news['text']}{told}: {phrases.STATES[news['state']]}{count}"


def visit_summary(page: Page, visit: Visit) -> None:
    """Set a visit in a few lines: whose, when, how much, what was wrong, what was doubtful."""
    look = page.look
    page.title(visit["machine_name"])
    if visit["already_in_book"]:
        page.text("Already in the book: nothing was changed.", 2)
    how = ", ".join(_RECOGNISED[one] for one in visit["recognised_by"])
    if visit["kind"] == "by_hand":
        page.text(phrases.day_or_time(visit["start"], look), 2)
    else:
        time = phrases.span(
            visit["start"], visit["end"], look, visit["start_at_s"], visit["end_at_s"]
        )
        page.line([time, _START_FROM[visit["start_from"]]], 2)
    page.line([hours_words(visit), f"recognised {how}" if how else ""], 2)
    page.line(
        [
            phrases.many(visit["frames"], "frame") if visit["kind"] != "by_hand" else "",
            f"{visit['error_frames']:,} of them error frames" if visit["error_frames"] else "",
            phrases.many(len(visit["controllers"]), "controller") if visit["controllers"] else "",
            phrases.many(len(visit["faults"]), "fault") if visit["faults"] else "no faults listed",
            phrases.QUALITY[visit["quality"]] if visit["quality"] in ("lossy", "filtered") else "",
        ],
        2,
    )
    others = [one for one in visit["machines"] if one != visit["machine"]]
    if others:
        page.text(f"Also heard: {', '.join(others)}", 2, hang=2)
    for one in visit["not_read"]:
        page.text(f"Not read: {not_read_words(one)}", 2, hang=2)
    for doubt in visit["doubts"]:
        page.text(f"Doubt: {phrases.sentence(doubt)}", 2, hang=2)
    for event in visit["events"]:
        page.text(phrases.sentence(event["words"]), 2, hang=2)
    page.line(
        [
            visit["file"] or "",
            f"machine {visit['machine']}",
            f"visit {visit['visit']}",
        ],
        2,
        " · ",
    )


def refused_lines(page: Page, refused: Sequence[Refused]) -> None:
    """Set the files that were not taken, with the reasons."""
    if not refused:
        return
    page.blank()
    page.title("Not taken")
    for one in refused:
        page.item(f"{one['file']}: {phrases.sentence(one['reason'])}")


def hours_words(visit: Visit) -> str:
    """Say the engine hours of a visit and where they come from."""
    words = phrases.hour_span(visit["engine_hours_start"], visit["engine_hours_end"])
    return words + _HOURS_FROM.get(visit["engine_hours_from"] or "", "")


def not_read_words(one: NotRead) -> str:
    """Say what could not be read and where the first such place is."""
    place = ""
    if one["line"] is not None:
        place = f"line {one['line']:,}"
    elif one["byte"] is not None:
        place = f"byte {one['byte']:,}"
    if place and one["count"] > 1:
        place = f"first at {place}"
    times = phrases.many(one["count"], "place")
    return f"{one['reason']} ({', '.join(part for part in (times, place) if part)})"


def render_visit(document: VisitDocument, look: Look) -> list[str]:
    """Show one visit: the summary, who was heard, what they told, what was on the bus."""
    page = Page(look)
    visit_summary(page, document)
    if document["note"] is not None:
        _note(page, document)
    for name, value in (("VIN", document["vin"]), ("Component", document["component"])):
        if value:
            page.named(name, value)
    if document["software"]:
        page.named("Software", ", ".join(document["software"]))
    if document["controllers"]:
        page.blank()
        page.title("Controllers")
        controllers_table(page, document["controllers"])
    if document["clears"]:
        page.blank()
        page.title("Clears heard")
        for clear in document["clears"]:
            time = phrases.when(clear["at"], look, clear["at_s"])
            page.item(f"{phrases.sentence(clear['words'])} ({time})")
    _answers(page, document)
    _traffic(page, document)
    hints = [f"shearbolt machine {document['machine']}"]
    if document["frames"]:
        hints.insert(0, f"shearbolt signals {document['visit']}")
    if document["faults"]:
        hints.insert(0, f"shearbolt faults --visit {document['visit']}")
    page.more(*hints)
    return page.lines


def controllers_table(page: Page, controllers: Sequence[Controller]) -> None:
    """Set controllers in a table: words, then numbers, then codes."""
    page.table(
        ["Controller", "DM1", "Address", "NAME", "Id"],
        [
            [
                controller_words(one),
                phrases.MANNERS[one["dm1_manner"]].removeprefix("sends DM1 "),
                "–" if one["address"] is None else str(one["address"]),
                one["name"] or "–",
                one["controller"],
            ]
            for one in controllers
        ],
        right=(2,),
    )


def controller_words(one: Controller) -> str:
    """Name a controller: its label, else its function, else that nothing is known."""
    return one["label"] or one["function_text"] or "no NAME heard"


def _note(page: Page, visit: Visit) -> None:
    note = visit["note"]
    if note is None:
        return
    page.named("Written down", note["text"])
    page.named("Understood", note["words"])
    for name, value in (
        ("Doing", note["doing"]),
        ("Hot or cold", note["hot_cold"]),
        ("After the start", note["after_start"]),
        ("Picture", note["photo"]),
        ("Voice", note["voice"]),
        ("By", note["who"]),
    ):
        if value:
            page.named(name, value)


def _answers(page: Page, visit: Visit) -> None:
    if not visit["answers"]:
        return
    page.blank()
    page.title("What they told of themselves")
    for one in visit["answers"][:_ROWS_SHOWN]:
        told = ", ".join(
            f"{value['name']} {_told(value['value'])}".strip() for value in one["values"]
        )
        page.item(f"{one['what']} of address {one['address']}: {told}")
    _left_out(page, len(visit["answers"]))


def _told(value: str | float | None) -> str:
    if value is None:
        return "not told"
    return value if isinstance(value, str) else phrases.number(value)


def _traffic(page: Page, visit: Visit) -> None:
    transport = visit["transport"]
    if transport["complete"] or transport["broken"]:
        page.blank()
        page.title("Messages of several packets")
        page.text(f"{transport['complete']:,} complete", 2)
        for broken in transport["broken"]:
            page.text(f"{broken['count']:,} broken: {broken['reason']}", 2)
    if visit["groups"]:
        page.blank()
        page.title("Groups on the bus")
        busiest = sorted(visit["groups"], key=lambda one: -one["count"])
        page.table(
            ["Frames", "Period", "Read here", "Group", "Address", "Channel"],
            [
                [
                    f"{one['count']:,}",
                    "–" if one["period_s"] is None else phrases.seconds(one["period_s"]),
                    "yes" if one["decoded"] else "no",
                    str(one["pgn"]),
                    str(one["address"]),
                    one["channel"],
                ]
                for one in busiest[:_ROWS_SHOWN]
            ],
            right=(0, 1, 3, 4),
        )
        _left_out(page, len(busiest))
    if visit["ids_11bit"]:
        frames = sum(one["count"] for one in visit["ids_11bit"])
        others = phrases.many(len(visit["ids_11bit"]), "other identifier")
        page.text(f"{phrases.many(frames, 'frame')} under {others}", 2)


def _left_out(page: Page, count: int) -> None:
    if count > _ROWS_SHOWN:
        page.text(f"{count - _ROWS_SHOWN:,} more; --json gives them all.", 2)


def render_note(document: NoteDocument, look: Look) -> list[str]:
    """Show what a note was understood to say, and where it was filed."""
    page = Page(look)
    note = document["note"]
    page.title(f"Noted for {document['machine_name']}")
    if note is not None:
        page.text(phrases.sentence(note["words"]), 2)
        _note_extras(page, document)
    for doubt in document["doubts"]:
        page.text(f"Doubt: {phrases.sentence(doubt)}", 2, hang=2)
    page.line(
        [
            phrases.day_or_time(document["start"], look),
            hours_words(document),
            f"visit {document['visit']}",
        ],
        2,
        " · ",
    )
    page.more(
        *[f"shearbolt fault {fault}" for fault in document["faults"][:3]],
        f"shearbolt machine {document['machine']}",
    )
    return page.lines


def _note_extras(page: Page, document: NoteDocument) -> None:
    note = document["note"]
    assert note is not None
    page.line(
        [
            f"doing: {note['doing']}" if note["doing"] else "",
            note["hot_cold"] or "",
            f"{note['after_start']} after the start" if note["after_start"] else "",
            f"picture {note['photo']}" if note["photo"] else "",
            f"voice {note['voice']}" if note["voice"] else "",
            f"by {note['who']}" if note["who"] else "",
        ],
        2,
    )
