"""The traits of a visit's sensors: what is compared across visits."""

from __future__ import annotations

import math
from collections.abc import Iterator
from statistics import median

import numpy as np

from shearbolt.dictionary.plausibility import limits
from shearbolt.model.state import StateKey
from shearbolt.reasoning.plausibility import air, driveline, electrics, exhaust, oil, readings, rest
from shearbolt.reasoning.plausibility.check import thin
from shearbolt.reasoning.plausibility.temperatures import EXHAUST, soak_known, soaked
from shearbolt.reasoning.plausibility.trait import Sensor, Trait
from shearbolt.reasoning.quantity_view import Picked, QuantityView


def traits_of(view: QuantityView) -> tuple[Trait, ...]:
    """Give every trait that a visit shows, at most one of each name and sensor."""
    found: dict[tuple[Sensor, str], Trait] = {}
    for source in (_soak, _at_rest, _oil, _volts, _ratios, _air, _exhaust, _fuel, _noise):
        for trait in source(view):
            found.setdefault((trait.sensor, trait.name), trait)
    return tuple(found.values())


def _sensor(key: StateKey) -> Sensor:
    return Sensor(key.address, key.spn)


def _trait(picked: Picked, name: str, value: float, unit: str, kind: str | None = None) -> Trait:
    """Make a charted trait with the spread and the change that matters of its kind."""
    limit = limits("traits")
    kind = kind or name
    spread = max(limit[f"{kind}_spread"], picked.resolution / math.sqrt(12.0))
    return Trait(_sensor(picked.sender), name, value, unit, spread, limit[f"{kind}_matters"])


def _kept(picked: Picked, name: str, value: float, unit: str) -> Trait:
    return Trait(_sensor(picked.sender), name, value, unit, 0.0, 0.0, charted=False)


def _soak(view: QuantityView) -> Iterator[Trait]:
    """Each temperature less the median of the others after a night."""
    if soak_known(view) is None:
        return
    cold = soaked(view)
    if len(cold) < limits("cold_soak")["least"]:
        return
    for one in cold:
        others = [
            two.value_c for two in cold if two is not one and two.picked.quantity not in EXHAUST
        ]
        kind = "soak_exhaust" if one.picked.quantity in EXHAUST else "soak"
        yield _trait(one.picked, "soak", one.value_c - median(others), "K", kind)


def _at_rest(view: QuantityView) -> Iterator[Trait]:
    """What a pressure shows with the engine stopped."""
    for quantity, check in (("boost_kpa", "boost_at_rest"), ("dpf_drop_kpa", "dpf_at_rest")):
        picked, values = view.pick(quantity), view.held(quantity)
        if picked is None or values is None:
            continue
        rows = rest.at_rest(view, limits(check)["after_s"])
        rows = rows[~np.isnan(values[rows])]
        if len(rows) >= 3:
            yield _trait(picked, check, float(np.median(values[rows])), picked.unit)
    absolute, barometer = view.held("manifold_abs_kpa"), view.held("barometer_kpa")
    picked = view.pick("manifold_abs_kpa")
    if picked is not None and absolute is not None and barometer is not None:
        rows = rest.at_rest(view, limits("manifold_at_rest")["after_s"])
        gap = absolute[rows] - barometer[rows]
        gap = gap[~np.isnan(gap)]
        if len(gap) >= 3:
            yield _trait(picked, "manifold_at_rest", float(np.median(gap)), "kPa")
    altitude, picked = view.held("altitude_m"), view.pick("barometer_kpa")
    if picked is not None and altitude is not None and barometer is not None:
        rows = thin(np.flatnonzero(~np.isnan(altitude) & ~np.isnan(barometer)))
        if len(rows) >= 3:
            expected = rest.isa_kpa(float(np.median(altitude[rows])))
            value = float(np.median(barometer[rows])) - expected
            yield _trait(picked, "barometer_less_standard", value, "kPa")


def _oil(view: QuantityView) -> Iterator[Trait]:
    """Warm oil pressure at 1500 rpm."""
    picked, fit = view.pick("oil_kpa"), oil.follows(view)
    if picked is None or fit is None:
        return
    rpm, kpa = view.values("engine_rpm")[fit.rows], view.values("oil_kpa")[fit.rows]
    at_1500 = float(np.mean(kpa)) + fit.slope_kpa_1000rpm * (1500.0 - float(np.mean(rpm))) / 1000.0
    yield _trait(picked, "oil_at_1500_rpm", at_1500, "kPa")


