"""Packing that begins before the book is opened: the same visit, nothing left, nothing loaded."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest
from tests.command_line import call

import shearbolt.app.use_cases as use_cases
import shearbolt.book as book_room
from shearbolt.book import Book, check, hash_file
from shearbolt.book.staging import STAGING, stage_ahead

LOG = "(1780000000.000000) can0 0CF00400#FFFFFF0019FFFFFF\n" * 20


def log(folder: Path, text: str = LOG) -> Path:
    path = folder / "one.log"
    path.write_text(text, encoding="ascii")
    return path


def staged(book: Path) -> list[str]:
    """Return what lies in the staging folder."""
    folder = book / STAGING
    return sorted(one.name for one in folder.iterdir()) if folder.is_dir() else []


def loaded_by(code: str) -> set[str]:
    done = subprocess.run(
        [sys.executable, "-c", f"import json, sys\n{code}\nprint(json.dumps(sorted(sys.modules)))"],
        capture_output=True,
        check=True,
        text=True,
        env={**os.environ, "PYTHONPATH": os.pathsep.join(path for path in sys.path if path)},
    )
    return set(json.loads(done.stdout.splitlines()[-1]))


def test_packing_begins_before_anything_large_is_loaded(tmp_path: Path) -> None:
    code = (
        "from pathlib import Path\n"
        "from shearbolt.app import use_cases\n"
        "add = use_cases.add_recordings\n"
        "from shearbolt.book.staging import stage_ahead\n"
        f"stage = stage_ahead(Path({str(tmp_path / 'book')!r}), Path({str(log(tmp_path))!r}))\n"
        "stage.job.wait(); stage.close()"
    )
    packages = {name.partition(".")[0] for name in loaded_by(code)}
    assert "zstandard" in packages
    assert not packages & {"sqlalchemy", "alembic", "numpy", "polars", "can", "rich"}


@pytest.mark.parametrize("room", [book_room, use_cases])
def test_every_name_of_a_room_is_loaded_from_its_module(room: object) -> None:
    names: list[str] = room.__all__  # type: ignore[attr-defined]
    assert names == sorted(names)
    for name in names:
        assert getattr(room, name).__name__ == name
    own = Path(room.__file__).parent  # type: ignore[attr-defined]
    # A module of the same name would take the place of what is meant as soon as it is loaded.
    assert not {path.stem for path in own.iterdir()} & set(names)
    with pytest.raises(AttributeError, match="nosuch"):
        room.nosuch  # type: ignore[attr-defined]  # noqa: B018


def test_what_was_packed_ahead_is_filed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    book, path = tmp_path / "book", log(tmp_path)
    begun: list[Path] = []

    def noted(folder: Path, recording: Path) -> object:
        begun.append(recording)
        return stage_ahead(folder, recording)

    monkeypatch.setattr("shearbolt.book.staging.stage_ahead", noted)
    added = call(book, "--json", "add", path).done()
    assert begun == [path]
    assert staged(book) == []
    with Book.open(book) as opened:
        assert check(opened) == []
        visit = opened.visit_by_sha256(hash_file(path))
        assert visit is not None
        assert visit.id == added["visits"][0]["visit"]
        with opened.open_evidence(visit.id) as evidence:
            assert evidence.read() == path.read_bytes()


def test_what_is_known_or_refused_leaves_nothing_staged(tmp_path: Path) -> None:
    book, path = tmp_path / "book", log(tmp_path)
    call(book, "--json", "add", path).done()
    again = call(book, "--json", "add", path).done()
    assert again["visits"][0]["already_in_book"] is True
    assert staged(book) == []
    foreign = tmp_path / "foreign.log"
    foreign.write_bytes(b"\x00\x01 no recording\n" * 50)
    empty = log(tmp_path, "\n\n")
    for one in (foreign, empty):
        refused = call(book, "--json", "add", one).done(3)
        assert [entry["file"] for entry in refused["refused"]] == [str(one)]
        assert staged(book) == []


def test_nothing_is_begun_for_what_cannot_be(tmp_path: Path) -> None:
    assert stage_ahead(tmp_path / "book", tmp_path / "nosuch.log") is None
    assert not (tmp_path / "book").exists()
    assert stage_ahead(tmp_path / "book", tmp_path) is None
    (tmp_path / "file").touch()
    assert stage_ahead(tmp_path / "file", log(tmp_path)) is None


def test_a_stage_of_a_process_that_died_before_opening_the_book_is_swept(tmp_path: Path) -> None:
    book, path = tmp_path / "book", log(tmp_path)
    code = (
        "import os, sys\n"
        "from pathlib import Path\n"
        "from shearbolt.book.staging import stage_ahead\n"
        "stage_ahead(Path(sys.argv[1]), Path(sys.argv[2])).job.wait()\n"
        "os._exit(9)\n"
    )
    done = subprocess.run([sys.executable, "-c", code, str(book), str(path)], check=False)
    assert done.returncode == 9
    assert len(staged(book)) == 2  # the folder and its lock
    with Book.open(book) as opened:
        assert staged(book) == []
        assert check(opened) == []
        assert opened.visits() == []
