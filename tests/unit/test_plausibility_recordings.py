"""The checks on the open recordings of real machines and on the demo season; words and limits."""

from __future__ import annotations

import re
from collections.abc import Iterable
from functools import cache
from pathlib import Path

import pytest
from tests.made_state import machine, visit

from shearbolt.decode.columns import BlockDecoder
from shearbolt.decode.state import StateBuilder
from shearbolt.dictionary.merged import Dictionary
from shearbolt.dictionary.plausibility import all_limits, check_words, finding_words
from shearbolt.dictionary.quantities import state_spns
from shearbolt.model.frames import Frames
from shearbolt.model.state import StateKey, StateTable
from shearbolt.proving import DemoRecording, demo_season
from shearbolt.reasoning.plausibility.check import CheckResult
from shearbolt.reasoning.plausibility.examination import CHECKS, Examination, examine
from shearbolt.recordings import open_recording

UNPLUGGED = "tractor/sensor_unplugged_analyser_export.csv"


def decoded(blocks: Iterable[Frames]) -> StateTable:
    decoder, builder = BlockDecoder(Dictionary.ours()), StateBuilder(state_spns())
    for frames in blocks:
        builder.feed(decoder.feed(frames).columns())
    return builder.finish()


def judged(folder: Path, name: str) -> dict[str, list[CheckResult]]:
    found: dict[str, list[CheckResult]] = {}
    for one in examine(machine(visit(decoded(open_recording(folder / name).blocks())))).results:
        found.setdefault(one.check, []).append(one)
    return found


@pytest.mark.parametrize(
    ("name", "possible"),
    [
        (
            "truck_drive/recording.log",
            {"barometer", "oil_pressure", "oil_low", "charging", "batteries", "ground_speed",
             "output_shaft", "dpf_flow", "end_of_scale", "steps"},
        ),
        (
            "tractor/key_on_and_run.log",
            {"oil_at_rest", "boost_at_rest", "barometer", "end_of_scale", "steps"},
        ),
        ("tractor/start_in_gear.csv", {"oil_at_rest", "boost_at_rest", "barometer"}),
    ],
)  # fmt: skip
def test_healthy_readings_are_not_accused(
    recordings_dir: Path, name: str, possible: set[str]
) -> None:
    found = judged(recordings_dir, name)
    accused = [one for some in found.values() for one in some if one.result in ("odd", "doubtful")]
    assert accused == []
    assert possible <= {key for key, some in found.items() if any(x.result == "ok" for x in some)}
    # A cranking plateau of 7.75 and 9.3 V at one sample a second accuses nobody.
    assert found["cranking"][0].because.key == "cranking_not_seen"


def test_the_unplugged_oil_pressure_sensor(recordings_dir: Path) -> None:
    found = judged(recordings_dir, UNPLUGGED)
    accused = [one for some in found.values() for one in some if one.result in ("odd", "doubtful")]
    assert [(one.check, one.about) for one in accused] == [
        ("end_of_scale", (StateKey("Serial1", 0, 100),))
    ]
    assert accused[0].moments_us


def test_filter_drop_of_the_truck(recordings_dir: Path) -> None:
    """Reference sheet 6.8 measured 3.2e5 and no offset on sixty pairs; seconds are coarser."""
    (found,) = judged(recordings_dir, "truck_drive/recording.log")["dpf_flow"]
    shown = {one.name: one.value for one in found.figures}
    assert 1.5e5 < shown["slope"] < 4.5e5
    assert shown["correlation"] > 0.5


LOADER, UTILITY = 6, 7
"""Groups of the demo's machines: one with a sound engine, one with a weak ground and a bad supply;
the whole season takes a minute to live."""
SAME_MATTER = {158: {158, 168}, 168: {158, 168}, 102: {102, 1127}}
"""Parameters that tell one and the same quantity."""


@cache
def recordings() -> tuple[DemoRecording, ...]:
    return tuple(demo_season(groups=(LOADER, UTILITY)))


@cache
def season() -> dict[str, Examination]:
    machines: dict[str, list[tuple[DemoRecording, StateTable]]] = {}
    for one in recordings():
        state = decoded([one.frames])
        if len(state):
            machines.setdefault(one.truth.machines[0].name, []).append((one, state))
    return {
        key: examine(
            machine(
                *(
                    visit(
                        state,
                        recording.file_name,
                        zero_us=None if recording.truth.started_us == 0 else 0,
                        hours=_hours(recording),
                    )
                    for recording, state in some
                )
            )
        )
        for key, some in machines.items()
    }


def _hours(recording: DemoRecording) -> tuple[float, float] | None:
    first = recording.truth.machines[0]
    if first.hours_start is None or first.hours_end is None:
        return None
    return first.hours_start, first.hours_end


def test_the_demo_season_accuses_only_what_is_wrong() -> None:
    """Every reading that is odd or doubtful is one that a true fault of that machine is about."""
    wrong: dict[str, set[int]] = {}
    for one in recordings():
        for fault in one.truth.faults:
            if fault.spn is not None and fault.active:
                name = one.truth.machines[0].name
                wrong.setdefault(name, set()).update(SAME_MATTER.get(fault.spn, {fault.spn}))
    accused = [
        (name, result)
        for name, examination in season().items()
        for result in examination.results
        if result.result in ("odd", "doubtful")
    ]
    assert [
        (name, result) for name, result in accused
        if not {key.spn for key in result.about} & wrong.get(name, set())
    ] == []  # fmt: skip
    assert {(result.check, result.about[0].spn) for _, result in accused} >= {
        ("cranking", 158),
        ("steps", 100),
    }
    assert all(chart.alarm is None for one in season().values() for chart in one.charts)


def test_every_check_on_every_visit() -> None:
    for examination in season().values():
        for one in examination.visits:
            assert {result.check for result in one.results} == {check.name for check in CHECKS}


def test_every_finding_has_words_for_its_figures() -> None:
    words = finding_words()
    for examination in season().values():
        for one in examination.results:
            named = set(re.findall(r"{(\w+)}", words[one.because.key]))
            assert named <= {name for name, _ in one.because.values}, one
            assert one.source
            assert (one.result == "not_possible") == bool(one.missing)
            assert len(one.moments_us) <= 20


def test_words_and_limits_are_of_checks_that_exist() -> None:
    names = {check.name for check in CHECKS}
    assert set(check_words()) == names
    assert {one.check for one in all_limits()} <= names | {"charts", "shafts", "traits"}
    assert all(one.source and one.unit for one in all_limits())
