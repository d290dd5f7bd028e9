"""The book under real processes: killed at any moment, two at once, moved, and looked after."""

from __future__ import annotations

import json
import random
import shutil
import signal
import subprocess
import time
from pathlib import Path

import pytest
from tests.command_line import COMMAND, call, environment, faults_of
from tests.golden.small import Fault, Small

SLIPPING = Fault(3, 191, 2, 3, 6)
KILLS = 6


def start(book: Path, *arguments: object) -> subprocess.Popen[str]:
    """Start a command without waiting for it."""
    return subprocess.Popen(
        [*COMMAND, "--book", str(book), "--json", *(str(one) for one in arguments)],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        encoding="utf-8",
        env=environment(),
    )


@pytest.fixture
def long_log(tmp_path: Path) -> Path:
    """Write a recording that takes a while: the more moments to be killed in."""
    return Small("2026-05-20T06:00:00Z", seconds=400, faults=(Fault(0, 110, 16, 5, 80),)).write(
        tmp_path / "long.log"
    )


def test_killed_at_any_moment(tmp_path: Path, long_log: Path) -> None:
    """Whole visit or none, a sound book, and the same recording can be brought in afterwards."""
    first = Small(faults=(SLIPPING,)).write(tmp_path / "first.log")
    whole = tmp_path / "whole"
    call(whole, "add", first, "--json").done()
    empty = tmp_path / "before"
    shutil.copytree(whole, empty)
    process = start(whole, "add", long_log)
    assert wait_for_growth(whole, stored(whole), process)
    began = time.monotonic()
    expected = json.loads(process.communicate()[0])["visits"][0]
    writes_s = time.monotonic() - began
    rng = random.Random(11)
    book = tmp_path / "book"
    shutil.copytree(empty, book)
    ended: list[int] = []
    while len(ended) < KILLS or ended.count(-signal.SIGKILL) < KILLS // 2:
        assert len(ended) < 10 * KILLS, ended
        process = start(book, "add", long_log)
        wait_for_growth(book, stored(book), process)
        try:
            # Some random moment between its first write and its end, or a little after.
            process.wait(timeout=writes_s * rng.uniform(0.0, 1.1))
            # It was quicker than the first one, on a machine with more to do then.
            writes_s *= 0.8
        except subprocess.TimeoutExpired:
            process.send_signal(signal.SIGKILL)
        process.communicate()
        ended.append(process.returncode)
        assert call(book, "check", "--json").done()["sound"]
        (machine,) = call(book, "yard", "--json").done()["machines"]
        assert machine["visits"] in (1, 2)
        if machine["visits"] == 2:
            shown = call(book, "visit", machine["last_visit"], "--json").done()
            assert shown["frames"] == expected["frames"]
            assert shown["groups"] == expected["groups"]
            assert len(faults_of(book)) == 2
            shutil.rmtree(book)
            shutil.copytree(empty, book)
        else:
            assert len(faults_of(book)) == 1
    (visit,) = call(book, "add", long_log, "--json").done()["visits"]
    assert visit["already_in_book"] is False
    assert visit["frames"] == expected["frames"]
    assert call(book, "check", "--json").done()["sound"]
    # Nothing of the killed ones is left lying about.
    assert stored(book) == stored(whole)


def stored(book: Path) -> dict[str, int]:
    """Count the files of a book by kind, but for what SQLite keeps beside its file while open, and
    for conclusions, which each look may draw anew.
    """
    counts: dict[str, int] = {}
    for path in book.rglob("*"):
        if path.is_file() and not path.name.endswith(("-wal", "-shm")):
            if path.relative_to(book).parts[0] == "derived":
                continue
            kind = path.relative_to(book).parts[0] + "*" + path.suffix
            counts[kind] = counts.get(kind, 0) + 1
    return counts


