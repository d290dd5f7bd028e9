"""The capture spool: what its files hold, and what is left of them after a bad end."""

from __future__ import annotations

from pathlib import Path

import pytest

from shearbolt.errors import SpoolStopped
from shearbolt.live import Event, Spool, new_stem, read_events, recover, remove, spools
from shearbolt.live.events import event_line

LINE = b"(1780000000.000000) can0 0CF00400#0102030405060708\n"


def test_a_spool_is_candump_text_with_its_events_beside(tmp_path: Path) -> None:
    spool = Spool(tmp_path / "spool", "a")
    spool.write(LINE * 3)
    spool.tell(Event(5, "started", None, (("machine", "The grey one"), ("hours", None))))
    spool.sync(7)
    spool.write(LINE)
    spool.close(Event(9, "stopped", None, (("reason", "asked"),)))
    assert spool.path.read_bytes() == LINE * 4
    ready = recover(spool.path)
    assert ready.finished
    assert (ready.size, ready.cut, ready.lost) == (4 * len(LINE), 0, 0)
    # The frames are on the disk before anything is said of them.
    assert [one.what for one in ready.events] == ["started", "synced", "stopped", "synced"]
    assert ready.events[0].figure("machine") == "The grey one"
    assert ready.events[0].figure("hours") is None
    assert [one.number("bytes") for one in ready.events] == [0, 3 * len(LINE), 0, 4 * len(LINE)]


def test_a_program_that_was_killed_left_no_last_word(tmp_path: Path) -> None:
    spool = Spool(tmp_path, "a")
    spool.write(LINE)
    spool.sync(1)
    assert not recover(spool.path).finished
    spool.close()
    assert not recover(spool.path).finished


def test_a_cut_and_zeroed_end_is_taken_off_and_nothing_else(tmp_path: Path) -> None:
    path = tmp_path / "a.log"
    path.write_bytes(LINE * 4 + LINE[:20] + bytes(3 * 70_000))
    ready = recover(path)
    assert path.read_bytes() == LINE * 4
    assert ready.cut == 20 + 210_000
    assert recover(path).cut == 0


def test_bytes_that_had_been_on_the_disk_and_are_gone_are_told(tmp_path: Path) -> None:
    spool = Spool(tmp_path, "a")
    spool.write(LINE * 4)
    spool.sync(1)
    spool.close()
    spool.path.write_bytes(LINE * 2)
    assert recover(spool.path).lost == 2 * len(LINE)


def test_spools_are_found_the_oldest_first_and_removed_whole(tmp_path: Path) -> None:
    assert spools(tmp_path / "none") == []
    first, second = new_stem(1_780_000_000_000_000), new_stem(1_780_000_100_000_000)
    assert new_stem(1_780_000_000_000_000) != first
    for stem in (second, first):
        Spool(tmp_path, stem).close()
    assert [one.stem for one in spools(tmp_path)] == [first, second]
    for one in spools(tmp_path):
        remove(one)
        remove(one)
    assert list(tmp_path.iterdir()) == []


def test_a_folder_that_cannot_be_written_is_told_in_a_sentence(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(SpoolStopped, match="listening stopped"):
        Spool(tmp_path / "file", "a")
    with pytest.raises(SpoolStopped, match="cannot be read"):
        recover(tmp_path / "missing.log")


def test_events_come_back_as_they_were() -> None:
    event = Event(12, "gone", "can0", (("reason", "device 'x' \n unplugged"),))
    line = event_line(event)
    assert line.count("\n") == 1
    assert read_events(line.encode()) == (event,)
    assert event.number("reason") == 0


@pytest.mark.parametrize(
    "line",
    [
        b"{",
        b"[]",
        b"3",
        b"\0\0\0\0",
        b'{"at_us": 1.5, "what": "gone"}',
        b'{"at_us": true, "what": "gone"}',
        b'{"at_us": 1, "what": "unheard of"}',
        b'{"at_us": 1, "what": "gone", "channel": 3}',
        b'{"what": "gone"}',
        b"\xff\xfe",
    ],
)
def test_lines_that_are_no_events_are_left_out(line: bytes) -> None:
    good = event_line(Event(1, "stopped")).encode()
    assert read_events(good + line + b"\n" + good) == (Event(1, "stopped"),) * 2
