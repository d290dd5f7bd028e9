"""The physics of a machine as plain functions over arrays, each with its published source."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from shearbolt.model.frames import F64

GAS_CONSTANT_AIR = 287.05
"""J/(kg K), dry air (ISO 2533)."""
KELVIN = 273.15
Flags = npt.NDArray[np.bool_]

_LAG_BLOCK_DECAY = 500.0
"""A block of the lag filter may decay by e to this power before its weights leave the doubles; the
sum is led by its latest terms, so rounding stays relative to them."""


def barometer_kpa(altitude_m: npt.ArrayLike) -> F64:
    """Return the pressure (kPa) of the standard atmosphere (ISO 2533), below 11,000 m."""
    height: F64 = np.asarray(altitude_m, np.float64)
    return np.asarray(101.325 * (1.0 - 2.25577e-5 * height) ** 5.25588, np.float64)


@dataclass(frozen=True, slots=True)
class Oil:
    """An oil's viscosity by the Walther equation (ASTM D341, simplified, above 2 mm2/s)."""

    a: float
    b: float

    @classmethod
    def from_points(cls, at_40_mm2_s: float, at_100_mm2_s: float) -> Oil:
        """Fit the line through the viscosities (mm2/s) at 40 and 100 °C."""
        cold, hot = (
            float(np.log10(np.log10(viscosity + 0.7))) for viscosity in (at_40_mm2_s, at_100_mm2_s)
        )
        cold_k, hot_k = float(np.log10(KELVIN + 40.0)), float(np.log10(KELVIN + 100.0))
        b = (cold - hot) / (hot_k - cold_k)
        return cls(cold + b * cold_k, b)

    def viscosity_mm2_s(self, temperature_c: npt.ArrayLike) -> F64:
        """Return the kinematic viscosity (mm2/s) at temperatures in °C."""
        kelvin = np.asarray(temperature_c, np.float64) + KELVIN
        return np.asarray(10.0**10.0 ** (self.a - self.b * np.log10(kelvin)) - 0.7, np.float64)


HYDRAULIC_OIL = Oil.from_points(46.0, 6.8)
"""An ordinary ISO VG 46 oil."""
ENGINE_OIL = Oil.from_points(105.0, 14.0)
"""An ordinary 15W-40 oil."""


def filter_drop_kpa(
    oil: Oil,
    temperature_c: F64,
    flow_share: F64,
    clean_kpa: float,
    bypass_kpa: float = 250.0,
    *,
    free: float = 1.0,
) -> F64:
    """Return the pressure drop (kPa) over an oil filter: laminar, so viscosity times flow.

    `clean_kpa` is the drop of the clean element at 40 °C and full flow (`flow_share` 1), `free` its
    free area in shares; above `bypass_kpa` the bypass takes four fifths of the rest.
    """
    thicker = oil.viscosity_mm2_s(temperature_c) / oil.viscosity_mm2_s(40.0)
    drop = clean_kpa / free * thicker * flow_share
    return np.where(drop > bypass_kpa, bypass_kpa + 0.2 * (drop - bypass_kpa), drop)


def oil_pressure_kpa(
    engine_rpm: F64,
    oil_c: F64,
    *,
    rated_rpm: float,
    rated_kpa: float,
    relief_kpa: float = 600.0,
    oil: Oil = ENGINE_OIL,
    looseness: float = 1.0,
    thinness: float = 1.0,
) -> F64:
    """Return engine oil pressure (kPa gauge): it rises with speed and viscosity up to the relief.

    `rated_kpa` is the pressure at rated speed and 100 °C, `looseness` the clearance of the bearings
    in shares of new (the leak grows with it), `thinness` the viscosity in shares of good oil's. The
    exponents are common practice, no source.
    """
    viscosity = oil.viscosity_mm2_s(oil_c) * thinness / oil.viscosity_mm2_s(100.0)
    speed = np.clip(engine_rpm / rated_rpm, 0.0, None)
    # What the pump would hold without a relief valve that gives `rated_kpa` with it.
    full = rated_kpa / max(0.05, 1.0 - min(0.95, rated_kpa / relief_kpa) ** 4) ** 0.25
    free = full * speed**1.05 * viscosity**0.3 / looseness**1.25
    return np.asarray(free / (1.0 + (free / relief_kpa) ** 4) ** 0.25, np.float64)