def test_two_at_once(tmp_path: Path) -> None:
    book = tmp_path / "book"
    logs = [
        Small(f"2026-05-{day}T06:00:00Z", faults=(SLIPPING,)).write(tmp_path / f"{day}.log")
        for day in (10, 11, 12)
    ]
    # The first two differ, the last two bring the same recording.
    processes = [start(book, "add", logs[at]) for at in (0, 1, 2, 2)]
    told = [(process.communicate(timeout=90), process.returncode) for process in processes]
    assert [(status, err) for (_, err), status in told] == [(0, "")] * 4
    yard = call(book, "yard", "--json").done()["machines"]
    assert [(one["visits"], one["active"]) for one in yard] == [(3, 0)]
    assert call(book, "check", "--json").done()["sound"]
    (fault,) = faults_of(book)
    assert len(fault["spells"]) == len(fault["visits"]) == 3


def test_interrupted_at_the_keyboard(tmp_path: Path, long_log: Path) -> None:
    """Ctrl-C is answered with a sentence, and leaves nothing behind."""
    book = tmp_path / "book"
    call(book, "yard", "--json").done()
    before = stored(book)
    process = start(book, "add", long_log)
    staging = wait_for_growth(book, before, process)
    process.send_signal(signal.SIGINT)
    out, err = process.communicate(timeout=60)
    if not staging or process.returncode == 0:
        pytest.fail(f"it was done before it could be interrupted: {out[:200]}")
    assert process.returncode == 3
    assert "Stopped" in err
    assert "Traceback" not in err
    assert stored(book) == before


def wait_for_growth(book: Path, before: dict[str, int], process: subprocess.Popen[str]) -> bool:
    """Wait until a command has begun to write; False when it ended without being seen at it."""
    while process.poll() is None:
        if stored(book) != before:
            return True
        time.sleep(0.01)
    return False


def test_a_book_goes_on_elsewhere(tmp_path: Path) -> None:
    """A backup is a book; an export and a book are taken in, twice without a change."""
    book = tmp_path / "book"
    log = Small(faults=(SLIPPING,)).write(tmp_path / "morning.log")
    visit = call(book, "add", log, "--json").done()["visits"][0]
    call(book, "note", "washed", "--hours", 101, "--json").done()
    call(
        book, "repair", "add", "--machine", visit["machine"], "--hours", 102,
        "--text", "new output shaft speed sensor for the transmission", "--json",
    ).done()  # fmt: skip
    copy = tmp_path / "copy"
    assert call(book, "backup", copy, "--json").done()["visits"] == 2
    assert faults_of(copy) == faults_of(book)
    elsewhere = tmp_path / "elsewhere"
    brought = call(elsewhere, "import-book", copy, "--json").done()
    assert (brought["visits_added"], brought["repairs_added"]) == (2, 1)
    again = call(elsewhere, "import-book", copy, "--json").done()
    assert (again["visits_added"], again["visits_known"]) == (0, 2)
    mine, theirs = faults_of(book), faults_of(elsewhere)
    assert [one["spells"] for one in mine] == [one["spells"] for one in theirs]
    known = call(elsewhere, "add", log, "--json").done()["visits"][0]
    assert known["already_in_book"] is True
    assert call(elsewhere, "check", "--json").done()["sound"]


def test_damage_is_found_and_said(tmp_path: Path) -> None:
    book = tmp_path / "book"
    call(book, "add", Small().write(tmp_path / "morning.log"), "--json").done()
    evidence = max(
        (path for path in (book / "evidence").rglob("*") if path.is_file()),
        key=lambda path: path.stat().st_size,
    )
    data = bytearray(evidence.read_bytes())
    data[len(data) // 2] ^= 0x40
    evidence.chmod(0o644)
    evidence.write_bytes(bytes(data))
    told = call(book, "check", "--json").done(1)
    assert told["sound"] is False
    assert [one["words"] for one in told["problems"]] != []
    words = call(book, "check")
    assert words.status == 1
    assert words.out.strip()


def test_a_folder_that_is_no_book(tmp_path: Path) -> None:
    place = tmp_path / "a file"
    place.write_text("not a folder")
    told = call(place, "yard", "--json")
    assert told.status == 3
    assert told.sentence
    assert place.read_text() == "not a folder"
