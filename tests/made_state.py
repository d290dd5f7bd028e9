"""Made visits: second-by-second state from plain arrays, for the reasoning's tests."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, TypeAlias

import numpy as np
import numpy.typing as npt

from shearbolt.dictionary.quantities import quantities
from shearbolt.dictionary.signals import row_of_spn
from shearbolt.model.instants import SECOND_US
from shearbolt.model.signal import NUMBER
from shearbolt.model.state import SILENT, StateColumn, StateKey, StateTable
from shearbolt.reasoning.case import MachineCase, VisitCase

Series: TypeAlias = npt.ArrayLike
Told: TypeAlias = Mapping[Any, Any]
"""Numbers by quantity, or by (quantity, address); Any, so that literals of mixed values will do."""
_FIRST_SPN = {one.key: one.spns[0] for one in quantities()}
DAY_US = 86_400 * SECOND_US


def column(values: Series, spn: int, count: int, *, coarse: bool = True) -> StateColumn:
    """Make a column of numbers (one for all seconds, or one each), to the resolution of its SPN."""
    full = np.broadcast_to(np.asarray(values, np.float64), (count,))
    step = min((row.resolution for row in row_of_spn(spn)), default=0.0)
    if coarse and step:
        full = np.round(full / step) * step
    told = full.astype(np.float32)
    status = np.where(np.isnan(told), SILENT, NUMBER).astype(np.uint8)
    return StateColumn(told, told, told, status)


def table(count: int, told: Told, *, coarse: bool = True) -> StateTable:
    """Make a table of `count` seconds; keys are quantities, with an address where it is not 0."""
    columns: dict[StateKey, StateColumn] = {}
    for key, values in told.items():
        quantity, address = (key, 0) if isinstance(key, str) else key
        spn = _FIRST_SPN[quantity]
        columns[StateKey("can0", address, spn)] = column(values, spn, count, coarse=coarse)
    return StateTable(np.arange(count, dtype=np.int64), columns)


def visit(
    state: StateTable,
    name: str = "v1",
    *,
    zero_us: int | None = None,
    hours: tuple[float, float] | None = None,
) -> VisitCase:
    """Make a visit of a state table."""
    first, last = (int(state.second[i]) * SECOND_US for i in (0, -1))
    return VisitCase(
        visit=name,
        kind="recording",
        quality="complete",
        zero_us=zero_us,
        first_us=first,
        earliest_us=first,
        latest_us=last + SECOND_US,
        hours_start=None if hours is None else hours[0],
        hours_end=None if hours is None else hours[1],
        state=state,
        controllers=(),
        signals=(),
        faults=(),
        clears=(),
        lamp_without_code=(),
        pauses=(),
    )


def machine(*visits: VisitCase) -> MachineCase:
    """Make a machine of visits in their order."""
    return MachineCase("m1", "machine", visits, ())
