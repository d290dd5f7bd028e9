"""Made machines for the reasoning's tests: faults with spells, and a state second by second."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import numpy.typing as npt

from shearbolt.dictionary.quantities import quantities
from shearbolt.model.controller import ControllerSeen, Name
from shearbolt.model.fault import (
    Cleared,
    CountSeen,
    EndedBy,
    FaultKey,
    FaultSeen,
    FaultState,
    Lamp,
    Lamps,
    Spell,
)
from shearbolt.model.instants import HOUR_US, SECOND_US
from shearbolt.model.signal import ERROR, NUMBER
from shearbolt.model.state import SILENT, StateColumn, StateKey, StateTable
from shearbolt.reasoning.case import FaultCase, FaultInVisit, MachineCase, VisitCase

S = SECOND_US
DAY_US = 24 * HOUR_US
Values = npt.ArrayLike
_SPNS = {one.key: one.spns[0] for one in quantities()}


def spell(
    start_s: float,
    end_s: float,
    ended_by: EndedBy = "healed",
    *,
    known: bool = True,
    count: int | None = None,
) -> Spell:
    """Make a spell; its count is that of its first and last report."""
    end_us = int(end_s * S)
    return Spell(
        int(start_s * S),
        known,
        end_us,
        end_us + S if ended_by == "healed" else None,
        ended_by,
        count,
        count,
    )


def lamps(
    red: Lamp | None = None,
    amber: Lamp | None = None,
    mil: Lamp | None = None,
    protect: Lamp | None = None,
) -> Lamps:
    """Make the four lamps."""
    return Lamps(mil, red, amber, protect)


AMBER = lamps("off", "on", "off", "off")
RED = lamps("on", "off", "off", "off")
PROTECT = lamps("off", "off", "off", "on")


def fault(name: str, spn: int | None, fmi: int | None, address: int = 0, **more: Any) -> FaultCase:
    """Make a fault of the controller at an address."""
    return FaultCase(
        name,
        more.get("kind", "j1939"),
        more.get("controller", f"c{address}"),
        address,
        spn,
        fmi,
        more.get("code"),
        more.get("text", name),
    )


def symptom(name: str, words: str) -> FaultCase:
    """Make a symptom in a person's words."""
    return FaultCase(name, "symptom", None, None, None, None, words, words)


def told(
    of: FaultCase,
    *spells: Spell,
    shown: Lamps = AMBER,
    counts: Sequence[tuple[float, int | None]] = (),
    state: FaultState | None = None,
    sources: tuple[str, ...] | None = None,
) -> FaultInVisit:
    """Make what a visit told of a fault; counts are (second, count) beside the spells' own."""
    seen = [CountSeen(int(at * S), int(at * S), count) for at, count in counts]
    for one in spells:
        if one.count_start is not None:
            seen.append(CountSeen(one.start_us, one.end_us, one.count_start))
    seen.sort(key=lambda one: one.first_us)
    instants = [one.first_us for one in seen] + [one.start_us for one in spells] or [0]
    ends = [one.last_us for one in seen] + [one.end_us for one in spells] or [0]
    if state is None:
        active = bool(spells) and spells[-1].ended_by != "healed"
        state = "active" if active else "previously_active"
    key = FaultKey(of.kind, "can0", of.address, of.spn, of.fmi, of.code)
    return FaultInVisit(
        of.fault,
        FaultSeen(
            key,
            sources or (("dm1",) if spells else ("dm2",)),
            min(instants),
            max(ends),
            state,
            spells,
            tuple(seen),
            shown if spells else Lamps(),
        ),
    )


def state(count: int, columns: Mapping[str | tuple[str | int, int], Values]) -> StateTable:
    """Make a state of `count` seconds; keys are quantities or (quantity or SPN, address).

    NaN is a second without a sample, infinity one in which the sender says 'error'.
    """
    made: dict[StateKey, StateColumn] = {}
    for key, values in columns.items():
        what, address = (key, 0) if isinstance(key, str) else key
        full = np.array(np.broadcast_to(np.asarray(values, np.float64), (count,)))
        status = np.where(np.isnan(full), SILENT, np.where(np.isinf(full), ERROR, NUMBER))
        full[np.isinf(full)] = np.nan
        numbers = full.astype(np.float32)
        spn = what if isinstance(what, int) else _SPNS[what]
        made[StateKey("can0", address, spn)] = StateColumn(
            numbers, numbers, numbers, status.astype(np.uint8)
        )
    return StateTable(np.arange(count, dtype=np.int64), made)


NOTHING = StateTable(np.empty(0, np.int64), {})


def controller(address: int, *, name: Name | None = None, reports: int = 60) -> ControllerSeen:
    """Make one sender that was heard."""
    return ControllerSeen(
        "can0", address, name, 0, 600 * S, 1000, "always", reports, 0, reports, None
    )


def visit(index: int = 0, *faults: FaultInVisit, **more: Any) -> VisitCase:
    """Make one visit: day `index`, engine hours 100 and 5 more each day, 600 s long."""
    last_s = more.get("last_s", 600)
    heard = more.get("heard")
    if heard is None:
        addresses = {one.seen.key.address for one in faults} | {0}
        heard = sorted(one for one in addresses if one is not None)
    return VisitCase(
        f"v{index}",
        more.get("kind", "recording"),
        more.get("quality", "complete"),
        more.get("zero_us", index * DAY_US),
        0,
        0,
        last_s * S,
        more.get("hours_start", 100.0 + 5.0 * index),
        more.get("hours_end", 100.0 + 5.0 * index + 1.0),
        more.get("state", NOTHING),
        more.get("controllers", tuple(controller(one) for one in heard)),
        more.get("signals", ()),
        tuple(faults),
        more.get("clears", ()),
        more.get("lamp_without_code", ()),
        (),
        more.get("notes", ()),
        more.get("absences"),
    )


def clear(at_s: float, what: Any = "dm11", result: Any = "done") -> Cleared:
    """Make a clear of all that address 0 has."""
    return Cleared(int(at_s * S), "can0", 0xF9, 0, what, result)


def machine(visits: Sequence[VisitCase], faults: Sequence[FaultCase]) -> MachineCase:
    """Make a machine."""
    return MachineCase("m1", "machine", tuple(visits), tuple(faults))


def running(
    count: int = 600, *, columns: Mapping[str, Values] | None = None, **more: Values
) -> StateTable:
    """Make the state of an engine at 1500 rpm on a machine driven at 8 km/h."""
    made: dict[str | tuple[str | int, int], Values] = {"engine_rpm": 1500.0, "speed_kmh": 8.0}
    made.update(more)
    made.update(columns or {})
    return state(count, made)


def stopped(count: int = 600, **more: Values) -> StateTable:
    """Make the state of an engine that stands, key on."""
    columns: dict[str | tuple[str | int, int], Values] = {"engine_rpm": 0.0}
    columns.update(more)
    return state(count, columns)
