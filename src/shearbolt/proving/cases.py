"""One machine's case straight for the reasoning: signals and faults of its looks, without frames.

What a listener would decode is worked out from what the controllers sense and hold, at the rates
and in the steps that they send; thousands of cases of known truth cost seconds each at most.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from shearbolt.model.fault import CountSeen, FaultKey, FaultSeen, FaultState, Spell
from shearbolt.model.frames import F64, I64, U8
from shearbolt.model.instants import SECOND_US
from shearbolt.model.signal import ERROR, NOT_AVAILABLE, NUMBER
from shearbolt.proving.bus import Speaker
from shearbolt.proving.calendar import Shift, calendar
from shearbolt.proving.chance_plans import plan_by_chance
from shearbolt.proving.controllers import Controller
from shearbolt.proving.cycle import KeyCycle, live_through
from shearbolt.proving.faults import OFF, count_sent
from shearbolt.proving.layouts import group_layouts
from shearbolt.proving.ledger import FIRST_SIGN_S
from shearbolt.proving.looks import Look
from shearbolt.proving.plans import MachinePlan
from shearbolt.proving.plight import word_seed
from shearbolt.proving.reports import Held, Report
from shearbolt.proving.season_truth import TrueSeasonMachine
from shearbolt.proving.trace import STEP_S, STEPS_A_SECOND
from shearbolt.proving.truth import DemoRecording, WrittenNote, WrittenRepair
from shearbolt.proving.yard import Season, live_season, play_look, with_brought


@dataclass(frozen=True, slots=True)
class SignalHeard:
    """One signal of one controller over a look, as a listener decodes it."""

    machine: str
    """Key of the machine."""
    controller: str
    channel: str
    address: int
    pgn: int
    spn: int
    unit: str
    period_s: float
    time_us: I64
    """Instants, as in a recording of the look."""
    value: F64
    """NaN where there is no number."""
    status: U8
    """NUMBER, NOT_AVAILABLE or ERROR of each sample (`model.signal`)."""


@dataclass(frozen=True, slots=True)
class CaseLook:
    """One look of a case."""

    look: Look
    started_us: int
    ended_us: int
    hours_start: float
    hours_end: float
    signals: tuple[SignalHeard, ...]
    faults: tuple[FaultSeen, ...]
    """What DM1 told, and DM2 where a tester asked."""
    recording: DemoRecording | None
    """The same look as frames, where asked for."""


@dataclass(frozen=True, slots=True)
class CaseData:
    """One machine with known truth, as the reasoning is given it."""

    seed: int
    plan: MachinePlan
    truth: TrueSeasonMachine
    looks: tuple[CaseLook, ...]
    notes: tuple[WrittenNote, ...]
    repairs: tuple[WrittenRepair, ...]


def case(
    seed: int,
    machine: str,
    causes: Sequence[str] | None = None,
    severity: float | None = None,
    coverage: float = 0.01,
    *,
    hours: float = 150.0,
    perturb: float = 0.0,
    repaired: bool = True,
    frames: bool = False,
    signals: bool = True,
    look_s: int = 600,
) -> CaseData:
    """Make one case: a machine of a kind, with causes (None: by chance) that grow and are mended.

    `severity` is the causes' peak (None: by chance), `coverage` the recorded share of the worked
    hours, of which there are about `hours`; `perturb` spreads the hardware's parameters. The same
    arguments give the same case. Raises KeyError for a stranger, ValueError for shares that are
    none.
    """
    shifts = some_shifts(machine, seed, hours)
    plan = with_brought(
        plan_by_chance(
            machine, shifts, seed, causes=causes, severity=severity, coverage=coverage,
            perturb=perturb, repaired=repaired, look_s=look_s,
        )
    )  # fmt: skip
    lived = live_season((plan,), seed, shifts={plan.machine.name: shifts})
    (truth,) = lived.truth.machines
    looks = tuple(
        look_heard(one, frames=frames, signals=signals) for one in lived.looks if one.outing
    )
    return CaseData(seed, plan, truth, looks, lived.notes, lived.repairs)


def some_shifts(machine: str, seed: int, hours: float) -> tuple[Shift, ...]:
    """Return shifts of a season that follow one another and take about so many hours."""
    whole = calendar(machine, seed, weather=seed)
    rng = np.random.default_rng((seed, word_seed("shifts", machine)))
    spare = max(0.0, whole[-1].before_h + whole[-1].hours - hours)
    from_h = float(rng.uniform(0.0, spare))
    few = [one for one in whole if from_h <= one.before_h + 1e-9 < from_h + hours]
    few = few or [whole[0]]
    zero = few[0].before_h
    return tuple(replace(one, before_h=one.before_h - zero) for one in few)


def look_heard(look: Look, *, frames: bool = False, signals: bool = True) -> CaseLook:
    """Work out what a listener makes of one look; raises ValueError for a road vehicle's."""
    if look.outing is None:
        raise ValueError("a road vehicle without J1939 has no signals of its own to hear")
    cycle = live_through(look.outing, look.seed)
    started_us, lead_s = look.outing.zero_us, look.outing.lead_s
    speaker = Speaker(cycle, look.seed)
    heard: list[SignalHeard] = []
    faults: list[FaultSeen] = []
    asked_dm2 = {one.asked: one.at_s for one in look.outing.asks if one.pgn == 65227}
    for machine, controller in look.outing.controllers():
        if signals:
            heard += _signals(cycle, machine.key, controller, started_us)
        faults += _faults(
            cycle, controller,
            [one for one in speaker.reports(controller) if one.at_s >= lead_s], started_us,
            asked_dm2.get(controller.address),
        )  # fmt: skip
    trace = cycle.trace
    return CaseLook(
        look, started_us + lead_s * SECOND_US,
        started_us + lead_s * SECOND_US + round(look.seconds * 1e6),
        float(trace.hours[lead_s * STEPS_A_SECOND]), float(trace.hours[-1]), tuple(heard),
        tuple(faults), play_look(look) if frames else None,
    )  # fmt: skip


