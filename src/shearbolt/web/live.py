"""One listening session at a time: begun from a page, watched by any number of browsers."""

from __future__ import annotations

import asyncio
import threading
from collections.abc import AsyncIterator
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from shearbolt.app import use_cases
from shearbolt.app.documents import ListenAsked, ListenDocument, LiveView, Wording, no_progress
from shearbolt.errors import ShearboltError

LiveState = Literal["idle", "opening", "listening", "filing", "ended", "trouble"]
_HEARTBEAT_S = 10.0
_FILING_S = 120.0
"""How long an ending server waits for what was heard to be filed; the next start files the rest."""


@dataclass(frozen=True, slots=True)
class Moment:
    """How a session stands."""

    state: LiveState
    view: LiveView | None = None
    outcome: ListenDocument | None = None
    trouble: str = ""


class Live:
    """The listening of one book."""

    def __init__(self, book: Path) -> None:
        self.book = book
        self._guard = threading.Lock()
        self._moment = Moment("idle")
        self._stop = threading.Event()
        self._thread: threading.Thread | None = None
        self._watchers: set[tuple[asyncio.AbstractEventLoop, asyncio.Event]] = set()

    @property
    def now(self) -> Moment:
        """How it stands."""
        with self._guard:
            return self._moment

    @property
    def running(self) -> bool:
        """A visit is being recorded, or filed."""
        return self.now.state in ("opening", "listening", "filing")

    def begin(self, asked: ListenAsked, wording: Wording) -> None:
        """Begin to listen; nothing happens where somebody has begun already."""
        with self._guard:
            if self._thread is not None and self._thread.is_alive():
                return
            self._stop.clear()
            self._moment = Moment("opening")
            self._thread = threading.Thread(
                target=self._listen, args=(asked, wording), name="listening"
            )
            self._thread.start()

    def stop(self) -> None:
        """Ask for the end; what was heard is filed."""
        with self._guard:
            if self._moment.state in ("opening", "listening"):
                self._moment = Moment("filing", self._moment.view)
        self._stop.set()
        self._tell()

    def close(self) -> None:
        """End with the server."""
        self.stop()
        if self._thread is not None:
            self._thread.join(_FILING_S)

    async def moments(self) -> AsyncIterator[Moment | None]:
        """Give each new moment while a session runs, and None now and then where there is none."""
        loop, changed = asyncio.get_running_loop(), asyncio.Event()
        with self._guard:
            self._watchers.add((loop, changed))
        try:
            while True:
                changed.clear()
                moment = self.now
                yield moment
                if moment.state in ("idle", "ended", "trouble"):
                    return
                try:
                    await asyncio.wait_for(changed.wait(), _HEARTBEAT_S)
                except TimeoutError:
                    yield None
        finally:
            with self._guard:
                self._watchers.discard((loop, changed))

    def _listen(self, asked: ListenAsked, wording: Wording) -> None:
        try:
            outcome = use_cases.listen(
                self.book,
                asked,
                show=self._show,
                stop=self._stop.is_set,
                progress=no_progress,
                wording=wording,
            )
            moment = Moment("ended", self.now.view, outcome)
        except ShearboltError as trouble:
            moment = Moment("trouble", trouble=trouble.sentence)
        except BaseException:
            # The window in which the server runs tells the details.
            self._set(Moment("trouble", trouble="Listening broke off inside Shearbolt."))
            raise
        self._set(moment)

    def _show(self, view: LiveView) -> None:
        state: LiveState = "filing" if self._stop.is_set() else "listening"
        self._set(Moment(state, view))

    def _set(self, moment: Moment) -> None:
        with self._guard:
            self._moment = moment
        self._tell()

    def _tell(self) -> None:
        with self._guard:
            watchers = list(self._watchers)
        for loop, changed in watchers:
            try:
                loop.call_soon_threadsafe(changed.set)
            except RuntimeError:
                # Its loop ended with the browser's connection.
                continue
