"""From true quantities to what a controller makes of them: sensors, circuits and supplies.

A circuit is what the reference sheet's sections 6.9 and 6.10 describe: an NTC with a pull-up, a
ratiometric sensor on a shared 5 V rail, a switch, a pulse sensor. Sound circuits give the true
value with the sensor's own small noise; a fault bends the value (sensor) or the voltage at the
controller's pin (wire, rail), and the controller turns the voltage back into a value as if all
were well.
"""

from __future__ import annotations

from dataclasses import dataclass
from statistics import NormalDist
from typing import Literal

import numpy as np

from shearbolt.model.frames import F64
from shearbolt.proving.physics import KELVIN, Flags, lag, wander
from shearbolt.proving.plight import SensorFault, When, WireFault, word_seed
from shearbolt.proving.quantities import BOOM, SEAT, STEERING, true_reading
from shearbolt.proving.trace import STEP_S, Trace

RAIL_V = 5.0
_PULL_UP_OHM = 2490.0
_INPUT_OHM = 50_000.0
"""Pull-up or pull-down of a ratiometric input: a resistance in the wire divides with it."""

Kind = Literal["ntc", "ratiometric", "switch", "pulse", "exhaust", "smart", "inside"]


@dataclass(frozen=True, slots=True)
class Circuit:
    """How one quantity comes to its controller."""

    kind: Kind
    low: float = 0.0
    """Value at 0.5 V (ratiometric)."""
    high: float = 1.0
    """Value at 4.5 V."""
    rail: str = ""
    """Shared reference supply of its controller ('' none)."""
    pull: Literal["up", "down"] = "up"
    """Where an open wire goes."""
    noise: float = 0.0
    """Standard deviation of a sound sensor's noise."""


_NTC = Circuit("ntc", noise=0.05)
CIRCUITS: dict[int, Circuit] = {
    110: _NTC, 174: _NTC, 175: _NTC, 105: _NTC, 171: _NTC, 172: _NTC, 177: _NTC, 1638: _NTC,
    3031: _NTC,
    3241: Circuit("exhaust", noise=0.6),
    3242: Circuit("exhaust", noise=0.6),
    3246: Circuit("exhaust", noise=0.6),
    100: Circuit("ratiometric", 0.0, 1000.0, "A", "down", 2.5),
    94: Circuit("ratiometric", 0.0, 1000.0, "A", "down", 3.0),
    102: Circuit("ratiometric", -50.0, 350.0, "A", "up", 0.7),
    1127: Circuit("ratiometric", -50.0, 350.0, "A", "up", 0.7),
    3563: Circuit("ratiometric", 20.0, 450.0, "A", "up", 0.7),
    101: Circuit("ratiometric", -20.0, 20.0, "A", "up", 0.05),
    157: Circuit("ratiometric", 0.0, 220.0, "B", "up", 0.8),
    91: Circuit("ratiometric", 0.0, 100.0, "B", "down", 0.1),
    111: Circuit("ratiometric", 0.0, 110.0, "B", "up", 0.2),
    107: Circuit("ratiometric", 0.0, 10.0, "B", "up", 0.02),
    3251: Circuit("ratiometric", 0.0, 50.0, "T", "down", 0.06),
    1761: Circuit("smart", noise=0.1),
    127: Circuit("ratiometric", 0.0, 4000.0, "G", "down", 8.0),
    1873: Circuit("ratiometric", 0.0, 100.0, "H", "down", 0.15),
    1879: Circuit("ratiometric", -40_000.0, 40_000.0, "H", "up", 80.0),
    1087: Circuit("ratiometric", 0.0, 1600.0, "L", "down", 2.0),
    1088: Circuit("ratiometric", 0.0, 1600.0, "L", "down", 2.0),
    2602: Circuit("ratiometric", 0.0, 110.0, "Y", "up", 0.2),
    96: Circuit("ratiometric", 0.0, 110.0, "C", "up", 0.2),
    1713: Circuit("switch"), 597: Circuit("switch"), 598: Circuit("switch"), 70: Circuit("switch"),
    97: Circuit("switch"),
    190: Circuit("pulse", noise=1.5), 191: Circuit("pulse", noise=0.8),
    84: Circuit("pulse", noise=0.03), 161: Circuit("pulse", noise=1.0),
    904: Circuit("pulse", noise=0.03), 1862: Circuit("pulse", noise=0.01),
    1883: Circuit("pulse", noise=0.8), 1639: Circuit("pulse", noise=3.0),
    SEAT: Circuit("switch"), 521_010: Circuit("switch"),
    STEERING: Circuit("ratiometric", -100.0, 100.0, "", "down", 0.2),
    BOOM: Circuit("ratiometric", 0.0, 100.0, "Y", "down", 0.2),
    3216: Circuit("smart", noise=3.0), 3226: Circuit("smart", noise=1.5), 3516: Circuit("smart"),
}  # fmt: skip
"""By SPN; a signal that is not here is worked out inside its controller."""


