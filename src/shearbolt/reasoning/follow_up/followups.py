"""Did that repair hold: every repair of every fault, judged against what was true before it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from shearbolt.dictionary.repair_grades import RepairGrade, repair_grade
from shearbolt.model.instants import HOUR_US, SECOND_US
from shearbolt.reasoning.advice.kinds import function_of, kind_of
from shearbolt.reasoning.between import Between
from shearbolt.reasoning.case import FaultCase, MachineCase, RepairDone, VisitCase
from shearbolt.reasoning.follow_up.amounts import hours_inside, rows_inside
from shearbolt.reasoning.follow_up.building import Answers, Builder
from shearbolt.reasoning.follow_up.judging import Seen, Verdict, judge, needed_exposure
from shearbolt.reasoning.follow_up.line import Cut, Line, Start, Window
from shearbolt.reasoning.follow_up.rates import RateBelief
from shearbolt.reasoning.follow_up.scale import scale_of
from shearbolt.reasoning.follow_up.tally import Measure, Tally, tally
from shearbolt.reasoning.follow_up.testing import untested
from shearbolt.reasoning.follow_up.trend import Trend, trend_of
from shearbolt.reasoning.follow_up.values import MOSTLY, Came, FollowUp
from shearbolt.reasoning.quantity_view import QuantityView, views_of
from shearbolt.reasoning.settings import Setting, Term
from shearbolt.reasoning.standing import Standing

__all__ = ["followups_of", "lines_of", "rates_of", "trends_of"]


@dataclass(frozen=True, slots=True)
class _Bundle:
    cut: Cut
    """Where the first of them lies."""
    last: Cut
    repairs: tuple[RepairDone, ...]


@dataclass(frozen=True, slots=True)
class _Judged:
    verdict: Verdict
    before: Tally
    after: Tally
    window: Window
    measure: Measure
    alternative: int | None


@dataclass(frozen=True, slots=True)
class _Fault:
    """All that one fault's repairs are judged by."""

    builder: Builder
    fault: FaultCase
    line: Line
    between: Between | None
    setting: Setting | None
    kind: RateBelief | None
    untested: Mapping[tuple[int, bool], float]
    memo: dict[tuple[Term, ...], Measure] = field(default_factory=dict)


def followups_of(
    case: MachineCase,
    standings: Mapping[str, Standing],
    settings: Mapping[str, Setting],
    between: Mapping[str, Between],
    grades: Mapping[tuple[str, str], str],
    *,
    answers: Answers | None = None,
    kinds: Mapping[str, RateBelief] | None = None,
    views: Sequence[QuantityView] | None = None,
    lines: Mapping[str, Line] | None = None,
) -> dict[str, tuple[FollowUp, ...]]:
    """Judge every repair of every fault of a machine, by fault, in the order of the repairs.

    grades: by (repair, fault) the name of the repair's grade, a hunch where none is given; answers:
    by visit what controllers told (readiness); kinds: by fault the belief of its kind's rate per
    engine hour; views, lines: those of the case (`lines_of`) where they are there already. Faults
    without a repair are left out.
    """
    builder = Builder.of(case, views_of(case) if views is None else views, answers)
    found: dict[str, tuple[FollowUp, ...]] = {}
    for fault in case.faults:
        repairs = [one for one in case.repairs if fault.fault in one.faults]
        if not repairs:
            continue
        line = (lines or {}).get(fault.fault)
        if line is None:
            line = builder.line_of(fault, between.get(fault.fault))
        mine = _Fault(
            builder,
            fault,
            line,
            between.get(fault.fault),
            settings.get(fault.fault),
            (kinds or {}).get(fault.fault),
            untested(builder, fault, line),
        )
        standing = standings.get(fault.fault)
        found[fault.fault] = _of_fault(
            mine, repairs, grades, standing is not None and standing.stale
        )
    return found


def lines_of(
    case: MachineCase,
    between: Mapping[str, Between],
    *,
    answers: Answers | None = None,
    views: Sequence[QuantityView] | None = None,
) -> dict[str, Line]:
    """Lay out the line of every fault of a machine, for follow-ups and trends."""
    builder = Builder.of(case, views_of(case) if views is None else views, answers)
    return {one.fault: builder.line_of(one, between.get(one.fault)) for one in case.faults}


def trends_of(
    case: MachineCase,
    lines: Mapping[str, Line],
    followups: Mapping[str, Sequence[FollowUp]] | None = None,
) -> dict[str, Trend]:
    """Tell the trend of every fault since the last repair that changed something, if any did.

    With such a repair what came before speaks of another state of the machine.
    """
    return {
        fault: trend_of(line, _since_change(case, (followups or {}).get(fault, ())))
        for fault, line in lines.items()
    }


def rates_of(
    case: MachineCase,
    lines: Mapping[str, Line],
    followups: Mapping[str, Sequence[FollowUp]] | None = None,
) -> dict[str, RateBelief]:
    """Give what is believed of every fault's starts an engine hour since the last repair that
    changed something: Gamma, with Jeffreys' prior. Faults that nobody could have seen are left out.
    """
    found: dict[str, RateBelief] = {}
    for fault, line in lines.items():
        window = _since_change(case, (followups or {}).get(fault, ()))
        told = tally(line, window, Measure("engine_hours"))
        if told.exposure > 0.0:
            found[fault] = RateBelief(told.events + 0.5, told.exposure)
    return found


