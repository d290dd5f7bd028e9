"""What is shown while listening goes on: the verdict, the faults, the main readings. Pure."""

from __future__ import annotations

from dataclasses import dataclass

from shearbolt.app.documents import LiveFault, LiveView, MachineDocument
from shearbolt.web import phrases, words
from shearbolt.web.look import Look
from shearbolt.web.verdict import BY_LAMPS

GROUND_SPEEDS = (84, 517, 1859, 1862)
"""Parameters that are speeds over ground (SAE J1939-71, ISO 11783-7)."""
_ORDER = ("stop_now", "finish_gently", "none", "keep_working", "note_only")


@dataclass(frozen=True, slots=True)
class LiveShown:
    """The page of a moment."""

    machine: str
    name: str
    kind: str
    """Class of the advice, or 'none'."""
    word: str
    line: str
    moving: bool
    """It moves: nothing but the verdict is shown, and nothing can be tapped."""
    seconds: str
    heard: bool
    faults: tuple[tuple[str, bool, str, str], ...]
    """Words, whether it is on, its lamps, and who tells it with its code."""
    readings: tuple[tuple[str, str, bool], ...]
    """Words, value, and whether it is fresh."""
    troubles: tuple[str, ...]
    events: tuple[str, ...]
    """What happened beside the frames, the latest last."""


def live_shown(view: LiveView, machine: MachineDocument | None, look: Look) -> LiveShown:
    """Make the page of a moment; `machine` is what the book knows of it."""
    on = [one for one in view["faults"] if one["state"] == "active"]
    kind, line = _verdict(on, machine)
    return LiveShown(
        machine=view["machine"] or "",
        name=view["machine_name"] or "A machine that the book does not know yet",
        kind=kind,
        word=_word(kind, bool(on), view["frames"] > 0),
        line=line if view["frames"] else "",
        moving=is_moving(view),
        seconds=phrases.span(view["seconds"]),
        heard=view["frames"] > 0,
        faults=tuple(
            (
                phrases.sentence(one["words"]).rstrip("."),
                one["state"] == "active",
                ", ".join(phrases.lamps_lit(one["lamps"])),
                " · ".join(
                    part
                    for part in (
                        one["controller_words"],
                        phrases.code(one["spn"], one["fmi"], one["code"]),
                    )
                    if part
                ),
            )
            for one in view["faults"]
        ),
        readings=tuple(
            (one["words"], phrases.reading(one["value"], one["unit"], look), one["fresh"])
            for one in view["readings"]
        ),
        troubles=tuple(
            phrases.sentence(one)
            for one in (
                *(told for adapter in view["adapters"] for told in adapter["words"]),
                *(finding["words"] for finding in view["health"]),
            )
        ),
        events=tuple(phrases.sentence(one["words"]) for one in view["events"][-3:]),
    )


def is_moving(view: LiveView) -> bool:
    """Tell whether a speed over ground that came just now is above zero."""
    return any(
        one["spn"] in GROUND_SPEEDS and one["fresh"] and one["value"] > 0
        for one in view["readings"]
    )


def _word(kind: str, on: bool, heard: bool) -> str:
    if not heard:
        return "Nothing heard yet"
    if kind == "none" and not on:
        return "Nothing told so far"
    return words.ADVICE[kind]


def _verdict(on: list[LiveFault], machine: MachineDocument | None) -> tuple[str, str]:
    """Judge by the lamps, then by what the book says of each fault that is on.

    A lit red stop lamp is 'stop now' whatever else is known.
    """
    if not on:
        return "none", "Nobody has told a fault since listening began, which proves nothing."
    if any(one["lamps"]["red_stop"] in words.LAMP_STATES for one in on):
        return "stop_now", "The red stop lamp is lit: stop as soon as it is safe."
    judged = [_known(one, machine) for one in on]
    return min(judged, key=lambda one: _ORDER.index(one[0]))


def _known(heard: LiveFault, machine: MachineDocument | None) -> tuple[str, str]:
    for one in machine["faults"] if machine is not None else ():
        advice = one["advice"]
        same = (one["spn"], one["fmi"]) == (heard["spn"], heard["fmi"])
        if same and one["code"] == heard["code"] and advice is not None:
            # The first sentence is enough for somebody who drives.
            return advice["class"], phrases.first_sentence(advice["words"])
    return "none", f"{phrases.sentence(heard['words'])} {BY_LAMPS}"
