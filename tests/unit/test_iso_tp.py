"""ISO 15765-2 as a listener hears it, and which identifiers carry it."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from shearbolt.model.frames import ERROR, EXTENDED, REMOTE
from shearbolt.model.message import Broken, IsoTpBroken, IsoTpMessage
from shearbolt.wire.diagnostic_ids import is_answer, is_functional, is_request, partner
from shearbolt.wire.iso_tp import IsoTpListener, diagnostic_mask, is_diagnostic

VIN = b"AB1CD23E4FG567890"
ECU, TESTER = 0x7E8, 0x7E0

# Reference sheet 4.3 row 6: the answer with the vehicle identification number.
VIN_FRAMES = [
    (ECU, "10 14 49 02 01 41 42 31"),
    (TESTER, "30 00 00"),
    (ECU, "21 43 44 32 33 45 34 46"),
    (ECU, "22 47 35 36 37 38 39 30"),
]


def hear(
    frames: list[tuple[int, str]],
    *,
    step_us: int = 10_000,
    extended: bool = False,
    times_us: list[int] | None = None,
) -> list[IsoTpMessage | IsoTpBroken]:
    """Feed frames of one channel at equal steps or given times, then finish."""
    listener = IsoTpListener()
    heard: list[IsoTpMessage | IsoTpBroken] = []
    for at, (ident, data) in enumerate(frames):
        time_us = times_us[at] if times_us else at * step_us
        heard += listener.feed(time_us, 0, ident, extended, bytes.fromhex(data))
    return [*heard, *listener.finish()]


def reasons(heard: list[IsoTpMessage | IsoTpBroken]) -> list[Broken]:
    return [one.reason for one in heard if isinstance(one, IsoTpBroken)]


def payloads(heard: list[IsoTpMessage | IsoTpBroken]) -> list[bytes]:
    return [one.payload for one in heard if isinstance(one, IsoTpMessage)]


def test_vin_answer_of_the_reference_sheet() -> None:
    heard = hear(VIN_FRAMES)
    assert heard == [IsoTpMessage(0, 30_000, 0, ECU, False, bytes.fromhex("490201") + VIN)]


def test_the_same_without_flow_control_heard() -> None:
    assert payloads(hear([one for one in VIN_FRAMES if one[0] == ECU])) == [b"\x49\x02\x01" + VIN]


def test_29_bit() -> None:
    swapped = {ECU: 0x18DAF100, TESTER: 0x18DA00F1}
    frames = [(swapped[ident], data) for ident, data in VIN_FRAMES]
    (whole,) = hear(frames, extended=True)
    assert isinstance(whole, IsoTpMessage)
    assert (whole.ident, whole.extended, whole.payload[3:]) == (0x18DAF100, True, VIN)


@pytest.mark.parametrize("padding", ["", "00 00 00 00", "55555555", "AAAAAAAA", "CCCCCCCC"])
def test_padding_of_a_single_frame_is_no_data(padding: str) -> None:
    """Padding bytes as in reference sheet 4.2."""
    assert payloads(hear([(ECU, f"03 41 05 7B {padding}")])) == [b"\x41\x05\x7b"]


def test_padding_of_the_last_frame_is_no_data() -> None:
    frames = [(ECU, "10 09 59 02 2F 01 43 11"), (ECU, "21 2F 02 00 AA AA AA AA")]
    assert payloads(hear(frames)) == [bytes.fromhex("59 02 2F 01 43 11 2F 02 00")]


def test_two_units_interleaved() -> None:
    other = [(0x7E9, data.replace("41 42 31", "5A 5A 5A")) for _, data in VIN_FRAMES]
    frames = [VIN_FRAMES[0], other[0], VIN_FRAMES[2], other[2], other[3], VIN_FRAMES[3]]
    heard = hear(frames)
    assert [one.ident for one in heard] == [0x7E9, ECU]
    assert len(payloads(heard)) == 2


def test_two_channels_are_apart() -> None:
    listener = IsoTpListener()
    first, _, second, third = (bytes.fromhex(data) for _, data in VIN_FRAMES)
    assert listener.feed(0, 0, ECU, False, first) == ()
    (orphan,) = listener.feed(1, 1, ECU, False, second)
    assert isinstance(orphan, IsoTpBroken)
    assert orphan.reason is Broken.NO_SESSION
    assert listener.feed(2, 0, ECU, False, second) == ()
    assert len(listener.feed(3, 0, ECU, False, third)) == 1


def test_lost_frame() -> None:
    heard = hear([VIN_FRAMES[0], VIN_FRAMES[3]])
    assert reasons(heard) == [Broken.WRONG_ORDER]
    assert payloads(heard) == []


def test_repeated_frame_never_yields_a_message() -> None:
    """ISO 15765-2: a wrong sequence number ends the reception, a repeated one included."""
    frames = [VIN_FRAMES[0], VIN_FRAMES[2], VIN_FRAMES[2], VIN_FRAMES[3]]
    assert reasons(hear(frames)) == [Broken.WRONG_ORDER]


def test_repeated_frame_with_other_data() -> None:
    frames = [VIN_FRAMES[0], VIN_FRAMES[2], (ECU, "21 00 44 32 33 45 34 46"), VIN_FRAMES[3]]
    assert reasons(hear(frames)) == [Broken.CHANGED]


def test_swapped_frames() -> None:
    frames = [VIN_FRAMES[0], VIN_FRAMES[3], VIN_FRAMES[2]]
    heard = hear(frames)
    assert (reasons(heard), payloads(heard)) == ([Broken.WRONG_ORDER], [])


def test_sequence_number_wraps() -> None:
    body = bytes(range(200)) + bytes(50)
    frames = [(ECU, f"10 FA {body[:6].hex()}")]
    for number, at in enumerate(range(6, 250, 7), 1):
        frames.append((ECU, f"{0x20 | number & 0xF:02X}{body[at : at + 7].hex()}"))
    assert len(frames) > 17
    assert payloads(hear(frames)) == [body]


def test_recording_ends_in_the_middle() -> None:
    (broken,) = hear(VIN_FRAMES[:3])
    assert isinstance(broken, IsoTpBroken)
    assert (broken.reason, broken.time_us) == (Broken.INCOMPLETE, 0)
    assert "13 of 20 bytes" in broken.detail


def test_no_flow_control_is_told() -> None:
    (broken,) = hear(VIN_FRAMES[:1])
    assert isinstance(broken, IsoTpBroken)
    assert broken.detail == "6 of 20 bytes; no flow control heard"


@pytest.mark.parametrize(("gap_us", "whole"), [(1_000_000, True), (1_000_001, False)])
def test_time_out_n_cr(gap_us: int, whole: bool) -> None:
    """ISO 15765-2 N_Cr 1000 ms (reference sheet 4.2)."""
    heard = hear(VIN_FRAMES, times_us=[0, 1000, 2000, 2000 + gap_us])
    assert bool(payloads(heard)) is whole
    assert reasons(heard) == ([] if whole else [Broken.TIMEOUT])


def test_wait_keeps_the_session_open() -> None:
    first, go, second, third = VIN_FRAMES
    frames = [first, (TESTER, "31 00 00"), (TESTER, "31 00 00"), go, second, third]
    times_us = [0, 900_000, 1_800_000, 2_700_000, 2_710_000, 2_720_000]
    assert len(payloads(hear(frames, times_us=times_us))) == 1
    without = [first, second, third]
    assert reasons(hear(without, times_us=[0, 2_710_000, 2_720_000])) == [Broken.TIMEOUT]


def test_block_size_gives_time_for_the_next_flow_control() -> None:
    first, _, second, third = VIN_FRAMES
    frames = [first, (TESTER, "30 01 00"), second, (TESTER, "30 01 00"), third]
    times_us = [0, 10, 20, 900_000, 1_800_000]
    assert len(payloads(hear(frames, times_us=times_us))) == 1
    (broken,) = hear(frames[:3])
    assert isinstance(broken, IsoTpBroken)
    assert broken.detail == "13 of 20 bytes; no flow control heard"


def test_overflow_ends_the_message() -> None:
    first, _, second, third = VIN_FRAMES
    heard = hear([first, (TESTER, "32 00 00"), second, third])
    assert (reasons(heard), payloads(heard)) == ([Broken.OVERFLOW], [])
    assert heard[0].ident == ECU


def test_reserved_flow_status_aborts() -> None:
    assert reasons(hear([VIN_FRAMES[0], (TESTER, "35 00 00")])) == [Broken.ABORTED]


def test_flow_control_of_another_unit_is_none_of_its_business() -> None:
    first, _, second, third = VIN_FRAMES
    assert len(payloads(hear([first, (0x7E1, "32 00 00"), second, third]))) == 1


def test_new_first_frame_replaces_the_old_session() -> None:
    heard = hear([*VIN_FRAMES[:3], *VIN_FRAMES])
    assert reasons(heard) == [Broken.REPLACED]
    assert payloads(heard) == [b"\x49\x02\x01" + VIN]


def test_single_frame_replaces_the_old_session() -> None:
    heard = hear([*VIN_FRAMES[:3], (ECU, "03 41 05 7B")])
    assert reasons(heard) == [Broken.REPLACED]
    assert payloads(heard) == [b"\x41\x05\x7b"]


def test_new_message_long_after_an_unfinished_one() -> None:
    heard = hear([*VIN_FRAMES[:3], (ECU, "03 41 05 7B")], times_us=[0, 1, 2, 9_000_000])
    assert reasons(heard) == [Broken.INCOMPLETE]


def test_frames_without_a_beginning_are_told_once_a_run() -> None:
    frames = [VIN_FRAMES[2], VIN_FRAMES[3], VIN_FRAMES[2]]
    assert reasons(hear(frames)) == [Broken.NO_SESSION]
    apart = hear(frames, times_us=[0, 10, 5_000_000])
    assert reasons(apart) == [Broken.NO_SESSION, Broken.NO_SESSION]


@pytest.mark.parametrize(
    ("data", "reason"),
    [
        ("", Broken.SHORT_PACKET),
        ("00", Broken.BAD_ANNOUNCEMENT),
        ("00 05 01 02 03 04 05 00", Broken.BAD_ANNOUNCEMENT),
        ("08 01 02 03 04 05 06 07", Broken.BAD_ANNOUNCEMENT),
        ("05 01 02", Broken.SHORT_PACKET),
        ("10 07 01 02 03 04 05 06", Broken.BAD_ANNOUNCEMENT),
        ("10 00 00 00 00 14 01 02", Broken.BAD_ANNOUNCEMENT),
        ("10 14 49 02 01", Broken.SHORT_PACKET),
        ("30 00", Broken.SHORT_PACKET),
        ("47 00", Broken.BAD_ANNOUNCEMENT),
        ("03 01 02 03" + "00" * 8, Broken.BAD_ANNOUNCEMENT),
        ("00 0B" + "00" * 10, Broken.SHORT_PACKET),
    ],
)
def test_frames_that_cannot_be(data: str, reason: Broken) -> None:
    heard = hear([(ECU, data)])
    assert reasons(heard) == [reason]
    assert payloads(heard) == []


def test_short_consecutive_frame() -> None:
    frames = [VIN_FRAMES[0], (ECU, "21 43 44 32"), VIN_FRAMES[3]]
    assert reasons(hear(frames)) == [Broken.SHORT_PACKET]


def test_functional_identifiers_carry_single_frames_only() -> None:
    assert reasons(hear([(0x7DF, "10 14 49 02 01 41 42 31")])) == [Broken.BAD_ANNOUNCEMENT]


def test_can_fd_single_frame_with_the_long_form() -> None:
    body = bytes(range(20))
    assert payloads(hear([(ECU, "00 14" + body.hex() + "CC CC")])) == [body]


def test_can_fd_first_frame_with_32_bit_length() -> None:
    """ISO 15765-2: length 000, then four bytes of length, for more than 4095 bytes."""
    body = bytes(at % 251 for at in range(5000))
    frames = [(ECU, "1000" + (5000).to_bytes(4, "big").hex() + body[:58].hex())]
    for number, at in enumerate(range(58, 5000, 63), 1):
        frames.append((ECU, f"{0x20 | number & 0xF:02X}" + body[at : at + 63].hex()))
    assert payloads(hear(frames)) == [body]


def test_frame_size_changes_inside_a_message() -> None:
    frames = [(ECU, "10 64 49 02 01 41 42 31"), (ECU, "21" + "00" * 19)]
    assert reasons(hear(frames)) == [Broken.BAD_ANNOUNCEMENT]


def test_other_identifiers_are_ignored() -> None:
    assert hear([(0x123, "03 41 05 7B"), (0x7D0, "30 00")]) == []


@pytest.mark.parametrize(
    ("ident", "extended", "diagnostic"),
    [
        (0x7DF, False, True),
        (0x7E0, False, True),
        (0x7EF, False, True),
        (0x7F0, False, False),
        (0x7DE, False, False),
        (0x7E8, True, False),
        (0x18DB33F1, True, True),
        (0x18DB3300, True, False),
        (0x18DA00F1, True, True),
        (0x18DAF100, True, True),
        (0x18DAF1F1, True, False),
        (0x18DA0003, True, False),
        (0x18EAFFF9, True, False),
        (0x18DAF100, False, False),
    ],
)
def test_which_identifiers_are_diagnostic(ident: int, extended: bool, diagnostic: bool) -> None:
    """ISO 15765-4 (reference sheet 4.1)."""
    assert is_diagnostic(ident, extended) is diagnostic


@given(
    st.lists(
        st.tuples(
            st.one_of(
                st.integers(0, 0x1FFFFFFF),
                st.integers(0x7D0, 0x7FF),
                st.integers(0x18D9FFF0, 0x18DC0010),
                st.sampled_from([0x18DA00F1, 0x18DAF1F1, 0x18DAF117, 0x18DB33F1, 0x18DBF1F1]),
            ),
            st.sampled_from([0, EXTENDED, EXTENDED | REMOTE, ERROR]),
        )
    )
)
def test_mask_agrees_with_the_single_test(rows: list[tuple[int, int]]) -> None:
    ident = np.array([row[0] for row in rows], np.uint32)
    flags = np.array([row[1] for row in rows], np.uint8)
    expected = [
        is_diagnostic(one, bool(flag & EXTENDED)) and not flag & (REMOTE | ERROR)
        for one, flag in rows
    ]
    assert diagnostic_mask(ident, flags).tolist() == expected


@given(st.one_of(st.integers(0x7D8, 0x7F7), st.integers(0, 0xFF)), st.booleans(), st.booleans())
def test_partner_goes_there_and_back(low: int, extended: bool, asks: bool) -> None:
    if extended:
        ident = 0x18DA00F1 | (low & 0xFF) << 8 if asks else 0x18DAF100 | low & 0xFF
    else:
        ident = low
    if not is_diagnostic(ident, extended) or is_functional(ident, extended):
        assert partner(ident, extended) is None
        return
    other = partner(ident, extended)
    assert other is not None
    assert is_request(ident, extended) is is_answer(other, extended)
    assert partner(other, extended) == ident
