"""What the driver asks of a machine: activities as cycles of demand over time."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Literal

import numpy as np

from shearbolt.model.frames import F64
from shearbolt.proving.hardware import Build
from shearbolt.proving.physics import Flags, lag, wander
from shearbolt.proving.plight import BY_THE_BOOK, Habits

STEP_S = 0.05
"""Spacing of every quantity."""
STEPS_A_SECOND = 20

Activity = Literal[
    "key_on", "crank", "idle", "mow", "road", "load", "chop", "queue", "regenerate", "key_off",
    "haul", "till", "collect", "tip", "push", "yard", "town",
]  # fmt: skip


@dataclass(frozen=True, slots=True)
class Phase:
    """One stretch of work."""

    activity: Activity
    seconds: int
    soot_burner: bool = False
    """An active regeneration is asked for, and runs where nothing stops it."""


@dataclass(frozen=True, slots=True)
class _Manner:
    """What an activity asks of a machine; `cycle` bends it over and over."""

    speed_share: float
    """Engine speed in shares of rated; 0: idle speed."""
    load_pct: float
    """Without what driving on the road takes."""
    load_noise: float = 2.0
    travel: float = 0.0
    """Ground speed, km/h; on the road in shares of the machine's road speed."""
    pto: bool = False
    hydraulic: float = 0.05
    hitch_pct: float = 100.0
    rough: float = 0.0
    """Roughness of the ground: 0 standing, 1 road, 3 field."""
    hills: float = 0.0
    """Standard deviation of the slope."""
    loaded: float = 0.0
    """Share of the payload on board."""
    road: bool = False
    park: bool = False
    cycle_s: float = 0.0
    """Length of a cycle, 0: none."""
    cycle: tuple[tuple[float, ...], ...] = ()
    """Rows of `_COLUMNS` over the cycle, joined by straight lines."""


_COLUMNS = ("at", "speed", "load", "travel", "hydraulic", "hitch", "steering", "boom", "direction")
"""Place in the cycle 0 to 1; factors on speed, load, travel and flow; hitch, steering (-100 to
100) and boom (0 to 100) in percent; direction 1 or -1."""

_HEADLAND = (
    (0.00, 1.0, 1.00, 1.00, 0.6, 12, 0, 0, 1),
    (0.78, 1.0, 1.05, 1.00, 0.6, 12, 4, 0, 1),
    (0.80, 1.0, 0.60, 0.70, 3.0, 60, 10, 0, 1),
    (0.84, 1.0, 0.45, 0.50, 1.5, 85, 90, 0, 1),
    (0.92, 1.0, 0.45, 0.55, 1.0, 85, 95, 0, 1),
    (0.96, 1.0, 0.65, 0.75, 3.0, 40, 20, 0, 1),
    (1.00, 1.0, 1.00, 1.00, 0.6, 12, 0, 0, 1),
)
_LOADING = (
    (0.00, 0.85, 0.70, 1.2, 0.5, 100, 0, 8, 1),
    (0.18, 1.10, 1.35, 0.4, 1.3, 100, 0, 4, 1),
    (0.26, 1.10, 1.30, 0.0, 1.6, 100, 0, 20, 1),
    (0.32, 0.95, 0.80, 1.0, 1.1, 100, -70, 35, -1),
    (0.45, 0.90, 0.80, 1.0, 1.0, 100, -92, 45, -1),
    (0.50, 0.80, 0.70, 0.1, 1.2, 100, 0, 60, 1),
    (0.62, 1.05, 1.10, 1.3, 1.2, 100, 55, 85, 1),
    (0.74, 1.00, 0.95, 0.1, 1.5, 100, 5, 96, 1),
    (0.80, 0.85, 0.70, 0.9, 0.8, 100, 80, 80, -1),
    (0.92, 0.85, 0.65, 1.0, 0.6, 100, 60, 25, -1),
    (1.00, 0.85, 0.70, 1.2, 0.5, 100, 0, 8, 1),
)
_PUSHING = (
    (0.00, 1.00, 0.90, 1.0, 0.5, 100, 0, 15, 1),
    (0.40, 1.00, 1.35, 0.8, 0.7, 100, 8, 30, 1),
    (0.55, 0.95, 1.00, 0.2, 1.6, 100, 0, 55, 1),
    (0.60, 0.90, 0.70, 1.1, 0.8, 100, -40, 20, -1),
    (0.95, 0.90, 0.70, 1.2, 0.5, 100, 45, 10, -1),
    (1.00, 1.00, 0.90, 1.0, 0.5, 100, 0, 15, 1),
)
_TURNING = (
    (0.0, 1.0, 1.0, 1.0, 1.0, 100, 0, 0, 1),
    (0.3, 1.0, 1.1, 0.8, 1.2, 100, 98, 0, 1),
    (0.5, 0.9, 0.8, 0.0, 1.0, 100, 0, 0, 1),
    (0.6, 1.0, 1.0, 0.7, 1.2, 100, -97, 0, -1),
    (0.9, 0.9, 0.8, 0.1, 1.0, 100, 0, 0, -1),
    (1.0, 1.0, 1.0, 1.0, 1.0, 100, 0, 0, 1),
)
_STOP_AND_GO = (
    (0.0, 0.9, 0.8, 0.0, 1.0, 100, 0, 0, 1),
    (0.2, 1.1, 1.5, 1.0, 1.0, 100, 8, 0, 1),
    (0.7, 1.0, 0.9, 1.1, 1.0, 100, -10, 0, 1),
    (0.9, 0.8, 0.4, 0.0, 1.0, 100, 0, 0, 1),
    (1.0, 0.9, 0.8, 0.0, 1.0, 100, 0, 0, 1),
)

