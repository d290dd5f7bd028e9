"""Machines made up for the search for settings: states with a memory, starts by chance or cause.

Nothing of the proving ground's physics: first-order warming, tasks of random length, drifting load.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from shearbolt.reasoning.settings import VisitTable, Watched

DAY_US = 86_400_000_000
Columns = dict[str, npt.NDArray[np.float32]]
Flags = npt.NDArray[np.bool_]
Holds = Callable[[Mapping[str, npt.NDArray[np.float32]]], Flags]


@dataclass(frozen=True, slots=True)
class Yard:
    """How a made-up machine works."""

    visits: int = 10
    seconds: int = 7200
    restarts: int = 0
    warm_visits: int = 0
    """So many of the last visits begin with warm oil."""
    ambient_c: tuple[float, float] = (4.0, 18.0)
    """Warmth of the days, lowest and highest."""


def drifting(
    rng: np.random.Generator, count: int, tau_s: float, middle: float, spread: float
) -> npt.NDArray[np.float64]:
    """Make a first-order autoregressive series, piecewise linear between steps of tau / 5."""
    step = max(1, int(tau_s / 5))
    knots = count // step + 2
    keep = float(np.exp(-step / tau_s))
    noise = rng.normal(size=knots) * np.sqrt(1 - keep * keep)
    series = np.empty(knots)
    series[0] = rng.normal()
    for i in range(1, knots):
        series[i] = keep * series[i - 1] + noise[i]
    return middle + spread * np.interp(np.arange(count), np.arange(knots) * step, series)


def tasks(rng: np.random.Generator, count: int) -> npt.NDArray[np.float64]:
    """Make ground speed (km/h): standing, field and road, minutes each."""
    speed = np.zeros(count)
    at = 0
    while at < count:
        length = int(rng.exponential(300)) + 30
        speed[at : at + length] = rng.choice([0.0, 8.0, 12.0, 32.0], p=[0.25, 0.35, 0.2, 0.2])
        at += length
    smooth = np.convolve(np.pad(speed, 10, mode="edge"), np.ones(21) / 21, "valid")
    return np.maximum(0.0, smooth + np.where(smooth > 1, drifting(rng, count, 20, 0, 1.0), 0.0))


def visit_columns(rng: np.random.Generator, yard: Yard, warm: bool) -> Columns:
    """Make one visit's quantities."""
    n = yard.seconds
    t = np.arange(n)
    ambient = float(rng.uniform(*yard.ambient_c))
    begin = 45.0 if warm else ambient
    oil = 55 - (55 - begin) * np.exp(-t / 2400) + drifting(rng, n, 300, 0, 1.0)
    coolant = 88 - (88 - begin) * np.exp(-t / 420) + drifting(rng, n, 120, 0, 1.5)
    speed = tasks(rng, n)
    load = np.clip(drifting(rng, n, 90, 45, 22), 0, 100)
    braking = (np.diff(speed, prepend=speed[0]) < -0.35) | (rng.random(n) < 0.002)
    columns = {
        "hydraulic_c": np.round(oil),
        "coolant_c": np.round(coolant),
        "ambient_c": np.full(n, np.round(ambient)),
        "speed_kmh": np.round(speed, 1),
        "load_pct": np.round(load),
        "engine_rpm": np.round(900 + 11 * load + drifting(rng, n, 30, 0, 60)),
        "pedal_pct": np.round(np.clip(drifting(rng, n, 60, 50, 25), 0, 100)),
        "battery_v": np.round(drifting(rng, n, 600, 14.1, 0.15), 2),
        "boost_kpa": np.round(np.clip(load * 1.6 + drifting(rng, n, 20, 0, 8), 0, None)),
        "fuel_rate_l_h": np.round(3 + load * 0.25, 1),
        "pto_engaged": (drifting(rng, n, 900, 0, 1) > 0.3).astype(float),
        "brake": braking.astype(float),
        "hitch_pct": np.round(np.clip(drifting(rng, n, 200, 50, 40), 0, 100)),
        "intake_c": np.round(ambient + 20 + drifting(rng, n, 200, 0, 4)),
        "minutes_since_start": t / 60.0,
        "barometer_kpa": np.full(n, 100.0),
    }
    return {name: values.astype(np.float32) for name, values in columns.items()}


def made_tables(rng: np.random.Generator, yard: Yard | None = None) -> list[VisitTable]:
    """Make the visits of one machine, one a day."""
    yard = yard or Yard()
    found = []
    for i in range(yard.visits):
        columns = visit_columns(rng, yard, i >= yard.visits - yard.warm_visits)
        second = np.arange(yard.seconds, dtype=np.int64)
        cycle = second * (yard.restarts + 1) // yard.seconds
        found.append(VisitTable(f"v{i}", i * DAY_US, second, cycle, columns, {}))
    return found


def watched_at(
    tables: Sequence[VisitTable], starts: Sequence[Sequence[float]], active_s: float = 15.0
) -> list[Watched]:
    """Make spells of one length from starts (seconds) in each visit."""
    found = []
    for table, mine in zip(tables, starts, strict=True):
        kept: list[float] = []
        for start in sorted(mine):
            if not kept or start > kept[-1] + active_s + 1:
                kept.append(float(start))
        active = tuple((start, start + active_s) for start in kept)
        found.append(Watched(table.visit, tuple(kept), active, None))
    return found


def random_bursts(
    rng: np.random.Generator, tables: Sequence[VisitTable], bursts: int, each: float, gap_s: float
) -> list[list[float]]:
    """Make starts that keep to no condition: bursts anywhere, some starts each."""
    starts: list[list[float]] = [[] for _ in tables]
    for _ in range(bursts):
        visit = int(rng.integers(len(tables)))
        size = 1 + int(rng.poisson(each - 1)) if each > 1 else 1
        at = rng.uniform(0, len(tables[visit].second) - 1)
        for start in at + np.concatenate([[0], np.cumsum(rng.exponential(gap_s, size - 1) + 20)]):
            if start < len(tables[visit].second):
                starts[visit].append(float(int(start)))
    return starts


def caused(
    rng: np.random.Generator,
    tables: Sequence[VisitTable],
    holds: Holds,
    wanted: int,
    delay_s: int = 0,
    most_visits: int | None = None,
) -> list[list[float]]:
    """Make starts that come only so many seconds after moments at which a condition holds."""
    places = [np.flatnonzero(holds(table.columns)) for table in tables]
    places = [some[some + delay_s < len(t.second)] for some, t in zip(places, tables, strict=True)]
    able = [i for i, some in enumerate(places) if len(some)][:most_visits]
    starts: list[list[float]] = [[] for _ in tables]
    for k in range(wanted):
        visit = able[k % len(able)]
        starts[visit].append(float(rng.choice(places[visit]) + delay_s))
    return starts
