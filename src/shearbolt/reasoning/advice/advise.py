"""The first advice of all faults of a machine, and of the machine itself."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace

from shearbolt.dictionary.advice_kinds import CLASSES, AdviceKind, Bound
from shearbolt.dictionary.company_roles import plays
from shearbolt.model.fault import FaultSeen
from shearbolt.model.instants import HOUR_US, SECOND_US, Instant
from shearbolt.reasoning.advice.judge import Surroundings, Verdict, judge
from shearbolt.reasoning.advice.kinds import function_of, kind_of
from shearbolt.reasoning.advice.limp import Limp, limp_modes
from shearbolt.reasoning.advice.machine import machine_advice
from shearbolt.reasoning.advice.moments import Moment, VisitView, least, moments_of, told
from shearbolt.reasoning.advice.values import (
    Advice,
    Gauge,
    MachineAdvice,
    Now,
    Reason,
    Until,
    Watch,
)
from shearbolt.reasoning.case import FaultCase, MachineCase, VisitCase
from shearbolt.reasoning.company import Company
from shearbolt.reasoning.senders import sightings
from shearbolt.reasoning.standing import Standing
from shearbolt.reasoning.voltage import nominal_of_all

GAUGE_HOURS = 10.0
"""A mechanical gauge reading calms for so long."""
PLUGGED_US = 60 * SECOND_US
"""Network faults that begin so soon after plugging in may be of our own making."""
OIL_KINDS = frozenset({"oil_pressure_lost", "oil_pressure_low"})
GAUGE_WATCH = Watch(Bound("oil_kpa", "<", 100.0), False)
"""By the mechanical gauge (reference sheet section 6.7: hot idle at least 50 to 100 kPa)."""
LIT = ("on", "slow", "fast")
POWER_SYMPTOMS = frozenset({"low_power", "power_limited", "stalls"})
POWER_WITHIN_US = 12 * HOUR_US
"""A note of lost power belongs to a fault seen so near to it."""
SYMPTOM_DAYS, SYMPTOM_HOURS = 14.0, 20.0
"""So long a symptom that somebody wrote down counts as still there, unless settled."""


@dataclass(frozen=True, slots=True)
class _All:
    """All that is worked out once for a machine."""

    case: MachineCase
    views: tuple[VisitView, ...]
    kinds: Mapping[str, AdviceKind]
    seen: Mapping[str, Sequence[FaultSeen]]
    moments: Mapping[str, Sequence[Moment]]
    lost: Mapping[str, Sequence[Moment]]
    """By visit: spells of lost coolant."""
    limps: tuple[Limp, ...]
    nominal_v: int | None


def advise(
    case: MachineCase,
    standings: Mapping[str, Standing],
    company: Company,
    *,
    now: Now,
    settled: Collection[str] = (),
    gauges: Mapping[str, Gauge] | None = None,
) -> MachineAdvice:
    """Advise on every fault of a machine and on the machine.

    `standings` come from `standing.standing`; `settled` names the faults that an inspection or a
    confirmed repair has settled since their last spell; `gauges` are mechanical readings of oil
    pressure that people filed. Nothing here is moved by odds.
    """
    views = tuple(VisitView(one) for one in case.visits)
    kinds = {one.fault: kind_of(one, function_of(one, case)) for one in case.faults}
    seen = {fault: [one.seen for one in some] for fault, some in sightings(case).items()}
    moments = {one.fault: moments_of(one, views) for one in case.faults}
    limps = limp_modes(views, case.faults, kinds, company.roots)
    lost = _lost_by_visit(kinds, moments)
    every = _All(case, views, kinds, seen, moments, lost, limps, nominal_of_all(case.visits))
    advices: dict[str, Advice] = {}
    for fault in case.faults:
        standing = standings.get(fault.fault, Standing("unknown", False))
        advices[fault.fault] = _advice(
            every, fault, standing, company, now, fault.fault in settled, (gauges or {})
        )
    return replace(machine_advice(case, views, advices, now), limps=limps)


def _advice(
    every: _All,
    fault: FaultCase,
    standing: Standing,
    company: Company,
    now: Now,
    settled: bool,
    gauges: Mapping[str, Gauge],
) -> Advice:
    kind, moments = every.kinds[fault.fault], every.moments[fault.fault]
    around = Surroundings(
        standing.stale,
        _in_dip(fault, moments, company),
        "water" in kind.traits and _power_lost(every, fault, moments),
        kind.engine == "idle_then_off" and any(_coolant_lost(every.lost, one) for one in moments),
    )
    verdict = judge(fault, kind, moments, every.seen.get(fault.fault, ()), around)
    _contexts(every, fault, verdict, moments)
    root = company.roots.get(fault.fault)
    if root is not None:
        verdict.because.append(Reason("follows", (("root", root),)))
    last = _last_look(every.case, fault)
    applies = _applies_now(every, fault, standing, verdict, last, now, settled)
    advice = Advice(
        fault.fault,
        kind.kind,
        verdict.advice,
        applies,
        verdict.place or None,
        verdict.engine,
        _watch(every, verdict),
        verdict.until,
        tuple(verdict.because),
        tuple(verdict.cautions),
        _end_of(last),
        last.visit if last is not None else None,
        last.hours_end if last is not None else None,
        root,
        kind.release,
    )
    return _gauged(advice, kind, gauges.get(fault.fault), moments, last, now, settled)


def _in_dip(fault: FaultCase, moments: Sequence[Moment], company: Company) -> bool:
    """Tell whether all its spells belong to a dip while cranking, and were over soon after."""
    dips = [
        one for one in company.instances if one.why == "cranking_dip" and fault.fault in one.faults
    ]
    return bool(moments) and all(
        moment.lasts_s <= 90.0
        and moment.spell.ended_by == "healed"
        and any(
            dip.visit == moment.visit.visit and abs(moment.spell.start_us - dip.at_us) <= PLUGGED_US
            for dip in dips
        )
        for moment in moments
    )


def _power_lost(every: _All, fault: FaultCase, moments: Sequence[Moment]) -> bool:
    """Tell whether power was lost with it: limited without another cause, or noted by a person."""
    for moment in moments:
        for limp in every.limps:
            if (
                limp.visit == moment.visit.visit
                and limp.cause in (None, fault.fault)
                and limp.from_us <= moment.spell.end_us
                and limp.until_us >= moment.spell.start_us
            ):
                return True
    symptoms = {
        one.fault
        for one in every.case.faults
        if one.kind == "symptom" and every.kinds[one.fault].symptoms & POWER_SYMPTOMS
    }
    where = [(one.visit, one.view) for one in moments]
    for visit in every.case.visits:
        if not any(one.fault in symptoms for one in visit.faults):
            continue
        if any(other.visit == visit.visit or _near(other, visit) for other, _ in where):
            return True
    return False


def _near(one: VisitCase, other: VisitCase) -> bool:
    if one.zero_us is None or other.zero_us is None:
        return False
    apart = (one.zero_us + one.latest_us) - (other.zero_us + other.latest_us)
    return abs(apart) <= POWER_WITHIN_US


def _coolant_lost(lost: Mapping[str, Sequence[Moment]], moment: Moment) -> bool:
    """Tell whether coolant was gone in a spell: by its level, or by the code for it."""
    level = least(moment, "coolant_level_pct")
    if level is not None and level < 5.0:
        return True
    return any(
        one.spell.start_us <= moment.spell.end_us and one.spell.end_us >= moment.spell.start_us
        for one in lost.get(moment.visit.visit, ())
    )


def _lost_by_visit(
    kinds: Mapping[str, AdviceKind], moments: Mapping[str, Sequence[Moment]]
) -> dict[str, list[Moment]]:
    found: dict[str, list[Moment]] = {}
    for fault, some in moments.items():
        if kinds[fault].kind == "coolant_lost":
            for one in some:
                found.setdefault(one.visit.visit, []).append(one)
    return found


def _contexts(every: _All, fault: FaultCase, verdict: Verdict, moments: Sequence[Moment]) -> None:
    """Add cautions that depend on the machine: its voltage, frost, our own adapter, its class."""
    traits = verdict.kind.traits
    if "start" in traits:
        verdict.cautions[:] = [one for one in verdict.cautions if one != "jump_start"]
        volts = str(every.nominal_v) if every.nominal_v is not None else "unknown"
        verdict.caution(f"jump_start_{volts}")
    if "electric" in traits and _frosty(every.case):
        verdict.caution("battery_frozen")
    if traits & {"electric", "start"} and _has_treatment(every.case):
        verdict.caution("wait_for_purge")
    if (
        "network" in traits
        and moments
        and all(
            one.spell.start_known and 0 <= one.spell.start_us - one.visit.first_us <= PLUGGED_US
            for one in moments
        )
    ):
        verdict.caution("unplug_us_first")
    if "safety" in traits:
        verdict.caution("not_cleared_by_time")
    if verdict.advice == "keep_working" and "derate" in traits:
        _limited(every, fault, verdict)


def _limited(every: _All, fault: FaultCase, verdict: Verdict) -> None:
    """Say of a code for limited power how far it went."""
    for limp in every.limps:
        figures: list[tuple[str, float | str]] = []
        if limp.left_pct is not None:
            figures.append(("left_pct", limp.left_pct))
        if limp.cause is not None and limp.cause != fault.fault:
            figures.append(("root", limp.cause))
        reason = Reason("power_limited", tuple(figures), limp.visit, limp.from_us)
        if limp.allows == "yard_only":
            verdict.demand("finish_gently", reason)
            return


def _frosty(case: MachineCase) -> bool:
    for visit in reversed(case.visits):
        view = VisitView(visit)
        for quantity in ("ambient_c", "intake_air_c", "fuel_c"):
            values = view.column(quantity, False)
            if values is not None:
                return bool((values < -10.0).any())
    return any("frost" in note.text.casefold() for one in case.visits for note in one.notes)


def _has_treatment(case: MachineCase) -> bool:
    return any(
        one.spn in (1761, 3031, 3516, 5246) for visit in case.visits for one in visit.signals
    ) or any(plays("treatment", one.spn, one.fmi) and one.spn != 27 for one in case.faults)


def _watch(every: _All, verdict: Verdict) -> Watch | None:
    """Give the reading to watch where the machine may go on."""
    bound = verdict.kind.watch
    if verdict.advice in ("stop_now", "note_only") or bound is None:
        return None
    unknown = False
    if bound.quantity == "battery_v":
        if every.nominal_v == 24:
            bound = replace(bound, value=2.0 * bound.value)
        unknown = every.nominal_v is None
    names = (
        ("brake_air_1_kpa", "brake_air_2_kpa")
        if bound.quantity == "brake_air_kpa"
        else (bound.quantity,)
    )
    on_bus = any(told(view, name) for view in every.views[-5:] for name in names)
    return Watch(bound, on_bus, unknown)


def _last_look(case: MachineCase, fault: FaultCase) -> VisitCase | None:
    """Give the last visit that heard the fault's sender, or told of the fault."""
    for visit in reversed(case.visits):
        if any(one.fault == fault.fault for one in visit.faults):
            return visit
        if any(one.address == fault.address for one in visit.controllers):
            return visit
    return case.visits[-1] if case.visits else None


