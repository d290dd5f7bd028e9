"""Listening sessions on scripted buses: nothing lost, nothing sent, every mishap in the record."""

from __future__ import annotations

import errno
import threading
from collections.abc import Callable, Sequence
from itertools import pairwise
from pathlib import Path
from typing import Any

import can
import numpy as np
import pytest
from tests.scripted_bus import ScriptedBus, Step, adapter, frame, opener, until

from shearbolt.errors import SpoolStopped
from shearbolt.live import Clocks, Event, Listening, Spool, recover, system_clocks
from shearbolt.live.reader import Reader, hangs
from shearbolt.live.spool import SpoolFile
from shearbolt.model.frames import SENT, Frames, PlainFrame, plain_frames
from shearbolt.model.instants import HOUR_US, SECOND_US
from shearbolt.recordings import open_recording


def read(path: Path) -> list[PlainFrame]:
    """Read a spool as any recording is read."""
    recording = open_recording(path)
    rows = [row for block in recording.blocks() for row in plain_frames(block)]
    assert recording.not_read() == ()
    assert recording.doubts() == ()
    return rows


def number(row: PlainFrame) -> int:
    return int.from_bytes(row.data, "little")


def of_kind(session: Listening, what: str) -> list[Event]:
    return [one for one in session.events if one.what == what]


class Heard:
    """A session on scripted buses, run until a condition holds."""

    def __init__(self, folder: Path, *buses: Sequence[ScriptedBus | Exception], **options: Any):
        self.spool = Spool(folder / "spool", "one", **options.pop("spool", {}))
        names = [f"can{i}" for i in range(len(buses))]
        self.session = Listening(
            [options.pop("adapter", None) or adapter(name) for name in names],
            self.spool,
            open_with=[opener(*some) for some in buses],
            **options,
        )

    def until(self, condition: Callable[[Listening], bool]) -> list[PlainFrame]:
        with self.session:
            until(lambda: condition(self.session))
        return read(self.spool.path) if self.spool.bytes else []


def counted(count: int, channel: int = 0) -> list[Step]:
    return [frame(channel << 32 | i) for i in range(count)]


def test_two_channels_as_fast_as_they_come_lose_nothing(tmp_path: Path) -> None:
    """The short form of `benchmarks listening-rate`: ten seconds' frames of two full buses."""
    count = 38_160
    buses = [ScriptedBus(counted(count, one)) for one in (0, 1)]
    heard = Heard(tmp_path, [buses[0]], [buses[1]])
    rows = heard.until(lambda session: session.frames == 2 * count)
    for one in (0, 1):
        mine = [number(row) for row in rows if row.channel == f"can{one}"]
        assert mine == [one << 32 | i for i in range(count)]
    times = np.array([row.time_us for row in rows])
    assert (np.diff(times) > 0).all()
    assert not any(bus.sent for bus in buses)
    assert of_kind(heard.session, "overrun") == []


def test_blocks_and_spool_tell_the_same(tmp_path: Path) -> None:
    error = can.Message(arbitration_id=0x20000088, is_error_frame=True, data=bytes(range(8)))
    steps: list[Step] = [
        frame(1),
        can.Message(arbitration_id=0x7DF, is_extended_id=False, data=b"\x02\x01\x0c"),
        can.Message(arbitration_id=0x18FEEE00, is_remote_frame=True, dlc=8),
        can.Message(arbitration_id=0x18FEEE00, is_fd=True, bitrate_switch=True, data=bytes(12)),
        error,
        can.Message(arbitration_id=0x18FEEE00, data=b""),
    ]
    heard = Heard(tmp_path, [ScriptedBus(steps)])
    taken: list[PlainFrame] = []

    def all_taken(session: Listening) -> bool:
        taken.extend(row for block in session.take(0.1) for row in plain_frames(block))
        return len(taken) == len(steps)

    assert heard.until(all_taken) == taken
    assert len({row.flags for row in taken}) == 5


