"""Common instants of one visit: in raw values and addresses first, then in codes."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np

from shearbolt.dictionary.company_roles import plays
from shearbolt.dictionary.faults import MISSING_SENDER
from shearbolt.dictionary.signals import row_of_spn
from shearbolt.model.instants import SECOND_US
from shearbolt.model.signal import ERROR, NOT_AVAILABLE, NUMBER
from shearbolt.model.state import StateColumn
from shearbolt.reasoning.case import VisitCase
from shearbolt.reasoning.company.cranks import cranks_of
from shearbolt.reasoning.company.lost import Lost, lost_units
from shearbolt.reasoning.company.values import CODES_FOLLOW_US, Instance, Start

RAIL_FMIS = frozenset({3, 4})
MISSING_FMIS = frozenset({9, 19})
SAME_STEP_S = 1
"""Values that share a supply step in the same second or the next (sampling once a second)."""
SAME_CODES_US = 5 * SECOND_US
"""Where values tell nothing: codes of sensors on one supply, in the order of their debounce."""
STEP_SHARE = 0.25
"""A step to an end of scale is at least this share of the scale."""
END_SHARE = 0.02
"""So near to an end of scale a value stands at it."""
BEFORE_US = 2 * SECOND_US
"""A report may come so much before the second in which a reading shows it."""
DIP_FMIS = frozenset({2, 3, 4, 5, 6, 8, 9, 10, 11, 12, 19})
"""What a controller misjudges when its voltage sags; a condition that exists (31) is not among
them, nor is a level or a calibration."""
FEWEST_AT_START = 3
"""Codes of several controllers during cranking that are one event, not each its own."""


def instances_of(visit: VisitCase, starts: Sequence[Start]) -> list[Instance]:
    """Find the common instants of one visit; `starts` are those of this visit, in time."""
    dips = _dips(visit, starts)
    # What the starter explains needs no shared supply.
    left = [
        one
        for one in starts
        if not any(
            one.fault.fault in dip.faults and abs(one.at_us - dip.at_us) <= 2 * CODES_FOLLOW_US
            for dip in dips
        )
    ]
    found = [*dips, *_losses(visit, starts), *_supplies(visit, left)]
    return sorted(found, key=lambda one: one.at_us)


def _dips(visit: VisitCase, starts: Sequence[Start]) -> list[Instance]:
    """Find cranking with codes of several controllers and a voltage that was low, or not told."""
    found: list[Instance] = []
    cranks = cranks_of(visit)
    for crank in cranks:
        within = [
            one
            for one in starts
            if crank.from_us <= one.at_us <= crank.until_us + CODES_FOLLOW_US
            and (one.fault.fmi in DIP_FMIS or plays("feed", one.fault.spn, one.fault.fmi))
            and _only_at_starts(one, starts, [(c.from_us, c.until_us) for c in cranks])
        ]
        faults = frozenset(one.fault.fault for one in within)
        places = {one.place for one in within}
        if crank.low and len(faults) >= 2:
            pass
        elif crank.plateau_v is not None or len(places) < 3 or len(faults) < FEWEST_AT_START:
            # A good plateau speaks against it; without voltage only many controllers speak for it.
            continue
        figures: list[tuple[str, float]] = [("controllers", float(len(places)))]
        if crank.plateau_v is not None:
            figures.append(("plateau_v", crank.plateau_v))
        if crank.slowest_rpm is not None:
            figures.append(("slowest_rpm", crank.slowest_rpm))
        found.append(
            Instance(
                "cranking_dip",
                visit.visit,
                crank.first_s * SECOND_US,
                faults,
                None,
                tuple(figures),
            )
        )
    return found


def _only_at_starts(one: Start, starts: Sequence[Start], cranks: Sequence[tuple[int, int]]) -> bool:
    """Tell whether all known starts of this fault in the visit lie at cranking."""
    return all(
        any(a <= other.at_us <= b + CODES_FOLLOW_US for a, b in cranks)
        for other in starts
        if other.fault.fault == one.fault.fault
    )


def _losses(visit: VisitCase, starts: Sequence[Start]) -> list[Instance]:
    found: list[Instance] = []
    for lost in lost_units(visit):
        until_us = lost.until_us if lost.until_us is not None else lost.from_us
        within = [
            one
            for one in starts
            if lost.from_us - BEFORE_US <= one.at_us <= until_us + CODES_FOLLOW_US
            and (_misses(one, lost) or _own_power(one, lost))
        ]
        faults = frozenset(one.fault.fault for one in within)
        if not faults:
            continue
        why = {True: "unit_lost_power", False: "unit_off_bus", None: "unit_unheard"}[lost.power]
        silent_s = (until_us - lost.from_us) / SECOND_US
        found.append(
            Instance(
                why,  # type: ignore[arg-type]
                visit.visit,
                lost.from_us,
                faults,
                lost.address,
                (("silent_s", silent_s),) if lost.until_us is not None else (),
            )
        )
    return found


def _misses(one: Start, lost: Lost) -> bool:
    """Tell whether a code of another controller says that this unit's messages are missing."""
    if one.address == lost.address or one.fault.spn is None:
        return False
    spn = one.fault.spn
    if spn in MISSING_SENDER:
        return spn - MISSING_SENDER.start == lost.address
    return one.fault.fmi in MISSING_FMIS or (
        plays("network", spn, one.fault.fmi) and one.fault.fmi in {2, *MISSING_FMIS}
    )


