"""Speeds against each other, hydraulics and fuel; figures of the reference sheet 6.6 and 6.11."""

from __future__ import annotations

import numpy as np
import pytest
from tests.made_state import Series
from tests.plausible import figure, judge, one, verdict

N = 300
ROAD = {"engine_rpm": 1500.0, "speed_kmh": 40.0}


def test_ground_speeds() -> None:
    assert one("ground_speed", N, {"speed_kmh": 40.0, "front_axle_kmh": 40.5}).result == "ok"
    far = one("ground_speed", N, {"speed_kmh": 40.0, "front_axle_kmh": 46.0})
    assert verdict(far) == ("odd", "speeds_differ")
    assert figure(far, "difference") == pytest.approx(-13.0, abs=0.5)
    lost = one("ground_speed", N, {"speed_kmh": 0.0, "front_axle_kmh": 40.0})
    assert verdict(lost) == ("odd", "speed_lost")
    assert lost.about[0].spn == 84
    assert one("ground_speed", N, {"speed_kmh": 40.0}).because.key == "one_speed_only"
    yard = one("ground_speed", N, {"speed_kmh": 3.0, "front_axle_kmh": 5.0})
    assert yard.because.key == "never_moved"


def test_wheels_slip_but_are_never_slower_than_the_ground() -> None:
    """Tractors slip 5 to 15 % in tillage (reference sheet 6.11)."""
    tillage = {"wheel_m_s": 3.4, "ground_m_s": 3.0}
    assert one("ground_speed", N, tillage).result == "ok"
    assert one("ground_speed", N, {"wheel_m_s": 3.0, "ground_m_s": 3.4}).result == "odd"


def test_input_shaft() -> None:
    rpm = 1500.0 + 5.0 * np.sin(np.arange(N))
    told = {"engine_rpm": rpm, "speed_kmh": 40.0}
    good = one("input_shaft", N, {**told, "input_rpm": rpm * 0.985})
    assert verdict(good) == ("ok", "shaft_follows_engine")
    assert figure(good, "ratio") == pytest.approx(0.985, abs=0.001)
    lost = one("input_shaft", N, {**told, "input_rpm": 0.0})
    assert verdict(lost) == ("odd", "shaft_lost")
    wild = one("input_shaft", N, {**told, "input_rpm": rpm * np.linspace(0.5, 1.0, N)})
    assert wild.result == "doubtful"
    still = one("input_shaft", N, {"engine_rpm": rpm, "speed_kmh": 0.0, "input_rpm": 0.0})
    assert still.result == "not_possible"


def test_output_shaft() -> None:
    good = one("output_shaft", N, {**ROAD, "output_rpm": 1112.0})
    assert verdict(good) == ("ok", "output_shaft_follows")
    lost = one("output_shaft", N, {**ROAD, "output_rpm": np.where(np.arange(N) > 250, 0, 1112)})
    assert verdict(lost) == ("odd", "output_shaft_lost")
    assert one("output_shaft", N, {**ROAD, "speed_kmh": 0.0, "output_rpm": 900.0}).because.key == (
        "output_shaft_turns_at_rest"
    )
    # Another source shows that it is the wheel speed that is lost.
    other = {**ROAD, "speed_kmh": 0.0, "front_axle_kmh": 40.0, "output_rpm": 1112.0}
    assert one("output_shaft", N, other).result != "doubtful"
    wild = one("output_shaft", N, {**ROAD, "output_rpm": np.linspace(600, 1200, N)})
    assert wild.result == "doubtful"
    yard = one("output_shaft", N, {**ROAD, "speed_kmh": 2.0, "output_rpm": 55.0})
    assert yard.result == "not_possible"


def test_pto() -> None:
    told = {"engine_rpm": 1900.0, "pto_engaged": 1.0}
    assert one("pto", N, {**told, "pto_rpm": 540.0}).result == "ok"
    assert verdict(one("pto", N, {**told, "pto_rpm": 0.0})) == ("doubtful", "shaft_lost")
    off = one("pto", N, {**told, "pto_engaged": 0.0, "pto_rpm": 0.0})
    assert off.result == "not_possible"
    wild = one("pto", N, {**told, "pto_rpm": np.linspace(300.0, 1000.0, N)})
    assert wild.result == "doubtful"


