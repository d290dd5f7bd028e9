"""Causes where the monitored quantity truly is so: fluids, coolers, filters, wear."""

from __future__ import annotations

from shearbolt.proving.causes.cause import (
    FILTERS,
    GEARBOXES,
    HYDRAULIC,
    Cause,
    Growth,
    Worsen,
    health,
)
from shearbolt.proving.truth import Cause as CauseClass

_REAL: CauseClass = "real_condition"
_ALL = ("big_tractor", "new_tractor", "utility_tractor", "forager", "telehandler", "truck",
        "pickup")  # fmt: skip


def _real(
    form: str,
    words: str,
    worsen: Worsen,
    shows: tuple[tuple[int, int], ...],
    machines: tuple[str, ...] = _ALL,
    *,
    growth: Growth = "steady",
    returns_h: float = 0.0,
) -> Cause:
    affects = tuple(dict.fromkeys(spn for spn, _ in shows))
    return Cause(
        f"real_condition.{form}", _REAL, words, worsen, machines, shows, affects,
        growth,
        returns_h,
    )  # fmt: skip


_HOT = ((110, 16), (110, 0))
_OIL = ((100, 18), (100, 1))

REAL: tuple[Cause, ...] = (
    # Cooling
    _real("radiator_blocked", "Chaff and dust block the radiator.", health(radiator=0.1), _HOT,
          returns_h=90.0),
    _real("thermostat_shut", "The thermostat sticks almost shut.", health(thermostat_shut=0.97),
          _HOT, growth="sudden"),
    _real("thermostat_open", "The thermostat no longer shuts: the engine never gets warm.",
          health(thermostat_open=0.8), ((110, 17), (110, 18)), growth="sudden"),
    _real("fan_clutch", "The fan clutch slips and the fan only idles along.", health(fan=0.1),
          _HOT),
    _real("water_pump", "The coolant pump's wheel is worn or its belt slips.",
          health(water_pump=0.12), _HOT, growth="creeping"),
    _real("coolant_low", "Coolant is lost at a hose: the level is far too low.",
          health(coolant_level_pct=6.0), ((111, 18), (111, 1), (110, 16))),
    # Air
    _real("charge_cooler_dirty", "Pollen and oil mist choke the charge air cooler.",
          health(charge_cooler=0.42), ((105, 16), (105, 0)), returns_h=160.0),
    _real("boost_leak", "A charge air hose leaks at its clamp.", health(boost_leak=0.65),
          ((102, 18), (1127, 18)), growth="sudden"),
    _real("turbo_worn", "The turbocharger is worn and no longer makes its boost.",
          health(turbo=0.5), ((102, 18), (1127, 18)), growth="creeping"),
    _real("air_filter_plugged", "The air filter is full of dust.", health(air_filter=0.16),
          ((107, 16), (107, 0)), returns_h=300.0),
    # Engine oil
    _real("bearings_worn", "The main bearings are worn: hot oil runs through them too easily.",
          health(bearings=2.1), _OIL, growth="creeping"),
    _real("oil_diluted", "Fuel got into the engine oil and thinned it.",
          health(oil_thinness=0.12), _OIL),
    _real("oil_low", "The engine is low on oil; bends and slopes starve the pump.",
          health(oil_level=0.12), _OIL),
    _real("oil_relief_open", "The oil pump's relief valve hangs open.", health(oil_relief=0.2),
          _OIL, growth="sudden"),
    # Hydraulics
    _real("hydraulic_filter_plugged", "The hydraulic return filter is plugged.",
          health(hydraulic_filter=0.03), ((1713, 0), (1713, 16)), HYDRAULIC),
    _real("hydraulic_oil_cold",
          "Oil too thick for the cold: the clean return filter bypasses until it is warm.",
          health(hydraulic_thickness=1.9), ((1713, 0), (1713, 16)), HYDRAULIC, growth="sudden"),
    _real("hydraulic_cooler_blocked", "The oil cooler is blocked with chaff.",
          health(hydraulic_cooler=0.08), ((1638, 16), (1638, 0)), HYDRAULIC, returns_h=110.0),
    _real("hydraulic_pump_leaks", "The hydraulic pump is worn and heats the oil.",
          health(hydraulic_leak=0.6), ((1638, 16), (1638, 0)), HYDRAULIC, growth="creeping"),
    _real("hydraulic_oil_low", "A ram leaks: the hydraulic tank is low.",
          health(hydraulic_level_pct=12.0), ((2602, 18), (2602, 1)),
          ("new_tractor", "forager", "telehandler")),
    # Fuel
    _real("fuel_filter_clogged", "The fuel filter is clogged with slime and rust.",
          health(fuel_filter=0.09), ((94, 18), (157, 18))),
    _real("fuel_pump_weak", "The fuel lift pump is weak.", health(fuel_pump=0.22),
          ((94, 18), (157, 18)), growth="creeping"),
    _real("rail_leaks", "An injector leaks back: rail pressure cannot be held.",
          health(rail_leak=0.4), ((157, 18), (157, 1)), growth="creeping"),
    _real("water_in_fuel", "Water came with a fuel delivery.", health(water_in_fuel_ml=420.0),
          ((97, 31), (97, 15)), growth="sudden"),
    # Drive line
    _real("transmission_cooler_blocked", "The gearbox oil cooler is blocked.",
          health(transmission_cooler=0.06), ((177, 16), (177, 0)), GEARBOXES),
    _real("transmission_pump_worn", "The gearbox pump is worn: pressure falls when it is hot.",
          health(transmission_pump=0.45), ((127, 18), (127, 1)), GEARBOXES, growth="creeping"),
    _real("clutch_worn", "A clutch pack slips under load.", health(clutch_slip_pct=22.0),
          ((522, 16), (522, 0)), GEARBOXES, growth="creeping"),
    _real("brake_air_leaks", "A brake chamber's membrane leaks air.", health(air_leak=0.8),
          ((1087, 18), (1088, 18)), ("truck",)),
    # Exhaust treatment
    _real("def_diluted", "The reductant tank holds water instead of good fluid.",
          health(def_concentration_pct=6.0), ((3516, 18), (3226, 16), (4364, 18)), FILTERS,
          growth="sudden"),
    _real("def_wrong_fluid", "Something else was filled into the reductant tank.",
          health(def_concentration_pct=58.0), ((3516, 16), (3516, 11), (3226, 16)), FILTERS,
          growth="sudden"),
    _real("doser_blocked", "The reductant doser is crusted with crystals.", health(doser=0.12),
          ((3226, 16), (4364, 18)), FILTERS),
    _real("catalyst_aged", "The SCR catalyst is poisoned or aged.", health(catalyst=0.25),
          ((3226, 16), (4364, 18)), FILTERS, growth="creeping"),
    _real("oxidation_aged",
          "The oxidation catalyst is fouled: regenerations do not get hot enough.",
          health(oxidation=0.2), ((3719, 16), (3251, 16)), FILTERS, growth="creeping"),
    _real("soot_from_engine", "An injector drips: the engine makes far too much soot.",
          health(soot=4.0), ((3719, 15), (3719, 16), (3251, 16)), FILTERS, growth="creeping"),
    _real("filter_cracked", "The particulate filter is cracked.", health(filter_crack=0.85),
          ((3251, 18), (3251, 1)), FILTERS, growth="sudden"),
)  # fmt: skip
