"""Transport as heard: SAE J1939-21 5.10, reference sheet 1.3 to 1.5 and 2.11 row 20."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import pytest

from shearbolt.model.message import Broken, BrokenSession, Carried, Message
from shearbolt.wire.fault_list import read_fault_list
from shearbolt.wire.identifier import destination_of, pgn_of
from shearbolt.wire.texts import read_vehicle_identification
from shearbolt.wire.transport import Reassembler

Heard = Message | BrokenSession
MS = 1000

# Reference sheet 1.4, worked example A.
EXAMPLE_A = [
    (0x1CECFF00, "2016 0004 FFCA FE00"),
    (0x1CEBFF00, "01 44 FF 64 00 01 03 6E"),
    (0x1CEBFF00, "02 00 00 01 B3 0C 10 07"),
    (0x1CEBFF00, "03 7E 14 0F 7E 10 F7 FF"),
    (0x1CEBFF00, "04 7F FF FF FF FF FF FF"),
]
PAYLOAD_A = bytes.fromhex("44FF640001036E000001B30C10077E140F7E10F7FF7F")

# Reference sheet 1.5, worked example B, frames 2 to 9.
EXAMPLE_B = [
    (0x1CECF900, "10 12 00 03 FF EC FE 00"),
    (0x1CEC00F9, "11 02 01 FF FF EC FE 00"),
    (0x1CEBF900, "01 41 42 31 43 44 32 33"),
    (0x1CEBF900, "02 45 34 46 47 35 36 37"),
    (0x1CEC00F9, "11 00 FF FF FF EC FE 00"),
    (0x1CEC00F9, "11 01 03 FF FF EC FE 00"),
    (0x1CEBF900, "03 38 39 30 2A FF FF FF"),
    (0x1CEC00F9, "13 12 00 03 FF EC FE 00"),
]
PAYLOAD_B = b"AB1CD23E4FG567890*"


class Listener:
    """A Reassembler fed by identifier and hexadecimal data, with a clock of its own."""

    def __init__(self) -> None:
        self.reassembler = Reassembler()
        self.now = 0
        self.events: list[Heard] = []

    def hear(
        self, frames: Iterable[tuple[int, str]], gap_ms: int = 50, channel: int = 0
    ) -> list[Heard]:
        before = len(self.events)
        for ident, data in frames:
            self.now += gap_ms * MS
            self.events += self.reassembler.feed(
                self.now,
                channel,
                ident & 0xFF,
                destination_of(ident),
                pgn_of(ident),
                bytes.fromhex(data),
            )
        return self.events[before:]

    def finish(self) -> list[BrokenSession]:
        left = self.reassembler.finish()
        self.events += left
        return list(left)

    @property
    def payloads(self) -> list[bytes]:
        return [one.payload for one in self.events if isinstance(one, Message)]

    @property
    def reasons(self) -> list[Broken]:
        return [one.reason for one in self.events if isinstance(one, BrokenSession)]


def heard(frames: Sequence[tuple[int, str]], gap_ms: int = 50) -> Listener:
    listener = Listener()
    listener.hear(frames, gap_ms)
    listener.finish()
    return listener


def without(frames: Sequence[tuple[int, str]], *left_out: int) -> list[tuple[int, str]]:
    return [frame for at, frame in enumerate(frames) if at not in left_out]


# --- worked example A: a broadcast -----------------------------------------------------------


def test_example_a() -> None:
    listener = Listener()
    assert listener.hear(EXAMPLE_A) == [
        Message(50 * MS, 250 * MS, 0, 0, 255, 65226, PAYLOAD_A, Carried.BAM)
    ]
    assert listener.finish() == []
    listed = read_fault_list(PAYLOAD_A)
    assert listed is not None
    assert len(listed.dtcs) == 5


def test_example_a_negative_packet_3_dropped() -> None:
    # Reference sheet 1.4: no message and one 'incomplete' note after 750 ms.
    listener = Listener()
    assert listener.hear(without(EXAMPLE_A, 3)) == []
    assert listener.reassembler.advance(listener.now + 750 * MS, 0) == ()
    (note,) = listener.reassembler.advance(listener.now + 750 * MS + 1, 0)
    assert note.reason is Broken.INCOMPLETE
    assert (note.time_us, note.source, note.destination, note.pgn) == (50 * MS, 0, 255, 65226)
    assert listener.finish() == []


@pytest.mark.parametrize("dropped", [1, 2, 3, 4])
def test_example_a_any_packet_dropped(dropped: int) -> None:
    listener = heard(without(EXAMPLE_A, dropped))
    assert listener.payloads == []
    assert listener.reasons == [Broken.INCOMPLETE]


def test_example_a_negative_packets_swapped() -> None:
    # Reference sheet 1.4: reject, a broadcast has no retransmission.
    swapped = [EXAMPLE_A[0], EXAMPLE_A[1], EXAMPLE_A[3], EXAMPLE_A[2], EXAMPLE_A[4]]
    listener = heard(swapped)
    assert listener.payloads == []
    assert listener.reasons == [Broken.WRONG_ORDER]


def test_example_a_negative_packet_repeated() -> None:
    # Reference sheet 1.4: ignore the copy.
    listener = heard([*EXAMPLE_A[:3], EXAMPLE_A[2], *EXAMPLE_A[3:]])
    assert listener.payloads == [PAYLOAD_A]
    assert listener.reasons == []


def test_every_frame_twice() -> None:
    listener = heard([frame for frame in EXAMPLE_A for _ in range(2)], gap_ms=1)
    assert listener.payloads == [PAYLOAD_A]
    assert listener.reasons == []


def test_example_a_negative_size_against_packets() -> None:
    # Reference sheet 1.4: size 22 but packets 3, reject; its packets belong to the same failure.
    listener = heard([(0x1CECFF00, "20 16 00 03 FF CA FE 00"), *EXAMPLE_A[1:]])
    assert listener.payloads == []
    assert listener.reasons == [Broken.BAD_ANNOUNCEMENT]
    assert isinstance(listener.events[0], BrokenSession)
    assert listener.events[0].detail == "22 bytes in 3 packets"


@pytest.mark.parametrize(
    "announcement",
    [
        "20 08 00 02 FF CA FE 00",  # fits one frame
        "20 FA 06 FF FF CA FE 00",  # 1786 bytes
        "20 16 00 00 FF CA FE 00",  # no packets
        "20 00 00 00 FF CA FE 00",
        "20 16 00 04 FF FF FF FF",  # no group
        "10 16 00 04 FF CA FE 00",  # a request to send to all
    ],
)
def test_announcements_that_do_not_add_up(announcement: str) -> None:
    listener = heard([(0x1CECFF00, announcement), *EXAMPLE_A[1:]])
    assert listener.payloads == []
    assert listener.reasons == [Broken.BAD_ANNOUNCEMENT]


def test_a_broadcast_to_one_address() -> None:
    listener = heard([(0x1CECF900, "20 16 00 04 FF CA FE 00")])
    assert listener.reasons == [Broken.BAD_ANNOUNCEMENT]


@pytest.mark.parametrize("size", [9, 1785])
def test_smallest_and_largest(size: int) -> None:
    payload = bytes(at % 251 for at in range(size))
    packets = -(-size // 7)
    frames = [(0x1CECFF00, f"20{size.to_bytes(2, 'little').hex()}{packets:02x}FFCAFE00")]
    padded = payload.ljust(packets * 7, b"\xff")
    frames += [
        (0x1CEBFF00, f"{at + 1:02x}{padded[at * 7 : at * 7 + 7].hex()}") for at in range(packets)
    ]
    assert heard(frames).payloads == [payload]


def test_padding_is_cut_whatever_it_is() -> None:
    frames = [*EXAMPLE_A[:4], (0x1CEBFF00, "04 7F 00 11 22 33 44 55")]
    assert heard(frames).payloads == [PAYLOAD_A]


def test_changed_repeat() -> None:
    changed = (0x1CEBFF00, "02 00 00 01 B3 0C 10 08")
    listener = heard([*EXAMPLE_A[:3], changed, *EXAMPLE_A[3:]])
    assert listener.payloads == []
    assert listener.reasons == [Broken.CHANGED]


def test_an_older_packet_again_is_out_of_order() -> None:
    # It may be the first of a broadcast whose announcement was lost.
    listener = heard([*EXAMPLE_A[:3], EXAMPLE_A[1], *EXAMPLE_A[3:]])
    assert listener.payloads == []
    assert listener.reasons == [Broken.WRONG_ORDER]


@pytest.mark.parametrize("sequence", ["00", "05", "FF"])
def test_sequence_numbers_outside_the_message(sequence: str) -> None:
    listener = heard([*EXAMPLE_A[:3], (0x1CEBFF00, sequence + "7E140F7E10F7FF"), *EXAMPLE_A[3:]])
    assert listener.payloads == []
    assert listener.reasons == [Broken.WRONG_ORDER]


@pytest.mark.parametrize("sequence", ["00", "04", "FF"])
def test_sequence_numbers_outside_an_addressed_message(sequence: str) -> None:
    frames = [*EXAMPLE_B[:3], (0x1CEBF900, sequence + "45344647353637"), *EXAMPLE_B[3:]]
    listener = heard(frames)
    assert listener.payloads == []
    assert listener.reasons == [Broken.WRONG_ORDER]


@pytest.mark.parametrize("at", [1, 2, 3, 4])
def test_short_packet(at: int) -> None:
    frames = list(EXAMPLE_A)
    frames[at] = (frames[at][0], frames[at][1][:-3])
    listener = heard(frames)
    assert listener.payloads == []
    assert listener.reasons == [Broken.SHORT_PACKET]


@pytest.mark.parametrize("data", ["", "20", "20 16 00 04 FF CA FE"])
def test_short_announcement(data: str) -> None:
    listener = heard([(0x1CECFF00, data), *EXAMPLE_A[1:]])
    assert listener.payloads == []
    assert listener.reasons == [Broken.SHORT_PACKET, *[Broken.NO_SESSION] * 4]


def test_data_without_a_session() -> None:
    listener = heard(EXAMPLE_A[1:])
    assert listener.payloads == []
    assert listener.reasons == [Broken.NO_SESSION] * 4
    assert listener.events[0] == BrokenSession(50 * MS, 0, 0, 255, None, Broken.NO_SESSION)


def test_a_new_broadcast_discards_the_unfinished_one() -> None:
    listener = heard([*EXAMPLE_A[:3], *EXAMPLE_A])
    assert listener.payloads == [PAYLOAD_A]
    assert listener.reasons == [Broken.REPLACED]


def test_a_new_broadcast_after_the_time_was_up() -> None:
    listener = Listener()
    listener.hear(EXAMPLE_A[:3])
    listener.now += 900 * MS
    listener.hear(EXAMPLE_A)
    assert listener.payloads == [PAYLOAD_A]
    assert listener.reasons == [Broken.INCOMPLETE]


def test_t1_between_the_packets_of_a_broadcast() -> None:
    # Reference sheet 1.3: T1 = 750 ms.
    assert heard(EXAMPLE_A, gap_ms=750).payloads == [PAYLOAD_A]
    late = heard(EXAMPLE_A, gap_ms=751)
    assert late.payloads == []
    # The first packet is late; the others come too late even for a session that has failed.
    assert late.reasons == [Broken.TIMEOUT, *[Broken.NO_SESSION] * 3]


def test_one_late_packet_fails_once() -> None:
    listener = Listener()
    listener.hear(EXAMPLE_A[:3])
    listener.now += 800 * MS
    listener.hear(EXAMPLE_A[3:])
    assert listener.reasons == [Broken.TIMEOUT]


def test_late_packet_of_another_broadcast() -> None:
    listener = Listener()
    listener.hear(EXAMPLE_A[:3])
    listener.now += 800 * MS
    listener.hear(EXAMPLE_A[1:3])
    assert listener.payloads == []
    assert listener.reasons == [Broken.INCOMPLETE, *[Broken.NO_SESSION] * 2]


def test_steps_back_in_time_are_tolerated() -> None:
    listener = Listener()
    listener.now = 5_000_000
    for frame in EXAMPLE_A:
        listener.hear([frame], gap_ms=-20)
    assert listener.payloads == [PAYLOAD_A]


def test_open_at_the_end() -> None:
    listener = heard(EXAMPLE_A[:4])
    assert listener.reasons == [Broken.INCOMPLETE]
    assert isinstance(listener.events[0], BrokenSession)
    assert listener.events[0].detail.startswith("3 of 4 packets in order")


def test_row_20_two_faults_by_broadcast() -> None:
    # Reference sheet 2.11 row 20.
    listener = heard(
        [
            (0x1CECFF00, "20 0A 00 02 FF CA FE 00"),
            (0x1CEBFF00, "01 04 FF 64 00 12 01 6E"),
            (0x1CEBFF00, "02 00 10 05 FF FF FF FF"),
        ]
    )
    listed = read_fault_list(listener.payloads[0])
    assert listed is not None
    assert [(one.spn, one.fmi, one.count) for one in listed.dtcs] == [(100, 18, 1), (110, 16, 5)]


def test_the_same_on_another_channel_is_another_session() -> None:
    listener = Listener()
    for frame in EXAMPLE_A:
        for channel in (0, 1):
            listener.hear([frame], gap_ms=5, channel=channel)
    assert [one.channel for one in listener.events] == [0, 1]
    assert listener.payloads == [PAYLOAD_A] * 2


def test_two_senders_interleaved() -> None:
    other = [(ident | 0x31, data) for ident, data in EXAMPLE_A]
    frames = [frame for pair in zip(EXAMPLE_A, other, strict=True) for frame in pair]
    listener = heard(frames)
    assert [one.source for one in listener.events] == [0, 0x31]
    assert listener.payloads == [PAYLOAD_A] * 2


def test_broadcast_and_addressed_session_of_one_source_together() -> None:
    # Reference sheet 1.3: BAM and RTS of the same source may run together.
    mixed = [*EXAMPLE_B[:3], *EXAMPLE_A[:2], *EXAMPLE_B[3:7], *EXAMPLE_A[2:], EXAMPLE_B[7]]
    listener = heard(mixed)
    assert listener.payloads == [PAYLOAD_B, PAYLOAD_A]
    assert listener.reasons == []


# --- worked example B: request and clear to send ---------------------------------------------


def test_example_b() -> None:
    listener = Listener()
    events = listener.hear(EXAMPLE_B)
    assert events == [Message(50 * MS, 350 * MS, 0, 0, 0xF9, 65260, PAYLOAD_B, Carried.RTS)]
    assert listener.finish() == []
    assert read_vehicle_identification(PAYLOAD_B) == ("AB1CD23E4FG567890", ())


def test_example_b_from_frames_2_4_5_8_alone() -> None:
    # Reference sheet 1.5: a listening-only logger must rebuild this from frames 2, 4, 5, 8.
    listener = heard([EXAMPLE_B[at] for at in (0, 2, 3, 6)])
    assert listener.payloads == [PAYLOAD_B]
    assert listener.reasons == []


def test_example_b_hold_repeated() -> None:
    # Reference sheet 1.5: the hold must be repeated every 500 ms.
    listener = Listener()
    listener.hear(EXAMPLE_B[:4])
    for _ in range(4):
        listener.hear([EXAMPLE_B[4]], gap_ms=500)
    listener.hear(EXAMPLE_B[5:], gap_ms=500)
    assert listener.payloads == [PAYLOAD_B]
    assert listener.reasons == []


def test_example_b_hold_not_repeated() -> None:
    # Reference sheet 1.3: T4 = 1050 ms after a hold.
    for wait_ms, payloads, reasons in (
        (1050, [PAYLOAD_B], []),
        (1051, [], [Broken.INCOMPLETE]),
    ):
        listener = Listener()
        listener.hear(EXAMPLE_B[:5])
        listener.hear([EXAMPLE_B[5]], gap_ms=wait_ms)
        listener.hear(EXAMPLE_B[6:])
        assert listener.payloads == payloads
        assert listener.reasons == reasons


def test_example_b_abort_variant() -> None:
    # Reference sheet 1.5: frame 6 replaced by FF 03 ... ends the session without data.
    listener = heard([*EXAMPLE_B[:4], (0x1CEC00F9, "FF 03 FF FF FF EC FE 00")])
    assert listener.payloads == []
    assert listener.reasons == [Broken.ABORTED]
    assert isinstance(listener.events[0], BrokenSession)
    assert listener.events[0].detail == "the receiver: time-out"
    assert (listener.events[0].source, listener.events[0].destination) == (0, 0xF9)


@pytest.mark.parametrize(
    ("reason", "words"),
    [
        (1, "already in a session"),
        (2, "no resources"),
        (3, "time-out"),
        (4, "clear to send while sending"),
        (5, "too many retransmissions"),
        (6, "unexpected data packet"),
        (7, "bad sequence number"),
        (8, "duplicate sequence number"),
        (9, "size above 1785 bytes"),
        (250, "other reason"),
        (77, "reason 77"),
    ],
)
@pytest.mark.parametrize("ident", [0x1CEC00F9, 0x1CECF900])
@pytest.mark.parametrize("after", [1, 2, 3, 4, 6])
def test_abort_by_either_side_at_any_time(reason: int, words: str, ident: int, after: int) -> None:
    # Reference sheet 1.3, abort reasons. What the sender had under way is not told again.
    abort = (ident, f"FF {reason:02X} FF FF FF EC FE 00")
    listener = heard([*EXAMPLE_B[:after], abort, *EXAMPLE_B[after:]])
    assert listener.payloads == []
    assert listener.reasons == [Broken.ABORTED]
    assert isinstance(listener.events[0], BrokenSession)
    assert listener.events[0].detail.endswith(words)


def test_abort_of_another_group_or_of_nothing() -> None:
    other = (0x1CEC00F9, "FF 01 FF FF FF CA FE 00")
    listener = heard([other, *EXAMPLE_B[:3], other, *EXAMPLE_B[3:]])
    assert listener.payloads == [PAYLOAD_B]
    assert listener.reasons == []


def test_abort_after_the_last_packet_leaves_the_message() -> None:
    listener = heard([*EXAMPLE_B[:7], (0x1CEC00F9, "FF 03 FF FF FF EC FE 00")])
    assert listener.payloads == [PAYLOAD_B]
    assert listener.reasons == []


def test_a_sender_may_abort_its_broadcast() -> None:
    listener = heard([*EXAMPLE_A[:3], (0x1CECFF00, "FF FA FF FF FF CA FE 00"), *EXAMPLE_A[3:]])
    assert listener.payloads == []
    assert listener.reasons == [Broken.ABORTED]


def test_retransmission_from_an_earlier_packet() -> None:
    # The receiver missed packet 2 and asks again from there.
    again = (0x1CEC00F9, "11 02 02 FF FF EC FE 00")
    listener = heard([*EXAMPLE_B[:4], again, EXAMPLE_B[3], EXAMPLE_B[6], EXAMPLE_B[7]])
    assert listener.payloads == [PAYLOAD_B]
    assert listener.reasons == []


def test_retransmission_of_a_packet_lost_for_all() -> None:
    again = (0x1CEC00F9, "11 02 02 FF FF EC FE 00")
    start = (0x1CEC00F9, "11 03 01 FF FF EC FE 00")
    frames = [EXAMPLE_B[0], start, EXAMPLE_B[2], EXAMPLE_B[6], again, *EXAMPLE_B[3:4], EXAMPLE_B[6]]
    listener = heard(frames)
    assert listener.payloads == [PAYLOAD_B]
    assert listener.reasons == []


def test_retransmission_after_the_last_packet_is_no_second_message() -> None:
    again = (0x1CEC00F9, "11 03 01 FF FF EC FE 00")
    every = [EXAMPLE_B[2], EXAMPLE_B[3], EXAMPLE_B[6]]
    listener = heard([EXAMPLE_B[0], again, *every, again, *every, EXAMPLE_B[7]])
    assert listener.payloads == [PAYLOAD_B]
    assert listener.reasons == []


def test_retransmission_with_other_data() -> None:
    again = (0x1CEC00F9, "11 02 02 FF FF EC FE 00")
    changed = (0x1CEBF900, "02 45 34 46 47 35 36 38")
    listener = heard([*EXAMPLE_B[:4], again, changed, EXAMPLE_B[6], EXAMPLE_B[7]])
    assert listener.payloads == []
    assert listener.reasons == [Broken.CHANGED]


def test_packets_swapped_between_two_addresses() -> None:
    start = (0x1CEC00F9, "11 03 01 FF FF EC FE 00")
    listener = heard([EXAMPLE_B[0], start, EXAMPLE_B[2], EXAMPLE_B[6], EXAMPLE_B[3], EXAMPLE_B[7]])
    assert listener.payloads == []
    assert listener.reasons == [Broken.WRONG_ORDER]


def test_a_packet_the_listener_alone_missed() -> None:
    # The clearance for packet 3 shows that the receiver has packet 2.
    listener = Listener()
    (event,) = listener.hear(without(EXAMPLE_B, 3))
    assert isinstance(event, BrokenSession)
    assert event.reason is Broken.INCOMPLETE
    assert event.detail == "1 of 3 packets in order; the receiver has all before 3"


def test_acknowledged_but_missed_here() -> None:
    start = (0x1CEC00F9, "11 03 01 FF FF EC FE 00")
    listener = Listener()
    listener.hear([EXAMPLE_B[0], start, EXAMPLE_B[2], EXAMPLE_B[6], EXAMPLE_B[7]])
    assert listener.reasons == [Broken.INCOMPLETE]
    assert listener.reassembler.open_sessions == 0


def test_t2_from_clearance_to_packet() -> None:
    # Reference sheet 1.3: T2 = 1250 ms.
    for wait_ms, reasons in ((1250, []), (1251, [Broken.TIMEOUT])):
        listener = Listener()
        listener.hear(EXAMPLE_B[:2])
        listener.hear([EXAMPLE_B[2]], gap_ms=wait_ms)
        listener.hear(EXAMPLE_B[3:])
        assert listener.reasons == reasons


def test_t1_between_packets_of_one_clearance() -> None:
    for wait_ms, reasons in ((750, []), (751, [Broken.TIMEOUT])):
        listener = Listener()
        listener.hear(EXAMPLE_B[:3])
        listener.hear([EXAMPLE_B[3]], gap_ms=wait_ms)
        listener.hear(EXAMPLE_B[4:])
        assert listener.reasons == reasons


def test_t3_from_the_last_packet_to_the_next_clearance() -> None:
    # Reference sheet 1.3: T3 = 1250 ms.
    for wait_ms, reasons in ((1250, []), (1251, [Broken.INCOMPLETE])):
        listener = Listener()
        listener.hear(EXAMPLE_B[:4])
        listener.hear([EXAMPLE_B[5]], gap_ms=wait_ms)
        listener.hear(EXAMPLE_B[6:])
        assert listener.reasons == reasons


def test_a_request_repeated_before_any_packet() -> None:
    listener = heard([EXAMPLE_B[0], *EXAMPLE_B])
    assert listener.payloads == [PAYLOAD_B]
    assert listener.reasons == []


def test_a_new_request_discards_the_unfinished_one() -> None:
    listener = heard([*EXAMPLE_B[:4], *EXAMPLE_B])
    assert listener.payloads == [PAYLOAD_B]
    assert listener.reasons == [Broken.REPLACED]


def test_clearance_for_a_request_that_was_not_heard() -> None:
    # Its packets must not be taken for those of the older request.
    other = (0x1CEC00F9, "11 03 01 FF FF CA FE 00")
    listener = heard([EXAMPLE_B[0], other, EXAMPLE_B[2], EXAMPLE_B[3], EXAMPLE_B[6]])
    assert listener.payloads == []
    assert listener.reasons == [Broken.REPLACED]


def test_clearances_that_make_no_sense_change_nothing() -> None:
    zero = (0x1CEC00F9, "11 01 00 FF FF EC FE 00")
    beyond = (0x1CEC00F9, "11 01 09 FF FF EC FE 00")
    listener = heard([*EXAMPLE_B[:3], zero, beyond, *EXAMPLE_B[3:]])
    assert listener.payloads == [PAYLOAD_B]


def test_an_unreadable_control_frame_ends_the_open_session() -> None:
    # It may have been the announcement of what follows.
    listener = heard([EXAMPLE_A[0], (0x1CECFF00, "21 16 00 04 FF D4 FE 00"), *EXAMPLE_A[1:]])
    assert listener.payloads == []
    assert listener.reasons == [Broken.INCOMPLETE, Broken.BAD_ANNOUNCEMENT]


def test_sessions_in_both_directions() -> None:
    back = [
        ((ident & ~0xFFFF) | (ident & 0xFF) << 8 | (ident >> 8 & 0xFF), data)
        for ident, data in EXAMPLE_B
    ]
    frames = [frame for pair in zip(EXAMPLE_B, back, strict=True) for frame in pair]
    listener = heard(frames)
    assert [(one.source, one.destination) for one in listener.events] == [(0, 0xF9), (0xF9, 0)]
    assert listener.payloads == [PAYLOAD_B] * 2


def test_other_groups_are_refused() -> None:
    with pytest.raises(ValueError, match="no transport group"):
        Reassembler().feed(0, 0, 0, 255, 65226, b"")
