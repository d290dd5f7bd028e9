"""The whole yard through one season: every machine's life in the order of the days, and its truth.

Machines share the weather and the implements; so their lives go forward together. What comes of it
is data: looks that can be played to frames at any time, what was written down by hand, and all
that is true of it.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

import numpy as np

from shearbolt.model.instants import from_iso
from shearbolt.model.reading import TimeBase
from shearbolt.proving.blame import OWN, Blame
from shearbolt.proving.bus import play
from shearbolt.proving.calendar import Shift, calendar
from shearbolt.proving.causes import CATALOGUE, Active, Repair, repair
from shearbolt.proving.faults import OFF
from shearbolt.proving.ledger import truth_of
from shearbolt.proving.lives import MachineLife
from shearbolt.proving.looks import Look
from shearbolt.proving.memory import Store
from shearbolt.proving.obd import CHANNEL, play_road
from shearbolt.proving.plans import (
    Happening,
    LookPlan,
    MachinePlan,
    Mending,
    Trouble,
    hours_of,
    moment_at,
    time_at,
)
from shearbolt.proving.plight import word_seed
from shearbolt.proving.season_truth import (
    SeasonTruth,
    TrueCause,
    TrueRepair,
    TrueSeasonFault,
    TrueSeasonMachine,
    TrueVisit,
    settings_of,
)
from shearbolt.proving.tales import Seen
from shearbolt.proving.truth import (
    Cause,
    DemoRecording,
    TrueFault,
    TrueMachine,
    Truth,
    WrittenNote,
    WrittenRepair,
)

_DOING = {
    "mowing": "mowing", "tilling": "heavy cultivating", "chopping": "chopping",
    "carting": "carting to the clamp", "clamp": "pushing up the clamp", "loading": "loading",
    "yard": "yard work", "hauling": "hauling, loaded", "errands": "on the road",
}  # fmt: skip
_HOT_AFTER_H, _COLD_UNTIL_H = 0.5, 0.15
_QUIET_DAYS, _REST_DAYS = 30, 4
"""A driver who wrote a code down does not write it down again for so long, nor another one."""


@dataclass(frozen=True, slots=True)
class Season:
    """One season of the yard."""

    seed: int
    looks: tuple[Look, ...]
    """Recordings to be played, in the order of their days."""
    notes: tuple[WrittenNote, ...]
    """Written down by hand, in the order of the days."""
    repairs: tuple[WrittenRepair, ...]
    """In the order of the days."""
    truth: SeasonTruth

    def recordings(self) -> Iterator[DemoRecording]:
        """Play every look, one after the other."""
        return (play_look(one) for one in self.looks)


def play_look(look: Look) -> DemoRecording:
    """Play one look to its frames, with the truth of them; always the same for the same look."""
    if look.outing is not None:
        played = play(look.outing, look.seed)
        truth = truth_of(look.outing, played)
        return DemoRecording(look.file_name, look.file_format, played.frames, truth)
    assert look.trip is not None
    trip = look.trip
    frames, trace = play_road(trip, look.seed)
    faults = tuple(
        TrueFault(
            "pickup", "engine", "obd", CHANNEL, None, None, None, code,
            code in trip.codes.confirmed,
            ("obd03" if code in trip.codes.confirmed else "obd07", "uds19"), (), None, None, OFF,
            _class(cause), words,
        )
        for code, cause, _, words in look.told
    )  # fmt: skip
    machine = TrueMachine(
        "pickup", look.machine, trip.vin, True, False,
        float(trace.hours[0]), float(trace.hours[-1]), False, (),
    )  # fmt: skip
    truth = Truth(
        TimeBase.ABSOLUTE, from_iso(trip.started), int(frames.time_us[-1]), trip.started,
        (machine,), faults, (), (), False, False,
    )  # fmt: skip
    return DemoRecording(look.file_name, look.file_format, frames, truth)


def _class(key: str) -> Cause:
    return CATALOGUE[key].cause_class


def live_season(
    plans: Sequence[MachinePlan],
    seed: int,
    *,
    weather: int | None = None,
    shifts: Mapping[str, Sequence[Shift]] | None = None,
) -> Season:
    """Let machines live through a season; the same plans and seed give the same season.

    `weather` seeds the weather alone (None: goes with `seed`); `shifts` gives machines, by name,
    other work than the calendar's. Raises KeyError where a plan names
    a cause or repair that is not in the catalogue, ValueError for dates that are none.
    """
    sky = seed if weather is None else weather
    blame, shared, taken = Blame(), dict[tuple[str, str], Store](), set[str]()
    lives = []
    for one in plans:
        number = word_seed(seed, one.machine.name)
        work = (shifts or {}).get(one.machine.name) or calendar(
            one.machine.key, number, weather=sky
        )
        lives.append(
            MachineLife(
                one, work, seed=number, weather=sky, blame=blame, shared=shared, taken=taken
            )
        )
    for _, life, step in sorted(_steps(lives), key=lambda one: one[0]):
        if isinstance(step, LookPlan):
            life.look(step)
        elif isinstance(step, Mending):
            life.mend(step)
        elif isinstance(step, Happening):
            life.happen(step)
        else:
            life.swap(*step)
    for life in lives:
        last = life.shifts[-1]
        life.work_until(last.before_h + last.hours)
    looks = sorted((look for life in lives for look in life.looks), key=lambda one: one.started)
    notes = sorted((n for life in lives for n in _notes(life)), key=lambda one: one.date)
    repairs = sorted((r for life in lives for r in _repairs(life)), key=lambda one: one.date)
    return Season(seed, tuple(looks), tuple(notes), tuple(repairs), _truth(seed, lives))


def _steps(
    lives: Sequence[MachineLife],
) -> Iterator[
    tuple[datetime, MachineLife, LookPlan | Mending | Happening | tuple[float, str, int]]
]:
    """Return all that is planned, with the time at which it comes."""
    for life in lives:
        plan, shifts = life.plan, life.shifts
        planned: tuple[Happening | Mending | LookPlan, ...] = (
            *plan.happenings,
            *plan.mendings,
            *plan.looks,
        )
        for one in planned:
            if isinstance(one.at, str):
                yield moment_at(one.at, shifts[0].start.year), life, one
            else:
                yield time_at(shifts, one.at), life, one
        for at, key, number in plan.swaps:
            hours = hours_of(shifts, at)
            when = moment_at(at) if isinstance(at, str) else time_at(shifts, hours)
            yield when, life, (hours, key, number)


# By hand


def _repairs(life: MachineLife) -> Iterator[WrittenRepair]:
    for one in life.plan.mendings:
        hours = hours_of(life.shifts, one.at)
        yield WrittenRepair(
            life.machine.name, _day(life, one.at), round(life.meter(hours), 1), one.text,
            one.about, one.codes, one.repairs,
        )  # fmt: skip


def _day(life: MachineLife, at: str | float) -> str:
    moment = moment_at(at) if isinstance(at, str) else time_at(life.shifts, at)
    if isinstance(at, str) and " " not in at:
        return f"{moment:%Y-%m-%d}"
    return f"{moment:%Y-%m-%dT%H:%M:00Z}"


def _notes(life: MachineLife) -> Iterator[WrittenNote]:
    for one in life.plan.happenings:
        hours = round(life.meter(hours_of(life.shifts, one.at)), 1)
        yield WrittenNote(
            life.machine.name, _day(life, one.at), hours if one.with_hours else None, one.text,
            one.kind, one.doing, one.warmth, one.minutes_since_start, _driver(life, hours),
        )  # fmt: skip
    rng = np.random.default_rng((life.seed, word_seed("notes", life.machine.name)))
    last: dict[tuple[str, int, int], datetime] = {}
    wrote: datetime | None = None
    for seen in sorted(life.seen, key=lambda one: one.moment):
        lamps = seen.came.rate.fault.lamps
        red = lamps.red_stop not in ("off", None)
        chance = min(1.0, life.plan.writes * (1.6 if red else 1.0) * (1.2 if seen.first else 0.5))
        before = last.get(seen.code)
        again = before is not None and (seen.moment - before).days < _QUIET_DAYS
        tired = wrote is not None and (seen.moment - wrote).days < _REST_DAYS and not red
        if rng.random() >= chance or again or tired:
            continue
        last[seen.code] = wrote = seen.moment
        yield _note_of(life, seen)


def _driver(life: MachineLife, hours: float) -> str | None:
    drivers = life.plan.drivers
    return drivers[int(hours) // 40 % len(drivers)] if drivers else None


def _note_of(life: MachineLife, seen: Seen) -> WrittenNote:
    """Write a code down as its dash shows it."""
    _, spn, fmi = seen.code
    shown = {
        "big_tractor": f"{spn}.{fmi:02d}",
        "forager": f"{spn:06d}.{fmi:02d}",
        "telehandler": f"{spn}-{fmi}",
    }.get(life.machine.key, f"SPN {spn} FMI {fmi}")
    warm = (
        "hot" if seen.into_h > _HOT_AFTER_H else ("cold" if seen.into_h < _COLD_UNTIL_H else None)
    )
    return WrittenNote(
        life.machine.name,
        f"{seen.moment:%Y-%m-%dT%H:%M:00Z}",
        round(seen.hours, 1),
        shown,
        "code",
        _DOING[seen.kind],
        warm,  # type: ignore[arg-type]
        float(round(seen.into_h * 60.0)),
        _driver(life, seen.hours),
        spn,
        fmi,
    )


# Truth


def _truth(seed: int, lives: Sequence[MachineLife]) -> SeasonTruth:
    worked = sum(one.shifts[-1].before_h + one.shifts[-1].hours for one in lives)
    recorded = sum(one.recorded_h for one in lives)
    return SeasonTruth(
        seed, round(recorded / worked, 6) if worked else 0.0, tuple(_machine(one) for one in lives)
    )


def _machine(life: MachineLife) -> TrueSeasonMachine:
    whole = life.shifts[-1].before_h + life.shifts[-1].hours
    causes = [_cause(life, one, False, whole) for one in life.actives]
    causes += [_cause(life, one, True, whole) for one in life.carried]
    return TrueSeasonMachine(
        life.machine.key,
        life.machine.name,
        life.machine.vin,
        life.plan.hours,
        life.meter(whole),
        whole,
        life.recorded_h,
        len(life.shifts),
        life.plan.about,
        tuple(causes),
        tuple(_faults(life)),
        tuple(_visit(life, one) for one in life.looks),
    )


def _cause(life: MachineLife, one: Active, on_implement: bool, whole: float) -> TrueCause:
    begins = one.course.from_h
    return TrueCause(
        one.cause.key,
        one.cause.cause_class,
        one.cause.words,
        life.meter(begins),
        f"{time_at(life.shifts, begins):%Y-%m-%dT%H:%M:00Z}",
        one.course.grows_h,
        one.course.peak,
        on_implement,
        settings_of(one.cause),
        one.cause.shows,
        tuple(_done(life, one, at, done) for at, done in one.repairs if at >= begins),
        round(one.severity(whole), 4),
        one.cause.returns_h,
    )


def _done(life: MachineLife, one: Active, at: float, done: Repair) -> TrueRepair:
    took = done.cure(one.cause.key)
    return TrueRepair(
        done.key,
        done.words,
        life.meter(at),
        f"{time_at(life.shifts, at):%Y-%m-%dT%H:%M:00Z}",
        took,
        "cured" if took >= 0.85 else ("partly" if took > 0.02 else "not"),
    )


def _faults(life: MachineLife) -> Iterator[TrueSeasonFault]:
    causes = {one.cause.key: one.cause for one in (*life.actives, *life.carried)}
    for (machine, controller, spn, fmi), tale in sorted(life.tales.items()):
        behind = causes.get(tale.cause)
        own = life.own_words.get((controller, spn, fmi), ("real_condition", "It is so."))
        yield TrueSeasonFault(
            machine, controller, spn, fmi, tale.cause if behind else OWN,
            own[0] if behind is None else behind.cause_class,
            own[1] if behind is None else behind.words,
            tale.first_h, tale.times, tuple(tale.counts),
        )  # fmt: skip


def _visit(life: MachineLife, look: Look) -> TrueVisit:
    start = life.meter(look.from_h)
    return TrueVisit(
        look.file_name, f"{look.started:%Y-%m-%dT%H:%M:%SZ}", start,
        start + look.seconds / 3600.0, look.seconds, look.part, look.kind,
        len(look.machines) > 1, look.tester,
    )  # fmt: skip


def with_brought(plan: MachinePlan) -> MachinePlan:
    """Return a plan to which the troubles that unfinished repairs leave behind are added.

    A repair brings what it may bring where the machine can have it, and nothing later in the plan
    finishes it with care.
    """
    more = []
    for one in plan.mendings:
        for key in one.repairs:
            for brought in repair(key).brings:
                fits = plan.machine.key in CATALOGUE[brought].machines
                spns = {spn for spn, _ in one.about}
                touches = bool(spns & set(CATALOGUE[brought].affects))
                known = any(each.cause == brought for each in plan.troubles)
                if fits and touches and not known:
                    more.append((brought, one.at))
    return replace(plan, troubles=(*plan.troubles, *(Trouble(key, at) for key, at in more)))


__all__ = ["Season", "live_season", "play_look", "with_brought"]
