"""A real browser and a real server for tests: the system's Chromium, and uvicorn on loopback."""

from __future__ import annotations

import asyncio
import os
import shutil
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import uvicorn
from playwright.sync_api import Browser, BrowserContext, Page, Route, sync_playwright

from shearbolt.web.serving import HOST, opened_port
from shearbolt.web.site import make_site

FLAGS = (
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-sync",
    "--disable-background-networking", "--disable-component-update", "--disable-extensions",
)  # fmt: skip
PHONE = (360, 740)
DESK = (1280, 900)


def chromium() -> str | None:
    """Find the system's Chromium: SHEARBOLT_CHROMIUM, else by its usual names."""
    names = (os.environ.get("SHEARBOLT_CHROMIUM") or "chromium", "chromium-browser", "chrome")
    return next((found for one in names if (found := shutil.which(one))), None)


@contextmanager
def browser_of(program: str) -> Iterator[Browser]:
    """Run Chromium without a window."""
    with sync_playwright() as playwright:
        found = playwright.chromium.launch(executable_path=program, args=list(FLAGS))
        try:
            yield found
        finally:
            found.close()


@contextmanager
def served(book: Path) -> Iterator[str]:
    """Serve a book on a free port of loopback; gives the address, without a slash at its end."""
    port = opened_port(0)
    server = uvicorn.Server(
        uvicorn.Config(make_site(book), log_level="warning", ws="none", server_header=False)
    )
    started = threading.Event()

    async def serving() -> None:
        task = asyncio.create_task(server.serve(sockets=[port]))
        while not server.started and not task.done():
            await asyncio.sleep(0.01)
        started.set()
        await task

    thread = threading.Thread(target=lambda: asyncio.run(serving()))
    thread.start()
    try:
        assert started.wait(30)
        yield f"http://{HOST}:{port.getsockname()[1]}"
    finally:
        server.should_exit = True
        thread.join()
        port.close()


class Hands:
    """One person's browser: what they see, what it asks for, and what went wrong in it."""

    def __init__(self, context: BrowserContext, site: str) -> None:
        self.context = context
        self.site = site
        self.page: Page = context.new_page()
        self.asked: list[str] = []
        self.troubles: list[str] = []
        context.on("request", lambda one: self.asked.append(one.url))
        self.page.on("pageerror", lambda one: self.troubles.append(str(one)))
        self.page.on(
            "console", lambda one: self.troubles.append(one.text) if one.type == "error" else None
        )
        self.page.set_default_timeout(60_000)

    def open(self, address: str) -> Page:
        """Open an address of the site."""
        self.page.goto(self.site + address)
        return self.page

    def see(self, words: str) -> None:
        """Wait until a text is to be seen."""
        self.page.get_by_text(words).first.wait_for()

    def addresses(self) -> list[str]:
        """One of each kind of page there is."""
        machine = str(self.open("/").locator("a.machine").first.get_attribute("href"))
        page = self.open(machine)
        kinds = (
            "a.row[href^='/faults/']",
            "a.row:has-text('Recording')",
            "a.row:has-text('down ·')",
        )
        found = [str(page.locator(one).first.get_attribute("href")) for one in kinds]
        found += [found[0] + "/checks/look_at_plug", found[0] + "/picture/life"]
        found += [machine + "/picture/soot"]
        forms = [machine + "/note", machine + "/repair", "/note", "/bring", "/live", "/settings"]
        plugs = ["/plug", "/plug/nine-round", "/plug/sixteen-long"]
        return ["/", machine, *found, *forms, *plugs, "/nowhere"]


@contextmanager
def hands(
    browser: Browser, site: str, size: tuple[int, int] = PHONE, *, script: bool = True,
    glove: bool = False,
) -> Iterator[Hands]:  # fmt: skip
    """Give a person a browser of their own; whatever goes wrong in it fails the test."""
    context = browser.new_context(
        viewport={"width": size[0], "height": size[1]},
        has_touch=size == PHONE,
        java_script_enabled=script,
        timezone_id="Europe/Berlin",
    )
    if glove:
        context.add_cookies([{"name": "shearbolt_glove", "value": "on", "url": site}])
    try:
        yield Hands(context, site)
    finally:
        context.close()


def lose_answer(route: Route) -> None:
    """Let a request do its work, and lose the answer on the way back."""
    route.fetch(max_redirects=0)
    route.abort("connectionreset")
