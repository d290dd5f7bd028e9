"""Battery, charging and cranking voltage; what several controllers make of one battery."""

from __future__ import annotations

from collections.abc import Iterable
from itertools import combinations

import numpy as np

from shearbolt.dictionary.plausibility import limits
from shearbolt.reasoning.plausibility.check import (
    Check,
    Finding,
    Look,
    Result,
    figures,
    graded,
    not_possible,
    thin,
)
from shearbolt.reasoning.quantity_view import Picked, QuantityView, Rows

_SHEET = "reference sheet 6.5; common practice"
KEY_SWITCH = 158
"""SPN of the voltage behind the key switch (SAE J1939-71)."""
CRANKING_V = ((-18.0, 8.5), (-10.0, 8.9), (0.0, 9.1), (10.0, 9.4), (21.0, 9.6))
"""Temperature (degC) and least voltage (12 V system) of the plateau: reference sheet 6.5."""


def cranking_least_v(temperature_c: float, system_v: int) -> float:
    """Give the least plateau voltage at a temperature: by the table, flat beyond its ends."""
    cold, volts = zip(*CRANKING_V, strict=True)
    return float(np.interp(temperature_c, cold, volts)) * system_v / 12.0


def charging_rows(view: QuantityView) -> Rows:
    """Give the rows above 1200 rpm, some minutes after the start."""

    def work() -> Rows:
        limit = limits("charging")
        good = view.running(engine_rpm=(limit["rpm"], np.inf))
        good &= view.settled(limit["after_s"])
        return np.flatnonzero(good)

    return view.once("charging rows", work)


def volt_meters(view: QuantityView) -> tuple[Picked, ...]:
    """Give every sender of a battery, key switch or charging voltage, the best first."""
    found: list[Picked] = []
    for quantity in ("charging_v", "battery_v"):
        for one in view.senders(quantity):
            if all(one.sender != other.sender for other in found):
                found.append(one)
    return tuple(found)


