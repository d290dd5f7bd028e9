"""From what a meter shows to the outcome of a check."""

from __future__ import annotations

import math
from itertools import pairwise

from shearbolt.dictionary.checks import Check, check_curves, checks
from shearbolt.reasoning.checks.values import CheckContext

ICE_K = 273.15
_NOTHING = CheckContext()


def thermistor_ohm(curve: str, sensor_c: float) -> float:
    """Give a thermistor's resistance in ohm at a temperature in degC.

    R = R0 exp(B (1/T - 1/T0)), the two-point form used by makers of thermistors (IEC 60539-1).
    Raises KeyError for a curve that check_curves.csv lacks.
    """
    of = check_curves()[curve]
    inverse = 1.0 / (sensor_c + ICE_K) - 1.0 / (of["at_c"] + ICE_K)
    return of["r_ohm"] * math.exp(of["b_k"] * inverse)


def platinum_ohm(curve: str, sensor_c: float) -> float:
    """Give a platinum sensor's resistance in ohm at a temperature in degC, from 0 degC up.

    R = R0 (1 + A t + B t^2) (IEC 60751). Raises KeyError for a curve that check_curves.csv lacks.
    """
    of = check_curves()[curve]
    return of["r_ohm"] * (1.0 + of["a_per_k"] * sensor_c + of["b_per_k2"] * sensor_c**2)


def cranking_minimum_v(battery_c: float) -> float:
    """Give the least steady voltage of a sound 12 V battery while cranking, by its temperature.

    Straight lines between the table's points, level beyond them.
    """
    points = sorted((float(at), volts) for at, volts in check_curves()["cranking_minimum"].items())
    if battery_c <= points[0][0]:
        return points[0][1]
    for (cold, low), (warm, high) in pairwise(points):
        if battery_c <= warm:
            return low + (high - low) * (battery_c - cold) / (warm - cold)
    return points[-1][1]


def outcome_of(check: str, value: float, context: CheckContext = _NOTHING) -> str | None:
    """Name the outcome that a measured value means, in the check's unit.

    A difference counts by its size. None: nothing is measured in this check, the check is unknown,
    the value is not finite, or what it hangs on (temperature, system voltage) is not known.
    """
    one = checks().get(check)
    if one is None or not math.isfinite(value):
        return None
    if one.measure in ("limits", "limits24"):
        return _by_limits(one, abs(value), context)
    if one.measure in ("ntc", "pt"):
        return _by_curve(one.measure, value, context)
    if one.measure == "cranking":
        return _while_cranking(value, context)
    return None


def _by_limits(one: Check, value: float, context: CheckContext) -> str | None:
    if one.measure == "limits24":
        if context.system_v is None:
            return None
        value *= 12.0 / context.system_v
    for row in one.telling(context.flags):
        if row.high is None or value < row.high:
            return row.outcome
    return None


def _by_curve(measure: str, value: float, context: CheckContext) -> str | None:
    curves = check_curves()
    limits = curves["ntc_limits"] if measure == "ntc" else curves["pt_200"]
    if value < limits["shorted_ohm"]:
        return "shorted"
    if value > limits["open_ohm"]:
        return "open"
    if context.expected_ohm is not None:
        right = [(context.expected_ohm, curves["ntc_limits"]["manual_tolerance_pct"])]
    elif context.sensor_c is None:
        return None
    elif measure == "pt":
        right = [(platinum_ohm("pt_200", context.sensor_c), limits["tolerance_pct"])]
    else:
        right = [
            (thermistor_ohm(name, context.sensor_c), of["tolerance_pct"])
            for name, of in curves.items()
            if "b_k" in of
        ]
    if any(abs(value - ohm) <= ohm * percent / 100.0 for ohm, percent in right):
        return "as_its_table"
    return "off_its_table"


def _while_cranking(value: float, context: CheckContext) -> str | None:
    if context.system_v is None:
        return None
    volts = value * 12.0 / context.system_v
    if context.sensor_c is not None:
        return "holds" if volts >= cranking_minimum_v(context.sensor_c) else "sags"
    # Without the temperature only what is so at every temperature can be said.
    least = check_curves()["cranking_minimum"].values()
    if volts >= max(least):
        return "holds"
    return "sags" if volts < min(least) else None
