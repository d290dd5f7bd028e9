"""Which raw counts are numbers: SAE J1939-71, reference sheet section 3.1."""

from __future__ import annotations

import pytest

from shearbolt.dictionary import rules
from shearbolt.dictionary.rules import (
    ERROR,
    NO_NUMBER,
    NOT_AVAILABLE,
    NUMBER,
    raw_rules,
    status_of,
)
from shearbolt.dictionary.signals import row_of_spn, signal_row, signal_rows
from shearbolt.dictionary.values import decode_text, decode_value, physical, state_name
from shearbolt.model import signal
from shearbolt.model.layout import SignalRow


def field_of(bits: int, *, unit: str = "kPa", states: str = "", high: str = "1") -> SignalRow:
    return signal_row(
        {
            **{"spn": "1000", "name": "Trial", "pgn": "65300", "pgn_acronym": "", "source": "here"},
            **{"start_byte": "1", "start_bit": "1", "length_bits": str(bits), "unit": unit},
            **{"resolution": "1", "offset": "0", "low": "0", "high": high, "state_texts": states},
        }
    )


def statuses(row: SignalRow) -> list[int]:
    borders = raw_rules(row)
    return [status_of(raw, borders) for raw in range(1 << row.length_bits)]


def one(spn: int) -> SignalRow:
    (row,) = row_of_spn(spn)
    return row


def test_the_codes_are_those_of_the_model() -> None:
    for name in ("NUMBER", "NOT_AVAILABLE", "ERROR", "NO_NUMBER"):
        assert getattr(rules, name) == getattr(signal, name)


# Reference sheet 3.1, the table of widths; borders of every stretch.
@pytest.mark.parametrize(
    ("bits", "expected"),
    [
        (1, {0: NUMBER, 1: NUMBER}),
        (2, {0: NUMBER, 1: NUMBER, 2: ERROR, 3: NOT_AVAILABLE}),
        (3, {0: NUMBER, 5: NUMBER, 6: ERROR, 7: NOT_AVAILABLE}),
        (4, {0: NUMBER, 13: NUMBER, 14: ERROR, 15: NOT_AVAILABLE}),
        (
            8,
            {
                **{0x00: NUMBER, 0xFA: NUMBER, 0xFB: NO_NUMBER, 0xFC: NO_NUMBER},
                **{0xFD: NO_NUMBER, 0xFE: ERROR, 0xFF: NOT_AVAILABLE},
            },
        ),
        (
            16,
            {
                **{0x0000: NUMBER, 0xFAFF: NUMBER, 0xFB00: NO_NUMBER, 0xFBFF: NO_NUMBER},
                **{0xFC00: NO_NUMBER, 0xFDFF: NO_NUMBER, 0xFE00: ERROR, 0xFEFF: ERROR},
                **{0xFF00: NOT_AVAILABLE, 0xFF7B: NOT_AVAILABLE, 0xFFFF: NOT_AVAILABLE},
            },
        ),
        (
            24,
            {
                **{0xFAFFFF: NUMBER, 0xFB0000: NO_NUMBER, 0xFC0000: NO_NUMBER},
                **{0xFE0000: ERROR, 0xFEFFFF: ERROR, 0xFF0000: NOT_AVAILABLE},
            },
        ),
        (
            32,
            {
                **{4211081215: NUMBER, 0xFB000000: NO_NUMBER, 0xFDFFFFFF: NO_NUMBER},
                **{0xFE000000: ERROR, 0xFEFFFFFF: ERROR, 0xFF000000: NOT_AVAILABLE},
            },
        ),
        (64, {0xFA << 56: NUMBER, 0xFE << 56: ERROR, (1 << 64) - 1: NOT_AVAILABLE}),
    ],
)
def test_widths(bits: int, expected: dict[int, int]) -> None:
    borders = raw_rules(field_of(bits))
    assert {raw: status_of(raw, borders) for raw in expected} == expected


