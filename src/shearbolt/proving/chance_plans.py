"""Seasons by chance: which causes come when and how bad, what people do about it, what is recorded.

For calibration and tests: a great many machines whose truth is known, none of them written by hand.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from itertools import pairwise

import numpy as np

from shearbolt.proving.calendar import Shift
from shearbolt.proving.causes import CATALOGUE, REPAIRS, Cause, causes_for
from shearbolt.proving.causes.catalogue import repairs_for
from shearbolt.proving.controllers import Machine
from shearbolt.proving.machines import FLEET, perturbed
from shearbolt.proving.plans import LookPlan, MachinePlan, Mending, Part, Trouble
from shearbolt.proving.plight import word_seed

HOURS: Mapping[str, float] = {
    "big_tractor": 6322.0, "new_tractor": 1288.0, "utility_tractor": 8122.0, "forager": 1680.0,
    "telehandler": 3204.0, "truck": 11_640.0, "pickup": 2210.0,
}  # fmt: skip
"""Engine hours at the season's first key-on."""
MACHINES: Mapping[str, Machine] = {one.key: one for one in FLEET}
_GROWS_H: Mapping[str, tuple[float, float]] = {
    "sudden": (0.0, 0.0), "steady": (10.0, 80.0), "creeping": (60.0, 300.0),
}  # fmt: skip
_LOOK_S = 600
_PARTS: tuple[Part, ...] = ("start", "work", "work", "end")
_FORMS = ("log.gz", "log.zst", "blf", "asc.gz")


def drawn_causes(machine: str, rng: np.random.Generator, at_most: int = 2) -> tuple[str, ...]:
    """Draw the causes of one machine: a class first, so that rare classes come as often."""
    by_class: dict[str, list[Cause]] = {}
    for one in causes_for(machine):
        by_class.setdefault(one.cause_class, []).append(one)
    classes = sorted(by_class)
    chosen = rng.choice(len(classes), size=min(at_most, len(classes)), replace=False)
    return tuple(
        by_class[classes[int(one)]][int(rng.integers(len(by_class[classes[int(one)]])))].key
        for one in chosen
    )


def trouble_of(
    key: str, hours: float, rng: np.random.Generator, severity: float | None = None
) -> Trouble:
    """Draw a cause's course over a season of `hours`; `severity` is its peak (None: by chance).

    What comes and goes is drawn on a log scale: cables chafe rarely before they chafe often.
    Raises KeyError for an unknown cause.
    """
    one = CATALOGUE[key]
    low, high = _GROWS_H[one.growth]
    grows = float(rng.uniform(low, high)) if high else 0.0
    begins = float(rng.uniform(0.0, 0.55)) * hours
    peak = severity
    if peak is None:
        rare = key.split(".")[1].startswith(("chafed", "dropout", "feed_loose", "pair_", "leaves"))
        peak = (
            float(np.exp(rng.uniform(np.log(0.04), 0.0))) if rare else float(rng.uniform(0.45, 1.0))
        )
    return Trouble(key, begins, min(grows, 0.7 * (hours - begins)), peak)


def mendings_of(trouble: Trouble, hours: float, rng: np.random.Generator) -> tuple[Mending, ...]:
    """Draw what is done about a cause: a hunch that fails, then perhaps what cures it."""
    one = CATALOGUE[trouble.cause]
    about = one.shows[:2]
    begins = float(trouble.at)
    left = hours - begins
    out: list[Mending] = []
    at = begins + float(rng.uniform(0.15, 0.45)) * left
    if rng.random() < 0.55:
        key = sorted(REPAIRS)[int(rng.integers(len(REPAIRS)))]
        hunch = REPAIRS["new_sensor"] if rng.random() < 0.5 else REPAIRS[key]
        if hunch.cure(one.key) < 0.5 and not hunch.brings:
            out.append(Mending(at, (hunch.key,), hunch.words, about))
        elif hunch.key == "new_sensor" and hunch.cure(one.key) < 0.5:
            out.append(Mending(at, ("codes_cleared",), "Codes cleared", about, cleared=True))
        at += float(rng.uniform(0.15, 0.5)) * (hours - at)
    cures = repairs_for(one.key, 0.8)
    if cures and rng.random() < 0.7:
        done = cures[int(rng.integers(len(cures)))]
        out.append(Mending(at, (done.key,), done.words, about, cleared=bool(rng.random() < 0.4)))
    return tuple(out)


def looks_over(
    shifts: Sequence[Shift], coverage: float, rng: np.random.Generator, *, seconds: int = _LOOK_S
) -> tuple[LookPlan, ...]:
    """Choose recordings that cover a share of the worked hours; 1: every shift whole.

    Raises ValueError for a share that is none.
    """
    if not 0.0 <= coverage <= 1.0:
        raise ValueError(f"a share lies between 0 and 1: {coverage}")
    if coverage >= 0.999:
        return tuple(LookPlan(one.before_h, "whole", round(one.hours * 3600.0)) for one in shifts)
    hours = shifts[-1].before_h + shifts[-1].hours
    count = max(1, round(coverage * hours * 3600.0 / seconds)) if coverage > 0.0 else 0
    edges = np.linspace(0.0, hours, count + 1)
    out = []
    for first, last in pairwise(edges.tolist()):
        at = float(rng.uniform(first, last))
        part = _PARTS[int(rng.integers(len(_PARTS)))]
        out.append(
            LookPlan(
                at, part, seconds, _FORMS[int(rng.integers(len(_FORMS)))],
                tester=bool(rng.random() < 0.35),
            )
        )  # fmt: skip
    return tuple(out)


def plan_by_chance(
    key: str,
    shifts: Sequence[Shift],
    seed: int,
    *,
    causes: Sequence[str] | None = None,
    severity: float | None = None,
    coverage: float = 0.01,
    perturb: float = 0.0,
    repaired: bool = True,
    look_s: int = _LOOK_S,
) -> MachinePlan:
    """Draw one machine's season.

    `causes` None: one or two of different classes by chance. `perturb` is the spread of the
    hardware's parameters (another sample of the kind). Raises KeyError for an unknown machine or
    cause.
    """
    rng = np.random.default_rng((seed, word_seed("plan", key)))
    machine = MACHINES[key]
    if perturb > 0.0:
        machine = perturbed(machine, int(rng.integers(2**31)), perturb)
    hours = shifts[-1].before_h + shifts[-1].hours
    keys = drawn_causes(key, rng, 1 + int(rng.random() < 0.35)) if causes is None else causes
    troubles = tuple(trouble_of(one, hours, rng, severity) for one in keys)
    mendings = (
        tuple(m for one in troubles for m in mendings_of(one, hours, rng)) if repaired else ()
    )
    looks = looks_over(shifts, coverage, rng, seconds=look_s)
    carries = any(one.kind == "carting" for one in shifts) and key.endswith("_tractor")
    plan = MachinePlan(
        machine, HOURS[key], troubles, mendings, (), looks,
        implement=MACHINES["loader_wagon"] if carries and key != "utility_tractor" else None,
        stale=bool(rng.random() < 0.7),
    )  # fmt: skip
    return replace(plan, writes=float(rng.uniform(0.2, 0.8)))


__all__ = [
    "HOURS", "MACHINES", "drawn_causes", "looks_over", "mendings_of", "plan_by_chance",
    "trouble_of",
]  # fmt: skip
