"""Where a recording is cut into blocks, and which kernel reads it, changes nothing it tells."""

from __future__ import annotations

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from tests import bus_traffic as t
from tests.bus_traffic import Bus, content_of, dtc, name_of

from shearbolt.kernels import available
from shearbolt.model.frames import Frames, PlainFrame, frames_from, plain_frames


def busy_bus() -> Frames:
    """Make 30 s in which everything that spans several frames happens at least once."""
    bus = Bus()
    bus.claim(0.02, 0, name_of(5, 0))
    bus.claim(0.03, 3, name_of(6, 3))
    bus.claim(14.0, 9, name_of(6, 3))
    bus.engine(0, 24)
    bus.engine(24, 25, rpm=0)
    bus.alive(0, 24.5, 3, step_s=0.2)
    bus.alive(0, 28, 23, step_s=1.0)
    bus.alive(18, 20, 9, step_s=0.3)
    for at_s in range(24):
        # In a frame, in packets, not at all, and in packets of which one is lost.
        codes = ((dtc(110, 0, at_s // 8),), (dtc(110, 0, 1), dtc(100, 1, 2)), ())[at_s % 3]
        bus.dm1(at_s + 0.35, 0, *codes, lamps=0x04, lost=(2,) if at_s == 7 else ())
        if at_s % 7:
            bus.dm1(at_s + 0.4, 3, lamps=0x40 if 9 < at_s < 13 else 0)
        if at_s == 16:
            # A frame of its own while packets are under way.
            bus.dm1(at_s + 0.38, 0, dtc(100, 1, 2))
    bus.ask(2.0, t.VIN, 0)
    bus.tell(2.1, t.VIN, 0, b"AB1CD23E4FG567890*")
    bus.tell(4.1, t.DM24, 0, bytes.fromhex("5C001C01BE001C026E001C01B30C1802"))
    bus.tell(4.6, t.DM25, 0, bytes.fromhex("0AB30C100155403 87DB900".replace(" ", "")))
    bus.tell(5.1, t.DM4, 0, bytes.fromhex("0C6E0000" + "01013C40385599000C"))
    bus.tell(5.6, t.DM2, 0, b"\x00\xff" + dtc(84, 2, 3) + dtc(110, 0, 4) + dtc(190, 8, 126))
    bus.ask(8.0, t.DM3, 0)
    bus.answer(8.1, 0, t.DM3)
    bus.ask(9.0, t.DM11)
    bus.answer(9.1, 3, t.DM11, 1)
    bus.say(10.0, t.HOURS, 0, (14000).to_bytes(4, "little") + b"\xff" * 4)
    bus.say(20.0, t.HOURS, 0, (14001).to_bytes(4, "little") + b"\xff" * 4)
    bus.say(10.5, t.CLOCK, 0, bytes.fromhex("503B0A05392B7D7D"))
    bus.alive(26, 30, 251, step_s=1.0)
    return bus.frames


BUSY = busy_bus()
WHOLE = content_of(BUSY)
CUTS = st.lists(st.integers(1, len(BUSY) - 1), min_size=1, max_size=12)


def test_the_recording_holds_what_it_should() -> None:
    assert {one.key.spn for one in WHOLE.faults} == {84, 100, 110, 190, 3251}
    assert dict(WHOLE.transport.complete)["bam"] == 7 + 2 + 4 - 1 + 0
    assert [one.what for one in WHOLE.clears] == ["dm3", "dm11"]
    assert WHOLE.lamp_without_code
    assert WHOLE.vins
    assert WHOLE.hours
    assert WHOLE.clocks


@given(cuts=CUTS)
@example(cuts=list(range(1, len(BUSY))))
@settings(max_examples=40)
def test_blocks_may_be_cut_anywhere(cuts: list[int]) -> None:
    assert content_of(BUSY, cuts) == WHOLE


@pytest.mark.parametrize("name", sorted(available()))
def test_kernels_tell_the_same(name: str) -> None:
    assert content_of(BUSY, [len(BUSY) // 3], available()[name]) == WHOLE


@st.composite
def wild_frames(draw: st.DrawFn) -> Frames:
    """Draw frames of few senders with any data, whose times may stand still or run back."""
    idents = st.sampled_from(
        [
            0x18FECA00, 0x18FECA03, 0x1CECFF00, 0x1CEBFF00, 0x1CECFF03, 0x1CEBFF03, 0x18FECB00,
            0x18FECD00, 0x18FDB600, 0x18FDB700, 0x18EAFFF9, 0x18E8FF00, 0x18EEFF00, 0x18EEFF03,
            0x0CF00400, 0x18FEE500, 0x18C3FF00, 0x18FEEC00, 0x18DFFFF9, 0x18FEE600, 0x18DA00F1,
        ]
    )  # fmt: skip
    starts = st.sampled_from([b"", b"\x20\x0a\x00\x02\xff\xca\xfe\x00", b"\x01", b"\x02"])
    rows: list[PlainFrame] = []
    now = 0
    for _ in range(draw(st.integers(2, 60))):
        now += draw(st.sampled_from([0, 40_000, 300_000, 1_000_000, 6_000_000, -500_000]))
        data = (draw(starts) + draw(st.binary(max_size=8)))[:8]
        rows.append(PlainFrame(now, draw(idents), data))
    return frames_from(rows, ("can0",))


@given(frames=wild_frames(), data=st.data())
def test_wild_frames_tell_the_same_however_they_are_cut(
    frames: Frames, data: st.DataObject
) -> None:
    cuts = data.draw(st.lists(st.integers(1, max(1, len(frames) - 1)), max_size=6))
    whole = content_of(frames)
    assert content_of(frames, cuts) == whole
    for spell in (spell for fault in whole.faults for spell in fault.spells):
        assert spell.end_latest_us is None or spell.end_us <= spell.end_latest_us
    assert whole.frames == len(plain_frames(frames))
