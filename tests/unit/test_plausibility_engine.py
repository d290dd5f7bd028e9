"""Oil pressure, intake air and warm-up; figures of the reference sheet 6.3, 6.4, 6.7 and 6.11."""

from __future__ import annotations

import numpy as np
import pytest
from tests.made_state import Series, Told, table, visit
from tests.plausible import figure, judge, one, verdict

from shearbolt.reasoning.plausibility.air import charge_density_kg_m3, swept_l
from shearbolt.reasoning.plausibility.trait import Sensor, Trait
from shearbolt.reasoning.quantity_view import QuantityView

RPM = np.linspace(800.0, 2000.0, 300)
WARM = {"engine_rpm": RPM, "coolant_c": 88.0}


def test_oil_pressure_follows_speed() -> None:
    """Rule of thumb of the reference sheet 6.7: 70 kPa for each 1000 rpm, hot."""
    good = one("oil_pressure", 300, {**WARM, "oil_kpa": 120.0 + 0.07 * RPM})
    assert verdict(good) == ("ok", "oil_follows")
    assert figure(good, "slope") == pytest.approx(70.0, rel=0.03)


@pytest.mark.parametrize(
    ("oil", "expected"),
    [
        (280.0, ("odd", "oil_constant")),
        (200.0, ("doubtful", "oil_by_switch")),
        (np.where(RPM > 900, 200.0, 0.0), ("doubtful", "oil_by_switch")),
        (280.0 + 4.0 * (np.arange(300) % 2), ("doubtful", "oil_regulated")),
        (400.0 - 0.1 * RPM, ("doubtful", "oil_does_not_follow")),
    ],
)
def test_oil_pressure_that_does_not_follow(oil: Series, expected: tuple[str, str]) -> None:
    """A switch sender (200 or 0 kPa), a stuck one, a variable pump (reference sheet 6.7)."""
    assert verdict(one("oil_pressure", 300, {**WARM, "oil_kpa": oil})) == expected


def test_oil_pressure_needs_a_warm_engine_at_several_speeds() -> None:
    cold = {**WARM, "coolant_c": 30.0, "oil_kpa": 280.0}
    assert one("oil_pressure", 300, cold).result == "not_possible"
    still = {**WARM, "engine_rpm": 1500.0, "oil_kpa": 280.0}
    assert one("oil_pressure", 300, still).result == "not_possible"
    assert one("oil_pressure", 300, WARM).missing == ("oil_kpa",)


def test_low_only_at_hot_idle() -> None:
    rpm = np.concatenate([np.full(100, 800.0), np.full(100, 1800.0)])
    warm = {"engine_rpm": rpm, "coolant_c": 90.0}
    worn = one("oil_low", 200, {**warm, "oil_kpa": np.where(rpm < 1000, 32.0, 240.0)})
    assert verdict(worn) == ("odd", "oil_low_only_at_hot_idle")
    assert (figure(worn, "idle"), figure(worn, "at_speed")) == (32.0, 240.0)
    good = one("oil_low", 200, {**warm, "oil_kpa": np.where(rpm < 1000, 120.0, 320.0)})
    assert verdict(good) == ("ok", "oil_enough")
    lost = one("oil_low", 200, {**warm, "oil_kpa": 16.0})
    assert verdict(lost) == ("odd", "oil_low_everywhere")
    rather = one("oil_low", 200, {**warm, "oil_kpa": np.where(rpm < 1000, 68.0, 320.0)})
    assert rather.result == "doubtful"
    cold = {"engine_rpm": rpm, "coolant_c": 20.0, "oil_kpa": 32.0}
    assert one("oil_low", 200, cold).result == "not_possible"


def test_density_of_the_worked_example() -> None:
    """Reference sheet 6.3: 250 kPa and 50 degC are 2.695 kg/m3."""
    assert charge_density_kg_m3(250.0, 50.0) == pytest.approx(2.695, abs=0.001)


def test_air_flow_of_the_worked_example() -> None:
    """Reference sheet 6.3: 6.7 L, 1800 rpm, filling 0.90, that density: 878 kg/h."""
    told = {
        "engine_rpm": 1800.0,
        "manifold_abs_kpa": 250.0,
        "intake_c": 50.0,
        "air_kg_h": 878.0,
        "load_pct": 90.0,
    }
    view = QuantityView(visit(table(60, told)))
    found = swept_l(view)
    assert found is not None
    assert found[0] == pytest.approx(0.90 * 6.7, rel=0.002)
    assert verdict(one("air_flow", 60, told)) == ("ok", "air_flow_fits")
    assert one("air_flow", 60, {**told, "air_kg_h": 40.0}).because.key == "air_flow_of_no_engine"
    scattered = {**told, "air_kg_h": np.linspace(300.0, 1200.0, 60)}
    assert one("air_flow", 60, scattered).because.key == "air_flow_scatters"
    assert one("air_flow", 60, {**told, "load_pct": 20.0}).result == "not_possible"


