"""`ask` and `watch`: what was sent and who answered, what was recorded, as lines for people."""

from __future__ import annotations

from shearbolt.app.documents import AskDocument, AskedFrame, AskRequest, WatchDocument
from shearbolt.cli import phrases
from shearbolt.cli.look import Look
from shearbolt.cli.page import Page
from shearbolt.cli.render_visit import refused_lines, visit_summary

_RESULTS = {
    "answered": "answered",
    "refused": "refused",
    "denied": "access denied",
    "busy": "busy",
}
_ENGINE = {
    "running": "the engine runs",
    "turning": "the engine turns slower than idle",
    "stopped": "the engine stands",
    "unknown": "the engine's state is not told",
}
_ENDED_BY = {
    "silence": "silence",
    "longest": "cut, it went on",
    "stopped": "stopped",
    "disk": "disk full",
    "broken_off": "broken off before",
}
_SHOWN = 30


def frame_line(frame: AskedFrame) -> str:
    """Write one frame of ours: identifier, data, what it is."""
    return f"{frame['id']}  {frame['data']:<23}  {frame['words']}"


def render_ask(document: AskDocument, look: Look) -> list[str]:
    """Show how the machine stood, what was (or would be) sent, who answered, and the visit."""
    page = Page(look)
    stand = document["stand"]
    page.title("Asked" if document["sent"] else "Nothing was sent")
    standing = {
        True: "it stands still by its own readings",
        False: "it moves",
        None: "its readings do not say whether it stands still",
    }[stand["standing"]]
    rpm = stand["engine_rpm"]
    engine = _ENGINE[stand["engine"]] + ("" if rpm is None else f" ({rpm:.0f} rpm)")
    page.line([standing, engine], 2)
    for speed in stand["speeds"]:
        value = phrases.reading(speed["value"], speed["unit"], look)
        page.item(f"{speed['words']}, address {speed['address']}: {value}")
    if not document["sent"] and document["would_send"] and document["ended"] == "not_confirmed":
        page.blank()
        page.title("What would be sent, one a second")
        for frame in document["would_send"]:
            page.text(frame_line(frame), 2, hang=4)
    _requests(page, document["requests"])
    page.blank()
    for words in document["words"]:
        page.text(words, 0, hang=2)
    for visit in document["visits"]:
        page.blank()
        visit_summary(page, visit)
    refused_lines(page, document["refused"])
    if document["visits"]:
        page.more(f"shearbolt visit {document['visits'][0]['visit']}", "shearbolt yard")
    return page.lines


def _requests(page: Page, requests: list[AskRequest]) -> None:
    if not requests:
        return
    page.blank()
    page.title("What was asked, and who answered")
    rows = []
    for one in requests:
        said = ", ".join(
            f"{_who(answer['address'])} {_RESULTS[answer['result']]}" for answer in one["answers"]
        )
        whom = "all" if one["asked"] is None else _who(one["asked"])
        rows.append([one["what"], whom, said or "nobody"])
    page.table(["What", "Asked", "Answer"], rows)


def _who(address: int) -> str:
    return f"{address:03X}" if address > 0xFF else str(address)


def render_watch(document: WatchDocument, look: Look) -> list[str]:
    """Show what was recorded, what was deleted to make room, and what waits to be carried."""
    page = Page(look)
    page.title(f"Recordings in {document['folder']}")
    visits = document["visits"]
    if visits:
        page.table(
            ["Began", "Frames", "Size", "Ended by", "File"],
            [
                [
                    phrases.when(one["start"], look),
                    f"{one['frames']:,}",
                    phrases.size(one["bytes"]),
                    _ENDED_BY[one["ended_by"]],
                    one["file"],
                ]
                for one in visits[-_SHOWN:]
            ],
            right=(1, 2),
        )
    else:
        page.text("Nothing was recorded.", 2)
    if document["deleted"]:
        gone = phrases.many(len(document["deleted"]), "recording")
        page.text(f"Deleted to make room, carried away before: {gone}.", 2)
    page.text(f"{phrases.many(document['waiting'], 'recording')} to carry away.", 2)
    for words in document["words"]:
        page.item(words)
    page.more(f"shearbolt add {document['folder']}")
    return page.lines