def _volts(view: QuantityView) -> Iterator[Trait]:
    """Charging voltage of a 12 V system, and each other reading less the best one."""
    meters, system = electrics.volt_meters(view), view.system_v
    if not meters or system is None:
        return
    values = view.held_of(meters[0])
    rows = thin(electrics.charging_rows(view))
    rows = rows[~np.isnan(values[rows])]
    if len(rows) >= limits("charging")["least_s"]:
        volts = float(np.median(values[rows])) * 12.0 / system
        yield _trait(meters[0], "charging", volts, "V")
    for one, two, gap, _ in electrics.meter_gaps(view):
        if one.sender == meters[0].sender:
            yield _trait(two, "voltage_less_first", -gap * 12.0 / system, "V")


def _ratios(view: QuantityView) -> Iterator[Trait]:
    """Fixed ratios of shafts, and ground speeds, as 100 times their logarithm: in percent."""
    picked, told = view.pick("input_rpm"), driveline.ratio_to_engine(view, "input_rpm")
    if picked is not None and told is not None and told[1] >= limits("shafts")["ok_share"]:
        yield _trait(picked, "input_ratio", 100.0 * math.log(told[0]), "%")
    picked, shaft, speed = view.pick("output_rpm"), view.held("output_rpm"), view.speed_kmh
    if picked is not None and shaft is not None and speed is not None:
        limit = limits("output_shaft")
        rows = thin(np.flatnonzero((speed >= limit["least_kmh"]) & (shaft > 1.0)))
        if len(rows) >= limit["least_s"]:
            ratio = float(np.median(shaft[rows] / speed[rows]))
            yield _trait(picked, "output_ratio", 100.0 * math.log(ratio), "%")


def _air(view: QuantityView) -> Iterator[Trait]:
    """What the air flow makes of the engine's size; boost under load; the air filter's drop."""
    picked, told = view.pick("air_kg_h"), air.swept_l(view)
    if picked is not None and told is not None:
        yield _trait(picked, "air_flow_size", 100.0 * math.log(told[0]), "%")
    picked, rows = view.pick("air_filter_kpa"), air.air_filter_rows(view)
    if picked is not None and len(rows) >= limits("air_filter")["least_s"]:
        drop = float(np.median(view.values("air_filter_kpa")[rows]))
        yield _trait(picked, "air_filter_drop", drop, "kPa")
    picked, boost = view.pick("boost_kpa"), view.held("boost_kpa")
    if picked is not None and boost is not None and view.alive("load_pct"):
        hard = thin(
            np.flatnonzero(
                view.running(load_pct=(limits("boost_against_load")["hard_pct"], np.inf))
                & ~np.isnan(boost)
            )
        )
        if len(hard) >= limits("boost_against_load")["least_s"]:
            yield _kept(picked, "boost_at_load", float(np.median(boost[hard])), "kPa")


def _exhaust(view: QuantityView) -> Iterator[Trait]:
    """The filter's slope, the catalyst's conversion, the reductant."""
    picked, fit = view.pick("dpf_drop_kpa"), exhaust.filter_fit(view)
    if picked is not None and fit is not None and fit.reach >= limits("dpf_flow")["reach"]:
        yield _kept(picked, f"dpf_slope_{fit.flow_from}", fit.slope, "-")
    picked, converted = view.pick("nox_out_ppm"), exhaust.conversion(view)
    if picked is not None and converted is not None:
        yield _trait(picked, "nox_conversion", converted.share * 100.0, "%")
    picked, quality = view.pick("def_quality_pct"), view.held("def_quality_pct")
    if picked is not None and quality is not None:
        rows = thin(np.flatnonzero(~np.isnan(quality)))
        if len(rows) >= limits("def_quality")["least_s"]:
            yield _trait(picked, "def_quality", float(np.median(quality[rows])), "%")


def _fuel(view: QuantityView) -> Iterator[Trait]:
    """Fuel delivery pressure at working speed."""
    picked, values = view.pick("fuel_kpa"), view.held("fuel_kpa")
    if picked is None or values is None:
        return
    rows = thin(np.flatnonzero(view.running(engine_rpm=(1200.0, np.inf)) & ~np.isnan(values)))
    if len(rows) >= limits("charging")["least_s"]:
        yield _trait(picked, "fuel_delivery", float(np.median(values[rows])), "kPa")


def _noise(view: QuantityView) -> Iterator[Trait]:
    """How much a reading trembles at steady speed and load, by nine strata of both."""
    for picked, stratum, level, _ in readings.noise_levels(view):
        yield _kept(picked, f"noise_{stratum}", level, picked.unit)