# Bit fields that follow their own list (reference sheet 3.1 and the table's state_texts).
N, A, E, R = NUMBER, NOT_AVAILABLE, ERROR, NO_NUMBER


@pytest.mark.parametrize(
    ("spn", "expected"),
    [
        (3697, [N, N, R, R, N, R, R, A]),  # 7 not available; 2, 3, 5, 6 reserved
        (5245, [N, N, R, R, N, R, R, A]),
        (5246, [N, N, N, N, N, N, R, A]),  # levels 1..5, 6 reserved
        (527, [N, N, N, N, N, N, N, A]),  # 6 has a name of its own
        (4339, [N, N, R, R, R, R, E, A]),
        (5726, [N, N, N, N, R, R, E, A]),  # 6 non-recoverable fault
        (3700, [N, N, N, A]),  # 2 needed - automatic start imminent
        (695, [N, N, N, N]),  # 2 torque control, 3 speed/torque limit
        (897, [N, N, N, N]),
        (3041, [N, N, R, N]),  # 3 do not flash
        (3702, [N, N, R, A]),  # 2 reserved
        (3607, [N, N, R, A]),  # 3 no action
        (4312, [N, N, E, A]),  # 3 no action
        (2979, [N, N, E, A]),  # the list is silent on 2
        (3218, [N, N, E, A]),
        (2844, [N, N]),
        (899, [N] * 13 + [R, N, A]),  # 14 other
        (1675, [N] * 10 + [R, R, N, R, E, A]),
        (3543, [N] * 8 + [R] * 7 + [A]),
        (3521, [N] * 4 + [R] * 9 + [N, E, A]),  # 14 detection error
        (4332, [N] * 4 + [R] + [N] * 6 + [R] * 3 + [E, A]),  # 3 'system error pending' is a state
        (1920, [N] * 4 + [R] * 10 + [E, A]),  # 15 no action
        (4154, [N] * 8 + [R] * 7 + [A]),  # raw 8..14 not used
        (900, [N] * 14 + [E, A]),  # no list: by width
        (976, [N] * 31 + [A]),  # 10.. preprogrammed set speeds
        (3224, [N] * 31 + [A]),  # preliminary FMI
        (2839, [N] * 32),  # NAME fields have no codes
        (2842, [N] * 128),
        (5725, [N] * 10 + [R] * 52 + [E, A]),
        (4106, [N] * 256),  # DM29 counts reach 255
        (1482, [N] * 254 + [A] * 2),  # 254 'null' and 255 'all' are no unit's address
        (1483, [N] * 254 + [A] * 2),
        (2841, [N] * 256),
        (1218, [N] * 251 + [R] * 3 + [E, A]),
        (523, [N] * 252 + [R] * 2 + [E, A]),  # raw 251 is park
        (524, [N] * 252 + [R] * 2 + [E, A]),
    ],
)
def test_fields_that_follow_their_own_list(spn: int, expected: list[int]) -> None:
    assert statuses(one(spn)) == expected


def test_the_whole_range_counts_where_the_row_says_so() -> None:
    assert raw_rules(one(3525)).number_top == 0xFFFFFFFF
    assert status_of(0xFFFFFFFF, raw_rules(one(3525))) == NUMBER
    assert status_of(0xFFFFFFFF, raw_rules(one(3726))) == NOT_AVAILABLE
    assert status_of((1 << 21) - 1, raw_rules(one(2837))) == NUMBER


def test_no_border_of_ours_contradicts_another() -> None:
    for row in signal_rows():
        borders = raw_rules(row)
        full = (1 << row.length_bits) - 1
        assert borders.number_top <= full
        assert borders.absent_low <= full + 1
        assert borders.absent_low > borders.number_top
        assert all(code <= borders.number_top for code in borders.reserved)
        assert status_of(0, borders) == (ERROR if row.spn in (162, 163) else NUMBER)