def air_flow_kg_s(
    engine_rpm: F64, manifold_kpa: F64, manifold_c: F64, *, displacement_l: float, filling: float
) -> F64:
    """Return the air flow (kg/s) of a four-stroke engine by the ideal gas law.

    Pressure is absolute; `filling` is the volumetric efficiency.
    """
    density = manifold_kpa * 1000.0 / (GAS_CONSTANT_AIR * (manifold_c + KELVIN))
    return np.asarray(filling * displacement_l / 2000.0 * engine_rpm / 60.0 * density, np.float64)


def compressor_outlet_c(intake_c: F64, pressure_ratio: F64, efficiency: float = 0.75) -> F64:
    """Return the temperature (°C) behind a compressor, adiabatic with an efficiency."""
    rise = (np.clip(pressure_ratio, 1.0, None) ** 0.2857 - 1.0) / efficiency
    return np.asarray((intake_c + KELVIN) * (1.0 + rise) - KELVIN, np.float64)


@dataclass(frozen=True, slots=True)
class Battery:
    """A lead-acid starter battery; a 24 V system is two of them."""

    charge: float = 0.9
    """State of charge, 0 to 1."""
    resistance: float = 1.0
    """Inner resistance in shares of a new one's."""
    cable_drop_v: float = 0.7
    """Loss to the engine controller while the starter turns, 12 V system."""

    @property
    def rest_v(self) -> float:
        """Rest voltage (12 V system) by state of charge, the usual table at 26.7 °C."""
        return float(
            np.interp(self.charge, (0, 0.25, 0.5, 0.75, 1), (11.89, 12.06, 12.24, 12.45, 12.65))
        )

    def cranking_v(self, temperature_c: float) -> float:
        """Return the voltage (12 V system) of the cranking plateau, after the first half second.

        Starter current and inner resistance both grow in the cold; the size is common practice.
        """
        colder = max(0.0, 25.0 - temperature_c)
        return self.rest_v - 2.15 * self.resistance * (1.0 + 0.0095 * colder)


def lag(values: F64, tau_s: float, step_s: float, start: float | None = None) -> F64:
    """Filter an evenly spaced series by a first-order lag of time constant `tau_s`.

    `start` is the filter's state before the first value (default: the first value). Exact for
    inputs constant over each step; worked in blocks, so that it runs as array operations.
    """
    if tau_s <= 0.0:
        return values.astype(np.float64)
    decay = step_s / tau_s
    keep = float(np.exp(-decay))
    block = max(1, int(_LAG_BLOCK_DECAY / decay))
    out = np.empty(len(values), np.float64)
    state = float(values[0]) if start is None else start
    for first in range(0, len(values), block):
        part = np.asarray(values[first : first + block], np.float64)
        power = keep ** np.arange(1, len(part) + 1)
        out[first : first + len(part)] = power * (state + (1.0 - keep) * np.cumsum(part / power))
        state = float(out[first + len(part) - 1])
    return out


def wander(rng: np.random.Generator, count: int, size: float, tau_s: float, step_s: float) -> F64:
    """Make noise of standard deviation `size` that forgets itself within about `tau_s`."""
    smooth = lag(rng.standard_normal(count), tau_s, step_s, 0.0)
    keep = float(np.exp(-step_s / tau_s))
    return np.asarray(size * smooth * np.sqrt((1.0 + keep) / (1.0 - keep)), np.float64)


def hysteresis(values: F64, on: float, off: float) -> Flags:
    """Tell where a value is beyond `on` and has not come back past `off` since.

    With `on` above `off` it watches for high values, else for low ones. Starts as not beyond.
    """
    high = on >= off
    rises = values > on if high else values < on
    falls = values < off if high else values > off
    marks = np.where(rises | falls, np.arange(len(values)), -1)
    last = np.maximum.accumulate(marks)
    return np.asarray((last >= 0) & rises[np.maximum(last, 0)], np.bool_)
