"""Hours that nobody records: what comes on in them, drawn from short samples of the same work.

Living through every hour would take as long as recording it. So a sample of half an hour, from a
cold start, is lived for each state of a machine's causes and kind of work; what comes once a start
and what comes by the hour are told apart, and the hours in between draw from both.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from shearbolt.model.fault import COUNT_FULL, Lamps
from shearbolt.proving.blame import Code
from shearbolt.proving.controllers import Controller
from shearbolt.proving.cycle import KeyCycle
from shearbolt.proving.faults import Fault
from shearbolt.proving.manners import Manner
from shearbolt.proving.memory import CLEAN_CYCLES, Kept, Store
from shearbolt.proving.truth import Cause as CauseClass
from shearbolt.proving.truth import CountSteps

STARTING_S = 180.0
"""What comes on before this belongs to the start."""


@dataclass(frozen=True, slots=True)
class Rate:
    """How often one code comes on."""

    fault: Fault
    machine: str
    """Key of the machine that its controller belongs to."""
    a_start: float
    an_hour: float
    when_s: float
    """After how many seconds of a shift it usually comes first."""

    @property
    def code(self) -> Code:
        """Controller, SPN and FMI."""
        return self.fault.controller, self.fault.spn, self.fault.fmi


def rates_of(cycle: KeyCycle) -> tuple[Rate, ...]:
    """Return how often each code came on in a sample from key to key."""
    whole_h = max(0.05, (cycle.trace.time_s[-1] - STARTING_S) / 3600.0)
    owners = {one.key: machine.key for machine, one in cycle.outing.controllers()}
    rates = []
    for index, found in cycle.found.items():
        if not found.failed_s:
            continue
        fault = cycle.faults[index]
        stays = bool(found.held) and found.held[-1].heal_s is None
        early = sum(at < STARTING_S for at in found.failed_s)
        late = len(found.failed_s) - early
        # What stands to the end would have come on once in a longer shift too.
        once = early + (1 if stays and late and late == 1 else 0)
        by_hour = 0 if stays and late == 1 else late
        rates.append(
            Rate(
                fault, owners[fault.controller], float(once), by_hour / whole_h,
                float(found.failed_s[0]),
            )
        )  # fmt: skip
    return tuple(rates)


@dataclass(frozen=True, slots=True)
class CameOn:
    """How often one code came on in unrecorded hours."""

    rate: Rate
    times: int
    cycles: int
    """Key cycles in which it did."""


def draw(
    rates: Sequence[Rate], hours: float, cycles: int, rng: np.random.Generator
) -> tuple[CameOn, ...]:
    """Draw what came on in `hours` of work over `cycles` key cycles."""
    out = []
    for one in rates:
        mean = one.a_start * cycles + one.an_hour * hours
        times = int(rng.poisson(mean)) if one.a_start != 1.0 else cycles + int(
            rng.poisson(one.an_hour * hours)
        )  # fmt: skip
        if times == 0:
            continue
        each = mean / max(1, cycles)
        with_it = int(rng.binomial(max(1, cycles), 1.0 - float(np.exp(-each))))
        if one.a_start == 1.0:
            with_it = max(1, cycles)
        out.append(CameOn(one, times, max(1, min(with_it, times))))
    return tuple(out)


def counted(steps: CountSteps, came: CameOn) -> int:
    """Return by how much a controller's occurrence count rises."""
    if steps == "never":
        return 0
    return came.cycles if steps == "key_cycle" else came.times


def worked(
    store: Store,
    controller: Controller,
    manner: Manner,
    came: Sequence[CameOn],
    blame: Mapping[Code, tuple[CauseClass, str]],
    *,
    hours: float,
    cycles: int,
    km: float,
) -> Store:
    """Return a controller's memory after unrecorded hours of work."""
    kept = {(one.spn, one.fmi): one for one in store.kept}
    mine = {
        (one.rate.fault.spn, one.rate.fault.fmi): one
        for one in came
        if one.rate.fault.controller == controller.key
    }
    for key, one in kept.items():
        if key not in mine:
            kept[key] = _rested(one, cycles)
    for key, each in mine.items():
        kept[key] = _came_on(kept.get(key), each, controller.count_steps, manner, blame)
    mil = any(one.mil for one in kept.values())
    return replace(
        store,
        kept=tuple(one for one in kept.values() if _is_something(one)),
        mil_km=store.mil_km + (km if mil else 0.0),
        clear_km=store.clear_km + km,
        mil_min=store.mil_min + (60.0 * hours if mil else 0.0),
        clear_min=store.clear_min + 60.0 * hours,
        warm_ups=min(250, store.warm_ups + round(0.6 * cycles)),
        cycles=store.cycles + cycles,
        denominator=store.denominator + round(0.5 * cycles),
        ratios={one: done + round(0.4 * cycles) for one, done in store.ratios.items()},
        complete=None if cycles >= 3 else store.complete,
    )


def _is_something(one: Kept) -> bool:
    return one.remembered or one.pending or one.permanent or one.mil


def _rested(one: Kept, cycles: int) -> Kept:
    """Return a code that did not come on for some key cycles."""
    if not cycles:
        return one
    clean = one.clean + cycles
    over = clean >= CLEAN_CYCLES
    return replace(
        one,
        clean=clean,
        pending=False,
        mil=one.mil and not over,
        had_mil=one.had_mil or (one.mil and over),
        permanent=one.permanent and not over,
        warm_ups=one.warm_ups + round(0.6 * cycles),
    )


def _came_on(
    old: Kept | None,
    came: CameOn,
    steps: CountSteps,
    manner: Manner,
    blame: Mapping[Code, tuple[CauseClass, str]],
) -> Kept:
    """Return a code that came on; two-trip codes are confirmed by a second cycle with it."""
    fault = came.rate.fault
    cause, words = blame.get(came.rate.code, (fault.cause, fault.words))
    rose = counted(steps, came)
    before = 0 if old is None else old.count
    two_trips = manner.emission and fault.trips > 1
    known = old is not None and (old.mil or old.pending or old.remembered)
    confirmed = not two_trips or came.cycles > 1 or known
    return Kept(
        fault.spn,
        fault.fmi,
        min(COUNT_FULL, before + (max(1, rose) if confirmed and steps != "never" else 0)),
        cause,
        words,
        lamps=fault.lamps,
        pending=two_trips,
        mil=two_trips and confirmed,
        permanent=two_trips and confirmed,
        frame={} if old is None else old.frame,
        remembered=confirmed or (old is not None and old.remembered),
    )


def lit(lamps: Lamps) -> bool:
    """Tell whether a driver sees a lamp."""
    return lamps.any_lit


__all__ = ["CameOn", "Rate", "counted", "draw", "lit", "rates_of", "worked"]
