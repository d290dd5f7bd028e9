"""`listen` as a whole: the bus is recognised, shown and filed, whatever happens on the way."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import can
import pytest
from jsonschema import Draft202012Validator
from tests.bus_traffic import HOURS, VIN, Bus, dtc, name_of
from tests.scripted_bus import ScriptedBus, Step, frame, until

from shearbolt.app.documents import (
    PLAIN_WORDING,
    ListenAsked,
    ListenDocument,
    LiveView,
    no_progress,
    show_nothing,
)
from shearbolt.app.schemas import schema_of
from shearbolt.app.spooled import spool_folder, spool_lock
from shearbolt.app.use_cases import add_recordings, listen, machine, yard
from shearbolt.book import Book
from shearbolt.errors import AdapterAbsent, Ambiguous, UsageError
from shearbolt.kernels.candump_lines import candump_lines
from shearbolt.live import Event, Spool
from shearbolt.model.frames import PlainFrame, frames_from, plain_frames
from shearbolt.model.instants import SECOND_US

START_US = 1_780_000_000 * SECOND_US
ENGINE, GEARBOX = name_of(1234), name_of(77, function=3)


def traffic(until_s: float = 4.0) -> Bus:
    """A tractor with one active fault, from key-on."""
    bus = Bus()
    bus.claim(0.01, 0, ENGINE)
    bus.claim(0.02, 3, GEARBOX)
    bus.engine(0.05, until_s)
    bus.alive(0.05, until_s, 3, 23)
    for group in range(3):
        for i in range(int(until_s * 10)):
            bus.say(0.07 + i / 10, 65200 + group, 3, bytes(8))
    bus.dm1_each(0.3, until_s, 0, dtc(110, 0), lamps=0x04)
    return bus


def message(row: PlainFrame) -> can.Message:
    return can.Message(arbitration_id=row.ident, data=row.data, timestamp=0.0)


class Plugged(ScriptedBus):
    """What is plugged in when the interface 'plugged' is opened: set by the test."""

    steps: Callable[[], Iterator[Step]] = staticmethod(lambda: iter(()))
    opened: list[Plugged]

    def __init__(self, channel: str, listen_only: bool = False, **more: Any) -> None:
        super().__init__(type(self).steps(), channel=channel, listen_only=listen_only, **more)
        type(self).opened.append(self)


class Aloud(ScriptedBus):
    """The same without a listen-only mode."""

    def __init__(self, channel: str, **more: Any) -> None:
        super().__init__(Plugged.steps(), **more)
        Plugged.opened.append(self)  # type: ignore[arg-type]


@pytest.fixture(autouse=True)
def plugged(monkeypatch: pytest.MonkeyPatch) -> type[Plugged]:
    real = can.interface._get_class_for_interface
    kinds: dict[str, Any] = {"plugged": Plugged, "aloud": Aloud}
    monkeypatch.setattr(
        "can.interface._get_class_for_interface", lambda name: kinds.get(name) or real(name)
    )
    monkeypatch.setattr(Plugged, "opened", [], raising=False)
    monkeypatch.setattr(Plugged, "steps", staticmethod(lambda: iter(())))
    return Plugged


def in_real_time(bus: Bus) -> Callable[[], Iterator[Step]]:
    """Play traffic at its own pace, on the channel 'can0' alone."""

    def steps() -> Iterator[Step]:
        begun = time.monotonic()
        for row in plain_frames(bus.frames):
            while time.monotonic() - begun < row.time_us / SECOND_US:
                yield None
            yield message(row)

    return steps


def at_once(bus: Bus) -> Callable[[], Iterator[Step]]:
    return lambda: (message(row) for row in plain_frames(bus.frames))


def heard(
    book: Path,
    *,
    interface: str = "plugged",
    stop: Callable[[LiveView], bool] = lambda view: bool(view["faults"]),
    most_s: float = 20.0,
    **asked: Any,
) -> tuple[ListenDocument, list[LiveView]]:
    """Listen until a view is as wanted."""
    views: list[LiveView] = []
    done = threading.Event()

    def show(view: LiveView) -> None:
        views.append(view)
        if stop(view):
            done.set()

    document = listen(
        book,
        ListenAsked(
            interface, asked.pop("channels", ("can0",)), asked.pop("bitrate", 250_000),
            seconds=most_s, **asked,
        ),
        show=show,
        stop=done.is_set,
        progress=no_progress,
        wording=PLAIN_WORDING,
    )  # fmt: skip
    Draft202012Validator(schema_of("listen", closed=True)).validate(document)
    assert not any(bus.sent for bus in Plugged.opened)
    assert all(bus.closed for bus in Plugged.opened)
    folder = book / "spool"
    assert not folder.exists() or list(folder.iterdir()) == []
    return document, views


def brought_before(book: Path, folder: Path, bus: Bus) -> str:
    """File the same machine from a recording, and give its id."""
    rows = [
        PlainFrame(one.time_us + START_US, one.ident, one.data) for one in plain_frames(bus.frames)
    ]
    path = folder / "before.log"
    path.write_text("".join(candump_lines(frames_from(rows))), encoding="ascii")
    added = add_recordings(
        book, [str(path)], machine=None, start_us=None, hours=None, columns={},
        progress=no_progress, wording=PLAIN_WORDING,
    )  # fmt: skip
    return added["visits"][0]["machine"]


def test_machine_and_faults_are_known_within_three_seconds(
    plugged: type[Plugged], tmp_path: Path
) -> None:
    """The goal of listening: 3 s from the first frame, on a bus that broadcasts them."""
    known = brought_before(tmp_path / "book", tmp_path, traffic())
    plugged.steps = staticmethod(in_real_time(traffic(10.0)))

    def told(view: LiveView) -> bool:
        return view["machine"] is not None and bool(view["faults"])

    document, views = heard(tmp_path / "book", stop=told)
    assert document["recognised_after_s"] is not None
    assert document["first_fault_after_s"] is not None
    assert document["recognised_after_s"] < 3.0
    assert document["first_fault_after_s"] < 3.0
    view = views[-1]
    assert view["machine"] == known
    assert view["recognised_by"] == ["names"]
    (fault,) = view["faults"]
    assert (fault["spn"], fault["fmi"], fault["state"]) == (110, 0, "active")
    assert fault["lamps"]["amber_warning"] == "on"
    assert fault["words"].startswith("Engine coolant temperature")
    assert [(one["spn"], one["value"]) for one in view["readings"]] == [(190, 1500.0)]
    assert {one["address"] for one in view["controllers"]} == {0, 3, 23}
    (visit,) = document["visits"]
    assert visit["kind"] == "live"
    assert visit["file"] is None
    assert visit["machine"] == known
    assert visit["quality"] == "complete"
    assert visit["doubts"] == []
    assert document["stopped_by"] == "asked"
    assert document["adapters"][0]["listen_only"] == "on"
    assert Plugged.opened[0].options["listen_only"] is True
    page = machine(tmp_path / "book", known, wording=PLAIN_WORDING)
    assert [one["kind"] for one in page["visits"]] == ["recording", "live"]
    assert page["events"] == []


def test_a_machine_told_by_the_person_is_filed_under_it(
    plugged: type[Plugged], tmp_path: Path
) -> None:
    plugged.steps = staticmethod(at_once(traffic()))
    document, views = heard(tmp_path, machine="The grey one", hours=5910.5)
    assert views[-1]["machine_name"] == "The grey one"
    (visit,) = document["visits"]
    assert visit["machine_name"] == "The grey one"
    assert visit["engine_hours_start"] == 5910.5
    assert visit["recognised_by"] == ["given"]
    again, views = heard(tmp_path, machine="the grey ONE")
    assert again["visits"][0]["machine"] == visit["machine"]
    with Book.open(tmp_path) as book, book.writing() as writer:
        writer.add_machine("Twin", name_given=True, now_us=1, kind="machine")
        writer.add_machine("Twin", name_given=True, now_us=1, kind="machine")
    with pytest.raises(Ambiguous):
        heard(tmp_path, machine="Twin")


def test_hours_and_identification_that_the_bus_tells_are_filed(
    plugged: type[Plugged], tmp_path: Path
) -> None:
    bus = traffic()
    bus.say(0.5, HOURS, 0, (118_210).to_bytes(4, "little") + b"\xff" * 4)
    bus.tell(0.6, VIN, 0, b"XCORBIE0000000017*")
    plugged.steps = staticmethod(at_once(bus))
    document, views = heard(tmp_path)
    (visit,) = document["visits"]
    assert visit["engine_hours_start"] == 5910.5
    assert visit["vin"] == "XCORBIE0000000017"
    assert (247, 5910.5, True) in [
        (one["spn"], one["value"], one["fresh"]) for one in views[-1]["readings"]
    ]


def test_nothing_heard_says_what_to_check_and_files_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("shearbolt.app.live_words.SILENT_AFTER_S", 0.2)
    document, views = heard(tmp_path, stop=lambda view: bool(view["adapters"][0]["words"]))
    assert document["visits"] == []
    assert document["first_frame_after_s"] is None
    (words,) = document["adapters"][0]["words"]
    for hint in ("key", "C and D", "H and J", "gateway", "power off", "60 ohm"):
        assert hint in words
    assert views[-1]["machine_name"] is None
    assert yard(tmp_path, wording=PLAIN_WORDING)["machines"] == []


def test_a_wrong_rate_is_told_in_one_sentence(plugged: type[Plugged], tmp_path: Path) -> None:
    plugged.steps = staticmethod(lambda: (frame(error=True) for _ in range(30)))
    document, _ = heard(tmp_path, stop=lambda view: bool(view["adapters"][0]["words"]))
    (words,) = document["adapters"][0]["words"]
    assert "nothing but errors at 250 kbit/s" in words
    assert "--bitrate 500000" in words
    assert document["adapters"][0]["error_frames"] == 30
    assert [one["what"] for one in document["health"]] == ["errors"]


def test_the_adapter_gone_and_back_is_in_the_visit(plugged: type[Plugged], tmp_path: Path) -> None:
    bus = traffic()
    rows = plain_frames(bus.frames)
    runs = [rows[: len(rows) // 2], rows[len(rows) // 2 :]]

    def steps() -> Iterator[Step]:
        run = runs.pop(0) if runs else []
        yield from (message(row) for row in run)
        if runs:
            yield can.exceptions.CanOperationError("unplugged")

    plugged.steps = staticmethod(steps)
    document, _ = heard(tmp_path, stop=lambda view: view["frames"] == len(rows))
    assert [one["what"] for one in document["events"]] == ["opened", "gone", "back"]
    assert "unplugged" in document["events"][1]["words"]
    (visit,) = document["visits"]
    assert visit["frames"] == len(rows)
    assert visit["quality"] == "lossy"
    (gap,) = visit["events"]
    assert "was gone for" in gap["words"]
    assert gap["at"] is not None
    assert visit["start"] is not None
    assert visit["end"] is not None
    assert visit["start"] < gap["at"] < visit["end"]


def test_an_adapter_without_a_listen_only_mode_is_told(
    plugged: type[Plugged], tmp_path: Path
) -> None:
    plugged.steps = staticmethod(at_once(traffic()))
    document, _ = heard(tmp_path, interface="aloud")
    assert document["adapters"][0]["listen_only"] == "not_offered"
    assert "no listen-only mode" in document["adapters"][0]["words"][0]
    assert "acknowledged" in document["visits"][0]["doubts"][0]


def test_an_absent_adapter_is_told_before_anything_is_written(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fails(*_: object, **__: object) -> None:
        raise can.exceptions.CanInitializationError("no such device")

    monkeypatch.setattr(Plugged, "__init__", fails)
    with pytest.raises(AdapterAbsent, match="no such device"):
        heard(tmp_path)
    assert not (tmp_path / "spool").exists()


def test_adapters_are_found_by_themselves_or_asked_for(
    plugged: type[Plugged], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    told: list[dict[str, str]] = []
    monkeypatch.setattr("shearbolt.app.listening.detect", lambda interface: told)
    with pytest.raises(AdapterAbsent, match="No CAN adapter was found"):
        heard(tmp_path, interface=None, channels=())  # type: ignore[arg-type]
    told.append({"interface": "plugged", "channel": "a"})
    plugged.steps = staticmethod(at_once(traffic()))
    document, _ = heard(tmp_path, interface=None, channels=())  # type: ignore[arg-type]
    assert document["adapters"][0]["channel"] == "a"
    told.append({"interface": "aloud", "channel": "b"})
    with pytest.raises(UsageError, match="--interface aloud --channel b"):
        heard(tmp_path, interface=None, channels=())  # type: ignore[arg-type]
    document, _ = heard(tmp_path, interface=None, channels=("b",))  # type: ignore[arg-type]
    assert document["adapters"][0]["interface"] == "aloud"
    with pytest.raises(AdapterAbsent, match="channel c"):
        heard(tmp_path, interface=None, channels=("c",))  # type: ignore[arg-type]


def left_over(book: Path, bus: Bus, *events: Event, cut: bytes = b"") -> Path:
    """Leave a spool as a killed program does."""
    with Book.open(book) as opened:
        spool = Spool(spool_folder(opened), f"2026-{len(list(book.rglob('*.log')))}")
    rows = [
        PlainFrame(one.time_us + START_US, one.ident, one.data) for one in plain_frames(bus.frames)
    ]
    spool.write("".join(candump_lines(frames_from(rows))).encode() + cut)
    for event in events:
        spool.tell(event)
    spool.sync(START_US)
    spool.close()
    return spool.path


def added(book: Path) -> dict[str, Any]:
    return add_recordings(  # type: ignore[return-value]
        book, [], machine=None, start_us=None, hours=None, columns={},
        progress=no_progress, wording=PLAIN_WORDING,
    )  # fmt: skip


def test_what_a_killed_program_left_is_filed_by_the_next_start(
    plugged: type[Plugged], tmp_path: Path
) -> None:
    said = Event(START_US, "started", None, (("machine", "The grey one"), ("hours", "77.5")))
    path = left_over(tmp_path, traffic(), said, cut=b"(1780000004.0) can0 0CF0" + bytes(100))
    document, _ = heard(tmp_path, stop=lambda view: True)
    assert document["visits"] == []
    (visit,) = document["left_over"]
    assert visit["kind"] == "live"
    assert visit["machine_name"] == "The grey one"
    assert visit["engine_hours_start"] == 77.5
    assert visit["not_read"] == []
    assert any("broke off" in one for one in visit["doubts"])
    assert not path.exists()


def test_add_files_left_over_spools_too_and_only_once(tmp_path: Path) -> None:
    path = left_over(tmp_path, traffic())
    kept = path.read_bytes()
    (visit,) = added(tmp_path)["visits"]
    assert visit["kind"] == "live"
    assert not visit["already_in_book"]
    # Killed between the filing and the removal: the same spool is there once more.
    path.write_bytes(kept)
    (again,) = added(tmp_path)["visits"]
    assert again["already_in_book"]
    assert again["visit"] == visit["visit"]
    assert not path.exists()


def test_a_spool_that_is_being_written_is_left_alone(tmp_path: Path) -> None:
    path = left_over(tmp_path, traffic())
    with Book.open(tmp_path):
        lock = spool_lock(path)
    assert lock.take()
    assert added(tmp_path)["visits"] == []
    assert path.exists()
    lock.free()
    assert len(added(tmp_path)["visits"]) == 1
    assert list((tmp_path / "spool").iterdir()) == []


def test_a_spool_without_a_frame_is_kept_and_told(tmp_path: Path) -> None:
    path = left_over(tmp_path, Bus(), cut=b"no frame at all\n")
    document = added(tmp_path)
    assert document["visits"] == []
    assert document["refused"][0]["file"] == str(path)
    assert path.exists()


def test_what_happened_is_told_in_the_visit(tmp_path: Path) -> None:
    at_us = START_US + SECOND_US
    left_over(
        tmp_path,
        traffic(),
        Event(at_us, "opened", "can0", (("listen_only", "off"),)),
        Event(at_us + 1, "clock_jump", None, (("by_us", -3600 * SECOND_US),)),
        Event(at_us + 2, "overrun", "can0", (("count", 3), ("where", "driver"))),
        Event(at_us + 3, "overrun", "can0", (("count", 4), ("where", "driver"))),
        Event(at_us + 4, "overrun", "can0", (("count", 5), ("where", "here"))),
        Event(at_us + 5, "gone", "can0", (("reason", "x"),)),
        Event(at_us + 6, "reader_died", "can0"),
        Event(at_us + 7, "stopped", None, (("reason", "asked"),)),
    )
    (visit,) = added(tmp_path)["visits"]
    assert [one["words"] for one in visit["events"]] == [
        "The computer's clock was set back by 1 hour; the times here go on from the clock at the "
        "start.",
        "The driver of the adapter on can0 lost frames, 7 times or more.",
        "5 frames of can0 were lost because this computer could not keep up.",
        "The adapter on can0 was gone from here on.",
        "Reading can0 broke off and was begun again.",
    ]
    assert visit["quality"] == "lossy"
    assert not any("broke off" in one for one in visit["doubts"])
    assert any("acknowledged" in one for one in visit["doubts"])


def test_a_book_that_cannot_take_the_visit_keeps_the_spool(
    plugged: type[Plugged], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from shearbolt.errors import BookError

    def full(*_: object, **__: object) -> None:
        raise BookError("book: the disk is full; nothing was changed.")

    plugged.steps = staticmethod(at_once(traffic()))
    with monkeypatch.context() as patched:
        patched.setattr("shearbolt.app.spooled.file_recording", full)
        with pytest.raises(AssertionError, match="spool"):
            heard(tmp_path)  # its own last look finds the spool
    (path,) = (tmp_path / "spool").glob("*.log")
    (visit,) = added(tmp_path)["visits"]
    assert visit["frames"] == len(traffic().frames)
    assert not path.exists()


def test_a_nearly_full_disk_ends_it_and_files_what_was_heard(
    plugged: type[Plugged], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("shearbolt.app.listening.SPARE_BYTES", 1 << 60)
    plugged.steps = staticmethod(at_once(traffic()))
    document, _ = heard(tmp_path, stop=lambda view: False)
    assert document["stopped_by"] == "disk"
    assert "nearly full" in document["words"][0]
    (visit,) = document["visits"]
    assert visit["frames"] == len(traffic().frames)
    assert any("disk was full" in one for one in visit["doubts"])


def test_a_time_given_ends_it(plugged: type[Plugged], tmp_path: Path) -> None:
    plugged.steps = staticmethod(at_once(traffic()))
    document, _ = heard(tmp_path, stop=lambda view: False, most_s=0.6)
    assert document["stopped_by"] == "time"
    assert len(document["visits"]) == 1


def test_the_virtual_bus_of_the_library_is_heard_like_any_other(tmp_path: Path) -> None:
    rows = plain_frames(traffic().frames)
    done = threading.Event()
    told: list[ListenDocument] = []

    def hear() -> None:
        told.append(
            listen(
                tmp_path, ListenAsked("virtual", ("in this process",)), show=show_nothing,
                stop=done.is_set, progress=no_progress, wording=PLAIN_WORDING,
            )
        )  # fmt: skip

    from can.interfaces.virtual import channels

    thread = threading.Thread(target=hear)
    thread.start()
    until(lambda: "in this process" in channels)
    with can.Bus("in this process", interface="virtual") as bus:
        for row in rows:
            bus.send(message(row))
    done.set()
    thread.join()
    (visit,) = told[0]["visits"]
    assert visit["frames"] == len(rows)
    assert told[0]["adapters"][0]["listen_only"] == "not_needed"
    assert visit["channels"] == ["in_this_process"]
