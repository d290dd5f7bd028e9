"""A visit with everything in it, for the tests of the book (an invented machine)."""

from __future__ import annotations

from shearbolt.book import NewVisit
from shearbolt.model.controller import AddressHeld, ControllerSeen, Name
from shearbolt.model.fault import (
    Cleared,
    CountSeen,
    FaultKey,
    FaultSeen,
    FreezeFrame,
    FrozenValue,
    Lamps,
    LampSpell,
    Spell,
)
from shearbolt.model.frames import Frames, PlainFrame, frames_from
from shearbolt.model.message import Carried, Message
from shearbolt.model.reading import NotRead, TimeBase
from shearbolt.model.signal import SignalSeen
from shearbolt.model.visit import (
    ClockSeen,
    GroupSeen,
    IdSeen,
    RequestSeen,
    TextAnswer,
    TransportSeen,
    VisitContent,
)

START_US = 1_778_738_400_000_000
NOW_US = START_US + 86_400_000_000
ENGINE = Name(0xA00C_0000_0A51_2345)
GEARBOX = Name(0x2003_0300_0B40_0001)


def full_content(start_us: int = START_US, base: TimeBase = TimeBase.ABSOLUTE) -> VisitContent:
    """Make a content in which every field of every part holds something of its own."""
    end_us = start_us + 60_000_000
    return VisitContent(
        time_base=base,
        first_us=start_us + 10,
        earliest_us=start_us,
        latest_us=end_us,
        frames=1234,
        error_frames=2,
        remote_frames=1,
        channels=("can0", "ä bus"),
        controllers=(
            ControllerSeen(
                "can0",
                0,
                ENGINE,
                start_us,
                end_us,
                1000,
                "always",
                60,
                3,
                20,
                17.5,
                "WENNA000000000042",
                ("MK", "Model 7", "S-1", ""),
                ("A1", "B2"),
                4211.95,
                4212.0,
            ),
            ControllerSeen(
                "can0", 3, None, start_us, end_us - 5, 234, "never_heard", 0, 0, 0, None
            ),
        ),
        claims=(AddressHeld("can0", 0, ENGINE, start_us, end_us),),
        groups=(
            GroupSeen("can0", 61444, 0, 900, start_us, end_us, 0.02, True),
            GroupSeen("ä bus", 65280, 3, 1, start_us + 7, start_us + 7, None, False),
        ),
        other_ids=(IdSeen("can0", 0x7E8, False, 4), IdSeen("can0", 0x18DAF110, True, 2)),
        signals=(
            SignalSeen(
                "can0",
                0,
                190,
                61444,
                900,
                890,
                8,
                2,
                start_us,
                end_us,
                0.02,
                650.125,
                2100.5,
                700.0,
                800.25,
                0.125,
                "rpm",
            ),
            SignalSeen(
                "can0",
                0,
                174,
                65262,
                60,
                0,
                60,
                0,
                start_us,
                end_us,
                1.0,
                None,
                None,
                None,
                None,
                1.0,
                "degC",
            ),
        ),
        requests=(RequestSeen("can0", 249, 255, 65253, 3),),
        transport=TransportSeen((("bam", 12), ("rts", 1)), (("incomplete", 2),)),
        clocks=(ClockSeen(start_us + 1, start_us - 3_600_000_000),),
        answers=(
            TextAnswer(start_us + 5, "can0", 0, "dm5", (("active", 1.0), ("obd", None))),
            TextAnswer(start_us + 6, "can0", 0, "vin", (("vin", "WENNA000000000042"),)),
        ),
        faults=(
            FaultSeen(
                FaultKey("j1939", "can0", 0, 110, 0),
                ("dm1", "dm2"),
                start_us + 1_000_000,
                end_us,
                "active",
                (
                    Spell(start_us + 1, False, start_us + 9, start_us + 12, "healed", 3, 4),
                    Spell(start_us + 20, True, end_us, None, "recording_end", None, None),
                ),
                (
                    CountSeen(start_us + 1, start_us + 9, 3),
                    CountSeen(start_us + 10, end_us, None, True),
                ),
                Lamps("off", "on", None, "slow"),
                Lamps(None, "fast", "off", None),
                (
                    FreezeFrame(
                        start_us + 30,
                        (FrozenValue(190, 1500.5, "rpm"), FrozenValue(110, None, "degC")),
                        "dm4",
                    ),
                ),
                0,
                (110, 524_398),
                0x2F,
                0x11,
            ),
            FaultSeen(
                FaultKey("obd", "can0", None, None, None, "P0217"),
                ("obd03",),
                start_us,
                start_us,
                "pending",
            ),
        ),
        lamp_without_code=(
            LampSpell("can0", 3, Lamps(amber_warning="on"), start_us + 4, start_us + 8),
        ),
        clears=(
            Cleared(start_us + 40, "can0", 249, None, "dm11", "refused", 110, 0, "engine runs"),
            Cleared(start_us + 41, "can0", 249, 0, "dm3", "done"),
        ),
        vins=(("can0", 0, "WENNA000000000042"),),
        hours=(("can0", 0, start_us + 2, 4211.95), ("can0", 0, end_us, 4212.0)),
        pauses=((start_us + 100, start_us + 6_000_100),),
        not_read=(NotRead("no frame", 3, 17, None), NotRead("cut short", 1, None, 99)),
        doubts=("The clock on the bus is an hour off.",),
    )


