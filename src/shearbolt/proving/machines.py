"""The machines of the scenario: hardware, controllers, NAMEs and manners.

Corbie Howe, a contractor in the upper Wenna valley, is invented; so are all numbers here. The
manners (what is never sent, what only when asked, how diagnostic messages come) are those counted
in recordings of real machines. Each machine has its file in `fleet`.
"""

from __future__ import annotations

from dataclasses import replace

from shearbolt.proving.controllers import Machine
from shearbolt.proving.fleet.big_tractor import (
    BIG_TRACTOR,
    BIG_TRACTOR_GEARBOX,
    BIG_TRACTOR_GEARBOX_NEW,
)
from shearbolt.proving.fleet.forager import FORAGER
from shearbolt.proving.fleet.loader_wagon import LOADER_WAGON
from shearbolt.proving.fleet.new_tractor import NEW_TRACTOR
from shearbolt.proving.fleet.road import PICKUP, PICKUP_BUILD, PICKUP_VIN, TRUCK, TRUCK_VIN
from shearbolt.proving.fleet.telehandler import TELEHANDLER
from shearbolt.proving.fleet.utility_tractor import UTILITY_TRACTOR
from shearbolt.proving.hardware import perturbed_build
from shearbolt.proving.packing import make_name

FLEET: tuple[Machine, ...] = (
    BIG_TRACTOR,
    NEW_TRACTOR,
    UTILITY_TRACTOR,
    FORAGER,
    TELEHANDLER,
    TRUCK,
    PICKUP,
    LOADER_WAGON,
)
"""Every machine of the yard."""

SERVICE_TOOL = make_name(700, 1999, 129, industry_group=0)
"""NAME of the tester that asks for identification in some recordings."""
SERVICE_TOOL_ADDRESS = 249


def perturbed(machine: Machine, seed: int, spread: float) -> Machine:
    """Return another sample of the same kind of machine, for calibration under changed physics.

    Every free parameter of its hardware times exp(N(0, spread)), by seed; controllers and names
    stay. An implement without an engine comes back as it is. Raises ValueError for a negative
    spread.
    """
    if machine.build is None:
        return machine
    return replace(machine, build=perturbed_build(machine.build, seed, spread))


__all__ = [
    "BIG_TRACTOR", "BIG_TRACTOR_GEARBOX", "BIG_TRACTOR_GEARBOX_NEW", "FLEET", "FORAGER",
    "LOADER_WAGON", "NEW_TRACTOR", "PICKUP", "PICKUP_BUILD", "PICKUP_VIN", "SERVICE_TOOL",
    "SERVICE_TOOL_ADDRESS", "TELEHANDLER", "TRUCK", "TRUCK_VIN", "UTILITY_TRACTOR", "perturbed",
]  # fmt: skip
