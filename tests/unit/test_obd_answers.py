"""SAE J1979 services as heard on the wire: rows of reference sheet 4.3 and around them."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.road_traffic import converse, message, of_kind

from shearbolt.model.road import (
    ClearHeard,
    CodesListed,
    FreezeCode,
    FreezeValue,
    MonitorResults,
    NegativeAnswer,
    OtherAnswer,
    PidReading,
    PidsSupported,
    ReadinessListed,
    RoadNotRead,
    VehicleInfo,
)
from shearbolt.wire.obd import bytes_of, code_of, read_obd_answer


def single(text: str) -> PidReading:
    (reading,) = of_kind(converse(text), PidReading)
    return reading


def test_row_1_engine_speed() -> None:
    reading = single("7DF 02 01 0C; 7E8 04 41 0C 1A F8")
    assert (reading.ident, reading.address, reading.pid) == (0x7E8, 0x7E8, 0x0C)
    (speed,) = reading.values
    assert (speed.field, speed.value, speed.unit, speed.spn) == (
        "engine_speed_rpm",
        1726.0,
        "rpm",
        190,
    )


def test_row_2_readiness_of_a_diesel() -> None:
    (ready,) = converse("7DF 02 01 01; 7E8 06 41 01 81 0E EB 42")
    assert isinstance(ready, ReadinessListed)
    assert (ready.mil, ready.count, ready.compression_ignition) == (True, 1, True)
    monitors = {one.name: (one.supported, one.complete) for one in ready.monitors}
    assert monitors == {
        "misfire": (False, None),
        "fuel system": (True, True),
        "components": (True, True),
        "NMHC catalyst": (True, True),
        "NOx aftertreatment": (True, False),
        "boost pressure": (True, True),
        "exhaust gas sensor": (True, True),
        "particulate filter": (True, False),
        "EGR or valve timing": (True, True),
    }
    assert ready.not_complete == ("NOx aftertreatment", "particulate filter")


def test_row_3_confirmed_codes() -> None:
    assert converse("7DF 01 03; 7E8 06 43 02 01 43 12 00") == [
        CodesListed(10_000, 0, 0x7E8, False, 0x03, ("P0143", "P1200"), 2)
    ]


def test_row_4_no_confirmed_code() -> None:
    (listed,) = converse("7DF 01 03; 7E8 02 43 00")
    assert isinstance(listed, CodesListed)
    assert (listed.codes, listed.announced) == ((), 0)


def test_row_5_freeze_frame() -> None:
    (frozen,) = converse("7DF 03 02 0C 00; 7E8 05 42 0C 00 1A F8")
    assert isinstance(frozen, FreezeValue)
    assert (frozen.frame, frozen.pid, frozen.values[0].value) == (0, 0x0C, 1726.0)


def test_row_6_vehicle_identification() -> None:
    events = converse(
        "7DF 02 09 02; 7E8 10 14 49 02 01 41 42 31; 7E0 30 00 00;"
        "7E8 21 43 44 32 33 45 34 46; 7E8 22 47 35 36 37 38 39 30"
    )
    assert events == [VehicleInfo(10_000, 0, 0x7E8, False, vin="AB1CD23E4FG567890")]


def test_row_7_clear_refused() -> None:
    events = converse("7DF 01 04; 7E8 03 7F 04 22")
    refusal, cleared = events
    assert isinstance(refusal, NegativeAnswer)
    assert isinstance(cleared, ClearHeard)
    assert (cleared.result, cleared.nrc, cleared.asked_ident) == ("refused", 0x22, 0x7DF)
    assert "conditions" in cleared.words


def test_row_8_two_units_answer() -> None:
    events = converse("7DF 02 01 05; 7E8 03 41 05 7B; 7E9 03 41 05 7A")
    readings = of_kind(events, PidReading)
    assert [(one.ident, one.values[0].value) for one in readings] == [(0x7E8, 83.0), (0x7E9, 82.0)]
    assert len(events) == 2


def test_row_9_supported_identifiers_by_29_bit() -> None:
    (supported,) = converse("18DB33F1 02 01 00; 18DAF100 06 41 00 98 18 80 13")
    assert isinstance(supported, PidsSupported)
    assert supported.pids == (0x01, 0x04, 0x05, 0x0C, 0x0D, 0x11, 0x1C, 0x1F, 0x20)
    assert (supported.address, supported.extended) == (0x00, True)


@pytest.mark.parametrize(
    ("raw", "code"),
    [("0143", "P0143"), ("1200", "P1200"), ("5234", "C1234"), ("9601", "B1601"), ("C100", "U0100")],
)
def test_code_bytes(raw: str, code: str) -> None:
    """SAE J2012 (reference sheet 4.3)."""
    assert code_of(bytes.fromhex(raw)) == code
    assert bytes_of(code) == bytes.fromhex(raw)


@given(st.binary(min_size=2, max_size=2))
def test_code_bytes_go_there_and_back(raw: bytes) -> None:
    assert bytes_of(code_of(raw)) == raw


@pytest.mark.parametrize(("service", "first"), [("07", "47"), ("0A", "4A")])
def test_pending_and_permanent_codes(service: str, first: str) -> None:
    (listed,) = converse(f"7DF 01 {service}; 7E8 04 {first} 01 C1 00")
    assert isinstance(listed, CodesListed)
    assert (listed.service, listed.codes) == (int(service, 16), ("U0100",))


def test_a_list_of_codes_in_several_frames_filled_up_with_zeros() -> None:
    events = converse(
        "7E0 01 03; 7E8 10 0C 43 04 01 43 12 00; 7E0 30 00 00; 7E8 21 24 2F C1 00 00 00 AA"
    )
    (listed,) = events
    assert isinstance(listed, CodesListed)
    assert listed.codes == ("P0143", "P1200", "P242F", "U0100")


def test_count_that_does_not_fit_is_told_and_loses_no_code() -> None:
    listed, doubt = converse("7DF 01 03; 7E8 04 43 02 01 43")
    assert isinstance(listed, CodesListed)
    assert (listed.codes, listed.announced) == (("P0143",), 2)
    assert isinstance(doubt, RoadNotRead)


def test_clear_done_by_two_units() -> None:
    events = converse("7DF 01 04; 7E8 01 44; 7E9 01 44")
    assert [(one.ident, one.result) for one in of_kind(events, ClearHeard)] == [
        (0x7E8, "done"),
        (0x7E9, "done"),
    ]
    assert len(events) == 2


def test_several_identifiers_in_one_answer() -> None:
    events = converse("7E0 04 01 0C 05 0D; 7E8 10 08 41 0C 1A F8 05 7B; 7E0 30 00 00; 7E8 21 0D 32")
    assert [(one.pid, one.values[0].value) for one in of_kind(events, PidReading)] == [
        (0x0C, 1726.0),
        (0x05, 83.0),
        (0x0D, 50.0),
    ]
    assert len(events) == 3


def test_several_identifiers_without_the_request_heard() -> None:
    events = read_obd_answer(message("41 0C 1A F8 05 7B"))
    assert [one.pid for one in of_kind(events, PidReading)] == [0x0C, 0x05]


def test_unknown_identifier_is_kept_raw() -> None:
    reading = single("7DF 02 01 C7; 7E8 05 41 C7 01 02 03")
    assert (reading.name, reading.values, reading.raw) == ("", (), b"\x01\x02\x03")


def test_unknown_length_in_the_middle_is_never_guessed() -> None:
    events = read_obd_answer(message("41 C7 01 0D 32"), bytes.fromhex("01 C7 0D"))
    (lost,) = events
    assert isinstance(lost, RoadNotRead)
    assert lost.payload == bytes.fromhex("C7 01 0D 32")
    last = read_obd_answer(message("41 0D 32 C7 01"), bytes.fromhex("01 0D C7"))
    assert [one.raw for one in of_kind(last, PidReading)] == [b"\x32", b"\x01"]


def test_what_was_not_asked_for_is_told() -> None:
    events = read_obd_answer(message("41 0C 1A F8 05 7B"), bytes.fromhex("01 0C 0D"))
    assert [type(one) for one in events] == [PidReading, RoadNotRead]


def test_too_few_bytes_are_no_reading() -> None:
    (lost,) = converse("7DF 02 01 0C; 7E8 03 41 0C 1A")
    assert isinstance(lost, RoadNotRead)
    assert lost.reason == "identifier 0C with 1 of 2 bytes"


def test_code_that_stored_the_freeze_frame() -> None:
    events = converse(
        "7E0 03 02 02 00; 7E8 05 42 02 00 01 43; 7E0 03 02 02 00; 7E8 05 42 02 00 00 00"
    )
    assert [one.code for one in of_kind(events, FreezeCode)] == ["P0143", None]


def test_two_values_of_a_freeze_frame() -> None:
    events = converse(
        "7E0 05 02 0C 00 05 00; 7E8 10 08 42 0C 00 1A F8 05; 7E0 30 00 00; 7E8 21 00 7B"
    )
    values = [(one.frame, one.pid, one.values[0].value) for one in of_kind(events, FreezeValue)]
    assert values == [(0, 0x0C, 1726.0), (0, 0x05, 83.0)]


def test_readiness_of_a_spark_engine_and_of_this_cycle() -> None:
    since_clear, this_cycle = converse(
        "7E0 02 01 01; 7E8 06 41 01 00 07 65 04; 7E0 02 01 41; 7E8 06 41 41 00 0E EB 42"
    )
    assert isinstance(since_clear, ReadinessListed)
    assert (since_clear.mil, since_clear.count) == (False, 0)
    assert not since_clear.compression_ignition
    assert since_clear.not_complete == ("evaporative system",)
    assert isinstance(this_cycle, ReadinessListed)
    assert (this_cycle.pid, this_cycle.mil, this_cycle.count) == (0x41, None, None)


def test_test_results_with_signed_scaling() -> None:
    """SAE J1979 service 06 on CAN; layout from memory."""
    row = "B2 80 {} {} {} {}"
    unsigned = row.format("2F", "00 10", "00 00", "00 20")
    signed = row.format("8E", "FF F0", "FF 00", "FF E0")
    (tests,) = read_obd_answer(message(f"46 {unsigned} {signed}"))
    assert isinstance(tests, MonitorResults)
    assert [(one.value, one.passed) for one in tests.results] == [(16, True), (-16, False)]
    assert tests.results[1].high == -32


def test_calibration_ids_checks_and_unit_name() -> None:
    """SAE J1979 info types 04, 06 and 0A; layout from memory."""
    ids = b"CAL-A01".ljust(16, b"\0") + b"CAL-B02".ljust(16, b"\0")
    (calibrations,) = read_obd_answer(message(b"\x49\x04\x02" + ids))
    assert isinstance(calibrations, VehicleInfo)
    assert calibrations.calibration_ids == ("CAL-A01", "CAL-B02")
    (checks,) = read_obd_answer(message("49 06 01 12 34 AB CD"))
    assert isinstance(checks, VehicleInfo)
    assert checks.calibration_checks == ("1234ABCD",)
    name = b"ECM\0-EngineControl".ljust(20, b"\0")
    (named,) = read_obd_answer(message(b"\x49\x0a\x01" + name))
    assert isinstance(named, VehicleInfo)
    assert named.ecu_name == "ECM-EngineControl"


def test_in_use_counters_of_a_compression_engine() -> None:
    counts = b"".join((100 + at).to_bytes(2, "big") for at in range(18))
    (info,) = read_obd_answer(message(b"\x49\x0b\x12" + counts))
    assert isinstance(info, VehicleInfo)
    assert len(info.counters) == 18
    assert dict(info.counters)["PMCOMP"] == 108


def test_info_types_supported_with_and_without_a_count() -> None:
    for payload in ("49 00 55 40 00 00", "49 00 01 55 40 00 00"):
        (supported,) = read_obd_answer(message(payload))
        assert isinstance(supported, PidsSupported)
        assert (supported.service, supported.pids) == (0x09, (0x02, 0x04, 0x06, 0x08, 0x0A))


@pytest.mark.parametrize("vin", [b"", b"SHORT", b"\xff" * 17, b"AB1CD23E4FG56789\x01"])
def test_no_vin_is_made_up(vin: bytes) -> None:
    (lost,) = read_obd_answer(message(b"\x49\x02\x01" + vin))
    assert isinstance(lost, RoadNotRead)


def test_other_services_keep_their_bytes() -> None:
    (other,) = converse("7E0 02 08 01; 7E8 03 48 01 00")
    assert isinstance(other, OtherAnswer)
    assert other.service == 0x08


@given(
    first=st.integers(0x41, 0x4A),
    body=st.binary(max_size=60),
    request=st.one_of(st.none(), st.binary(min_size=1, max_size=7)),
)
def test_any_answer_is_read_or_told(first: int, body: bytes, request: bytes | None) -> None:
    """Nothing raises, and nothing but the clear vanishes."""
    asked = None if request is None else bytes((first - 0x40,)) + request
    events = read_obd_answer(message(bytes((first,)) + body), asked)
    assert bool(events) or first == 0x44
    for reading in of_kind(events, PidReading):
        assert all(one.value is None or one.value == one.value for one in reading.values)
        assert reading.raw in body