_MANNERS: dict[Activity, _Manner] = {
    "key_on": _Manner(0, 0, 0, park=True),
    "crank": _Manner(0, 0, 0, park=True),
    "key_off": _Manner(0, 0, 0, park=True),
    "idle": _Manner(0, 14, 1.0, park=True),
    "queue": _Manner(0, 18, 2.0, pto=True),
    "mow": _Manner(
        0.9, 74, 7.0, 13.0, pto=True, hydraulic=0.25, hitch_pct=12, rough=2.2, hills=0.03,
        cycle_s=118.0, cycle=_HEADLAND,
    ),
    "chop": _Manner(
        0.92, 94, 4.0, 6.0, pto=True, hydraulic=0.45, rough=1.8, hills=0.02,
        cycle_s=260.0,
        cycle=(
            (0.00, 1.0, 1.00, 1.0, 1.0, 100, 0, 0, 1),
            (0.90, 1.0, 1.00, 1.0, 1.0, 100, 4, 0, 1),
            (0.92, 1.0, 0.55, 0.7, 1.6, 100, 70, 0, 1),
            (0.97, 1.0, 0.50, 0.8, 1.2, 100, 80, 0, 1),
            (1.00, 1.0, 1.00, 1.0, 1.0, 100, 0, 0, 1),
        ),
    ),
    "till": _Manner(
        0.88, 88, 8.0, 8.5, hydraulic=0.15, hitch_pct=15, rough=2.6, hills=0.04,
        cycle_s=150.0, cycle=_HEADLAND,
    ),
    "collect": _Manner(
        0.78, 56, 8.0, 9.0, pto=True, hydraulic=0.3, rough=2.2, hills=0.04, loaded=0.5,
        cycle_s=90.0,
        cycle=(
            (0.00, 1.0, 1.0, 1.0, 0.6, 100, 0, 0, 1),
            (0.80, 1.0, 1.1, 1.0, 0.6, 100, 6, 0, 1),
            (0.86, 1.0, 0.5, 0.8, 2.0, 100, 85, 0, 1),
            (1.00, 1.0, 1.0, 1.0, 0.6, 100, 0, 0, 1),
        ),
    ),
    "tip": _Manner(0.62, 38, 5.0, 2.0, pto=True, hydraulic=0.6, rough=0.8, loaded=0.5),
    "push": _Manner(
        0.8, 70, 9.0, 7.0, hydraulic=0.5, rough=1.6, hills=0.08, cycle_s=34.0, cycle=_PUSHING
    ),
    "load": _Manner(
        0.72, 52, 8.0, 6.5, hydraulic=0.8, rough=1.2, cycle_s=36.0, cycle=_LOADING
    ),
    "yard": _Manner(
        0.52, 22, 4.0, 6.0, hydraulic=0.3, rough=0.9, cycle_s=45.0, cycle=_TURNING
    ),
    "road": _Manner(0.82, 10, 3.0, 0.95, rough=1.0, hills=0.022, loaded=0.45, road=True),
    "haul": _Manner(0.88, 10, 3.0, 0.9, rough=1.2, hills=0.05, loaded=1.0, road=True),
    "town": _Manner(
        0.5, 9, 3.0, 0.5, rough=0.8, hills=0.015, loaded=0.2, road=True,
        cycle_s=55.0, cycle=_STOP_AND_GO,
    ),
    "regenerate": _Manner(0.62, 30, 2.0, park=True),
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Demand:
    """What is asked for at each step; arrays of one length."""

    time_s: F64
    key: Flags
    cranking: Flags
    turning: Flags
    """The engine runs."""
    speed_rpm: F64
    load_pct: F64
    """Without driving on the road; in percent of what the engine has at that speed."""
    travel_km_h: F64
    slope: F64
    loaded: F64
    road: Flags
    pto: Flags
    hydraulic: F64
    hitch_pct: F64
    steering_pct: F64
    boom_pct: F64
    direction: F64
    rough: F64
    brake: Flags
    clutch: Flags
    in_gear: Flags
    """The direction lever is not in neutral."""
    seat: Flags
    park: Flags
    burner: Flags
    activity: tuple[tuple[Activity, int, int], ...] = field(default=())
    """Each phase: what, first step, step after its last."""


def _spread(phases: Sequence[Phase]) -> tuple[F64, list[slice]]:
    """Lay the phases out in time: the time axis (s) and each phase's steps."""
    ends = np.cumsum([one.seconds for one in phases]) * STEPS_A_SECOND
    starts = np.concatenate(([0], ends[:-1]))
    axis = np.arange(int(ends[-1]), dtype=np.float64) * STEP_S
    return axis, [slice(int(a), int(b)) for a, b in zip(starts, ends, strict=True)]


def _bent(manner: _Manner, size: int, rng: np.random.Generator) -> dict[str, F64]:
    """Return the columns of a cycle over `size` steps; no two cycles are of one length."""
    if not manner.cycle_s:
        plain = {"at": 0.0, "steering": 0.0, "boom": 0.0, "direction": 1.0}
        plain["hitch"] = manner.hitch_pct
        return {one: np.full(size, plain.get(one, 1.0)) for one in _COLUMNS}
    pace = 1.0 + wander(rng, size, 0.12, 1.5 * manner.cycle_s, STEP_S)
    place = np.cumsum(np.clip(pace, 0.6, 1.6)) * STEP_S / manner.cycle_s
    turns = np.floor(place).astype(np.int64)
    rows = np.array(manner.cycle)
    bent = {
        name: np.interp(place - turns, rows[:, 0], rows[:, column])
        for column, name in enumerate(_COLUMNS)
    }
    # Turn left, then right; each pass bears a little more or less than the last.
    bent["steering"] *= np.where(turns % 2 == 0, 1.0, -1.0)
    bent["load"] *= (1.0 + 0.06 * rng.standard_normal(int(turns[-1]) + 1))[turns]
    bent["direction"] = np.where(bent["direction"] < 0.0, -1.0, 1.0)
    return bent


def _bouts(rng: np.random.Generator, allowed: Flags, share: float, long_s: float) -> Flags:
    """Return moments, about `share` of the allowed ones, in bouts of about `long_s`."""
    if share <= 0.0 or not allowed.any():
        return np.zeros(len(allowed), np.bool_)
    noise = wander(rng, len(allowed), 1.0, long_s, STEP_S)
    edge = float(np.quantile(noise[allowed], max(0.0, 1.0 - share)))
    return np.asarray(allowed & (noise >= edge), np.bool_)


def demand(
    build: Build, phases: Sequence[Phase], rng: np.random.Generator, habits: Habits = BY_THE_BOOK
) -> Demand:
    """Turn phases of work into what is asked of the machine, step by step."""
    axis, places = _spread(phases)
    count = len(axis)
    zeros = {name: np.zeros(count) for name in
             ("speed", "load", "travel", "slope", "loaded", "hydraulic", "hitch", "steering",
              "boom", "direction", "rough")}  # fmt: skip
    flags = {name: np.zeros(count, np.bool_) for name in
             ("key", "cranking", "turning", "road", "pto", "park", "burner")}  # fmt: skip
    named: list[tuple[Activity, int, int]] = []
    for phase, place in zip(phases, places, strict=True):
        manner = _MANNERS[phase.activity]
        size = place.stop - place.start
        bent = _bent(manner, size, rng)
        turning = phase.activity not in ("key_on", "crank", "key_off")
        share = manner.speed_share * bent["speed"]
        zeros["speed"][place] = np.where(share > 0, share * build.rated_rpm, build.idle_rpm)
        zeros["speed"][place] *= turning
        load = manner.load_pct * bent["load"] * (1.0 + habits.overloads * (manner.load_pct > 50))
        zeros["load"][place] = load + wander(rng, size, manner.load_noise, 4.0, STEP_S)
        top = build.road_km_h if manner.road else 1.0
        zeros["travel"][place] = manner.travel * top * bent["travel"]
        zeros["slope"][place] = wander(rng, size, manner.hills, 35.0, STEP_S)
        zeros["loaded"][place] = manner.loaded
        zeros["hydraulic"][place] = np.clip(manner.hydraulic * bent["hydraulic"], 0.0, 1.0)
        zeros["hitch"][place] = bent["hitch"]
        bend = bent["steering"]
        if manner.road:
            bend = bend + wander(rng, size, 9.0, 5.0, STEP_S)
        zeros["steering"][place] = bend
        zeros["boom"][place] = bent["boom"]
        zeros["direction"][place] = bent["direction"]
        zeros["rough"][place] = manner.rough
        for name, value in (
            ("key", phase.activity != "key_off"), ("cranking", phase.activity == "crank"),
            ("turning", turning), ("road", manner.road), ("pto", manner.pto and turning),
            ("park", manner.park), ("burner", phase.soot_burner),
        ):  # fmt: skip
            flags[name][place] = value
        named.append((phase.activity, place.start, place.stop))
    return _with_habits(build, axis, zeros, flags, tuple(named), rng, habits)


def _with_habits(
    build: Build,
    axis: F64,
    zeros: dict[str, F64],
    flags: dict[str, Flags],
    named: tuple[tuple[Activity, int, int], ...],
    rng: np.random.Generator,
    habits: Habits,
) -> Demand:
    """Add what the driver does with seat, levers, brake and clutch."""
    count = len(axis)
    travel, turning, pto = zeros["travel"], flags["turning"], flags["pto"]
    moving = (travel > 0.5) & turning
    slowing = np.diff(lag(travel, 1.0, STEP_S), prepend=travel[0]) < -0.02
    down = (zeros["slope"] < -0.035) & flags["road"] & moving
    brake = (slowing & moving) | down | (turning & ~moving & ~flags["park"])
    brake |= _bouts(rng, moving, habits.rides_brake, 25.0)
    swapped = np.diff(zeros["direction"], prepend=zeros["direction"][0]) != 0.0
    clutch = lag(swapped.astype(np.float64), 0.8, STEP_S, 0.0) > 0.02
    clutch |= _bouts(rng, moving, habits.rides_clutch, 8.0)
    leaves = habits.leaves_seat_an_hour / 3600.0 * 9.0
    up = _bouts(rng, turning & (pto | ~flags["park"]) & (travel < 3.0), min(0.9, leaves), 9.0)
    seat = flags["key"] & ~up
    in_gear = (moving | (zeros["travel"] > 0.0)) & flags["key"]
    if habits.starts_in_gear:
        in_gear |= flags["key"] & ~turning
    park = flags["park"].copy()
    if habits.park_dragged > 0.0:
        begun = np.flatnonzero(np.diff(moving.astype(np.int8), prepend=0) == 1)
        for first in begun[rng.random(len(begun)) < habits.park_dragged]:
            park[first : first + int(14.0 / STEP_S)] = True
    load, speed = zeros["load"], zeros["speed"]
    if habits.revs_cold:
        run = np.flatnonzero(turning)
        if len(run):
            early = slice(int(run[0]) + 60, int(run[0]) + 60 + int(25.0 / STEP_S))
            speed[early] = np.where(turning[early], 0.97 * build.rated_rpm, speed[early])
    if habits.pto_at_high_speed:
        for first in np.flatnonzero(np.diff(pto.astype(np.int8), prepend=0) == 1):
            speed[first : first + int(4.0 / STEP_S)] = build.rated_rpm
            load[first : first + int(2.0 / STEP_S)] = 135.0
    if habits.lugs > 0.0:
        hard = turning & (load > 60.0)
        speed[hard] *= 1.0 - habits.lugs
        load[hard] *= 1.0 + habits.lugs
    return Demand(
        time_s=axis,
        key=flags["key"],
        cranking=flags["cranking"],
        turning=turning,
        speed_rpm=speed,
        load_pct=load,
        travel_km_h=travel,
        slope=zeros["slope"],
        loaded=zeros["loaded"],
        road=flags["road"],
        pto=pto,
        hydraulic=zeros["hydraulic"],
        hitch_pct=zeros["hitch"],
        steering_pct=np.clip(lag(zeros["steering"], 0.6, STEP_S), -100.0, 100.0),
        boom_pct=lag(zeros["boom"], 0.7, STEP_S),
        direction=zeros["direction"] if count else np.ones(0),
        rough=zeros["rough"],
        brake=brake & flags["key"],
        clutch=clutch & flags["key"],
        in_gear=in_gear,
        seat=seat,
        park=park,
        burner=flags["burner"],
        activity=named,
    )
