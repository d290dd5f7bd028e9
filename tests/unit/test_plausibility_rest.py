"""Pressures at rest, barometer, and cold soak; figures of the reference sheet 6.1 and 6.2."""

from __future__ import annotations

import numpy as np
import pytest
from tests.made_state import DAY_US, Series, table, visit
from tests.plausible import figure, judge, one, verdict

from shearbolt.reasoning.case import VisitCase
from shearbolt.reasoning.plausibility.rest import isa_altitude_m, isa_kpa

STOPPED = np.zeros(120)


@pytest.mark.parametrize(
    ("altitude_m", "kpa"),
    [(0, 101.33), (500, 95.46), (1000, 89.87), (1500, 84.56), (2000, 79.50), (3000, 70.11)],
)
def test_standard_atmosphere(altitude_m: float, kpa: float) -> None:
    """ISO 2533 as computed in the reference sheet 6.2."""
    assert isa_kpa(altitude_m) == pytest.approx(kpa, abs=0.01)
    assert isa_altitude_m(kpa) == pytest.approx(altitude_m, abs=1.0)


@pytest.mark.parametrize(
    ("check", "quantity", "sound", "odd"),
    [
        ("oil_at_rest", "oil_kpa", 4.0, 40.0),
        ("boost_at_rest", "boost_kpa", 2.0, 10.0),
        ("dpf_at_rest", "dpf_drop_kpa", 0.1, 0.9),
        ("air_filter_at_rest", "air_filter_kpa", 0.05, 1.0),
    ],
)
def test_zero_at_rest(check: str, quantity: str, sound: float, odd: float) -> None:
    good = one(check, 120, {"engine_rpm": STOPPED, quantity: sound})
    assert verdict(good) == ("ok", "near_zero_at_rest")
    bad = one(check, 120, {"engine_rpm": STOPPED, quantity: odd})
    assert verdict(bad) == ("odd", "not_zero_at_rest")
    assert figure(bad, "at_rest") == pytest.approx(odd, abs=0.1)
    assert bad.moments_us
    assert bad.moments_us[0] >= 30_000_000
    # Ran all the time: nothing to see, and that is not 'normal'.
    never = one(check, 120, {"engine_rpm": 900.0, quantity: odd})
    assert verdict(never) == ("not_possible", "engine_not_at_rest")
    mute = one(check, 120, {"engine_rpm": STOPPED})
    assert mute.result == "not_possible"
    assert mute.missing == (quantity,)


def test_a_drop_below_zero_is_as_odd() -> None:
    below = one("boost_at_rest", 120, {"engine_rpm": STOPPED, "boost_kpa": -10.0})
    assert verdict(below) == ("odd", "not_zero_at_rest")


def test_rest_needs_a_minute_for_oil_to_drain() -> None:
    """Shortly after stopping a rest of pressure is no fault: at most doubtful."""
    rpm = np.concatenate([np.full(100, 900.0), np.zeros(20)])
    soon = one("oil_at_rest", 120, {"engine_rpm": rpm, "oil_kpa": 60.0})
    assert soon.result == "doubtful"
    later = np.concatenate([np.full(20, 900.0), np.zeros(100)])
    assert one("oil_at_rest", 120, {"engine_rpm": later, "oil_kpa": 60.0}).result == "odd"


def test_a_lost_engine_speed_is_no_rest() -> None:
    """With fuel flowing a speed of zero proves nothing about the oil pressure sensor."""
    told = {"engine_rpm": STOPPED, "oil_kpa": 300.0, "fuel_rate_l_h": 8.0}
    assert one("oil_at_rest", 120, told).result == "not_possible"


def test_rail_pressure_that_stays() -> None:
    still = np.zeros(400)
    stays = one("rail_at_rest", 400, {"engine_rpm": still, "rail_mpa": 12.0})
    assert stays.result == "odd"
    gone = one("rail_at_rest", 400, {"engine_rpm": still, "rail_mpa": 0.5})
    assert gone.result == "ok"
    short = one("rail_at_rest", 120, {"engine_rpm": STOPPED, "rail_mpa": 12.0})
    assert short.result == "not_possible"


def test_manifold_against_barometer() -> None:
    told = {"engine_rpm": STOPPED, "barometer_kpa": 95.0}
    assert one("manifold_at_rest", 120, {**told, "manifold_abs_kpa": 96.0}).result == "ok"
    assert one("manifold_at_rest", 120, {**told, "manifold_abs_kpa": 104.0}).result == "odd"
    running = {**told, "engine_rpm": 1500.0, "manifold_abs_kpa": 200.0}
    assert one("manifold_at_rest", 120, running).result == "not_possible"