def _end_of(visit: VisitCase | None) -> Instant | None:
    if visit is None or visit.zero_us is None:
        return None
    return visit.zero_us + visit.latest_us


def _applies_now(
    every: _All,
    fault: FaultCase,
    standing: Standing,
    verdict: Verdict,
    last: VisitCase | None,
    now: Now,
    settled: bool,
) -> bool:
    """Tell whether the advice holds now.

    An active fault's does; that of a symptom for two weeks; that of safety and of lost oil pressure
    until somebody has looked, however long it has been quiet.
    """
    if standing.stale and verdict.advice == "note_only":
        return False
    if settled:
        return standing.state == "active" and _active_at_end(every, fault)
    if fault.kind in ("symptom", "hand") or standing.state in ("active", "permanent"):
        if fault.kind in ("symptom", "hand") and standing.state != "active":
            return _recent(every, fault, now) or "stands" in verdict.kind.traits
        return True
    if "stands" in verdict.kind.traits:
        return verdict.advice in ("stop_now", "finish_gently")
    return False


def _active_at_end(every: _All, fault: FaultCase) -> bool:
    moments = every.moments[fault.fault]
    last = moments[-1] if moments else None
    return last is not None and last.spell.ended_by != "healed"


def _recent(every: _All, fault: FaultCase, now: Now) -> bool:
    """Tell whether what a person wrote down is younger than two weeks and 20 engine hours."""
    for visit in reversed(every.case.visits):
        if not any(one.fault == fault.fault for one in visit.faults):
            continue
        end_us = _end_of(visit)
        if (
            end_us is not None
            and now.at_us is not None
            and now.at_us - end_us > SYMPTOM_DAYS * 24 * HOUR_US
        ):
            return False
        hours = visit.hours_end
        return not (
            hours is not None and now.hours is not None and now.hours - hours > SYMPTOM_HOURS
        )
    return False


