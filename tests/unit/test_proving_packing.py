"""The proving ground's packing against the published worked examples.

Each is a worked example of the reference sheet (section in brackets) beside its standard.
"""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shearbolt.model.fault import Lamps
from shearbolt.proving.obd import code_bytes
from shearbolt.proving.packing import (
    DM1,
    acknowledgement,
    diagnostic_payload,
    dtc_bytes,
    freeze_frame,
    identifier,
    lamp_bytes,
    make_name,
    request,
    software_payload,
    stars,
)
from shearbolt.proving.transport import broadcast, iso_tp, to_one

MIL_AND_AMBER = Lamps("on", "off", "on", "off")
FIVE = (
    dtc_bytes(100, 1, 3),
    dtc_bytes(110, 0, 1),
    dtc_bytes(3251, 16, 7),
    dtc_bytes(5246, 15, 126),
    dtc_bytes(522_000, 31, None),
)


def sent(text: str) -> bytes:
    return bytes.fromhex(text)


@pytest.mark.parametrize(
    ("expected", "priority", "pgn", "source", "destination"),
    [
        # SAE J1939-21 5.2 (reference sheet 1.1)
        (0x0CF00400, 3, 61444, 0x00, 255),
        (0x18FECA00, 6, 65226, 0x00, 255),
        (0x18EA00F9, 6, 59904, 0xF9, 0x00),
        (0x1CECFF00, 7, 60416, 0x00, 0xFF),
        (0x1CEBF900, 7, 60160, 0x00, 0xF9),
        (0x18E8FF00, 6, 59392, 0x00, 0xFF),
        (0x18FE563D, 6, 65110, 0x3D, 255),
        (0x0CFE45F0, 3, 65093, 0xF0, 255),
        (0x18EEFF26, 6, 60928, 0x26, 0xFF),
        (0x18DA00F1, 6, 55808, 0xF1, 0x00),
    ],
)
def test_identifier(expected: int, priority: int, pgn: int, source: int, destination: int) -> None:
    assert identifier(priority, pgn, source, destination) == expected


def test_broadcast_of_five_faults() -> None:
    # SAE J1939-21 5.10 (reference sheet 1.4)
    payload = diagnostic_payload(MIL_AND_AMBER, FIVE)
    assert payload == sent("44FF64000103 6E000001 B30C1007 7E140F7E 10F7FF7F")
    events = broadcast(5_000, 0, DM1, payload, gap_us=50_000, tag=3)
    assert [(one.ident, one.data) for one in events] == [
        (0x1CECFF00, sent("20160004FFCAFE00")),
        (0x1CEBFF00, sent("0144FF640001036E")),
        (0x1CEBFF00, sent("02000001B30C1007")),
        (0x1CEBFF00, sent("037E140F7E10F7FF")),
        (0x1CEBFF00, sent("047FFFFFFFFFFFFF")),
    ]
    assert [one.time_us for one in events] == [5_000, 55_000, 105_000, 155_000, 205_000]
    assert [one.tag for one in events] == [3, 3, 3, 3, 3]


def test_request_and_answer_of_a_vehicle_identification() -> None:
    # SAE J1939-21 5.10 (reference sheet 1.5), without the hold in the middle
    asked = request(0, 0xF9, 0, 65260)
    assert (asked.ident, asked.data) == (0x18EA00F9, sent("ECFE00"))
    events = to_one(0, 0, 0xF9, 65260, stars("AB1CD23E4FG567890"), window=2)
    assert [(one.ident, one.data) for one in events] == [
        (0x1CECF900, sent("10120003FFECFE00")),
        (0x1CEC00F9, sent("110201FFFFECFE00")),
        (0x1CEBF900, sent("0141423143443233")),
        (0x1CEBF900, sent("0245344647353637")),
        (0x1CEC00F9, sent("110103FFFFECFE00")),
        (0x1CEBF900, sent("033839302AFFFFFF")),
        (0x1CEC00F9, sent("13120003FFECFE00")),
    ]


def test_transport_refuses_what_it_cannot_carry() -> None:
    for size in (0, 8, 1786):
        with pytest.raises(ValueError, match="transport carries"):
            broadcast(0, 0, DM1, bytes(size))
    with pytest.raises(ValueError, match="ISO-TP carries"):
        iso_tp(0, 0x7E8, 0x7E0, b"")


@given(st.binary(min_size=9, max_size=1785), st.integers(1, 255))
def test_transport_carries_every_byte_once(payload: bytes, window: int) -> None:
    events = to_one(0, 0, 0xF9, 65260, payload, window=window)
    packets = [one.data for one in events if one.ident == 0x1CEBF900]
    assert [one[0] for one in packets] == list(range(1, len(packets) + 1))
    assert b"".join(one[1:] for one in packets)[: len(payload)] == payload
    allowed = sum(one.data[1] for one in events if one.data[0] == 17 and one.ident & 0xFF == 0xF9)
    assert allowed == len(packets)


@pytest.mark.parametrize(
    ("expected", "payload"),
    [
        # SAE J1939-73 (reference sheet 2.11, examples 1 to 3)
        (
            "04FF6F001202FFFF",
            diagnostic_payload(Lamps("off", "off", "on", "off"), [dtc_bytes(111, 18, 2)]),
        ),
        (
            "501F6E000001FFFF",
            diagnostic_payload(Lamps("slow", "fast", "off", "off"), [dtc_bytes(110, 0, 1)]),
        ),
        ("00FF00000000FFFF", diagnostic_payload(Lamps("off", "off", "off", "off"), [])),
        # 2.5: an older sender leaves the flash byte at zero
        (
            "000000000000FFFF",
            diagnostic_payload(Lamps("off", "off", "off", "off"), [], old_flash=True),
        ),
    ],
)
def test_diagnostic_payload(expected: str, payload: bytes) -> None:
    assert payload == sent(expected)