def test_exhaust_is_air_and_fuel() -> None:
    """Reference sheet 6.3: 878 kg/h of air and 30 L/h of fuel are 903 kg/h of exhaust."""
    told = {"engine_rpm": 1800.0, "air_kg_h": 878.0, "fuel_rate_l_h": 30.0}
    good = one("exhaust_against_air", 60, {**told, "exhaust_kg_h": 903.0})
    assert verdict(good) == ("ok", "exhaust_is_air_and_fuel")
    assert figure(good, "difference") == pytest.approx(0.0, abs=0.1)
    short = one("exhaust_against_air", 60, {**told, "exhaust_kg_h": 640.0})
    assert verdict(short) == ("odd", "exhaust_is_not_air_and_fuel")
    half = one("exhaust_against_air", 60, {**told, "exhaust_kg_h": 740.0})
    assert half.result == "doubtful"
    idle = {**told, "engine_rpm": 0.0, "exhaust_kg_h": 640.0}
    assert one("exhaust_against_air", 60, idle).result == "not_possible"


def test_boost_twins() -> None:
    """Absolute = gauge + barometric: 150 kPa at 85 kPa ambient are 235 (reference sheet 6.3)."""
    told = {"boost_kpa": 150.0, "barometer_kpa": 85.0, "engine_rpm": 1500.0}
    assert one("boost_twins", 60, {**told, "manifold_abs_kpa": 235.0}).result == "ok"
    assert one("boost_twins", 60, {**told, "manifold_abs_kpa": 250.0}).result == "odd"
    assert one("boost_twins", 60, told).missing == ("manifold_abs_kpa",)
    assert one("boost_twins", 10, {**told, "manifold_abs_kpa": 250.0}).result == "not_possible"


LOAD = np.concatenate([np.full(60, 10.0), np.full(60, 95.0)])


def test_boost_against_load() -> None:
    told = {"engine_rpm": 1800.0, "load_pct": LOAD}
    good = one("boost_against_load", 120, {**told, "boost_kpa": np.where(LOAD > 50, 140.0, 4.0)})
    assert verdict(good) == ("ok", "boost_follows_load")
    stuck = one("boost_against_load", 120, {**told, "boost_kpa": 60.0})
    assert verdict(stuck) == ("odd", "boost_unmoved")
    low = one("boost_against_load", 120, {**told, "boost_kpa": np.where(LOAD > 50, 14.0, 4.0)})
    assert verdict(low) == ("doubtful", "boost_low_at_load")
    idle = one("boost_against_load", 120, {**told, "load_pct": 15.0, "boost_kpa": 60.0})
    assert idle.result == "not_possible"


def test_zero_boost_accuses_only_an_engine_that_once_had_some() -> None:
    told = {"engine_rpm": 1800.0, "load_pct": LOAD, "boost_kpa": 0.0}
    assert verdict(one("boost_against_load", 120, told)) == ("doubtful", "boost_zero_at_load")
    once = Trait(Sensor(0, 102), "boost_at_load", 140.0, "kPa", 0.0, 0.0, charted=False)
    assert one("boost_against_load", 120, told, past=[[once]]).result == "odd"


def test_air_filter() -> None:
    """Reference sheet 6.4: change at 5 to 6.2 kPa, judged only at high flow."""
    told = {"engine_rpm": 2000.0, "load_pct": 95.0, "boost_kpa": 140.0}
    assert one("air_filter", 60, {**told, "air_filter_kpa": 2.0}).result == "ok"
    assert one("air_filter", 60, {**told, "air_filter_kpa": 5.5}).result == "doubtful"
    assert one("air_filter", 60, {**told, "air_filter_kpa": 7.0}).result == "odd"
    zero = one("air_filter", 60, {**told, "air_filter_kpa": 0.0})
    assert verdict(zero) == ("doubtful", "air_filter_zero_at_flow")
    idle = {**told, "load_pct": 10.0, "air_filter_kpa": 7.0}
    assert one("air_filter", 60, idle).result == "not_possible"


def warming(rate_k_min: float, load: float = 60.0, top_c: float = 88.0) -> Told:
    """Make 40 minutes from a cold start at one rate of warming."""
    at = np.arange(2400)
    rpm = np.where(at < 10, 0.0, 1600.0)
    coolant = np.minimum(10.0 + rate_k_min * np.maximum(at - 10, 0) / 60.0, top_c)
    return {"engine_rpm": rpm, "coolant_c": coolant, "load_pct": load}


def test_warm_up() -> None:
    """Reference sheet 6.11: 0.5 to 3 K a minute; never above 65 degC after 30 min is odd."""
    good = judge("warm_up", 2400, warming(2.5))
    assert {verdict(one) for one in good} == {("ok", "gets_warm"), ("ok", "warms_as_it_should")}
    open_thermostat = judge("warm_up", 2400, warming(2.5, top_c=52.0))
    assert ("odd", "never_warm") in {verdict(one) for one in open_thermostat}
    slow = judge("warm_up", 2400, warming(0.3))
    assert ("odd", "warms_too_slowly") in {verdict(one) for one in slow}
    fast = judge("warm_up", 2400, warming(40.0))
    assert ("odd", "warms_too_fast") in {verdict(one) for one in fast}


def test_warm_up_says_nothing_of_an_idling_engine() -> None:
    idling = judge("warm_up", 2400, warming(0.3, load=8.0))
    assert [verdict(one) for one in idling] == [("not_possible", "no_warm_up")]
