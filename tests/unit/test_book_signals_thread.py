"""Signals written in a thread: the same files, trouble told, no thread left behind."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from pathlib import Path

import pytest
from tests.book_samples import some_frames, some_messages

from shearbolt.book import signals
from shearbolt.book.signals_thread import WAITING, SignalsThread
from shearbolt.errors import BookError
from shearbolt.model.frames import plain_frames


@pytest.fixture(autouse=True)
def no_thread_is_left() -> Iterator[None]:
    yield
    assert "signals" not in {one.name for one in threading.enumerate()}


def test_writes_what_the_writer_writes(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(signals, "PART_FRAMES", 40)
    (tmp_path / "a").mkdir()
    (tmp_path / "b").mkdir()
    thread, writer = SignalsThread(tmp_path / "a"), signals.SignalsWriter(tmp_path / "b")
    for one in (thread, writer):
        for first in range(0, 250, 25):
            one.frames(some_frames(25, first=first))
        one.messages(some_messages())
        one.finish()
    assert thread.parts == writer.parts
    assert thread.rows == writer.rows == 250
    blocks = signals.read_blocks(tmp_path / "a", ("can0", "can1"))
    assert sum(len(plain_frames(block)) for block in blocks) == 250


def test_trouble_is_told_and_nobody_waits_for_ever(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(path: Path) -> None:
        raise BookError(f"{path}: broken.")

    monkeypatch.setattr(signals, "sync_file", broken)
    monkeypatch.setattr(signals, "PART_FRAMES", 1)
    thread = SignalsThread(tmp_path)

    def many() -> None:
        for _ in range(100 * WAITING):
            thread.frames(some_frames(25))
        thread.finish()

    with pytest.raises(BookError, match="broken"):
        many()
    with pytest.raises(BookError, match="broken"):
        thread.finish()
    thread.close()
    assert thread.parts == ()


def test_close_ends_it_at_once(tmp_path: Path) -> None:
    thread = SignalsThread(tmp_path)
    thread.frames(some_frames(25))
    thread.close()
    thread.close()
    assert thread.parts == ()
