"""The setting of a fault, from a machine's visits: search, judgement, confirmation, words.

`found` as the interface has it: adjusted p under 0.01, at least 4 starts on 3 key cycles, and, with
8 starts or more, confirmed on starts that the search did not use.
"""

from __future__ import annotations

import zlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from shearbolt.dictionary.quantities import quantities
from shearbolt.model.instants import SECOND_US
from shearbolt.reasoning.case import FaultCase, MachineCase
from shearbolt.reasoning.phases import Rows
from shearbolt.reasoning.quantity_view import views_of
from shearbolt.reasoning.settings.chance import (
    Chance,
    chance_between,
    chance_within,
    cycles_of_fault,
    shifts_of,
)
from shearbolt.reasoning.settings.confirming import confirmed_between, confirmed_within
from shearbolt.reasoning.settings.ground import Ground, ground_of
from shearbolt.reasoning.settings.profile import Cut, Delay, Field, delay_of, hysteresis_of, refined
from shearbolt.reasoning.settings.scores import TERM_COST, gumbel_point
from shearbolt.reasoning.settings.search import search
from shearbolt.reasoning.settings.setting import (
    Alternative,
    Family,
    Outing,
    Setting,
    Status,
    Term,
)
from shearbolt.reasoning.settings.spoken import Kind, spoken_of, told_terms, weighed, weight_db
from shearbolt.reasoning.settings.stage import LAGS_S, Stage, sample_rows, stage_of
from shearbolt.reasoning.settings.tables import VisitTable, table_of
from shearbolt.reasoning.settings.twins import APART, MOST, Twin, cut_of, outing, twins_of
from shearbolt.reasoning.settings.watch import Watch, Watched, watch_of, watched

FOUND_P = 0.01
LEAST_STARTS, LEAST_CYCLES = 4, 3
CONFIRM_STARTS = 8
STRIKING_P = 0.2
"""Up to here a condition that has too few starts is named as 'possible'; of two starts, when both
lie inside (own rule)."""
SHARE_WITHIN = 0.75
"""The within family's part of the chance of a false find; the other has the rest (Bonferroni)."""
BETWEEN_PERMUTATIONS = 2000
"""Permutations of whole cycles; they are cheap."""
PERMUTATIONS = 400
NEAR_LAG = 1.92
"""A longer lag must fit better by more than this (own rule)."""
LEAST_PER_UNIT = 0.1
"""Starts that gain less each point nowhere."""
PROFILED = 20_000
"""Exposed rows on which the winner is profiled."""

Said = Sequence[tuple[Kind, str, int]]


@dataclass(frozen=True, slots=True)
class _Winner:
    """The best condition of the two families, and how it was judged."""

    family: Family
    cuts: tuple[Cut, ...]
    lag_s: int
    chance: Chance
    p_adjusted: float
    p_smallest: float


def tables_of(case: MachineCase) -> tuple[VisitTable, ...]:
    """Make the tables of a machine's visits, in their order; those without a state are left out."""
    return tuple(table_of(view) for view in views_of(case))


def settings_of(
    case: MachineCase, *, seed: int = 0, permutations: int = PERMUTATIONS
) -> Mapping[str, Setting]:
    """Find the setting of every fault of a machine, by fault.

    The same seed gives the same answer; more permutations go on where fewer ended.
    """
    ground = ground_of(tables_of(case))
    return {
        fault.fault: find_setting(
            ground_for(ground, fault),
            fault.fault,
            watched(case, fault),
            spoken_of(case, fault.fault),
            seed=seed,
            permutations=permutations,
            name=lasting_name(fault),
        )
        for fault in case.faults
    }


LEVEL_FMIS = frozenset({0, 1, 15, 16, 17, 18})
CIRCUIT_FMIS = frozenset({3, 4, 5, 6})


def ground_for(ground: Ground, fault: FaultCase) -> Ground:
    """Leave out what a code says by itself: that its own reading was beyond the limit.

    So it is for levels (SAE J1939-73 FMI 0, 1, 15 to 18), for circuits at the end of their scale
    (3 to 6) and for states; where a reading jumps, its own value may tell the place.
    """
    if fault.spn is None:
        return ground
    own = [one for one in quantities() if fault.spn in one.spns]
    said = fault.fmi in LEVEL_FMIS or fault.fmi in CIRCUIT_FMIS
    return ground.without({one.key for one in own if said or one.unit == "state"})


