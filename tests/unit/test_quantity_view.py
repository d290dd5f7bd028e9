"""One visit as quantities: which sender is picked, how long a reading counts, phases."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from tests.made_state import DAY_US, Series, Told, column, machine, table, visit

from shearbolt.model.state import StateKey, StateTable
from shearbolt.reasoning.phases import phases_of, stretches
from shearbolt.reasoning.quantity_view import OffTime, QuantityView, views_of


def view(count: int, told: Told) -> QuantityView:
    return QuantityView(visit(table(count, told)))


def test_the_richest_sender_of_the_best_parameter_is_picked() -> None:
    sparse = np.where(np.arange(100) % 5 == 0, 40.0, np.nan)
    told = view(100, {("speed_kmh", 11): sparse, ("speed_kmh", 0): 41.0})
    picked = told.pick("speed_kmh")
    assert picked is not None
    assert picked.sender.address == 0
    assert [one.sender.address for one in told.senders("speed_kmh")] == [0, 11]
    assert told.pick("coolant_c") is None
    assert not told.alive("coolant_c")
    with pytest.raises(KeyError):
        told.senders("no_such_quantity")


def test_a_better_parameter_that_is_nearly_mute_is_passed_over() -> None:
    """Load is told by SPN 92, else by 513."""
    few = np.full(200, np.nan)
    few[:3] = 20.0
    state = table(200, {"load_pct": few})
    other = StateKey("can0", 0, 513)
    both = StateTable(state.second, {**state.columns, other: column(30.0, 513, 200)})
    picked = QuantityView(visit(both)).pick("load_pct")
    assert picked is not None
    assert picked.sender == other


def test_a_reading_counts_for_three_periods() -> None:
    values = np.full(60, np.nan)
    values[0:30:5] = [1.0, 2.0, 3.0, 4.0, 5.0, 6.0]
    held = view(60, {"fuel_rate_l_h": values}).values("fuel_rate_l_h")
    assert held[:30].tolist() == np.repeat([1.0, 2, 3, 4, 5, 6], 5).tolist()
    # The last number came at 25 s: 15 s later it is too old.
    assert held[40] == 6.0
    assert np.isnan(held[41:]).all()
    assert view(60, {}).held("fuel_rate_l_h") is None
    with pytest.raises(KeyError):
        view(60, {}).values("fuel_rate_l_h")


def test_a_pause_of_the_recording_is_no_time_passed_in_rows() -> None:
    state = table(20, {"coolant_c": np.where(np.arange(20) < 10, 50.0, np.nan)})
    second = state.second.copy()
    second[10:] += 3600
    held = QuantityView(visit(StateTable(second, state.columns))).values("coolant_c")
    assert np.isnan(held[10:]).all()


@given(arrays(np.float64, st.integers(1, 60), elements=st.sampled_from([np.nan, 1.0, 2.0, 3.0])))
def test_held_is_the_newest_number_that_is_young_enough(values: np.ndarray) -> None:
    told = view(len(values), {"coolant_c": values})
    held = told.held("coolant_c")
    at = np.flatnonzero(~np.isnan(values))
    if held is None:
        assert not len(at)
        return
    period = float(np.median(np.diff(at))) if len(at) > 1 else 1.0
    keep = min(max(3.0, 3.0 * period), 30.0)
    for row in range(len(values)):
        before = at[at <= row]
        young = len(before) > 0 and row - before[-1] <= keep
        assert np.array_equal(held[row], values[before[-1]] if young else np.nan, equal_nan=True)


RPM = np.concatenate(
    [np.zeros(10), np.full(3, 180.0), np.full(60, 850.0), [300, 100], np.zeros(20)]
)


def test_phases_of_a_start_and_a_stop() -> None:
    told = view(95, {"engine_rpm": RPM})
    phases = told.phases
    assert phases is not None
    assert stretches(phases.running) == [(13, 73)]
    assert stretches(phases.cranking) == [(10, 13)]
    assert stretches(phases.stopped) == [(0, 10), (75, 95)]
    assert phases.first_start == 13
    assert phases.since_start_s[13] == 0
    assert phases.since_start_s[72] == 59
    assert np.isnan(phases.since_start_s[73])
    assert phases.stopped_s[9] == 9
    assert phases.stopped_s[94] == 19
    assert view(10, {}).phases is None


def test_running_from_the_first_row_has_no_start() -> None:
    phases = view(60, {"engine_rpm": 900.0}).phases
    assert phases is not None
    assert phases.first_start is None
    assert not phases.start_seen.any()
    # Warm coolant shows that it had been running for a while; cold does not.
    assert not view(60, {"engine_rpm": 900.0}).settled(100).any()
    assert view(60, {"engine_rpm": 900.0, "coolant_c": 80.0}).settled(100).all()
    assert not view(60, {"engine_rpm": 900.0, "coolant_c": 20.0}).settled(100).any()


def test_starter_state_counts_where_speed_is_not_told_yet() -> None:
    """Many controllers tell no speed until the engine is synchronised (SPN 1675)."""
    rpm = np.concatenate([np.zeros(8), np.full(40, 850.0)])
    starter = np.concatenate([np.zeros(5), np.full(3, 2.0), np.full(40, 3.0)])
    phases = view(48, {"engine_rpm": rpm, "starter": starter}).phases
    assert phases is not None
    assert stretches(phases.cranking) == [(5, 8)]
    assert stretches(phases.stopped) == [(0, 5)]


def test_a_stumble_is_no_cranking() -> None:
    rpm = np.concatenate([np.full(20, 850.0), [300.0, 250.0], np.full(20, 850.0)])
    phases = view(42, {"engine_rpm": rpm}).phases
    assert phases is not None
    assert not phases.cranking.any()


@given(arrays(np.float32, st.integers(0, 80),
              elements=st.sampled_from([0.0, 20.0, 200.0, 900.0, np.nan])))  # fmt: skip
def test_phases_exclude_one_another(rpm: np.ndarray) -> None:
    second = np.arange(len(rpm), dtype=np.int64)
    phases = phases_of(second, rpm, None, np.zeros(len(rpm), np.bool_))
    together = phases.running.astype(int) + phases.stopped + phases.cranking
    assert (together <= 1).all()
    assert np.array_equal(np.isnan(phases.since_start_s), ~phases.running)
    assert np.array_equal(np.isnan(phases.stopped_s), ~phases.stopped)


def test_off_time_before_the_visit() -> None:
    """Between the end of one and the start of the next, sure where the hour meter stood still."""
    rpm: Series = np.concatenate([RPM, np.zeros(5)])
    first = visit(table(100, {"engine_rpm": 0.0}), "first", zero_us=0, hours=(9.0, 10.0))
    for hours, expected in (
        ((10.05, 10.1), OffTime(86_300.0, True)),
        ((12.0, 12.1), None),
        (None, OffTime(86_300.0, False)),
    ):
        now = visit(table(100, {"engine_rpm": rpm}), "now", zero_us=DAY_US, hours=hours)
        found = views_of(machine(first, now))[1]
        assert found.off_before == expected
    sure = visit(table(100, {"engine_rpm": rpm}), "now", zero_us=DAY_US, hours=(10.0, 10.1))
    stood = QuantityView(sure, first).stood_s
    assert stood is not None
    assert stood[0] == 86_300.0
    # After the engine ran, only the time since then counts.
    assert stood[94] == 19.0
    unknown = visit(table(100, {"engine_rpm": rpm}), "now")
    assert QuantityView(unknown, first).off_before is None


@pytest.mark.parametrize(("volts", "system"), [(12.5, 12), (27.8, 24), (17.2, None), (5.0, None)])
def test_system_voltage(volts: float, system: int | None) -> None:
    """By the median, in the bands of `reasoning.voltage`."""
    assert view(60, {"battery_v": volts}).system_v == system


def test_ground_speed_by_the_best_source() -> None:
    speed = view(10, {"wheel_m_s": 10.0, "gps_kmh": 35.0}).speed_kmh
    assert speed is not None
    assert speed.tolist() == pytest.approx([36.0] * 10, rel=1e-4)
    assert view(10, {}).speed_kmh is None


def test_visits_without_a_state_have_no_view() -> None:
    told = visit(table(5, {"coolant_c": 1.0}), "told")
    by_hand = replace(told, visit="by hand", state=StateTable(np.empty(0, np.int64), {}))
    (found, after) = views_of(machine(told, by_hand, replace(told, visit="after")))
    assert found.before is None
    assert after.before is told
