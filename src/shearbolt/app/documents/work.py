"""Documents of what people do about faults: checks done, causes found, repairs."""

from __future__ import annotations

from typing import Literal, TypedDict

from shearbolt.app.documents.fault import Check, Followup, Suspect
from shearbolt.app.documents.values import Cause, Identifier, Share, Time


class CheckDoneEntry(TypedDict):
    """A check that a person did, and what came of it."""

    check_done: Identifier
    """The entry."""
    fault: Identifier | None
    """The fault it was done for."""
    fault_text: str | None
    """That fault in plain words."""
    check: Identifier
    """Which check of the catalogue."""
    title: str
    """The check in a few words."""
    outcome: str
    """Name of the outcome in the catalogue."""
    outcome_words: str
    """What came of it."""
    value: float | None
    """What was measured."""
    unit: str | None
    """Its unit."""
    hours: float | None
    """Engine hours at which it was done."""
    date: Time | None
    """When it was done; midnight UTC stands for the day."""
    who: str | None
    """Who did it."""
    note: str | None
    """What they wrote beside it."""
    withdrawn: bool
    """Not so after all."""


class CheckAddDocument(CheckDoneEntry):
    """`shearbolt check add`: the answer filed, and what is likely now."""

    schema: Literal["shearbolt/check-add/1"]
    """Which document this is."""
    machine: Identifier
    """The machine."""
    machine_name: str
    """What its people call it."""
    suspects_before: list[Suspect]
    """Suspects before this answer."""
    suspects: list[Suspect]
    """Suspects now."""
    probability_other: Share | None
    """Chance of 'none of these' now."""
    checks: list[Check]
    """What to check next."""


class ChecksDocument(TypedDict):
    """`shearbolt check list`: checks done on a machine, and what its faults ask for next."""

    schema: Literal["shearbolt/checks/1"]
    """Which document this is."""
    machine: Identifier
    """The machine."""
    machine_name: str
    """What its people call it."""
    done: list[CheckDoneEntry]
    """Checks done, in their order."""


class CauseDocument(TypedDict):
    """`shearbolt cause add`: a confirmed cause, knowledge that belongs to the farm."""

    schema: Literal["shearbolt/cause/1"]
    """Which document this is."""
    cause_found: Identifier
    """The entry."""
    machine: Identifier
    """The machine."""
    machine_name: str
    """What its people call it."""
    fault: Identifier
    """The fault."""
    fault_text: str
    """That fault in plain words."""
    cause: Cause
    """Cause class."""
    words: str
    """In the person's words."""
    grade: Literal["measured", "swapped", "part_held", "opinion"]
    """How it was confirmed."""
    hours: float | None
    """Engine hours."""
    date: Time | None
    """When; midnight UTC stands for the day."""
    who: str | None
    """Who says so."""


class RepairEntry(TypedDict):
    """A repair with all that was written down of it, and whether it held."""

    repair: Identifier
    """The repair."""
    text: str
    """What was done."""
    hours: float | None
    """Engine hours at which it was done."""
    date: Time | None
    """When it was done; midnight UTC stands for the day."""
    parts: str | None
    """Parts used."""
    cost: float | None
    """What it cost, in the owner's money."""
    minutes: float | None
    """Time it took."""
    faults: list[Identifier]
    """The faults it was meant to cure."""
    fault_texts: list[str]
    """Those in plain words."""
    followups: list[Followup]
    """Whether it held, fault by fault in the same order where there is an answer."""
    withdrawn: bool
    """Not done after all."""


class RepairsDocument(TypedDict):
    """`shearbolt repair list`: a machine's repairs, and whether they held."""

    schema: Literal["shearbolt/repairs/1"]
    """Which document this is."""
    machine: Identifier
    """The machine."""
    machine_name: str
    """What its people call it."""
    repairs: list[RepairEntry]
    """In their order."""


class WithdrawnDocument(TypedDict):
    """`shearbolt check withdraw` and its sisters: an entry that was not so after all."""

    schema: Literal["shearbolt/withdrawn/1"]
    """Which document this is."""
    entry: Identifier
    """The entry; it stays in the book, and counts no more."""
    words: str
    """What it was."""
