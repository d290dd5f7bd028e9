from __future__ import annotations

import threading
from pathlib import Path

import pytest
from tests.book_samples import new_visit, some_frames

from shearbolt.book import Book, check
from shearbolt.book.lock import FileLock
from shearbolt.errors import BookBusy, BookError


def test_second_writer_waits_and_then_says_that_the_book_is_busy(tmp_path: Path) -> None:
    one = Book.open(tmp_path)
    other = Book.open(tmp_path, wait_s=0.05)
    with one.writing() as w:
        w.add_machine("Tractor", name_given=True, now_us=1)
        with pytest.raises(BookBusy, match="somebody else is writing"), other.writing():
            pass
        assert other.machines() == []  # readers need not wait, and see only what is committed
    with other.writing() as w:
        assert [m.name for m in w.machines()] == ["Tractor"]
    assert len(other.machines()) == 1


def test_threads_of_one_book_write_one_after_another(tmp_path: Path) -> None:
    book = Book.open(tmp_path)

    def work(name: str) -> None:
        for _ in range(5):
            with book.writing() as w:
                w.add_machine(f"{name} {len(w.machines())}", name_given=True, now_us=1)

    threads = [threading.Thread(target=work, args=(name,)) for name in "abcd"]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    numbers = sorted(int(one.name.split()[1]) for one in book.machines())
    assert numbers == list(range(20))


def test_a_thread_cannot_write_inside_its_own_writing(tmp_path: Path) -> None:
    book = Book.open(tmp_path)
    with book.writing(), pytest.raises(RuntimeError, match="writing to the book already"):
        book.writing().__enter__()


def test_busy_thread_of_the_same_book_is_told_too(tmp_path: Path) -> None:
    book = Book.open(tmp_path, wait_s=0.05)
    told: list[str] = []

    def late() -> None:
        try:
            with book.writing():
                told.append("wrote")
        except BookBusy as busy:
            told.append(busy.sentence)

    with book.writing():
        thread = threading.Thread(target=late)
        thread.start()
        thread.join()
    assert told
    assert "somebody else" in told[0]


def test_snapshot_does_not_see_what_is_written_meanwhile(tmp_path: Path) -> None:
    book = Book.open(tmp_path)
    with book.snapshot() as still:
        assert still.machines() == []
        with book.writing() as w:
            w.add_machine("Tractor", name_given=True, now_us=1)
        assert still.machines() == []
    assert len(book.machines()) == 1


def test_lock_is_free_again_and_a_deleted_one_is_never_held(tmp_path: Path) -> None:
    path = tmp_path / "lock"
    one, other = FileLock(path), FileLock(path)
    assert one.take()
    assert not other.take()
    one.free()
    assert other.take()
    other.remove()
    assert not path.exists()
    assert one.take(0.1)
    assert path.exists()
    one.remove()


def bring_in(book: Book, raw: Path) -> None:
    with book.stage() as stage:
        stage.evidence(raw)
        stage.frames(some_frames())
        with book.writing() as w:
            w.file(stage, new_visit(w.add_machine("M", name_given=True, now_us=1).id))


@pytest.mark.parametrize(
    ("step", "visits"),
    [("rows written", 0), ("moved", 0), ("before commit", 0), ("after commit", 1)],
)
def test_interruption_at_any_step_leaves_no_file_without_its_row(
    tmp_path: Path, step: str, visits: int
) -> None:
    raw = tmp_path / "a.log"
    raw.write_bytes(b"recording")
    armed = [True]

    def interrupt(reached: str) -> None:
        if armed[0] and reached == step:
            armed[0] = False
            raise KeyboardInterrupt

    book = Book.open(tmp_path / "book", checkpoint=interrupt)
    with pytest.raises(KeyboardInterrupt):
        bring_in(book, raw)
    assert len(book.visits()) == visits
    assert check(book) == []
    if not visits:
        bring_in(book, raw)
        assert check(book) == []
    assert not list((tmp_path / "book" / "staging").iterdir())


def test_stage_of_a_living_program_is_not_swept(tmp_path: Path) -> None:
    book = Book.open(tmp_path / "book")
    raw = tmp_path / "a.log"
    raw.write_bytes(b"recording")
    with book.stage() as stage:
        stage.evidence(raw).wait()
        stage.frames(some_frames())
        Book.open(tmp_path / "book").close()  # sweeps what the dead left behind
        with book.writing() as w:
            w.file(stage, new_visit(w.add_machine("M", name_given=True, now_us=1).id))
    assert check(book) == []
    assert len(book.visits()) == 1


def test_leftovers_of_the_dead_are_swept_when_the_book_is_opened(tmp_path: Path) -> None:
    Book.open(tmp_path).close()
    (tmp_path / "staging" / "0badc0de").mkdir(parents=True)
    (tmp_path / "staging" / "0badc0de" / "evidence.zst").write_bytes(b"half")
    (tmp_path / "staging" / "0badc0de" / "intent.json").write_text('["signals/v0000000", "evid')
    (tmp_path / "staging" / "1.lock").write_bytes(b"")
    Book.open(tmp_path).close()
    assert not list((tmp_path / "staging").iterdir())


def test_giving_up_ends_the_copying(tmp_path: Path) -> None:
    raw = tmp_path / "a.log"
    raw.write_bytes(bytes(8 << 20))
    book = Book.open(tmp_path / "book")
    stage = book.stage()
    begun, go_on = threading.Event(), threading.Event()

    def progress(_done: int) -> None:
        begun.set()
        go_on.wait(10)

    job = stage.evidence(raw, progress)
    begun.wait(10)
    closing = threading.Thread(target=stage.close)
    closing.start()
    assert job.stopping.wait(10)
    go_on.set()
    closing.join()
    with pytest.raises(BookError, match="given up"):
        job.wait()
    assert not list((tmp_path / "book" / "staging").iterdir())