# Check values of reference sheet 3.1: value = raw x resolution + offset.
@pytest.mark.parametrize(
    ("spn", "raw", "value"),
    [
        (110, 0x00, -40.0),
        (110, 0x87, 95.0),
        (110, 0xFA, 210.0),
        (175, 0x2D60, 90.0),
        (175, 0x2220, 0.0),
        (513, 0x7D, 0.0),
        (513, 0x96, 25.0),
        (523, 0x7D, 0.0),
        (523, 0x7C, -1.0),
        (523, 0x80, 3.0),
        (523, 0xFB, 126.0),
        (1879, 0x81E2, 12500.0),
        (5238, 0x7D80, 0.0),
        (916, 0x7D7F, 0.0),
    ],
)
def test_check_values(spn: int, raw: int, value: float) -> None:
    row = one(spn)
    assert status_of(raw, raw_rules(row)) == NUMBER
    assert physical(raw, row) == pytest.approx(value, abs=1e-9)


def test_values_come_out_of_payloads() -> None:
    # Coolant temperature 95 degC, oil temperature 90 degC (bytes 60 2D), the rest not available.
    payload = bytes.fromhex("87FF602DFFFFFFFF")
    assert decode_value(payload, one(110)) == (95.0, NUMBER)
    assert decode_value(payload, one(174)) == (None, NOT_AVAILABLE)
    assert decode_value(payload, one(175)) == (90.0, NUMBER)
    assert decode_value(payload, one(176)) == (None, NOT_AVAILABLE)
    # FFxx is not available for every xx: 0xFFFF is not 8,191.875 rpm, nor is 0xFF12.
    assert decode_value(bytes.fromhex("FFFFFF12FFFFFFFF"), one(190)) == (None, NOT_AVAILABLE)
    assert decode_value(bytes.fromhex("FFFFFF00FEFFFFFF"), one(190)) == (None, ERROR)


def test_a_field_beyond_the_end_is_not_available() -> None:
    assert decode_value(b"\x87", one(110)) == (95.0, NUMBER)
    assert decode_value(b"", one(110)) == (None, NOT_AVAILABLE)
    assert decode_value(b"\x87\x00\x60", one(175)) == (None, NOT_AVAILABLE)


def test_long_messages() -> None:
    payload = bytearray(36)
    payload[32:36] = (3600).to_bytes(4, "little")
    assert decode_value(bytes(payload), one(5454)) == (3600.0, NUMBER)
    assert decode_value(bytes(payload[:35]), one(5454)) == (None, NOT_AVAILABLE)


def test_text() -> None:
    payload = b"\x7d\xff\xff\x7dD1\xff\xff"
    assert decode_text(payload, one(162)) == "D1"
    assert decode_text(payload, one(163)) is None
    assert decode_value(payload, one(163)) == (None, NOT_AVAILABLE)
    assert decode_text(payload, one(523)) is None


def test_state_names() -> None:
    assert state_name(one(523), 125) == "neutral"
    assert state_name(one(523), 251) == "park"
    assert state_name(one(3700), 2) == "needed - automatic start imminent"
    assert state_name(one(5246), 3) == "inducement level 1 (least) to 5 (final)"
    assert state_name(one(976), 17) == "preprogrammed set speeds"
    assert state_name(one(3697), 2) is None
    assert one(3719).note == "100 % = regeneration due; above 100 % possible"
    assert one(4154).note == "adds 0..0.875 % to SPN 513"


def test_a_list_with_odd_codes_stays_careful() -> None:
    """An owner's list with an error among the numbers: neither of the errors becomes a number."""
    row = field_of(3, unit="state", states="0 off,1 error,2 on,3 error,4 fast", high="7")
    assert statuses(row) == [N, R, N, E, N, R, R, A]


def test_whole_bytes_with_a_list_go_by_their_width() -> None:
    row = field_of(8, unit="state", states="0 off,7 on", high="255")
    assert statuses(row)[:9] == [N] * 9
    assert statuses(row)[254:] == [E, A]
