"""A moment in which Ctrl-C waits, so that what was begun is in somebody's hands before it comes."""

from __future__ import annotations

import signal
from collections.abc import Iterator
from contextlib import contextmanager


@contextmanager
def uninterrupted() -> Iterator[None]:
    """Hold Ctrl-C back until the block is done (where the system can; else it is as always)."""
    hold = getattr(signal, "pthread_sigmask", None)
    if hold is None:
        yield
        return
    before = hold(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        hold(signal.SIG_SETMASK, before)
