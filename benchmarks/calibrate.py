"""How honest the odds are: `python -m benchmarks.calibrate --cases N --mix M`.

Machines of the proving ground with one or two causes by chance, under several mixes of causes and
altered physics, with rich and with poor data; every fault with a known cause is judged. Seeds below
21,000 were looked at while priors and ratios were set; those from HELD_APART on are held apart.
"""

from __future__ import annotations

import argparse
import contextlib
import io
import math
import multiprocessing
import time
from collections import defaultdict
from collections.abc import Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from tests.advised import standings_of
from tests.lived_cases import LivedCase, lived

from shearbolt.dictionary.cause_priors import CAUSES, OTHER
from shearbolt.proving import case
from shearbolt.proving.causes import causes_for
from shearbolt.reasoning.case import MachineCase
from shearbolt.reasoning.company import company_of
from shearbolt.reasoning.odds import FaultOdds, odds_of
from shearbolt.reasoning.plausibility.examination import examine
from shearbolt.reasoning.settings import settings_of

HELD_APART = 30_000
MACHINES = ("big_tractor", "new_tractor", "utility_tractor", "forager", "telehandler", "truck")
MIXES: Mapping[str, Mapping[str, float]] = {
    "even": {str(one): 1.0 for one in CAUSES},
    "field": {
        "real_condition": 30.0, "sensor": 18.0, "wiring": 26.0, "shared_supply": 3.0,
        "low_voltage": 8.0, "network": 3.0, "operator": 6.0, "calibration": 3.0,
        "inhibited_regeneration": 2.0, "ash": 1.0,
    },
    "worn": {"real_condition": 60.0, "sensor": 15.0, "wiring": 15.0, "low_voltage": 10.0},
    "wet": {"wiring": 45.0, "sensor": 15.0, "shared_supply": 12.0, "network": 13.0,
            "low_voltage": 15.0},
    "use": {"operator": 30.0, "inhibited_regeneration": 20.0, "calibration": 20.0, "ash": 10.0,
            "real_condition": 20.0},
}  # fmt: skip
"""Shares of the cause classes that machines are drawn with."""
FMI_ALONE: Mapping[int, Mapping[str, float]] = {
    **{fmi: {"real_condition": 0.7, "sensor": 0.15, "wiring": 0.1} for fmi in
       (0, 1, 15, 16, 17, 18)},
    **{fmi: {"wiring": 0.5, "sensor": 0.35, "shared_supply": 0.1} for fmi in (2, 3, 4, 8, 10)},
    **{fmi: {"wiring": 0.85, "sensor": 0.1} for fmi in (5, 6)},
    **{fmi: {"network": 0.5, "wiring": 0.3, "low_voltage": 0.15} for fmi in (9, 19)},
    12: {"sensor": 0.8, "wiring": 0.1},
    13: {"calibration": 0.85, "sensor": 0.1},
    20: {"sensor": 0.8, "wiring": 0.1},
    21: {"sensor": 0.8, "wiring": 0.1},
}  # fmt: skip
"""What a list of failure modes alone says: SAE J1939-73's own words turned into shares."""


@dataclass(frozen=True)
class Asked:
    """One case to be played."""

    seed: int
    mix: str
    rich: bool
    perturb: float


@dataclass(frozen=True)
class Judged:
    """One fault: what was said of it before and after, and what was true."""

    asked: Asked
    machine: str
    code: str
    cause: str
    truth: str
    follows: bool
    prior: Mapping[str, float]
    posterior: Mapping[str, float]
    flat: bool
    evidence: tuple[str, ...]


def made(asked: Asked) -> tuple[str, LivedCase]:
    """Make one case: kind of machine, and what the reasoning is given of it with its truth."""
    rng = np.random.default_rng((asked.seed, 41))
    machine = MACHINES[int(rng.integers(len(MACHINES)))]
    causes = [_drawn(asked.mix, machine, rng)]
    if rng.random() < 0.15:
        causes.append(_drawn(asked.mix, machine, rng))
    coverage, hours = (0.12, 16.0) if asked.rich else (0.02, 40.0)
    data = case(
        asked.seed, machine, tuple(dict.fromkeys(causes)), None, coverage, hours=hours,
        perturb=asked.perturb, look_s=300,
    )  # fmt: skip
    return machine, lived(data)


