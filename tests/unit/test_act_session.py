"""Asking end to end on an in-process bus: look, ask, record, file, by clocks that run fast."""

from __future__ import annotations

import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import can
import pytest
from jsonschema import Draft202012Validator
from tests.asked_machine import Machine, Unit, ext, tractor

from shearbolt.act import askable_groups
from shearbolt.app.asking_bus import ask
from shearbolt.app.documents import no_progress
from shearbolt.app.documents.asked import AskAsked, AskDocument, AskedFrame
from shearbolt.app.schemas import schema_of
from shearbolt.app.use_cases.opening import tables_of
from shearbolt.book import Book
from shearbolt.errors import UsageError
from shearbolt.live import Clocks
from shearbolt.model.frames import EXTENDED, SENT, PlainFrame, plain_frames

START_US = 1_780_000_000_000_000


def fast_clocks(fast: int) -> Clocks:
    """Clocks that run faster than they should, by this factor."""
    zero_ns = time.monotonic_ns()

    def steady_us() -> int:
        return (time.monotonic_ns() - zero_ns) * fast // 1000

    return Clocks(lambda: START_US + steady_us(), steady_us)


@contextmanager
def plugged_in(machine: Machine, channel: str, clocks: Clocks) -> Iterator[None]:
    """Put a machine on the bus, in a thread of its own."""
    bus = can.Bus(interface="virtual", channel=channel)
    over = threading.Event()

    def live() -> None:
        while not over.is_set():
            for one in machine.step(clocks.steady_us()):
                bus.send(
                    can.Message(
                        arbitration_id=one.ident,
                        is_extended_id=bool(one.flags & EXTENDED),
                        data=one.data,
                    )
                )
            message = bus.recv(0.002)
            if message is not None:
                flags = EXTENDED if message.is_extended_id else 0
                machine.take(
                    clocks.steady_us(),
                    PlainFrame(0, message.arbitration_id, bytes(message.data), flags),
                )

    thread = threading.Thread(target=live)
    thread.start()
    try:
        yield
    finally:
        over.set()
        thread.join()
        bus.shutdown()


def asked(
    book: Book, there: Machine, channel: str, fast: int = 20, **more: Any
) -> tuple[AskDocument, list[str]]:
    clocks, shown = fast_clocks(fast), list[str]()

    def show(frame: AskedFrame | None, words: str) -> None:
        shown.append(words if frame is None else f"{frame['id']} {frame['data']} {words}")

    with plugged_in(there, channel, clocks):
        document = ask(
            book,
            tables_of(book),
            AskAsked("virtual", channel, **more),
            show=show,
            stop=lambda: False,
            progress=no_progress,
            clocks=clocks,
            identity=99,
        )
    problems = Draft202012Validator(schema_of("ask", closed=True)).iter_errors(document)
    assert [one.message for one in problems] == []
    return document, shown


@pytest.fixture
def book(tmp_path: Path) -> Iterator[Book]:
    with Book.open(tmp_path / "book") as one:
        yield one


def engine_alone() -> Machine:
    machine = tractor()
    machine.units = machine.units[:1]
    machine.units[0].answers.pop(65260)
    machine.units[0].answers[65229] = b""
    machine.units[0].answers = {
        65260: b"AB1CD23E4FG567890*",
        65227: bytes.fromhex("04ff64001203ffff"),
    }
    # It answers by address alone, so its number comes by transport with our clear to send.
    machine.units[0].deaf_to_all = True
    return machine


