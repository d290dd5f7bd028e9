"""The truth of a played outing, written down beside its frames."""

from __future__ import annotations

import numpy as np

from shearbolt.model.fault import EndedBy
from shearbolt.model.instants import from_iso
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
from shearbolt.proving.truth import (
    TrueController,
    TrueFault,
    TrueLamp,
    TrueMachine,
    TrueSpell,
    TrueSwap,
    Truth,
)

_FIRST_SIGN_S = 1.5
"""A sender that lived so long without listing a fault did not have it."""


def truth_of(outing: Outing, played: Played) -> Truth:
    """Write down what is true of a played outing; instants are those of its frames."""
    started_us = 0 if outing.relative else from_iso(outing.started)
    frames = played.frames
    return Truth(
        time_base=TimeBase.RELATIVE if outing.relative else TimeBase.ABSOLUTE,
        started_us=started_us,
        ended_us=int(frames.time_us[-1]),
        started_truly=outing.started,
        machines=tuple(_machine(outing, played, one) for one in outing.machines()),
        faults=(*_faults(outing, played, started_us), *_memories(outing, played)),
        lamps_without_code=_lamps(outing, played),
        swaps=tuple(
            TrueSwap(outing.machine.key, key, old, outing.machine.controller(key).name)
            for key, old in outing.swapped
        ),
        key_on=outing.begins_with_key,
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
        None if implement else float(trace.hours[0]),
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
    # A sender that lost its power and never spoke of faults before is as new as at key-on.
    first_s = (listed[0] - started_us) / 1e6
    begins = [begin for begin, _, _ in played.cycle.lives(controller) if begin <= first_s]
    begun = max(begins, default=0.0)
    return TrueSpell(
        started_us + round(held.set_s * 1e6),
        None if held.heal_s is None else started_us + round(held.heal_s * 1e6),
        listed[0],
        listed[-1],
        after[0] if after else None,
        reports[0][0] != listed[0] or held.set_s > begun + _FIRST_SIGN_S,
        ended_by,
        count_sent(controller.count_steps, before, held.nth) if held.nth else before,
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
                any(one.confirmed for one in held),
                _told_in(played, controller.key, fault.spn, fault.fmi, bool(told)),
                told,
                fault.count_before,
                count_kept(controller.count_steps, fault.count_before, len(sure), healed),
                fault.lamps,
                fault.cause,
                fault.words,
                method=controller.method,
            )
        )
    return rows


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
