"""The codes that belong to one part of a machine: engine, drive line, exhaust treatment, cab.

Each judges by more than one reading, or by what the operator does. Limits and delays are common
practice (no source) but for those that the reference sheet names.
"""

from __future__ import annotations

import numpy as np

from shearbolt.model.frames import F64
from shearbolt.proving.codes import Codes
from shearbolt.proving.exhaust import REASONS, SWITCH, filter_factor, filter_pressure_kpa
from shearbolt.proving.faults import AMBER, OFF, PROTECT, RED_FLASHING, Watch
from shearbolt.proving.physics import Flags, hysteresis, lag
from shearbolt.proving.quantities import BOOM, SEAT, STEERING
from shearbolt.proving.sensing import pin_volts, sensed
from shearbolt.proving.trace import STEP_S, Trace
from shearbolt.proving.watches import circuit, enabled, erratic, output, recent, rough, run_s

SCR_CONVERSION = 4364
START_IN_GEAR = 524_020
FILTER_CONDITIONS = 3750
"""Conditions for an active regeneration are not met (from memory)."""
OUTPUTS: dict[str, tuple[int, ...]] = {
    "wagon": (521_010, 521_014),
    "engine": (1347, 626),
    "transmission": (734, 735),
    "hydraulics": (521_120,),
    "treatment": (4376,),
    "machine": (521_305,),
}
"""Valves and clutches that a controller drives (maker-range numbers but for 1347 pump valve, 626
start aid, 734 and 735 transmission solenoids, 4376 DEF return valve)."""


def part_codes(codes: Codes) -> None:
    """Add the codes of the part that the controller is."""
    if codes.key == "engine":
        _engine(codes)
    if codes.key == "transmission":
        _transmission(codes)
    if 3251 in codes.reads:
        _filter(codes)
    if 3226 in codes.reads:
        _catalyst(codes)
    _operator(codes)
    for spn in OUTPUTS.get(codes.key, ()):
        codes.add(spn, 5, output(spn, "open"), 1.0, 3.0, "wiring")
        codes.add(spn, 6, output(spn, "short_minus"), 0.5, 3.0, "wiring")
        codes.add(spn, 3, output(spn, "short_plus"), 0.5, 3.0, "wiring")
    _calibration(codes)
    _shut_down(codes)


def _pin_sound(trace: Trace, spn: int, controller: str) -> Flags:
    """Tell where a pin is inside its scale: only then is the reading judged."""
    volts = pin_volts(trace, spn, controller)
    return np.asarray((volts > 0.25) & (volts < 4.75), np.bool_)


def oil_least_kpa(rpm: F64) -> F64:
    """Return the least oil pressure a controller lets pass, by speed (reference sheet 6.7)."""
    return np.asarray(42.0 + 0.075 * np.clip(rpm - 700.0, 0.0, None), np.float64)


def _oil_low(controller: str, share: float) -> Watch:
    def watch(trace: Trace) -> Flags:
        rpm = sensed(trace, 190, controller)
        pressure = sensed(trace, 100, controller)
        low = hysteresis(pressure - share * oil_least_kpa(rpm), 0.0, 15.0)
        settled = (run_s(trace) > 8.0) & (rpm > 500.0)
        return np.asarray(low & settled & _pin_sound(trace, 100, controller), np.bool_)

    return watch


def _standing_pressure(spn: int, controller: str, most: float, sign: int = 1) -> Watch:
    """Watch for pressure where there can be none: engine stopped (reference sheet 6.7, 6.8)."""

    def watch(trace: Trace) -> Flags:
        beyond = sign * sensed(trace, spn, controller) > most
        sound = _pin_sound(trace, spn, controller) | (spn in (102, 1127))
        return np.asarray(beyond & sound & enabled(trace, "stopped"), np.bool_)

    return watch


def boost_due_kpa(trace: Trace, controller: str) -> F64:
    """Return the boost that a sound engine makes at the speed and load of the moment."""
    key = ("boost_due", controller)
    if key not in trace.memo:
        share = sensed(trace, 190, controller) / trace.build.rated_rpm
        load = sensed(trace, 92, controller) / 100.0
        height = (sensed(trace, 108, controller) / 101.325) ** 0.3
        due = trace.build.boost_kpa * height * load * np.clip(share, 0.0, None) ** 1.3
        trace.memo[key] = lag(due, 1.1, STEP_S)
    return trace.memo[key]


