"""Groups B, E and F: what happened to others at the same instant."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from shearbolt.model.instants import SECOND_US
from shearbolt.reasoning.company.cranks import Crank, cranks_of
from shearbolt.reasoning.company.lost import Lost, lost_units
from shearbolt.reasoning.company.values import CODES_FOLLOW_US, Instance, Start
from shearbolt.reasoning.odds.readings import AFTER_S, BEFORE_S
from shearbolt.reasoning.odds.scene import (
    Found,
    MachineScene,
    Missing,
    Scene,
    ended,
    rows_between,
    spns_of,
)
from shearbolt.reasoning.odds.values import Moment
from shearbolt.reasoning.quantity_view import QuantityView

MOSTLY = 0.5
MANY_UNITS, MANY_WITHIN_US = 3, 10 * SECOND_US
SOUND_V, CHARGED_V, LOW_V = 12.6, 13.4, 11.5
"""System voltage of 12 V with the engine running: above the first is sound, above the second well
charged, below the third low (common practice); twice as much for 24 V."""
CODED_WITHIN_US = 60 * SECOND_US
"""Erratic sensors are called so after several jumps each: their codes come within a minute."""
SUPPLIED = ("oil_kpa", "boost_kpa", "fuel_kpa", "rail_mpa", "transmission_kpa", "pedal_pct",
            "dpf_drop_kpa", "hitch_pct", "air_filter_kpa", "crankcase_kpa", "brake_air_1_kpa",
            "brake_air_2_kpa", "manifold_abs_kpa", "coolant_level_pct")  # fmt: skip
"""Quantities whose sensors are fed with a reference voltage (common practice)."""


def look(scene: Scene) -> Iterator[Found | Missing]:
    """Judge supplies, cranking, voltage, several controllers, and units that fell silent."""
    yield from _supply(scene)
    yield from _cranking(scene)
    lost = list(_lost(scene)) if "network" in scene.row.traits else []
    yield from lost
    # All who miss one unit complain at once: that is one unit's trouble, not the feed of all.
    if not any(isinstance(one, Found) and one.key == "one_unit_dark" for one in lost):
        yield from _units(scene)


def _instances(scene: Scene, *why: str) -> list[Instance]:
    return [
        one
        for one in scene.machine.company.instances
        if one.why in why and scene.fault.fault in one.faults
    ]


def _supply(scene: Scene) -> Iterator[Found | Missing]:
    shared = _instances(scene, "supply", "shared_return_or_supply")
    if shared:
        at = tuple(Moment(one.visit, one.at_us) for one in shared[:20])
        yield Found("twins_step", (("times", float(len(shared))),), at)
        return
    if scene.quantity not in SUPPLIED or scene.fault.fmi not in (2, 3, 4):
        return
    coded = _coded_twins(scene)
    if coded and len(coded) >= MOSTLY * len(scene.known):
        yield Found("twins_coded", (("starts", float(len(coded))),), scene.moments(coded))
        return
    sound: list[Start] = []
    twins: set[str] = set()
    for one in scene.starts:
        view = scene.machine.views.get(one.visit)
        if view is None:
            continue
        calm = _sound_twins(view, one, scene)
        if calm:
            sound.append(one)
            twins |= calm
    if sound and len(sound) >= MOSTLY * len(scene.starts):
        values = (("twins", float(len(twins))), ("starts", float(len(sound))))
        yield Found("twins_sound", values, scene.moments(sound))
    elif not sound:
        yield Missing("twins_step", "no_twin_told", ("sensors_of_the_same_controller",))


def _coded_twins(scene: Scene) -> list[Start]:
    """Give the starts at which another fed sensor of the same controller got its code as well."""
    fed = {spn for quantity in SUPPLIED for spn in spns_of(quantity)}
    others = [
        one
        for some in scene.machine.starts.values()
        for one in some
        if some[0].fault.spn in fed - {scene.fault.spn} and some[0].fault.fmi in (2, 3, 4)
    ]
    return [
        one
        for one in scene.known
        if any(
            other.visit == one.visit
            and other.address == one.address
            and other.spell.start_known
            and abs(other.at_us - one.at_us) <= CODED_WITHIN_US
            for other in others
        )
    ]


def _sound_twins(view: QuantityView, one: Start, scene: Scene) -> set[str]:
    """Give the other fed sensors of the same controller that went on telling sound numbers."""
    rows = rows_between(view, one.at_us - BEFORE_S * SECOND_US, one.at_us + AFTER_S * SECOND_US)
    found: set[str] = set()
    for quantity in SUPPLIED:
        for picked in view.senders(quantity):
            if picked.sender.spn == scene.fault.spn or picked.sender.address != one.address:
                continue
            told = ~np.isnan(picked.column.last[rows])
            bad = ended(view, picked.column, quantity, picked.sender.spn)[rows]
            if np.count_nonzero(told) >= 5 and not bad.any():
                found.add(quantity)
    return found


def _cranking(scene: Scene) -> Iterator[Found | Missing]:
    """Judge whether all starts lie at cranking, and what the voltage was there and elsewhere."""
    known = [one for one in scene.known if one.visit in scene.machine.views]
    if not known:
        return
    inside: list[tuple[Start, Crank]] = []
    running: list[Start] = []
    for one in known:
        cranks = _cranks(scene.machine, one.visit)
        at = next(
            (c for c in cranks if c.from_us <= one.at_us <= c.until_us + CODES_FOLLOW_US / 3), None
        )
        if at is not None:
            inside.append((one, at))
        else:
            running.append(one)
    others = _other_codes_at(scene, inside)
    if inside and len(inside) == len(known):
        starts = [one for one, _ in inside]
        volts = [c.plateau_v for _, c in inside if c.plateau_v is not None]
        values = (("starts", float(len(starts))), ("controllers", float(others)))
        if any(c.low for _, c in inside):
            shown = (*values, ("plateau_v", float(min(volts))))
            key = "cranking_all_low" if _never_running(scene) else "cranking_only"
            yield Found(key, shown, scene.moments(starts))
        elif volts and all(c.samples >= 2 for _, c in inside):
            shown = (*values, ("plateau_v", float(min(volts))))
            yield Found("cranking_good", shown, scene.moments(starts))
        elif others >= 2:
            yield Found("cranking_only", values, scene.moments(starts))
        else:
            yield Missing("cranking_all_low", "voltage_not_told", ("battery_v",))
        return
    yield from _voltage(scene, running)


def _never_running(scene: Scene) -> bool:
    """Tell whether every spell that was seen begins at cranking or before anybody listened."""
    return not any(
        one.spell.start_known
        and not any(
            c.from_us <= one.at_us <= c.until_us + CODES_FOLLOW_US
            for c in _cranks(scene.machine, one.visit)
        )
        for one in scene.starts
    )


def _cranks(machine: MachineScene, index: int) -> tuple[Crank, ...]:
    key = ("cranks", index)
    if key not in machine._memo:
        machine._memo[key] = cranks_of(machine.visit(index))
    return machine._memo[key]  # type: ignore[return-value]


def _other_codes_at(scene: Scene, inside: list[tuple[Start, Crank]]) -> int:
    """Count the controllers with a code at the same cranking, this one included."""
    places: set[str] = set()
    for one, crank in inside:
        for some in scene.machine.starts.values():
            for other in some:
                if other.visit == one.visit and (
                    crank.from_us <= other.at_us <= crank.until_us + CODES_FOLLOW_US
                ):
                    places.add(other.place)
    return len(places)


def _voltage(scene: Scene, running: list[Start]) -> Iterator[Found | Missing]:
    low: list[Start] = []
    sound: list[Start] = []
    for one in running:
        view = scene.machine.views[one.visit]
        volts, system = view.held("battery_v"), view.system_v
        if volts is None or system is None:
            continue
        rows = rows_between(view, one.at_us - BEFORE_S * SECOND_US, one.at_us + SECOND_US)
        told = volts[rows]
        told = told[~np.isnan(told)]
        if not len(told):
            continue
        factor = system / 12.0
        if float(told.min()) < LOW_V * factor:
            low.append(one)
        elif float(told.min()) > (CHARGED_V if "voltage" in scene.row.traits else SOUND_V) * factor:
            sound.append(one)
    judged = len(low) + len(sound)
    if not judged:
        if running:
            yield Missing("only_running", "voltage_not_told", ("battery_v",))
        return
    values = (("starts", float(max(len(low), len(sound)))), ("of", float(judged)))
    if len(low) > MOSTLY * judged:
        yield Found("low_while_running", values, scene.moments(low))
    elif len(sound) > MOSTLY * judged:
        key = "charging_good" if "voltage" in scene.row.traits else "only_running"
        yield Found(key, values, scene.moments(sound))


def _units(scene: Scene) -> Iterator[Found | Missing]:
    """Judge whether codes of three or more controllers begin within ten seconds of its starts."""
    many: list[Start] = []
    for one in scene.known:
        places = {
            other.place
            for some in scene.machine.starts.values()
            for other in some
            if other.visit == one.visit
            and other.spell.start_known
            and abs(other.at_us - one.at_us) <= MANY_WITHIN_US
        }
        if len(places) >= MANY_UNITS:
            many.append(one)
    if many and len(many) >= MOSTLY * len(scene.known):
        yield Found("many_units", (("starts", float(len(many))),), scene.moments(many))


def _lost(scene: Scene) -> Iterator[Found | Missing]:
    """Judge how units fell silent and came back round the starts of a code about messages."""
    power: list[Moment] = []
    cut: list[Moment] = []
    alone: list[Moment] = []
    several: list[Moment] = []
    for one in scene.starts:
        visit = scene.machine.visit(one.visit)
        near = [lost for lost in _losses(scene.machine, one.visit) if _covers(lost, one)]
        if not near:
            continue
        at = Moment(visit.visit, near[0].from_us)
        if any(lost.power for lost in near):
            power.append(at)
        elif any(lost.power is False for lost in near):
            cut.append(at)
        (several if len({lost.address for lost in near}) > 1 else alone).append(at)
    if len(power) >= max(1, len(cut)):
        yield Found("power_lost", (("times", float(len(power))),), tuple(power[:20]))
    elif cut:
        yield Found("bus_cut", (("times", float(len(cut))),), tuple(cut[:20]))
    else:
        yield Missing("power_lost", "silence_or_return_not_heard", ("address_claims",))
    if alone and len(alone) >= len(several):
        yield Found("one_unit_dark", (("times", float(len(alone))),), tuple(alone[:20]))
    elif several:
        yield Found("several_dark", (("times", float(len(several))),), tuple(several[:20]))
    yield Missing("error_frames", "not_kept_with_the_visit", ("error_frames",))


def _losses(machine: MachineScene, index: int) -> tuple[Lost, ...]:
    key = ("losses", index)
    if key not in machine._memo:
        machine._memo[key] = lost_units(machine.visit(index))
    return machine._memo[key]  # type: ignore[return-value]


def _covers(lost: Lost, one: Start) -> bool:
    until_us = lost.until_us if lost.until_us is not None else lost.from_us + CODES_FOLLOW_US
    return lost.from_us - 2 * SECOND_US <= one.at_us <= until_us + 10 * SECOND_US
