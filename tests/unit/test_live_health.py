"""The health of a bus: load, errors, silent controllers, missing and slow groups."""

from __future__ import annotations

import numpy as np
import pytest
from tests.bus_traffic import Bus

from shearbolt.decode.columns import BlockDecoder
from shearbolt.dictionary.merged import Dictionary
from shearbolt.live import Finding, Health
from shearbolt.live.error_frames import driver_overruns, kinds_of
from shearbolt.live.health import frame_bits
from shearbolt.model.frames import ERROR, EXTENDED, FD, REMOTE, Frames, PlainFrame, frames_from
from shearbolt.model.instants import SECOND_US

RATE = {"can0": 250_000}


def health_of(frames: Frames, expected_us: dict[tuple[int, int], int] | None = None) -> Health:
    """Feed frames in blocks of a quarter of a second, as listening does."""
    health = Health(expected_us)
    decoder = BlockDecoder(Dictionary.ours())
    block = frames.time_us // (SECOND_US // 4)
    for one in np.unique(block).tolist():
        rows = np.flatnonzero(block == one)
        health.feed(
            decoder.feed(
                Frames(
                    frames.time_us[rows], frames.ident[rows], frames.flags[rows],
                    frames.channel[rows], frames.length[rows], frames.word[rows], frames.channels,
                )
            )
        )  # fmt: skip
    return health


def found(bus: Bus, at_s: float, **options: dict[tuple[int, int], int]) -> tuple[Finding, ...]:
    """What is amiss at a moment, of what was heard by then."""
    frames = bus.frames
    until = int(np.searchsorted(frames.time_us, at_s * SECOND_US))
    rows = np.arange(until)
    heard = Frames(
        frames.time_us[rows], frames.ident[rows], frames.flags[rows], frames.channel[rows],
        frames.length[rows], frames.word[rows], frames.channels,
    )  # fmt: skip
    return health_of(heard, **options).findings(RATE, round(at_s * SECOND_US))


@pytest.mark.parametrize(
    ("frame", "bits"),
    [
        # Reference sheet 5.3: 67 + 8 n without stuff bits, 131 and at worst 160 for eight bytes;
        # 140 for an ordinary one.
        (PlainFrame(0, 0x0CF00400, bytes(8)), 140),
        (PlainFrame(0, 0x0CF00400, b""), 67 + 4),
        (PlainFrame(0, 0x7E8, bytes(8), 0), 47 + 64 + 7),
        (PlainFrame(0, 0x0CF00400, b"", EXTENDED | REMOTE, length=8), 67 + 4),
        (PlainFrame(0, 0x0CF00400, bytes(12), EXTENDED | FD), 67 + 96),
    ],
)
def test_bits_of_a_frame(frame: PlainFrame, bits: int) -> None:
    assert frame_bits(frames_from([frame])).tolist() == [bits]


def test_load_of_600_frames_a_second_is_34_percent() -> None:
    """SAE J1939 backbone, reference sheet 5.3: 600 frames/s x 140 bits / 250000 = 34 %."""
    rows = [PlainFrame(round(i * 1e6 / 600), 0x0CF00400, bytes(8)) for i in range(6000)]
    health = health_of(frames_from(rows))
    (load,) = health.loads(RATE, 10 * SECOND_US)
    assert load.now == pytest.approx(0.336, abs=0.001)
    assert load.peak == pytest.approx(0.336, abs=0.001)
    assert load.frames_s == pytest.approx(600)
    (unknown,) = health.loads({}, 10 * SECOND_US)
    assert (unknown.now, unknown.peak) == (None, None)
    # Nothing more comes: the load falls, the peak stays.
    (later,) = health.loads(RATE, 15 * SECOND_US)
    assert later.now == pytest.approx(0.168, abs=0.001)
    assert later.peak == load.peak


def test_a_busy_bus_names_who_sends_the_most() -> None:
    rows = [
        PlainFrame(i * 700, 0x18FF1000 | (0x42 if i % 3 else 0x10), bytes(8)) for i in range(8000)
    ]
    (busy,) = [
        one for one in health_of(frames_from(rows)).findings(RATE, 5_600_000) if one.kind == "busy"
    ]
    assert busy.addresses == (0x42,)
    assert busy.figure == pytest.approx(80, abs=2)


def healthy(bus: Bus, until_s: float) -> Bus:
    bus.engine(0.0, until_s)
    bus.alive(0.0, until_s, 3, 11, 23)
    return bus


def test_a_healthy_bus_has_nothing_amiss() -> None:
    assert found(healthy(Bus(), 60.0), 60.0) == ()


def test_a_controller_that_falls_silent_while_the_engine_turns_is_told_soon() -> None:
    bus = healthy(Bus(), 30.0)
    bus.alive(0.0, 10.0, 42)
    assert found(bus, 12.0) == ()
    (silent,) = found(bus, 13.5)
    assert (silent.kind, silent.addresses) == ("silent", (42,))
    assert silent.figure == pytest.approx(3.5, abs=0.2)
    assert silent.at_us == pytest.approx(10 * SECOND_US, abs=200_000)


def test_addresses_that_fall_silent_together_are_one_loss() -> None:
    bus = healthy(Bus(), 30.0)
    bus.alive(0.0, 10.0, 42, 44)
    bus.alive(0.0, 11.2, 45)
    (silent,) = found(bus, 16.0)
    assert silent.addresses == (42, 44, 45)


