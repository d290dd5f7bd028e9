"""Groups E, G, H, I, J and K from what people wrote: events, repairs, who drove."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping

from shearbolt.dictionary.cause_priors import prior_of
from shearbolt.dictionary.evidence_ratios import acts_named
from shearbolt.dictionary.phrases import matches, words_of
from shearbolt.dictionary.quantities import quantities
from shearbolt.model.instants import HOUR_US
from shearbolt.reasoning.case import NoteInVisit, RepairDone, VisitCase
from shearbolt.reasoning.odds.scene import Found, Missing, Scene
from shearbolt.reasoning.odds.values import Moment
from shearbolt.reasoning.senders import by_id

DAY_US = 24 * HOUR_US
DAYS_BEFORE = 3.0
HOURS_BEFORE = 10.0
"""How long events and repairs count for a fault that begins after them (reference sheet 5.2)."""
EVENTS: Mapping[str, tuple[str, str]] = {
    "washed": ("washed", ""),
    "heavy_rain": ("washed", ""),
    "deep_water": ("washed", ""),
    "welded_on": ("welded", ""),
    "rodents": ("rodents", ""),
    "jump_started": ("jump_started", ""),
    "battery_off": ("jump_started", ""),
    "fuel_delivered": ("delivered", "fuel"),
    "def_delivered": ("delivered", "def"),
    "software_updated": ("software_before", ""),
}
"""Events to evidence, and the trait that the kind of code must have."""
HELD: Mapping[str, str] = {
    "sensor_changed": "sensor_changed",
    "wire_mended": "wire_mended",
    "real_mended": "real_mended",
    "supply_mended": "supply_mended",
    "battery_changed": "battery_changed",
    "bus_mended": "bus_mended",
    "driver_told": "driver_told",
    "taught": "taught",
}
PARTS = frozenset({"sensor_changed", "real_mended", "bus_mended", "wire_mended"})
"""Repairs that open a system or fit a part."""
ELECTRICAL = frozenset({"wire_mended", "battery_changed", "supply_mended", "bus_mended"})
"""Repairs in which cables were moved, of whatever system."""
CHANCE_CLEAN = 0.1
"""So unlikely must the clean visits be, had nothing changed, before a repair seems to have held."""
VAGUE = frozenset(
    words_of("temperature pressure sensor sender speed oil engine switch level the of")
)
_DRIVER = re.compile(r"\bdriver[:\s]+(?:was\s+)?([^\W\d_]{2,})", re.IGNORECASE)
LEAST_STARTS, OTHER_HOURS = 5, 20.0
"""Starts with one driver, hours with others (reference sheet 5.2)."""


def look(scene: Scene) -> Iterator[Found | Missing]:
    """Judge notes and repairs before, between and after the fault's spells."""
    if not scene.starts:
        return
    yield from _events(scene)
    yield from _repairs(scene)
    yield from _drivers(scene)


def _first_us(scene: Scene) -> int | None:
    first = scene.starts[0]
    zero_us = scene.machine.visit(first.visit).zero_us
    return None if zero_us is None else zero_us + first.at_us


def _first_hours(scene: Scene) -> float | None:
    first = scene.starts[0]
    visit = scene.machine.visit(first.visit)
    if visit.hours_start is None:
        return None
    return visit.hours_start + max(0, first.at_us - visit.earliest_us) / HOUR_US


def _near(scene: Scene, visit: VisitCase) -> bool:
    """Tell whether a note lies in the days or hours before the fault's first start."""
    first_us, hours = _first_us(scene), _first_hours(scene)
    if first_us is not None and visit.zero_us is not None:
        back_us = first_us - (visit.zero_us + visit.earliest_us)
        # A date without a time is noon at best: half a day of grace.
        if -DAY_US / 2 <= back_us <= DAYS_BEFORE * DAY_US + DAY_US / 2:
            return True
    if hours is not None and visit.hours_start is not None:
        return 0.0 <= hours - visit.hours_start <= HOURS_BEFORE
    return False


def _events(scene: Scene) -> Iterator[Found]:
    seen: set[str] = set()
    for visit in scene.machine.case.visits:
        near = [note for note in visit.notes if note.kind in ("event", "text")]
        if not near or not _near(scene, visit):
            continue
        for note in near:
            for match in matches(note.text):
                evidence, trait = EVENTS.get(match.known.key, ("", ""))
                if not evidence or evidence in seen or (trait and trait not in scene.row.traits):
                    continue
                seen.add(evidence)
                yield Found(evidence, (("note", match.known.key),), (Moment(visit.visit, 0),))


