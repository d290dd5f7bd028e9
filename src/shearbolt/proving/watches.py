"""What a controller can notice of its own: readings, pins, pulses, supplies and partners.

Every watch works on what the controller reads (`sensing.sensed`), on the voltage at its pins and
on what reaches it from the bus, never on the truth. So a broken wire shows as a pin at the end of
its scale, a real overheating as a hot reading, and a drifting sensor as either.
"""

from __future__ import annotations

from typing import Literal

import numpy as np

from shearbolt.model.frames import F64, I64
from shearbolt.proving.faults import Watch, debounce
from shearbolt.proving.physics import Flags, hysteresis, lag
from shearbolt.proving.sensing import (
    RAIL_V,
    circuit_of,
    moments,
    pin_volts,
    rail_volts,
    sensed,
)
from shearbolt.proving.supply import bus_state, controller_volts, powered
from shearbolt.proving.trace import STEP_S, Trace

Enable = Literal["key", "running", "stopped", "warm", "loaded", "moving", "rest"]
"""When a watch looks: with the key on; running for some seconds; stopped; warm and running; under
load; driving; at key-on after a night's rest."""

_SETTLED_S = 6.0
_PIN_HIGH_V = {"ntc": 4.9, "ratiometric": 4.75, "switch": 4.85}
_PIN_LOW_V = {"ntc": 0.1, "ratiometric": 0.25, "switch": 0.15}
"""Reference sheet 6.9 and 6.10: an open NTC is at 5 V, a sound one at -40 °C below 4.8 V."""
_EXHAUST_HIGH_C, _EXHAUST_LOW_C = 950.0, -30.0
_RESTED_K = 4.0
"""A machine whose coolant is within this of the air has stood for a night."""


def run_s(trace: Trace) -> F64:
    """Return for how long the engine has been running without a break, in seconds."""
    if "run_s" not in trace.memo:
        trace.memo["run_s"] = _lasting(trace.running) * STEP_S
    return trace.memo["run_s"]


def _lasting(flags: Flags) -> F64:
    """Return how many steps each flag has stood without a break."""
    place = np.arange(1, len(flags) + 1)
    last_off = np.maximum.accumulate(np.where(flags, 0, place))
    return np.asarray(np.where(flags, place - last_off, 0), np.float64)


def enabled(trace: Trace, when: Enable) -> Flags:
    """Tell at which steps a watch looks."""
    if when == "key":
        return trace.key
    if when == "running":
        return np.asarray(run_s(trace) > _SETTLED_S, np.bool_)
    if when == "stopped":
        ever = np.maximum.accumulate(trace.running | trace.cranking)
        return np.asarray(trace.key & ~ever & (trace.time_s > 0.6), np.bool_)
    if when == "warm":
        return np.asarray((run_s(trace) > 120.0) & (trace.coolant_c > 70.0), np.bool_)
    if when == "loaded":
        return np.asarray((run_s(trace) > 20.0) & (trace.load_pct > 55.0), np.bool_)
    if when == "moving":
        # Known from the input speed and the ratio engaged, whatever the sensor says.
        return np.asarray(trace.speed_km_h > 2.5, np.bool_)
    rested = abs(trace.coolant_c[0] - trace.ambient_c[0]) < _RESTED_K
    return np.asarray(trace.key & bool(rested) & ~trace.running[:1].all(), np.bool_)


def limit(
    spn: int, controller: str, on: float, off: float, when: Enable = "key", scale: bool = False
) -> Watch:
    """Watch a reading for values beyond `on` that have not come back past `off` since.

    `scale`: the limits are volts of a 12 V system, and go with the machine's own.
    """

    def watch(trace: Trace) -> Flags:
        factor = trace.build.volts / 12 if scale else 1.0
        beyond = hysteresis(sensed(trace, spn, controller), on * factor, off * factor)
        return beyond & enabled(trace, when)

    return watch


def circuit(spn: int, controller: str, end: Literal["high", "low"]) -> Watch:
    """Watch a pin for the end of its scale: FMI 3 high, FMI 4 low (reference sheet 6.9)."""

    def watch(trace: Trace) -> Flags:
        kind = circuit_of(spn).kind
        if kind == "exhaust":
            values = sensed(trace, spn, controller)
            hot = values > _EXHAUST_HIGH_C if end == "high" else values < _EXHAUST_LOW_C
            return np.asarray(hot & trace.key, np.bool_)
        volts = pin_volts(trace, spn, controller)
        off = volts > _PIN_HIGH_V[kind] if end == "high" else volts < _PIN_LOW_V[kind]
        return np.asarray(off & trace.key, np.bool_)

    return watch


def span_of(spn: int) -> float:
    """Return how large a step of a reading is impossible between two samples."""
    one = circuit_of(spn)
    if one.kind == "ratiometric":
        return 0.22 * (one.high - one.low)
    return 60.0 if one.kind == "exhaust" else 14.0


