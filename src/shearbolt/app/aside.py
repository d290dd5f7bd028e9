"""Work done aside: a thread that takes things one by one, in order, while another goes on."""

from __future__ import annotations

import threading
import types
from collections.abc import Callable
from queue import Queue
from typing import Generic, Self, TypeVar

WAITING = 1
"""Things that wait, at most; whoever hands over more waits too, so that memory stays bounded."""

Thing = TypeVar("Thing")


class _End:
    """What is handed over last."""


_END = _End()


class Aside(Generic[Thing]):
    """Does `work` on each thing handed over; a context that ends when all is done.

    What goes wrong is raised at the next hand-over, or at the end. When the context is left by an
    error, what still waits is let go of.
    """

    def __init__(self, work: Callable[[Thing], None]) -> None:
        self._work = work
        self._queue: Queue[Thing | _End] = Queue(WAITING)
        self._trouble: BaseException | None = None
        self._given_up = False
        self._thread = threading.Thread(target=self._run, name="aside", daemon=True)

    def __enter__(self) -> Self:
        self._thread.start()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        trouble: BaseException | None,
        trace: types.TracebackType | None,
    ) -> None:
        self._given_up = trouble is not None
        self._queue.put(_END)
        self._thread.join()
        if trouble is None and self._trouble is not None:
            raise self._trouble

    def hand(self, thing: Thing) -> None:
        """Hand a thing over; raises what went wrong with an earlier one."""
        if self._trouble is not None:
            raise self._trouble
        self._queue.put(thing)

    def _run(self) -> None:
        while not isinstance(thing := self._queue.get(), _End):
            if self._trouble is not None or self._given_up:
                continue  # taken all the same, so that nobody waits to put it
            try:
                self._work(thing)
            except BaseException as trouble:
                self._trouble = trouble
            del thing
