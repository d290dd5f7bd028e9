"""Advice on made machines, for the tests of advice."""

from __future__ import annotations

from collections.abc import Collection, Mapping

from shearbolt.reasoning.advice import Advice, Gauge, MachineAdvice, Now, advise
from shearbolt.reasoning.case import MachineCase
from shearbolt.reasoning.company import company_of
from shearbolt.reasoning.senders import sightings
from shearbolt.reasoning.standing import Look, Standing, standing

LATER = Now(None, None)


def standings_of(case: MachineCase) -> dict[str, Standing]:
    """Judge where each fault stands by the visits that told of it and those that heard none."""
    found: dict[str, Standing] = {}
    for fault, some in sightings(case).items():
        seen = {one.visit: one.seen for one in some}
        looks = [
            Look(one.visit, seen.get(i), one.latest_us, one.latest_us, one.clears)
            for i, one in enumerate(case.visits)
            if one.kind != "by_hand" or i in seen
        ]
        found[fault] = standing(looks)
    return found


def machine_advised(
    case: MachineCase,
    *,
    now: Now = LATER,
    settled: Collection[str] = (),
    gauges: Mapping[str, Gauge] | None = None,
) -> MachineAdvice:
    """Advise on a machine."""
    return advise(
        case, standings_of(case), company_of(case), now=now, settled=settled, gauges=gauges
    )


def advised(case: MachineCase, fault: str, **more: object) -> Advice:
    """Advise on one fault of a machine."""
    return machine_advised(case, **more).by_fault[fault]  # type: ignore[arg-type]


def keys(advice: Advice | MachineAdvice) -> set[str]:
    """Keys of the reasons of an advice."""
    return {one.key for one in advice.because}
