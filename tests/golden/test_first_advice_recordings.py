"""First advice and company on the open recordings of real machines."""

from __future__ import annotations

from pathlib import Path

import pytest
from tests.advised import machine_advised

from shearbolt.decode.state import StateBuilder
from shearbolt.decode.visit import decode_recording
from shearbolt.dictionary.merged import Dictionary
from shearbolt.dictionary.quantities import state_spns
from shearbolt.model.reading import TimeBase
from shearbolt.reasoning.advice import Now
from shearbolt.reasoning.case import FaultCase, FaultInVisit, MachineCase, VisitCase
from shearbolt.reasoning.company import company_of
from shearbolt.reasoning.company.cranks import cranks_of
from shearbolt.recordings import open_recording


def case_of(path: Path) -> MachineCase:
    """Make a machine of one recording."""
    state = StateBuilder(state_spns())
    content = decode_recording(
        open_recording(path).blocks(),
        Dictionary.ours(),
        TimeBase.ABSOLUTE,
        each=lambda block: state.feed(block.columns()),
    )
    cases = [
        FaultCase(
            f"f{i}", one.key.kind, f"c{one.key.address}", one.key.address, one.key.spn,
            one.key.fmi, one.key.code, "",
        )
        for i, one in enumerate(content.faults)
    ]  # fmt: skip
    visit = VisitCase(
        "v0", "recording", "complete", 0, content.first_us, content.earliest_us,
        content.latest_us, None, None, state.finish(), content.controllers, content.signals,
        tuple(FaultInVisit(f"f{i}", one) for i, one in enumerate(content.faults)),
        content.clears, content.lamp_without_code, content.pauses,
    )  # fmt: skip
    return MachineCase("m", "machine", (visit,), tuple(cases))


@pytest.mark.parametrize(
    ("name", "expected"),
    [
        ("tractor/key_on_and_run.log", {}),
        # An ordinary interlock under a maker's number, the protect lamp lit: no stop.
        ("tractor/start_in_gear.log", {(524020, 31): "keep_working"}),
        # The sensor was pulled off: oil pressure is not watched any more, and is not lost either.
        ("tractor/sensor_unplugged_analyser_export.csv", {(100, 4): "finish_gently"}),
    ],
)
def test_advice_on_real_machines(
    recordings_dir: Path, name: str, expected: dict[tuple[int, int], str]
) -> None:
    case = case_of(recordings_dir / name)
    found = machine_advised(case, now=Now(case.visits[0].latest_us, None))
    told = {
        (one.spn, one.fmi): found.by_fault[one.fault].advice
        for one in case.faults
        if one.spn is not None
    }
    assert told == expected
    assert found.advice != "stop_now"


def test_the_healthy_start_is_no_weak_feed(recordings_dir: Path) -> None:
    case = case_of(recordings_dir / "tractor/key_on_and_run.log")
    assert not any(one.low for one in cranks_of(case.visits[0]))
    assert company_of(case).instances == ()


def test_the_truck_is_told_to_finish_gently(recordings_dir: Path) -> None:
    case = case_of(recordings_dir / "truck_drive/recording.log")
    company = company_of(case)
    assert company.roots == {}
    found = machine_advised(case, now=Now(case.visits[0].latest_us, None))
    by_code = {(one.spn, one.fmi): found.by_fault[one.fault].advice for one in case.faults}
    assert by_code[(191, 9)] == "finish_gently"
    assert "stop_now" not in by_code.values()
