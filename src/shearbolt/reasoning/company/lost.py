"""Units that were lost: gone while others lived on, and whether they came back with a new claim."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from shearbolt.model.instants import SECOND_US
from shearbolt.model.state import SILENT
from shearbolt.reasoning.case import VisitCase

LEAST_S = 2
"""A unit whose fast readings stay away for less may only have been late."""
FAST_S = 1.5
"""Senders with a reading at least this often are missed when they fall silent."""
ENGINE_ON_RPM = 300.0


@dataclass(frozen=True, slots=True)
class Lost:
    """One unit not heard for a while, others heard meanwhile."""

    channel: str
    address: int
    from_us: int
    until_us: int | None
    power: bool | None
    """True: it claimed its address anew when it came back, so it had lost its power. False: it
    came back without, so it was cut off. None: not told."""


def lost_units(visit: VisitCase) -> tuple[Lost, ...]:
    """Find the units that fell silent alone: by what decoding told, else by their readings."""
    if visit.absences is not None:
        return tuple(
            Lost(
                one.channel,
                one.address,
                one.from_us,
                one.until_us,
                None if one.until_us is None else one.claimed_us is not None,
            )
            for one in visit.absences
            if one.why == "silence"
        )
    return _by_readings(visit)


def _by_readings(visit: VisitCase) -> tuple[Lost, ...]:
    """Find gaps in all readings of one sender while another sender's readings go on."""
    state = visit.state
    if len(state) < 10:
        return ()
    alive: dict[tuple[str, int], np.ndarray] = {}
    for key, column in state.columns.items():
        heard = column.status != SILENT
        at = (key.channel, key.address)
        alive[at] = alive[at] | heard if at in alive else heard
    found: list[Lost] = []
    for (channel, address), heard in alive.items():
        rows = np.flatnonzero(heard)
        if len(rows) < 10 or np.median(np.diff(state.second[rows])) > FAST_S:
            continue
        gaps = np.flatnonzero(np.diff(state.second[rows]) > LEAST_S + 1)
        for gap in gaps.tolist():
            first, last = int(rows[gap]), int(rows[gap + 1])
            others = [
                one[first + 1 : last].mean()
                for (other, who), one in alive.items()
                if other == channel and who != address and last > first + 1
            ]
            if any(share > 0.8 for share in others) and _key_on(visit, first, last):
                found.append(
                    Lost(
                        channel,
                        address,
                        int(state.second[first]) * SECOND_US,
                        int(state.second[last]) * SECOND_US,
                        None,
                    )
                )
    return tuple(sorted(found, key=lambda one: one.from_us))


def _key_on(visit: VisitCase, first: int, last: int) -> bool:
    """Tell whether the engine turned meanwhile, so that nobody had turned the key off.

    Where the engine's own controller is the one that is gone, its speed just before counts.
    """
    speeds = [
        column.last[max(0, first - 1) : last + 2]
        for key, column in visit.state.columns.items()
        if key.spn == 190
    ]
    return any(bool((one > ENGINE_ON_RPM).any()) for one in speeds)