def _boost_off(spn: int, controller: str, short: bool) -> Watch:
    def watch(trace: Trace) -> Flags:
        due, boost = boost_due_kpa(trace, controller), sensed(trace, spn, controller)
        apart = boost < 0.74 * due - 8.0 if short else boost > 1.22 * due + 25.0
        looks = enabled(trace, "loaded") & (due > 60.0) if short else enabled(trace, "running")
        return np.asarray(apart & looks & _pin_sound(trace, spn, controller), np.bool_)

    return watch


def _rail_off(controller: str, short: bool) -> Watch:
    """Watch rail pressure against what the controller asks for."""

    def watch(trace: Trace) -> Flags:
        share = sensed(trace, 190, controller) / trace.build.rated_rpm
        load = sensed(trace, 92, controller) / 100.0
        wanted = lag(20.0 + 80.0 * share + 75.0 * load * share, 0.25, STEP_S)
        pressure = sensed(trace, 157, controller)
        apart = pressure < 0.8 * wanted - 3.0 if short else pressure > 1.18 * wanted + 10.0
        looks = run_s(trace) > 5.0
        return np.asarray(apart & looks & _pin_sound(trace, 157, controller), np.bool_)

    return watch


def _never_warm(controller: str) -> Watch:
    """Watch for coolant that stays cold under load: below 65 °C after 30 min (sheet 6.11)."""

    def watch(trace: Trace) -> Flags:
        worked = np.cumsum(trace.running & (sensed(trace, 92, controller) > 35.0)) * STEP_S
        cold = (sensed(trace, 110, controller) < 65.0) & (worked > 1500.0)
        return np.asarray(cold & trace.running, np.bool_)

    return watch


def _revved_cold(controller: str) -> Watch:
    """Watch for high speed while the oil is still cold and its pressure at the relief."""

    def watch(trace: Trace) -> Flags:
        rpm = sensed(trace, 190, controller) / trace.build.rated_rpm
        cold = sensed(trace, 110, controller) < 30.0
        return np.asarray(cold & (rpm > 0.88) & (run_s(trace) < 28.0) & trace.running, np.bool_)

    return watch


def _fan_slow(controller: str) -> Watch:
    def watch(trace: Trace) -> Flags:
        build = trace.build
        hot = sensed(trace, 110, controller) > build.fan_full_c + 1.0
        due = sensed(trace, 190, controller) * build.fan_ratio
        slow = sensed(trace, 1639, controller) < 0.55 * due
        return np.asarray(hot & slow & (run_s(trace) > 60.0), np.bool_)

    return watch


def _engine(codes: Codes) -> None:
    me = codes.key
    if 100 in codes.reads:
        codes.add(100, 18, _oil_low(me, 1.25), 3.0, 10.0, "real_condition")
        codes.add(
            100, 1, _oil_low(me, 1.0), 2.0, 8.0, "real_condition", RED_FLASHING, 50.0,
            latched=False,
        )  # fmt: skip
        if codes.newer:
            codes.add(100, 20, _standing_pressure(100, me, 60.0), 1.2, 3.0, "sensor")
    for spn in sorted(codes.reads & {102, 1127}):
        codes.add(
            spn, 18, _boost_off(spn, me, True), 10.0, 30.0, "real_condition", AMBER, 85.0,
            monitor="boost_control",
        )  # fmt: skip
        codes.add(
            spn, 16, _boost_off(spn, me, False), 6.0, 20.0, "sensor", AMBER, 85.0,
            monitor="boost_control",
        )  # fmt: skip
        codes.add(spn, 20, _standing_pressure(spn, me, 14.0), 1.2, 3.0, "sensor")
        codes.add(spn, 13, _standing_pressure(spn, me, 14.0, -1), 1.2, 3.0, "calibration")
    for spn, most in ((107, 1.0), (157, 8.0)):
        if codes.newer and spn in codes.reads:
            codes.add(spn, 20, _standing_pressure(spn, me, most), 1.2, 3.0, "sensor")
    if 157 in codes.reads:
        codes.add(157, 18, _rail_off(me, True), 2.0, 6.0, "real_condition", AMBER, 70.0)
        codes.add(157, 16, _rail_off(me, False), 2.0, 6.0, "sensor", AMBER, 80.0)
    codes.add(100, 16, _revved_cold(me), 0.4, 5.0, "operator", PROTECT)
    codes.add(110, 17, _never_warm(me), 30.0, 60.0, "real_condition", OFF)
    if 1639 in codes.reads:
        codes.add(1639, 18, _fan_slow(me), 20.0, 30.0, "real_condition")

    def too_fast(trace: Trace) -> Flags:
        most = 1.16 * trace.build.rated_rpm
        return hysteresis(sensed(trace, 190, me), most, 0.97 * most)

    codes.add(190, 0, too_fast, 0.6, 5.0, "operator", RED_FLASHING)