def circuit_of(spn: int) -> Circuit:
    """Return the circuit of a signal."""
    return CIRCUITS.get(spn, Circuit("inside"))


def _driven(trace: Trace, when: When) -> Flags:
    """Tell at which steps the driving quantity is beyond its limit."""
    everywhere = np.ones(len(trace.time_s), np.bool_)
    if when.driver == "always":
        return everywhere
    if when.driver == "running":
        return trace.running
    if when.driver == "cranking":
        return trace.cranking
    if when.driver == "pickup":
        return trace.pickup_down
    quantity: F64 = {
        "vibration": trace.vibration_g,
        "steering": np.abs(trace.steering_pct),
        "boom": trace.boom_pct,
        "hitch": trace.hitch_pct,
        "wet": trace.wet,
        "warm": trace.coolant_c,
        "cold": trace.ambient_c,
    }[when.driver]
    return np.asarray(
        quantity < when.above if when.driver == "cold" else quantity > when.above, np.bool_
    )


def moments(trace: Trace, when: When, *words: object) -> Flags:
    """Tell at which steps an intermittent trouble is there; `words` give it its own chance.

    The same trace, moments and words always give the same answer.
    """
    driven = _driven(trace, when)
    if when.share >= 1.0 or not driven.any():
        return driven
    rng = np.random.default_rng((trace.noise_seed, word_seed(*words, when)))
    noise = wander(rng, len(driven), 1.0, when.long_s, STEP_S)
    edge = NormalDist().inv_cdf(min(1.0 - 1e-9, max(1e-9, 1.0 - when.share)))
    return np.asarray(driven & (noise > edge), np.bool_)


def _bent(trace: Trace, values: F64, fault: SensorFault) -> F64:
    """Return the values as one faulty sensor gives them."""
    there = moments(trace, fault.when, "sensor", fault.spn, fault.kind)
    if fault.kind == "offset":
        wrong = values + fault.size
    elif fault.kind == "gain":
        wrong = fault.pivot + (values - fault.pivot) * fault.size
    elif fault.kind == "stuck":
        held = float(values[0]) if np.isnan(fault.size) else fault.size
        wrong = np.full(len(values), held)
    elif fault.kind == "slow":
        wrong = lag(values, fault.size, STEP_S)
    elif fault.kind == "dropout":
        wrong = np.zeros(len(values))
    else:
        rng = np.random.default_rng((trace.noise_seed, word_seed("noise", fault.spn)))
        wrong = values + wander(rng, len(values), fault.size, 0.3, STEP_S)
    return np.where(there, wrong, values)


def ntc_ohm(temperature_c: F64) -> F64:
    """Return the resistance of the reference sheet's NTC (2252 ohm at 25 °C, B 3430)."""
    kelvin = np.asarray(temperature_c, np.float64) + KELVIN
    return np.asarray(2252.0 * np.exp(3430.0 * (1.0 / kelvin - 1.0 / 298.15)), np.float64)


def _ntc_c(ohm: F64) -> F64:
    safe = np.clip(ohm, 1.0, 1e7)
    return np.asarray(1.0 / (1.0 / 298.15 + np.log(safe / 2252.0) / 3430.0) - KELVIN, np.float64)


def rail_volts(trace: Trace, controller: str | None, rail: str) -> F64:
    """Return the voltage of a shared sensor supply; `controller` None: of whichever has it bad."""
    volts = np.full(len(trace.time_s), RAIL_V)
    for one in trace.plight.rails:
        if one.rail == rail and controller in (None, one.controller):
            volts = np.where(moments(trace, one.when, "rail", one.controller, rail), one.volts,
                             volts)  # fmt: skip
    return volts


def _wires(trace: Trace, spn: int, controller: str | None) -> list[WireFault]:
    return [
        one
        for one in trace.plight.wires
        if one.spn == spn and (controller is None or one.controller in (None, controller))
    ]


def pin_volts(trace: Trace, spn: int, controller: str | None = None) -> F64:
    """Return the voltage (V) at the controller's pin for one NTC, ratiometric or switch circuit.

    Sound circuits stay within 0.5 to 4.5 V (ratiometric); a pulse or other circuit gives 2.5 V, or
    0 and 5 V where a wire fault holds it. Controllers detect FMI 3 and 4 by this voltage (reference
    sheet 6.9). A rail that sags pulls its ratiometric circuits down with it.
    """
    key = ("pin", spn, controller)
    if key not in trace.memo:
        trace.memo[key] = _pin(trace, spn, controller)
    return trace.memo[key]


