"""Do it yourself or call: what each course is expected to cost, by the owner's own figures.

Expected costs over the odds of the causes; jobs of one's own are tried by falling chance per cost
(Kadane and Simon 1977; Heckerman, Breese and Rommelse 1995), and a call stays at the end. Where a
safety function or licensed practice is concerned no such arithmetic is offered at all.
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from shearbolt.dictionary.advice_kinds import AdviceKind
from shearbolt.reasoning.advice.kinds import function_of, kind_of
from shearbolt.reasoning.case import FaultCase, MachineCase

Course = Literal["call", "yourself", "first_job_then_call"]
NotOffered = Literal[
    "licensed_practice", "safety_function", "fire", "rail_pressure", "air_conditioning",
    "high_voltage", "accumulator", "brakes", "steering", "lifting_gear",
]  # fmt: skip
LICENSED_SPNS: tuple[tuple[NotOffered, frozenset[int]], ...] = (
    ("rail_pressure", frozenset({156, 157, 164, 651, 652, 653, 654, 655, 656, 1347, 5571})),
    ("air_conditioning", frozenset({605, 871, 875, 876, 985, 2609})),
    ("high_voltage", frozenset({3464, 5464, 5919, 7945, 8086})),
    ("brakes", frozenset({46, 117, 118, 520, 521, 563, 597, 1072, 1073, 1074, 1087, 1088, 5676})),
    ("steering", frozenset({1807, 2923, 2928})),
    ("lifting_gear", frozenset({1762, 1872, 1873})),
)
"""Codes of systems that are no do-it-yourself (which systems: reference sheet section 4 row 20;
choice of codes: from memory, on the careful side)."""
LICENSED_WORDS: tuple[tuple[NotOffered, str], ...] = (
    ("rail_pressure", r"common rail|rail pressure|injector|injection pump"),
    ("air_conditioning", r"air.?con|\ba/c\b|refrigerant|aircon"),
    ("high_voltage", r"high.?voltage|orange cable|hybrid|traction battery"),
    ("accumulator", r"accumulator|nitrogen|suspension ball"),
    ("brakes", r"brak"),
    ("steering", r"steer"),
    ("lifting_gear", r"\blift(?!\s*pump)|hoist|\bboom\b|\bhitch\b|\bloader arm|crane|winch"),
)
"""The same by what a person wrote."""


@dataclass(frozen=True, slots=True)
class Figures:
    """What things cost this owner, in one currency of theirs."""

    call_out: float
    """Fixed part of a call."""
    hourly_rate: float
    """Of the one who is called."""
    distance_km: float
    """One way; both are paid."""
    per_km: float
    own_hour: float
    """What an hour of one's own time is worth."""
    standstill_hour: float
    """What an hour's standstill costs, as the season stands."""
    wait_h: float
    """Working hours until the one who is called is there."""


@dataclass(frozen=True, slots=True)
class Job:
    """What can be done oneself against one cause."""

    cause: str
    probability: float
    """Odds that this is the cause."""
    own_h: float
    """Hours that it takes oneself, checks included."""
    parts: float
    works: float = 1.0
    """Chance that it cures if this is the cause."""
    fetch_h: float = 0.0
    """Working hours until the part is there."""


@dataclass(frozen=True, slots=True)
class Cost:
    """A course and what it is expected to cost."""

    course: Course
    expected: float
    worst: float
    """If none of one's own jobs helps and the call comes on top; of a call: itself."""
    standstill_h: float
    """Expected."""
    order: tuple[str, ...]
    """Causes in the order of one's own jobs; empty for a call."""
    chance_without_call: float


@dataclass(frozen=True, slots=True)
class Courses:
    """The courses for a fault, the cheapest first; or why none is offered."""

    fault: str
    offered: bool
    not_offered_because: NotOffered | None
    costs: tuple[Cost, ...]
    odds: tuple[tuple[str, float], ...]
    """The odds that fed it."""
    break_even_probability: float | None
    """Odds of the first job's cause above which trying it before a call pays; None: never."""
    break_even_standstill: float | None
    """Cost of an hour's standstill at which calling at once and doing all oneself cost the same;
    None: the same course is cheaper at any."""
    cautions: tuple[str, ...]
    """Keys of cautions.csv that go with the fault, whoever does the work."""