def judge(asked: Asked, machine: str, told: LivedCase) -> list[Judged]:
    """Judge the faults of a case; none where nothing came on while it was recorded."""
    wanted = [name for name in told.truth if _has_spell(told.case, name)]
    if not wanted:
        return []
    odds = odds_of(
        told.case,
        examine(told.case),
        settings_of(told.case, permutations=200),
        company_of(told.case),
        standings_of(told.case),
    )
    by_id = {one.fault: one for one in told.case.faults}
    return [
        Judged(
            asked,
            machine,
            f"{by_id[name].spn} FMI {by_id[name].fmi}",
            told.causes[name],
            told.truth[name],
            odds[name].root is not None,
            odds[name].prior,
            odds[name].posterior,
            odds[name].flat,
            _keys(odds[name]),
        )
        for name in wanted
        if name in odds
    ]


def play(asked: Asked) -> list[Judged]:
    """Make one case and judge it."""
    return judge(asked, *made(asked))


def _has_spell(machine: MachineCase, name: str) -> bool:
    return any(
        one.fault == name and one.seen.spells for visit in machine.visits for one in visit.faults
    )


def _keys(odds: FaultOdds) -> tuple[str, ...]:
    found = {f"{one.key}{one.group}" for suspect in odds.suspects for one in suspect.evidence}
    return tuple(sorted(found))


def _drawn(mix: str, machine: str, rng: np.random.Generator) -> str:
    """Draw a cause: its class by the mix, then one of its forms."""
    by_class: dict[str, list[str]] = defaultdict(list)
    for one in causes_for(machine):
        by_class[one.cause_class].append(one.key)
    classes = sorted(one for one in by_class if MIXES[mix].get(one, 0.0) > 0.0)
    weights = np.array([MIXES[mix][one] for one in classes])
    chosen = by_class[classes[int(rng.choice(len(classes), p=weights / weights.sum()))]]
    return chosen[int(rng.integers(len(chosen)))]


def by_fmi(one: Judged) -> dict[str, float]:
    """Give what the failure mode alone says; unknown modes say nothing."""
    fmi = int(one.code.rsplit(" ", 1)[1])
    row = FMI_ALONE.get(fmi, {})
    left = 1.0 - sum(row.values())
    few = [cause for cause in (*CAUSES, OTHER) if cause not in row]
    return {**row, **dict.fromkeys(few, left / len(few))}


KEPT = 10.0
"""Cases that the old shares of classes count for when they are moved to a mix (own choice)."""


def moved_to_mix(judged: Sequence[Judged]) -> list[dict[str, float]]:
    """Move posteriors to the mix that each case came from, not knowing what was true.

    Label shift: Saerens, Latinne and Decaestecker 2002, by expectation and maximisation over the
    cases of a mix, with the old shares as pseudo-counts.
    """
    names = (*CAUSES, OTHER)
    found: list[dict[str, float]] = [{} for _ in judged]
    weight = weights_of(judged)
    for mix in sorted({one.asked.mix for one in judged}):
        rows = [i for i, one in enumerate(judged) if one.asked.mix == mix]
        told = np.array([[judged[i].posterior[name] for name in names] for i in rows])
        before = np.array([[judged[i].prior[name] for name in names] for i in rows])
        w = weight[rows]
        old = np.average(before, axis=0, weights=w)
        share = old.copy()
        for _ in range(50):
            moved = told * np.where(old > 0.0, share / np.maximum(old, 1e-9), 0.0)
            moved /= moved.sum(axis=1, keepdims=True)
            share = (w @ moved + KEPT * old) / (w.sum() + KEPT)
        for i, row in zip(rows, moved, strict=True):
            found[i] = dict(zip(names, row.tolist(), strict=True))
    return found


def weights_of(judged: Sequence[Judged]) -> np.ndarray:
    """Weigh faults so that every case counts once."""
    count: dict[tuple[int, str, bool], int] = defaultdict(int)
    for one in judged:
        count[one.asked.seed, one.asked.mix, one.asked.rich] += 1
    return np.array([1.0 / count[one.asked.seed, one.asked.mix, one.asked.rich] for one in judged])


def first_of(shares: Mapping[str, float]) -> str:
    """Give the likeliest cause class."""
    return max(CAUSES, key=lambda cause: shares[cause])