def new_visit(machine: str, content: VisitContent | None = None, **more: object) -> NewVisit:
    """Make a visit to be filed for a machine; `more` replaces its fields."""
    values: dict[str, object] = {
        "kind": "recording",
        "machine": machine,
        "content": full_content() if content is None else content,
        "filed_us": NOW_US,
        "file": "morning.log",
        "format": "candump",
        "quality": "complete",
        "start_from": "recording",
        "hours_start": 4211.95,
        "hours_end": 4212.0,
        "hours_from": "bus",
        "vin": "WENNA000000000042",
        "component": "Model 7",
        "software": ("A1",),
        "recognised_by": ("new",),
        "doubts": ("A doubt of the filing.",),
        **more,
    }
    return NewVisit(**values)  # type: ignore[arg-type]


def some_frames(count: int = 50, start_us: int = START_US, first: int = 0) -> Frames:
    """Make frames of several groups, sources and forms, some longer than 8 bytes."""
    rows = []
    for i in range(first, first + count):
        at = start_us + 1000 * i - (i % 3) * 1500
        kind = i % 7
        if kind == 0:
            rows.append(PlainFrame(at, 0x0CF00400, bytes([i & 0xFF] * 8)))
        elif kind == 1:
            rows.append(PlainFrame(at, 0x18FEEE00 | i % 3, bytes([1, 2, i & 0xFF])))
        elif kind == 2:
            rows.append(PlainFrame(at, 0x7E8, b"\x02\x41\x00", flags=0))
        elif kind == 3:
            rows.append(PlainFrame(at, 0x18EA00F9, b"\xe5\xfe\x00", channel="ä bus"))
        elif kind == 4:
            rows.append(PlainFrame(at, 0x0CF00400, bytes(range(12)), flags=1 | 8))
        elif kind == 5:
            rows.append(PlainFrame(at, 0x0CF00400, flags=1 | 2, length=8))
        else:
            rows.append(PlainFrame(at, 0x20000004, b"\x00" * 8, flags=4 | 1))
    return frames_from(rows, ("can0", "ä bus"))


def some_messages() -> list[Message]:
    """Make reassembled messages of two groups."""
    return [
        Message(START_US + 5, START_US + 9, 0, 0, 255, 65226, bytes(range(14)), Carried.BAM),
        Message(START_US + 3, START_US + 4, 1, 3, 249, 65227, b"\x00" * 300, Carried.RTS),
    ]
