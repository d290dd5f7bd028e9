from __future__ import annotations

import zipfile
from pathlib import Path

import pytest
from tests.book_samples import (
    ENGINE,
    GEARBOX,
    NOW_US,
    full_content,
    new_visit,
    some_frames,
    some_messages,
)

from shearbolt.book import Book, NewNote, backup, check, hash_file, import_book
from shearbolt.book.records import Attachment
from shearbolt.errors import BookDamaged, BookError
from shearbolt.model.frames import plain_frames


def fill(folder: Path, recording: bytes, vin: str | None = "V1", name: str = "Tractor") -> Book:
    """Make a book with one machine, a recorded visit, one by hand with a photo, and a repair."""
    book = Book.open(folder)
    raw = folder.parent / f"{folder.name}.log"
    raw.write_bytes(recording)
    photo = folder.parent / f"{folder.name}.jpg"
    photo.write_bytes(b"photo " + recording)
    with book.stage() as stage, book.stage() as photos:
        stage.evidence(raw)
        stage.frames(some_frames(60))
        stage.messages(some_messages())
        sha256 = photos.attachment(photo)
        with book.writing() as w:
            machine = w.add_machine(name, name_given=True, vin=vin, now_us=NOW_US).id
            engine = w.ensure_controller(machine, place=ENGINE.place, address=0, now_us=NOW_US)
            w.label_controller(engine.id, "engine")
            w.ensure_controller(machine, place=GEARBOX.place, address=3, now_us=NOW_US)
            fault = w.ensure_fault(machine, engine.id, "j1939", spn=110, fmi=0, now_us=NOW_US)
            visit = w.file(stage, new_visit(machine, controllers=(engine.id,), faults=(fault.id,)))
            hand = w.file(None, new_visit(machine, kind="by_hand", file=None))
            w.add_note(
                NewNote(
                    visit=hand.id, machine=machine, kind="symptom", text="weak lift",
                    created_us=NOW_US, attachments=(Attachment(sha256, "a.jpg", "image/jpeg"),),
                ),
                photos,
            )  # fmt: skip
            w.add_repair(machine, "plug", faults=(fault.id,), now_us=NOW_US)
            w.add_event(
                machine, "swapped_unit", visit=visit.id, controller=engine.id, now_us=NOW_US
            )
            w.set_setting("units", "metric")
    book.owner.save_codes("spn,text\n520200,low grease\n")
    return book


def state(book: Book) -> dict[str, object]:
    """Return everything that can be read, for comparison."""
    return {
        "machines": book.machines(),
        "visits": book.visits(),
        "content": [book.visit_content(one.id) for one in book.visits()],
        "frames": [plain_frames(book.frames(one.id)) for one in book.visits()],
        "messages": [book.messages(one.id) for one in book.visits()],
        "faults": [book.sightings(one.id) for one in book.faults()],
        "places": [book.controllers(one.id) for one in book.machines()],
        "notes": book.notes(),
        "repairs": book.repairs(withdrawn=True),
        "events": [book.events(one.id) for one in book.machines()],
        "settings": book.settings(),
        "codes": book.owner.codes(),
        "counts": book.counts(),
    }


@pytest.mark.parametrize("name", ["copy", "copy.zip"])
def test_backup_imports_into_an_empty_book_as_it_was(tmp_path: Path, name: str) -> None:
    book = fill(tmp_path / "book", b"recording one")
    told: list[tuple[int, int]] = []
    made = backup(book, tmp_path / name, lambda done, whole: told.append((done, whole)))
    assert (made.path, made.visits, made.missing) == (tmp_path / name, 2, ())
    assert told[-1][0] == told[-1][1] == made.size
    assert sorted(p.name for p in tmp_path.iterdir() if "part" in p.name) == []
    fresh = Book.open(tmp_path / "fresh")
    brought = import_book(fresh, tmp_path / name)
    assert len(brought.visits_new) == 2
    assert brought.damaged == brought.left == ()
    assert state(fresh) == state(book)
    assert check(fresh) == []
    before = state(fresh)
    again = import_book(fresh, tmp_path / name)
    assert (again.visits_new, again.notes_new, again.repairs_new) == ((), (), ())
    assert len(again.visits_known) == 2
    assert state(fresh) == before
    assert not list((tmp_path / "fresh" / "staging").iterdir())