def scores(
    judged: Sequence[Judged], told: Sequence[Mapping[str, float]]
) -> tuple[float, float, float]:
    """Give share of right first causes, Brier score (all classes), log score (nats)."""
    weight = weights_of(judged)
    right, brier, log = [], [], []
    for one, shares in zip(judged, told, strict=True):
        right.append(first_of(shares) == one.truth)
        brier.append(sum((shares[c] - (c == one.truth)) ** 2 for c in (*CAUSES, OTHER)))
        log.append(-math.log(max(1e-4, shares[one.truth])))
    return tuple(float(np.average(np.array(one, float), weights=weight)) for one in
                 (right, brier, log))  # type: ignore[return-value]  # fmt: skip


def slope_of(judged: Sequence[Judged]) -> tuple[float, float, float]:
    """Give calibration slope, intercept and the slope's standard error (Cox 1958).

    Logistic regression of 'it was this class' on the log odds told for it, over the classes with
    2 to 98 %, by Newton's method; cases as clusters.
    """
    x, y, cluster, weight = [], [], [], []
    for one, w in zip(judged, weights_of(judged), strict=True):
        for cause in CAUSES:
            p = one.posterior[cause]
            if 0.02 <= p <= 0.98:
                x.append(math.log(p / (1.0 - p)))
                y.append(float(cause == one.truth))
                cluster.append((one.asked.seed, one.asked.mix, one.asked.rich))
                weight.append(w)
    if len(set(y)) < 2:
        return math.nan, math.nan, math.nan
    design = np.column_stack([np.ones(len(x)), x])
    told, w = np.array(y), np.array(weight)
    beta = np.array([0.0, 1.0])
    for _ in range(30):
        p = 1.0 / (1.0 + np.exp(-design @ beta))
        hessian = design.T @ (design * (w * p * (1.0 - p))[:, None])
        beta = beta + np.linalg.solve(hessian, design.T @ (w * (told - p)))
    p = 1.0 / (1.0 + np.exp(-design @ beta))
    rows = design * (w * (told - p))[:, None]
    sums: dict[object, np.ndarray] = defaultdict(lambda: np.zeros(2))
    for name, row in zip(cluster, rows, strict=True):
        sums[name] = sums[name] + row
    meat = sum(np.outer(one, one) for one in sums.values())
    inverse = np.linalg.inv(hessian)
    error = float(np.sqrt((inverse @ meat @ inverse)[1, 1]))
    return float(beta[1]), float(beta[0]), error


def reliability(judged: Sequence[Judged]) -> None:
    """Print how often the first cause was right, by how sure it was said; Wilson's 95 %."""
    weight = weights_of(judged)
    print("  said of the first cause   cases  said   right  (95 %)")
    for low, high in ((0.0, 0.4), (0.4, 0.55), (0.55, 0.7), (0.7, 0.8), (0.8, 0.9), (0.9, 1.01)):
        some = [
            (one.posterior[first_of(one.posterior)], first_of(one.posterior) == one.truth, w)
            for one, w in zip(judged, weight, strict=True)
            if low <= one.posterior[first_of(one.posterior)] < high
        ]
        if not some:
            continue
        said, right, w = (np.array(part, float) for part in zip(*some, strict=True))
        n = float(w.sum())
        share = float(np.average(right, weights=w))
        z = 1.96
        middle = (share + z * z / (2 * n)) / (1 + z * z / n)
        half = z / (1 + z * z / n) * math.sqrt(share * (1 - share) / n + z * z / (4 * n * n))
        print(
            f"  {low:4.2f} to {min(high, 1.0):4.2f}          {n:7.1f}  "
            f"{np.average(said, weights=w):.2f}   {share:.2f}  "
            f"({max(0.0, middle - half):.2f} to {min(1.0, middle + half):.2f})"
        )


