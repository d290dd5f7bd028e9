"""What is concluded of a machine beside its single faults: odd readings, drifts, limited power."""

from __future__ import annotations

from typing import Literal, TypedDict

from shearbolt.app.documents.values import Address, Count, Identifier, Seconds, Spn, Time


class Unrecorded(TypedDict):
    """Starts of a fault that no spell of the book shows."""

    at_least: Count
    """At least so many."""
    at_most: Count | None
    """At most so many; null: no bound."""
    hours_from: float | None
    """Engine hours between which they lie."""
    hours_to: float | None
    """The same."""
    time_from: Time | None
    """Instants between which they lie."""
    time_to: Time | None
    """The same."""
    words: str
    """In one sentence."""


class OddReading(TypedDict):
    """What a plausibility check found odd or doubtful in one visit."""

    check: str
    """Name of the check."""
    result: Literal["odd", "doubtful"]
    """Doubtful: near it, or one sound reason for it cannot be excluded."""
    visit: Identifier
    """The visit."""
    spns: list[Spn]
    """Readings judged; with several, the first is the odd one if any single one is."""
    addresses: list[Address]
    """Their senders, in the same order."""
    at: list[Time | None]
    """Where in the recording to look."""
    at_s: list[Seconds | None]
    """The same from the first frame."""
    words: str
    """In one sentence, with its figures."""
    source: str
    """What the check rests on."""


class Drift(TypedDict):
    """A sensor that left the chart of its own visits."""

    spn: Spn
    """Which reading."""
    address: Address
    """Its sender."""
    trait: str
    """What of it is charted."""
    direction: Literal["up", "down"]
    """Which way it went."""
    since: Identifier
    """Visit from which on it is so."""
    noticed: Identifier
    """Visit that showed it beyond chance."""
    before: float
    """Mean before."""
    after: float
    """Mean since."""
    unit: str
    """Unit of both."""
    words: str
    """In one sentence."""


class PowerLimit(TypedDict):
    """One stretch of limited power."""

    visit: Identifier
    """The visit."""
    start: Time | None
    """When it began."""
    start_at_s: Seconds | None
    """The same from the first frame."""
    end: Time | None
    """When it ended, or the recording did."""
    end_at_s: Seconds | None
    """The same from the first frame."""
    left_percent: float | None
    """Share of the torque that was left."""
    cause: Identifier | None
    """The fault that brings it."""
    words: str
    """How far it goes, what brings it, what lifts it, what it allows."""
