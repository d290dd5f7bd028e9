"""Every check on every visit, and the charts over visits."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from shearbolt.reasoning.case import MachineCase
from shearbolt.reasoning.plausibility import (
    air,
    driveline,
    electrics,
    exhaust,
    fuel,
    hydraulics,
    oil,
    readings,
    rest,
    temperatures,
)
from shearbolt.reasoning.plausibility.charts import Chart, chart
from shearbolt.reasoning.plausibility.check import Check, CheckResult, Look
from shearbolt.reasoning.plausibility.trait import Past, Sensor, Trait, add_to_past
from shearbolt.reasoning.plausibility.traits import traits_of
from shearbolt.reasoning.quantity_view import QuantityView, views_of

CHECKS: tuple[Check, ...] = (
    *temperatures.CHECKS,
    *rest.CHECKS,
    *oil.CHECKS,
    *air.CHECKS,
    *electrics.CHECKS,
    *driveline.CHECKS,
    *hydraulics.CHECKS,
    *exhaust.CHECKS,
    *fuel.CHECKS,
    *readings.CHECKS,
)
"""All checks, in the order in which they are shown."""


@dataclass(frozen=True, slots=True)
class VisitExamined:
    """What the checks found in one visit, and the traits that later visits are compared with."""

    visit: str
    results: tuple[CheckResult, ...]
    traits: tuple[Trait, ...]


@dataclass(frozen=True, slots=True)
class Examination:
    """All visits of one machine and the charts over them."""

    visits: tuple[VisitExamined, ...]
    charts: tuple[Chart, ...]

    @property
    def results(self) -> tuple[CheckResult, ...]:
        """Results of all visits, in their order."""
        return tuple(result for one in self.visits for result in one.results)


def examine_visit(
    view: QuantityView, past: Past, checks: Sequence[Check] = CHECKS
) -> VisitExamined:
    """Run the checks on one visit; `past` holds the traits of the visits before it.

    Needs no other visit's state, so that a new visit is examined alone.
    """
    look = Look(view, past)
    return VisitExamined(
        view.visit.visit,
        tuple(result for check in checks for result in check.run(look)),
        traits_of(view),
    )


def charts_of(
    told: Sequence[tuple[str, tuple[Trait, ...]]], repaired: frozenset[str] = frozenset()
) -> tuple[Chart, ...]:
    """Chart every sensor's trait over visits (visit, its traits), in their order.

    `repaired`: visits before which sensors were worked on; all charts start anew there.
    """
    series: dict[tuple[Sensor, str], list[tuple[str, Trait]]] = {}
    for visit, traits in told:
        for trait in traits:
            if trait.charted:
                series.setdefault((trait.sensor, trait.name), []).append((visit, trait))
    return tuple(chart(some, len(series), repaired) for _, some in sorted(series.items()))


def examine(case: MachineCase, repaired: frozenset[str] = frozenset()) -> Examination:
    """Run all checks on all visits of a machine and draw its charts."""
    past: dict[tuple[Sensor, str], list[float]] = {}
    found: list[VisitExamined] = []
    for view in views_of(case):
        one = examine_visit(view, past)
        found.append(one)
        add_to_past(past, one.traits)
    told = [(one.visit, one.traits) for one in found]
    return Examination(tuple(found), charts_of(told, repaired))
