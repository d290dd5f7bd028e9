"""The chance that a machine gets through the next hours without a stop or a derate.

Rates of machines vary about that of their kind, those of kinds about the yard's (hierarchical
Gamma-Poisson; Gelman and others, Bayesian Data Analysis, chapters 2 and 5): a machine seen for
little is judged by its kind, a kind seen for little by the yard. Counted are the stops that the
book knows about, and no others.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from shearbolt.model.frames import F64
from shearbolt.reasoning.advice.kinds import function_of, kind_of
from shearbolt.reasoning.between import Between
from shearbolt.reasoning.case import FaultCase, MachineCase
from shearbolt.reasoning.follow_up.rates import Interval

STOPPING_TRAITS = frozenset({"derate", "inducement", "start"})
"""Kinds of fault that limit power or keep a machine from starting (advice_kinds.csv)."""
BURST_H = 1.0
"""Stops of one machine within so many engine hours are one (own rule)."""
_RATES: F64 = np.geomspace(1e-5, 2.0, 60)
"""Rates tried, per hour: from one in 100,000 hours to two an hour."""
_SHAPES: F64 = np.geomspace(0.3, 20.0, 8)
"""How alike the machines of one kind are: the shape of their Gamma; 20: nearly the same."""
_SPREADS: F64 = np.array([0.2, 0.5, 1.0, 1.5])
"""How alike kinds are: standard deviation of the logarithm of their rates."""
LEVEL = 0.9


@dataclass(frozen=True, slots=True)
class StopHistory:
    """Stops and derates of one machine that the book knows about."""

    machine: str
    kind: str | None
    """What it is, in the owner's word; machines of one kind are judged together."""
    stops: float
    """Less those whose cause was cured since: a share for each."""
    hours: float
    """Engine hours from the first look to the last."""


@dataclass(frozen=True, slots=True)
class Forecast:
    """The chance of getting through without a stop that the book would know about."""

    machine: str
    hours: float
    chance: float
    low: float
    """Interval of 90 %: what is not known of the machine's own rate."""
    high: float
    base_rate: float
    """The same by all machines of the yard taken together, for comparison."""
    own_stops: float
    own_hours: float
    siblings: int
    """Other machines of its kind."""
    standing: tuple[str, ...]
    """Faults that stop or limit it now: the chance holds once they are cured."""


def stop_history(
    case: MachineCase,
    kind: str | None,
    between: Mapping[str, Between] | None = None,
    not_cured: Mapping[str, float] | None = None,
) -> StopHistory:
    """Count the stops of a machine.

    between: starts that nobody recorded count as well; not_cured: by fault the chance that its
    last repair did not cure it, by which its stops before are weighed.
    """
    stops = 0.0
    for fault in case.faults:
        if stops_machine(fault, case):
            weight = (not_cured or {}).get(fault.fault, 1.0)
            found = (between or {}).get(fault.fault)
            hidden = found.at_least if found is not None else 0
            stops += weight * (len(_stops_of(case, fault)) + hidden)
    known = [
        hours
        for visit in case.visits
        for hours in (visit.hours_start, visit.hours_end)
        if hours is not None
    ]
    hours = max(known) - min(known) if known else 0.0
    return StopHistory(case.machine, kind, stops, hours)


def stops_machine(fault: FaultCase, case: MachineCase) -> bool:
    """Tell whether a fault stops a machine or takes its power."""
    kind = kind_of(fault, function_of(fault, case))
    if kind.advice == "stop_now" or kind.traits & STOPPING_TRAITS:
        return True
    return any(
        one.seen.lamps_sure.red_stop in ("on", "slow", "fast") and bool(one.seen.spells)
        for visit in case.visits
        for one in visit.faults
        if one.fault == fault.fault
    )


def _stops_of(case: MachineCase, fault: FaultCase) -> list[float]:
    """Give the engine hours (or places, where not known) of a fault's stops, bursts once."""
    found: list[float] = []
    for place, visit in enumerate(case.visits):
        for one in visit.faults:
            if one.fault != fault.fault or not (one.seen.spells or visit.kind == "by_hand"):
                continue
            begin = visit.hours_start
            span_us = max(visit.latest_us - visit.earliest_us, 1)
            moments = [spell.start_us for spell in one.seen.spells] or [one.seen.first_us]
            for at_us in moments:
                part = (at_us - visit.earliest_us) / span_us
                long_h = (visit.hours_end or begin or 0.0) - (begin or 0.0)
                hours = -1.0 - place * 2.0 * BURST_H if begin is None else begin + part * long_h
                if not found or abs(hours - found[-1]) > BURST_H:
                    found.append(hours)
    return found