def test_engine_speed_that_is_lost() -> None:
    runs = {"fuel_rate_l_h": 8.0, "oil_kpa": 300.0, "load_pct": 40.0, "battery_v": 14.1}
    gone = np.where((np.arange(N) > 100) & (np.arange(N) < 110), 0.0, 1500.0)
    assert verdict(one("engine_speed_lost", N, {**runs, "engine_rpm": gone})) == (
        "odd",
        "engine_speed_lost",
    )
    assert one("engine_speed_lost", N, {**runs, "engine_rpm": 1500.0}).result == "ok"
    key_on = {"fuel_rate_l_h": 0.0, "oil_kpa": 0.0, "load_pct": 0.0, "battery_v": 12.5}
    stopped = one("engine_speed_lost", N, {**key_on, "engine_rpm": 0.0})
    assert stopped.result == "not_possible"


def hydraulics(oil: Series, switch: Series, rpm: Series = 1800.0) -> tuple[str, str]:
    told = {"engine_rpm": rpm, "hydraulic_c": oil, "hydraulic_filter": switch}
    return verdict(one("hydraulic_filter", N, told))


def test_hydraulic_filter_switch_against_cold_oil() -> None:
    """A clean VG 46 filter shows 376 kPa at 0 degC where 30 at 40 degC (reference sheet 6.6)."""
    assert hydraulics(5.0, 1.0) == ("ok", "filter_bypassed_by_cold_oil")
    assert hydraulics(55.0, 1.0) == ("odd", "filter_restricted_when_warm")
    assert hydraulics(55.0, 0.0) == ("ok", "filter_free_when_warm")
    assert hydraulics(5.0, 0.0) == ("not_possible", "hydraulic_oil_never_warm")
    # Ten seconds are not thirty.
    assert hydraulics(55.0, np.where(np.arange(N) < 10, 1.0, 0.0))[1] != (
        "filter_restricted_when_warm"
    )
    assert hydraulics(20.0, 1.0, rpm=0.0) == ("odd", "filter_switch_closed_at_rest")


def test_fuel_adds_up() -> None:
    hours = 4 * 3600
    used = 5000.0 + 20.0 * np.arange(hours) / 3600.0
    told = {"engine_rpm": 1500.0, "fuel_rate_l_h": 20.0, "fuel_used_l": used}
    good = one("fuel_used", hours, told)
    assert verdict(good) == ("ok", "fuel_adds_up")
    assert figure(good, "by_counter") == pytest.approx(80.0, abs=0.6)
    off = one("fuel_used", hours, {**told, "fuel_rate_l_h": 24.0})
    assert verdict(off) == ("odd", "fuel_does_not_add_up")
    assert figure(off, "difference") == pytest.approx(20.0, abs=1.0)
    short = {**told, "fuel_used_l": used[:600]}
    assert one("fuel_used", 600, short).result == "not_possible"
    gaps = np.where(np.arange(hours) % 100 < 40, np.nan, 20.0)
    broken = one("fuel_used", hours, {**told, "fuel_rate_l_h": gaps})
    assert broken.because.key == "recording_has_gaps"


def test_fuel_level_steps() -> None:
    at = np.arange(1800)
    calm = 60.0 - at / 600.0 + 2.0 * np.sin(at)
    told = {"speed_kmh": 20.0}
    assert one("fuel_level", 1800, {**told, "fuel_level_pct": calm}).result == "ok"
    fell = np.where(at > 900, calm - 12.0, calm)
    assert verdict(one("fuel_level", 1800, {**told, "fuel_level_pct": fell})) == (
        "odd",
        "fuel_level_fell",
    )
    rose = np.where(at > 900, calm + 12.0, calm)
    assert one("fuel_level", 1800, {**told, "fuel_level_pct": rose}).result == "odd"
    filled = {"speed_kmh": 0.0, "fuel_level_pct": rose}
    assert one("fuel_level", 1800, filled).result == "ok"
    assert one("fuel_level", 60, {**told, "fuel_level_pct": 50.0}).result == "not_possible"


def test_each_pair_is_compared_with_the_best_source() -> None:
    some = judge("ground_speed", N, {"speed_kmh": 40.0, "front_axle_kmh": 40.5, "gps_kmh": 40.0})
    assert [one.result for one in some] == ["ok", "ok"]