def test_barometer() -> None:
    high = {"barometer_kpa": 101.5, "altitude_m": 1500.0}
    against = one("barometer", 60, high)
    assert verdict(against) == ("odd", "barometer_against_altitude")
    assert figure(against, "expected") == pytest.approx(84.56, abs=0.01)
    fits = one("barometer", 60, {"barometer_kpa": 84.0, "altitude_m": 1500.0})
    assert fits.result == "ok"
    # The open recording of a truck: 84.0 to 84.5 kPa is about 1,500 to 1,550 m.
    alone = one("barometer", 60, {"barometer_kpa": 84.0})
    assert alone.result == "ok"
    assert figure(alone, "as_altitude") == pytest.approx(1550, abs=10)
    assert one("barometer", 60, {"barometer_kpa": 30.0}).result == "odd"
    assert one("barometer", 5, {"barometer_kpa": 98.0}).result == "not_possible"


def test_barometer_fixed_at_a_stand_in() -> None:
    long = 11 * 3600
    assert verdict(one("barometer", long, {"barometer_kpa": 100.0})) == (
        "doubtful",
        "barometer_fixed",
    )
    assert one("barometer", long, {"barometer_kpa": 98.5}).result == "ok"
    moved = np.where(np.arange(long) > 5000, 100.5, 100.0)
    assert one("barometer", long, {"barometer_kpa": moved}).result == "ok"


COLD = {
    "engine_rpm": np.concatenate([np.zeros(20), np.full(40, 850.0)]),
    "coolant_c": 12.0,
    "fuel_c": 11.0,
    "intake_c": 13.0,
    "ambient_c": 12.0,
    "hydraulic_c": 14.0,
}


def night(hours: tuple[float, float] | None = (99.0, 100.0)) -> VisitCase:
    """Make a visit that ended 12 h before the one judged."""
    return visit(table(60, {"engine_rpm": 900.0}), "before", zero_us=DAY_US // 2, hours=hours)


def soak(**told: Series) -> dict[str, tuple[str, str]]:
    """Judge a cold soak; give result and finding by the quantity's SPN."""
    results = judge("cold_soak", 60, {**COLD, **told}, before=night())
    return {str(one.about[0].spn): verdict(one) for one in results if one.about}


def test_cold_soak_agrees() -> None:
    assert set(soak().values()) == {("ok", "soak_agrees")}


def test_one_sensor_off_by_more_than_ten_kelvin() -> None:
    found = soak(fuel_c=32.0)
    assert found["174"] == ("odd", "soak_differs")
    assert {found[spn] for spn in ("110", "105", "171", "1638")} == {("ok", "soak_agrees")}
    assert soak(fuel_c=19.0)["174"][0] == "doubtful"
    # A cold coolant sensor is accused as well: a heater only warms.
    assert soak(coolant_c=-8.0)["110"] == ("odd", "soak_differs")


def test_block_heater() -> None:
    found = soak(coolant_c=45.0, oil_c=38.0)
    assert found["110"] == found["175"] == ("ok", "block_heater")
    assert found["174"] == ("ok", "soak_agrees")
    # Without oil temperature a heater cannot be excluded; with a cold one it can.
    assert soak(coolant_c=45.0)["110"] == ("doubtful", "block_heater_possible")
    assert soak(coolant_c=45.0, oil_c=12.0)["110"] == ("odd", "soak_differs")


def test_exhaust_sensors_have_a_wider_screen() -> None:
    assert soak(dpf_in_c=32.0)["3242"][0] == "ok"
    assert soak(dpf_in_c=45.0)["3242"][0] == "odd"


def test_two_that_differ_accuse_nobody() -> None:
    found = soak(fuel_c=32.0, hydraulic_c=-6.0)
    assert found["174"] == ("doubtful", "soak_differs_others_too")


def test_cold_soak_needs_a_night() -> None:
    assert one("cold_soak", 60, COLD).because.key == "off_time_not_known"
    noon = visit(table(60, {"engine_rpm": 0.0}), zero_us=DAY_US * 5 // 6, hours=(99.0, 100.0))
    assert one("cold_soak", 60, COLD, before=noon).because.key == "off_time_not_known"
    # The meter rose in between: it ran.
    ran = night((80.0, 95.0))
    assert one("cold_soak", 60, COLD, before=ran).because.key == "off_time_not_known"
    warm = {**COLD, "engine_rpm": 900.0}
    assert one("cold_soak", 60, warm, before=night()).because.key == "no_cold_start"
    few = {key: COLD[key] for key in ("engine_rpm", "coolant_c", "fuel_c")}
    assert one("cold_soak", 60, few, before=night()).because.key == "too_few_temperatures"


def test_without_hours_a_soak_only_raises_doubt() -> None:
    results = judge("cold_soak", 60, {**COLD, "fuel_c": 32.0}, before=night(None))
    fuel = next(one for one in results if one.about[0].spn == 174)
    assert verdict(fuel) == ("doubtful", "soak_differs_off_not_sure")