def lasting_name(fault: FaultCase) -> str:
    """Name a fault by its code and sender: the same in every book, as an identifier is not."""
    return f"{fault.address} {fault.spn} {fault.fmi} {fault.code} {fault.text}"


def find_setting(
    ground: Ground,
    fault: str,
    visits: Sequence[Watched],
    said: Said = (),
    *,
    seed: int = 0,
    permutations: int = PERMUTATIONS,
    name: str | None = None,
) -> Setting:
    """Find the setting of one fault from its spells in each visit and what the driver said.

    `name` draws the permutations (`lasting_name`); without one the fault's identifier does.
    """
    watch = watch_of(ground, visits)
    told = told_terms(said)
    days, cycles = _days(ground, watch.start_rows), _cycles(ground, watch.start_rows)
    unsure = _blank(fault, watch, told, said, days, cycles)
    if len(watch.unit_rows) < 2 or not ground.conditions:
        return unsure
    key = (seed, zlib.crc32((name or fault).encode()))
    stage = stage_of(ground, watch)
    winner = _winner(stage, watch, key, permutations)
    if winner is None:
        return unsure
    return _judged(stage, watch, winner, said, unsure)


def _blank(
    fault: str, watch: Watch, told: tuple[Term, ...], said: Said, days: int, cycles: int
) -> Setting:
    starts = len(watch.start_rows)
    status: Status = "told" if told else "cannot_tell" if starts else "no_starts"
    return Setting(
        fault=fault,
        status=status,
        found=False,
        family=None,
        terms=told,
        cannot_be_told_apart=(),
        would_tell=None,
        starts_inside=0,
        starts_total=starts,
        starts_unknown=watch.unknown,
        days=days,
        cycles=cycles,
        exposure_inside_h=None,
        exposure_total_h=float(np.count_nonzero(watch.exposed)) / 3600.0,
        delay_s=None,
        delay_low_s=None,
        delay_high_s=None,
        persistence_s=None,
        hysteresis=None,
        p_adjusted=None,
        p_smallest=1.0 if starts else None,
        starts_needed=max(LEAST_STARTS - starts, 1) if starts else None,
        confirmed=None,
        p_confirmed=None,
        permutations=0,
        still_running=False,
        spoken=weighed(said, ()),
    )


def _winner(stage: Stage, watch: Watch, key: tuple[int, ...], permutations: int) -> _Winner | None:
    """Search both families and take the one with the smaller adjusted p."""
    ground = stage.ground
    cycles = cycles_of_fault(ground, watch)
    share = SHARE_WITHIN if cycles is not None else 1.0
    best = search(stage, watch.unit_rows[None, :])
    found: _Winner | None = None
    if best.score[0] > 0:
        chance = chance_within(
            stage,
            shifts_of(ground, watch),
            float(best.score[0]),
            key,
            permutations,
            FOUND_P * share,
        )
        found = _Winner(
            "within",
            _cuts(ground, best.bits[0]),
            LAGS_S[int(best.lag[0])],
            chance,
            min(1.0, chance.p_adjusted / share),
            min(1.0, chance.p_smallest / share),
        )
    if cycles is not None:
        other, chance = chance_between(cycles, key, BETWEEN_PERMUTATIONS)
        p = min(1.0, chance.p_adjusted / (1.0 - share))
        if other.score[0] > 0 and (found is None or p < found.p_adjusted):
            smallest = min(1.0, chance.p_smallest / (1.0 - share))
            found = _Winner("between", _cuts(ground, other.bits[0]), 0, chance, p, smallest)
    return found


def _cuts(ground: Ground, bits: Rows) -> tuple[Cut, ...]:
    found = [ground.conditions[bit] for bit in bits.tolist() if bit >= 0]
    return tuple(cut_of(one) for one in found if one is not None)


