"""A kill at any moment leaves either the whole visit or none of it."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest
from tests.book_samples import full_content, new_visit, some_frames, some_messages
from tests.crash.book_filing import STARTS_US, recording

from shearbolt.book import Book, check
from shearbolt.model.frames import plain_frames

RANDOM_KILLS = int(os.environ.get("SHEARBOLT_KILLS", "8"))

pytestmark = pytest.mark.skipif(not hasattr(os, "fork"), reason="this system cannot fork")


@pytest.fixture(scope="module")
def killed(tmp_path_factory: pytest.TempPathFactory) -> list[Path]:
    folder = tmp_path_factory.mktemp("killed")
    root = Path(__file__).parents[2]
    env = {**os.environ, "PYTHONPATH": os.pathsep.join([str(root), *sys.path])}
    script = root / "tests" / "crash" / "book_filing.py"
    done = subprocess.run(
        [sys.executable, str(script), str(folder), str(RANDOM_KILLS)],
        env=env,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    assert int(done.stdout) >= 14  # steps it was killed at
    return sorted(folder.iterdir())


def visits_in(folder: Path) -> int:
    """Open a book after a kill, hold it against what may be in it, and count its visits."""
    with Book.open(folder / "book") as book:
        staging = book.folder / "staging"
        assert not staging.exists() or not list(staging.iterdir())
        assert check(book) == []
        visits = book.visits()
        assert [one.file for one in visits] == ["0", "1"][: len(visits)]
        assert len(book.machines()) == len(book.faults()) == len(visits)
        for number, one in enumerate(visits):
            content = full_content(STARTS_US[number])
            assert book.visit_content(one.id) == content
            with book.open_evidence(one.id) as source:
                assert source.read() == recording(number)
            assert plain_frames(book.frames(one.id)) == plain_frames(some_frames(40))
            assert book.messages(one.id) == some_messages()
            (fault,) = book.faults(one.machine)
            assert len(book.sightings(fault.id)) == 1
        return len(visits)


def test_a_kill_leaves_whole_visits_only(killed: list[Path]) -> None:
    found: dict[str, list[int]] = {}
    for folder in killed:
        found.setdefault(folder.name.split("-")[0], []).append(visits_in(folder))
    assert set(found["born"]) == {0}
    assert (found["base"], found["whole"]) == ([1], [2])
    assert found["step"] == sorted(found["step"])
    assert set(found["step"]) == {1, 2}
    assert len(found["kill"]) == RANDOM_KILLS


def test_filing_again_after_a_kill_succeeds(killed: list[Path], tmp_path: Path) -> None:
    # The last kill before the commit: all files in place, nothing in the record.
    middle = [one for one in killed if one.name.startswith("step") and visits_in(one) == 1][-1]
    raw = tmp_path / "again.log"
    raw.write_bytes(recording(1))
    with Book.open(middle / "book") as book, book.stage() as stage:
        stage.evidence(raw)
        stage.frames(some_frames(40))
        with book.writing() as w:
            machine = w.add_machine("Again", name_given=True, now_us=1)
            w.file(stage, new_visit(machine.id))
        assert len(book.visits()) == 2
        assert check(book) == []


@pytest.mark.skipif(sys.platform != "linux", reason="reads what was synced by file number")
def test_files_are_on_the_disk_before_the_record_names_them(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    synced: list[int] = []
    real = os.fsync

    def note(handle: int) -> None:
        real(handle)
        synced.append(os.fstat(handle).st_ino)

    monkeypatch.setattr(os, "fsync", note)
    at_commit: list[list[int]] = []
    moved_at: list[int] = []

    def checkpoint(step: str) -> None:
        if step == "intent written":
            moved_at.append(len(synced))
        if step == "before commit":
            at_commit.append(list(synced))

    raw = tmp_path / "a.log"
    raw.write_bytes(recording(1))
    with Book.open(tmp_path / "book", checkpoint=checkpoint) as book, book.stage() as stage:
        stage.evidence(raw)
        stage.frames(some_frames(40))
        stage.messages(some_messages())
        with book.writing() as w:
            w.file(stage, new_visit(w.add_machine("M", name_given=True, now_us=1).id))
    ((before,), (moved,)) = at_commit, moved_at
    kept = [
        path
        for kind in ("evidence", "signals")
        for path in (tmp_path / "book" / kind).rglob("*")
        if path.is_file()
    ]
    assert len(kept) == 4  # the recording; frames, their long data, messages
    for path in kept:
        assert path.stat().st_ino in before[:moved], path
    for folder in {path.parent for path in kept} | {tmp_path / "book" / "signals"}:
        assert folder.stat().st_ino in before, folder
    for entry in ("evidence", "signals"):
        parent = (tmp_path / "book" / entry).stat().st_ino
        assert parent in before[moved:]
