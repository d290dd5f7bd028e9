"""What a machine may do today: the worst advice that applies now, and how old that is."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from shearbolt.dictionary.advice_kinds import CLASSES, AdviceClass
from shearbolt.model.fault import LampSpell
from shearbolt.model.instants import HOUR_US, SECOND_US, Instant
from shearbolt.reasoning.advice.moments import RUNNING_RPM, VisitView, dangers_at_end
from shearbolt.reasoning.advice.values import Advice, MachineAdvice, Now, Reason
from shearbolt.reasoning.case import MachineCase, VisitCase

OLD_HOURS, OLD_DAYS = 20.0, 14.0
"""A look older than this says nothing of today."""
TESTED_S = 1800
"""Engine running since a clear before a quiet list means anything (own choice: half an hour; many
monitors need longer, SAE J1939-73 DM5)."""
LIT = ("on", "slow", "fast")
LAMP_TEST_US = 10 * SECOND_US


def machine_advice(
    case: MachineCase,
    views: Sequence[VisitView],
    advices: Mapping[str, Advice],
    now: Now,
) -> MachineAdvice:
    """Judge the machine: the worst advice that applies now, its last readings and lamps.

    With nothing that applies it is 'keep_working' only after a recent, complete look that heard
    fault reports; else None: no silence is read as health.
    """
    last = next((one for one in reversed(case.visits) if one.kind != "by_hand"), None)
    newest = case.visits[-1] if case.visits else None
    old = last is None or _old(last, now)
    standing: list[tuple[AdviceClass, Reason, str | None]] = [
        (one.advice, Reason("fault_now", (("fault", fault),)), fault)
        for fault, one in advices.items()
        if one.applies_now
    ]
    if last is not None and not old:
        view = next(one for one in views if one.visit is last)
        for danger in dangers_at_end(view):
            standing.append(
                (
                    "stop_now",
                    Reason(
                        f"reading_{danger.reading.reading}",
                        ((danger.reading.bound.quantity, danger.value),),
                        last.visit,
                        danger.at_us,
                    ),
                    None,
                )
            )
        for lamp in last.lamp_without_code:
            told = _lamp(view, lamp)
            if told is not None:
                standing.append(
                    (told, Reason("lamp_without_code", (), last.visit, lamp.start_us), None)
                )
    not_tested = _not_tested(case)
    because: list[Reason] = []
    advice: AdviceClass | None = None
    fault: str | None = None
    if standing:
        advice = max((one for one, _, _ in standing), key=CLASSES.index)
        worst = [(reason, of) for one, reason, of in standing if one == advice]
        because.extend(reason for reason, _ in worst)
        fault = next((of for _, of in worst if of is not None), None)
    if advice in (None, "note_only", "keep_working"):
        doubts = _doubts(case, last, old, not_tested)
        because.extend(doubts)
        if doubts:
            advice = None if advice != "keep_working" or old else advice
        elif advice is None:
            advice = "keep_working"
            because.append(Reason("nothing_reported", (), last.visit if last else None))
    elif old:
        because.append(Reason("not_looked_at_since"))
    return MachineAdvice(
        advice,
        tuple(because),
        fault,
        _end_of(newest),
        newest.visit if newest is not None else None,
        old,
        not_tested,
        advices,
    )


def _doubts(case: MachineCase, last: VisitCase | None, old: bool, not_tested: bool) -> list[Reason]:
    """Say why a quiet machine is no sound one.

    A controller that reports only while a fault is active says nothing when all is well: that it
    does report must have been heard, in any visit.
    """
    if last is None:
        return [Reason("never_heard")]
    found: list[Reason] = []
    if old:
        found.append(Reason("not_looked_at_since"))
    if last.quality in ("lossy", "filtered"):
        found.append(Reason("recording_lossy", (), last.visit))
    reporting = {
        one.address for visit in case.visits for one in visit.controllers if one.dm1_messages
    }
    if not reporting & {one.address for one in last.controllers}:
        found.append(Reason("no_reports_heard", (), last.visit))
    if not_tested:
        found.append(Reason("cleared_not_tested", (), last.visit))
    return found


def _old(visit: VisitCase, now: Now) -> bool:
    end_us = _end_of(visit)
    if (
        end_us is not None
        and now.at_us is not None
        and now.at_us - end_us > OLD_DAYS * 24 * HOUR_US
    ):
        return True
    return (
        visit.hours_end is not None
        and now.hours is not None
        and now.hours - visit.hours_end > OLD_HOURS
    )


def _end_of(visit: VisitCase | None) -> Instant | None:
    if visit is None or visit.zero_us is None:
        return None
    return visit.zero_us + visit.latest_us


def _not_tested(case: MachineCase) -> bool:
    """Tell whether codes were cleared and the engine has hardly run since, as far as was heard."""
    run_s = 0
    for visit in reversed(case.visits):
        clears = [one.at_us for one in visit.clears if one.result == "done"]
        rpm = VisitView(visit).column("engine_rpm", True)
        if rpm is not None:
            ran = rpm > RUNNING_RPM
            if clears:
                ran = ran & (visit.state.second > max(clears) // SECOND_US)
            run_s += int(ran.sum())
        if clears:
            return run_s < TESTED_S
    return False


def _lamp(view: VisitView, lamp: LampSpell) -> AdviceClass | None:
    """Judge a lamp without a code by itself, where it was lit at the end of the visit."""
    if lamp.end_us < view.visit.latest_us - 60 * SECOND_US:
        return None
    if lamp.end_us - lamp.start_us <= LAMP_TEST_US:
        return None
    rpm = view.column("engine_rpm", True)
    rows = view.within(lamp.start_us // SECOND_US, lamp.end_us // SECOND_US)
    stood = rpm is not None and not bool((rpm[rows] > RUNNING_RPM).any())
    if lamp.lamps.red_stop in LIT:
        return "finish_gently" if stood else "stop_now"
    if lamp.lamps.amber_warning == "fast":
        return "finish_gently"
    if lamp.lamps.amber_warning in LIT or lamp.lamps.mil in LIT:
        return "keep_working"
    return "note_only"
