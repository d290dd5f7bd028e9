"""Listening from a page: one session, seen by all, judged by its lamps, filed at its end."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import can
import pytest
from playwright.sync_api import Browser
from tests.bus_traffic import Bus
from tests.made_documents import machine_document
from tests.made_faults import fault as known_fault
from tests.made_faults import reasoned_fault
from tests.made_heard import fault, view
from tests.small_yard import NAMES
from tests.web.browser import PHONE, browser_of, chromium, hands, served
from tests.web.pages import COOLANT, NOW, OUR_PAGE, Inside, Pages

from shearbolt.app import use_cases
from shearbolt.app.documents import ListenAsked, LiveView, ShowLive
from shearbolt.errors import AdapterAbsent
from shearbolt.model.frames import plain_frames
from shearbolt.web.look import Look
from shearbolt.web.view_live import live_shown

LOOK = Look(now=NOW)
DARK = {"mil": "off", "red_stop": "off", "amber_warning": "on", "protect": "off"}


class Told:
    """A bus whose moments tests tell, in the place of a real one."""

    def __init__(self) -> None:
        self.asked: list[ListenAsked] = []
        self.show: ShowLive | None = None
        self.begun = threading.Event()
        self.trouble: Exception | None = None

    def listen(
        self, book: Path, asked: ListenAsked, *, show: ShowLive, stop: Callable[[], bool],
        **_: object,
    ) -> Any:  # fmt: skip
        self.asked.append(asked)
        self.show = show
        self.begun.set()
        if self.trouble is not None:
            raise self.trouble
        ended = threading.Event()
        while not stop():
            ended.wait(0.02)
        return {"words": ["It was quiet."], "visits": []}

    def tell(self, **changes: Any) -> None:
        """Tell the view of a moment."""
        assert self.begun.wait(30)
        assert self.show is not None
        self.show(view(**changes))


@pytest.fixture
def told(monkeypatch: pytest.MonkeyPatch) -> Told:
    made = Told()
    monkeypatch.setattr(use_cases, "listen", made.listen)
    return made


def begun(pages: Pages, **fields: str) -> int:
    return pages.sent("/live/begin", {"hours": "", **fields})[0]


def ended(pages: Pages) -> None:
    """Wait for the end of the session, as a browser does: until its events end."""
    with pages.stream("GET", "/live/events") as answer:
        assert "event: ended" in "".join(answer.iter_text())


def test_one_session_is_seen_on_every_page(pages: Pages, told: Told) -> None:
    assert "A visit is being recorded" not in pages.shown("/")
    assert begun(pages, machine="Grey", hours="131,5", channel="can0 can1") == 303
    told.tell()
    assert told.asked == [ListenAsked(None, ("can0", "can1"), None, (), "Grey", 131.5)]
    assert "A visit is being recorded" in pages.shown("/")
    # Beginning again changes nothing.
    assert begun(pages) == 303
    assert len(told.asked) == 1
    shown = Inside(pages.shown("/live")).text
    for words in ("Recording · 1 min 15 s", "Forage harvester", "Stop now", "1,500 rpm", "(old)"):
        assert words in shown, words
    assert pages.sent("/live/stop", {})[:2] == (303, "/live")
    ended(pages)
    shown = Inside(pages.shown("/live")).text
    assert "It was quiet." in shown
    assert "Begin to listen" in shown
    assert "A visit is being recorded" not in pages.shown("/")


def test_moments_come_as_they_are(pages: Pages, told: Told) -> None:
    begun(pages)
    told.tell(faults=[])
    pages.sent("/live/stop", {})
    with pages.stream("GET", "/live/events") as answer:
        assert answer.headers["content-type"].startswith("text/event-stream")
        sent = "".join(answer.iter_text())
    assert sent.startswith("retry: ")
    assert all(
        line == "" or line.startswith(("data: ", "event: ", "retry: ", ":"))
        for line in sent.splitlines()
    )
    assert sent.endswith("event: ended\ndata: .\n\n")


def test_an_adapter_that_is_not_there_is_one_sentence(pages: Pages, told: Told) -> None:
    told.trouble = AdapterAbsent("No adapter was found; say which --interface it has.")
    begun(pages)
    ended(pages)
    shown = Inside(pages.shown("/live")).text
    assert "No adapter was found." in shown
    assert "--interface" not in shown


def test_what_another_page_sends_begins_nothing(pages: Pages, told: Told) -> None:
    for address in ("/live/begin", "/live/stop"):
        assert pages.post(address, data={}).status_code == 403
    assert pages.post("/live/begin", data={"hours": "x"}, headers=OUR_PAGE).status_code == 422
    assert begun(pages, bitrate="12") == 422
    assert told.asked == []


def test_no_field_and_no_button_while_it_moves(pages: Pages, told: Told) -> None:
    begun(pages)
    speed = {"spn": 84, "words": "Speed", "value": 3.2, "unit": "km/h", "fresh": True}
    told.tell(readings=[speed])
    elements = Inside(pages.shown("/live")).elements
    forms = [attributes for tag, attributes in elements if tag == "form"]
    assert forms
    assert all("hidden" in one for one in forms)
    assert not any(tag in ("input", "select", "dl") for tag, _ in elements)
    assert "Stop now" in Inside(pages.shown("/live")).text
    for address in ("/note", "/repair"):
        answer = pages.get(pages.machine() + address)
        assert (answer.status_code, answer.headers["location"]) == (303, "/live")
    told.tell(readings=[{**speed, "value": 0.0}])
    assert "<form" in pages.shown(pages.machine() + "/note")
    forms = [one for tag, one in Inside(pages.shown("/live")).elements if tag == "form"]
    assert not any("hidden" in one for one in forms)


def judged(made: LiveView, *faults: Any) -> tuple[str, str]:
    shown = live_shown(made, machine_document(faults=list(faults)), LOOK)
    return shown.kind, shown.word


def test_a_red_lamp_is_stop_now_whatever_is_known() -> None:
    gentle = reasoned_fault(spn=100, fmi=1)
    assert judged(view(), gentle) == ("stop_now", "Stop now")
    for state in ("slow", "fast"):
        flashing = fault(lamps={**DARK, "red_stop": state})
        assert judged(view(faults=[flashing]), gentle) == ("stop_now", "Stop now")


def test_without_one_the_book_judges_what_is_on() -> None:
    on = fault(lamps=DARK)
    gentle = reasoned_fault(spn=100, fmi=1)
    assert judged(view(faults=[on]), gentle) == ("finish_gently", "Finish gently")
    assert judged(view(faults=[on])) == ("none", "No advice yet")
    assert judged(view(faults=[on]), known_fault(spn=100, fmi=1)) == ("none", "No advice yet")
    # Of two the more careful one counts, and what nobody judged is no reason for ease.
    note = reasoned_fault(spn=110, fmi=0)
    note["advice"] = {**(gentle["advice"] or {}), "class": "note_only"}  # type: ignore[typeddict-item]
    other = fault(spn=110, fmi=0, lamps=DARK)
    assert judged(view(faults=[other]), note)[0] == "note_only"
    assert judged(view(faults=[other, on]), note, gentle)[0] == "finish_gently"
    assert judged(view(faults=[other, on]), note)[0] == "none"


def test_silence_is_never_shown_as_health() -> None:
    assert judged(view(faults=[])) == ("none", "Nothing told so far")
    assert judged(view(faults=[], frames=0)) == ("none", "Nothing heard yet")
    gone = fault(state="previously_active")
    assert judged(view(faults=[gone])) == ("none", "Nothing told so far")


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    program = chromium()
    if program is None:
        pytest.skip("there is no Chromium on this system")
    with browser_of(program) as found:
        yield found


def test_a_bus_is_heard_in_a_browser_and_becomes_a_visit(browser: Browser, book: Path) -> None:
    bus = Bus()
    for address, name in NAMES.items():
        bus.claim(0.1, address, name)
    bus.alive(0, 3, *NAMES)
    bus.dm1_each(0.2, 3, *COOLANT, lamps=0x04)
    with served(book) as site, hands(browser, site, PHONE) as one:
        page = one.open("/live")
        page.get_by_text("The adapter is not found by itself").tap()
        page.get_by_label("Its kind").fill("virtual")
        page.get_by_label("Its channel").fill("heard_by_a_page")
        page.get_by_role("button", name="Begin to listen").tap()
        page.get_by_text("Nothing heard yet").wait_for()
        with can.Bus("heard_by_a_page", interface="virtual") as sender:
            for row in plain_frames(bus.frames):
                sender.send(can.Message(arbitration_id=row.ident, data=row.data))
        page.get_by_text("Engine coolant temperature").first.wait_for()
        page.get_by_role("heading", name="Grey").wait_for()
        page.get_by_role("button", name="End, and put it in the book").tap()
        page.get_by_role("heading", name="What came of it").wait_for()
        page.get_by_role("link", name="Grey").tap()
        page.get_by_role("heading", name="What this look told").wait_for()
        assert one.troubles == []
