"""A tester's dialogue becomes the same facts as J1939 (SAE J1979, ISO 14229)."""

from __future__ import annotations

import pytest
from tests.bus_traffic import content_of

from shearbolt.model.fault import FaultSeen, FaultState
from shearbolt.model.frames import EXTENDED, Frames, PlainFrame, frames_from
from shearbolt.model.visit import VisitContent

STEP_US = 10_000


def heard(text: str) -> Frames:
    """Make frames of 'IDENT bytes; IDENT bytes', 10 ms apart."""
    rows = []
    for at, frame in enumerate(text.split(";")):
        ident, data = frame.split(maxsplit=1)
        flags = EXTENDED if len(ident) > 3 else 0
        rows.append(PlainFrame(at * STEP_US, int(ident, 16), bytes.fromhex(data), flags))
    return frames_from(rows)


def told(text: str) -> VisitContent:
    return content_of(heard(text))


def by_code(content: VisitContent) -> dict[str, FaultSeen]:
    return {one.key.code or "": one for one in content.faults}


def test_stored_pending_and_permanent_codes() -> None:
    content = told(
        "7DF 01 03; 7E8 04 43 01 02 17; 7DF 01 07; 7E8 06 47 02 02 17 03 01; 7DF 01 0A;"
        "7E8 04 4A 01 04 20"
    )
    found = by_code(content)
    assert {code: (one.state, one.sources) for code, one in found.items()} == {
        "P0217": ("active", ("obd03", "obd07")),
        "P0301": ("pending", ("obd07",)),
        "P0420": ("permanent", ("obd0a",)),
    }
    assert {one.key.kind for one in content.faults} == {"obd"}
    assert found["P0217"].key.address == 0x7E8
    assert found["P0217"].spells == ()


def test_the_warning_lamp_of_readiness_goes_with_stored_codes() -> None:
    content = told("7DF 02 01 01; 7E8 06 41 01 81 07 65 04; 7DF 01 03; 7E8 04 43 01 02 17")
    assert by_code(content)["P0217"].lamps.mil == "on"
    pending = told("7DF 02 01 01; 7E8 06 41 01 81 07 65 04; 7DF 01 07; 7E8 04 47 01 02 17")
    assert by_code(pending)["P0217"].lamps.mil is None


@pytest.mark.parametrize(
    ("status", "state"),
    [("09", "active"), ("08", "previously_active"), ("28", "previously_active"), ("04", "pending")],
)
def test_the_status_byte_of_a_code_says_how_it_stands(status: str, state: FaultState) -> None:
    content = told(f"7E0 03 19 02 FF; 7E8 07 59 02 FF 02 17 00 {status}")
    found = by_code(content)["P0217"]
    assert (found.state, found.status_byte) == (state, int(status, 16))


def test_a_failure_type_makes_a_code_of_its_own() -> None:
    content = told("7E0 03 19 02 FF; 7E8 07 59 02 FF 02 17 11 09")
    (found,) = content.faults
    assert (found.key.kind, found.key.code, found.failure_type) == ("uds", "P0217-11", 0x11)


def test_a_code_neither_failing_nor_stored_is_none() -> None:
    assert told("7E0 03 19 02 FF; 7E8 07 59 02 FF 02 17 00 50").faults == ()


def test_clears_are_events_of_the_record() -> None:
    content = told("7DF 01 04; 7E8 01 44; 7E0 04 14 FF FF FF; 7E8 03 7F 14 22")
    assert [(one.what, one.result, one.controller) for one in content.clears] == [
        ("obd04", "done", 0x7E8),
        ("uds14", "refused", 0x7E8),
    ]


def test_the_vin_is_told_and_the_unit_is_a_controller() -> None:
    content = told(
        "7DF 02 09 02; 7E8 10 14 49 02 01 41 42 31; 7E0 30 00 00;"
        "7E8 21 43 44 32 33 45 34 46; 7E8 22 47 35 36 37 38 39 30"
    )
    assert content.vins == (("can0", 0x7E8, "AB1CD23E4FG567890"),)
    (unit,) = content.controllers
    assert (unit.address, unit.vin, unit.name) == (0x7E8, "AB1CD23E4FG567890", None)


def test_readings_that_are_also_j1939_parameters_are_signals() -> None:
    """Service 01 0C: engine speed, a quarter rpm a bit; the same quantity as SPN 190."""
    content = told("7DF 02 01 0C; 7E8 04 41 0C 1A F8; 7DF 02 01 0C; 7E8 04 41 0C 1B 58")
    (speed,) = (one for one in content.signals if one.spn == 190)
    assert (speed.samples, speed.first, speed.last) == (2, 1726.0, 1750.0)


def test_a_stored_frame_goes_with_the_code_that_stored_it() -> None:
    content = told(
        "7DF 01 03; 7E8 04 43 01 02 17; 7DF 03 02 02 00; 7E8 05 42 02 00 02 17;"
        "7DF 03 02 0C 00; 7E8 05 42 0C 00 1A F8"
    )
    (frame,) = by_code(content)["P0217"].freeze_frames
    assert [(one.spn, one.value) for one in frame.values] == [(190, 1726.0)]