def _since_change(case: MachineCase, followups: Sequence[FollowUp]) -> Window:
    changed = {
        one.repair
        for one in followups
        if one.result == "held" or (one.result == "not_held" and (one.p_partly or 0.0) >= MOSTLY)
    }
    cuts = [one for one in case.repairs if one.repair in changed]
    if not cuts:
        return Window(None, None)
    last = max(cuts, key=lambda one: one.visits_before)
    return Window(Cut(last.visits_before, last.hours), None)


def _of_fault(
    mine: _Fault,
    repairs: Sequence[RepairDone],
    grades: Mapping[tuple[str, str], str],
    stale: bool,
) -> tuple[FollowUp, ...]:
    bundles = _bundles(repairs)
    judged: list[_Judged] = []
    found: list[FollowUp] = []
    for i, bundle in enumerate(bundles):
        names = [grades.get((one.repair, mine.fault.fault)) for one in bundle.repairs]
        # One settled cause in a bundle speaks for all that was done at once.
        grade = max((repair_grade(name) for name in names), key=lambda one: one.cured)
        after = Window(bundle.last, bundles[i + 1].cut if i + 1 < len(bundles) else None)
        one = _judged(mine, bundles[: i + 1], judged, after, grade)
        judged.append(one)
        for repair in bundle.repairs:
            found.append(_follow_up(mine, repair, bundle, grade, one, stale))
    return tuple(found)


def _bundles(repairs: Sequence[RepairDone]) -> list[_Bundle]:
    """Put together repairs with no look at the machine between them."""
    found: list[list[RepairDone]] = []
    for one in sorted(repairs, key=lambda repair: repair.visits_before):
        if found and found[-1][0].visits_before == one.visits_before:
            found[-1].append(one)
        else:
            found.append([one])
    return [
        _Bundle(
            Cut(some[0].visits_before, some[0].hours),
            Cut(some[-1].visits_before, some[-1].hours),
            tuple(some),
        )
        for some in found
    ]


def _judged(
    mine: _Fault,
    bundles: Sequence[_Bundle],
    earlier: Sequence[_Judged],
    after: Window,
    grade: RepairGrade,
) -> _Judged:
    """Judge by the time since the repair before it; where that one changed nothing, or nobody can
    tell yet, also by all the time before, and take the more careful answer."""
    end = bundles[-1].cut
    windows = [Window(bundles[-2].last if len(bundles) > 1 else None, end)]
    for i in range(len(earlier) - 1, -1, -1):
        verdict = earlier[i].verdict
        if verdict.result == "held" or (
            verdict.result == "not_held" and verdict.p_partly >= MOSTLY
        ):
            break
        windows.append(Window(bundles[i - 1].last if i else None, end))
    tried = [
        _judge_on(mine, before, after, measure, alternative, grade)
        for before in windows
        for measure, alternative in _measures(mine, before)
    ]
    useful = [one for one in tried if one.before.events] or tried
    return max(useful, key=_care)


def _care(one: _Judged) -> tuple[bool, float, float]:
    """Order answers: the most careful last. Any that is not 'held' goes before one that is."""
    p = one.verdict.p_clean_if_unchanged
    held = one.verdict.result == "held"
    return not held, 1.0 if p is None else p, one.verdict.still_needed or 0.0


def _measures(mine: _Fault, before: Window) -> list[tuple[Measure, int | None]]:
    scale = scale_of(mine.line, mine.fault, mine.between, mine.setting, before)
    if scale != "setting_hours" or mine.setting is None:
        plain = Measure(scale)
        told = tally(mine.line, before, plain)
        if scale != "engine_hours" and not (told.events and told.exposure > 0.0):
            return [(Measure("engine_hours"), None)]
        return [(plain, None)]
    found: list[tuple[Measure, int | None]] = [(_in_setting(mine, mine.setting.terms), None)]
    for i, one in enumerate(mine.setting.cannot_be_told_apart):
        found.append((_in_setting(mine, one.terms), i))
    good = [one for one in found if tally(mine.line, before, one[0]).exposure > 0.0]
    return good or [(Measure("engine_hours"), None)]


def _in_setting(mine: _Fault, terms: tuple[Term, ...]) -> Measure:
    if terms in mine.memo:
        return mine.memo[terms]
    inside: dict[int, float] = {}
    starts: set[tuple[int, float]] = set()
    delay_s = mine.setting.delay_s or 0.0 if mine.setting is not None else 0.0
    for place, visit in enumerate(mine.builder.case.visits):
        ears = mine.builder.ears(visit, mine.fault, mine.line.heal_delay_s)
        view = mine.builder.views.get(visit.visit)
        if ears.heard_s is None or view is None:
            continue
        inside[place] = hours_inside(view, terms, ears.heard_s, ears.active_s)
        rows = rows_inside(view, terms, ears.heard_s, ())
        for start in mine.line.starts:
            if start.place == place and start.seen:
                # Within a second or two of the delay: a code waits for its sender's next report.
                near = (view.second >= start.at_s - delay_s - 2.0) & (
                    view.second <= start.at_s - delay_s + 1.0
                )
                if bool((rows & near).any()):
                    starts.add((place, start.at_s))
    mine.memo[terms] = Measure("setting_hours", inside, frozenset(starts))
    return mine.memo[terms]


