"""Old memories: codes that controllers still list though nothing is the matter any more."""

from __future__ import annotations

from dataclasses import dataclass

from shearbolt.proving.truth import Cause as CauseClass


@dataclass(frozen=True, slots=True)
class StaleMemory:
    """A code that a controller remembers from long ago."""

    key: str
    machine: str
    controller: str
    spn: int
    fmi: int
    count: int
    cause_class: CauseClass
    """What was the matter then."""
    words: str


STALE: tuple[StaleMemory, ...] = (
    StaleMemory("big_fuel_water", "big_tractor", "engine", 97, 31, 1, "real_condition",
                "Water in the fuel, three years ago."),
    StaleMemory("big_boost", "big_tractor", "engine", 102, 18, 2, "real_condition",
                "A charge air hose that was changed two summers ago."),
    StaleMemory("big_bus", "big_tractor", "cab", 639, 9, 4, "network",
                "The bus plug behind the seat was once loose."),
    StaleMemory("new_manifold", "new_tractor", "engine", 105, 16, 1, "real_condition",
                "Chaff before the charge air cooler, last maize."),
    StaleMemory("new_def", "new_tractor", "treatment", 3516, 11, 1, "real_condition",
                "A bad can of fluid, rinsed out last year."),
    StaleMemory("forager_battery", "forager", "engine", 168, 18, 3, "low_voltage",
                "The batteries before these."),
    StaleMemory("forager_hydraulic", "forager", "machine", 1638, 16, 2, "real_condition",
                "A blocked oil cooler, cleaned since."),
    StaleMemory("telehandler_oil", "telehandler", "engine", 100, 1, 1, "real_condition",
                "Once run low on oil, years ago."),
    StaleMemory("telehandler_seat", "telehandler", "hydraulics", 520_201, 31, 9, "operator",
                "A driver who is gone stood up with the boom raised."),
    StaleMemory("truck_boost", "truck", "engine", 1127, 18, 9, "real_condition",
                "A charge air hose leaked and was changed."),
    StaleMemory("truck_pedal", "truck", "engine", 91, 13, 1, "calibration",
                "The pedal was changed and taught the day after."),
    StaleMemory("truck_air", "truck", "brakes", 1087, 18, 5, "real_condition",
                "A chamber that was changed at the last inspection."),
)  # fmt: skip
"""Of each machine; none of them ever comes back by itself."""
