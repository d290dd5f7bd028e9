"""Sensors, wires and supplies of the proving ground against the reference sheet's circuits."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from shearbolt.proving.controllers import Machine
from shearbolt.proving.machines import BIG_TRACTOR, NEW_TRACTOR, TELEHANDLER, TRUCK
from shearbolt.proving.physics import KELVIN
from shearbolt.proving.plight import (
    BusFault,
    FeedFault,
    Habits,
    Plight,
    RailFault,
    SensorFault,
    When,
    WireFault,
)
from shearbolt.proving.quantities import BOOM, SEAT, TRUE_READINGS, true_reading
from shearbolt.proving.readings import READINGS
from shearbolt.proving.sensing import circuit_of, moments, ntc_ohm, pin_volts, rail_volts, sensed
from shearbolt.proving.supply import bus_state, controller_volts, outages, powered
from shearbolt.proving.trace import STEP_S, Day, Phase, Trace, simulate


@cache
def healthy(key: str = "big_tractor") -> Trace:
    machine = {"big_tractor": BIG_TRACTOR, "telehandler": TELEHANDLER, "truck": TRUCK,
               "new_tractor": NEW_TRACTOR}[key]  # fmt: skip
    return played(machine, "mow" if "tractor" in key else "road" if key == "truck" else "load")


def played(machine: Machine, activity: str, plight: Plight = Plight()) -> Trace:  # noqa: B008
    assert machine.build is not None
    phases = [Phase("key_on", 3), Phase("crank", 2), Phase("idle", 15),
              Phase(activity, 160), Phase("key_off", 10)]  # type: ignore[arg-type]  # fmt: skip
    day = Day(ambient_c=18.0, coolant_c=70.0, oil_c=72.0, plight=plight, wet=1.0)
    return simulate(machine.build, day, phases, np.random.default_rng(8))


def with_plight(trace: Trace, plight: Plight) -> Trace:
    """The same physical trace with other sensors and wires."""
    return replace(trace, day=replace(trace.day, plight=plight), memo={})


def test_a_sound_circuit_tells_the_truth() -> None:
    trace = healthy()
    for spn in TRUE_READINGS:
        truth, read = true_reading(trace, spn), sensed(trace, spn)
        assert np.abs(read - truth).max() <= 6.0 * circuit_of(spn).noise + 1e-9, spn
        assert np.array_equal(READINGS[spn](trace), read)


@pytest.mark.parametrize(
    ("celsius", "ohm"),
    # 6.10: R25 2252, B 3430
    [(-40, 55_650), (-20, 17_410), (0, 6_450), (25, 2_252), (60, 672), (90, 287), (120, 140)],
)
def test_ntc_table(celsius: float, ohm: float) -> None:
    assert ntc_ohm(np.array([celsius]))[0] == pytest.approx(ohm, rel=0.005)


@pytest.mark.parametrize(
    ("kind", "low", "high", "volts_low", "volts_high"),
    [
        # 6.10: open reads the cold extreme (FMI 3), shorted above 150 degC (FMI 4)
        ("open", -40.0, -30.0, 4.75, 5.0),
        ("short_plus", -40.0, -30.0, 4.75, 5.0),
        ("short_minus", 150.0, 211.0, 0.0, 0.25),
    ],
)
def test_broken_ntc_wire(
    kind: str, low: float, high: float, volts_low: float, volts_high: float
) -> None:
    fault = WireFault(110, kind)  # type: ignore[arg-type]
    trace = with_plight(healthy(), Plight(wires=(fault,)))
    read, volts = sensed(trace, 110), pin_volts(trace, 110)
    assert low <= read.min() <= read.max() <= high
    assert volts_low <= volts.min() <= volts.max() <= volts_high
    # 6.9: sound circuits stay off the ends
    sound = pin_volts(healthy(), 110)
    assert 0.25 < sound.min() < sound.max() < 4.75


def test_added_resistance_reads_cold() -> None:
    # 6.10
    trace = with_plight(healthy(), Plight(wires=(WireFault(110, "resistance", 800.0),)))
    assert (sensed(trace, 110) < sensed(healthy(), 110) - 10.0).all()


@pytest.mark.parametrize(
    ("spn", "kind", "end"),
    [
        # 6.9: an open wire goes where the input pulls; FMI 3 is no proof of a short to plus
        (100, "open", "low"),
        (102, "open", "high"),
        (100, "short_plus", "high"),
        (102, "short_minus", "low"),
    ],
)
def test_broken_ratiometric_wire(spn: int, kind: str, end: str) -> None:
    trace = with_plight(healthy(), Plight(wires=(WireFault(spn, kind),)))  # type: ignore[arg-type]
    volts = pin_volts(trace, spn)
    assert (volts < 0.25).all() if end == "low" else (volts > 4.75).all()
    sound = pin_volts(healthy(), spn)
    assert 0.4 < sound.min() < sound.max() < 4.6


def test_a_shared_supply_takes_its_sensors_together() -> None:
    trace = with_plight(healthy(), Plight(rails=(RailFault("engine", "A", 0.15),)))
    for spn in (100, 102, 94):
        assert pin_volts(trace, spn, "engine").max() < 0.25, spn
    assert np.array_equal(sensed(trace, 110), sensed(healthy(), 110))
    assert np.array_equal(sensed(trace, 1873), sensed(healthy(), 1873))
    assert rail_volts(trace, "engine", "A").max() == 0.15
    assert rail_volts(trace, "transmission", "A").min() == 5.0
    # A sag that comes and goes comes and goes for all of them in the same steps
    when = When("vibration", 0.4, 0.4, 0.5)
    loose = with_plight(healthy(), Plight(rails=(RailFault("engine", "A", 0.15, when),)))
    drops = [pin_volts(loose, spn) < 0.25 for spn in (100, 94)]
    assert drops[0].any()
    assert np.array_equal(drops[0], drops[1])


@pytest.mark.parametrize(
    ("fault", "check"),
    [
        (SensorFault(110, "offset", 20.0), lambda read, truth: read - truth > 19.0),
        (SensorFault(110, "gain", 0.5, pivot=20.0), lambda read, truth: read <= truth),
        (SensorFault(110, "stuck", 60.0), lambda read, _: np.abs(read - 60.0) < 1.0),
        (SensorFault(191, "dropout", 0.0), lambda read, _: read == 0.0),
    ],
    ids=lambda one: getattr(one, "kind", ""),
)
def test_faulty_sensors(fault: SensorFault, check: object) -> None:
    trace = with_plight(healthy(), Plight(sensors=(fault,)))
    read, truth = sensed(trace, fault.spn), true_reading(trace, fault.spn)
    assert np.asarray(check(read, truth)).all()  # type: ignore[operator]
    # Another controller's reading of the same signal may be sound.
    other = replace(fault, controller="cab")
    trace = with_plight(healthy(), Plight(sensors=(other,)))
    assert np.array_equal(sensed(trace, fault.spn, "engine"), sensed(healthy(), fault.spn))
    assert not np.array_equal(sensed(trace, fault.spn, "cab"), sensed(healthy(), fault.spn))


def test_noise_and_slowness() -> None:
    noisy = with_plight(healthy(), Plight(sensors=(SensorFault(100, "noise", 60.0),)))
    hot = healthy().time_s > 60.0
    sound = sensed(healthy(), 100) - true_reading(healthy(), 100)
    wild = sensed(noisy, 100) - true_reading(healthy(), 100)
    running = hot & healthy().running
    assert np.std(wild[running]) > 5 * np.std(sound[running])
    slow = with_plight(healthy(), Plight(sensors=(SensorFault(102, "slow", 40.0),)))
    assert np.abs(np.diff(sensed(slow, 102))).max() < np.abs(np.diff(sensed(healthy(), 102))).max()


@pytest.mark.parametrize(
    ("driver", "above", "key", "reading"),
    [
        ("vibration", 0.6, "big_tractor", lambda t: t.vibration_g > 0.6),
        ("steering", 70.0, "telehandler", lambda t: np.abs(t.steering_pct) > 70.0),
        ("boom", 60.0, "telehandler", lambda t: t.boom_pct > 60.0),
        ("hitch", 70.0, "big_tractor", lambda t: t.hitch_pct > 70.0),
        ("wet", 0.9, "big_tractor", lambda t: t.wet > 0.9),
        ("cranking", 0.0, "big_tractor", lambda t: t.cranking),
        ("running", 0.0, "big_tractor", lambda t: t.running),
        ("warm", 80.0, "big_tractor", lambda t: t.coolant_c > 80.0),
        ("cold", 20.0, "big_tractor", lambda t: t.ambient_c < 20.0),
    ],
)
def test_trouble_comes_only_with_what_drives_it(
    driver: str, above: float, key: str, reading: object
) -> None:
    trace = healthy(key)
    driven = np.asarray(reading(trace), np.bool_)  # type: ignore[operator]
    assert driven.any()
    always = When(driver, above)  # type: ignore[arg-type]
    assert np.array_equal(moments(trace, always), driven)
    some = moments(trace, replace(always, share=0.3, long_s=0.3), "a wire")
    assert np.array_equal(some, moments(trace, replace(always, share=0.3, long_s=0.3), "a wire"))
    assert not (some & ~driven).any()
    if driven.sum() > 800:
        assert 0.1 < some.sum() / driven.sum() < 0.55


@given(st.floats(0.02, 0.9), st.floats(0.1, 3.0))
def test_share_of_moments(share: float, long_s: float) -> None:
    there = moments(healthy(), When("always", 0.0, share, long_s), "x")
    # Few long bouts scatter more.
    bouts = len(there) * STEP_S / long_s
    assert abs(there.mean() - share) < 4.5 * np.sqrt(share * (1 - share) * 2.5 / bouts) + 0.01


def test_intermittent_wire_drops_out_and_comes_back() -> None:
    when = When("steering", 70.0, 0.5, 0.3)
    trace = with_plight(healthy("telehandler"), Plight(wires=(WireFault(191, "open", when=when),)))
    read, truth = sensed(trace, 191), true_reading(trace, 191)
    lost = (read == 0.0) & (truth > 20.0)
    assert lost.any()
    assert (np.abs(trace.steering_pct[lost]) > 70.0).all()
    assert (read[(truth > 20.0) & ~lost] > 15.0).all()


def test_a_controller_without_feed_is_out() -> None:
    fault = FeedFault("transmission", float("inf"), When("vibration", 0.6, 0.2, 2.0))
    trace = with_plight(healthy(), Plight(feeds=(fault,)))
    windows = outages(trace, "transmission")
    assert windows
    assert outages(healthy(), "transmission") == ()
    assert all(last - first >= 0.05 - 1e-9 for first, last in windows)
    dark = ~powered(trace, "transmission")
    assert dark.sum() * STEP_S >= sum(last - first for first, last in windows) - 1e-6
    assert outages(trace, "cab") == ()
    burnt = with_plight(healthy(), Plight(feeds=(FeedFault("cab", 2.0),)))
    assert controller_volts(burnt, "cab")[-1] == pytest.approx(healthy().cab_v[-1] - 3.0)
    assert controller_volts(burnt, "engine")[-1] == healthy().keyswitch_v[-1]


def test_isolator_turned_early_takes_the_after_run() -> None:
    trace = with_plight(healthy(), Plight(habits=Habits(isolates_early=True)))
    (window,) = outages(trace, "engine")
    assert window[0] == pytest.approx(180.0 + 1.5, abs=0.2)


def test_wagon_loses_power_when_the_pickup_works() -> None:
    bad = FeedFault("wagon", 4.5, When("pickup"))
    trace = played(BIG_TRACTOR, "collect", Plight(feeds=(bad,)))
    assert trace.pickup_down.any()
    volts = controller_volts(trace, "wagon", implement=True)
    assert volts[trace.pickup_down].max() < 8.2
    assert volts[~trace.pickup_down & trace.running].min() > 11.0


def test_bus_troubles() -> None:
    sound = bus_state(healthy(), "can0")
    assert sound.lost_share.max() == sound.errors_a_s.max() == 0.0
    assert not sound.mute
    assert not sound.babble_a_s
    faults = (
        BusFault("no_terminator", 0.1),
        BusFault("chafed", 0.98, when=When("vibration", 0.6, 0.2, 0.5)),
        BusFault("mute", 1.0, controller="cab", when=When("warm", 75.0)),
        BusFault("babble", 1500.0, controller="transmission", when=When("always", 0, 0.3, 4.0)),
        BusFault("no_terminator", 0.2, channel="can1"),
    )
    trace = with_plight(healthy(), Plight(buses=faults))
    state = bus_state(trace, "can0")
    assert state.lost_share.min() == pytest.approx(0.1)
    assert 0.95 < state.lost_share.max() <= 1.0
    assert state.errors_a_s.max() > 100.0
    assert np.array_equal(state.mute["cab"], trace.coolant_c > 75.0)
    assert set(np.unique(state.babble_a_s["transmission"])) == {0.0, 1500.0}
    assert bus_state(trace, "can1").lost_share.max() == pytest.approx(0.2)


def test_own_numbers_are_sensed_too() -> None:
    trace = healthy("telehandler")
    assert sensed(trace, SEAT)[100] == 1.0
    assert np.ptp(sensed(trace, BOOM)) > 50.0
    with pytest.raises(KeyError):
        sensed(trace, 1)
    assert KELVIN == 273.15