def _judged(stage: Stage, watch: Watch, winner: _Winner, said: Said, unsure: Setting) -> Setting:
    """Look at the winner closely and say what it is worth."""
    ground = stage.ground
    field = _field(ground, watch, winner.family)
    p = winner.p_adjusted
    cuts, lag_s = winner.cuts, winner.lag_s
    twins: tuple[Twin, ...] = ()
    score = field.score(cuts, lag_s) - TERM_COST * (len(cuts) - 1)
    if p < STRIKING_P:
        cuts, lag_s, score = _closer(field, winner)
        first, twins = _settled(
            field,
            watch,
            Twin(cuts, score, lag_s),
            twins_of(field, cuts, lag_s, score),
            said,
        )
        cuts, lag_s = first.cuts, first.lag_s
    delay = Delay(lag_s, lag_s, lag_s, 0, score)
    if p < STRIKING_P and winner.family == "within":
        delay = delay_of(field, cuts)
        if delay.lag_s != lag_s:
            lag_s = delay.lag_s
            cuts = refined(field, cuts, lag_s)
    inside = watch.start_rows[field.joined(cuts, watch.start_rows, lag_s)]
    enough = len(inside) >= LEAST_STARTS and _cycles(ground, inside) >= LEAST_CYCLES
    confirmed: bool | None = None
    p_confirmed: float | None = None
    if len(watch.start_rows) >= CONFIRM_STARTS and p < FOUND_P:
        if winner.family == "within":
            confirmed, p_confirmed = confirmed_within(stage, watch)
        else:
            confirmed, p_confirmed = confirmed_between(ground, watch)
    found = p < FOUND_P and enough and confirmed is not False
    status = _status(found, winner, len(inside), watch)
    settled = found or status == "none_seen"
    plain = replace(
        unsure,
        status="told" if status in ("cannot_tell", "none_seen") and unsure.terms else status,
        p_adjusted=p,
        p_smallest=winner.p_smallest,
        permutations=winner.chance.permutations,
        still_running=winner.chance.still_running,
        starts_needed=None if settled else _starts_needed(score, winner, ground, watch),
        confirmed=confirmed,
        p_confirmed=p_confirmed,
    )
    if status not in ("found", "possible"):
        return plain
    exposed = np.flatnonzero(watch.exposed)
    held_h = float(np.count_nonzero(field.joined(cuts, exposed, 0))) / 3600.0
    shown = twins[:MOST]
    return replace(
        plain,
        found=found,
        family=winner.family,
        terms=_terms(ground, cuts),
        cannot_be_told_apart=tuple(
            Alternative(
                _terms(ground, one.cuts),
                one.score,
                int(field.joined(one.cuts, watch.start_rows, one.lag_s).sum()),
            )
            for one in shown
        ),
        would_tell=_outing(ground, field, cuts, shown, exposed, len(inside), held_h),
        starts_inside=len(inside),
        days=_days(ground, inside),
        cycles=_cycles(ground, inside),
        exposure_inside_h=held_h,
        delay_s=delay.lag_s + delay.persistence_s,
        delay_low_s=delay.low_s,
        delay_high_s=delay.high_s,
        persistence_s=delay.persistence_s,
        hysteresis=(
            hysteresis_of(field, cuts, lag_s, _whole(ground, watch))
            if winner.family == "within"
            else None
        ),
        spoken=weighed(said, cuts),
    )


def _closer(field: Field, winner: _Winner) -> tuple[tuple[Cut, ...], int, float]:
    """Refine thresholds at every lag, leave out terms without need, and take the shortest lag that
    is as good as the best within NEAR_LAG. Gives cuts, lag and score (with costs).
    """
    found: list[tuple[tuple[Cut, ...], int, float]] = []
    for lag in LAGS_S if winner.family == "within" else (0,):
        cuts = _needed(field, refined(field, winner.cuts, lag), lag)
        found.append((cuts, lag, field.score(cuts, lag) - TERM_COST * (len(cuts) - 1)))
    best = max(score for _, _, score in found)
    return next(one for one in found if one[2] >= best - NEAR_LAG)