def forecast(
    own: StopHistory,
    hours: float,
    siblings: Sequence[StopHistory] = (),
    standing: Sequence[str] = (),
) -> Forecast:
    """Forecast a machine's next hours from its own stops and those of the yard's other machines.

    siblings: the other machines, of any kind; standing: faults that stop it now. Raises ValueError
    for negative hours.
    """
    if hours < 0.0:
        raise ValueError(f"a forecast looks ahead, not {hours} h")
    everyone = [own, *(one for one in siblings if one.machine != own.machine)]
    weights = _kind_rates(own, everyone)
    # For each shape and rate of the kind the machine's own rate is Gamma again.
    shape = _SHAPES[:, None] + own.stops
    exposure = _SHAPES[:, None] / _RATES[None, :] + own.hours
    none = np.exp(shape * (np.log(exposure) - np.log(exposure + hours)))
    low, high = _rate_interval(weights, np.broadcast_to(shape, exposure.shape), exposure)
    stops = math.fsum(one.stops for one in everyone)
    seen = math.fsum(one.hours for one in everyone)
    base = math.exp(-hours * (stops + 0.5) / seen) if seen > 0.0 else float((weights * none).sum())
    return Forecast(
        own.machine,
        hours,
        float((weights * none).sum()),
        math.exp(-high * hours),
        math.exp(-low * hours),
        base,
        own.stops,
        own.hours,
        sum(1 for one in everyone[1:] if one.kind == own.kind and own.kind is not None),
        tuple(standing),
    )


def _kind_rates(own: StopHistory, everyone: Sequence[StopHistory]) -> F64:
    """Give the posterior of shape and mean rate of a machine's kind: (shapes, rates), sum 1."""
    kinds: dict[object, list[StopHistory]] = {}
    for one in everyone:
        # A machine of no known kind is a kind of its own.
        kinds.setdefault(one.kind if one.kind is not None else (one.machine,), []).append(one)
    mine = own.kind if own.kind is not None else (own.machine,)
    log_rates = np.log(_RATES)
    total = np.zeros((len(_SHAPES), len(_RATES)))
    logs: list[tuple[int, F64]] = []
    told = {
        key: [_likelihood(members, shape) for shape in _SHAPES.tolist()]
        for key, members in kinds.items()
    }
    for spread in _SPREADS.tolist():
        # Rows: rate of the yard; columns: rate of a kind.
        around = np.exp(-0.5 * ((log_rates[None, :] - log_rates[:, None]) / spread) ** 2)
        around /= around.sum(axis=1, keepdims=True)
        for a in range(len(_SHAPES)):
            weight = np.zeros(len(_RATES))
            for key, logs_of in told.items():
                if key != mine:
                    log = logs_of[a]
                    most = log.max()
                    weight += np.log(around @ np.exp(log - most) + 1e-300) + most
            logs.append((a, _own_kind(weight, around, told[mine][a])))
    top = max(float(log.max()) for _, log in logs)
    for a, log in logs:
        total[a] += np.exp(log - top)
    return np.asarray(total / total.sum(), np.float64)


def _own_kind(weight: F64, around: F64, own: F64) -> F64:
    """Give the log posterior of the kind's mean rate: the yard's rate integrated out."""
    top = weight.max()
    prior = np.exp(weight - top) @ around
    return np.asarray(np.log(prior + 1e-300) + top + own, np.float64)


def _likelihood(members: Sequence[StopHistory], shape: float) -> F64:
    """Give the log likelihood of a kind's mean rate: negative binomial counts, one a machine."""
    out = np.zeros(len(_RATES))
    for one in members:
        begin = shape / _RATES
        out += math.lgamma(shape + one.stops) - math.lgamma(shape)
        out += shape * np.log(begin / (begin + one.hours))
        if one.stops:
            out += one.stops * np.log(max(one.hours, 1e-9) / (begin + one.hours))
    return out


def _rate_interval(weights: F64, shape: F64, exposure: F64) -> tuple[float, float]:
    """Give the interval of a mixture of Gamma distributions, on a fine grid of rates."""
    grid = np.geomspace(1e-7, 10.0, 500)
    kept = weights > 1e-4 * weights.max()
    w, a, b = weights[kept], shape[kept], exposure[kept]
    front = a * np.log(b) - np.array([math.lgamma(one) for one in a.tolist()])
    log = front[:, None] + a[:, None] * np.log(grid) - b[:, None] * grid
    mass = np.cumsum(w @ np.exp(log))
    tail = (1.0 - LEVEL) / 2.0
    low, high = (float(grid[np.searchsorted(mass, mass[-1] * at)]) for at in (tail, 1.0 - tail))
    return low, high


def interval_of(one: Forecast) -> Interval:
    """Give a forecast's chance with its interval."""
    return Interval(one.chance, one.low, one.high, LEVEL)
