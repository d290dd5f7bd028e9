"""Bringing many recordings in: the same whatever the number of processes, safe at any moment."""

from __future__ import annotations

import os
import pickle
import select
import signal
import subprocess
import sys
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path
from typing import Any

import pytest
from tests.asked_machine import ext
from tests.command_line import call, environment

from shearbolt.app import bringing, reading_apart
from shearbolt.app.bringing import bring
from shearbolt.app.carried import mark_carried
from shearbolt.app.documents import no_progress
from shearbolt.app.filing import Asked, expand
from shearbolt.book import Book
from shearbolt.errors import BookError, ColumnsNeeded
from shearbolt.model.frames import PlainFrame, frames_from
from shearbolt.recordings.writing import write_candump

DAY = 86_400_000_000
START = 1_780_000_000_000_000
ENGINE = bytes.fromhex("0100a04c00000020")


def recording(
    path: Path, start_us: int, *, machine: int = 1, faults: bytes = b"", seconds: int = 20
) -> Path:
    """Write a log of a machine that sends its claim, engine speed and DM1; plain candump."""
    name = bytes((machine,)) + ENGINE[1:]
    dm1 = b"\x04\xff" + faults if faults else b"\x00\xff\x00\x00\x00\x00"
    rows = [(0, ext(0x18EEFF00, name))]
    for i in range(seconds * 10):
        rows.append((i * 100_000 + 10, ext(0x0CF00400, b"\xff\xff\xff\x00\x19\xff\xff\xff")))
        rows.append((i * 100_000 + 20, ext(0x18FEF117, b"\xff\x00\x00" + b"\xff" * 5)))
        if i % 10 == 0:
            rows += [(i * 100_000 + 30 + n, one) for n, one in enumerate(report(dm1))]
    write_candump(
        path,
        frames_from(
            [PlainFrame(start_us + at, one.ident, one.data, one.flags) for at, one in rows]
        ),
    )
    return path


def report(dm1: bytes) -> list[PlainFrame]:
    """Send DM1: in one frame, or announced and in two packets (SAE J1939-21)."""
    if len(dm1) <= 8:
        return [ext(0x18FECA00, dm1.ljust(8, b"\xff"))]
    rest = dm1.ljust(14, b"\xff")
    return [
        ext(0x1CECFF00, bytes((32, len(dm1), 0, 2, 255, 0xCA, 0xFE, 0))),
        ext(0x1CEBFF00, b"\x01" + rest[:7]),
        ext(0x1CEBFF00, b"\x02" + rest[7:]),
    ]


def fault(spn: int, fmi: int, count: int) -> bytes:
    return bytes((spn & 0xFF, spn >> 8 & 0xFF, spn >> 16 << 5 | fmi, count))


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Recordings of two machines in no order, one twice, and some that cannot be taken."""
    folder = tmp_path / "carried"
    (folder / "deeper").mkdir(parents=True)
    recording(folder / "c.log", START, faults=fault(100, 18, 1))
    recording(folder / "a.log", START + 2 * DAY, faults=fault(100, 18, 3) + fault(110, 0, 1))
    recording(folder / "deeper" / "b.log", START + DAY)
    recording(folder / "z.log", START + DAY // 2, machine=7)
    (folder / "twice.log").write_bytes((folder / "c.log").read_bytes())
    (folder / "letter.pdf").write_bytes(b"%PDF-1.7 a bill")
    (folder / "empty.log").write_bytes(b"")
    return folder


def contents(book: Book) -> list[Any]:
    """All that the book holds of its visits and faults, identifiers left out."""
    told: list[Any] = []
    for machine in book.machines():
        for visit in book.visits(machine.id):
            told.append(
                (
                    machine.name, visit.file, visit.sha256, visit.kind, visit.quality,
                    visit.recognised_by, visit.doubts, book.visit_content(visit.id),
                    len(book.frames(visit.id)),
                )
            )  # fmt: skip
        told += [(one.kind, one.spn, one.fmi, one.code) for one in book.faults(machine.id)]
    return told


class Noting:
    """Progress that is noted."""

    def __init__(self, seen: list[tuple[int, int]]) -> None:
        self.seen = seen

    def __call__(self, done_bytes: int, total_bytes: int, words: str) -> None:
        self.seen.append((done_bytes, total_bytes))


class Stopped(KeyboardInterrupt):
    """A person's Ctrl-C."""


def stop_at_b(done_bytes: int, total_bytes: int, words: str) -> None:
    """Stop when the third recording was read and is about to be filed."""
    if words.startswith("Keeping b.log"):
        raise Stopped