def _field(ground: Ground, watch: Watch, family: Family) -> Field:
    """Take the exposed rows that the family compares with: of the starts' visits, or of all."""
    if family == "within":
        rows = sample_rows(ground, watch, PROFILED)
    else:
        rows = np.flatnonzero(watch.exposed)
        rows = rows[:: max(1, len(rows) // PROFILED)]
    return Field(ground, rows, watch.unit_rows, watch.start_rows)


def _needed(field: Field, cuts: tuple[Cut, ...], lag_s: int) -> tuple[Cut, ...]:
    """Leave out terms that do not earn their cost once thresholds are refined."""
    while len(cuts) > 1:
        score = field.score(cuts, lag_s)
        fewer = [tuple(c for j, c in enumerate(cuts) if j != i) for i in range(len(cuts))]
        scores = [field.score(some, lag_s) for some in fewer]
        most = int(np.argmax(scores))
        if scores[most] < score - TERM_COST:
            break
        cuts = refined(field, fewer[most], lag_s)
    return cuts


def _status(found: bool, winner: _Winner, inside: int, watch: Watch) -> Status:
    if found:
        return "found"
    if winner.p_adjusted < STRIKING_P and inside >= 2:
        return "possible"
    few = min(len(watch.start_rows), len(watch.unit_rows)) < LEAST_STARTS
    return "cannot_tell" if few or winner.p_smallest > FOUND_P else "none_seen"


def _starts_needed(score: float, winner: _Winner, ground: Ground, watch: Watch) -> int | None:
    """Estimate how many more starts like these would be enough; None: these point nowhere.

    The score grows with the starts, chance's best hardly does: so many that it passes the point
    which chance's best exceeds with half of FOUND_P (own rule; half for its own growth).
    """
    units, starts = len(watch.unit_rows), len(watch.start_rows)
    per_unit = score / units
    if per_unit <= LEAST_PER_UNIT:
        return None
    wanted = gumbel_point(FOUND_P / 2, winner.chance.location, winner.chance.scale)
    short = max(LEAST_STARTS - starts, LEAST_CYCLES - _cycles(ground, watch.start_rows))
    return max(int(np.ceil(wanted / per_unit)) - units, short, 1)


def _settled(
    field: Field, watch: Watch, first: Twin, twins: Sequence[Twin], said: Said
) -> tuple[Twin, tuple[Twin, ...]]:
    """Let all exposed time since the first start, and the driver's words, choose among twins.

    The search compares with the time of the visits that had starts; an outing without one speaks
    here. Those that fall short by APART are told apart now.
    """
    rows = np.flatnonzero(watch.exposed)
    rows = rows[rows >= watch.start_rows[0]]
    wide = replace(field, rows=rows[:: max(1, len(rows) // PROFILED)])
    all_of = [
        replace(one, score=wide.score(one.cuts, one.lag_s) - TERM_COST * (len(one.cuts) - 1))
        for one in (first, *twins)
    ]
    worth = [one.score + weight_db(said, one.cuts) * np.log(10.0) / 10.0 for one in all_of]
    best = all_of[int(np.argmax(worth))]
    rest = [one for one in all_of if one is not best and one.score >= best.score - APART]
    return best, tuple(sorted(rest, key=lambda one: -one.score))


def _outing(
    ground: Ground,
    field: Field,
    cuts: tuple[Cut, ...],
    twins: Sequence[Twin],
    exposed: Rows,
    inside: int,
    held_h: float,
) -> Outing | None:
    """Name the outing that would tell the setting from its first twin: the way that this machine
    has been seen to work before, where there is one.
    """
    if not twins:
        return None
    other = twins[0].cuts
    per_hour = inside / max(held_h, 1.0 / 60.0)
    ways = []
    for holding, without in ((cuts, other), (other, cuts)):
        hours, seen = outing(field, holding, without, exposed, per_hour)
        ways.append(Outing(_terms(ground, holding), _terms(ground, without), hours, seen))
    return max(ways, key=lambda way: way.seen_h)


def _terms(ground: Ground, cuts: Sequence[Cut]) -> tuple[Term, ...]:
    return tuple(
        Term(
            cut.quantity,
            ground.spn(cut.quantity),
            cut.op,
            cut.value,
            cut.low,
            cut.high,
            ground.units.get(cut.quantity, ""),
        )
        for cut in cuts
    )


def _whole(ground: Ground, watch: Watch) -> Rows:
    """Give all rows of the visits with starts, rising."""
    spans = [ground.span(visit) for visit in np.unique(watch.unit_visit).tolist()]
    return np.concatenate([np.arange(first, last) for first, last in spans])


def _cycles(ground: Ground, rows: Rows) -> int:
    return len(np.unique(ground.cycle[rows]))


def _days(ground: Ground, rows: Rows) -> int:
    """Count days (UTC) of rows; a visit without a clock is a day of its own."""
    days: set[object] = set()
    for row, visit in zip(rows.tolist(), ground.visit_of(rows).tolist(), strict=True):
        table = ground.tables[visit]
        if table.zero_us is None:
            days.add(table.visit)
        else:
            at = table.zero_us // SECOND_US + int(table.second[row - ground.first[visit]])
            days.add(at // 86400)
    return len(days)
