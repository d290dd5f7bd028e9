"""ISO 14229 as heard on the wire: rows of reference sheet 4.5, and udsoncan as second authority."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.road_traffic import converse, message, of_kind, services, udsoncan

from shearbolt.dictionary.uds_words import (
    code_formats,
    data_identifiers,
    failure_type_words,
    refusal_words,
)
from shearbolt.model.road import (
    ClearHeard,
    DataRead,
    DtcStatus,
    KeepAlive,
    NegativeAnswer,
    OtherAnswer,
    PidReading,
    RoadNotRead,
    SessionStarted,
    UdsCodes,
    UdsCount,
    UdsRecord,
    VehicleInfo,
)
from shearbolt.wire.uds import read_code, read_negative, read_uds_answer, reread


def test_extended_session() -> None:
    assert converse("7E0 02 10 03; 7E8 06 50 03 00 32 01 F4") == [
        SessionStarted(10_000, 0, 0x7E8, False, 3, "extended session", 50, 5000)
    ]


def test_number_of_confirmed_codes() -> None:
    (counted,) = converse("7E0 03 19 01 08; 7E8 06 59 01 2F 02 00 03")
    assert isinstance(counted, UdsCount)
    assert (counted.available, counted.code_format, counted.count) == (0x2F, 2, 3)
    assert code_formats()[counted.code_format].name == "SAE J1939-73"


def test_codes_by_mask() -> None:
    (codes,) = converse("7E0 03 19 02 08; 7E8 07 59 02 2F 01 43 11 2F")
    assert isinstance(codes, UdsCodes)
    assert (codes.report, codes.mask, codes.available, codes.code_format) == (2, 8, 0x2F, None)
    (fault,) = codes.faults
    assert (fault.code, fault.failure_type, fault.label) == ("P0143", 0x11, "P0143-11")
    assert failure_type_words(0x11) == "circuit shorted to ground"
    status = fault.status
    assert status is not None
    assert (status.failed_now, status.failed_this_cycle, status.pending) == (True, True, True)
    assert (status.confirmed, status.failed_since_clear) == (True, True)
    assert not status.not_tested_since_clear
    assert not status.not_tested_this_cycle
    assert not status.warning_asked


def test_clear_pending_then_done() -> None:
    events = converse("7E0 04 14 FF FF FF; 7E8 03 7F 14 78; 7E8 01 54")
    pending, done = events
    assert isinstance(pending, NegativeAnswer)
    assert (pending.nrc, pending.final) == (0x78, False)
    assert isinstance(done, ClearHeard)
    assert (done.service, done.result, done.waited, done.group) == (0x14, "done", True, 0xFFFFFF)
    assert (done.asked_ident, done.asked_us, done.time_us) == (0x7E0, 0, 20_000)


def test_identifier_not_offered() -> None:
    (refusal,) = converse("7E0 03 22 F1 90; 7E8 03 7F 22 31")
    assert isinstance(refusal, NegativeAnswer)
    assert (refusal.service, refusal.nrc, refusal.final) == (0x22, 0x31, True)
    assert refusal.words == "not offered, or out of range"


def test_silence_towards_a_quiet_tester_present_is_right() -> None:
    assert converse("7E0 02 3E 80") == [KeepAlive(0, 0, 0x7E0, False, answer_wanted=False)]


def test_tester_present_answered() -> None:
    (present,) = converse("7E0 02 3E 00; 7E8 02 7E 00")
    assert isinstance(present, KeepAlive)
    assert present.answer_wanted


def test_codes_as_spn_and_fmi_once_the_format_is_told() -> None:
    """SAE J1939-73: SPN 3251 FMI 0 is B3 0C 00 (order of the bytes from memory)."""
    events = converse(
        "18DA00F1 03 19 01 08; 18DAF100 06 59 01 2F 02 00 01;"
        "18DA00F1 03 19 02 08; 18DAF100 07 59 02 2F B3 0C 00 2F"
    )
    (codes,) = of_kind(events, UdsCodes)
    (fault,) = codes.faults
    assert (fault.spn, fault.fmi, fault.code, fault.label) == (3251, 0, None, "SPN 3251 FMI 0")
    assert codes.address == 0x00


def test_a_format_told_afterwards_can_be_applied() -> None:
    (codes,) = of_kind(converse("18DAF100 07 59 02 2F B3 0C 00 2F"), UdsCodes)
    assert codes.faults[0].code == "B330C"
    again = reread(codes, 2)
    assert (again.code_format, again.faults[0].spn) == (2, 3251)
    assert reread(again, 0).faults == codes.faults


def test_formats_are_kept_apart_by_unit() -> None:
    events = converse("7E8 06 59 01 2F 02 00 01; 7E9 07 59 02 2F 01 43 11 2F")
    assert of_kind(events, UdsCodes)[0].faults[0].code == "P0143"


@pytest.mark.parametrize("code_format", [3, 9])
def test_formats_without_public_words_stay_bytes(code_format: int) -> None:
    fault = read_code(b"\x01\x43\x11", 0x2F, code_format)
    assert (fault.code, fault.spn, fault.failure_type) == (None, None, None)
    assert fault.label == "014311"


def test_zero_is_no_code() -> None:
    (codes,) = converse("7E8 10 0B 59 02 2F 01 43 11; 7E8 21 2F 00 00 00 00")
    assert isinstance(codes, UdsCodes)
    assert len(codes.faults) == 1


def test_snapshot_and_extended_data_keep_the_makers_bytes() -> None:
    events = converse(
        "7E8 10 0C 59 04 01 43 11 2F; 7E8 21 01 01 F4 0C 1A F8; 7E8 07 59 06 01 43 11 2F 01"
    )
    snapshot, extended = of_kind(events, UdsRecord)
    assert (snapshot.record, snapshot.identifiers) == (1, 1)
    assert snapshot.data == bytes.fromhex("F4 0C 1A F8")
    assert (extended.record, extended.identifiers, extended.data) == (1, None, b"")
    assert extended.fault.label == "P0143-11"


def test_emission_codes_of_iso_27145() -> None:
    """ISO 27145-3 report 42, from memory: severity before each code, format in the head."""
    (codes,) = read_uds_answer(
        message("59 42 33 FF 1E 04 02 24 63 00 2F"), bytes.fromhex("19 42 33 08 1E")
    )
    assert isinstance(codes, UdsCodes)
    assert (codes.report, codes.mask, codes.available, codes.code_format) == (0x42, 8, 0xFF, 4)
    assert [(one.label, one.severity) for one in codes.faults] == [("P2463-00", 2)]


@pytest.mark.parametrize(
    ("body", "labels"),
    [
        ("", []),
        ("24 63 00 2F", ["P2463-00"]),
        ("02 24 63 00 2F", ["P2463-00"]),
    ],
)
def test_permanent_codes_of_iso_27145(body: str, labels: list[str]) -> None:
    """Report 55: with or without a severity before each code, as the length says."""
    (codes,) = read_uds_answer(message(f"59 55 33 FF 04 {body}"))
    assert isinstance(codes, UdsCodes)
    assert [one.label for one in codes.faults] == labels


@pytest.mark.parametrize("size", [1, 3, 20, 40])
def test_permanent_codes_whose_form_cannot_be_told(size: int) -> None:
    (lost,) = read_uds_answer(message(b"\x59\x55\x33\xff\x04" + bytes(range(1, size + 1))))
    assert isinstance(lost, RoadNotRead)


def test_data_identifiers() -> None:
    vin = b"AB1CD23E4FG567890"
    read, info = read_uds_answer(message(b"\x62\xf1\x90" + vin))
    assert isinstance(read, DataRead)
    assert (read.did, read.name, read.text) == (
        0xF190,
        "vehicle identification number",
        vin.decode(),
    )
    assert isinstance(info, VehicleInfo)
    assert info.vin == vin.decode()
    (own,) = read_uds_answer(message("62 01 23 41 42"))
    assert isinstance(own, DataRead)
    assert (own.name, own.data, own.text) == ("", b"AB", None)


def test_several_identifiers_are_cut_only_where_that_is_certain() -> None:
    asked = bytes.fromhex("22 F1 87 F1 95")
    events = read_uds_answer(message(b"\x62\xf1\x87P-100\xf1\x95V2"), asked)
    assert [one.text for one in of_kind(events, DataRead)] == ["P-100", "V2"]
    twice = read_uds_answer(message(b"\x62\xf1\x87P\xf1\x95Q\xf1\x95V2"), asked)
    assert [type(one) for one in twice] == [RoadNotRead]
    lone = read_uds_answer(message(b"\x62\xf1\x87P-100"), asked)
    assert [one.text for one in of_kind(lone, DataRead)] == ["P-100"]


def test_parameters_by_service_22() -> None:
    """ISO 27145-2, from memory: identifiers F400 to F4FF are those of SAE J1979."""
    events = read_uds_answer(message("62 F4 0C 1A F8"))
    (reading,) = of_kind(events, PidReading)
    assert reading.values[0].value == 1726.0


def test_other_reports_keep_their_bytes() -> None:
    (other,) = read_uds_answer(message("59 03 01 43 11 01"))
    assert isinstance(other, OtherAnswer)


@pytest.mark.parametrize(
    "payload", ["50 03", "59", "59 01 2F 02", "59 02", "59 04 01", "62 F1", "59 42 33", "59 55 33"]
)
def test_answers_that_are_too_short_are_told(payload: str) -> None:
    events = read_uds_answer(message(payload))
    assert [type(one) for one in events] == [RoadNotRead]


def test_bytes_left_over_are_told() -> None:
    codes, doubt = read_uds_answer(message("59 02 2F 01 43 11 2F 01 43"))
    assert isinstance(codes, UdsCodes)
    assert isinstance(doubt, RoadNotRead)
    assert (len(codes.faults), doubt.payload) == (1, b"\x01\x43")


def test_a_negative_response_of_the_wrong_length_is_told() -> None:
    assert isinstance(read_negative(message("7F 22")), RoadNotRead)


def test_words_for_every_refusal_of_the_sheet() -> None:
    """ISO 14229-1 (reference sheet 4.5); any other is told as its number."""
    sheet = "10 11 12 13 21 22 24 31 33 35 36 37 78 7E 7F 83 84 88 92 93"
    for nrc in bytes.fromhex(sheet):
        assert f"{nrc:02X}" not in refusal_words(nrc)
    assert refusal_words(0x83) == "the engine is running"
    assert refusal_words(0xC3) == "refused, code C3"
    assert "maker" in refusal_words(0xF0)


def test_the_tables_keep_the_rules() -> None:
    assert {0xF190, 0xF18C, 0xF187, 0xF195} <= set(data_identifiers())
    assert set(code_formats()) == {0, 1, 2, 3, 4}
    assert failure_type_words(0xF3) is None
    for nrc in range(256):
        assert refusal_words(nrc)


# udsoncan from here on.

codes_and_status = st.lists(
    st.tuples(st.integers(1, 0xFFFFFF), st.integers(0, 255)), max_size=20, unique_by=lambda x: x[0]
)


@given(codes_and_status, st.integers(0, 255), st.sampled_from([0x02, 0x0A, 0x0F, 0x13, 0x15]))
def test_lists_of_codes_agree_with_udsoncan(
    held: list[tuple[int, int]], available: int, report: int
) -> None:
    body = bytes((report, available))
    for number, status in held:
        body += number.to_bytes(3, "big") + bytes((status,))
    response = udsoncan.Response(
        service=services.ReadDTCInformation,
        code=udsoncan.Response.Code.PositiveResponse,
        data=body,
    )
    (codes,) = read_uds_answer(message(response.get_payload()))
    assert isinstance(codes, UdsCodes)
    theirs = services.ReadDTCInformation.interpret_response(
        response, report, standard_version=2013
    ).service_data
    assert theirs.status_availability.get_byte_as_int() == codes.available
    assert len(theirs.dtcs) == len(codes.faults)
    for their, ours in zip(theirs.dtcs, codes.faults, strict=True):
        assert their.id == int.from_bytes(ours.raw, "big")
        assert ours.status is not None
        assert their.status.get_byte_as_int() == ours.status.byte


@given(codes_and_status, st.integers(0, 255), st.sampled_from([2, 4]))
def test_emission_codes_agree_with_udsoncan(
    held: list[tuple[int, int]], severity: int, code_format: int
) -> None:
    body = bytes((0x42, 0x33, 0xFF, 0x1E, code_format))
    for number, status in held:
        body += bytes((severity,)) + number.to_bytes(3, "big") + bytes((status,))
    response = udsoncan.Response(
        service=services.ReadDTCInformation,
        code=udsoncan.Response.Code.PositiveResponse,
        data=body,
    )
    theirs = services.ReadDTCInformation.interpret_response(response, 0x42).service_data
    (codes,) = read_uds_answer(message(response.get_payload()))
    assert isinstance(codes, UdsCodes)
    assert (codes.code_format, codes.available) == (theirs.dtc_format, 0xFF)
    assert [int.from_bytes(one.raw, "big") for one in codes.faults] == [
        one.id for one in theirs.dtcs
    ]
    assert {one.severity for one in codes.faults} <= {severity}


@given(st.integers(0, 255))
def test_status_bits_agree_with_udsoncan(byte: int) -> None:
    theirs = udsoncan.Dtc.Status.from_byte(byte)
    ours = DtcStatus(byte)
    assert [
        theirs.test_failed,
        theirs.test_failed_this_operation_cycle,
        theirs.pending,
        theirs.confirmed,
        theirs.test_not_completed_since_last_clear,
        theirs.test_failed_since_last_clear,
        theirs.test_not_completed_this_operation_cycle,
        theirs.warning_indicator_requested,
    ] == [
        ours.failed_now,
        ours.failed_this_cycle,
        ours.pending,
        ours.confirmed,
        ours.not_tested_since_clear,
        ours.failed_since_clear,
        ours.not_tested_this_cycle,
        ours.warning_asked,
    ]


@given(st.sampled_from([0x01, 0x07, 0x11, 0x12]), st.integers(0, 4), st.integers(0, 0xFFFF))
def test_counts_agree_with_udsoncan(report: int, code_format: int, count: int) -> None:
    body = bytes((report, 0xFF, code_format)) + count.to_bytes(2, "big")
    response = udsoncan.Response(
        service=services.ReadDTCInformation,
        code=udsoncan.Response.Code.PositiveResponse,
        data=body,
    )
    theirs = services.ReadDTCInformation.interpret_response(
        response, report, standard_version=2013
    ).service_data
    (ours,) = read_uds_answer(message(response.get_payload()))
    assert isinstance(ours, UdsCount)
    assert (ours.count, ours.code_format) == (theirs.dtc_count, theirs.dtc_format)
    named = udsoncan.Dtc.Format.get_name(ours.code_format)
    assert named is not None
    known = {0: "J2012", 1: "14229", 2: "J1939", 3: "11992", 4: "J2012"}
    ours_name = code_formats()[ours.code_format].name
    assert known[ours.code_format] in ours_name


@given(st.sampled_from([0x10, 0x14, 0x19, 0x22, 0x27, 0x2E, 0x31, 0x3E]), st.integers(1, 255))
def test_negative_responses_agree_with_udsoncan(service: int, nrc: int) -> None:
    payload = bytes((0x7F, service, nrc))
    theirs = udsoncan.Response.from_payload(payload)
    ours = read_negative(message(payload))
    assert isinstance(ours, NegativeAnswer)
    assert (theirs.service.request_id(), theirs.code) == (ours.service, ours.nrc)
    pending = udsoncan.Response.Code.RequestCorrectlyReceived_ResponsePending
    assert ours.final == (theirs.code != pending)


@given(st.integers(0, 0xFFFF), st.integers(0, 0xFFFF))
def test_session_times_agree_with_udsoncan(p2: int, p2_star: int) -> None:
    response = udsoncan.Response(
        service=services.DiagnosticSessionControl,
        code=udsoncan.Response.Code.PositiveResponse,
        data=b"\x03" + p2.to_bytes(2, "big") + p2_star.to_bytes(2, "big"),
    )
    theirs = services.DiagnosticSessionControl.interpret_response(response).service_data
    (ours,) = read_uds_answer(message(response.get_payload()))
    assert isinstance(ours, SessionStarted)
    assert theirs.p2_server_max * 1000 == pytest.approx(ours.p2_ms)
    assert theirs.p2_star_server_max * 1000 == pytest.approx(ours.p2_star_ms)


@given(
    st.sampled_from([0x10, 0x19, 0x22, 0x3E, 0x31, 0x2E]),
    st.binary(max_size=60),
    st.one_of(st.none(), st.binary(max_size=8)),
    st.one_of(st.none(), st.integers(0, 255)),
)
def test_any_answer_is_read_or_told(
    service: int, body: bytes, request: bytes | None, code_format: int | None
) -> None:
    asked = None if request is None else bytes((service,)) + request
    events = read_uds_answer(message(bytes((service + 0x40,)) + body), asked, code_format)
    assert bool(events) or service == 0x3E
