"""Which sender of a visit a fault belongs to, in visits that list it and in those that do not."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from shearbolt.model.fault import FaultSeen
from shearbolt.reasoning.case import FaultCase, MachineCase, VisitCase
from shearbolt.reasoning.manners import CountLook, CountSteps, count_steps

Sender = tuple[str, int]
"""(channel, source address) within one visit."""


@dataclass(frozen=True, slots=True)
class SeenIn:
    """One fault in one visit."""

    visit: int
    """Index of the visit in the machine's order."""
    seen: FaultSeen


def sightings(case: MachineCase) -> dict[str, list[SeenIn]]:
    """Give for every fault of the case its visits, in their order."""
    found: dict[str, list[SeenIn]] = {one.fault: [] for one in case.faults}
    for index, visit in enumerate(case.visits):
        for one in visit.faults:
            found.setdefault(one.fault, []).append(SeenIn(index, one.seen))
    return found


def place_of(fault: FaultCase) -> str:
    """Give what faults of one controller share: its place, else its address, else itself."""
    if fault.controller is not None:
        return fault.controller
    return f"address {fault.address}" if fault.address is not None else f"by hand {fault.fault}"


def senders_in(
    visit: VisitCase, fault: FaultCase, siblings: Mapping[str, FaultCase]
) -> frozenset[Sender]:
    """Give the addresses at which the fault's controller spoke in a visit; empty: not heard.

    Where a fault of the same place was listed its address is known; else the place's last address
    stands for it.
    """
    place = place_of(fault)
    told = {
        (one.seen.key.channel, one.seen.key.address)
        for one in visit.faults
        if one.fault in siblings
        and place_of(siblings[one.fault]) == place
        and one.seen.key.address is not None
    }
    if told:
        return frozenset(told)
    return frozenset(
        (one.channel, one.address) for one in visit.controllers if one.address == fault.address
    )


def steps_by_place(case: MachineCase) -> dict[str, CountSteps]:
    """Learn from all its faults how each controller's counts step (`manners.count_steps`)."""
    looks: dict[str, list[CountLook]] = {}
    faults = {one.fault: one for one in case.faults}
    for fault, seen in sightings(case).items():
        if fault in faults:
            place = place_of(faults[fault])
            looks.setdefault(place, []).extend(
                CountLook(one.seen.spells, one.seen.counts) for one in seen
            )
    return {place: count_steps(some) for place, some in looks.items()}


def active_at(seen: FaultSeen, at_us: int) -> bool:
    """Tell whether one of its spells holds an instant of the visit's clock."""
    return any(one.start_us <= at_us <= one.end_us for one in seen.spells)


def by_id(faults: Sequence[FaultCase]) -> dict[str, FaultCase]:
    """Give the faults by their identifiers."""
    return {one.fault: one for one in faults}
