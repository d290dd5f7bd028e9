"""What a bringing-in added to the book: the summary of what is new since last time."""

from __future__ import annotations

from typing import TypedDict

from shearbolt.app.documents.values import Count, FaultState, Fmi, Identifier, Spn, Time


class NewMachine(TypedDict):
    """A machine met for the first time."""

    machine: Identifier
    """The machine."""
    machine_name: str
    """What it is called."""


class FaultNews(TypedDict):
    """A fault of which something is new."""

    machine: Identifier
    """The machine."""
    machine_name: str
    """What its people call it."""
    fault: Identifier
    """The fault."""
    text: str
    """In plain words."""
    spn: Spn | None
    """Suspect parameter number."""
    fmi: Fmi | None
    """Failure mode identifier."""
    code: str | None
    """P-code and the like, or as a person wrote it."""
    state: FaultState
    """State after everything that was brought in."""
    visit: Identifier
    """First of the new visits that showed it."""
    count_before: Count | None
    """Occurrence count at the last look before."""
    count_now: Count | None
    """Occurrence count at the last look now."""
    count_at_least: bool
    """The count has reached the highest that can be told (126)."""


class NewSince(TypedDict):
    """What is new since the book was last added to."""

    since: Time | None
    """When a visit was last filed before this; null: the book was empty."""
    machines: list[NewMachine]
    """Machines met for the first time."""
    faults: list[FaultNews]
    """Faults never seen before."""
    came_back: list[FaultNews]
    """Faults that were known, were not active at the last look, and are listed as active again."""
    counts_rose: list[FaultNews]
    """Known faults whose occurrence count is higher than at the last look before."""