def charging(look: Look) -> Iterable[Finding]:
    """With the engine above 1200 rpm a 12 V system shows 13.8 to 14.7 V."""
    view, limit = look.view, limits("charging")
    system, rows = view.system_v, charging_rows(view)
    if system is None:
        yield not_possible("system_voltage_unclear", "system_voltage")
        return
    meter = volt_meters(view)[0]
    volts = view.held_of(meter)
    rows = rows[~np.isnan(volts[rows])]
    if len(rows) < limit["least_s"]:
        yield not_possible("not_run_fast_enough", "engine_above_1200_rpm")
        return
    scale = system / 12.0
    part = volts[rows]
    middle = float(np.median(part[:: max(1, len(part) // 20_000)]))
    low, high = rows[part < limit["low_v"] * scale], rows[part > limit["over_v"] * scale]
    shown = figures(
        ("median", middle, "V"), ("system", float(system), "V"),
        ("seconds_low", float(len(low)), "s"), ("seconds_high", float(len(high)), "s"),
    )  # fmt: skip
    result: Result = "ok"
    key, where = "charges", rows[:0]
    if len(high) >= limit["over_s"]:
        result, key, where = "odd", "overcharges", high
    elif len(low) >= limit["low_s"]:
        half = len(low) >= 0.5 * len(rows)
        result, key, where = "odd" if half else "doubtful", "does_not_charge", low
    elif not limit["least_v"] * scale <= middle <= limit["most_v"] * scale:
        result, key, where = "doubtful", "charges_oddly", rows
    yield Finding(result, key, (meter.sender,), shown, view.at_us(where))


def cranking(look: Look) -> Iterable[Finding]:
    """The plateau while cranking stays above the least voltage for the temperature.

    The first second is the starter's inrush and does not count, nor does one sample alone; the
    engine must turn below 250 rpm (a healthy start read once a second shows 7.75 and 9.3 V).
    """
    view, limit = look.view, limits("cranking")
    phases, system = view.phases, view.system_v
    assert phases is not None
    if system is None:
        yield not_possible("system_voltage_unclear", "system_voltage")
        return
    picked = view.pick("battery_v")
    fast = view.pick("engine_rpm")
    assert picked is not None
    assert fast is not None
    turning = phases.cranking.copy()
    with np.errstate(invalid="ignore"):
        turning &= ~(fast.column.high >= limit["turning_rpm"])
    # The first second of each start is left out.
    turning[1:] &= phases.cranking[:-1]
    turning[:1] = False
    rows = np.flatnonzero(turning & ~np.isnan(picked.column.last))
    if len(rows) < limit["samples"]:
        yield not_possible("cranking_not_seen", "cranking_samples")
        return
    cold = _cold_c(view, int(rows[0]))
    # The table is for the battery's posts; a controller reads behind its wires and switches.
    behind = limit["key_switch_v"] if picked.sender.spn == KEY_SWITCH else limit["controller_v"]
    least = cranking_least_v(limit["unknown_c"] if cold is None else cold, system)
    least -= behind * system / 12.0
    volts = picked.column.last[rows]
    below = rows[volts < least]
    shown = figures(
        ("lowest", float(volts.min()), "V"), ("median", float(np.median(volts)), "V"),
        ("least", least, "V"), ("samples_below", float(len(below)), "-"),
        ("samples", float(len(rows)), "-"), ("system", float(system), "V"),
        *([("temperature", cold, "degC")] if cold is not None else []),
    )  # fmt: skip
    result: Result = "ok"
    key = "cranks_well"
    if len(below) >= limit["samples"]:
        result, key = "odd", "cranking_low"
    elif len(below):
        result, key = "doubtful", "cranking_low_once"
    yield Finding(result, key, (picked.sender,), shown, view.at_us(below))


def _cold_c(view: QuantityView, row: int) -> float | None:
    """Give the coldest of coolant, ambient and intake temperature about a row."""
    found = []
    for quantity in ("coolant_c", "ambient_c", "intake_air_c"):
        values = view.held(quantity)
        if values is not None:
            near = values[row : row + 20]
            near = near[~np.isnan(near)]
            if len(near):
                found.append(float(near[0]))
    return min(found, default=None)


def meter_gaps(view: QuantityView) -> tuple[tuple[Picked, Picked, float, Rows], ...]:
    """Give for each pair of voltage readings the median difference (V) while running, and where."""

    def work() -> tuple[tuple[Picked, Picked, float, Rows], ...]:
        steady = thin(np.flatnonzero(view.settled(limits("batteries")["after_s"])), 4000)
        found = []
        for one, two in combinations(volt_meters(view), 2):
            gap = view.held_of(one)[steady] - view.held_of(two)[steady]
            good = ~np.isnan(gap)
            if np.count_nonzero(good) >= limits("batteries")["least_s"]:
                found.append((one, two, float(np.median(gap[good])), steady[good]))
        return tuple(found)

    return view.once("meter gaps", work)


def batteries(look: Look) -> Iterable[Finding]:
    """Controllers on one battery agree within half a volt; more is wiring."""
    view, limit = look.view, limits("batteries")
    if len(volt_meters(view)) < 2:
        yield not_possible("one_voltage_only", "second_voltage")
        return
    gaps, system = meter_gaps(view), view.system_v
    if not gaps or system is None:
        yield not_possible("too_short", "seconds_told")
        return
    scale = system / 12.0
    for one, two, gap, rows in gaps:
        result = graded(abs(gap), limit["doubtful"] * scale, limit["odd"] * scale)
        low, high = (two, one) if gap > 0 else (one, two)
        yield Finding(
            result,
            "voltages_agree" if result == "ok" else "voltages_differ",
            (low.sender, high.sender),
            figures(("difference", abs(gap), "V"), ("system", float(system), "V")),
            view.at_us(rows, 3) if result != "ok" else (),
        )


CHECKS = (
    Check("charging", (("battery_v", "charging_v"), ("engine_rpm",)), charging, _SHEET),
    Check(
        "cranking",
        (("battery_v",), ("engine_rpm",)),
        cranking,
        _SHEET + "; plateau and samples measured on an open recording",
    ),
    Check("batteries", (("battery_v", "charging_v"), ("engine_rpm",)), batteries, _SHEET),
)
