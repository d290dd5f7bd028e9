"""Recordings made by an unattended listener, in a folder to carry away.

    FOLDER/20260514T061209Z-7f3a1c.log.zst   a finished recording
    FOLDER/20260514T061209Z-7f3a1c.events    what happened beside its frames (gaps, lost frames)
    FOLDER/.watch/                           the listener's own: spool, list of what was carried
    FOLDER/.watch/carried                    names of recordings that a book has taken, one a line

The list is written by whoever brings the folder in; the listener deletes only what stands there.
"""

from __future__ import annotations

import contextlib
import os
from collections.abc import Iterable
from pathlib import Path

from shearbolt.app.filing import Heard

OWN = ".watch"
"""The listener's own folder inside the one that is carried away."""
CARRIED = "carried"
FINISHED = ".log.zst"
EVENTS = ".events"
SPOOLS = "spool"
"""A book's folder of spools, `live.SPOOL`; said here so that looking for it loads no listener."""


def events_beside(path: Path) -> Path:
    """Return where the events of a finished recording lie."""
    return path.with_name(path.name.removesuffix(FINISHED) + EVENTS)


def heard_by(path: Path) -> Heard | None:
    """Tell what an unattended listener noted beside a recording; None: it made no notes."""
    if not path.name.endswith(FINISHED):
        return None
    try:
        noted = events_beside(path).read_bytes()
    except OSError:
        return None
    # What listens is imported only where something was listened to.
    from shearbolt.app.spooled import heard_of
    from shearbolt.live import Recovered, read_events

    events = read_events(noted)
    finished = any(one.what in ("stopped", "disk_full") for one in events)
    heard = heard_of(Recovered(path, 1, 0, 0, events, finished))
    return Heard(heard.lost, heard.doubts, heard.happened, carried=True)


def mark_carried(taken: Iterable[Path]) -> None:
    """Note in the folders of unattended listeners that a book holds these recordings.

    A folder that cannot be written to is left as it is: its listener then keeps them.
    """
    for path in taken:
        own = path.parent / OWN
        if not path.name.endswith(FINISHED) or not own.is_dir():
            continue
        with contextlib.suppress(OSError):
            if path.name in carried_names(path.parent):
                continue
            with (own / CARRIED).open("a", encoding="utf-8", newline="\n") as out:
                out.write(path.name + "\n")
                out.flush()
                os.fsync(out.fileno())


def carried_names(folder: Path) -> frozenset[str]:
    """Return the names of recordings that were carried away."""
    try:
        lines = (folder / OWN / CARRIED).read_text(encoding="utf-8", errors="replace")
    except OSError:
        return frozenset()
    # A line that a power cut left without its end counts only if it is a whole name.
    return frozenset(line for line in lines.splitlines() if line.endswith(FINISHED))