def _transmission(codes: Codes) -> None:
    me = codes.key
    if 127 in codes.reads:

        def low(share: float) -> Watch:
            def watch(trace: Trace) -> Flags:
                due = 1750.0 * np.clip(trace.engine_rpm / trace.build.rated_rpm * 2.2, 0.0, 1.0)
                short = sensed(trace, 127, me) < share * due
                looks = (run_s(trace) > 10.0) & _pin_sound(trace, 127, me)
                return np.asarray(short & looks, np.bool_)

            return watch

        codes.add(127, 18, low(0.72), 2.0, 8.0, "real_condition")
        codes.add(127, 1, low(0.5), 1.0, 8.0, "real_condition", RED_FLASHING)
    if 161 in codes.reads and 191 in codes.reads:

        def apart(trace: Trace) -> Flags:
            due = sensed(trace, 190, "engine") * 0.985
            off = np.abs(sensed(trace, 161, me) - due) > 0.12 * due + 60.0
            return np.asarray(off & (run_s(trace) > 4.0) & (due > 400.0), np.bool_)

        codes.add(161, 7, apart, 3.0, 6.0, "sensor")


def _filter(codes: Codes) -> None:
    """Judge the particulate filter's drop against the flow (reference sheet 6.8)."""
    me = codes.key

    def due(trace: Trace, soot_pct: float) -> F64:
        count = len(trace.time_s)
        return filter_pressure_kpa(
            trace.exhaust_kg_h, sensed(trace, 3242, me),
            filter_factor(trace.build, np.full(count, soot_pct), 0.0),
            trace.build.filter_inertial, trace.barometer_kpa,
        )  # fmt: skip

    def high(trace: Trace) -> Flags:
        drop = lag(sensed(trace, 3251, me), 8.0, STEP_S)
        most = lag(due(trace, 175.0), 8.0, STEP_S)
        looks = enabled(trace, "running") & (most > 2.0) & _pin_sound(trace, 3251, me)
        return np.asarray((drop > most) & looks, np.bool_)

    def low(trace: Trace) -> Flags:
        drop = lag(sensed(trace, 3251, me), 8.0, STEP_S)
        least = lag(due(trace, 0.0), 8.0, STEP_S)
        # A broken pin has its own code; 0 kPa is well inside the scale.
        looks = enabled(trace, "loaded") & (least > 1.5) & _pin_sound(trace, 3251, me)
        return np.asarray((drop < 0.45 * least) & looks, np.bool_)

    codes.add(3251, 16, high, 20.0, 30.0, "real_condition", AMBER, 80.0, monitor="dpf")
    codes.add(3251, 18, low, 30.0, 60.0, "real_condition", AMBER, monitor="dpf")
    codes.add(3251, 20, _standing_pressure(3251, me, 1.2), 1.2, 3.0, "sensor", monitor="dpf")

    def kept_by(spn: int) -> Watch:
        def watch(trace: Trace) -> Flags:
            wanted = (sensed(trace, 3719, me) > 82.0) & ~trace.regenerating
            return np.asarray(trace.inhibited[spn] & wanted & trace.running, np.bool_)

        return watch

    def kept_off(trace: Trace) -> Flags:
        wanted = (sensed(trace, 3719, me) > 92.0) & ~trace.regenerating
        inhibited = np.logical_or.reduce(list(trace.inhibited.values()))
        return np.asarray(wanted & inhibited & (run_s(trace) > 30.0), np.bool_)

    for spn in REASONS:
        long_s = 45.0 if spn == SWITCH else 420.0
        codes.add(spn, 31, kept_by(spn), long_s, 30.0, "inhibited_regeneration")
    codes.add(FILTER_CONDITIONS, 31, kept_off, 120.0, 60.0, "inhibited_regeneration", OFF)


