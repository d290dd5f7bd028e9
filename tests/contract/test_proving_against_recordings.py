"""The proving ground against recordings of real machines: group rates, ranges and steps.

The recordings are read here by hand with the proving ground's own layouts; values that the real
machine did not have (not available) are left out.
"""

from __future__ import annotations

import re
from collections import defaultdict
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from shearbolt.model.frames import F64
from shearbolt.proving.layouts import Layout, layouts
from shearbolt.proving.machines import BIG_TRACTOR, NEW_TRACTOR, TRUCK
from shearbolt.proving.readings import READINGS
from shearbolt.proving.trace import STEP_S, Day, Phase, Trace, simulate

_FRAME = re.compile(r"\(?(\d+\.\d+)\)?\s+\w+\s+([0-9A-F]{8})(?:#|\s+\[\d\]\s+)([0-9A-F ]+)")
_BY_GROUP: dict[int, list[Layout]] = defaultdict(list)
for _row in layouts():
    _BY_GROUP[_row.pgn].append(_row)


@cache
def heard(path: Path) -> tuple[dict[tuple[int, int], F64], dict[tuple[int, int], F64]]:
    """Return values by SPN and sender, and times by group and sender."""
    values: dict[tuple[int, int], list[float]] = defaultdict(list)
    times: dict[tuple[int, int], list[float]] = defaultdict(list)
    for line in path.read_text("ascii").splitlines():
        found = _FRAME.search(line)
        if found is None:
            continue
        ident, data = int(found[2], 16), bytes.fromhex(found[3].replace(" ", ""))
        group, sender = ident >> 8 & 0x3FFFF, ident & 0xFF
        times[group, sender].append(float(found[1]))
        word = int.from_bytes(data.ljust(8, b"\xff"), "little")
        for row in _BY_GROUP.get(group, ()):
            raw = word >> row.first_bit & ((1 << row.length_bits) - 1)
            if raw <= row.highest_raw and (row.length_bits > 4 or raw < 2):
                values[row.spn, sender].append(raw * row.resolution + row.offset)
    return (
        {key: np.array(few) for key, few in values.items()},
        {key: np.array(few) for key, few in times.items()},
    )


@cache
def on_the_road(machine_key: str) -> Trace:
    """The truck's half minute at its height (84.2 kPa: 1,530 m), weather and warmth, but longer."""
    machine = {"truck": TRUCK, "new_tractor": NEW_TRACTOR}[machine_key]
    assert machine.build is not None
    day = Day(
        ambient_c=33.0, altitude_m=1530.0, coolant_c=91.0, oil_c=98.0, transmission_c=77.0,
        exhaust_c=280.0, soot_pct=30.0, def_c=26.0,
    )  # fmt: skip
    phases = [Phase("town", 120), Phase("road", 600)]
    return simulate(machine.build, day, phases, np.random.default_rng(4))


@pytest.fixture(scope="module")
def truck(recordings_dir: Path) -> dict[tuple[int, int], F64]:
    return heard(recordings_dir / "truck_drive" / "recording.log")[0]


@pytest.mark.parametrize(
    ("spn", "sender", "slack"),
    [
        # Our truck must come through the real one's range; slack is in the reading's unit.
        # The real one's engine is smaller and turns faster.
        (190, 0, 170.0),
        (92, 0, 8.0),
        (100, 0, 45.0),
        (102, 0, 14.0),
        (105, 0, 14.0),
        (108, 0, 1.0),
        (110, 0, 4.0),
        (157, 0, 16.0),
        (171, 0, 0.1),
        (177, 3, 9.0),
        (183, 0, 3.0),
        (84, 0, 4.0),
        (3242, 0, 15.0),
        (3246, 0, 15.0),
        (3251, 0, 0.3),
        (3216, 0, 45.0),
        (1087, 49, 20.0),
        (3031, 0, 4.0),
    ],
)
def test_ranges_of_a_real_truck(
    truck: dict[tuple[int, int], F64], spn: int, sender: int, slack: float
) -> None:
    real = truck[spn, sender]
    ours = np.asarray(READINGS[spn](on_the_road("truck")), np.float64)
    assert ours.min() <= real.min() + slack, (real.min(), real.max(), ours.min(), ours.max())
    assert ours.max() >= real.max() - slack, (real.min(), real.max(), ours.min(), ours.max())
    # Its middle is one of ours.
    middle = float(np.median(real))
    assert np.percentile(ours, 1) - slack <= middle <= np.percentile(ours, 99) + slack


