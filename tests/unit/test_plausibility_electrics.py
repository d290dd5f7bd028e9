"""Charging, cranking and several voltages; figures of the reference sheet 6.5."""

from __future__ import annotations

import numpy as np
import pytest
from tests.made_state import Series, Told
from tests.plausible import figure, judge, one, verdict

from shearbolt.reasoning.plausibility.electrics import cranking_least_v

RUNS = {"engine_rpm": 1500.0, "coolant_c": 85.0}


@pytest.mark.parametrize(
    ("temperature_c", "volts"), [(10, 9.4), (0, 9.1), (-10, 8.9), (-18, 8.5), (21, 9.6), (35, 9.6)]
)
def test_least_cranking_voltage(temperature_c: float, volts: float) -> None:
    """The table of the reference sheet 6.5, doubled for 24 V."""
    assert cranking_least_v(temperature_c, 12) == pytest.approx(volts)
    assert cranking_least_v(temperature_c, 24) == pytest.approx(2 * volts)


@pytest.mark.parametrize("system", [1, 2])
@pytest.mark.parametrize(
    ("volts", "expected"),
    [
        (14.2, ("ok", "charges")),
        (12.4, ("odd", "does_not_charge")),
        (15.4, ("odd", "overcharges")),
        (13.3, ("doubtful", "charges_oddly")),
    ],
)
def test_charging(volts: float, system: int, expected: tuple[str, str]) -> None:
    assert verdict(one("charging", 400, {**RUNS, "battery_v": volts * system})) == expected


def test_charging_needs_speed_time_and_a_system_voltage() -> None:
    idle = {**RUNS, "engine_rpm": 800.0, "battery_v": 12.4}
    assert one("charging", 400, idle).result == "not_possible"
    # Below 13.2 V counts only after five minutes.
    assert one("charging", 200, {**RUNS, "battery_v": 12.9}).result == "doubtful"
    odd = one("charging", 400, {**RUNS, "battery_v": 17.2})
    assert odd.because.key == "system_voltage_unclear"
    assert one("charging", 400, RUNS).missing == ("battery_v",)


def start(plateau: Series, rpm: float = 180.0, scale: float = 1.0) -> Told:
    """Make a start: 10 s key on, an inrush second, cranking, then running."""
    turning = np.asarray(plateau, np.float64)
    count = len(turning)
    volts = np.concatenate([np.full(10, 12.4), [6.5], turning, np.full(60, 14.1)]) * scale
    speed = np.concatenate([np.zeros(10), np.full(count + 1, rpm), np.full(60, 850.0)])
    return {"engine_rpm": speed, "battery_v": volts, "coolant_c": 10.0}


def crank(told: Told) -> tuple[str, str]:
    return verdict(one("cranking", len(np.asarray(told["engine_rpm"])), told))


@pytest.mark.parametrize("scale", [1.0, 2.0])
def test_cranking_plateau(scale: float) -> None:
    assert crank(start([10.2, 10.3, 10.4], scale=scale)) == ("ok", "cranks_well")
    assert crank(start([8.0, 8.1, 8.2], scale=scale)) == ("odd", "cranking_low")
    assert crank(start([8.4, 10.0, 10.2], scale=scale)) == ("doubtful", "cranking_low_once")


def test_one_sample_or_a_turning_engine_accuses_nobody() -> None:
    """A healthy start read once a second: 7.75 V, then 9.3 V at 297 rpm (open recording)."""
    assert crank(start([9.3])) == ("not_possible", "cranking_not_seen")
    assert crank(start([9.2, 9.2, 9.3], rpm=297.0)) == ("not_possible", "cranking_not_seen")


def test_coming_to_rest_is_no_cranking() -> None:
    rpm = np.concatenate([np.full(60, 850.0), [300.0, 200.0, 120.0, 60.0], np.zeros(20)])
    told: Told = {"engine_rpm": rpm, "battery_v": np.where(rpm > 400, 14.0, 8.5)}
    assert crank(told)[0] == "not_possible"


def test_cold_lowers_the_limit() -> None:
    cold = {**start([8.2, 8.2, 8.2]), "coolant_c": -18.0}
    assert crank(cold) == ("ok", "cranks_well")
    assert crank(start([8.2, 8.2, 8.2])) == ("odd", "cranking_low")


def test_voltages_of_several_controllers() -> None:
    told: Told = {**RUNS, ("battery2_v", 0): 14.1, ("battery2_v", 49): 14.0}
    agree = one("batteries", 200, told)
    assert verdict(agree) == ("ok", "voltages_agree")
    low = one("batteries", 200, {**told, ("battery2_v", 49): 13.2})
    assert verdict(low) == ("odd", "voltages_differ")
    assert low.about[0].address == 49
    assert figure(low, "difference") == pytest.approx(0.9, abs=0.01)
    single = one("batteries", 200, {**RUNS, "battery_v": 14.0})
    assert single.because.key == "one_voltage_only"
    three = judge("batteries", 200, {**told, ("battery2_v", 3): 14.05})
    assert len(three) == 3
