"""The values that company is reasoned with: starts of faults, common instants, links."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from shearbolt.model.fault import Spell
from shearbolt.model.instants import SECOND_US
from shearbolt.reasoning.case import FaultCase, MachineCase
from shearbolt.reasoning.senders import by_id, place_of

CODES_FOLLOW_US = 30 * SECOND_US
"""Codes may come so long after the instant that they have in common (debounce and boot order)."""

LinkWhy = Literal["worse_level", "supply", "cranking_dip", "lost_unit", "power_limit"]
"""Why one fault follows from another."""
InstanceWhy = Literal[
    "supply",
    "shared_return_or_supply",
    "cranking_dip",
    "unit_lost_power",
    "unit_off_bus",
    "unit_unheard",
    "together",
]
"""What a common instant was."""


@dataclass(frozen=True, slots=True)
class Start:
    """One start of a fault: the start of one of its spells."""

    fault: FaultCase
    visit: int
    address: int | None
    spell: Spell

    @property
    def at_us(self) -> int:
        """Instant by the visit's own clock."""
        return self.spell.start_us

    @property
    def place(self) -> str:
        """What faults of its controller share."""
        return place_of(self.fault)


@dataclass(frozen=True, slots=True)
class Instance:
    """One instant that several faults have in common."""

    why: InstanceWhy
    visit: str
    at_us: int
    """By the visit's own clock."""
    faults: frozenset[str]
    address: int | None = None
    """Of the unit lost, or of the one whose sensors share the supply."""
    figures: tuple[tuple[str, float], ...] = ()
    """What was measured, by name with its unit: `plateau_v`, `silent_s`."""


@dataclass(frozen=True, slots=True)
class Link:
    """One fault follows from another."""

    follower: str
    root: str
    why: LinkWhy
    times: int
    """How often the two kept company."""
    of: int
    """Spells of the follower."""
    visit: str
    """Visit of the last such instant."""
    at_us: int
    """The instant, by that visit's clock."""


def starts_of(case: MachineCase) -> list[Start]:
    """Give every spell of every fault of the case, in the order of visits and of time."""
    faults = by_id(case.faults)
    found: list[Start] = []
    for index, visit in enumerate(case.visits):
        here = [
            Start(faults[one.fault], index, one.seen.key.address, spell)
            for one in visit.faults
            if one.fault in faults
            for spell in one.seen.spells
        ]
        here.sort(key=lambda one: (one.at_us, one.fault.fault))
        found.extend(here)
    return found


def spells_by_fault(starts: Sequence[Start]) -> dict[str, list[Start]]:
    """Group starts by fault."""
    found: dict[str, list[Start]] = {}
    for one in starts:
        found.setdefault(one.fault.fault, []).append(one)
    return found