def test_folder_backup_is_a_book_of_its_own(tmp_path: Path) -> None:
    book = fill(tmp_path / "book", b"recording one")
    backup(book, tmp_path / "copy")
    assert state(Book.open(tmp_path / "copy", create=False)) == state(book)


def test_backup_is_one_state_while_others_write(tmp_path: Path) -> None:
    book = fill(tmp_path / "book", b"recording one")
    with book.writing() as w:
        w.add_machine("Half written", name_given=True, now_us=1)
        w._run(__import__("sqlalchemy").text("SELECT 1"))
        backup(book, tmp_path / "copy")
    assert [one.name for one in Book.open(tmp_path / "copy").machines()] == ["Tractor"]


def test_backup_replaces_nothing_and_stays_outside(tmp_path: Path) -> None:
    book = fill(tmp_path / "book", b"recording one")
    (tmp_path / "there").mkdir()
    with pytest.raises(BookError, match="something of this name"):
        backup(book, tmp_path / "there")
    with pytest.raises(BookError, match="inside the book"):
        backup(book, tmp_path / "book" / "copy")


def test_two_books_become_one_machine_by_vin(tmp_path: Path) -> None:
    mine = fill(tmp_path / "mine", b"recording one")
    fill(tmp_path / "theirs", b"recording two", name="That tractor")
    brought = import_book(mine, tmp_path / "theirs")
    (machine,) = mine.machines()
    assert machine.name == "Tractor"
    assert brought.machines_known == (machine.id,)
    assert len(mine.visits(machine.id)) == 4
    assert len(mine.controllers(machine.id)) == 2
    (fault,) = mine.faults(machine.id)
    assert len(mine.sightings(fault.id)) == 2
    assert {one.faults for one in mine.repairs()} == {(fault.id,)}
    assert len(mine.events(machine.id)) == 2
    assert check(mine) == []


@pytest.mark.parametrize(("vin", "machines"), [(None, 1), ("V2", 2)])
def test_machines_are_the_same_by_names_unless_their_vins_differ(
    tmp_path: Path, vin: str | None, machines: int
) -> None:
    mine = fill(tmp_path / "mine", b"recording one")
    fill(tmp_path / "theirs", b"recording two", vin=vin)
    import_book(mine, tmp_path / "theirs")
    assert len(mine.machines()) == machines
    assert check(mine) == []


def test_import_of_what_is_no_book_changes_nothing(tmp_path: Path) -> None:
    mine = fill(tmp_path / "mine", b"recording one")
    before = state(mine)
    (tmp_path / "empty").mkdir()
    (tmp_path / "text.zip").write_text("no zip")
    with zipfile.ZipFile(tmp_path / "other.zip", "w") as other:
        other.writestr("notes.txt", "hello")
    for name, words in (
        ("empty", "no book in this folder"),
        ("text.zip", "neither a book's folder nor a backup"),
        ("gone", "neither a book's folder nor a backup"),
        ("other.zip", "no book in this file"),
    ):
        with pytest.raises(BookError, match=words):
            import_book(mine, tmp_path / name)
    with pytest.raises(BookError, match="the open book itself"):
        import_book(mine, tmp_path / "mine")
    (tmp_path / "bad").mkdir()
    (tmp_path / "bad" / "book.sqlite").write_bytes(b"SQLite format 3\0" + b"\xff" * 5000)
    with pytest.raises(BookDamaged):
        import_book(mine, tmp_path / "bad")
    assert state(mine) == before
    assert not list((tmp_path / "mine" / "staging").iterdir())