def _signals(
    cycle: KeyCycle, machine: str, controller: Controller, started_us: int
) -> list[SignalHeard]:
    """Return every periodic signal of one controller, in the steps it is sent in."""
    out = []
    lead_s = float(cycle.outing.lead_s)
    lives = [(max(begin, lead_s), end, boots) for begin, end, boots in cycle.lives(controller)]
    for group in controller.groups:
        if group.period_s <= 0.0:
            continue
        period_s = max(group.period_s, cycle.outing.thinned_s)
        rows = {one.spn: one for one in group_layouts(group.pgn)}
        times = np.concatenate([np.arange(begin + 0.03, end, period_s) for begin, end, _ in lives])
        step = np.minimum((times / STEP_S).astype(np.int64), len(cycle.trace.time_s) - 1)
        for spn in group.spns:
            row = rows[spn]
            series = cycle.series(controller, spn)
            sent = series[step] if series.ndim else np.full(len(times), float(series))
            status = np.where(
                np.isnan(sent), NOT_AVAILABLE, np.where(np.isinf(sent), ERROR, NUMBER)
            )
            with np.errstate(invalid="ignore"):
                counts = np.rint((sent - row.offset) / row.resolution)
                value = np.clip(counts, 0, row.highest_raw) * row.resolution + row.offset
            out.append(
                SignalHeard(
                    machine, controller.key, controller.channel, controller.address, group.pgn,
                    spn, row.unit, period_s,
                    started_us + np.rint(times * 1e6).astype(np.int64),
                    np.where(status == NUMBER, value, np.nan), status.astype(np.uint8),
                )
            )  # fmt: skip
    return out


def _faults(
    cycle: KeyCycle,
    controller: Controller,
    reports: Sequence[Report],
    started_us: int,
    asked_s: float | None,
) -> list[FaultSeen]:
    """Return what one controller told: DM1 listings as spells, DM2 where it was asked."""
    rows: dict[tuple[int, int], FaultSeen] = {}
    for index in cycle.found:
        fault = cycle.faults[index]
        if fault.controller != controller.key:
            continue
        spells = [
            spell
            for held in cycle.found[index].held
            if (spell := _spell(cycle, controller, held, reports, started_us)) is not None
        ]
        if not spells:
            continue
        state: FaultState = "active"
        if spells[-1].ended_by == "healed":
            state = "previously_active"
        rows[fault.spn, fault.fmi] = FaultSeen(
            FaultKey("j1939", controller.channel, controller.address, fault.spn, fault.fmi),
            ("dm1",), spells[0].start_us, spells[-1].end_us, state, tuple(spells),
            tuple(CountSeen(one.start_us, one.end_us, one.count_start) for one in spells),
            fault.lamps, fault.lamps, method=controller.method,
        )  # fmt: skip
    if asked_s is not None and cycle.manner(controller).answers:
        at_us = started_us + round(asked_s * 1e6)
        for entry in cycle.recall(controller).entries(asked_s):
            if not entry.previous:
                continue
            key = FaultKey("j1939", controller.channel, controller.address, entry.spn, entry.fmi)
            count = CountSeen(at_us, at_us, entry.count)
            known = rows.get((entry.spn, entry.fmi))
            if known is None:
                rows[entry.spn, entry.fmi] = FaultSeen(
                    key, ("dm2",), at_us, at_us, "previously_active", counts=(count,),
                    lamps=OFF, method=controller.method,
                )  # fmt: skip
            else:
                rows[entry.spn, entry.fmi] = replace(
                    known, sources=("dm1", "dm2"), counts=(*known.counts, count)
                )
    return list(rows.values())


def _spell(
    cycle: KeyCycle,
    controller: Controller,
    held: Held,
    reports: Sequence[Report],
    started_us: int,
) -> Spell | None:
    """Return one spell as reported; None: no report listed it."""
    listed = [one.at_s for one in reports if held in one.listed]
    if not listed:
        return None
    later = [one.at_s for one in reports if one.at_s > listed[-1]]
    fault = cycle.faults[held.fault]
    before = fault.count_before if held.before is None else held.before
    count = count_sent(controller.count_steps, before, held.nth) if held.nth else before
    begins = [begin for begin, _, _ in cycle.lives(controller) if begin <= listed[0]]
    begun = max([float(cycle.outing.lead_s), *begins])
    spoke = any(begun <= one.at_s < listed[0] - 1e-9 for one in reports)
    known = spoke or held.set_s > begun + FIRST_SIGN_S

    def us(at_s: float) -> int:
        return started_us + round(at_s * 1e6)

    healed = held.heal_s is not None
    off = cycle.outing.key_off_s is not None
    return Spell(
        us(listed[0]), known, us(listed[-1]), us(later[0]) if healed and later else None,
        "healed" if healed else ("key_off" if off else "recording_end"), count, count,
    )  # fmt: skip


def cases_of(season: Season) -> tuple[CaseLook, ...]:
    """Return what a listener makes of every J1939 look of a season, in the order of the days."""
    return tuple(look_heard(one) for one in season.looks if one.outing is not None)


__all__ = [
    "CaseData", "CaseLook", "SignalHeard", "case", "cases_of", "look_heard", "some_shifts",
]  # fmt: skip
