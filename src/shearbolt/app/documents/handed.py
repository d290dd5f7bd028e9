"""The sheet for a technician, and `shearbolt/handover/1`."""

from __future__ import annotations

from typing import Literal, TypedDict

from shearbolt.app.documents.record import FileWritten
from shearbolt.app.documents.values import Identifier


class SheetEvidence(TypedDict):
    """One piece of evidence on the sheet."""

    words: str
    """In one sentence."""
    weight: str
    """How much it counts, and which way, in words."""


class SheetSuspect(TypedDict):
    """One suspect on the sheet."""

    words: str
    """The cause in plain words."""
    chance: str
    """Its odds, written out."""
    evidence: list[SheetEvidence]
    """What counts most for or against it."""


class HandoverSheet(TypedDict):
    """Everything that stands on the page, in words and in its order."""

    title: str
    """The fault in plain words."""
    machine: str
    """What its people call the machine."""
    facts: list[str]
    """Code, controller, identification, engine hours, day: short pieces of one line."""
    advice: str | None
    """What may be done with the machine now."""
    when: list[str]
    """When it came."""
    conditions: list[str]
    """Under which conditions it starts."""
    stored: list[str]
    """Conditions that the controller stored with it."""
    suspects: list[SheetSuspect]
    """Candidate causes, likeliest first."""
    other: str | None
    """Chance of none of these."""
    done: list[str]
    """What was checked and changed, and what came of it."""
    tells: list[str]
    """What the machine tells, and what it does not."""
    questions: list[str]
    """What is still open."""
    cautions: list[str]
    """What can hurt someone."""
    made: str
    """Where this sheet comes from."""


class HandoverDocument(TypedDict):
    """`shearbolt handover`: one page for the technician, with its evidence."""

    schema: Literal["shearbolt/handover/1"]
    """Which document this is."""
    machine: Identifier
    """The machine."""
    machine_name: str
    """What its people call it."""
    fault: Identifier
    """The fault."""
    folder: str
    """Where it was written."""
    pages: Literal[1]
    """Pages of the sheet."""
    sheet: HandoverSheet
    """What stands on it."""
    files: list[FileWritten]
    """All files."""
