"""The truth of a played outing, written down beside its frames."""

from __future__ import annotations

import numpy as np

from shearbolt.model.fault import EndedBy
from shearbolt.model.instants import SECOND_US
from shearbolt.model.reading import TimeBase
from shearbolt.proving.bus import Played
from shearbolt.proving.controllers import (
    COMPONENT_IDENTIFICATION,
    HOURS,
    SOFTWARE_IDENTIFICATION,
    VEHICLE_IDENTIFICATION,
    Controller,
    Machine,
)
from shearbolt.proving.faults import OFF, count_kept, count_sent
from shearbolt.proving.memory import Kept
from shearbolt.proving.outing import Outing
from shearbolt.proving.reports import Held, Report
from shearbolt.proving.trace import STEPS_A_SECOND
from shearbolt.proving.truth import (
    CountSteps,
    TrueController,
    TrueFault,
    TrueLamp,
    TrueMachine,
    TrueSpell,
    TrueSwap,
    Truth,
)

FIRST_SIGN_S = 4.0
"""A sender that lived so long without listing a fault did not have it: real ones take up to three
seconds to their first word, and a listener does not know to the instant since when they live."""


def truth_of(outing: Outing, played: Played) -> Truth:
    """Write down what is true of a played outing; instants are those of its frames."""
    zero_us = outing.zero_us
    frames = played.frames
    return Truth(
        time_base=TimeBase.RELATIVE if outing.relative else TimeBase.ABSOLUTE,
        started_us=zero_us + outing.lead_s * SECOND_US,
        ended_us=int(frames.time_us[-1]),
        started_truly=outing.started,
        machines=tuple(_machine(outing, played, one) for one in outing.machines()),
        faults=(*_faults(outing, played, zero_us), *_memories(outing, played)),
        lamps_without_code=_lamps(outing, played),
        swaps=tuple(
            TrueSwap(outing.machine.key, key, old, outing.machine.controller(key).name)
            for key, old in outing.swapped
        ),
        key_on=outing.shows_key_on,
        key_off=outing.key_off_s is not None,
    )


def _text(played: Played, controller: Controller, pgn: int) -> str | None:
    if (controller.key, pgn) not in played.answered:
        return None
    return controller.texts[pgn].lstrip(bytes(range(32))).decode("ascii")


def _machine(outing: Outing, played: Played, machine: Machine) -> TrueMachine:
    trace = played.trace
    implement = machine.build is None

    def told(pgn: int) -> bool:
        return any((one.key, pgn) in played.answered for one in machine.controllers)

    key_off = outing.key_off_s
    return TrueMachine(
        machine.key,
        machine.name,
        machine.vin,
        told(VEHICLE_IDENTIFICATION),
        implement,
        None if implement else float(trace.hours[outing.lead_s * STEPS_A_SECOND]),
        None if implement else float(trace.hours[-1]),
        told(HOURS)
        or any(g.pgn == HOURS and g.period_s > 0 for c in machine.controllers for g in c.groups),
        tuple(
            TrueController(
                one.key,
                machine.key,
                one.channel,
                one.address,
                one.name,
                one.key in played.claimed,
                one.dm1,
                one.count_steps,
                None if key_off is None else min(one.after_run_s, outing.seconds - key_off),
                _text(played, one, COMPONENT_IDENTIFICATION),
                _text(played, one, SOFTWARE_IDENTIFICATION),
            )
            for one in machine.controllers
        ),
    )


def _spell(
    outing: Outing,
    played: Played,
    controller: Controller,
    held: Held,
    reports: list[tuple[int, Report]],
    started_us: int,
) -> TrueSpell | None:
    """Write down one spell; None when no report of it was sent."""
    listed = [at_us for at_us, report in reports if held in report.listed]
    if not listed:
        return None
    after = [
        at_us
        for at_us, report in reports
        if at_us > listed[-1] and all(one.fault != held.fault for one in report.listed)
    ]
    ended_by: EndedBy = "recording_end"
    if held.heal_s is not None:
        ended_by = "healed"
    elif outing.key_off_s is not None:
        ended_by = "key_off"
    before = played.faults[held.fault].count_before if held.before is None else held.before
    # A sender that lost its power is as new as at key-on, whatever it said before.
    first_s = (listed[0] - started_us) / 1e6
    lives = played.cycle.lives(controller)
    begins = [begin for begin, _, _ in lives if begin <= first_s]
    begun = max([float(outing.lead_s), *begins])
    return TrueSpell(
        started_us + round(held.set_s * 1e6),
        None if held.heal_s is None else started_us + round(held.heal_s * 1e6),
        listed[0],
        listed[-1],
        after[0] if after else None,
        any(begun <= (at_us - started_us) / 1e6 < first_s for at_us, _ in reports)
        or held.set_s > begun + FIRST_SIGN_S,
        ended_by,
        count_sent(controller.count_steps, before, held.nth) if held.nth else before,
        begun > max(float(outing.lead_s), lives[0][0]) and first_s < begun + FIRST_SIGN_S,
    )


