"""Whether a machine is of 12 or 24 V, told by what its controllers measure."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from shearbolt.reasoning.case import VisitCase

VOLTAGE_SPNS = (158, 168, 167)
BANDS = ((8.0, 17.0, 12), (17.5, 36.0, 24))
"""Medians of a 12 V and of a 24 V system (reference sheet section 6.5: 8 to 16 and 18 to 32; here
wider, for a system that is overcharged all the time is one as well)."""


def nominal_v(visit: VisitCase) -> int | None:
    """Tell 12 or 24 by the median of the voltages told in a visit; None: not told or unclear."""
    told = [
        column.last[np.isfinite(column.last)]
        for key, column in visit.state.columns.items()
        if key.spn in VOLTAGE_SPNS
    ]
    values = np.concatenate(told) if told else np.empty(0)
    if not len(values):
        return None
    median = float(np.median(values))
    return next((volts for low, high, volts in BANDS if low <= median <= high), None)


def nominal_of_all(visits: Iterable[VisitCase]) -> int | None:
    """Tell it of a machine from all its visits; None where they tell nothing or disagree."""
    told = {one for one in map(nominal_v, visits) if one is not None}
    return told.pop() if len(told) == 1 else None
