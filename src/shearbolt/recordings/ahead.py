"""Reading ahead: one thread prepares the next items while the caller works on those it has."""

from __future__ import annotations

import threading
from collections.abc import Callable, Generator
from queue import Queue
from typing import TypeVar

from shearbolt.recordings.recording import Progress

T = TypeVar("T")
AHEAD = 1
"""Items that wait, at most, for a caller who is slower than the reader."""


class _Stopped(Exception):
    """Ends the reading when nobody wants more."""


class _End:
    """The last thing in the queue: what broke the reading off, if anything did."""

    def __init__(self, trouble: BaseException | None = None) -> None:
        self.trouble = trouble


def ahead(
    make: Callable[[Progress], Generator[T, None, None]], progress: Progress | None = None
) -> Generator[T, None, None]:
    """Give the items that `make` gives, in their order, prepared in a thread of its own.

    At most AHEAD items wait besides the one being prepared. `make` is handed the place for its
    progress; that of the caller is told in the caller's thread, as items are handed on. What is
    raised while preparing comes out here in its turn. The thread begins with the second item, so
    that a short recording needs none, and has ended when the generator has.
    """
    done = 0
    stopping = threading.Event()

    def note(count: int) -> None:
        nonlocal done
        if stopping.is_set():
            raise _Stopped
        done = count

    items = make(note)
    try:
        first = next(items, None)
    except BaseException:
        items.close()
        raise
    if first is None:
        return
    count = done
    queue: Queue[tuple[T, int] | _End] = Queue(AHEAD)

    def prepare() -> None:
        end: _End = _End()
        try:
            for item in items:
                queue.put((item, done))
                if stopping.is_set():
                    break
        except _Stopped:
            pass
        except BaseException as trouble:
            end = _End(trouble)
        finally:
            items.close()
        queue.put(end)

    thread = threading.Thread(target=prepare, name="reading ahead", daemon=True)
    thread.start()
    end: _End | None = None
    try:
        if progress is not None:
            progress(count)
        yield first
        del first
        while end is None:
            given = queue.get()
            if isinstance(given, _End):
                end = given
                break
            item, count = given
            del given
            if progress is not None:
                progress(count)
            yield item
            del item
    finally:
        stopping.set()
        while end is None:
            # The thread may be waiting to put what nobody takes any more.
            given = queue.get()
            end = given if isinstance(given, _End) else None
        thread.join()
    if end.trouble is not None:
        raise end.trouble