def _pin(trace: Trace, spn: int, controller: str | None) -> F64:
    circuit = circuit_of(spn)
    values = _by_sensor(trace, spn, controller)
    rail = rail_volts(trace, controller, circuit.rail) if circuit.rail else RAIL_V
    wires = _wires(trace, spn, controller)
    added = np.zeros(len(values))
    for one in wires:
        if one.kind == "resistance":
            there = moments(trace, one.when, "wire", spn, one.kind)
            added = added + np.where(there, one.ohm, 0.0)
    if circuit.kind == "ntc":
        ohm = ntc_ohm(values) + added
        volts = RAIL_V * ohm / (ohm + _PULL_UP_OHM)
    elif circuit.kind == "ratiometric":
        share = 0.1 + 0.8 * (values - circuit.low) / (circuit.high - circuit.low)
        volts = np.clip(share, 0.02, 0.98) * rail
        pulled = RAIL_V if circuit.pull == "up" else 0.0
        part = added / (added + _INPUT_OHM)
        volts = volts * (1.0 - part) + pulled * part
    elif circuit.kind == "switch":
        volts = np.where(values > 0.5, 0.3, 4.7)
    else:
        volts = np.full(len(values), 2.5)
    for one in wires:
        if one.kind == "resistance":
            continue
        level = {"open": 4.95 if circuit.pull == "up" else 0.02, "short_minus": 0.02,
                 "short_plus": 4.98}[one.kind]  # fmt: skip
        volts = np.where(moments(trace, one.when, "wire", spn, one.kind), level, volts)
    return np.asarray(volts, np.float64)


def _by_sensor(trace: Trace, spn: int, controller: str | None) -> F64:
    """Return the values as the sensors give them, before wires and supplies."""
    values = true_reading(trace, spn)
    noise = circuit_of(spn).noise
    if noise:
        rng = np.random.default_rng((trace.noise_seed, word_seed("own", spn)))
        values = values + noise * rng.standard_normal(len(values))
    for one in trace.plight.sensors:
        if one.spn == spn and (controller is None or one.controller in (None, controller)):
            values = _bent(trace, values, one)
    return values


def sensed(trace: Trace, spn: int, controller: str | None = None) -> F64:
    """Return what a controller makes of a signal, one value a step of the trace.

    `controller` None: with every fault that touches the signal. Values beyond a sensor's ends stay
    at them; what the controller then puts in their place ('error', a default) is its own matter.
    Raises KeyError for a signal that no controller of the scenario has.
    """
    key = ("sensed", spn, controller)
    if key not in trace.memo:
        trace.memo[key] = _sensed(trace, spn, controller)
    return trace.memo[key]


def _sensed(trace: Trace, spn: int, controller: str | None) -> F64:
    circuit = circuit_of(spn)
    values = _by_sensor(trace, spn, controller)
    if circuit.kind == "ratiometric" and circuit.low == 0.0:
        values = np.clip(values, 0.0, None)
    if circuit.kind in ("pulse", "exhaust"):
        return _unpinned(trace, spn, controller, circuit, values)
    wires = _wires(trace, spn, controller)
    railed = circuit.rail and any(
        one.rail == circuit.rail and controller in (None, one.controller)
        for one in trace.plight.rails
    )
    if circuit.kind in ("inside", "smart") or not (wires or railed):
        return values
    volts = pin_volts(trace, spn, controller)
    if circuit.kind == "switch":
        return (volts < 2.5).astype(np.float64)
    if circuit.kind == "ntc":
        share = np.clip(volts / RAIL_V, 1e-6, 1.0 - 1e-6)
        return np.clip(_ntc_c(_PULL_UP_OHM * share / (1.0 - share)), -40.0, 210.0)
    share = (volts / RAIL_V - 0.1) / 0.8
    span = circuit.high - circuit.low
    return np.clip(circuit.low + share * span, circuit.low, circuit.high + 0.1 * span)


def _unpinned(trace: Trace, spn: int, controller: str | None, circuit: Circuit, values: F64) -> F64:
    """Return pulse and exhaust readings: a broken wire is no pulse, or the end of the scale."""
    for one in _wires(trace, spn, controller):
        there = moments(trace, one.when, "wire", spn, one.kind)
        if circuit.kind == "pulse":
            lost = 0.0 if one.kind != "resistance" else 0.5
            values = np.where(there, values * lost, values)
        elif one.kind == "resistance":
            values = np.where(there, values + one.ohm * 1.4, values)
        else:
            end = -40.0 if one.kind == "short_minus" else 1_000.0
            values = np.where(there, end, values)
    return np.clip(values, 0.0, None) if circuit.kind == "pulse" else values