def test_a_machine_is_asked_and_the_whole_talk_is_a_visit(
    book: Book, monkeypatch: pytest.MonkeyPatch
) -> None:
    # A part of the list, for the time it takes.
    some = tuple(one for one in askable_groups() if one.pgn in (65260, 65227, 65236, 65230))
    monkeypatch.setattr("shearbolt.act.asking.askable_groups", lambda: some)
    machine = engine_alone()
    document, shown = asked(book, machine, "session-1", fast=8, stands=True)
    assert document["ended"] == "done", document["words"]
    assert document["stand"]["standing_by"] == "readings"
    assert document["stand"]["engine"] == "stopped"
    told = {
        (one["pgn"], answer["result"]) for one in document["requests"] for answer in one["answers"]
    }
    assert {(65260, "answered"), (65227, "answered")} <= told
    # What is told to have been sent is what arrived, and each frame was shown.
    arrived = [f"{one.ident:08X} {one.data.hex(' ').upper()}" for _, one in machine.got]
    assert [f"{one['id']} {one['data']}" for one in document["sent"]] == arrived
    assert [line for line in shown if line.startswith("1")] == [
        f"{one['id']} {one['data']} {one['words']}" for one in document["sent"]
    ]
    (visit,) = document["visits"]
    assert visit["kind"] == "live"
    assert visit["vin"] == "AB1CD23E4FG567890"
    assert any("Questions were asked" in doubt for doubt in visit["doubts"])
    recorded = [one for one in plain_frames(book.frames(visit["visit"])) if one.flags & SENT]
    assert [f"{one.ident:08X} {one.data.hex(' ').upper()}" for one in recorded] == arrived
    assert not list((book.folder / "spool").iterdir())
    faults = book.faults(visit["machine"])
    assert [(one.spn, one.fmi) for one in faults] == [(100, 18)]


def test_without_the_word_it_is_looked_at_and_the_plan_told(book: Book) -> None:
    machine = engine_alone()
    document, _ = asked(book, machine, "session-2", machine="The old one")
    assert document["ended"] == "not_confirmed"
    assert machine.got == []
    assert document["sent"] == []
    assert document["would_send"][0]["id"] == "18EEFFF9"
    assert len(document["would_send"]) == 21
    assert "--yes-machine-stands" in " ".join(document["words"])
    assert document["visits"][0]["machine_name"] == "The old one"
    assert not any("Questions were asked" in doubt for doubt in document["visits"][0]["doubts"])


def test_a_moving_machine_is_told_with_its_speed(book: Book) -> None:
    machine = engine_alone()
    machine.speed_kmh = 7.5
    document, _ = asked(book, machine, "session-3", stands=True)
    assert document["ended"] == "moving"
    assert machine.got == []
    assert "7.5 km/h" in document["words"][0]
    assert document["stand"]["standing"] is False


def test_a_silent_plug_is_told_with_what_it_may_be(book: Book) -> None:
    machine = Machine(Unit(0))
    machine.talks = False
    document, _ = asked(book, machine, "session-4", stands=True)
    assert document["ended"] == "nothing_heard"
    said = " ".join(document["words"])
    for reason in ("key", "gateway", "pair of pins", "bit rate"):
        assert reason in said
    assert document["visits"] == []
    assert book.visits() == []


def test_another_tester_is_named(book: Book) -> None:
    machine = engine_alone()
    machine.say(2_000_000, ext(0x18EA00FA, bytes.fromhex("ebfe00")))
    document, _ = asked(book, machine, "session-5", stands=True)
    assert document["ended"] == "other_tester"
    assert document["tester"] is not None
    assert "address 250" in document["tester"]
    assert machine.got == []


def test_stopping_by_hand_ends_it_at_once(book: Book) -> None:
    clocks = fast_clocks(20)
    document = ask(
        book,
        tables_of(book),
        AskAsked("virtual", "session-6", stands=True),
        show=lambda frame, words: None,
        stop=lambda: True,
        progress=no_progress,
        clocks=clocks,
    )
    assert document["ended"] == "stopped"


def test_an_adapter_whose_rate_cannot_be_found_needs_it_said(
    book: Book, monkeypatch: pytest.MonkeyPatch
) -> None:
    from shearbolt.live.adapters import Manners

    monkeypatch.setattr(
        "shearbolt.live.adapters.manners_of", lambda _: Manners(takes_bitrate=True, quiet=())
    )
    monkeypatch.setattr("shearbolt.live.adapters.NO_REAL_BUS", frozenset())
    with pytest.raises(UsageError, match="--bitrate"):
        ask(
            book,
            tables_of(book),
            AskAsked("virtual", "session-7"),
            show=lambda frame, words: None,
            stop=lambda: False,
            progress=no_progress,
        )