def report(title: str, judged: Sequence[Judged]) -> None:
    """Print all figures of some faults."""
    if not judged:
        print(f"{title}: no fault with a known cause was seen")
        return
    moved = moved_to_mix(judged)
    cases = len({(one.asked.seed, one.asked.mix, one.asked.rich) for one in judged})
    print(f"{title}: {cases} cases, {len(judged)} faults")
    for name, told in (
        ("odds", [one.posterior for one in judged]),
        ("odds for mix", moved),
        ("prior alone", [one.prior for one in judged]),
        ("FMI alone", [by_fmi(one) for one in judged]),
    ):
        right, brier, log = scores(judged, told)
        print(f"  {name:12s} right first {right:.3f}  Brier {brier:.3f}  log {log:.3f}")
    slope, intercept, error = slope_of(judged)
    print(f"  calibration slope {slope:.2f} (standard error {error:.2f}), at {intercept:+.2f}")
    flat = [one for one in judged if one.flat]
    wrong = sum(first_of(one.posterior) != one.truth for one in flat)
    print(
        f"  cannot tell: {len(flat)} of {len(judged)}; of those the first was wrong {wrong} times"
    )


PAGE = """# How honest the odds are

Made by `make calibrate`: {cases} cases of the proving ground from seed {seed} on, which no ratio
was looked at with, under five mixes of causes and hardware that is not that of the other tests.
*Rich* data are 12 % of 16 worked hours, *poor* ones 2 % of 40. The scores are of all ten cause
classes and 'none of these': Brier (0 is best), log (nats, 0 is best). 'Prior alone' is what the
kind of code says before any evidence, 'FMI alone' what its failure mode says. A slope of 1 is
calibrated; under 1 is too sure of itself (Cox 1958, from memory). Intervals are 95 %.

A simulator of our own proves at best that its author agrees with himself; what counts are the
causes that were confirmed in your own book.

```text
{text}```
"""


def main() -> int:
    """Play the cases in two processes and print what came of them."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cases", type=int, default=100)
    parser.add_argument("--mix", choices=(*MIXES, "all"), default="all")
    parser.add_argument("--data", choices=("rich", "poor", "both"), default="both")
    parser.add_argument("--perturb", type=float, default=0.1)
    parser.add_argument("--first-seed", type=int, default=HELD_APART)
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--wrong", action="store_true", help="list what was told wrongly")
    parser.add_argument("--write", type=Path, help="write what is printed to this page, too")
    told = parser.parse_args()
    if told.write is None:
        return _play(told)
    out = io.StringIO()
    with contextlib.redirect_stdout(out):
        status = _play(told)
    print(out.getvalue())
    told.write.write_text(PAGE.format(cases=told.cases, seed=told.first_seed, text=out.getvalue()))
    return status


def _play(told: argparse.Namespace) -> int:
    mixes = tuple(MIXES) if told.mix == "all" else (told.mix,)
    kinds = {"rich": (True,), "poor": (False,), "both": (True, False)}[told.data]
    asked = [
        Asked(told.first_seed + i, mixes[i % len(mixes)], kinds[i // len(mixes) % len(kinds)],
              told.perturb)
        for i in range(told.cases)
    ]  # fmt: skip
    begun = time.perf_counter()
    context = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(told.processes, mp_context=context) as pool:
        judged = [one for some in pool.map(play, asked, chunksize=1) for one in some]
    print(f"{told.cases} cases in {time.perf_counter() - begun:.0f} s")
    report("all", judged)
    if judged:
        reliability(judged)
    for kind in kinds:
        report("rich data" if kind else "poor data", [o for o in judged if o.asked.rich is kind])
    for mix in mixes:
        report(f"mix '{mix}'", [one for one in judged if one.asked.mix == mix])
    for cause in CAUSES:
        some = [one for one in judged if one.truth == cause]
        if some:
            right, _, log = scores(some, [one.posterior for one in some])
            before, _, log_before = scores(some, [one.prior for one in some])
            print(
                f"  true {cause:24s} {len(some):4d} faults: right {right:.2f} (prior {before:.2f}),"
                f" log {log:.2f} (prior {log_before:.2f})"
            )
    if told.wrong:
        for one in judged:
            first = first_of(one.posterior)
            if first != one.truth:
                print(
                    f"{one.asked.seed} {one.asked.mix} {'rich' if one.asked.rich else 'poor'} "
                    f"{one.machine} {one.code} {one.cause}{' follows' if one.follows else ''}: "
                    f"{first} {one.posterior[first]:.2f}, true {one.posterior[one.truth]:.2f} "
                    f"(prior {one.prior[one.truth]:.2f}) {' '.join(one.evidence)}"
                )
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
