"""Asking the pages in tests: in-process, as a browser on the same computer would."""

from __future__ import annotations

import re
from datetime import UTC, datetime
from html.parser import HTMLParser
from pathlib import Path

from starlette.testclient import TestClient
from tests.bus_traffic import dtc
from tests.small_yard import Yard, small_yard

from shearbolt.web.site import Limits, make_site

HOST = "127.0.0.1:8417"
NOW = datetime(2026, 5, 20, 9, 0, tzinfo=UTC)
OUR_PAGE = {"origin": f"http://{HOST}", "sec-fetch-site": "same-origin"}
"""What a browser says of itself when a form of ours is sent."""
JSON = {**OUR_PAGE, "accept": "application/json"}
COOLANT = (0, dtc(110, 0, 3))
OIL = (0, dtc(100, 1, 2))


def faulty_yard(folder: Path) -> Yard:
    """Make a book whose grey one runs hot and lost its oil pressure, with a repair and a note."""
    yard = small_yard(folder)
    yard.add(COOLANT, day=1)
    yard.add(OIL, day=2)
    yard.note("weak lift", "--hours", "120")
    return yard


class Pages(TestClient):
    """The pages of a book, asked from a browser on this computer."""

    known = ""

    def __init__(self, book: Path, *, limits: Limits | None = None, strict: bool = True) -> None:
        self.book = book
        app = make_site(book, limits=limits, now=lambda: NOW)
        super().__init__(
            app,
            base_url=f"http://{HOST}",
            follow_redirects=False,
            raise_server_exceptions=strict,
        )

    def shown(self, address: str, status: int = 200) -> str:
        """Give the HTML of a page."""
        answer = self.get(address)
        assert answer.status_code == status, answer.text
        return answer.text

    def key(self, address: str) -> str:
        """Open a form and give its key."""
        found = re.search(r'name="key" value="([^"]+)"', self.shown(address))
        assert found is not None
        return found[1]

    def sent(self, address: str, fields: dict[str, str], **headers: str) -> tuple[int, str, str]:
        """Send a form; give its status, where it leads and what it shows."""
        answer = self.post(address, data=fields, headers={**OUR_PAGE, **headers})
        return answer.status_code, answer.headers.get("location", ""), answer.text

    def machine(self) -> str:
        """Give the address of the only machine, which every copy of the book has."""
        if not Pages.known:
            found = re.search(r'"(/machines/\w+)"', self.shown("/"))
            assert found is not None
            Pages.known = found[1]
        return Pages.known

    def fault(self, name: str) -> str:
        """Give the address of a fault of the only machine by its words."""
        for link, words in re.findall(
            r'href="(/faults/\w+)">(.*?)</a>', self.shown(self.machine()), re.S
        ):
            if name in words:
                return str(link)
        raise AssertionError(name)


class Inside(HTMLParser):
    """What a page holds: its elements with their attributes, and its text."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.elements: list[tuple[str, dict[str, str | None]]] = []
        self.texts: list[str] = []
        self.feed(html)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Keep an element."""
        self.elements.append((tag, dict(attrs)))

    def handle_data(self, data: str) -> None:
        """Keep text."""
        if data.strip():
            self.texts.append(" ".join(data.split()))

    @property
    def text(self) -> str:
        """All text, in order."""
        return " ".join(self.texts)