@pytest.mark.parametrize(
    ("spn", "sender", "period_s", "factor"),
    # The greatest step from one message to the next, within a factor of the real one's.
    [(190, 0, 0.02, 4.0), (110, 0, 1.0, 4.0), (84, 0, 0.1, 4.0), (3242, 0, 0.5, 6.0),
     (3251, 0, 0.5, 4.0), (102, 0, 0.5, 4.0), (157, 0, 0.5, 4.0), (177, 3, 0.5, 4.0)],
)  # fmt: skip
def test_steps_of_a_real_truck(
    truck: dict[tuple[int, int], F64], spn: int, sender: int, period_s: float, factor: float
) -> None:
    real = float(np.abs(np.diff(truck[spn, sender])).max())
    ours = np.asarray(READINGS[spn](on_the_road("truck")), np.float64)
    every = max(1, round(period_s / STEP_S))
    step = float(np.abs(np.diff(ours[::every])).max())
    assert step < factor * real + 0.5


def test_filter_drop_goes_with_flow_as_on_the_real_truck(
    truck: dict[tuple[int, int], F64],
) -> None:
    # Reference sheet 6.8; the real truck tells no exhaust flow, but drop and boost rise together.
    trace = on_the_road("truck")
    assert 0.9 < truck[3251, 0].mean() < 2.0
    alike = (trace.exhaust_kg_h > 256.0) & (trace.exhaust_kg_h < 409.0)
    assert alike.any()
    assert 0.6 < trace.filter_drop_kpa[alike].mean() < 2.0


_HEARD = [
    (61444, 0), (65262, 0), (65263, 0), (65270, 0),
    (65269, 0), (65266, 0), (65272, 3), (61445, 3),
    (64946, 0), (64948, 0), (61454, 0),
    (64891, 0), (65110, 0), (65248, 0),
]  # fmt: skip


@pytest.mark.parametrize(("group", "sender"), _HEARD)
def test_group_rates_of_a_real_truck(recordings_dir: Path, group: int, sender: int) -> None:
    times = heard(recordings_dir / "truck_drive" / "recording.log")[1][group, sender]
    real_s = float(times[-1] - times[0]) / (len(times) - 1)
    periods = [
        one.period_s
        for unit in TRUCK.controllers
        for one in unit.groups
        if one.pgn == group and one.period_s > 0.0 and unit.address == sender
    ]
    assert periods
    assert 0.45 * real_s < periods[0] < 2.2 * real_s


def test_a_cold_start_like_the_real_tractor_s(recordings_dir: Path) -> None:
    values, _ = heard(recordings_dir / "tractor" / "key_on_and_run.log")
    assert BIG_TRACTOR.build is not None
    day = Day(ambient_c=10.0, altitude_m=110.0)
    phases = [Phase("key_on", 3), Phase("crank", 2), Phase("idle", 30), Phase("key_off", 5)]
    trace = simulate(BIG_TRACTOR.build, day, phases, np.random.default_rng(3))
    oil, volts, rpm = (values[one, 0] for one in (100, 158, 190))
    # Cold oil at idle, cranking dip, charging, idle speed: within the real one's size
    assert trace.oil_kpa.max() == pytest.approx(oil.max(), abs=130.0)
    assert trace.keyswitch_v[trace.cranking].min() == pytest.approx(volts.min(), abs=1.6)
    assert trace.keyswitch_v[trace.running].max() == pytest.approx(volts.max(), abs=0.4)
    assert trace.engine_rpm.max() == pytest.approx(rpm.max(), abs=160.0)
    assert trace.battery_v[:40].max() == pytest.approx(12.6, abs=0.3)
    assert np.ptp(values[110, 0]) <= 1.0
    assert np.ptp(trace.coolant_c) < 3.0