def test_what_act_has_sent_is_in_the_record(tmp_path: Path) -> None:
    heard = Heard(tmp_path, [ScriptedBus(counted(3))])

    noted: list[bool] = []

    def sent(session: Listening) -> bool:
        if session.frames == 3 and not noted:
            noted.append(True)
            session.note_sent(0, 0x18EA00F9, b"\xe5\xfe\x00")
        return session.frames == 4

    rows = heard.until(sent)
    assert rows[-1].flags & SENT
    assert (rows[-1].ident, rows[-1].data) == (0x18EA00F9, b"\xe5\xfe\x00")
    assert [row.flags & SENT for row in rows[:-1]] == [0, 0, 0]


def test_an_adapter_gone_and_back_is_taken_up_again_by_itself(tmp_path: Path) -> None:
    gone = can.exceptions.CanOperationError("device\nunplugged")
    away = OSError(errno.ENODEV, "No such device")
    buses: list[ScriptedBus | Exception] = [
        ScriptedBus([frame(0), frame(1), gone]),
        ScriptedBus([away]),
        ScriptedBus([frame(2)]),
    ]
    heard = Heard(tmp_path, buses)
    rows = heard.until(lambda session: session.frames == 3)
    assert [number(row) for row in rows] == [0, 1, 2]
    lost = of_kind(heard.session, "gone")
    back = of_kind(heard.session, "back")
    assert lost[0].figure("reason") == "device unplugged"
    assert len(lost) == len(back) == 2
    assert 0 < sum(one.number("gap_us") for one in back) < 10 * SECOND_US
    assert rows[1].time_us <= lost[0].at_us <= back[-1].at_us <= rows[2].time_us
    told = recover(heard.spool.path).events
    assert [one.what for one in told if one.what in ("gone", "back")] == ["gone", "back"] * 2


def test_an_adapter_that_is_absent_at_first_is_waited_for(tmp_path: Path) -> None:
    from shearbolt.errors import AdapterAbsent

    absent = AdapterAbsent("The adapter is not there; plug it in.")
    heard = Heard(tmp_path, [absent, ScriptedBus([frame(7)])])
    states: set[str] = set()

    def came(session: Listening) -> bool:
        states.add(session.readers[0].state)
        return session.frames == 1

    assert [number(row) for row in heard.until(came)] == [7]
    assert "gone" in states
    assert of_kind(heard.session, "gone")[0].figure("reason") == absent.sentence


class Jumping:
    """The computer's clocks, with a wall clock that a test sets."""

    def __init__(self) -> None:
        self.by_us = 0
        self.real = system_clocks()
        self.clocks = Clocks(lambda: self.real.wall_us() + self.by_us, self.real.steady_us)


@pytest.mark.parametrize("by_us", [HOUR_US, -HOUR_US])
def test_a_clock_set_by_an_hour_leaves_no_time_twice_and_none_negative(
    by_us: int, tmp_path: Path
) -> None:
    jumping = Jumping()

    def steps() -> Any:
        # The adapter's stamps follow the wall clock, as those of the system's sockets do.
        for i in range(200):
            if i == 100:
                jumping.by_us = by_us
            yield frame(i, stamp_s=jumping.clocks.wall_us() / 1e6)
            yield None

    heard = Heard(tmp_path, [ScriptedBus(steps(), pace_s=0.002)], clocks=jumping.clocks)
    rows = heard.until(
        lambda session: session.frames == 200 and bool(of_kind(session, "clock_jump"))
    )
    steps_us = [b.time_us - a.time_us for a, b in pairwise(rows)]
    assert min(steps_us) > 0
    assert rows[-1].time_us - rows[0].time_us < 60 * SECOND_US
    assert rows[0].time_us >= heard.session.start_us
    (jump,) = of_kind(heard.session, "clock_jump")
    assert abs(jump.number("by_us") - by_us) < SECOND_US
    assert [one.what for one in recover(heard.spool.path).events].count("clock_jump") == 1


