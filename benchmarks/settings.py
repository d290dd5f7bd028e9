"""How honest and how sharp the search for settings is: `python -m benchmarks.settings`.

Made-up machines (tests.made_settings): faults that start by chance, for the share of false finds
and the spread of p; faults with a cause, for the share found and the thresholds' intervals; and the
time one machine with 100 hours takes.
"""

from __future__ import annotations

import argparse
import resource
import time
from collections import Counter

import numpy as np
from tests.made_settings import (
    Holds,
    Yard,
    caused,
    made_tables,
    random_bursts,
    watched_at,
)

from shearbolt.reasoning.settings import Ground, Setting, VisitTable, find_setting, ground_of

Starts = list[list[float]]


def null_starts(rng: np.random.Generator, tables: list[VisitTable]) -> dict[str, Starts]:
    """Make faults of several habits that keep to no condition."""
    few = int(rng.integers(2, len(tables) - 4))
    window = random_bursts(rng, tables[few : few + 4], 6, 2, 90)
    late: Starts = [[] for _ in range(few)] + window + [[] for _ in range(len(tables) - few - 4)]
    return {
        "14 single starts": random_bursts(rng, tables, 14, 1, 60),
        "6 bursts of 3": random_bursts(rng, tables, 6, 3, 90),
        "4 single starts": random_bursts(rng, tables, 4, 1, 60),
        "bursts in 4 days": late,
        "40 single starts": random_bursts(rng, tables, 40, 1, 60),
    }


def nulls(machines: int) -> bool:
    """Count false finds, and p-values below given ones."""
    p_values: dict[str, list[float]] = {}
    found: Counter[str] = Counter()
    for seed in range(machines):
        rng = np.random.default_rng([17, seed])
        tables = made_tables(rng, Yard(12, 5400, restarts=seed % 3))
        ground = ground_of(tables)
        for name, starts in null_starts(rng, tables).items():
            setting = find_setting(ground, name, watched_at(tables, starts), seed=seed)
            found[name] += setting.found
            p_values.setdefault(name, []).append(
                1.0 if setting.p_adjusted is None else setting.p_adjusted
            )
    print(f"{machines} machines without a setting")
    good = True
    for name, values in p_values.items():
        p = np.asarray(values)
        shares = ", ".join(f"{np.mean(p <= at):.3f} <= {at}" for at in (0.01, 0.05, 0.1, 0.2, 0.5))
        share = found[name] / machines
        # One habit alone may lie two standard errors above by luck; all together may not.
        good = good and share <= 0.01 + 2 * (0.01 * 0.99 / machines) ** 0.5
        print(f"  {name}: false finds {share:.4f}; p: {shares}")
    share = found.total() / (machines * len(p_values))
    print(f"  all: false finds {share:.4f} of {machines * len(p_values)}")
    return good and share <= 0.01


CAUSES: dict[str, tuple[Holds, int, dict[str, float]]] = {
    "cold oil": (lambda c: c["hydraulic_c"] < 22, 0, {"hydraulic_c": 21.5}),
    "fast with cold oil": (
        lambda c: (c["hydraulic_c"] < 31) & (c["speed_kmh"] > 24),
        0,
        {"hydraulic_c": 30.5, "speed_kmh": 24.0},
    ),
    "braking": (lambda c: c["brake"] == 1, 0, {}),
    "braking, 20 s late": (lambda c: c["brake"] == 1, 20, {}),
    "high load": (lambda c: c["load_pct"] > 85, 0, {"load_pct": 85.5}),
    "PTO on": (lambda c: c["pto_engaged"] == 1, 0, {}),
}


def power(machines: int, starts: int, days: int) -> None:
    """Count causes found, named outright or among those that cannot be told apart."""
    print(f"{machines} machines, {starts} starts on {days} days")
    for name, (holds, delay_s, thresholds) in CAUSES.items():
        found = first = named = inside = asked = right_delay = 0
        for seed in range(machines):
            rng = np.random.default_rng([12, seed])
            tables = made_tables(rng, Yard(12, 5400, warm_visits=4))
            made = caused(rng, tables, holds, starts, delay_s, days)
            setting = find_setting(ground_of(tables), name, watched_at(tables, made), seed=seed)
            found += setting.found
            truth = set(thresholds) or {"brake" if "brak" in name else "pto_engaged"}
            sets = [{t.quantity for t in setting.terms}] + [
                {t.quantity for t in one.terms} for one in setting.cannot_be_told_apart
            ]
            first += setting.found and sets[0] == truth
            named += setting.found and truth in sets
            right_delay += setting.found and setting.delay_s == delay_s
            for term in setting.terms if setting.found and sets[0] == truth else ():
                if term.quantity in thresholds and term.low is not None and term.high is not None:
                    asked += 1
                    inside += term.low <= thresholds[term.quantity] <= term.high
        held = f", threshold in its interval {inside}/{asked}" if asked else ""
        print(
            f"  {name}: found {found}, named first {first}, named {named}, "
            f"delay right {right_delay}{held}"
        )


def speed() -> bool:
    """Time one machine with 100 h of state and 20 faults, half of them with a cause."""
    rng = np.random.default_rng(13)
    tables = made_tables(rng, Yard(50, 7200))
    for table in tables:
        columns = dict(table.columns)
        for i in range(20):
            columns[f"more_{i}"] = np.roll(columns["load_pct"], 300 * (i + 1))
        object.__setattr__(table, "columns", columns)
    causes = list(CAUSES.values())
    watched = []
    for i in range(20):
        if i % 2:
            holds, delay_s, _ = causes[i // 2 % len(causes)]
            starts = caused(rng, tables, holds, 14, delay_s, 6)
        else:
            starts = random_bursts(rng, tables, 10, 2, 60)
        watched.append(watched_at(tables, starts))
    begin, cpu = time.perf_counter(), time.process_time()
    ground: Ground = ground_of(tables)
    laid = time.process_time() - cpu
    settings: list[Setting] = [find_setting(ground, str(i), w) for i, w in enumerate(watched)]
    used, wall = time.process_time() - cpu, time.perf_counter() - begin
    found = sum(one.found for one in settings)
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024
    print(
        f"100 h, {len(ground.conditions)} conditions, 20 faults ({found} found): {used:.2f} s of "
        f"processor ({laid:.2f} s laying out), {wall:.2f} s by the clock; bits "
        f"{ground.bits.nbytes / 1e6:.0f} MB, process {peak} MB"
    )
    return used < 4.0


def main() -> int:
    """Run all parts; exit status 1 when a goal is missed."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--machines", type=int, default=300)
    parser.add_argument("--part", choices=("nulls", "power", "speed", "all"), default="all")
    asked = parser.parse_args()
    good = True
    if asked.part in ("speed", "all"):
        good = speed() and good
    if asked.part in ("nulls", "all"):
        good = nulls(asked.machines) and good
    if asked.part in ("power", "all"):
        power(max(10, asked.machines // 10), 14, 6)
        power(max(10, asked.machines // 10), 6, 4)
    return 0 if good else 1


if __name__ == "__main__":
    raise SystemExit(main())