def recent(events: Flags, within_s: float) -> I64:
    """Return how many events there were, at each step, in the last `within_s` seconds."""
    total = np.cumsum(events.astype(np.int64))
    steps = round(within_s / STEP_S)
    before = np.concatenate([np.zeros(min(steps, len(total)), np.int64), total[:-steps]])
    return np.asarray(total - before[: len(total)], np.int64)


def erratic(spn: int, controller: str, times: int = 5, within_s: float = 20.0) -> Watch:
    """Watch for a reading that jumps again and again: FMI 2."""

    def watch(trace: Trace) -> Flags:
        values = sensed(trace, spn, controller)
        jumps = np.abs(np.diff(values, prepend=values[0])) > span_of(spn)
        return np.asarray((recent(jumps & trace.key, within_s) >= times) & trace.key, np.bool_)

    return watch


def pin_leaves(spn: int, controller: str, times: int = 3, within_s: float = 20.0) -> Watch:
    """Watch for a pin that leaves its scale again and again: FMI 2 of what may jump by itself."""
    ends = (circuit(spn, controller, "high"), circuit(spn, controller, "low"))

    def watch(trace: Trace) -> Flags:
        outside = ends[0](trace) | ends[1](trace)
        begun = outside & ~np.concatenate([outside[:1], outside[:-1]])
        return np.asarray((recent(begun, within_s) >= times) & trace.key, np.bool_)

    return watch


def rough(spn: int, controller: str) -> Watch:
    """Watch for a signal that is far too restless for what it measures: FMI 2."""
    one = circuit_of(spn)
    most = 0.022 * (one.high - one.low)

    def watch(trace: Trace) -> Flags:
        values = sensed(trace, spn, controller)
        steps = np.abs(np.diff(values, prepend=values[0]))
        return np.asarray((lag(steps, 6.0, STEP_S, 0.0) > most) & trace.key, np.bool_)

    return watch


def leaps(spn: int, controller: str) -> Watch:
    """Watch for a single step that no fluid can make, within the range of the pin: FMI 10."""

    def watch(trace: Trace) -> Flags:
        values = sensed(trace, spn, controller)
        volts = pin_volts(trace, spn, controller)
        kind = circuit_of(spn).kind
        inside = (volts < _PIN_HIGH_V[kind]) & (volts > _PIN_LOW_V[kind])
        sound = inside & np.concatenate([inside[:1], inside[:-1]])
        step = np.abs(np.diff(values, prepend=values[0])) > span_of(spn)
        return np.asarray((recent(step & sound & trace.key, 3.0) >= 1) & trace.key, np.bool_)

    return watch


def frozen(spn: int, controller: str, for_s: float) -> Watch:
    """Watch for a reading that does not move at all while the engine runs: FMI 2."""

    def watch(trace: Trace) -> Flags:
        values = sensed(trace, spn, controller)
        still = (np.diff(values, prepend=np.nan) == 0.0) & trace.running
        sound = (pin_volts(trace, spn, controller) > 0.3) & (trace.fuel_l_h > 0.0)
        return np.asarray(_lasting(still & sound) * STEP_S > for_s, np.bool_)

    return watch


def pulses_lost(spn: int, controller: str, when: Enable, least: float) -> Watch:
    """Watch for a speed sensor that gives no pulses although its shaft must turn: FMI 8."""

    def watch(trace: Trace) -> Flags:
        should = enabled(trace, when) if when != "loaded" else trace.pto & (trace.pto_rpm > 100)
        return np.asarray(should & (sensed(trace, spn, controller) < least), np.bool_)

    return watch


def pulses_skip(spn: int, controller: str, when: Enable, least: float) -> Watch:
    """Watch for a speed sensor that drops out again and again: FMI 2."""
    lost = pulses_lost(spn, controller, when, least)

    def watch(trace: Trace) -> Flags:
        gone = lost(trace)
        begun = gone & ~np.concatenate([gone[:1], gone[:-1]])
        return np.asarray((recent(begun, 45.0) >= 3) & trace.key, np.bool_)

    return watch


def says_nothing(spn: int, controller: str, when: Enable) -> Watch:
    """Watch for a device with wits of its own that sends plain zero: FMI 12."""

    def watch(trace: Trace) -> Flags:
        return np.asarray((sensed(trace, spn, controller) == 0.0) & enabled(trace, when), np.bool_)

    return watch


def rail(controller: str, name: str, end: Literal["high", "low"]) -> Watch:
    """Watch a sensor supply: FMI 3 above 5.3 V, FMI 4 below 4.7 V."""

    def watch(trace: Trace) -> Flags:
        volts = rail_volts(trace, controller, name)
        off = volts > RAIL_V + 0.3 if end == "high" else volts < RAIL_V - 0.3
        return np.asarray(off & trace.key, np.bool_)

    return watch


def output(spn: int, kind: Literal["open", "short_minus", "short_plus"]) -> Watch:
    """Watch a driver of a valve or clutch for its current: FMI 5 open, 6 grounded, 3 shorted."""

    def watch(trace: Trace) -> Flags:
        there = np.zeros(len(trace.time_s), np.bool_)
        for one in trace.plight.wires:
            if one.spn == spn and one.kind == kind:
                there |= moments(trace, one.when, "wire", spn, one.kind)
        return there & trace.key

    return watch


