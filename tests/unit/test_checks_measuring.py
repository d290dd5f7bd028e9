"""From a measured value to an outcome: limits, curves, 12 and 24 V."""

from __future__ import annotations

import math

import pytest

from shearbolt.dictionary.checks import checks
from shearbolt.reasoning.checks import CheckContext, outcome_of
from shearbolt.reasoning.checks.measuring import cranking_minimum_v, platinum_ohm, thermistor_ohm


@pytest.mark.parametrize(
    ("sensor_c", "ohm"),
    [(-40, 55_650), (-20, 17_410), (0, 6_450), (25, 2_252), (60, 672), (90, 287), (120, 140)],
)
def test_the_thermistor_of_the_sheet(sensor_c: float, ohm: float) -> None:
    """Reference sheet section 6.10, worked example (IEC 60539-1 two-point form)."""
    assert thermistor_ohm("ntc_2252", sensor_c) == pytest.approx(ohm, rel=0.005)
    context = CheckContext(sensor_c=sensor_c)
    assert outcome_of("sensor_resistance", ohm, context) == "as_its_table"


def test_a_sensor_by_its_resistance() -> None:
    warm = CheckContext(sensor_c=20.0)
    assert outcome_of("sensor_resistance", 2.0, warm) == "shorted"
    assert outcome_of("sensor_resistance", 4e6, warm) == "open"
    assert outcome_of("sensor_resistance", 2_500.0, warm) == "as_its_table"
    assert outcome_of("sensor_resistance", 300.0, warm) == "off_its_table"
    # Without a temperature only a break or a short can be told.
    assert outcome_of("sensor_resistance", 2_500.0) is None
    assert outcome_of("sensor_resistance", 4e6) == "open"
    # The manual's own table goes before the common curves, and is held more tightly.
    told = CheckContext(expected_ohm=5_000.0)
    assert outcome_of("sensor_resistance", 5_500.0, told) == "as_its_table"
    assert outcome_of("sensor_resistance", 2_500.0, told) == "off_its_table"


def test_a_platinum_sensor() -> None:
    # IEC 60751: 1.3851 of its value at 0 degC when at 100 degC.
    assert platinum_ohm("pt_200", 100.0) / platinum_ohm("pt_200", 0.0) == pytest.approx(
        1.3851, 1e-4
    )
    cold = CheckContext(sensor_c=20.0)
    assert outcome_of("exhaust_sensor_resistance", 215.0, cold) == "as_its_table"
    assert outcome_of("exhaust_sensor_resistance", 300.0, cold) == "off_its_table"
    assert outcome_of("exhaust_sensor_resistance", 50_000.0, cold) == "open"
    assert outcome_of("exhaust_sensor_resistance", 1.0, cold) == "shorted"


@pytest.mark.parametrize(
    ("check", "value", "outcome"),
    [
        ("reference_voltage", 0.0, "none"), ("reference_voltage", 4.79, "low"),
        ("reference_voltage", 4.8, "right"), ("reference_voltage", 5.2, "high"),
        ("ground_drop", 0.05, "good"), ("ground_drop", -0.4, "bad"),
        ("bus_60_ohm", 60.0, "right"), ("bus_60_ohm", 120.0, "a_terminator_missing"),
        ("bus_60_ohm", 40.0, "too_many_terminators"), ("bus_60_ohm", 2.0, "short"),
        ("bus_60_ohm", 1e6, "open"), ("cold_soak", -14.0, "off"), ("cold_soak", 3.0, "agrees"),
        ("cold_soak", 7.0, "doubtful"), ("mechanical_gauge", 20.0, "low"),
        ("mechanical_gauge", 220.0, "right"), ("def_refractometer", 32.5, "right"),
        ("def_refractometer", 24.0, "too_thin"), ("def_refractometer", 41.0, "too_strong"),
        ("oil_pressure_at_rest", 8.0, "zero"), ("oil_pressure_at_rest", 60.0, "not_zero"),
        ("speed_compare", 1.0, "agrees"), ("speed_compare", 12.0, "steady_factor_off"),
        ("earth_cable_drop", 1.1, "bad"),
    ],
)  # fmt: skip
def test_limits_choose_the_outcome(check: str, value: float, outcome: str) -> None:
    assert outcome_of(check, value) == outcome


def test_what_goes_by_the_battery_is_doubled_at_24_volts() -> None:
    for volts, value in ((12, 12.6), (24, 25.2)):
        context = CheckContext(system_v=volts)  # type: ignore[arg-type]
        assert outcome_of("battery_rest", value, context) == "charged"
    assert outcome_of("battery_rest", 12.6, CheckContext(system_v=24)) == "flat"
    assert outcome_of("battery_rest", 12.6) is None
    assert outcome_of("charging_voltage", 28.4, CheckContext(system_v=24)) == "right"
    assert outcome_of("charging_voltage", 16.2, CheckContext(system_v=12)) == "too_high"


def test_cranking_by_temperature() -> None:
    """Reference sheet section 6.5: 9.6 warm, 9.4 / 9.1 / 8.9 / 8.5 V at 10 / 0 / -10 / -18 degC."""
    for battery_c, least in ((25.0, 9.6), (10.0, 9.4), (0.0, 9.1), (-10.0, 8.9), (-30.0, 8.5)):
        assert cranking_minimum_v(battery_c) == pytest.approx(least)
    assert cranking_minimum_v(5.0) == pytest.approx(9.25)
    cold = CheckContext(system_v=12, sensor_c=-10.0)
    assert outcome_of("cranking_drop", 9.0, cold) == "holds"
    assert outcome_of("cranking_drop", 9.0, CheckContext(system_v=12, sensor_c=21.0)) == "sags"
    # Without the temperature only what is sure at every one is said.
    assert outcome_of("cranking_drop", 9.0, CheckContext(system_v=12)) is None
    assert outcome_of("cranking_drop", 9.8, CheckContext(system_v=12)) == "holds"
    assert outcome_of("cranking_drop", 15.2, CheckContext(system_v=24)) == "sags"
    assert outcome_of("cranking_drop", 9.8) is None


def test_what_is_no_measurement_names_nothing() -> None:
    assert outcome_of("wiggle_live", 3.0) is None
    assert outcome_of("sing", 3.0) is None
    assert outcome_of("reference_voltage", math.nan) is None


def test_every_value_has_an_outcome_where_limits_choose() -> None:
    context = CheckContext(system_v=12, sensor_c=20.0)
    for one in checks().values():
        for value in (0.0, 0.2, 1.0, 4.9, 12.3, 60.0, 5e3, 1e7):
            assert (outcome_of(one.check, value, context) is None) == (one.measure == "")
