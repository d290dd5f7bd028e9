"""Recording unattended: from first frame to silence, through power cuts and full disks."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import can
import pytest
import zstandard
from jsonschema import Draft202012Validator
from tests.command_line import call

from shearbolt.app import unattended
from shearbolt.app.carried import carried_names, events_beside, heard_by
from shearbolt.app.documents.watched import WatchAsked, WatchDocument
from shearbolt.app.schemas import schema_of
from shearbolt.app.unattended import watch
from shearbolt.errors import AdapterAbsent, UsageError
from shearbolt.live import look_at as look_at_really

CLAIM = bytes.fromhex("0100a04c00000020")


class Cab:
    """A bus, and a listener in a thread of its own that is stopped by hand."""

    def __init__(self, folder: Path, channel: str) -> None:
        self.folder = folder
        self.channel = channel
        self.bus = can.Bus(interface="virtual", channel=channel)
        self.said: list[str] = []
        self.document: WatchDocument | None = None
        self.free = 10_000_000_000
        self._heard = threading.Condition()
        self._stop = threading.Event()
        self._thread: threading.Thread | None = None

    def start(self, **more: Any) -> None:
        asked = WatchAsked(
            str(self.folder), more.pop("interface", "virtual"), (self.channel,), **more
        )

        def run() -> None:
            self.document = watch(
                asked,
                show=self._show,
                stop=self._stop.is_set,
                wait=lambda seconds: self._wait(min(seconds, 0.05)),
                free=lambda _: self.free,
            )

        self._thread = threading.Thread(target=run)
        self._thread.start()

    def _wait(self, seconds: float) -> None:
        self._stop.wait(seconds)

    def _show(self, words: str) -> None:
        with self._heard:
            self.said.append(words)
            self._heard.notify_all()

    def until(self, part: str, times: int = 1) -> None:
        """Wait until something was said so often."""
        with self._heard:
            assert self._heard.wait_for(
                lambda: sum(part in one for one in self.said) >= times, timeout=15
            ), self.said

    def send(self, count: int) -> None:
        self.bus.send(can.Message(arbitration_id=0x18EEFF00, data=CLAIM))
        for i in range(count - 1):
            self.bus.send(can.Message(arbitration_id=0x0CF00400, data=[i & 0xFF] * 8))

    def stop(self) -> WatchDocument:
        self._stop.set()
        if self._thread is not None:
            self._thread.join(15)
        assert self.document is not None
        told = Draft202012Validator(schema_of("watch", closed=True)).iter_errors(self.document)
        assert [one.message for one in told] == []
        return self.document

    def close(self) -> None:
        self._stop.set()
        if self._thread is not None:
            self._thread.join(15)
        self.bus.shutdown()

    @property
    def finished(self) -> list[str]:
        return sorted(one.name for one in self.folder.glob("*.log.zst"))


@pytest.fixture
def cab(tmp_path: Path, request: pytest.FixtureRequest) -> Iterator[Cab]:
    one = Cab(tmp_path / "recordings", f"watch-{request.node.name}"[:40])
    yield one
    one.close()


def beaten(cab: Cab, visits: int, count: int = 30) -> None:
    """Send until the listener hears it: it may not have opened the bus yet."""
    for _ in range(200):
        cab.send(count)
        with cab._heard:
            if cab._heard.wait_for(
                lambda: sum("A visit begins" in one for one in cab.said) >= visits, 0.1
            ):
                return
    raise AssertionError(cab.said)


def lines(path: Path) -> list[bytes]:
    with path.open("rb") as packed:
        data = zstandard.ZstdDecompressor().stream_reader(packed).read()
    return data.splitlines()


def test_a_visit_lasts_from_the_first_frame_to_silence_and_the_next_begins_anew(cab: Cab) -> None:
    cab.start(silence_s=0.6)
    for number in (1, 2):
        beaten(cab, number)
        cab.until("A visit is finished", number)
    document = cab.stop()
    assert [one["ended_by"] for one in document["visits"]] == ["silence", "silence"]
    assert [one["file"] for one in document["visits"]] == cab.finished
    assert document["waiting"] == 2
    for visit in document["visits"]:
        held = lines(cab.folder / visit["file"])
        assert len(held) == visit["frames"] >= 30
        assert b"18EEFF00#0100A04C00000020" in held[0]
        assert visit["file"].startswith(str(visit["start"])[:10].replace("-", "") + "T")
    assert not list((cab.folder / ".watch" / "spool").iterdir())


def test_once_ends_after_the_first_visit(cab: Cab) -> None:
    cab.start(silence_s=0.4, once=True)
    beaten(cab, 1)
    cab.until("A visit is finished")
    assert cab._thread is not None
    cab._thread.join(5)
    assert not cab._thread.is_alive()


def test_a_visit_that_goes_on_is_cut_and_goes_on_in_the_next(cab: Cab) -> None:
    cab.start(silence_s=30, longest_s=0.5)
    beaten(cab, 2)
    document = cab.stop()
    assert document["visits"][0]["ended_by"] == "longest"
    assert len(document["visits"]) >= 2


def test_stopping_finishes_what_is_being_recorded(cab: Cab) -> None:
    cab.start(silence_s=60)
    beaten(cab, 1)
    document = cab.stop()
    assert [one["ended_by"] for one in document["visits"]] == ["stopped"]
    assert len(cab.finished) == 1


def test_nothing_heard_leaves_nothing(cab: Cab) -> None:
    cab.start()
    document = cab.stop()
    assert document["visits"] == []
    assert cab.finished == []


def spooled(folder: Path, stem: str, text: bytes, *, events: bytes = b"") -> Path:
    spools = folder / ".watch" / "spool"
    spools.mkdir(parents=True, exist_ok=True)
    path = spools / f"{stem}.log"
    path.write_bytes(text)
    path.with_suffix(".events").write_bytes(events)
    return path


WHOLE = b"".join(b"(17800000%02d.000000) can0 0CF00400#0011223344556677\n" % i for i in range(10))


@pytest.mark.parametrize("tail", [b"", b"(1780000010.000", b"\0" * 4096, WHOLE[:17] + b"\0" * 99])
def test_what_a_power_cut_left_is_finished_at_the_next_start(cab: Cab, tail: bytes) -> None:
    spooled(cab.folder, "20260528T202640Z-abcdef", WHOLE + tail)
    (cab.folder / ".watch" / "spool" / "abcdef.part").write_bytes(b"half")
    cab.start()
    cab.until("broken off")
    document = cab.stop()
    assert [one["ended_by"] for one in document["visits"]] == ["broken_off"]
    assert cab.finished == ["20260528T202640Z-abcdef.log.zst"]
    assert lines(cab.folder / cab.finished[0]) == WHOLE.splitlines()
    assert not list((cab.folder / ".watch" / "spool").iterdir())
    noted = heard_by(cab.folder / cab.finished[0])
    assert noted is not None
    assert any("heard_cut" in one for one in noted.doubts)


def test_packing_that_was_cut_off_at_any_step_gives_one_recording(cab: Cab) -> None:
    path = spooled(cab.folder, "20260528T202640Z-abcdef", WHOLE)
    cab.start()
    cab.until("broken off")
    cab.stop()
    first = (cab.folder / cab.finished[0]).read_bytes()
    # The recording was in place, and the spool not yet removed.
    spooled(cab.folder, path.stem, WHOLE)
    again = Cab(cab.folder, f"{cab.channel}-again")
    again.start()
    again.until("broken off")
    again.stop()
    again.close()
    assert cab.finished == ["20260528T202640Z-abcdef.log.zst"]
    assert (cab.folder / cab.finished[0]).read_bytes() == first


def old(cab: Cab, *names: str, carried: tuple[str, ...] = ()) -> None:
    (cab.folder / ".watch").mkdir(parents=True, exist_ok=True)
    for name in names:
        (cab.folder / name).write_bytes(zstandard.compress(WHOLE))
        events_beside(cab.folder / name).write_bytes(b"")
    (cab.folder / ".watch" / "carried").write_text("".join(f"{one}\n" for one in carried))


A, B, C = (f"2026040{i}T000000Z-00000{i}.log.zst" for i in (1, 2, 3))


def freed(cab: Cab, each: int) -> Callable[[Path], int]:
    """Room that grows with each recording deleted."""
    return lambda _: 100_000_000 + each * (3 - len(cab.finished))


def test_the_oldest_that_was_carried_goes_first_and_only_as_many_as_needed(
    cab: Cab,
) -> None:
    old(cab, A, B, C, carried=(B, C))
    told = watch(
        WatchAsked(str(cab.folder), "virtual", (cab.channel,), reserve_bytes=150_000_000),
        show=cab._show,
        stop=Times(2),
        wait=lambda _: None,
        free=freed(cab, 60_000_000),
    )
    assert told["deleted"] == [B]
    assert cab.finished == [A, C]
    assert not events_beside(cab.folder / B).exists()
    assert not told["full"]
    # What is no longer there is no longer on the list.
    assert carried_names(cab.folder) == {C}


class Times:
    """Says 'stop' from the n-th time on."""

    def __init__(self, count: int) -> None:
        self.left = count

    def __call__(self) -> bool:
        self.left -= 1
        return self.left < 0


def test_one_that_was_not_carried_is_never_deleted_and_it_is_told(cab: Cab) -> None:
    old(cab, A, B, carried=())
    cab.free = 100
    cab.start()
    cab.until("nothing on it was carried away yet")
    cab.send(30)
    document = cab.stop()
    assert document["full"]
    assert cab.finished == [A, B]
    assert document["visits"] == []
    assert sum("carried away" in one for one in cab.said) == 1
    assert exit_of(document) == 1


def exit_of(document: WatchDocument) -> int:
    from shearbolt.cli.outcome import exit_status

    return exit_status(document)


def test_a_disk_that_fills_ends_the_visit_keeps_it_and_goes_on_when_there_is_room(
    cab: Cab,
) -> None:
    cab.start(silence_s=60)
    beaten(cab, 1)
    cab.free = 100
    cab.until("A visit is finished")
    assert len(cab.finished) == 1
    cab.free = 10_000_000_000
    cab.until("There is room again")
    beaten(cab, 2)
    document = cab.stop()
    assert [one["ended_by"] for one in document["visits"]] == ["disk", "stopped"]
    assert not document["full"]


def test_an_adapter_that_is_not_there_is_waited_for(
    cab: Cab, monkeypatch: pytest.MonkeyPatch
) -> None:
    real, missing = look_at_really, [3]

    def look_at(asked: Any) -> Any:
        missing[0] -= 1
        if missing[0] >= 0:
            raise AdapterAbsent("No CAN adapter was found by itself.")
        return real(asked)

    monkeypatch.setattr(unattended, "look_at", look_at)
    cab.start(silence_s=0.4)
    beaten(cab, 1)
    assert sum("No CAN adapter" in one for one in cab.said) == 1


def test_two_listeners_do_not_share_a_folder(cab: Cab) -> None:
    cab.start()
    beaten(cab, 1)
    with pytest.raises(UsageError, match="records into this folder already"):
        watch(
            WatchAsked(str(cab.folder), "virtual", ("x",)),
            show=cab._show,
            stop=lambda: True,
            wait=lambda _: None,
        )


def test_a_folder_that_is_none_is_told(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("x")
    with pytest.raises(UsageError, match="cannot be used"):
        watch(
            WatchAsked(str(tmp_path / "file"), "virtual", ("x",)),
            show=lambda _: None,
            stop=lambda: True,
            wait=lambda _: None,
        )


def test_the_folder_is_brought_in_and_marked_as_carried(cab: Cab, tmp_path: Path) -> None:
    gone = b'{"at_us": 1780000004000000, "what": "gone", "channel": "can0", "reason": "pulled"}\n'
    stopped = b'{"at_us": 1780000009000000, "what": "stopped", "reason": "silence"}\n'
    spooled(cab.folder, "20260528T202640Z-abcdef", WHOLE, events=gone + stopped)
    cab.start()
    cab.until("finished")
    assert cab.stop()["waiting"] == 1
    book = tmp_path / "book"
    document = call(book, "add", cab.folder, "--json").done()
    (visit,) = document["visits"]
    assert (visit["kind"], visit["quality"], visit["frames"]) == ("recording", "lossy", 10)
    assert visit["file"].endswith("20260528T202640Z-abcdef.log.zst")
    assert document["refused"] == []
    assert carried_names(cab.folder) == {"20260528T202640Z-abcdef.log.zst"}
    again = call(book, "add", cab.folder, "--json").done()
    assert again["visits"][0]["already_in_book"]
    listed = (cab.folder / ".watch" / "carried").read_text().splitlines()
    assert listed == ["20260528T202640Z-abcdef.log.zst"]


def test_recordings_of_others_have_no_notes(tmp_path: Path) -> None:
    (tmp_path / "x.log").write_bytes(WHOLE)
    (tmp_path / "y.log.zst").write_bytes(zstandard.compress(WHOLE))
    assert heard_by(tmp_path / "x.log") is None
    assert heard_by(tmp_path / "y.log.zst") is None