def test_key_off_is_no_loss() -> None:
    """Measured on an open recording of a tractor: units go quiet within 1.3 s of each other, the
    engine controller lives on for 17 to 18 s."""
    bus = Bus()
    bus.engine(0.0, 10.0)
    bus.engine(10.0, 28.0, rpm=0.0)
    bus.alive(0.0, 10.5, 3)
    bus.alive(0.0, 11.8, 11, 23)
    for at_s in np.arange(11.0, 60.0, 2.0).tolist():
        assert [one for one in found(bus, at_s) if one.kind == "silent"] == []


def test_with_the_engine_standing_a_loss_is_told_once_the_others_outlived_it() -> None:
    bus = Bus()
    bus.engine(0.0, 60.0, rpm=0.0)
    bus.alive(0.0, 60.0, 11, 23)
    bus.alive(0.0, 10.0, 42)
    assert found(bus, 35.0) == ()
    (silent,) = found(bus, 42.0)
    assert silent.addresses == (42,)


def test_a_tester_that_leaves_and_a_slow_sender_are_not_missed() -> None:
    bus = healthy(Bus(), 30.0)
    bus.alive(0.0, 10.0, 0xF9)
    for at_s in (0.0, 10.0, 20.0):
        bus.say(at_s, 65300, 77, bytes(8))
    assert found(bus, 29.0) == ()


def test_a_group_that_stops_while_its_sender_lives_is_told() -> None:
    bus = healthy(Bus(), 40.0)
    for at_s in np.arange(0.0, 12.0, 0.1).tolist():
        bus.say(at_s, 65263, 3, bytes(8))
    (missing,) = found(bus, 20.0)
    assert (missing.kind, missing.pgn, missing.addresses) == ("missing", 65263, (3,))
    assert missing.figure == pytest.approx(8.1, abs=0.3)


def test_groups_sent_on_occasion_are_not_missed() -> None:
    """Seen on an open recording of a truck: a transmission speaks to the engine while it shifts,
    and another of its groups comes three times slower from the second second on."""
    bus = healthy(Bus(), 40.0)
    for at_s in np.arange(0.0, 12.0, 0.01).tolist():
        bus.say(at_s, 0, 3, bytes(8), to=0)
    for at_s in np.arange(0.0, 8.0, 0.1).tolist():
        bus.say(at_s, 65263, 3, bytes(8))
    for at_s in [*np.arange(0.0, 2.0, 0.01).tolist(), *np.arange(2.0, 40.0, 0.03).tolist()]:
        bus.say(at_s, 61452, 3, bytes(8))
    for at_s in (5.0, 13.0, 20.0, 39.0):
        assert found(bus, at_s) == ()


def test_a_group_that_comes_slower_than_in_earlier_visits_is_told() -> None:
    bus = healthy(Bus(), 40.0)
    for at_s in np.arange(0.0, 40.0, 0.25).tolist():
        bus.say(at_s, 61450, 11, bytes(8))
    (slow,) = found(bus, 20.0, expected_us={(61450, 11): 50_000})
    assert (slow.kind, slow.pgn, slow.addresses) == ("slow", 61450, (11,))
    assert slow.figure == pytest.approx(5.0, abs=0.1)


def test_a_pause_of_the_whole_channel_is_nobodys_silence() -> None:
    bus = Bus()
    for begin, end in ((0.0, 20.0), (25.2, 60.0)):
        bus.engine(begin, end)
        bus.alive(begin + 0.3, end, 3, 11)
        for at_s in np.arange(begin, end, 0.9).tolist():
            bus.say(at_s, 65263, 3, bytes(8))
    for at_s in np.arange(25.3, 30.0, 0.1).tolist():
        assert found(bus, at_s) == ()


def test_a_group_that_earlier_visits_heard_is_missed_when_it_never_comes() -> None:
    bus = healthy(Bus(), 20.0)
    usual = {(65262, 3): 1_000_000, (65262, 99): 1_000_000, (65253, 3): 60_000_000}
    assert found(bus, 2.5, expected_us=usual) == ()
    (missing,) = found(bus, 10.0, expected_us=usual)
    assert (missing.kind, missing.pgn, missing.addresses) == ("missing", 65262, (3,))


def error(at_us: int, kind: int, details: bytes = bytes(8)) -> PlainFrame:
    word = details.ljust(8, b"\0")
    return PlainFrame(at_us, kind, word, ERROR, length=8)


def test_error_frames_are_told_with_their_kind() -> None:
    rows = [PlainFrame(i * 10_000, 0x0CF00400, bytes(8)) for i in range(300)]
    rows += [error(3_000_000 + i, 0x88) for i in range(5)]
    health = health_of(frames_from(rows))
    (one,) = health.findings(RATE, 3_500_000)
    assert (one.kind, one.figure, one.detail) == ("errors", 5.0, "protocol")
    assert health.findings(RATE, 15_000_000) == ()
    (load,) = health.loads(RATE, 3_100_000)
    assert load.frames_s == pytest.approx(100)


def test_lost_frames_stay_told() -> None:
    health = health_of(frames_from([PlainFrame(0, 0x0CF00400, bytes(8))]))
    health.overrun("can0", 3)
    health.overrun("can0", 2)
    assert health.findings(RATE, 1_000) == (Finding("overrun", "can0", figure=5.0),)


def test_kinds_of_error_frames_as_the_systems_sockets_tell_them() -> None:
    frames = frames_from(
        [
            error(0, 0x04, b"\x00\x01"),
            error(1, 0x04, b"\x00\x04"),
            error(2, 0x20),
            error(3, 0x40),
            error(4, 0x08),
            PlainFrame(5, 0x04, b"\x00\x01"),
        ],
        ("can0", "can1"),
    )
    assert driver_overruns(frames) == [1, 0]
    assert kinds_of(frames, 0) == {"overflow": 1, "no_ack": 1, "bus_off": 1, "protocol": 1}
    assert kinds_of(frames, 1) == {}