def _repairs(scene: Scene) -> Iterator[Found]:
    seen: set[str] = set()
    spells = scene.visits
    for repair in scene.machine.case.repairs:
        acts = acts_named(repair.text)
        act = acts[0] if acts else ""
        after = [index for index in spells if index >= repair.visits_before]
        before = [index for index in spells if index < repair.visits_before]
        values = (("repair", repair.repair),)
        if scene.fault.fault in repair.faults:
            # It was done for this fault, so that was known before, recorded or only read off.
            if act not in HELD:
                continue
            if after:
                key = f"{HELD[act]}_unchanged"
            elif before and _stayed_away(scene, repair, before):
                key = f"{HELD[act]}_held"
            else:
                continue
            if key not in seen:
                seen.add(key)
                yield Found(key, values, scene.moments(scene.starts[-3:]))
        elif not before and after and _shortly_before(scene, repair):
            key = ""
            if act == "software":
                key = "software_before"
            elif act in PARTS and _same_system(scene, repair):
                key = "opened_before"
            elif act in ELECTRICAL:
                key = "wired_on"
            if key and key not in seen:
                seen.add(key)
                yield Found(key, values, scene.moments(scene.starts[:1]))


def _stayed_away(scene: Scene, repair: RepairDone, before: list[int]) -> bool:
    """Tell whether clean visits after a repair are too many for an unchanged fault.

    The visit is the unit; the first with a spell opened the watch and does not count (exact
    prediction: Nelson 1982).
    """
    heard = [index for index, visit in enumerate(scene.machine.case.visits) if _hears(scene, visit)]
    first = before[0]
    watched = [index for index in heard if first < index < repair.visits_before]
    clean = [index for index in heard if index >= repair.visits_before]
    again = len(before) - 1
    if not clean or again < 1:
        return False
    chance = (len(watched) / (len(watched) + len(clean))) ** again
    return bool(chance < CHANCE_CLEAN)


def _hears(scene: Scene, visit: VisitCase) -> bool:
    if visit.kind == "by_hand" or visit.quality == "lossy":
        return False
    return any(
        one.address == scene.fault.address and one.dm1_manner != "never_heard"
        for one in visit.controllers
    )


def _shortly_before(scene: Scene, repair: RepairDone) -> bool:
    hours, first_us = _first_hours(scene), _first_us(scene)
    if hours is not None and repair.hours is not None:
        return -0.5 <= hours - repair.hours <= HOURS_BEFORE
    if first_us is not None and repair.at_us is not None:
        return -DAY_US / 2 <= first_us - repair.at_us <= DAYS_BEFORE * DAY_US
    return False


def _same_system(scene: Scene, repair: RepairDone) -> bool:
    """Tell whether a repair was on the system of the fault: by its faults, or by its words."""
    faults = by_id(scene.machine.case.faults)
    for one in repair.faults:
        fault = faults.get(one)
        if fault is None:
            continue
        if fault.spn is not None and fault.spn == scene.fault.spn:
            return True
        shared = prior_of(fault.spn, fault.fmi).traits & scene.row.traits
        if shared - {"circuit", "pressure", "temperature", "switch"}:
            return True
    if scene.quantity is None:
        return False
    words = next(one.words for one in quantities() if one.key == scene.quantity)
    wanted = set(words_of(words)) - VAGUE
    return bool(wanted) and wanted <= set(words_of(repair.text))


def _drivers(scene: Scene) -> Iterator[Found | Missing]:
    """Judge whether all starts fell to one driver while others drove as well."""
    drove: dict[int, str] = {}
    for index, visit in enumerate(scene.machine.case.visits):
        name = _driver_of(visit.notes)
        if name:
            drove[index] = name
    if len(set(drove.values())) < 2:
        yield Missing("one_driver", "drivers_not_told", ("driver",))
        return
    starts: dict[str, int] = {}
    hours: dict[str, float] = {}
    for index, name in drove.items():
        visit = scene.machine.visit(index)
        hours[name] = hours.get(name, 0.0) + (visit.latest_us - visit.earliest_us) / HOUR_US
        starts[name] = starts.get(name, 0) + sum(one.visit == index for one in scene.starts)
    with_any = [name for name, count in starts.items() if count]
    others = sum(hour for name, hour in hours.items() if name not in with_any)
    if len(with_any) == 1 and starts[with_any[0]] >= LEAST_STARTS and others >= OTHER_HOURS:
        values = (("starts", float(starts[with_any[0]])), ("other_hours", others))
        yield Found("one_driver", values, scene.moments(scene.starts))


def _driver_of(notes: tuple[NoteInVisit, ...]) -> str | None:
    for note in notes:
        hit = _DRIVER.search(note.text)
        if hit:
            return hit.group(1).casefold()
    return None
