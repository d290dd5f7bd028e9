"""Whole seasons: the demo's, which was written by hand, and any number of others by chance.

The demo season is that of Corbie Howe, an invented contractor in the invented upper Wenna valley:
grass from May, maize in September, beet to December (see `demo_story`).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from shearbolt.proving.calendar import CAMPAIGNS, calendar
from shearbolt.proving.chance_plans import MACHINES, plan_by_chance
from shearbolt.proving.demo_story import GROUPS
from shearbolt.proving.plight import word_seed
from shearbolt.proving.season_truth import SeasonTruth
from shearbolt.proving.truth import DemoRecording
from shearbolt.proving.yard import Season, live_season, with_brought

DEMO_SEED = 7


def demo_group(number: int, seed: int = DEMO_SEED) -> Season:
    """Live one group of the demo's machines through the season; groups know nothing of each other.

    Raises IndexError for a group that is not there.
    """
    return live_season(GROUPS[number], seed)


def together(seasons: Sequence[Season]) -> Season:
    """Put seasons of different machines together into one, in the order of the days.

    Raises ValueError where there is none.
    """
    if not seasons:
        raise ValueError("no season to put together")
    machines = tuple(machine for one in seasons for machine in one.truth.machines)
    worked = sum(one.worked_h for one in machines)
    recorded = sum(one.recorded_h for one in machines)
    return Season(
        seasons[0].seed,
        tuple(
            sorted((o for s in seasons for o in s.looks), key=lambda o: (o.started, o.file_name))
        ),
        tuple(sorted((o for s in seasons for o in s.notes), key=lambda o: (o.date, o.machine))),
        tuple(sorted((o for s in seasons for o in s.repairs), key=lambda o: (o.date, o.machine))),
        SeasonTruth(seasons[0].seed, round(recorded / worked, 6), machines),
    )


def demo_yard(seed: int = DEMO_SEED, groups: Sequence[int] | None = None) -> Season:
    """Live the demo's machines (all groups, or some) through the season.

    The same seed gives the same season, bit for bit.
    """
    numbers = range(len(GROUPS)) if groups is None else groups
    return together([demo_group(one, seed) for one in numbers])


def demo_season(seed: int = DEMO_SEED, groups: Sequence[int] | None = None) -> list[DemoRecording]:
    """Make the recordings of the demo season, in the order of their days."""
    return list(demo_yard(seed, groups).recordings())


def season(
    seed: int,
    machines: Sequence[str] | None = None,
    causes: Mapping[str, Sequence[str]] | None = None,
    coverage: float = 0.01,
    perturb: float = 0.0,
    *,
    severity: float | None = None,
    repaired: bool = True,
    look_s: int = 600,
) -> Season:
    """Make a season by chance: machines by key (None: all), from first cut to last beet.

    `causes` gives keys of the catalogue by machine (None, or a machine without any: one or two by
    chance), `severity` their peak, `coverage` the recorded share of the worked hours (1: every
    shift whole), `perturb` the spread of the hardware's parameters. The same arguments give the
    same season. Raises KeyError for strangers, ValueError for shares that are none.
    """
    keys = tuple(CAMPAIGNS) if machines is None else tuple(machines)
    plans = []
    for key in keys:
        name = MACHINES[key].name
        shifts = calendar(key, word_seed(seed, name), weather=seed)
        chosen = None if causes is None else causes.get(key)
        plans.append(
            with_brought(
                plan_by_chance(
                    key, shifts, word_seed(seed, key), causes=chosen, severity=severity,
                    coverage=coverage, perturb=perturb, repaired=repaired, look_s=look_s,
                )
            )
        )  # fmt: skip
    return live_season(plans, seed)


__all__ = [
    "DEMO_SEED", "GROUPS", "Season", "demo_group", "demo_season", "demo_yard", "season",
    "together",
]  # fmt: skip