@pytest.mark.filterwarnings("ignore::pytest.PytestUnhandledThreadExceptionWarning")
def test_a_reader_that_dies_is_noticed_and_begun_again(tmp_path: Path) -> None:
    class Dies(BaseException):
        pass

    heard = Heard(tmp_path, [ScriptedBus([frame(0), Dies()]), ScriptedBus([frame(1)])])
    rows = heard.until(lambda session: session.frames == 2)
    assert [number(row) for row in rows] == [0, 1]
    assert len(of_kind(heard.session, "reader_died")) == 1


def test_a_reader_that_hangs_in_its_driver_is_noticed() -> None:
    release = threading.Event()

    class Hangs(ScriptedBus):
        def _recv_internal(self, timeout: float | None) -> tuple[can.Message | None, bool]:
            release.wait()
            return None, True

    reader = Reader(adapter(), system_clocks(), lambda *_, **__: None, open_bus=opener(Hangs()))
    reader.start()
    until(lambda: reader.state == "open")
    assert not hangs(reader, reader.turn_us + 4 * SECOND_US)
    assert hangs(reader, reader.turn_us + 6 * SECOND_US)
    reader.stop()
    assert not reader.join(0.01)
    release.set()
    assert reader.join(10.0)


def test_frames_that_nobody_takes_are_counted_as_lost_and_told(tmp_path: Path) -> None:
    told: list[tuple[str, dict[str, Any]]] = []
    reader = Reader(
        adapter(),
        system_clocks(),
        lambda what, *_, **figures: told.append((what, figures)),
        open_bus=opener(ScriptedBus(counted(50))),
        most_rows=20,
    )
    reader.start()
    until(lambda: reader.frames == 50)
    reader.stop()
    reader.join(10.0)
    assert (len(reader.rows), reader.lost_here) == (20, 30)
    heard = Heard(tmp_path, [ScriptedBus()])
    heard.session.readers[0].lost_here = 30
    heard.until(lambda session: bool(of_kind(session, "overrun")))
    (lost,) = of_kind(heard.session, "overrun")
    assert (lost.number("count"), lost.figure("where")) == (30, "here")


def test_a_drivers_word_of_lost_frames_is_told(tmp_path: Path) -> None:
    overflow = can.Message(
        arbitration_id=0x04, is_error_frame=True, data=b"\x00\x01\x00\x00\x00\x00\x00\x00"
    )
    steps: list[Step] = [frame(0), overflow, frame(1), overflow]
    system = adapter("can0", "socketcan")
    heard = Heard(tmp_path, [ScriptedBus(steps)], adapter=system)
    heard.until(lambda session: session.frames == 4)
    lost = of_kind(heard.session, "overrun")
    assert sum(one.number("count") for one in lost) == 2
    assert {one.figure("where") for one in lost} == {"driver"}


def test_the_rate_is_found_by_listening_and_what_was_heard_is_kept(tmp_path: Path) -> None:
    wrong = ScriptedBus([frame(error=True) for _ in range(12)])
    right = ScriptedBus(counted(5))
    heard = Heard(tmp_path, [wrong, right], adapter=adapter(bitrate=None, takes_bitrate=True))
    rows = heard.until(lambda session: session.frames == 5)
    assert [number(row) for row in rows] == [0, 1, 2, 3, 4]
    assert (wrong.options["bitrate"], right.options["bitrate"]) == (250_000, 500_000)
    reader = heard.session.readers[0]
    assert (reader.bitrate, reader.rate_from) == (500_000, "found")
    assert [one.what for one in heard.session.events] == ["started", "wrong_rate", "opened"]
    assert wrong.sent == right.sent == []


def test_a_bus_at_neither_rate_is_told(tmp_path: Path) -> None:
    buses = [ScriptedBus([frame(error=True) for _ in range(12)]) for _ in range(2)]
    heard = Heard(
        tmp_path,
        [*buses, ScriptedBus()],
        adapter=adapter(bitrate=None, takes_bitrate=True),
    )
    heard.until(lambda session: session.readers[0].no_rate_fits)
    assert heard.session.frames == 0


