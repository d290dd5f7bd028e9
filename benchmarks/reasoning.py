"""The facts behind conclusions, on held-apart machines: `python -m benchmarks.reasoning`.

Cases of the proving ground with seeds that no rule was looked at with (from HELD on), under altered
hardware, for rich and for poor data apart: starts between visits against the truth; true conditions
found and false ones claimed; charts that accuse a sound sensor; advice against what lamps and true
readings demand.
"""

from __future__ import annotations

import argparse
import os
from collections import Counter
from concurrent.futures import ProcessPoolExecutor

from tests.lived_cases import LivedCase, fault_id, lived

from shearbolt.dictionary.advice_kinds import CLASSES, kind_of_code
from shearbolt.proving import CaseData, case
from shearbolt.proving.season_truth import TrueCause, TrueSeasonFault
from shearbolt.reasoning.advice import Now, advise
from shearbolt.reasoning.between import between_visits
from shearbolt.reasoning.company import company_of
from shearbolt.reasoning.plausibility.examination import examine
from shearbolt.reasoning.settings import settings_of
from shearbolt.reasoning.standing import Look, standing

HELD = 70_000
"""Seeds from here on are used by nothing else."""
MACHINES = ("big_tractor", "new_tractor", "utility_tractor", "forager", "telehandler", "truck")
DATA = {"poor": 0.01, "rich": 0.10}
"""Recorded share of the worked hours."""
LIT = ("on", "slow", "fast")


def one_case(job: tuple[int, str, str, bool]) -> Counter[str]:
    """Judge one case and count."""
    seed, machine, data, healthy = job
    made = case(
        seed, machine, () if healthy else None, coverage=DATA[data], hours=120.0, perturb=0.5,
        look_s=900,
    )  # fmt: skip
    told = lived(made)
    found: Counter[str] = Counter({f"{data} cases": 1})
    _counts(made, told, data, found)
    _settings(made, told, data, found)
    _charts(made, told, data, healthy, found)
    _advice(told, data, found)
    return found


def _true_faults(made: CaseData) -> dict[str, TrueSeasonFault]:
    addresses = {one.key: one.address for one in made.plan.machine.controllers}
    return {
        fault_id(addresses[one.controller], one.spn, one.fmi): one
        for one in made.truth.faults
        if one.machine == made.plan.machine.key
    }


def _counts(made: CaseData, told: LivedCase, data: str, found: Counter[str]) -> None:
    true = _true_faults(made)
    for fault, between in between_visits(told.case).items():
        if fault not in true:
            continue
        for one in between.unrecorded:
            if one.after_visit is None or one.from_h is None or one.to_h is None:
                continue
            times = sum(
                stretch.times
                for stretch in true[fault].counts
                if not stretch.recorded
                and stretch.from_hours >= one.from_h - 0.06
                and stretch.to_hours <= one.to_h + 0.06
            )
            found[f"{data} gaps"] += 1
            most = one.at_most
            right = one.at_least <= times and (most is None or times <= most)
            found[f"{data} gaps right"] += right
            found[f"{data} gaps exact"] += right and most is not None and most - one.at_least <= 1


def _settings(made: CaseData, told: LivedCase, data: str, found: Counter[str]) -> None:
    causes: dict[str, TrueCause] = {one.cause: one for one in made.truth.causes}
    for fault, setting in settings_of(told.case).items():
        if setting.status == "no_starts":
            continue
        cause = causes.get(told.causes.get(fault, ""))
        true = {term.spn for term in cause.settings if term.spn is not None} if cause else set()
        words = {term.quantity for term in cause.settings if term.spn is None} if cause else set()
        kind = "with" if true or words else "without"
        found[f"{data} faults {kind} a condition"] += 1
        found[f"{data} {setting.status} {kind}"] += 1
        if setting.found and kind == "with":
            sets = (setting.terms, *(one.terms for one in setting.cannot_be_told_apart))
            named = {term.spn for terms in sets for term in terms if term.spn is not None}
            quantities = {term.quantity for terms in sets for term in terms}
            found[f"{data} found and true"] += bool(named & true or quantities & words)


def _charts(made: CaseData, told: LivedCase, data: str, healthy: bool, found: Counter[str]) -> None:
    charts = examine(told.case).charts
    alarms = [one for one in charts if one.alarm is not None]
    if healthy:
        found[f"{data} healthy machines"] += 1
        found[f"{data} alarms on healthy"] += len(alarms)
    else:
        found[f"{data} alarms on sick"] += len(alarms)


def _advice(told: LivedCase, data: str, found: Counter[str]) -> None:
    machine = told.case
    standings = {}
    for fault in machine.faults:
        looks = [
            Look(visit.visit, one.seen, visit.latest_us, visit.latest_us, ())
            for visit in machine.visits
            for one in visit.faults
            if one.fault == fault.fault
        ]
        standings[fault.fault] = standing(looks)
    given = advise(machine, standings, company_of(machine), now=Now(None, None)).by_fault
    for fault in machine.faults:
        demanded = kind_of_code(fault.spn or 0, fault.fmi or 0).floor if fault.spn else "note_only"
        for visit in machine.visits:
            for one in visit.faults:
                if one.fault != fault.fault or not one.seen.spells:
                    continue
                lamps = one.seen.lamps
                if lamps.red_stop in LIT:
                    demanded = "stop_now"
                elif lamps.amber_warning in LIT or lamps.mil in LIT:
                    demanded = max(demanded, "keep_working", key=CLASSES.index)
        step = CLASSES.index(given[fault.fault].advice) - CLASSES.index(demanded)
        found[f"{data} advice"] += 1
        word = "less careful" if step < 0 else "as demanded" if step == 0 else "more careful"
        found[f"{data} advice {word}"] += 1
        found[f"{data} advice two or more steps above"] += step >= 2


def show(found: Counter[str]) -> None:
    """Print the figures, for rich and poor data apart."""
    for data in DATA:
        some = {key: value for key, value in sorted(found.items()) if key.startswith(data)}
        print(f"{data} data ({DATA[data]:.0%} of the worked hours recorded)")
        for key, value in some.items():
            print(f"  {key.removeprefix(data + ' ')}: {value}")


def main() -> None:
    """Run the cases and print their figures."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cases", type=int, default=60, help="cases of each kind of data")
    parser.add_argument("--workers", type=int, default=os.cpu_count() or 2)
    asked = parser.parse_args()
    jobs = [
        (HELD + i, MACHINES[i % len(MACHINES)], data, i % 4 == 3)
        for data in DATA
        for i in range(asked.cases)
    ]
    total: Counter[str] = Counter()
    with ProcessPoolExecutor(asked.workers) as pool:
        for done in pool.map(one_case, jobs):
            total.update(done)
    show(total)


if __name__ == "__main__":
    main()
