"""End of scale, jumps, frozen and noisy readings."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from tests.made_state import Series, Told, machine, table, visit
from tests.plausible import BY_NAME, figure, judge, one, verdict

from shearbolt.model.signal import ERROR
from shearbolt.model.state import StateKey, StateTable
from shearbolt.reasoning.plausibility.check import Look
from shearbolt.reasoning.plausibility.examination import examine
from shearbolt.reasoning.quantity_view import QuantityView

N = 600
RUNS: Told = {"engine_rpm": 1500.0, "load_pct": 40.0}


@pytest.mark.parametrize(
    ("quantity", "value"),
    [("coolant_c", -40.0), ("coolant_c", 160.0), ("oil_kpa", 0.0), ("fuel_kpa", 0.0)],
)
def test_end_of_scale(quantity: str, value: float) -> None:
    """An open NTC reads about -40 degC, a shorted one above 150 (reference sheet 6.10)."""
    gone = np.where(np.arange(N) > 500, value, 80.0)
    found = one("end_of_scale", N, {**RUNS, quantity: gone})
    assert verdict(found) == ("odd", "at_end_of_scale")
    assert figure(found, "seconds") == 99
    assert found.moments_us[0] == 501_000_000
    assert one("end_of_scale", N, {**RUNS, quantity: 80.0}).result == "ok"


def test_a_pressure_may_be_zero_while_the_engine_stands() -> None:
    assert one("end_of_scale", N, {"engine_rpm": 0.0, "oil_kpa": 0.0}).result == "ok"
    assert one("end_of_scale", N, {**RUNS, "boost_kpa": 0.0}).result == "ok"
    assert one("end_of_scale", N, {"engine_rpm": 0.0}).result == "not_possible"


def in_error(state: StateTable, key: StateKey) -> StateTable:
    columns = dict(state.columns)
    status = columns[key].status.copy()
    status[100:] = ERROR
    columns[key] = replace(columns[key], status=status)
    return StateTable(state.second, columns)


def test_what_its_sender_calls_in_error() -> None:
    """FE in the data: the controller itself gives the reading up (SAE J1939-71)."""
    told = {**RUNS, "oil_kpa": np.where(np.arange(N) < 100, 300.0, np.nan)}
    state = in_error(table(N, told), StateKey("can0", 0, 100))
    (found,) = BY_NAME["end_of_scale"].run(Look(QuantityView(visit(state))))
    assert verdict(found) == ("odd", "sender_calls_error")
    assert figure(found, "seconds_error") == N - 100


def step(at: int, size: float) -> Series:
    return 60.0 + np.where(np.arange(N) >= at, size, 0.0)


def test_a_fluid_cannot_jump() -> None:
    """More than 10 K/s is wiring (reference sheet 6.11)."""
    found = one("steps", N, {**RUNS, "coolant_c": step(300, 15.0)})
    assert verdict(found) == ("odd", "jumped")
    assert figure(found, "largest") == 15.0
    assert found.moments_us == (300_000_000,)
    assert one("steps", N, {**RUNS, "coolant_c": step(300, 8.0)}).result == "ok"
    # A stand-in at the beginning, and a jump over a silence, are no jumps.
    assert one("steps", N, {**RUNS, "coolant_c": step(2, 40.0)}).result == "ok"
    silent = np.asarray(step(300, 40.0)).copy()
    silent[280:300] = np.nan
    assert one("steps", N, {**RUNS, "coolant_c": silent}).result == "ok"
    assert one("steps", N, RUNS).result == "not_possible"


def test_oil_pressure_may_jump_with_the_engine() -> None:
    rpm = np.where(np.arange(N) >= 300, 2000.0, 800.0)
    oil = np.where(rpm > 1000, 420.0, 180.0)
    assert one("steps", N, {"engine_rpm": rpm, "oil_kpa": oil}).result == "ok"
    twice = 400.0 - 300.0 * ((np.arange(N) // 100) % 2)
    assert one("steps", N, {**RUNS, "oil_kpa": twice}).result == "odd"


AT = np.arange(2400)
WORK: Told = {
    "engine_rpm": 1500.0 + 400.0 * np.sin(AT / 40.0),
    "load_pct": 50.0 + 40.0 * np.sin(AT / 30.0),
}


def test_frozen_pressure() -> None:
    found = one("frozen", 2400, {**WORK, "oil_kpa": 280.0})
    assert verdict(found) == ("odd", "frozen")
    assert figure(found, "minutes") == 40
    moves = one("frozen", 2400, {**WORK, "oil_kpa": 280.0 + 60.0 * np.sin(AT / 40.0)})
    assert verdict(moves) == ("ok", "nothing_frozen")
    # Steady work may give a steady pressure.
    steady = one("frozen", 2400, {**RUNS, "oil_kpa": 280.0})
    assert verdict(steady) == ("not_possible", "neighbours_hardly_moved")
    assert one("frozen", 300, {**RUNS, "oil_kpa": 280.0}).because.key == "never_ran_ten_minutes"


def test_frozen_temperature_while_others_warm() -> None:
    warms = 10.0 + AT / 60.0
    told = {**WORK, "coolant_c": warms, "oil_c": warms - 2.0, "fuel_c": 20.0 + AT / 120.0}
    found = judge("frozen", 2400, {**told, "hydraulic_c": 25.0})
    assert [verdict(one) for one in found] == [("odd", "frozen")]
    assert found[0].about[0].spn == 1638
    assert one("frozen", 2400, {**told, "hydraulic_c": 10.0 + AT / 200.0}).result == "ok"
    # A thermostat holds a warm engine to the degree.
    held = {**told, "coolant_c": 88.0, "hydraulic_c": warms}
    assert one("frozen", 2400, held).result == "ok"


def test_frozen_zero_is_only_doubtful() -> None:
    """An engine without a turbocharger tells a true zero."""
    assert one("frozen", 2400, {**WORK, "boost_kpa": 0.0}).result == "doubtful"


def test_noise_against_its_own_baseline() -> None:
    rng = np.random.default_rng(5)

    def day(size: float) -> Told:
        return {**RUNS, "fuel_rate_l_h": 9.0, "oil_kpa": 300.0 + size * rng.standard_normal(N)}

    calm = [visit(table(N, day(4.0)), f"v{i}") for i in range(4)]
    wild = visit(table(N, day(40.0)), "wild")
    found = [one for one in examine(machine(*calm, wild)).results if one.check == "noise"]
    assert [one.result for one in found] == ["not_possible"] * 3 + ["ok", "odd"]
    assert found[-1].about == (StateKey("can0", 0, 100),)
    assert figure(found[-1], "times") == pytest.approx(10.0, rel=0.3)
