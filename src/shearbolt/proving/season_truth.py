"""What was truly the matter over a whole season: causes, settings, repairs and counts, as data."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields, is_dataclass
from enum import Enum
from typing import Literal

from shearbolt.model.controller import Name
from shearbolt.proving.causes import Cause
from shearbolt.proving.plight import HEALTHY, When
from shearbolt.proving.quantities import BOOM, STEERING
from shearbolt.proving.truth import Cause as CauseClass

Json = None | bool | int | float | str | Sequence["Json"] | Mapping[str, "Json"]


@dataclass(frozen=True, slots=True)
class TrueTerm:
    """One condition under which a cause truly shows."""

    quantity: str
    """'spn', or what no code says: 'vibration', 'wet', 'cranking', 'running', 'pickup_down',
    'soot'."""
    op: Literal[">", "<", "is"]
    spn: int | None = None
    value: float | None = None
    """None: it is the more the further in that direction."""


@dataclass(frozen=True, slots=True)
class TrueRepair:
    """Something done while a cause was at work."""

    repair: str
    """Key of the list of repairs."""
    words: str
    hours: float
    """Engine hours on the machine's meter."""
    date: str
    """ISO 8601 UTC."""
    took: float
    """Share of this cause that it took away."""
    outcome: Literal["cured", "partly", "not"]


@dataclass(frozen=True, slots=True)
class TrueCause:
    """One cause at work in a machine."""

    cause: str
    """Key of the catalogue."""
    cause_class: CauseClass
    words: str
    begins_hours: float
    begins: str
    """ISO 8601 UTC."""
    grows_h: float
    peak: float
    on_implement: bool
    settings: tuple[TrueTerm, ...]
    shows: tuple[tuple[int, int], ...]
    """SPN and FMI that it may set."""
    repairs: tuple[TrueRepair, ...]
    left_at_end: float
    """Its severity after the season."""
    comes_back_h: float
    """Hours after a cure in which it is back by itself; 0: it stays cured."""


@dataclass(frozen=True, slots=True)
class TrueCount:
    """How often a code came on between two engine-hour readings."""

    from_hours: float
    to_hours: float
    recorded: bool
    times: int
    count_after: int
    """Occurrence count that its controller holds then."""


@dataclass(frozen=True, slots=True)
class TrueSeasonFault:
    """One code of one controller over the season."""

    machine: str
    """Key of the machine (or implement) that its controller belongs to."""
    controller: str
    spn: int
    fmi: int
    cause: str
    """Key of the cause behind it; '': none that was switched on."""
    cause_class: CauseClass
    words: str
    first_hours: float
    times: int
    """How often it came on, recorded or not."""
    counts: tuple[TrueCount, ...]


@dataclass(frozen=True, slots=True)
class TrueVisit:
    """One recording of the season."""

    file_name: str
    started: str
    hours_start: float
    hours_end: float
    seconds: float
    part: str
    kind: str
    """Kind of work."""
    implement: bool
    tester: bool


@dataclass(frozen=True, slots=True)
class TrueSeasonMachine:
    """One machine over the season."""

    key: str
    """Kind of machine."""
    name: str
    vin: str | None
    hours_start: float
    hours_end: float
    worked_h: float
    recorded_h: float
    shifts: int
    about: str
    causes: tuple[TrueCause, ...]
    faults: tuple[TrueSeasonFault, ...]
    visits: tuple[TrueVisit, ...]


@dataclass(frozen=True, slots=True)
class SeasonTruth:
    """All that is true of a season."""

    seed: int
    coverage: float
    """Share of the worked hours that was recorded."""
    machines: tuple[TrueSeasonMachine, ...]

    def machine(self, name: str) -> TrueSeasonMachine:
        """Return one machine by its name; raises KeyError for a stranger."""
        for one in self.machines:
            if one.name == name:
                return one
        raise KeyError(name)


