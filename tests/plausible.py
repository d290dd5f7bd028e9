"""Run one plausibility check by its name on made seconds."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from tests.made_state import DAY_US, Told, table, visit

from shearbolt.reasoning.case import VisitCase
from shearbolt.reasoning.plausibility.check import Check, CheckResult, Look
from shearbolt.reasoning.plausibility.examination import CHECKS
from shearbolt.reasoning.plausibility.trait import Trait, past_of
from shearbolt.reasoning.quantity_view import QuantityView

BY_NAME: Mapping[str, Check] = {one.name: one for one in CHECKS}


def judge(
    name: str,
    count: int,
    told: Told,
    past: Iterable[Iterable[Trait]] = (),
    before: VisitCase | None = None,
) -> tuple[CheckResult, ...]:
    """Run a check on `count` made seconds."""
    hours = None if before is None else (100.0, 100.2)
    now = visit(table(count, told), "now", zero_us=DAY_US, hours=hours)
    return BY_NAME[name].run(Look(QuantityView(now, before), past_of(past)))


def one(
    name: str,
    count: int,
    told: Told,
    past: Iterable[Iterable[Trait]] = (),
    before: VisitCase | None = None,
) -> CheckResult:
    """Run a check that gives one result."""
    (result,) = judge(name, count, told, past, before)
    return result


def verdict(result: CheckResult) -> tuple[str, str]:
    """Give result and finding."""
    return result.result, result.because.key


def figure(result: CheckResult, name: str) -> float:
    """Give a figure by its name."""
    return next(one.value for one in result.figures if one.name == name)
