"""Reading ahead: the same items, errors in their turn, no thread left behind."""

from __future__ import annotations

import gc
import threading
from collections.abc import Generator, Iterator
from pathlib import Path

import pytest

from shearbolt.errors import RecordingError
from shearbolt.model.reading import TimeBase
from shearbolt.recordings import candump
from shearbolt.recordings.ahead import AHEAD, ahead
from shearbolt.recordings.candump import CandumpRecording
from shearbolt.recordings.recording import Progress
from shearbolt.recordings.source import FileSource


@pytest.fixture(autouse=True)
def no_thread_is_left() -> Iterator[None]:
    before = set(threading.enumerate())
    yield
    assert set(threading.enumerate()) == before


class Made:
    """Items made on demand, and what became of it."""

    def __init__(self, count: int, trouble_at: int | None = None) -> None:
        self.count, self.trouble_at = count, trouble_at
        self.made = 0
        self.closed = False
        self.threads: set[int] = set()
        self.more = threading.Condition()

    def __call__(self, note: Progress) -> Generator[int, None, None]:
        try:
            for i in range(self.count):
                if i == self.trouble_at:
                    raise RecordingError("it", "broke.")
                with self.more:
                    self.made += 1
                    self.threads.add(threading.get_ident())
                    self.more.notify_all()
                note(i + 1)
                yield i
        finally:
            self.closed = True


@pytest.mark.parametrize("count", [0, 1, 2, 3, 50])
def test_gives_all_in_order(count: int) -> None:
    made = Made(count)
    assert list(ahead(made)) == list(range(count))
    assert made.closed
    assert count < 2 or len(made.threads) == 2


@pytest.mark.parametrize("at", [0, 1, 2, 7])
def test_trouble_comes_after_what_was_before_it(at: int) -> None:
    made = Made(9, trouble_at=at)
    items = ahead(made)
    assert [next(items) for _ in range(at)] == list(range(at))
    with pytest.raises(RecordingError, match=r"broke"):
        next(items)
    assert made.closed


def test_no_more_is_prepared_than_may_wait() -> None:
    made = Made(100)
    items = ahead(made)
    next(items)
    with made.more:
        # One handed on, AHEAD waiting, one held by the thread that cannot put it.
        assert made.more.wait_for(lambda: made.made == AHEAD + 2, timeout=10)
        assert not made.more.wait_for(lambda: made.made > AHEAD + 2, timeout=0.05)
    items.close()
    assert made.closed
    assert made.made <= AHEAD + 4


def test_ends_with_the_generator_also_when_it_is_forgotten() -> None:
    made = Made(100)
    items = ahead(made)
    next(items)
    next(items)
    del items
    gc.collect()
    assert made.closed


def test_nothing_begins_before_the_first_item_is_asked_for() -> None:
    made = Made(3)
    items = ahead(made)
    assert made.made == 0
    items.close()


def test_progress_is_told_by_the_caller_as_it_goes() -> None:
    told: list[tuple[int, int]] = []
    for _ in ahead(Made(5), lambda done: told.append((done, threading.get_ident()))):
        pass
    assert [done for done, _ in told] == [1, 2, 3, 4, 5]
    assert {who for _, who in told} == {threading.get_ident()}


def test_what_the_progress_raises_ends_it() -> None:
    def stop(_done: int) -> None:
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        list(ahead(Made(5), stop))


def recording(tmp_path: Path, lines: int) -> CandumpRecording:
    path = tmp_path / "long.log"
    path.write_bytes(b"".join(b"(%d.000000) can0 18FEF100#00\n" % i for i in range(lines)))
    return CandumpRecording(FileSource(path))


def test_candump_in_blocks(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(candump, "BLOCK_FRAMES", 1000)
    monkeypatch.setattr(candump, "CHUNK_BYTES", 5000)
    one = recording(tmp_path, 10_500)
    assert one.time_base is TimeBase.RELATIVE
    done: list[int] = []
    times = [t for block in one.blocks(done.append) for t in block.time_us.tolist()]
    assert times == [i * 1_000_000 for i in range(10_500)]
    assert len(done) == 11
    assert done == sorted(done)
    assert done[-1] == (tmp_path / "long.log").stat().st_size


def test_candump_left_in_the_middle(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(candump, "BLOCK_FRAMES", 1000)
    one = recording(tmp_path, 20_000)
    blocks = one.blocks()
    assert len(next(iter(blocks))) == 1000
    assert isinstance(blocks, Generator)
    blocks.close()
    assert sum(map(len, one.blocks())) == 20_000