def test_damaged_files_of_the_other_book_are_named_and_the_rest_comes_in(tmp_path: Path) -> None:
    theirs = fill(tmp_path / "theirs", b"recording one")
    theirs.close()
    (part,) = (tmp_path / "theirs" / "signals").glob("*/frames-0000.parquet")
    flip(part)
    (packed,) = (tmp_path / "theirs" / "evidence").glob("*/*.zst")
    packed.unlink()
    mine = Book.open(tmp_path / "mine")
    brought = import_book(mine, tmp_path / "theirs")
    assert len(brought.visits_new) == 2
    assert sorted(words.split(": ")[1] for words in brought.damaged) == [
        "holds other bytes than were filed",
        "missing",
    ]
    assert {one.what for one in check(mine)} == {"evidence", "signals"}


def test_owner_rows_of_both_books_are_kept(tmp_path: Path) -> None:
    mine = fill(tmp_path / "mine", b"recording one")
    theirs = fill(tmp_path / "theirs", b"recording two")
    theirs.owner.save_codes("spn,text\n520201,belt slips\n520200,low grease\n")
    theirs.owner.save_signals("spn,name\n1,x\n")
    mine.owner.save_signals("name,spn\nx,1\n")
    brought = import_book(mine, tmp_path / "theirs")
    assert mine.owner.codes() == "spn,text\n520200,low grease\n520201,belt slips\n"
    assert brought.left == ("owner/signals.csv",)
    assert mine.owner.signals() == "name,spn\nx,1\n"


def flip(path: Path) -> None:
    data = bytearray(path.read_bytes())
    data[len(data) // 2] ^= 0x10
    path.write_bytes(data)


def test_check_finds_every_kind_of_damage(tmp_path: Path) -> None:
    book = fill(tmp_path / "book", b"recording one " * 1000)
    steps: list[tuple[int, int]] = []
    assert check(book, lambda done, whole: steps.append((done, whole))) == []
    assert steps[-1][0] == steps[-1][1] == 5
    folder = tmp_path / "book"
    (packed,) = (folder / "evidence").glob("*/*.zst")
    flip(packed)
    (frames,) = (folder / "signals").glob("*/frames-*.parquet")
    flip(frames)
    next((folder / "signals").glob("*/messages-*.parquet")).unlink()
    (photo,) = (folder / "attachments").glob("*/*")
    photo.write_bytes(b"another photo")
    (folder / "evidence" / "00").mkdir(exist_ok=True)
    (folder / "evidence" / "00" / ("0" * 64 + ".zst")).write_bytes(b"")
    (folder / "signals" / "v0000000").mkdir()
    (folder / "owner" / "codes.csv").write_bytes(b"spn,text\n1,\xff\n")
    found = check(book)
    assert sorted(one.what for one in found) == [
        "attachment", "evidence", "orphan", "orphan", "owner", "signals", "signals",
    ]  # fmt: skip
    frames.write_bytes(frames.read_bytes()[:100])
    with pytest.raises(BookDamaged, match="cannot be read"):
        book.frames(frames.parent.name)


def test_check_reports_broken_references(tmp_path: Path) -> None:
    import sqlite3
    from contextlib import closing

    book = fill(tmp_path / "book", b"recording one")
    with closing(sqlite3.connect(tmp_path / "book" / "book.sqlite")) as raw, raw:
        raw.execute("DELETE FROM faults")
    assert {(one.what, one.words.split()[-1]) for one in check(book)} == {("record", "faults")}


def test_recording_named_by_hash_is_the_original(tmp_path: Path) -> None:
    book = fill(tmp_path / "book", b"recording one")
    visit = next(one for one in book.visits() if one.sha256)
    assert visit.sha256 == hash_file(tmp_path / "book.log")
    assert full_content().channels == visit.channels
