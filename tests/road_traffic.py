"""Frames of a tester and a vehicle as text, for the tests of road-vehicle diagnostics."""

from __future__ import annotations

from importlib import import_module
from typing import Any, TypeVar

from shearbolt.model.message import IsoTpMessage
from shearbolt.model.road import AnyRoadEvent
from shearbolt.wire.iso_tp import IsoTpListener
from shearbolt.wire.tester_dialogue import DialogueListener

Event = TypeVar("Event")
STEP_US = 10_000

# The second authority for ISO 14229; it does not say what it exports, so it is taken untyped.
udsoncan: Any = import_module("udsoncan")
services: Any = import_module("udsoncan.services")


def converse(text: str, step_us: int = STEP_US) -> list[AnyRoadEvent]:
    """Hear frames written as 'IDENT bytes; IDENT bytes' at equal steps, to the end."""
    listener, dialogue = IsoTpListener(), DialogueListener()
    events: list[AnyRoadEvent] = []
    for at, frame in enumerate(text.split(";")):
        ident, data = frame.split(maxsplit=1)
        extended = len(ident) > 3
        heard = listener.feed(at * step_us, 0, int(ident, 16), extended, bytes.fromhex(data))
        for one in heard:
            events += dialogue.feed(one)
    for one in listener.finish():
        events += dialogue.feed(one)
    return [*events, *dialogue.finish()]


def of_kind(
    events: list[AnyRoadEvent] | tuple[AnyRoadEvent, ...], kind: type[Event]
) -> list[Event]:
    """Keep the events of one class."""
    return [one for one in events if isinstance(one, kind)]


def message(payload: bytes | str, ident: int = 0x7E8, time_us: int = 0) -> IsoTpMessage:
    """Make a whole message of a unit (or of the tester)."""
    data = bytes.fromhex(payload) if isinstance(payload, str) else payload
    return IsoTpMessage(time_us, time_us, 0, ident, ident > 0x7FF, data)