def test_two_faults_take_two_packets() -> None:
    # Reference sheet 2.11, example 20
    payload = diagnostic_payload(
        Lamps("off", "off", "on", "off"), [dtc_bytes(100, 18, 1), dtc_bytes(110, 16, 5)]
    )
    assert [one.data for one in broadcast(0, 0, DM1, payload)] == [
        sent("200A0002FFCAFE00"),
        sent("0104FF640012016E"),
        sent("02001005FFFFFFFF"),
    ]


@pytest.mark.parametrize(
    ("expected", "spn", "fmi", "count", "method"),
    [
        # Reference sheet 2.11, examples 5 to 11
        ("B804030A", 1208, 3, 10, 4),
        ("0097038A", 1208, 3, 10, 1),
        ("9700038A", 1208, 3, 10, 2),
        ("B804038A", 1208, 3, 10, 3),
        ("00416581", 523, 5, 1, 1),
        ("7F020982", 639, 9, 2, 3),
        ("10F7FF7F", 522_000, 31, None, 4),
    ],
)
def test_trouble_code(expected: str, spn: int, fmi: int, count: int | None, method: int) -> None:
    assert dtc_bytes(spn, fmi, count, method) == sent(expected)


def test_trouble_code_count_stops_at_126_and_methods_are_four() -> None:
    assert dtc_bytes(100, 1, 300)[3] == 126
    with pytest.raises(ValueError, match="no conversion method 5"):
        dtc_bytes(100, 1, 0, 5)


def test_freeze_frame() -> None:
    # SAE J1939-73 DM4 (reference sheet 2.11, example 12)
    packed = freeze_frame(
        dtc_bytes(110, 0, 1),
        torque_mode=1,
        boost_kpa=120.0,
        engine_rpm=1800.0,
        load_pct=85.0,
        coolant_c=113.0,
        speed_km_h=12.0,
    )
    # The example leaves the unused half of the torque-mode byte at 0; ones are 'not available'.
    assert packed == sent("0C6E000001F13C40385599000C")


def test_acknowledgement() -> None:
    # SAE J1939-21 5.4.4 (reference sheet 2.11, examples 17 and 18)
    done = acknowledgement(0, 0, 0xF9, 65235, 0)
    assert (done.ident, done.data) == (0x18E8FF00, sent("00FFFFFFF9D3FE00"))
    assert acknowledgement(0, 0, 0xF9, 65235, 3).data == sent("03FFFFFFF9D3FE00")


def test_name() -> None:
    # SAE J1939-81 (reference sheet 3.6)
    name = make_name(98_765, 1234, 0, device_class=7, industry_group=2, self_configurable=True)
    assert name.value.to_bytes(8, "little") == sent("CD81419A00000EA0")
    with pytest.raises(ValueError, match="does not fit 21 bits"):
        make_name(1 << 21, 0, 0)


@given(
    st.integers(0, (1 << 21) - 1),
    st.integers(0, 2047),
    st.integers(0, 255),
    st.integers(0, 127),
    st.integers(0, 7),
    st.integers(0, 31),
    st.booleans(),
)
def test_name_fields_come_back(
    identity: int, maker: int, function: int, kind: int, group: int, instance: int, free: bool
) -> None:
    name = make_name(
        identity,
        maker,
        function,
        device_class=kind,
        industry_group=group,
        function_instance=instance,
        self_configurable=free,
    )
    assert (name.identity_number, name.manufacturer_code, name.function) == (
        identity,
        maker,
        function,
    )
    assert (name.device_class, name.industry_group, name.function_instance) == (
        kind,
        group,
        instance,
    )
    assert name.self_configurable is free


def test_lamps_that_are_not_there() -> None:
    assert lamp_bytes(Lamps()) == b"\xff\xff"


def test_texts() -> None:
    assert stars("", "M1", "S2", "1") == b"*M1*S2*1*"
    assert software_payload("A", "B") == b"\x02A*B*"


def test_iso_tp_of_a_vehicle_identification() -> None:
    # SAE J1979 mode 09 (reference sheet 4.3, example 6), but for the padding
    payload = b"\x49\x02\x01AB1CD23E4FG567890"
    events = iso_tp(0, 0x7E8, 0x7E0, payload, padding=0)
    assert [(one.ident, one.data) for one in events] == [
        (0x7E8, sent("1014490201414231")),
        (0x7E0, sent("3000000000000000")),
        (0x7E8, sent("2143443233453446")),
        (0x7E8, sent("2247353637383930")),
    ]


@pytest.mark.parametrize(
    ("code", "expected"),
    # SAE J2012 (reference sheet 4.3)
    [
        ("P0143", "0143"),
        ("P1200", "1200"),
        ("C1234", "5234"),
        ("B1601", "9601"),
        ("U0100", "C100"),
    ],
)
def test_road_code(code: str, expected: str) -> None:
    assert code_bytes(code) == sent(expected)


@pytest.mark.parametrize("code", ["", "X0100", "P4000", "P012"])
def test_road_code_refused(code: str) -> None:
    with pytest.raises(ValueError, match="no trouble code"):
        code_bytes(code)