def after_rest(
    spn: int, controller: str, others: tuple[int, ...], sign: int, off_k: float = 15.0
) -> Watch:
    """Watch for one temperature that disagrees with the others after a night: FMI 20 or 21.

    `sign` 1 watches for too high, -1 for too low. What is found holds for the key cycle.
    """

    def watch(trace: Trace) -> Flags:
        first = min(int(0.8 / STEP_S), len(trace.time_s) - 1)
        if not enabled(trace, "rest")[first]:
            return np.zeros(len(trace.time_s), np.bool_)
        volts = pin_volts(trace, spn, controller)[first]
        exhaust = circuit_of(spn).kind == "exhaust"
        own = float(sensed(trace, spn, controller)[first])
        apart = [sign * (own - float(sensed(trace, one, controller)[first])) for one in others]
        alone = sum(one > off_k for one in apart) >= max(2, len(others) - 1)
        inside = exhaust or _PIN_LOW_V["ntc"] < volts < _PIN_HIGH_V["ntc"]
        wrong = alone and inside
        return np.asarray((trace.time_s >= 0.8) & trace.key & bool(wrong), np.bool_)

    return watch


def volts(controller: str, on: float, off: float, when: Enable = "key") -> Watch:
    """Watch a controller's own supply; limits are those of a 12 V system."""

    def watch(trace: Trace) -> Flags:
        factor = trace.build.volts / 12
        own = controller_volts(trace, controller)
        return hysteresis(own, on * factor, off * factor) & enabled(trace, when)

    return watch


def bus_of(trace: Trace, channel: str) -> tuple[F64, F64]:
    """Return share of lost frames and error frames a second on one bus."""
    key = ("bus", channel)
    if key not in trace.memo:
        state = bus_state(trace, channel)
        trace.memo[key] = state.lost_share
        trace.memo["errors", channel] = state.errors_a_s
    return trace.memo[key], trace.memo["errors", channel]


def silent(trace: Trace, partner: str, channel: str, reboot_s: float, implement: bool) -> Flags:
    """Tell at which steps nothing comes from a partner: no power, booting, mute or cut off."""
    dark = ~powered(trace, partner, implement=implement)
    # A controller that lost power boots before it speaks again.
    boots = _lasting(~dark) * STEP_S < reboot_s
    ever = np.maximum.accumulate(dark)
    quiet = dark | (boots & ever)
    mute = bus_state(trace, channel).mute.get(partner)
    if mute is not None:
        quiet = quiet | mute
    lost, _ = bus_of(trace, channel)
    return np.asarray(quiet | (lag(lost, 0.5, STEP_S) > 0.9), np.bool_)


def missing(
    partner: str, channel: str, reboot_s: float = 2.4, implement: bool = False, boot_s: float = 3.0
) -> Watch:
    """Watch for a partner's messages that do not come: FMI 9.

    It waits `boot_s` after key-on for the partner to boot.
    """

    def watch(trace: Trace) -> Flags:
        quiet = silent(trace, partner, channel, reboot_s, implement)
        waits = trace.time_s > boot_s + (0.0 if trace.running[0] else 1.0)
        return np.asarray(quiet & trace.key & waits & ~trace.cranking, np.bool_)

    return watch


def disturbed(channel: str) -> Watch:
    """Watch a bus for errors without its being dead: FMI 2 of the network itself."""

    def watch(trace: Trace) -> Flags:
        lost, errors = bus_of(trace, channel)
        busy = (lag(errors, 2.0, STEP_S) > 12.0) | (lag(lost, 2.0, STEP_S) > 0.1)
        return np.asarray(busy & (lag(lost, 0.5, STEP_S) <= 0.9) & trace.key, np.bool_)

    return watch


def relayed(spn: int, sender: str, set_s: float) -> Watch:
    """Watch for a signal that its sender marks as an error: FMI 19 of whoever needs it."""
    ends = (circuit(spn, sender, "high"), circuit(spn, sender, "low"))

    def watch(trace: Trace) -> Flags:
        marked = np.zeros(len(trace.time_s), np.bool_)
        for end in ends:
            for first, last in debounce(end(trace), set_s, set_s):
                until = trace.time_s[-1] + 1.0 if last is None else last
                marked |= (trace.time_s >= first) & (trace.time_s < until)
        return marked

    return watch


def reset_while_on(controller: str, implement: bool = False, shown_s: float = 5.0) -> Watch:
    """Watch for a restart with the key on and the engine not cranking: it notes that its supply
    failed, for `shown_s` after.
    """

    def watch(trace: Trace) -> Flags:
        on = powered(trace, controller, implement=implement)
        came_back = on & ~np.concatenate([on[:1], on[:-1]])
        came_back &= trace.key & ~trace.cranking & (run_s(trace) > 3.0)
        return np.asarray((recent(came_back, shown_s) >= 1) & trace.key, np.bool_)

    return watch