def not_offered(fault: FaultCase, case: MachineCase) -> NotOffered | None:
    """Tell why a fault is none for one's own arithmetic; None: it may be offered."""
    kind = kind_of(fault, function_of(fault, case))
    for why, spns in LICENSED_SPNS:
        if fault.spn in spns:
            return why
    words = f"{fault.code or ''} {fault.text}".casefold()
    for why, pattern in LICENSED_WORDS:
        if re.search(pattern, words):
            return why
    return _by_kind(kind)


def _by_kind(kind: AdviceKind) -> NotOffered | None:
    if "licensed" in kind.cautions:
        return "licensed_practice"
    if kind.traits & {"safety", "interlock"}:
        return "safety_function"
    if "fire" in kind.traits and kind.advice == "stop_now":
        return "fire"
    return None


def courses(
    fault: FaultCase,
    case: MachineCase,
    jobs: Sequence[Job],
    figures: Figures,
    *,
    called_h: float,
    called_parts: float | None = None,
) -> Courses:
    """Reckon the courses for a fault.

    called_h: hours that the one who is called takes; called_parts: parts then (that of the jobs by
    their odds where not given). Raises ValueError where odds add up to more than 1.
    """
    kind = kind_of(fault, function_of(fault, case))
    odds = tuple((one.cause, one.probability) for one in jobs)
    if math.fsum(one for _, one in odds) > 1.0 + 1e-9:
        raise ValueError("the odds of the causes add up to more than 1")
    why = not_offered(fault, case)
    if why is not None:
        return Courses(fault.fault, False, why, (), odds, None, None, kind.cautions)
    parts = called_parts
    if parts is None:
        parts = math.fsum(one.probability * one.parts for one in jobs)
    call, call_still = _call(figures, called_h, parts)
    found = [Cost("call", call, call, call_still, (), 0.0)]
    order = in_order(jobs, figures)
    if order:
        found.append(_by_jobs("yourself", order, figures, call, call_still))
        if len(order) > 1:
            found.append(_by_jobs("first_job_then_call", order[:1], figures, call, call_still))
    even = None
    if order and order[0].works > 0.0:
        at = _job_cost(order[0], figures) / (call * order[0].works) if call > 0.0 else math.inf
        even = at if at <= 1.0 else None
    return Courses(
        fault.fault,
        True,
        None,
        tuple(sorted(found, key=lambda one: one.expected)),
        odds,
        even,
        _even_standstill(order, figures, called_h, parts),
        kind.cautions,
    )


def in_order(jobs: Sequence[Job], figures: Figures) -> list[Job]:
    """Put jobs into the order that costs least: falling chance of a cure per cost."""
    able = [one for one in jobs if one.probability * one.works > 0.0]
    return sorted(
        able,
        key=lambda one: -one.probability * one.works / max(_job_cost(one, figures), 1e-9),
    )


def _job_cost(job: Job, figures: Figures) -> float:
    return (
        job.own_h * figures.own_hour
        + job.parts
        + (job.own_h + job.fetch_h) * figures.standstill_hour
    )


def _call(figures: Figures, called_h: float, parts: float) -> tuple[float, float]:
    standstill_h = figures.wait_h + called_h
    way = 2.0 * figures.distance_km * figures.per_km
    work = called_h * figures.hourly_rate
    money = figures.call_out + way + work + parts
    return money + standstill_h * figures.standstill_hour, standstill_h


def _by_jobs(
    course: Course, order: Sequence[Job], figures: Figures, call: float, call_still: float
) -> Cost:
    """Try jobs one after the other; when none has helped, call."""
    left = 1.0
    expected = worst = still = 0.0
    for job in order:
        cost = _job_cost(job, figures)
        expected += left * cost
        worst += cost
        still += left * (job.own_h + job.fetch_h)
        left -= job.probability * job.works
    left = max(left, 0.0)
    return Cost(
        course,
        expected + left * call,
        worst + call,
        still + left * call_still,
        tuple(one.cause for one in order),
        1.0 - left,
    )


def _even_standstill(
    order: Sequence[Job], figures: Figures, called_h: float, parts: float
) -> float | None:
    """Both courses cost the more the dearer an hour is, each in proportion to its own hours."""
    if not order:
        return None
    free = Figures(
        figures.call_out,
        figures.hourly_rate,
        figures.distance_km,
        figures.per_km,
        figures.own_hour,
        0.0,
        figures.wait_h,
    )
    call, call_still = _call(free, called_h, parts)
    mine = _by_jobs("yourself", order, free, call, call_still)
    hours = mine.standstill_h - call_still
    if hours == 0.0:
        return None
    even = (call - mine.expected) / hours
    return even if even > 0.0 else None
