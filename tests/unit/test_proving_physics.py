"""The physics of the proving ground against published figures, outside of its own code."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from shearbolt.model.fault import Lamps
from shearbolt.model.frames import F64
from shearbolt.proving.exhaust import filter_factor, filter_pressure_kpa
from shearbolt.proving.faults import (
    count_kept,
    count_sent,
    debounce,
    during,
    repeated,
    together,
)
from shearbolt.proving.machines import BIG_TRACTOR, FORAGER, NEW_TRACTOR, TELEHANDLER
from shearbolt.proving.outing import work
from shearbolt.proving.physics import (
    HYDRAULIC_OIL,
    Battery,
    Oil,
    air_flow_kg_s,
    barometer_kpa,
    compressor_outlet_c,
    filter_drop_kpa,
    hysteresis,
    lag,
    oil_pressure_kpa,
    wander,
)
from shearbolt.proving.script import SEASON
from shearbolt.proving.trace import STEP_S, Day, Trace, simulate


def one(value: float) -> F64:
    return np.array([value])


def test_barometer_is_the_standard_atmosphere() -> None:
    # ISO 2533 (reference sheet 6.2)
    height = np.array([0, 500, 1000, 1500, 2000, 3000])
    printed = np.array([101.33, 95.46, 89.87, 84.56, 79.50, 70.11])
    assert np.allclose(barometer_kpa(height), printed, atol=0.01)


@pytest.mark.parametrize(
    ("at_40", "at_100", "a", "b", "table"),
    [
        # ASTM D341 (reference sheet 6.6): mm2/s at -20, 0, 20, 60, 80 degC
        (32.0, 5.4, 9.5308, 3.7466, (2290, 336, 86.3, 15.2, 8.5)),
        (46.0, 6.8, 9.4180, 3.6844, (4520, 577, 134, 20.6, 11.1)),
        (68.0, 8.7, 9.3097, 3.6244, (9350, 1033, 215, 28.7, 14.7)),
    ],
)
def test_oil_viscosity(
    at_40: float, at_100: float, a: float, b: float, table: tuple[float, ...]
) -> None:
    oil = Oil.from_points(at_40, at_100)
    assert oil.a == pytest.approx(a, rel=0.002)
    assert oil.b == pytest.approx(b, rel=0.002)
    computed = oil.viscosity_mm2_s(np.array([-20.0, 0.0, 20.0, 60.0, 80.0]))
    assert np.allclose(computed, table, rtol=0.03)


def test_cold_hydraulic_filter() -> None:
    # Reference sheet 6.6: 30 kPa at 40 degC is 376 kPa at 0 degC and 171 kPa at 10 degC
    cold = np.array([0.0, 10.0, 40.0])
    drop = filter_drop_kpa(HYDRAULIC_OIL, cold, np.ones(3), 30.0, bypass_kpa=1e9)
    assert np.allclose(drop, [376.0, 171.0, 30.0], rtol=0.02)
    bypassed = filter_drop_kpa(HYDRAULIC_OIL, cold, np.ones(3), 30.0)
    assert bypassed[0] == pytest.approx(250.0 + 0.2 * (drop[0] - 250.0))
    assert bypassed[1:] == pytest.approx(drop[1:])


def test_air_flow_and_exhaust() -> None:
    # Reference sheet 6.3: 6.7 L, 1800 rpm, 0.90, 250 kPa, 50 degC
    flow = air_flow_kg_s(one(1800.0), one(250.0), one(50.0), displacement_l=6.7, filling=0.9)
    assert flow[0] == pytest.approx(0.2438, rel=0.001)
    assert compressor_outlet_c(one(25.0), one(2.5))[0] == pytest.approx(144.0, abs=0.5)


def test_particulate_filter_follows_flow() -> None:
    build = NEW_TRACTOR.build
    assert build is not None

    def drop(kg_h: tuple[float, ...], gas_c: tuple[float, ...], soot: float, ash: float) -> F64:
        assert build is not None
        factor = filter_factor(build, one(soot), ash)
        return filter_pressure_kpa(np.array(kg_h), np.array(gas_c), factor, 0.0)

    # Reference sheet 6.8: the drop at idle is 0.256 of the drop at rated flow, linear filter
    rated, idle = drop((903.0, 300.0), (350.0, 250.0), 50.0, 0.0)
    assert idle / rated == pytest.approx(0.256, abs=0.002)
    assert drop((0.0,), (20.0,), 50.0, 5.0)[0] == 0.0
    # Measured on a truck: 256 to 409 kg/h at 273 to 288 degC give 1.1 to 1.9 kPa.
    low, high = drop((256.0, 409.0), (280.0, 280.0), 30.0, 12.0)
    assert 0.7 < low < 1.5
    assert 1.1 < high < 2.3
    # Soot and ash add to it.
    assert drop((409.0,), (280.0,), 90.0, 12.0)[0] > 1.2 * high
    assert drop((409.0,), (280.0,), 30.0, 90.0)[0] > 1.2 * high


@pytest.mark.parametrize(
    ("temperature_c", "lowest_v"),
    [(21.0, 9.6), (10.0, 9.4), (0.0, 9.1), (-10.0, 8.9), (-18.0, 8.5)],
)
def test_cranking_voltage(temperature_c: float, lowest_v: float) -> None:
    # Reference sheet 6.5: minima of the plateau for a 12 V system
    good = Battery(charge=0.9).cranking_v(temperature_c)
    weak = Battery(charge=0.3, resistance=1.5).cranking_v(temperature_c)
    assert lowest_v < good < 11.2
    assert weak < lowest_v


@pytest.mark.parametrize(
    ("charge", "rest_v"), [(1.0, 12.65), (0.75, 12.45), (0.5, 12.24), (0.25, 12.06), (0.0, 11.89)]
)
def test_rest_voltage(charge: float, rest_v: float) -> None:
    # Reference sheet 6.5
    assert Battery(charge=charge).rest_v == pytest.approx(rest_v)


def test_oil_pressure_bands() -> None:
    # Reference sheet 6.7: hot idle 50 to 250 kPa, rated 250 to 450, cold up to the relief
    def pressure(rpm: float, oil_c: float) -> float:
        return float(oil_pressure_kpa(one(rpm), one(oil_c), rated_rpm=2100.0, rated_kpa=370.0)[0])

    assert 50.0 < pressure(800.0, 100.0) < 250.0
    assert 250.0 < pressure(2100.0, 100.0) < 450.0
    assert 500.0 < pressure(2100.0, 5.0) < 700.0
    assert pressure(1500.0, 40.0) > pressure(1500.0, 100.0) > pressure(900.0, 100.0)
    assert pressure(0.0, 40.0) == 0.0


@given(
    st.lists(st.floats(-1000, 1000), min_size=1, max_size=300),
    st.floats(0.01, 50.0),
    st.floats(-500, 500),
)
def test_lag_is_the_step_by_step_filter(values: list[float], tau_s: float, start: float) -> None:
    keep = math.exp(-STEP_S / tau_s)
    state, expected = start, []
    for value in values:
        state = keep * state + (1.0 - keep) * value
        expected.append(state)
    assert np.allclose(lag(np.array(values), tau_s, STEP_S, start), expected, atol=1e-6)


@given(st.lists(st.floats(-10, 10), min_size=1, max_size=200), st.floats(-5, 5), st.floats(-5, 5))
def test_hysteresis_is_the_step_by_step_rule(values: list[float], on: float, off: float) -> None:
    high, state, expected = on >= off, False, []
    for value in values:
        if value > on if high else value < on:
            state = True
        elif value < off if high else value > off:
            state = False
        expected.append(state)
    assert hysteresis(np.array(values), on, off).tolist() == expected


@given(st.lists(st.booleans(), min_size=1, max_size=400), st.integers(1, 20), st.integers(1, 20))
def test_debounce_is_the_step_by_step_rule(flags: list[bool], to_set: int, to_heal: int) -> None:
    # The delays in whole steps and a half, so that no rounding decides.
    spells = debounce(np.array(flags), (to_set - 0.5) * STEP_S, (to_heal - 0.5) * STEP_S)
    bad = good = 0
    active, starts, ends = False, 0, 0
    for flag in flags:
        bad, good = (bad + 1, 0) if flag else (0, good + 1)
        if not active and bad >= to_set:
            active, starts = True, starts + 1
        elif active and good >= to_heal:
            active, ends = False, ends + 1
    assert len(spells) == starts
    assert sum(heal is not None for _, heal in spells) == ends
    for set_s, heal_s in spells:
        assert heal_s is None or heal_s > set_s


def test_wander_has_its_size() -> None:
    noise = wander(np.random.default_rng(3), 200_000, 5.0, 0.5, STEP_S)
    assert noise.std() == pytest.approx(5.0, rel=0.1)
    assert abs(noise.mean()) < 0.5


def test_counts_by_convention() -> None:
    # field practice: a rise at the onset, at the end, once a key cycle, or never
    assert [count_sent("onset", 4, nth) for nth in (1, 2)] == [5, 6]
    assert [count_sent("end", 0, nth) for nth in (1, 2)] == [0, 1]
    assert [count_sent("key_cycle", 4, nth) for nth in (1, 2)] == [5, 5]
    assert [count_sent("never", 0, nth) for nth in (1, 2)] == [0, 0]
    assert count_kept("end", 4, started=3, healed=2) == 6
    assert count_kept("key_cycle", 4, started=0, healed=0) == 4


def test_worst_lamp_counts() -> None:
    lit = together([Lamps("off", "off", "on", "off"), Lamps("off", "fast", "slow", None)])
    assert lit == Lamps("off", "fast", "slow", "off")
    assert together([]) == Lamps("off", "off", "off", "off")


def ride(day: Day, *seconds: int) -> Trace:
    phases = work(("key_on", 3), ("crank", 2), ("idle", 55), ("mow", 1740))
    build = BIG_TRACTOR.build
    assert build is not None
    return simulate(build, day, phases, np.random.default_rng(5))


def test_half_an_hour_of_mowing() -> None:
    # Reference sheet 6.11: coolant rises by 0.5 to 3 K/min (more under full load) to 75 to 95 degC
    trace = ride(Day(ambient_c=12.0))
    minute = int(60 / STEP_S)
    rise = np.diff(trace.coolant_c[::minute])
    assert rise.max() < 8.0
    assert 75.0 < trace.coolant_c[-1] < 95.0
    assert trace.oil_c[-1] > trace.coolant_c[-1]
    # A cold machine reads one temperature everywhere (reference sheet 6.1).
    for start in (trace.coolant_c, trace.oil_c, trace.hydraulic_c, trace.transmission_c):
        assert start[0] == pytest.approx(12.0)
    assert np.all(np.abs(np.diff(trace.coolant_c)) < 0.05)
    assert np.all(trace.oil_kpa[trace.engine_rpm < 1.0] < 8.0)
    assert np.all(trace.boost_kpa[:40] == 0.0)


def test_start_dips_and_charges() -> None:
    # Measured on a healthy tractor: 7.75 V once at the key switch, then 14.15 V
    trace = ride(Day(ambient_c=15.0))
    cranking = trace.keyswitch_v[trace.cranking]
    assert 7.0 < cranking.min() < 9.5
    assert trace.battery_v[trace.cranking][-1] > 9.4
    assert 13.8 < trace.battery_v[-1] < 14.7


def test_blocked_radiator_overheats_and_a_clean_one_does_not() -> None:
    build = FORAGER.build
    assert build is not None
    phases = work(("chop", 600))
    hot = Day(ambient_c=27.0, coolant_c=92.0, radiator_share=0.2)
    blocked = simulate(build, hot, phases, np.random.default_rng(5))
    clean = simulate(build, Day(ambient_c=27.0, coolant_c=92.0), phases, np.random.default_rng(5))
    assert blocked.coolant_c.max() > 112.0
    assert clean.coolant_c.max() < 100.0


def test_cold_morning_closes_the_filter_switch_and_warm_does_not() -> None:
    build = TELEHANDLER.build
    assert build is not None
    phases = work(("load", 200))
    cold = simulate(build, Day(ambient_c=3.0), phases, np.random.default_rng(5))
    warm = simulate(build, Day(hydraulic_c=42.0), phases, np.random.default_rng(5))
    assert (cold.hydraulic_drop_kpa > 170.0).any()
    assert cold.hydraulic_c[-1] > cold.hydraulic_c[0] + 10.0
    assert not (warm.hydraulic_drop_kpa > 60.0).any()


def test_repeated_counts_beginnings() -> None:
    trace = ride(Day())
    watch = repeated(((10.0, 10.1), (20.0, 20.1), (30.0, 30.1)), 3, 25.0)
    flagged = trace.time_s[watch(trace)]
    assert flagged[0] == pytest.approx(30.0)
    assert flagged[-1] == pytest.approx(35.0, abs=0.1)
    assert during((1.0, 2.0))(trace).sum() == 20


def test_season_starts_believably() -> None:
    assert all(outing.day.altitude_m < 400.0 for outing in SEASON)
    assert all(-5.0 < outing.day.ambient_c < 35.0 for outing in SEASON)