class FullDisk:
    """A file that takes so many bytes and no more."""

    def __init__(self, path: Path, room: int) -> None:
        self.file = path.open("xb", buffering=0)
        self.room = room
        self.unsynced = 0

    def write(self, data: bytes, /) -> int | None:
        if not self.room:
            raise OSError(errno.ENOSPC, "No space left on device")
        taken = self.file.write(data[: min(len(data), self.room, 4096)])
        self.room -= taken or 0
        return taken

    def fileno(self) -> int:
        return self.file.fileno()

    def truncate(self, size: int, /) -> int:
        return self.file.truncate(size)

    def close(self) -> None:
        self.file.close()


def test_a_full_disk_ends_it_with_a_sentence_and_keeps_what_was_written(tmp_path: Path) -> None:
    def open_file(path: Path) -> SpoolFile:
        return FullDisk(path, 20_010 if path.suffix == ".log" else 100_000)

    heard = Heard(
        tmp_path, [ScriptedBus(counted(5000), pace_s=0.0005)], spool={"open_file": open_file}
    )
    rows = heard.until(lambda session: session.ended)
    assert isinstance(heard.session.trouble, SpoolStopped)
    assert "the disk is full" in heard.session.trouble.sentence
    assert str(heard.spool.path) in heard.session.trouble.sentence
    assert [number(row) for row in rows] == list(range(len(rows)))
    assert len(rows) >= 1
    ready = recover(heard.spool.path)
    assert ready.size == heard.spool.bytes
    assert ready.finished
    assert "disk_full" in [one.what for one in ready.events]


def test_listening_stops_before_the_disk_is_full(tmp_path: Path) -> None:
    heard = Heard(
        tmp_path,
        [ScriptedBus(counted(10))],
        may_write=lambda: "The disk is nearly full, so listening stopped.",
    )
    rows = heard.until(lambda session: session.ended)
    assert len(rows) == 10
    assert heard.session.trouble is not None
    assert heard.session.trouble.sentence.startswith("The disk is nearly full")


def test_everything_is_on_the_disk_each_second(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    import os

    synced: list[int] = []
    real = os.fdatasync if hasattr(os, "fdatasync") else os.fsync

    def note(handle: int) -> None:
        real(handle)
        synced.append(os.fstat(handle).st_size)

    monkeypatch.setattr(os, "fdatasync" if hasattr(os, "fdatasync") else "fsync", note)
    heard = Heard(tmp_path, [ScriptedBus(counted(10_000), pace_s=0.002)])
    sizes: list[int] = []

    def twice(session: Listening) -> bool:
        sizes.append(heard.spool.bytes)
        return len([one for one in synced if one > 1000]) >= 2

    heard.until(twice)
    marks = [one for one in recover(heard.spool.path).events if one.what == "synced"]
    assert len(marks) >= 2
    assert marks[0].number("bytes") in synced
    assert all(b.at_us - a.at_us < SECOND_US + 500_000 for a, b in pairwise(marks))


def test_a_slow_show_never_holds_up_the_writing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("shearbolt.live.session.ROUND_S", 0.001)
    count = 3_000
    heard = Heard(tmp_path, [ScriptedBus(counted(count), pace_s=0.0002)])
    rows = heard.until(lambda session: session.frames == count)
    assert len(rows) == count
    left: list[Frames] = heard.session.take(0.0)
    assert 0 < len(left) <= 300


def test_stopping_twice_and_before_anything_came_is_harmless(tmp_path: Path) -> None:
    heard = Heard(tmp_path, [ScriptedBus()])
    heard.session.start()
    heard.session.stop()
    heard.session.stop()
    ready = recover(heard.spool.path)
    assert (ready.size, ready.cut, ready.finished) == (0, 0, True)