def test_several_processes_leave_the_same_book_as_one_even_when_stopped_between(
    folder: Path, tmp_path: Path
) -> None:
    with Book.open(tmp_path / "one") as book:
        alone = bring(book, [str(folder)], Asked(), no_progress, processes=1)
        expected = contents(book)
    seen: list[tuple[int, int]] = []
    with Book.open(tmp_path / "several") as book:
        with pytest.raises(Stopped):
            bring(book, [str(folder)], Asked(), stop_at_b, processes=2)
        assert [Path(str(one.file)).name for one in book.visits()] == ["c.log", "z.log"]
        assert not list((book.folder / "staging").iterdir())
        together = bring(book, [str(folder)], Asked(), Noting(seen), processes=2)
        assert contents(book) == expected
        assert not list((book.folder / "staging").iterdir())
    assert [one.visit.sha256 for one in together.filed] == [one.visit.sha256 for one in alone.filed]
    # The file of the same bytes is known by then, under the name it was first filed by.
    names = [(Path(str(one.visit.file)).name, one.already) for one in together.filed]
    assert names == [
        ("c.log", True), ("c.log", True), ("z.log", True), ("b.log", False), ("a.log", False),
    ]  # fmt: skip
    assert together.refused == alone.refused
    assert sorted(Path(name).name for name, _ in alone.refused) == ["empty.log", "letter.pdf"]
    assert sorted(together.taken) == sorted(alone.taken)
    assert seen
    assert all(done <= total for done, total in seen)


def test_a_pool_is_started_only_for_work_that_is_worth_it(tmp_path: Path) -> None:
    def worth(*sizes: tuple[str, int]) -> int:
        paths = []
        for name, size in sizes:
            path = tmp_path / name
            with path.open("wb") as out:
                out.truncate(size)
            paths.append(path)
        with Book.open(tmp_path / "book") as book:
            return bringing._worth(book, paths)

    assert worth(("a.log", 1 << 30)) == 1
    assert worth(("a.log", 1 << 20), ("b.log", 1 << 20)) == 1
    many = min(os.cpu_count() or 1, 2)
    assert worth(("a.log", 1 << 27), ("b.log", 1 << 27)) == many
    assert worth(("a.asc", 1 << 24), ("b.csv", 1 << 24)) == many
    assert worth(("a.log.zst", 1 << 25), ("b.log.gz", 1 << 25)) == many


