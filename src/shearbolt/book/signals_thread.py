"""A visit's frames and messages written to Parquet in a thread of its own, while others work."""

from __future__ import annotations

import threading
from collections.abc import Iterable
from pathlib import Path
from queue import Queue
from typing import TYPE_CHECKING, TypeAlias

from shearbolt.kernels import Groups
from shearbolt.model.frames import Frames
from shearbolt.model.message import Message
from shearbolt.model.state import StateTable

if TYPE_CHECKING:
    from shearbolt.book.records import Part
    from shearbolt.book.signals import SignalsWriter

WAITING = 2
"""Blocks that wait, at most; the caller waits for the disk beyond these."""
_Given: TypeAlias = tuple[Frames, Groups | None] | list[Message] | StateTable | None
"""Frames, messages, the state, or the end."""


class SignalsThread:
    """A `signals.SignalsWriter` behind a bounded queue; loading Polars is left to its thread."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._rows = 0
        self._parts: tuple[Part, ...] = ()
        self._trouble: BaseException | None = None
        self._given_up = False
        self._queue: Queue[_Given] = Queue(WAITING)
        self._thread = threading.Thread(target=self._run, name="signals", daemon=True)
        self._thread.start()

    @property
    def rows(self) -> int:
        """Frames taken so far."""
        return self._rows

    @property
    def parts(self) -> tuple[Part, ...]:
        """The files written; known once it was finished."""
        return self._parts

    def frames(self, block: Frames, grouped: Groups | None = None) -> None:
        """Append frames in the recording's order; raises what went wrong with earlier ones."""
        self._check()
        self._rows += len(block)
        self._queue.put((block, grouped))

    def messages(self, messages: Iterable[Message]) -> None:
        """Append reassembled messages; raises what went wrong with earlier ones."""
        self._check()
        some = list(messages)
        if some:
            self._queue.put(some)

    def state(self, table: StateTable) -> None:
        """Keep the visit's second-by-second state; raises what went wrong earlier."""
        self._check()
        self._queue.put(table)

    def finish(self) -> None:
        """Wait until all is written and synced; raises what went wrong."""
        self._end()
        self._check()

    def close(self) -> None:
        """End early; what was written is useless then."""
        self._given_up = True
        self._end()

    def _end(self) -> None:
        if self._thread.is_alive():
            self._queue.put(None)
            self._thread.join()

    def _check(self) -> None:
        if self._trouble is not None:
            raise self._trouble

    def _run(self) -> None:
        writer: SignalsWriter | None = None
        while (given := self._queue.get()) is not None:
            if self._trouble is not None or self._given_up:
                continue  # taken all the same, so that nobody waits to put it
            try:
                if writer is None:
                    writer = self._writer()
                if isinstance(given, tuple):
                    writer.frames(*given)
                elif isinstance(given, StateTable):
                    writer.state(given)
                else:
                    writer.messages(given)
            except BaseException as trouble:
                self._trouble = trouble
            del given
        try:
            if writer is not None and self._trouble is None and not self._given_up:
                writer.finish()
                self._parts = writer.parts
        except BaseException as trouble:
            self._trouble = trouble

    def _writer(self) -> SignalsWriter:
        from shearbolt.book.signals import SignalsWriter

        return SignalsWriter(self._folder)