def _catalyst(codes: Codes) -> None:
    """Judge the conversion of NOx where both sensors are at temperature (sheet 6.11)."""
    me = codes.key

    def poor(trace: Trace) -> Flags:
        before = lag(sensed(trace, 3216, me), 20.0, STEP_S)
        after = lag(sensed(trace, 3226, me), 20.0, STEP_S)
        hot = (sensed(trace, 3246, me) > 270.0) & (before > 150.0) & enabled(trace, "warm")
        settled = np.cumsum(hot) * STEP_S > 90.0
        return np.asarray(hot & settled & (after > 0.38 * before), np.bool_)

    for spn in sorted(codes.reads & {3216, 3226}):
        for fmi, sign in ((20, 1), (21, -1)):
            # With the engine stopped for a night there is no NOx in the pipe.
            watch = _standing_pressure(spn, me, 60.0, sign)
            codes.add(spn, fmi, watch, 1.2, 3.0, "sensor", monitor="exhaust_gas_sensor")

    def much(trace: Trace) -> Flags:
        after = lag(sensed(trace, 3226, me), 20.0, STEP_S)
        settled = np.cumsum(enabled(trace, "warm")) * STEP_S > 240.0
        hot = sensed(trace, 3246, me) > 280.0
        return np.asarray(hot & settled & (after > 350.0), np.bool_)

    codes.add(3226, 16, much, 60.0, 120.0, "real_condition", AMBER, monitor="nox_catalyst")
    codes.add(
        SCR_CONVERSION, 18, poor, 60.0, 120.0, "real_condition", AMBER, monitor="nox_catalyst"
    )


def _operator(codes: Codes) -> None:
    """Add interlocks and warnings about use; the lamp is the protect lamp, as on real machines."""
    keys = {one.key for one in codes.machine.controllers}
    if codes.machine.build is None or keys == {"engine"}:
        return
    seat_box = next((one for one in ("machine", "hydraulics", "cab") if one in keys), "")
    park_box = next((one for one in ("transmission", "machine") if one in keys), "")
    if codes.key == seat_box:
        codes.add(SEAT, 31, left_seat, 1.5, 1.0, "operator", PROTECT, latched=False)
        codes.add(1883, 31, fast_pto, 0.0, 2.0, "operator", PROTECT, latched=False)
        codes.add(SEAT, 2, seat_sticks, 5.0, 5.0, "sensor", latched=False)
    if codes.key == park_box:
        codes.add(70, 31, park_dragged, 1.0, 2.0, "operator", PROTECT, latched=False)
        codes.add(START_IN_GEAR, 31, start_in_gear, 0.2, 3.0, "operator", PROTECT, latched=False)
        codes.add(597, 31, brake_ridden, 10.0, 5.0, "operator", PROTECT, latched=False)
        codes.add(598, 31, clutch_ridden, 8.0, 5.0, "operator", PROTECT, latched=False)
        if codes.key == "transmission":
            codes.add(STEERING, 13, steering_aside, 1.0, 5.0, "calibration")
            for fmi, end in ((3, "high"), (4, "low")):
                watch = circuit(STEERING, codes.key, "high" if end == "high" else "low")
                codes.add(STEERING, fmi, watch, 2.0, 3.0, "wiring")
            codes.add(STEERING, 2, erratic(STEERING, codes.key), 0.0, 12.0, "wiring")
            codes.add(STEERING, 2, rough(STEERING, codes.key), 0.0, 12.0, "sensor")
    if codes.key == "hydraulics":
        codes.add(BOOM, 4, circuit(BOOM, codes.key, "low"), 2.0, 3.0, "wiring")
        codes.add(BOOM, 3, circuit(BOOM, codes.key, "high"), 2.0, 3.0, "wiring")
        codes.add(BOOM, 2, erratic(BOOM, codes.key), 0.0, 12.0, "wiring")
        codes.add(BOOM, 2, rough(BOOM, codes.key), 0.0, 12.0, "sensor")


def left_seat(trace: Trace) -> Flags:
    """Tell where nobody sits on it (by the seat switch) with the PTO on or in gear."""
    empty = sensed(trace, SEAT) < 0.5
    return np.asarray(empty & trace.running & (trace.pto | ~trace.park), np.bool_)


def seat_sticks(trace: Trace) -> Flags:
    """Tell where the machine has been driven for long with nobody on the seat, by its switch."""
    empty = sensed(trace, SEAT) < 0.5
    driven = np.cumsum(empty & (trace.speed_km_h > 5.0)) * STEP_S
    return np.asarray(empty & (driven > 90.0), np.bool_)


