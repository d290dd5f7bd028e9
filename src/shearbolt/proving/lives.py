"""A machine's life over a season: hours worked and stood, causes growing, codes kept, looks taken.

Between looks the hours pass unrecorded (`unrecorded`); what controllers remember goes on over all
of them. Nothing here makes frames: a look is an outing that `bus.play` can play at any time, with
the same outcome as it had here.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime, timedelta

import numpy as np

from shearbolt.model.controller import Name
from shearbolt.proving.blame import Blame, Code, found_around, told
from shearbolt.proving.bus import play
from shearbolt.proving.calendar import Shift
from shearbolt.proving.causes import STALE, Active, plight_of
from shearbolt.proving.controllers import Controller, Machine
from shearbolt.proving.cycle import KeyCycle, live_through
from shearbolt.proving.like_with_like import (
    as_after_a_break,
    as_without,
    remembered,
    sooty,
    step_of,
    with_true_causes,
)
from shearbolt.proving.looks import Look, asks_of, file_name, format_of, lead_of, phases_of
from shearbolt.proving.manners import manner_of
from shearbolt.proving.memory import Kept, Store
from shearbolt.proving.obd import RoadTrip
from shearbolt.proving.outing import Outing
from shearbolt.proving.physics import Battery
from shearbolt.proving.plans import (
    Happening,
    LookPlan,
    MachinePlan,
    Mending,
    actives_of,
    hours_of,
    moment_at,
    shift_at,
)
from shearbolt.proving.plight import Plight, word_seed
from shearbolt.proving.road_codes import answered_of, road_codes
from shearbolt.proving.season_truth import TrueCount
from shearbolt.proving.shifts import after, shift
from shearbolt.proving.tales import Seen, Tale, stamp
from shearbolt.proving.trace import STEPS_A_SECOND, Day, Phase, Trace, simulate
from shearbolt.proving.truth import Cause as CauseClass
from shearbolt.proving.unrecorded import CameOn, Rate, draw, rates_of, worked
from shearbolt.proving.weather import VALLEY_M, air_over, weather_at

AT_WORK = 0.01
"""Causes below this severity change nothing that counts."""
_PIECE_H = 90.0
"""Unrecorded hours are drawn in pieces no longer than this."""
_SAMPLE_MIN = 19.0
_WARM_UP_H = 0.5
"""A recording amid work is of a key cycle that began so long before it, or less."""
_APART_H = 0.1
"""Two recordings of one shift lie at least so far apart."""
LOGGED_EACH_S = 1.0
"""A logger keeps one frame of each periodic group in so many seconds."""
_KM_H = 11.0


class MachineLife:
    """One machine on its way through the season; every step moves it forward in engine hours."""

    def __init__(
        self,
        plan: MachinePlan,
        shifts: Sequence[Shift],
        *,
        seed: int,
        weather: int,
        blame: Blame,
        shared: dict[tuple[str, str], Store],
        taken: set[str],
    ) -> None:
        self.plan = plan
        self.shifts = tuple(shifts)
        self.seed = seed
        self.weather = weather
        self.machine = plan.machine
        own = tuple(one for one in plan.troubles if not one.on_implement)
        carried = tuple(one for one in plan.troubles if one.on_implement)
        self.actives = actives_of(shifts, own, plan.mendings)
        self.carried = actives_of(shifts, carried, plan.mendings)
        self.at_h = 0.0
        self.looks: list[Look] = []
        self.seen: list[Seen] = []
        self.tales: dict[tuple[str, str, int, int], Tale] = {}
        """By key of the machine, controller, SPN and FMI."""
        self.own_words: dict[Code, tuple[CauseClass, str]] = {}
        """What controllers' own codes say of themselves where nothing else is behind them."""
        self.recorded_h = 0.0
        self._blame = blame
        self._taken = taken
        self._shared = shared
        """Memories of implements, which go from tractor to tractor."""
        self._stores: dict[tuple[str, str], Store] = {}
        self._swapped: tuple[tuple[str, Name], ...] = ()
        self._washed: datetime | None = None
        self._rates: dict[object, tuple[Rate, ...]] = {}
        self._rng = np.random.default_rng((seed, word_seed("life", plan.machine.name)))
        build = plan.machine.build
        if build is None:
            raise ValueError("a life of its own needs an engine; an implement follows its tractor")
        self.build = build
        for one in plan.machine.controllers:
            self._stores[plan.machine.key, one.key] = self._first_store(one)
        day = Day(
            hours=plan.hours, fuel_pct=80.0, soot_pct=34.0, battery=Battery(charge=0.9),
            distance_km=24.0 * plan.hours if build.stepped else 11.0 * plan.hours,
            altitude_m=VALLEY_M,
        )  # fmt: skip
        self._trace = self._glimpse(day)
        self._trace_h = 0.0

    # State

    def _first_store(self, controller: Controller) -> Store:
        """Return a controller's memory before the season: what it remembers of other years."""
        place = (self.machine.key, controller.key)
        rows = [one for one in STALE if (one.machine, one.controller) == place]
        old = [Kept(one.spn, one.fmi, one.count, one.cause_class, one.words, True) for one in rows]
        return Store(tuple(old) if self.plan.stale else ())

    def _glimpse(self, day: Day) -> Trace:
        """Return two seconds of idling, which carry a state over."""
        return simulate(self.build, day, (Phase("idle", 2),), np.random.default_rng(self.seed))

    def meter(self, hours: float) -> float:
        """Return the engine-hour reading at hours of the season."""
        return self.plan.hours + hours

    def stores(self) -> dict[tuple[str, str], Store]:
        """Return all memories, those of implements too."""
        return {**self._shared, **self._stores}

    def working(self, hours: float, hitched: bool) -> tuple[Active, ...]:
        """Return the causes at work at some engine hours."""
        few = (*self.actives, *self.carried) if hitched else self.actives
        return tuple(one for one in few if one.severity(hours) >= AT_WORK)

    def hitched(self, kind: str, moment: datetime) -> bool:
        """Tell whether the implement is behind the machine."""
        if self.plan.implement is None or kind != "carting":
            return False
        first, last = (moment_at(one, moment.year) for one in self.plan.hitched)
        return first <= moment < last + timedelta(days=1)

    def wet(self, moment: datetime) -> float:
        """Return how wet the machine is: washed in the last days, or rained on."""
        washed = 0.0
        if self._washed is not None and moment >= self._washed:
            washed = float(np.exp(-(moment - self._washed).total_seconds() / 3600.0 / 30.0))
        rain = weather_at(moment, self.weather).rain_mm
        return min(1.0, max(washed, 0.08 * rain))

    def _air(self, start: datetime, hours: float) -> list[tuple[float, float]]:
        """Return the air temperatures over a rest, at most a hundred of them."""
        return air_over(start, max(0.02, hours), self.weather, most=100)

    def _day(self, one: Shift, into_h: float, plight: Plight) -> Day:
        """Return what is found at a place in a shift; `into_h` 0 is the turn of the key."""
        hours = one.before_h + into_h
        moment = one.start + timedelta(hours=into_h)
        wet = self.wet(moment)
        pressure = weather_at(moment, self.weather).pressure_kpa
        if self._trace_h > one.before_h + 1e-6:
            # Later in a shift that was looked at before.
            air = self._air(moment - timedelta(minutes=1), 0.02)
            day = after(self._trace, air, worked_h=max(0.0, hours - self._trace_h), plight=plight,
                        wet=wet)  # fmt: skip
            return replace(day, weather_kpa=pressure)
        rests_from = one.start - timedelta(hours=one.rest_h)
        air = self._air(rests_from, one.rest_h)
        unseen_h = max(0.0, one.before_h - self._trace_h)
        day = after(self._trace, air, worked_h=unseen_h, plight=plight, wet=wet)
        day = replace(day, weather_kpa=pressure, hours=self.meter(one.before_h))
        if into_h < 0.02:
            return day
        rng = np.random.default_rng((self.seed, word_seed("warm up", self.machine.name, hours)))
        phases = shift(one.kind, 60.0 * min(into_h, _WARM_UP_H), rng, after_run_s=0)
        ran = simulate(self.build, replace(day, wet=wet), phases, rng)
        day = after(ran, self._air(moment, 0.02), plight=plight, wet=wet)
        return replace(day, weather_kpa=pressure, hours=self.meter(hours))

    # Unrecorded hours

    def work_until(self, hours: float) -> None:
        """Work unrecorded up to some engine hours of the season."""
        while hours - self.at_h > 1e-3:
            piece = min(hours - self.at_h, _PIECE_H)
            self._work(self.at_h, self.at_h + piece)

    def _work(self, from_h: float, to_h: float) -> None:
        middle = (from_h + to_h) / 2.0
        one, _ = shift_at(self.shifts, middle)
        hitched = self.hitched(one.kind, one.start)
        working = self.working(middle, hitched)
        cycles = sum(from_h < each.before_h + 1e-9 <= to_h for each in self.shifts)
        rng = np.random.default_rng((self.seed, word_seed("work", self.machine.name, from_h)))
        came: tuple[CameOn, ...] = ()
        if working:
            came = draw(self._rates_at(one, middle, hitched, working), to_h - from_h, cycles, rng)
        self._keep(from_h, to_h, cycles, came, working, middle, hitched)
        for each in came:
            if each.rate.fault.lamps.any_lit:
                self._see(each, from_h, to_h, rng)
        # The state rolls on with the causes of these hours.
        plight = plight_of(working, middle, least=AT_WORK)
        last, _ = shift_at(self.shifts, to_h)
        unseen_h = max(0.0, to_h - self._trace_h)
        day = after(self._trace, self._air(last.end, 0.02), worked_h=unseen_h, plight=plight)
        self._trace, self._trace_h = self._glimpse(day), to_h
        self.at_h = to_h

    def _rates_at(
        self, one: Shift, hours: float, hitched: bool, working: Sequence[Active]
    ) -> tuple[Rate, ...]:
        """Return how often each code comes on, from a sample of the same state and work."""
        air_c = weather_at(one.start, self.weather).air_c
        # Soot counts only where it is not burnt off as usual.
        soot = round(float(self._trace.soot_pct[-1]) / 25.0) if sooty(working) else 0
        key = (
            one.kind, hitched, soot, round(air_c / 12.0),
            tuple((each.cause.key, step_of(each.severity(hours))) for each in working),
        )  # fmt: skip
        if key not in self._rates:
            rng = np.random.default_rng((self.seed, word_seed("sample", self.machine.name, hours)))
            plight = plight_of(working, hours, least=AT_WORK)
            unseen_h = max(0.0, hours - self._trace_h)
            rest_h = max(10.0, min(one.rest_h, 60.0))
            air = self._air(one.start - timedelta(hours=rest_h), rest_h)
            day = after(self._trace, air, worked_h=unseen_h, plight=plight, wet=self.wet(one.start))
            day = as_after_a_break(day, working)
            phases = shift(one.kind, _SAMPLE_MIN, rng)
            outing = self._outing(one.start, day, phases, hitched)
            number = int(rng.integers(2**31))
            cycle = live_through(outing, number)
            self._blamed(outing, number, cycle, working, hours, shortcut=True)
            self._rates[key] = rates_of(cycle)
        return self._rates[key]

    def _keep(
        self, from_h: float, to_h: float, cycles: int, came: Sequence[CameOn],
        working: Sequence[Active], hours: float, hitched: bool,
    ) -> None:  # fmt: skip
        """Let every controller remember what came on, and the season's truth too."""
        behind = self._behind(working, [one.rate.code for one in came])
        blame = {code: both for code, key in behind.items() if (both := told(working, key))}
        for machine in self._machines(hitched):
            for controller in machine.controllers:
                place = machine.key, controller.key
                store = self.stores().get(place, Store())
                new = worked(
                    store, controller, manner_of(machine.key, controller), came, blame,
                    hours=to_h - from_h, cycles=cycles, km=_KM_H * (to_h - from_h),
                )  # fmt: skip
                self._put(place, new)
        for one in came:
            place = one.rate.machine, one.rate.fault.controller
            kept = self.stores()[place].code(one.rate.fault.spn, one.rate.fault.fmi)
            count = 0 if kept is None else kept.count
            self._tell(place, one.rate.code, behind[one.rate.code], from_h, to_h, False, one.times,
                       count)  # fmt: skip

    def _behind(self, working: Sequence[Active], codes: Sequence[Code]) -> dict[Code, str]:
        keys = frozenset(one.cause.key for one in working)
        return {code: self._blame.known(self.machine.name, keys, code) for code in codes}

    def _put(self, place: tuple[str, str], store: Store) -> None:
        if place[0] == self.machine.key:
            self._stores[place] = store
        else:
            self._shared[place] = store

    def _tell(
        self, place: tuple[str, str], code: Code, cause: str, from_h: float, to_h: float,
        recorded: bool, times: int, count: int,
    ) -> None:  # fmt: skip
        key = (*place, *code[1:])
        tale = self.tales.setdefault(key, Tale(cause, self.meter(from_h)))
        tale.cause = tale.cause or cause
        tale.times += times
        tale.counts.append(TrueCount(self.meter(from_h), self.meter(to_h), recorded, times, count))

    def _see(self, came: CameOn, from_h: float, to_h: float, rng: np.random.Generator) -> None:
        """Note a lamp that the driver saw, at one of the times it came on."""
        hours = float(rng.uniform(from_h, to_h))
        one, into = shift_at(self.shifts, hours)
        early = came.rate.a_start >= came.rate.an_hour
        into = min(one.hours, came.rate.when_s / 3600.0) if early else max(into, 0.1)
        code = came.rate.code
        tale = self.tales[came.rate.machine, code[0], code[1], code[2]]
        self.seen.append(
            Seen(
                one.start + timedelta(hours=into), into, self.meter(one.before_h + into), code,
                came, one.kind, len(tale.counts) == 1,
            )
        )  # fmt: skip

    # Mending and happening

    def mend(self, one: Mending) -> None:
        """Do a repair: what it cures is in the causes themselves; here codes are cleared."""
        self.work_until(hours_of(self.shifts, one.at))
        if one.cleared:
            for place, store in self._stores.items():
                permanent = tuple(each for each in store.kept if each.permanent)
                self._stores[place] = replace(
                    store, kept=permanent, mil_km=0.0, clear_km=0.0, mil_min=0.0, clear_min=0.0,
                    warm_ups=0, complete=frozenset(),
                )  # fmt: skip

    def happen(self, one: Happening) -> None:
        """Let something happen."""
        self.work_until(hours_of(self.shifts, one.at))
        if one.wet:
            by_hours = shift_at(self.shifts, self.at_h)[0].start
            self._washed = moment_at(one.at) if isinstance(one.at, str) else by_hours

    def swap(self, at_h: float, key: str, number: int) -> None:
        """Exchange one controller for another of its kind, whose memory is empty."""
        self.work_until(at_h)
        old = self.machine.controller(key)
        name = replace(old.name, value=(old.name.value & ~0x1FFFFF) | number)
        self.machine = self.machine.with_controller(replace(old, name=name))
        self._stores[self.machine.key, key] = Store(cycles=3, denominator=0, clear_km=0.0)
        self._swapped = (*self._swapped, (key, old.name))

    # Looks

    def _machines(self, hitched: bool) -> tuple[Machine, ...]:
        implement = self.plan.implement
        return (self.machine, implement) if hitched and implement is not None else (self.machine,)

    def _outing(self, moment: datetime, day: Day, phases: Sequence[Phase], hitched: bool) -> Outing:
        return Outing(
            "", "", stamp(moment), self.machine, day, tuple(phases),
            implement=self.plan.implement if hitched else None, watched=True,
        )  # fmt: skip

    def look(self, plan: LookPlan) -> Look:
        """Take a look; unrecorded work up to it is done first."""
        one, into = self._place(plan)
        hours = one.before_h + into
        again = self.at_h > one.before_h
        lead_h = min(into, _WARM_UP_H, hours - self.at_h if again else into)
        # The way from the key to the recording stands for all that the shift brought before.
        self.work_until(hours - lead_h if again else one.before_h)
        moment = one.start + timedelta(hours=into)
        kind = plan.kind or one.kind
        hitched = plan.hitched and self.hitched(kind, moment)
        number = word_seed(self.seed, "look", self.machine.name, len(self.looks))
        rng = np.random.default_rng(number)
        working = self.working(hours, hitched)
        plight = plight_of(working, hours, least=AT_WORK)
        phases = phases_of(plan, kind, 60.0 * one.hours, rng)
        seconds = float(sum(each.seconds for each in phases))
        name = file_name(self.machine.name, plan, moment, self._taken)
        look = Look(
            self.machine.name, moment, name, format_of(plan.form), number, None, None, hours,
            plan.part, kind, plan.tester, seconds,
        )  # fmt: skip
        if self.machine.controllers:
            words = word_seed("lead", self.machine.name, hours)
            lead = lead_of(kind, lead_h, np.random.default_rng((self.seed, words)))
            day = self._at_key_on(one, hours, lead_h, plight)
            outing = self._recorded(plan, look, day, [*lead, *phases], hitched, working)
            look = replace(look, outing=outing)
        else:
            look = self._road(look, self._day(one, into, plight), phases)
        self.looks.append(look)
        self.recorded_h += seconds / 3600.0
        return look

    def _place(self, plan: LookPlan) -> tuple[Shift, float]:
        """Find the shift of a look, and how far into it: never before what is done already."""
        hours = max(hours_of(self.shifts, plan.at), self.at_h)
        if plan.part in ("start", "whole"):
            later = (each for each in self.shifts if each.before_h >= hours - 1e-6)
            return next(later, self.shifts[-1]), 0.0
        look_h = plan.seconds / 3600.0
        long = (each for each in self.shifts if each.before_h + each.hours > hours + look_h)
        one = next(long, self.shifts[-1])
        left = one.hours - look_h
        into = left if plan.part == "end" else min(left, max(0.35, 0.45 * one.hours))
        if self.at_h > one.before_h:
            into = max(into, self.at_h + _APART_H - one.before_h)
        return one, max(into, 0.0)

    def _at_key_on(self, one: Shift, hours: float, lead_h: float, plight: Plight) -> Day:
        """Return what is found when the key is turned, `lead_h` before a recording."""
        if self._trace_h > one.before_h + 1e-6:
            return self._day(one, hours - lead_h - one.before_h, plight)
        day = replace(self._day(one, 0.0, plight), hours=self.meter(hours - lead_h))
        if lead_h < 0.02:
            return day
        moment = one.start + timedelta(hours=hours - one.before_h)
        warmer_k = weather_at(moment, self.weather).air_c - day.ambient_c
        return replace(day, ambient_k_h=warmer_k / lead_h)

    def _recorded(
        self, plan: LookPlan, look: Look, day: Day, phases: Sequence[Phase], hitched: bool,
        working: Sequence[Active],
    ) -> Outing:  # fmt: skip
        """Make the outing of a look, live it and keep what it leaves behind.

        `phases` go from the turn of the key to the end of the recording.
        """
        machines = self._machines(hitched)
        lead_s = sum(each.seconds for each in phases) - round(look.seconds)
        asks, tool = asks_of(machines, plan, look.seconds, lead_s)
        stores = self.stores()
        outing = replace(
            self._outing(look.started, day, phases, hitched),
            file_name=look.file_name, file_format=look.file_format, asks=asks, tool=tool,
            lead_s=lead_s, thinned_s=LOGGED_EACH_S if plan.logger else 0.0,
            relative=plan.relative,
            stores={
                (machine.key, each.key): stores.get((machine.key, each.key), Store())
                for machine in machines
                for each in machine.controllers
            },
            swapped=self._swapped,
        )  # fmt: skip
        self._swapped = ()
        cycle = live_through(outing, look.seed)
        behind = self._blamed(outing, look.seed, cycle, working, look.from_h)
        blame = remembered(outing.stores)
        for code, key in behind.items():
            both = told(working, key)
            if both is None:
                blame.pop(code, None)
            else:
                blame[code] = both
        outing = replace(outing, blame=blame)
        if plan.clears:
            left = play(outing, look.seed).stores()
        else:
            left = with_true_causes(cycle, blame).stores_after()
        for place, store in left.items():
            self._put(place, store)
        hours = cycle.trace.hours
        lead_h = float(hours[lead_s * STEPS_A_SECOND] - hours[0])
        to_h = look.from_h - lead_h + float(hours[-1] - hours[0])
        owners = {each.key: machine.key for machine in machines for each in machine.controllers}
        for code, (before, times) in found_around(cycle, lead_s).items():
            place = owners[code[0]], code[0]
            if before:
                _, controller = cycle.place(code[0])
                entries = cycle.recall(controller).entries(float(lead_s))
                counts = [each.count for each in entries if (each.spn, each.fmi) == code[1:]]
                self._tell(place, code, behind[code], look.from_h - lead_h, look.from_h, False,
                           before, max(counts, default=0))  # fmt: skip
            if times is not None:
                kept = left[place].code(*code[1:])
                self._tell(place, code, behind[code], look.from_h, to_h, True, times,
                           0 if kept is None else kept.count)  # fmt: skip
        self._trace, self._trace_h, self.at_h = cycle.trace, to_h, max(self.at_h, to_h)
        return outing

    def _blamed(
        self, outing: Outing, number: int, cycle: KeyCycle, working: Sequence[Active],
        hours: float, *, shortcut: bool = False,
    ) -> dict[Code, str]:  # fmt: skip
        for one in cycle.faults:
            self.own_words.setdefault((one.controller, one.spn, one.fmi), (one.cause, one.words))

        def lived(few: Sequence[Active]) -> KeyCycle:
            day = as_without(outing.day, few, plight_of(few, hours, least=AT_WORK))
            return live_through(replace(outing, day=day), number)

        return self._blame.of(self.machine.name, working, hours, cycle, lived, shortcut=shortcut)

    def _road(self, look: Look, day: Day, phases: Sequence[Phase]) -> Look:
        """Make the trip of a road vehicle that speaks to testers only."""
        rows = road_codes(self.actives, look.from_h)
        trip = RoadTrip(
            stamp(look.started), self.build, day, tuple(phases), self.machine.vin or "",
            answered_of(rows), 12.0,
        )  # fmt: skip
        trace = simulate(self.build, day, phases, np.random.default_rng(look.seed))
        to_h = look.from_h + float(trace.hours[-1] - trace.hours[0])
        self._trace, self._trace_h, self.at_h = trace, to_h, max(self.at_h, to_h)
        told_of = ((one.code, one.cause, one.cause_class, one.words) for one in rows)
        return replace(look, trip=trip, told=tuple(told_of))


__all__ = ["AT_WORK", "MachineLife"]
