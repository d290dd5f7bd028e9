"""Made machines with repairs, for the tests of follow-ups."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

from tests.made_cases import (
    S,
    controller,
    fault,
    machine,
    running,
    spell,
    told,
    visit,
)

from shearbolt.model.fault import Spell
from shearbolt.reasoning.between import between_visits
from shearbolt.reasoning.case import FaultCase, FaultInVisit, MachineCase, RepairDone, VisitCase
from shearbolt.reasoning.follow_up import (
    FollowUp,
    followups_of,
    words_of,
)

CODE = fault("f", 110, 0)
HOUR = 3600


def look(day: int, *spells: Spell, hours: int = 1, of: FaultCase = CODE, **more: Any) -> VisitCase:
    """Make a visit of so many hours, recorded throughout, on a day."""
    listed: list[FaultInVisit] = list(more.pop("listed", ()))
    if spells:
        listed.append(told(of, *spells))
    seconds = hours * HOUR
    heard = replace(controller(0), last_us=seconds * S)
    facts: dict[str, Any] = {
        "last_s": seconds,
        "state": running(seconds, coolant_c=85.0),
        "controllers": (heard,),
        "hours_end": 100.0 + 5.0 * day + hours,
    }
    return visit(day, *listed, **{**facts, **more})


def repaired(
    visits: Sequence[VisitCase],
    *repairs: tuple[str, int, float | None],
    faults: Sequence[FaultCase] = (CODE,),
) -> MachineCase:
    """Make a machine; repairs are (name, index of the first visit after it, engine hours)."""
    done = tuple(
        RepairDone(name, tuple(one.fault for one in faults), hours, None, before, "made")
        for name, before, hours in repairs
    )
    return replace(machine(visits, faults), repairs=done)


def answers(case: MachineCase, fault: str = "f", **more: Any) -> tuple[FollowUp, ...]:
    grades: Mapping[tuple[str, str], str] = more.pop("grades", {})
    settings = more.pop("settings", {})
    standings = more.pop("standings", {})
    return followups_of(case, standings, settings, between_visits(case), grades, **more)[fault]


def answer(case: MachineCase, **more: Any) -> FollowUp:
    (one,) = answers(case, **more)
    return one


def keys(one: FollowUp) -> list[str]:
    return [key for key, _ in words_of(one)]


def ill(days: Sequence[int], hours: int = 1) -> list[VisitCase]:
    """Make visits with one start each, half-way."""
    return [look(i, spell(900, 960), hours=hours) for i in days]


def well(days: Sequence[int], hours: int = 1) -> list[VisitCase]:
    return [look(i, hours=hours) for i in days]