_LISTS = ("dm2", "dm6", "dm12", "dm23", "dm27", "dm28", "dm4", "dm25")


def _told_in(
    played: Played, controller: str, spn: int, fmi: int, reported: bool = False
) -> tuple[str, ...]:
    again = tuple(what for what in _LISTS if (controller, spn, fmi, what) in played.told)
    return (("dm1",) if reported else ()) + again


def _faults(outing: Outing, played: Played, started_us: int) -> list[TrueFault]:
    """Write down every fault that was found, and every scripted one."""
    owners = {one.key: (machine, one) for machine, one in outing.controllers()}
    rows = []
    for index, fault in enumerate(played.faults):
        held = played.held.get(index, [])
        if not held and index >= len(outing.faults):
            continue
        machine, controller = owners[fault.controller]
        reports = played.reports[controller.key]
        spells = [_spell(outing, played, controller, one, reports, started_us) for one in held]
        told = tuple(one for one in spells if one is not None)
        told_in = _told_in(played, controller.key, fault.spn, fault.fmi, bool(told))
        late = [one for one in held if one.heal_s is None or one.heal_s > outing.lead_s]
        if not late and not told_in and index >= len(outing.faults):
            continue
        sure = [one for one in held if one.confirmed and one.nth > 0]
        healed = sum(one.heal_s is not None for one in sure)
        rows.append(
            TrueFault(
                machine.key,
                controller.key,
                "j1939",
                controller.channel,
                controller.address,
                fault.spn,
                fault.fmi,
                None,
                any(one.confirmed for one in late),
                told_in,
                told,
                _count_at(controller.count_steps, fault.count_before, sure, outing.lead_s),
                count_kept(controller.count_steps, fault.count_before, len(sure), healed),
                fault.lamps,
                fault.cause,
                fault.words,
                method=controller.method,
            )
        )
    return rows


def _count_at(steps: CountSteps, before: int, held: list[Held], at_s: float) -> int:
    """Return the occurrence count at an instant, from that at key-on and the spells so far."""
    begun = [one for one in held if one.set_s < at_s]
    healed = sum(one.heal_s is not None and one.heal_s < at_s for one in begun)
    return count_kept(steps, before, len(begun), healed)


def _memories(outing: Outing, played: Played) -> list[TrueFault]:
    """Write down what controllers only remembered, where an answer told it or the script has it."""
    written = {(one.controller, one.spn, one.fmi) for one in outing.faults} | {
        (played.faults[index].controller, played.faults[index].spn, played.faults[index].fmi)
        for index, held in played.held.items()
        if held
    }
    scripted = {(one.controller, one.spn, one.fmi) for one in outing.memories}
    rows = []
    for machine, controller in outing.controllers():
        for kept in played.cycle.stores[machine.key, controller.key].kept:
            key = (controller.key, kept.spn, kept.fmi)
            told = _told_in(played, *key)
            if key not in written and (told or key in scripted):
                rows.append(_memory(machine, controller, kept, told))
    return rows


def _memory(
    machine: Machine, controller: Controller, kept: Kept, told: tuple[str, ...]
) -> TrueFault:
    return TrueFault(
        machine.key,
        controller.key,
        "j1939",
        controller.channel,
        controller.address,
        kept.spn,
        kept.fmi,
        None,
        False,
        told,
        (),
        kept.count,
        kept.count,
        OFF,
        kept.cause,
        kept.words,
        stale=kept.stale,
        method=controller.method,
    )


def _lamps(outing: Outing, played: Played) -> tuple[TrueLamp, ...]:
    owners = {one.key: one for _, one in outing.controllers()}
    rows = []
    for standing in outing.standing:
        controller = owners[standing.controller]
        lit = [
            at_us
            for at_us, report in played.reports[controller.key]
            if not report.listed and report.lamps != OFF
        ]
        if lit:
            rows.append(
                TrueLamp(
                    controller.key,
                    controller.channel,
                    controller.address,
                    standing.lamps,
                    lit[0],
                    int(np.max(lit)),
                )
            )
    return tuple(rows)
