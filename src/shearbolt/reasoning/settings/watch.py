"""When a fault could start and when it did: exposure, starts and bursts of one fault.

While it is active it cannot start (dead time; Cox 1962, renewal theory), nor can anybody say so
while its sender is not heard: neither is exposure.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from shearbolt.model.fault import Spell
from shearbolt.model.instants import SECOND_US
from shearbolt.reasoning.case import FaultCase, MachineCase, VisitCase
from shearbolt.reasoning.phases import Flags, Rows
from shearbolt.reasoning.settings.ground import Ground

BURST_S = 30
"""Starts of one key cycle that follow each other within so much exposed time count once in the
score (own rule; the null model keeps them together whatever their distance)."""
MOST_UNITS = 64
"""Bursts that the score uses, evenly chosen where there are more: one bit each."""


@dataclass(frozen=True, slots=True)
class Watched:
    """What one visit told of a fault's spells, by the visit's own clock (s)."""

    visit: str
    starts_s: tuple[float, ...]
    """Starts that were seen."""
    active_s: tuple[tuple[float, float], ...]
    """Stretches in which it was active, start and end."""
    heard_s: tuple[float, float] | None
    """First and last sign of its sender; None: as long as the visit."""
    unknown: int = 0
    """Spells that had begun before the sender's first report."""


@dataclass(frozen=True, slots=True)
class Watch:
    """Exposure and starts of one fault on the rows of a ground."""

    exposed: Flags
    """Rows in which it could start."""
    start_rows: Rows
    """Row of every start seen, rising."""
    unit_rows: Rows
    """Row of the first start of every burst (at most MOST_UNITS)."""
    unit_visit: Rows
    """Visit (index into the ground's) of every burst."""
    unknown: int


def watched(case: MachineCase, fault: FaultCase) -> tuple[Watched, ...]:
    """Collect what each visit told of a fault; visits that could not have told it are left out.

    Lossy visits give no exposure: a code may have gone by unheard. Nor do visits in which neither
    the fault nor its sender's DM1 was heard.
    """
    found: list[Watched] = []
    for visit in case.visits:
        spells = [
            spell for one in visit.faults if one.fault == fault.fault for spell in one.seen.spells
        ]
        heard = _heard(visit, fault)
        if visit.quality == "lossy" or (heard is None and not spells):
            continue
        found.append(_watched(visit.visit, spells, heard))
    return tuple(found)


def _heard(visit: VisitCase, fault: FaultCase) -> tuple[float, float] | None:
    spans = [
        (one.first_us / SECOND_US, one.last_us / SECOND_US)
        for one in visit.controllers
        if one.address == fault.address and one.dm1_manner != "never_heard"
    ]
    if not spans:
        return None
    return min(first for first, _ in spans), max(last for _, last in spans)


def _watched(visit: str, spells: Sequence[Spell], heard: tuple[float, float] | None) -> Watched:
    starts = tuple(one.start_us / SECOND_US for one in spells if one.start_known)
    active = tuple(
        (one.start_us / SECOND_US if one.start_known else -np.inf, one.end_us / SECOND_US)
        for one in spells
    )
    return Watched(visit, starts, active, heard, len(spells) - len(starts))


def watch_of(ground: Ground, visits: Sequence[Watched]) -> Watch:
    """Lay a fault's spells over the rows of the ground; visits without rows are left out."""
    exposed = np.zeros(ground.rows, np.bool_)
    starts: list[int] = []
    unknown = 0
    at = {one.visit: i for i, one in enumerate(ground.tables)}
    for one in visits:
        unknown += one.unknown
        if one.visit not in at:
            continue
        first, last = ground.span(at[one.visit])
        second = ground.tables[at[one.visit]].second
        if not len(second):
            continue
        mine = exposed[first:last]
        mine[:] = True
        if one.heard_s is not None:
            mine[(second < np.floor(one.heard_s[0])) | (second > one.heard_s[1])] = False
        for start, end in one.active_s:
            begins = np.floor(start) if np.isfinite(start) else -np.inf
            mine[(second > begins) & (second <= end)] = False
        for start in sorted(one.starts_s):
            row = int(np.searchsorted(second, np.floor(start), "right")) - 1
            mine[max(row, 0)] = True
            starts.append(first + max(row, 0))
    for row in starts:
        # Whatever else was told of that second: it started there, so it could.
        exposed[row] = True
    start_rows = np.unique(np.asarray(starts, np.intp))
    first_of_burst = start_rows
    if len(start_rows):
        place = np.cumsum(exposed)
        apart = np.diff(place[start_rows]) > BURST_S
        apart |= np.diff(ground.cycle[start_rows]) != 0
        first_of_burst = start_rows[np.concatenate([[True], apart])]
    units = first_of_burst
    if len(units) > MOST_UNITS:
        units = units[np.linspace(0, len(units) - 1, MOST_UNITS).astype(np.intp)]
    return Watch(exposed, start_rows, units, ground.visit_of(units), unknown)
