"""A fault's life over engine hours: looks that found it, looks that did not, repairs, clears. Pure.

Drawn as upright marks only, which stay true when the picture is squeezed to a phone's width; the
same is told as a table beside it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from shearbolt.app.documents import FaultDocument, MachineDocument
from shearbolt.web import phrases
from shearbolt.web.look import Look

MarkKind = Literal["there", "not_there", "repair", "clear"]
WORDS: dict[MarkKind, str] = {
    "there": "It was there",
    "not_there": "Looked, and it was not told",
    "repair": "Repaired",
    "clear": "Memory wiped",
}


@dataclass(frozen=True, slots=True)
class Mark:
    """Something at an hour of the engine's life."""

    kind: MarkKind
    x: float
    """Across, 0 to 1000."""
    hours: float
    words: str
    when: str


@dataclass(frozen=True, slots=True)
class Life:
    """The marks, and the hours at both ends."""

    first: str
    last: str
    marks: tuple[Mark, ...]
    kinds: tuple[tuple[MarkKind, str], ...]
    """The kinds that there are, with their words, for the legend."""


def life_of(fault: FaultDocument, machine: MachineDocument, look: Look) -> Life | None:
    """Place what is known of a fault on the machine's hours; None where hours tell nothing."""
    found: list[tuple[MarkKind, float, str, str | None]] = []
    seen = set(fault["visits"])
    for visit in machine["visits"]:
        hours = visit["engine_hours_end"]
        if hours is None:
            continue
        there = visit["visit"] in seen
        # What was written down tells nothing of other faults, and gaps may have hidden this one.
        if there or (visit["kind"] != "by_hand" and visit["quality"] == "complete"):
            kind: MarkKind = "there" if there else "not_there"
            found.append((kind, hours, WORDS[kind], visit["start"]))
    for repair in machine["repairs"]:
        if repair["hours"] is not None and fault["fault"] in repair["faults"]:
            found.append(("repair", repair["hours"], repair["text"], repair["date"]))
    for event in (*fault["events"], *machine["events"]):
        if event["what"] == "clear" and event["hours"] is not None:
            found.append(("clear", event["hours"], event["words"], event["at"]))
    found = sorted(set(found), key=lambda one: (one[1], one[0]))
    if len({one[1] for one in found}) < 2:
        return None
    low, high = found[0][1], found[-1][1]
    kinds: tuple[MarkKind, ...] = ("there", "not_there", "repair", "clear")
    there_are = {one[0] for one in found}
    return Life(
        first=phrases.hours(low),
        last=phrases.hours(high),
        marks=tuple(
            Mark(
                kind,
                round(10 + 980 * (hours - low) / (high - low), 1),
                hours,
                phrases.sentence(told).rstrip("."),
                phrases.when(time, look) if time else "",
            )
            for kind, hours, told, time in found
        ),
        kinds=tuple((kind, WORDS[kind]) for kind in kinds if kind in there_are),
    )
