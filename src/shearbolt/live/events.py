"""What happened while listening, beside the frames: one JSON object a line in a file of its own."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import Literal, cast, get_args

from shearbolt.model.instants import Instant

What = Literal[
    "started",
    "opened",
    "wrong_rate",
    "gone",
    "back",
    "clock_jump",
    "stamp_jump",
    "overrun",
    "reader_died",
    "reader_stuck",
    "synced",
    "disk_full",
    "stopped",
]
"""
started     listening began
opened      an adapter was opened: interface, bitrate, rate_from, listen_only
wrong_rate  only error frames at a rate: bitrate
gone        an adapter no longer answers: reason; `at_us` is its last frame's
back        it answers again: gap_us
clock_jump  the computer's clock was set: by_us
stamp_jump  the adapter's own clock jumped
overrun     frames were lost: count, where ('driver' or 'here')
reader_died, reader_stuck   the thread that reads an adapter ended or hangs
synced      everything up to `bytes` of the spool is on the disk
disk_full   what is heard can no longer be written down: reason
stopped     listening ended in good order: reason
"""
_KINDS = frozenset(get_args(What))


@dataclass(frozen=True, slots=True)
class Event:
    """One thing that happened."""

    at_us: Instant
    what: What
    channel: str | None = None
    """Of which adapter; None: of all."""
    figures: tuple[tuple[str, str | int | None], ...] = ()
    """Named figures, as listed at `What`."""

    def figure(self, name: str) -> str | int | None:
        """Return one of its figures, None where it has none of that name."""
        return dict(self.figures).get(name)

    def number(self, name: str) -> int:
        """Return a figure that is a whole number, else 0."""
        value = self.figure(name)
        return value if isinstance(value, int) else 0


def event_line(event: Event) -> str:
    """Write an event as one line, line end included."""
    told: dict[str, str | int | None] = {"at_us": event.at_us, "what": event.what}
    if event.channel is not None:
        told["channel"] = event.channel
    return json.dumps(told | dict(event.figures)) + "\n"


def read_events(data: bytes) -> tuple[Event, ...]:
    """Read the lines that can be read; lines that were cut or zeroed are left out."""
    found: list[Event] = []
    for line in data.split(b"\n"):
        try:
            told = json.loads(line.strip(b"\0"))
        except ValueError:
            continue
        if not isinstance(told, dict):
            continue
        at_us, what, channel = told.pop("at_us", None), told.pop("what", None), None
        if "channel" in told:
            channel = told.pop("channel")
        if type(at_us) is not int or what not in _KINDS:
            continue
        if channel is not None and not isinstance(channel, str):
            continue
        figures = tuple(
            (name, value)
            for name, value in told.items()
            if value is None or isinstance(value, str) or type(value) is int
        )
        found.append(Event(at_us, cast(What, what), channel, figures))
    return tuple(found)
