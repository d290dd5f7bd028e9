"""Every form of every cause, and every repair, by its key."""

from __future__ import annotations

from collections.abc import Mapping

from shearbolt.proving.causes.cause import Cause, Repair
from shearbolt.proving.causes.electrical import SENSOR, SHARED_SUPPLY, WIRING
from shearbolt.proving.causes.other import (
    ASH,
    CALIBRATION,
    INHIBITED,
    LOW_VOLTAGE,
    NETWORK,
    OPERATOR,
)
from shearbolt.proving.causes.real import REAL
from shearbolt.proving.causes.repairs import REPAIR_LIST

CATALOGUE: Mapping[str, Cause] = {
    one.key: one
    for one in (
        *REAL, *SENSOR, *WIRING, *SHARED_SUPPLY, *LOW_VOLTAGE, *NETWORK, *OPERATOR, *CALIBRATION,
        *INHIBITED, *ASH,
    )
}  # fmt: skip
"""Every form of every cause class, with its words."""

REPAIRS: Mapping[str, Repair] = {one.key: one for one in REPAIR_LIST}
"""Everything that is done to machines in the scenario."""


def cause(key: str) -> Cause:
    """Return one cause; raises KeyError for a key that the catalogue does not hold."""
    return CATALOGUE[key]


def repair(key: str) -> Repair:
    """Return one repair; raises KeyError for a key that the list does not hold."""
    return REPAIRS[key]


def causes_for(machine: str) -> tuple[Cause, ...]:
    """Return the causes that one machine (by its key) can have."""
    return tuple(one for one in CATALOGUE.values() if machine in one.machines)


def repairs_for(cause_key: str, least: float = 0.0) -> tuple[Repair, ...]:
    """Return the repairs that take away more than the share `least` of one cause."""
    return tuple(one for one in REPAIRS.values() if one.cure(cause_key) > least)