def park_dragged(trace: Trace) -> Flags:
    """Tell where it drives with the park lever set."""
    lever = sensed(trace, 70) > 0.5
    # Only who set off with it set drags it; pulling it while rolling out is stopping.
    stood = np.where(trace.speed_km_h < 0.3, np.arange(len(lever)), 0)
    at_stand = lever[np.maximum.accumulate(stood)]
    return np.asarray(lever & at_stand & (trace.speed_km_h > 1.5), np.bool_)


def fast_pto(trace: Trace) -> Flags:
    """Tell when the PTO was engaged near full speed; the warning shows for 4 s."""
    engaged = trace.pto & ~np.concatenate([trace.pto[:1], trace.pto[:-1]])
    just = recent(np.asarray(engaged, np.bool_), 4.0) > 0
    fast = just & (trace.engine_rpm > 0.93 * trace.build.rated_rpm)
    return np.asarray(recent(np.asarray(fast, np.bool_), 4.0) > 0, np.bool_)


def start_in_gear(trace: Trace) -> Flags:
    """Tell where the key is turned with the lever in gear."""
    return np.asarray(trace.cranking & trace.plight.habits.starts_in_gear, np.bool_)


def brake_ridden(trace: Trace) -> Flags:
    """Tell where the engine pulls against the brake for most of a while.

    Holding back downhill is what a brake is for: there the engine asks for next to nothing.
    """
    pulls = (sensed(trace, 92, "engine") > 25.0) & (trace.speed_km_h > 3.0)
    against = np.asarray(pulls & (sensed(trace, 597) > 0.5), np.float64)
    return np.asarray(lag(against, 60.0, STEP_S, 0.0) > 0.6, np.bool_)


def clutch_ridden(trace: Trace) -> Flags:
    """Tell where it creeps along on the clutch pedal."""
    slow = (trace.speed_km_h > 0.8) & (trace.speed_km_h < 7.0)
    return np.asarray((sensed(trace, 598) > 0.5) & slow, np.bool_)


def steering_aside(trace: Trace) -> Flags:
    """Tell where it steers to one side all the time on the road: straight ahead is not set."""
    fast = trace.speed_km_h > 22.0
    aside = lag(np.where(fast, sensed(trace, STEERING), 0.0), 150.0, STEP_S)
    far = lag(fast.astype(np.float64), 150.0, STEP_S)
    return np.asarray(fast & (far > 0.5) & (np.abs(aside) > 8.0 * far), np.bool_)


def _calibration(codes: Codes) -> None:
    """Add FMI 13: ends of travel and ratios that are not what was taught."""
    me = codes.key
    if 91 in codes.reads:

        def pedal(trace: Trace) -> Flags:
            rest = sensed(trace, 91, me) > 4.5
            sound = _pin_sound(trace, 91, me)
            return np.asarray(rest & sound & enabled(trace, "stopped"), np.bool_)

        codes.add(91, 13, pedal, 0.8, 5.0, "calibration", AMBER, 70.0)
    if 1873 in codes.reads:

        def hitch(trace: Trace) -> Flags:
            # At the stops the valve's pressure tells where the arms truly are.
            high = (trace.hitch_pct > 98.0) & (sensed(trace, 1873, me) < 92.0)
            return np.asarray(high & _pin_sound(trace, 1873, me) & trace.running, np.bool_)

        codes.add(1873, 13, hitch, 3.0, 30.0, "calibration")
    if 84 in codes.reads and any(one.key == "transmission" for one in codes.machine.controllers):

        def tyres(trace: Trace) -> Flags:
            due = sensed(trace, 191, "transmission") / trace.build.output_rpm_a_km_h
            apart = np.abs(sensed(trace, 84, me) - due) > 0.07 * due + 0.3
            fast = (due > 12.0) & (sensed(trace, 84, me) > 5.0)
            return np.asarray(apart & fast, np.bool_)

        codes.add(84, 13, tyres, 20.0, 30.0, "calibration")


def _shut_down(codes: Codes) -> None:
    """Add what is noted at key-on when the battery switch was turned too early."""

    def cut_short(trace: Trace) -> Flags:
        early = trace.plight.habits.isolates_early
        return np.asarray(trace.key & early & (trace.time_s < 30.0), np.bool_)

    if codes.key == "engine" and codes.manner.answers:
        codes.add(628, 31, cut_short, 1.0, 2.0, "operator", OFF, latched=False)
    if 1761 in codes.reads:
        codes.add(1761, 31, cut_short, 1.5, 2.0, "operator", AMBER, latched=False)