def test_a_process_that_dies_loses_nothing(
    folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def pool(*_: Any, **more: Any) -> Any:
        more["initializer"], more["initargs"] = os._exit, (9,)
        return real(*_, **more)

    real = ProcessPoolExecutor
    monkeypatch.setattr(bringing, "ProcessPoolExecutor", pool)
    with Book.open(tmp_path / "book") as book:
        brought = bring(book, [str(folder)], Asked(), no_progress, processes=2)
        assert len(brought.filed) == 5
        assert len(book.visits()) == 4
        assert len(brought.refused) == 2


def test_what_a_reader_raises_survives_the_way_back(tmp_path: Path) -> None:
    path = tmp_path / "one.csv"
    path.write_text("alpha,beta,gamma,ID\n1,2,3,18FEF100\n4,5,6,18FEF200\n7,8,9,18FEF300\n")
    with pytest.raises(ColumnsNeeded) as caught:
        reading_apart.look_here(path, Asked())
    back = pickle.loads(pickle.dumps(caught.value))
    assert (type(back), back.sentence) == (ColumnsNeeded, caught.value.sentence)
    full = pickle.loads(pickle.dumps(BookError("The disk is full.")))
    assert full.sentence == "The disk is full."


BRING = """
import sys
from pathlib import Path
from shearbolt.app.bringing import bring
from shearbolt.app.documents import no_progress
from shearbolt.app.filing import Asked
from shearbolt.book import Book

if __name__ == "__main__":
    with Book.open(Path(sys.argv[1])) as book:
        bring(book, [sys.argv[2]], Asked(), no_progress, processes=2)
"""


@pytest.mark.skipif(sys.platform == "win32", reason="no such signals there")
def test_ctrl_c_to_all_its_processes_leaves_whole_visits(tmp_path: Path) -> None:
    folder = tmp_path / "many"
    folder.mkdir()
    for i in range(24):
        recording(folder / f"{i:02}.log", START + i * DAY, seconds=60)
    book, script = tmp_path / "book", tmp_path / "bring.py"
    script.write_text(BRING)
    started = subprocess.Popen(
        [sys.executable, str(script), str(book), str(folder)],
        stderr=subprocess.PIPE,
        env=environment(),
        start_new_session=True,
    )
    # Until the first visit is filed and the second about to be; then as a keyboard does it, to
    # every process of the group.
    while started.poll() is None and len(list(book.glob("signals/*"))) < 2:
        select.select([], [], [], 0.01)
    os.killpg(started.pid, signal.SIGINT)
    _, err = started.communicate(timeout=60)
    # One process was interrupted, and told so once; none of its readers.
    assert err.count(b"Traceback") <= 1, err.decode()
    with Book.open(book) as opened:
        assert 1 <= len(opened.visits()) < 24
        assert not list((book / "staging").glob("*"))
        for visit in opened.visits():
            assert len(opened.frames(visit.id)) == visit.frames


# -- what is new -------------------------------------------------------------------------------


@pytest.fixture
def book(tmp_path: Path) -> Path:
    return tmp_path / "book"


def news(book: Path, *files: Path) -> dict[str, Any]:
    told: dict[str, Any] = call(book, "add", *files, "--json").done()["new_since"]
    return told


def codes(some: list[dict[str, Any]]) -> list[tuple[int, int]]:
    return [(one["spn"], one["fmi"]) for one in some]


def test_everything_is_new_in_an_empty_book(book: Path, tmp_path: Path) -> None:
    told = news(book, recording(tmp_path / "a.log", START, faults=fault(100, 18, 1)))
    assert told["since"] is None
    assert len(told["machines"]) == 1
    assert codes(told["faults"]) == [(100, 18)]
    assert told["faults"][0]["count_now"] == 1


def test_what_is_new_is_told_against_what_was_known(book: Path, tmp_path: Path) -> None:
    news(book, recording(tmp_path / "a.log", START, faults=fault(100, 18, 1) + fault(94, 4, 1)))
    later = [
        recording(tmp_path / "b.log", START + DAY, faults=fault(94, 4, 5)),
        recording(tmp_path / "c.log", START + 2 * DAY, faults=fault(100, 18, 2) + fault(110, 0, 1)),
        recording(tmp_path / "d.log", START + DAY, machine=7),
    ]
    told = news(book, *later)
    assert told["since"] is not None
    assert len(told["machines"]) == 1
    assert codes(told["faults"]) == [(110, 0)]
    # It was not listed on the second day, and was again on the third.
    assert codes(told["came_back"]) == [(100, 18)]
    assert sorted(codes(told["counts_rose"])) == [(94, 4), (100, 18)]
    rose = {one["spn"]: (one["count_before"], one["count_now"]) for one in told["counts_rose"]}
    assert rose == {94: (1, 5), 100: (1, 2)}


def test_an_old_recording_brought_in_late_makes_nothing_come_back(
    book: Path, tmp_path: Path
) -> None:
    news(book, recording(tmp_path / "b.log", START + DAY, faults=fault(100, 18, 4)))
    told = news(book, recording(tmp_path / "a.log", START, faults=fault(100, 18, 2)))
    assert told["came_back"] == told["counts_rose"] == told["faults"] == []


def test_the_same_again_is_no_news(book: Path, tmp_path: Path) -> None:
    path = recording(tmp_path / "a.log", START, faults=fault(100, 18, 1))
    news(book, path)
    told = news(book, path)
    assert not any(told[key] for key in ("machines", "faults", "came_back", "counts_rose"))


def test_the_news_are_told_in_words(book: Path, tmp_path: Path) -> None:
    news(book, recording(tmp_path / "a.log", START))
    recording(tmp_path / "b.log", START + DAY, faults=fault(100, 18, 1))
    told = call(book, "add", tmp_path / "b.log")
    assert "New since" in told.out
    assert "SPN 100 FMI 18" in told.out
    again = call(book, "add", tmp_path / "b.log")
    assert "No machine and no fault that was not known." in again.out


# -- folders of an unattended listener ---------------------------------------------------------


def test_notes_beside_recordings_are_no_recordings(tmp_path: Path) -> None:
    for name in ("x.log.zst", "x.events", "y.events", ".hidden.log"):
        (tmp_path / name).write_bytes(b"")
    (tmp_path / ".watch").mkdir()
    (tmp_path / ".watch" / "carried").write_bytes(b"")
    assert [one.name for one in expand([str(tmp_path)])] == ["x.log.zst", "y.events"]


def test_a_folder_that_cannot_be_written_to_is_left_alone(tmp_path: Path) -> None:
    (tmp_path / ".watch").mkdir()
    (tmp_path / ".watch" / "carried").mkdir()
    mark_carried([tmp_path / "x.log.zst", tmp_path / "y.log"])
    assert (tmp_path / ".watch" / "carried").is_dir()