def _gauged(
    advice: Advice,
    kind: AdviceKind,
    gauge: Gauge | None,
    moments: Sequence[Moment],
    last: VisitCase | None,
    now: Now,
    settled: bool,
) -> Advice:
    """Let a mechanical gauge calm an oil-pressure stop for 10 h, never while the red lamp is lit.

    What the readings and the kind say of the past stays in the reasons.
    """
    if gauge is None or not gauge.sound or kind.kind not in OIL_KINDS:
        return advice
    hours = now.hours if now.hours is not None else advice.as_of_h
    fresh = hours is not None and 0.0 <= hours - gauge.hours <= GAUGE_HOURS
    red_now = any(
        one.seen.lamps.red_stop in LIT
        and last is not None
        and one.visit.visit == last.visit
        and one.spell.ended_by != "healed"
        for one in moments
    )
    if not fresh or red_now or CLASSES.index(advice.advice) <= CLASSES.index("finish_gently"):
        return advice
    left_h = GAUGE_HOURS - ((hours or gauge.hours) - gauge.hours)
    return replace(
        advice,
        advice="finish_gently",
        engine=None,
        place="level_ground",
        watch=GAUGE_WATCH,
        until=Until("gauge_again", left_h),
        because=(
            *advice.because,
            Reason("gauge_read", (("by", gauge.by), ("hours", gauge.hours))),
        ),
    )