def _judge_on(
    mine: _Fault,
    before: Window,
    after: Window,
    measure: Measure,
    alternative: int | None,
    grade: RepairGrade,
) -> _Judged:
    ahead = tally(mine.line, before, measure)
    since = tally(mine.line, after, measure, mine.untested)
    events = since.events
    if since.came_back or _still_on(mine.line, after):
        events = max(events, 1)
    elif not since.came_back:
        events = 0
    kind = mine.kind if measure.scale == "engine_hours" else None
    verdict = judge(Seen(ahead.events, ahead.exposure, events, since.exposure), grade, kind)
    return _Judged(verdict, ahead, since, after, measure, alternative)


def _still_on(line: Line, window: Window) -> bool:
    """Tell whether a spell from before the repair was still on at the last look."""
    return (
        line.ends_active
        and window.end is None
        and any(one.goes_on and window.holds_start(one) for one in line.starts)
    )


def _follow_up(
    mine: _Fault,
    repair: RepairDone,
    bundle: _Bundle,
    grade: RepairGrade,
    one: _Judged,
    stale: bool,
) -> FollowUp:
    verdict, before, after = one.verdict, one.before, one.after
    came = _first_return(mine, one)
    held = _held_at(mine, one, grade, came)
    exposure = before.exposure + after.exposure
    stood_h = stood_days = None
    if held is not None and came is not None:
        if held.hours is not None and came.hours is not None:
            stood_h = max(0.0, came.hours - held.hours)
        if held.at_us is not None and came.at_us is not None:
            stood_days = max(0.0, (came.at_us - held.at_us) / (24 * HOUR_US))
    known = None if stale else verdict
    return FollowUp(
        mine.fault.fault,
        repair.repair,
        tuple(other.repair for other in bundle.repairs),
        grade.grade,
        None if known is None else known.result,
        one.measure.scale,
        one.alternative,
        before.events,
        before.exposure,
        max(after.events, 1) if verdict.result == "not_held" else 0,
        after.exposure,
        after.not_tested,
        after.blind_h,
        (before.estimated + after.estimated) / exposure if exposure > 0.0 else 0.0,
        max(before.unsure, after.unsure),
        before.in_bursts or after.in_bursts,
        None if known is None else known.p_clean_if_unchanged,
        None if known is None else known.p_unchanged,
        None if known is None else known.p_partly,
        None if known is None else known.still_needed,
        None if known is None or known.ratio is None else known.ratio.interval,
        None if known is None else known.remaining,
        came,
        held,
        stood_days,
        stood_h,
        "safety" in kind_of(mine.fault, function_of(mine.fault, mine.builder.case)).traits,
    )


def _first_return(mine: _Fault, one: _Judged) -> Came | None:
    visits = mine.builder.case.visits
    found: list[tuple[int, float, Came]] = []
    for start in one.after.returns:
        found.append((start.place, start.at_s, _came(visits[start.place], start, start.seen)))
    for group in one.after.counted_returns:
        hours, at_us = mine.line.hours[group.until][0], mine.line.instants[group.until][0]
        came = Came(visits[group.until].visit, hours, at_us, False)
        found.append((group.until, -1.0, came))
    if not found and one.verdict.result == "not_held":
        last = next(
            start for start in mine.line.starts if start.goes_on and one.window.holds_start(start)
        )
        return _came(visits[last.place], last, False)
    return min(found, key=lambda some: some[:2])[2] if found else None


def _came(visit: VisitCase, start: Start, seen: bool) -> Came:
    at_us = None if visit.zero_us is None else visit.zero_us + round(start.at_s * SECOND_US)
    return Came(visit.visit, start.hours, at_us, seen)


def _held_at(mine: _Fault, one: _Judged, grade: RepairGrade, came: Came | None) -> Came | None:
    """Replay the looks since the repair: the first at which it could be called held."""
    if not one.before.events or one.before.exposure <= 0.0:
        return None
    kind = mine.kind if one.measure.scale == "engine_hours" else None
    needed = needed_exposure(one.before.events, one.before.exposure, grade, kind)
    visits = mine.builder.case.visits
    places = {visit.visit: place for place, visit in enumerate(visits)}
    until = places[came.visit] if came is not None else len(visits)
    clean = 0.0
    for stretch, amount in one.after.steps:
        if stretch.place >= until:
            break
        clean += amount
        if stretch.recorded and clean >= needed:
            hours, at_us = mine.line.hours[stretch.place][1], mine.line.instants[stretch.place][1]
            return Came(visits[stretch.place].visit, hours, at_us, True)
    return None