def _own_power(one: Start, lost: Lost) -> bool:
    """Tell whether the lost unit itself says afterwards that its power was gone."""
    after = lost.until_us is not None and one.at_us >= lost.until_us - BEFORE_US
    return (
        after and one.address == lost.address and plays("unit_power", one.fault.spn, one.fault.fmi)
    )


def _supplies(visit: VisitCase, starts: Sequence[Start]) -> list[Instance]:
    """Find sensors of one controller whose values, or else whose codes, go to the rail at once."""
    found: list[Instance] = []
    rail = [
        one
        for one in starts
        if one.fault.fmi in RAIL_FMIS
        and one.address is not None
        and not plays("supply", one.fault.spn, one.fault.fmi)
    ]
    for address in sorted({one.address for one in rail if one.address is not None}):
        here = [one for one in rail if one.address == address]
        for group, by_values in _bursts(visit, address, here):
            supply = [
                one
                for one in starts
                if one.address == address
                and plays("supply", one.fault.spn, one.fault.fmi)
                and abs(one.at_us - group[0].at_us) <= CODES_FOLLOW_US
            ]
            faults = frozenset(one.fault.fault for one in (*group, *supply))
            sensors = {one.fault.spn for one in group}
            if len(sensors) < 2 and not supply:
                continue
            if not supply and not by_values and not all(one.spell.start_known for one in group):
                # All listed in the first report: they may have begun years apart.
                continue
            found.append(
                Instance(
                    "supply" if supply else "shared_return_or_supply",
                    visit.visit,
                    min(one.at_us for one in (*group, *supply)),
                    faults,
                    address,
                    (("sensors", float(len(sensors))),),
                )
            )
    return found


def _bursts(
    visit: VisitCase, address: int, starts: Sequence[Start]
) -> Iterable[tuple[list[Start], bool]]:
    """Cut starts of one controller into those of one instant, by value steps where they show."""
    waiting = sorted(starts, key=lambda one: one.at_us)
    while waiting:
        first = waiting[0]
        steps: dict[int | None, list[int]] = {
            one.fault.spn: _steps(visit, address, one.fault.spn)
            for one in waiting
            if one.fault.spn is not None
        }
        step_s = _last_before(steps.get(first.fault.spn, ()), first.at_us)
        together = [first]
        by_values = False
        for one in waiting[1:]:
            own_s = _last_before(steps.get(one.fault.spn, ()), one.at_us)
            if step_s is not None and own_s is not None:
                if abs(own_s - step_s) <= SAME_STEP_S:
                    together.append(one)
                    by_values = True
            elif one.at_us - first.at_us <= SAME_CODES_US:
                together.append(one)
        waiting = [one for one in waiting if one not in together]
        yield together, by_values


def _last_before(steps: Sequence[int], at_us: int) -> int | None:
    """Give the last step at most 30 s before a code (or in its own second)."""
    told = [one for one in steps if -CODES_FOLLOW_US <= one * SECOND_US - at_us <= BEFORE_US]
    return told[-1] if told else None


def _steps(visit: VisitCase, address: int, spn: int) -> list[int]:
    """Give the seconds in which a reading went from a number to an end of scale, or to 'error'."""
    rows = row_of_spn(spn)
    found: list[int] = []
    for key, column in visit.state.columns.items():
        if key.address == address and key.spn == spn and rows:
            found.extend(_steps_of(visit, column, rows[0].low, rows[0].high))
    return sorted(found)


def _steps_of(visit: VisitCase, column: StateColumn, low: float, high: float) -> list[int]:
    told = np.flatnonzero(column.status <= ERROR)
    if len(told) < 2:
        return []
    status, value = column.status[told], np.asarray(column.last[told], np.float64)
    span = high - low
    at_end = (value <= low + END_SHARE * span) | (value >= high - END_SHARE * span)
    bad = (status == ERROR) | (status == NOT_AVAILABLE) | at_end
    good = (status == NUMBER) & ~at_end
    jump = np.abs(np.diff(value)) >= STEP_SHARE * span
    leaves = good[:-1] & bad[1:] & (jump | (status[1:] != NUMBER))
    return [int(visit.state.second[told[i + 1]]) for i in np.flatnonzero(leaves).tolist()]