_DRIVEN: Mapping[str, tuple[str, int | None]] = {
    "vibration": ("vibration", None), "steering": ("spn", STEERING), "boom": ("spn", BOOM),
    "hitch": ("spn", 1873), "wet": ("wet", None), "warm": ("spn", 110), "cold": ("spn", 171),
    "cranking": ("cranking", None), "running": ("running", None),
    "pickup": ("pickup_down", None),
}  # fmt: skip
_MORE, _LESS = ">", "<"
_OF_REAL: Mapping[str, tuple[tuple[int, Literal[">", "<"]], ...]] = {
    "radiator_blocked": ((92, ">"), (171, ">")),
    "thermostat_shut": ((92, ">"),),
    "fan_clutch": ((92, ">"), (84, "<"), (171, ">")),
    "water_pump": ((92, ">"),),
    "charge_cooler_dirty": ((92, ">"), (171, ">")),
    "boost_leak": ((92, ">"),),
    "turbo_worn": ((92, ">"),),
    "air_filter_plugged": ((92, ">"), (190, ">")),
    "bearings_worn": ((175, ">"), (190, "<")),
    "oil_diluted": ((175, ">"), (190, "<")),
    "oil_low": ((100, "<"),),
    "hydraulic_filter_plugged": ((1638, "<"),),
    "hydraulic_oil_cold": ((1638, "<"),),
    "hydraulic_cooler_blocked": ((1638, ">"), (171, ">")),
    "hydraulic_pump_leaks": ((1638, ">"),),
    "fuel_filter_clogged": ((92, ">"),),
    "fuel_pump_weak": ((92, ">"),),
    "rail_leaks": ((92, ">"),),
    "transmission_cooler_blocked": ((177, ">"), (84, ">")),
    "transmission_pump_worn": ((177, ">"),),
    "clutch_worn": ((92, ">"), (84, ">")),
}


def settings_of(one: Cause) -> tuple[TrueTerm, ...]:
    """Return the conditions under which a cause truly shows; empty: always, or nothing public.

    Those of intermittent troubles are what brings them about; of real ones the quantities that
    drive the physics.
    """
    worst = one.worsen(HEALTHY, 1.0)
    whens: list[When] = [
        each.when
        for few in (worst.sensors, worst.wires, worst.rails, worst.feeds, worst.buses)
        for each in few
    ]
    terms = [_term(when) for when in whens if when.driver != "always"]
    form = one.key.partition(".")[2]
    terms += [TrueTerm("spn", op, spn) for spn, op in _OF_REAL.get(form, ())]
    if one.cause_class == "low_voltage" and not one.key.startswith("low_voltage.alternator"):
        terms.append(TrueTerm("cranking", "is"))
    if one.cause_class in ("inhibited_regeneration", "ash"):
        terms.append(TrueTerm("soot", ">"))
    return tuple(dict.fromkeys(terms))


def _term(when: When) -> TrueTerm:
    quantity, spn = _DRIVEN[when.driver]
    if when.driver in ("cranking", "running", "pickup"):
        return TrueTerm(quantity, "is")
    return TrueTerm(quantity, "<" if when.driver == "cold" else ">", spn, when.above)


def as_json(value: object) -> Json:
    """Turn truth (dataclasses, NAMEs, enumerations, tuples) into what JSON can hold.

    NAMEs become their 16 digits; numbers that are none become None. Raises TypeError for anything
    else.
    """
    if isinstance(value, Name):
        return value.hex
    if isinstance(value, Enum):
        return str(value.value)
    if is_dataclass(value) and not isinstance(value, type):
        return {one.name: as_json(getattr(value, one.name)) for one in fields(value)}
    if isinstance(value, Mapping):
        return {str(key): as_json(each) for key, each in value.items()}
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if value is None or isinstance(value, bool | int | str):
        return value
    if isinstance(value, tuple | list | frozenset):
        return [as_json(one) for one in value]
    raise TypeError(f"truth holds no {type(value).__name__}")


def dumped(value: object) -> str:
    """Return truth as JSON text, the same for the same truth."""
    return json.dumps(as_json(value), indent=1, sort_keys=True, allow_nan=False)


__all__ = [
    "SeasonTruth", "TrueCause", "TrueCount", "TrueRepair", "TrueSeasonFault", "TrueSeasonMachine",
    "TrueTerm", "TrueVisit", "as_json", "dumped", "settings_of",
]  # fmt: skip
