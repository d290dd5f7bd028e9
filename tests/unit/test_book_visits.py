from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from tests.book_samples import (
    ENGINE,
    GEARBOX,
    NOW_US,
    START_US,
    full_content,
    new_visit,
    some_frames,
    some_messages,
)

from shearbolt.book import Book, NewNote, hash_file
from shearbolt.book.records import Attachment
from shearbolt.errors import Ambiguous, BookError, NotInBook
from shearbolt.model.frames import Frames, plain_frames
from shearbolt.model.reading import TimeBase


@pytest.fixture
def book(tmp_path: Path) -> Book:
    return Book.open(tmp_path / "book")


def _machine(book: Book, name: str = "Tractor 1") -> str:
    with book.writing() as w:
        return w.add_machine(name, name_given=True, now_us=NOW_US).id


def same_frames(one: Frames, other: Frames) -> bool:
    return plain_frames(one) == plain_frames(other)


def test_visit_content_comes_back_as_it_was_filed(book: Book) -> None:
    machine = _machine(book)
    content = full_content()
    with book.writing() as w:
        engine = w.ensure_controller(machine, place=ENGINE.place, address=0, now_us=NOW_US)
        fault = w.ensure_fault(machine, engine.id, "j1939", spn=110, fmi=0, now_us=NOW_US)
        visit = w.file(
            None, new_visit(machine, content, controllers=(engine.id,), faults=(fault.id,))
        )
    assert book.visit_content(visit.id) == content
    assert book.visit_places(visit.id) == (engine.id, None)
    assert book.visit_faults(visit.id) == (fault.id, None)
    assert visit.doubts == ("The clock on the bus is an hour off.", "A doubt of the filing.")
    assert (visit.start_us, visit.end_us) == (START_US, START_US + 60_000_000)
    (sighting,) = book.sightings(fault.id)
    assert (sighting.visit, sighting.fault, sighting.controller) == (visit.id, fault.id, engine.id)
    assert sighting.seen == content.faults[0]
    assert book.sightings_of(machine) == {fault.id: [sighting]}


def test_numbers_out_of_arrays_are_stored_like_plain_ones(book: Book) -> None:
    machine = _machine(book)
    content = full_content()
    group = content.groups[0]
    odd = replace(group, count=np.int64(7), period_s=np.float64(0.5))  # type: ignore[arg-type]
    with book.writing() as w:
        visit = w.file(None, new_visit(machine, replace(content, groups=(odd,))))
    (stored,) = book.visit_content(visit.id).groups
    assert (stored.count, stored.period_s) == (7, 0.5)
    assert type(stored.count) is int


def test_relative_times_have_a_start_only_with_a_zero(book: Book) -> None:
    machine = _machine(book)
    content = full_content(0, TimeBase.RELATIVE)
    with book.writing() as w:
        unknown = w.file(None, new_visit(machine, content))
        known = w.file(None, new_visit(machine, content, zero_us=START_US))
    assert (unknown.zero_us, unknown.start_us, unknown.end_us) == (None, None, None)
    assert (known.start_us, known.end_us) == (START_US, START_US + 60_000_000)


def test_recording_frames_and_messages_come_back(book: Book, tmp_path: Path) -> None:
    machine = _machine(book)
    recording = tmp_path / "morning.log"
    recording.write_bytes(b"(1.0) can0 0CF00400#0011223344556677\n" * 5000)
    blocks = [some_frames(50), some_frames(33, first=50)]
    seen: list[int] = []
    with book.stage() as stage:
        stage.evidence(recording, seen.append)
        for block in blocks:
            stage.frames(block)
        stage.messages(some_messages())
        with book.writing() as w:
            visit = w.file(stage, new_visit(machine))
    whole = some_frames(83)
    assert seen[-1] == recording.stat().st_size == visit.size
    assert visit.sha256 == hash_file(recording)
    assert book.visit_by_sha256(visit.sha256) == visit
    with book.open_evidence(visit.id) as source:
        assert source.read() == recording.read_bytes()
    assert same_frames(book.frames(visit.id), whole)
    assert plain_frames(book.frames(visit.id, pgns=[61444])) == [
        one for one in plain_frames(whole) if one.ident == 0x0CF00400 and not one.flags & 2
    ]
    assert plain_frames(book.frames(visit.id, pgns=[59904, 65262], sources=[1, 0xF9])) == [
        one for one in plain_frames(whole) if one.ident in (0x18FEEE01, 0x18EA00F9)
    ]
    assert plain_frames(book.frames(visit.id, sources=[0])) == [
        one for one in plain_frames(whole) if one.flags in (1, 9) and one.ident & 0xFF == 0
    ]
    assert len(book.frames(visit.id, pgns=[])) == 0
    assert book.messages(visit.id) == some_messages()
    assert book.messages(visit.id, [65227]) == some_messages()[1:]
    assert not list((book.folder / "staging").iterdir())


def test_many_parts_keep_the_order_recorded(book: Book, monkeypatch: pytest.MonkeyPatch) -> None:
    import shearbolt.book.signals as signals

    monkeypatch.setattr(signals, "PART_FRAMES", 40)
    machine = _machine(book)
    with book.stage() as stage:
        for first in range(0, 200, 25):
            stage.frames(some_frames(25, first=first))
        with book.writing() as w:
            visit = w.file(stage, new_visit(machine))
    assert len(list(book.signals_folder(visit.id).glob("frames-*"))) == 4
    assert same_frames(book.frames(visit.id), some_frames(200))
    assert sum(len(block) for block in book.frame_blocks(visit.id)) == 200
    wanted = [one for one in plain_frames(some_frames(200)) if one.ident == 0x18FEEE02]
    assert plain_frames(book.frames(visit.id, [65262], [2])) == wanted


def test_same_recording_is_refused_and_changes_nothing(book: Book, tmp_path: Path) -> None:
    machine = _machine(book)
    recording = tmp_path / "a.log"
    recording.write_bytes(b"same bytes")

    def bring_in() -> None:
        with book.stage() as stage:
            stage.evidence(recording)
            stage.frames(some_frames())
            with book.writing() as w:
                w.file(stage, new_visit(machine))

    bring_in()
    before = book.counts()
    with pytest.raises(BookError, match="in the book already"):
        bring_in()
    assert book.counts() == before
    assert len(list((book.folder / "signals").iterdir())) == 1
    assert not list((book.folder / "staging").iterdir())


def test_missing_recording_files_nothing(book: Book, tmp_path: Path) -> None:
    machine = _machine(book)

    def bring_in() -> None:
        with book.stage() as stage:
            stage.evidence(tmp_path / "gone.log")
            stage.frames(some_frames())
            with book.writing() as w:
                w.file(stage, new_visit(machine))

    with pytest.raises(BookError, match=r"gone\.log: No such file"):
        bring_in()
    assert book.visits() == []
    assert not list((book.folder / "staging").iterdir())


def test_error_inside_a_transaction_undoes_everything(book: Book) -> None:
    machine = _machine(book)

    def fail() -> None:
        with book.stage() as stage:
            stage.frames(some_frames())
            with book.writing() as w:
                w.file(stage, new_visit(machine))
                w.add_repair(machine, "new filter", now_us=NOW_US)
                raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        fail()
    assert book.visits() == []
    assert book.repairs() == []
    assert not (book.folder / "signals").exists()


def test_full_disk_is_one_sentence_and_files_nothing(
    book: Book, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    import errno

    import shearbolt.book.signals as signals

    machine = _machine(book)

    def full(path: Path) -> None:
        raise OSError(errno.ENOSPC, "No space left on device", str(path))

    def bring_in() -> None:
        with book.stage() as stage:
            stage.frames(some_frames())
            with book.writing() as w:
                w.file(stage, new_visit(machine))

    with monkeypatch.context() as patched:
        patched.setattr(signals, "sync_file", full)
        with pytest.raises(BookError, match="the disk is full; nothing was changed"):
            bring_in()
    assert book.visits() == []
    assert not list((book.folder / "staging").iterdir())
    bring_in()
    assert len(book.visits()) == 1


def test_visit_without_staged_files_has_no_recording(book: Book) -> None:
    machine = _machine(book)
    with book.writing() as w:
        visit = w.file(None, new_visit(machine, kind="by_hand"))
    with pytest.raises(BookError, match="by hand"):
        book.open_evidence(visit.id)
    assert len(book.frames(visit.id)) == 0
    assert book.messages(visit.id) == []


def test_machine_is_found_by_id_or_whole_name(book: Book) -> None:
    one, two, twin = (
        _machine(book, "Forage  harvester"),
        _machine(book, "Wagon"),
        _machine(book, "wagon"),
    )
    assert book.machine(one).name == "Forage harvester"
    assert book.machine(" forage HARVESTER ").id == one
    with pytest.raises(Ambiguous, match=f"2 machines.*{two}"):
        book.machine("wagon")
    with pytest.raises(NotInBook, match="'Forage harvester'"):
        book.machine("Forage")
    with book.writing() as w:
        w.rename_machine(twin, "Wagon 2")
    assert [m.name for m in book.machines()] == ["Forage harvester", "Wagon", "Wagon 2"]
    with pytest.raises(NotInBook, match="no visit"):
        book.visit_content("v0000000")
    with pytest.raises(NotInBook):
        book.fault("f0000000")


def test_place_known_by_address_takes_on_the_name_heard_there(book: Book) -> None:
    machine = _machine(book)
    with book.writing() as w:
        by_address = w.ensure_controller(machine, place=None, address=3, now_us=NOW_US)
        named = w.ensure_controller(machine, place=GEARBOX.place, address=3, now_us=NOW_US)
        moved = w.ensure_controller(machine, place=GEARBOX.place, address=9, now_us=NOW_US)
        other = w.ensure_controller(machine, place=ENGINE.place, address=3, now_us=NOW_US)
    assert by_address.id == named.id == moved.id != other.id
    assert moved.place == GEARBOX.place
    assert moved.address == 9
    assert book.controllers(machine) == [other, moved]


def test_sender_without_a_claim_is_who_last_held_its_address(book: Book) -> None:
    machine = _machine(book)

    def look(name_at_0: object, start_us: int) -> str:
        content = full_content(start_us)
        sender = replace(content.controllers[0], name=name_at_0)  # type: ignore[arg-type]
        with book.writing() as w:
            place = w.ensure_controller(
                machine,
                place=None if name_at_0 is None else name_at_0.place,  # type: ignore[attr-defined]
                address=0,
                now_us=NOW_US,
            )
            w.file(
                None,
                new_visit(
                    machine, replace(content, controllers=(sender,)), controllers=(place.id,)
                ),
            )
        return place.id

    engine = look(ENGINE, START_US + 1_000_000_000)
    gearbox = look(GEARBOX, START_US)  # filed later, but an earlier visit
    assert engine != gearbox
    assert look(None, START_US + 2_000_000_000) == engine


def test_boxes_of_a_place_in_the_order_they_came(book: Book) -> None:
    machine = _machine(book)
    from shearbolt.model.controller import Name

    swapped = Name(ENGINE.value + 1)
    assert swapped.place == ENGINE.place
    visits = []
    for name, start in ((swapped, 2), (ENGINE, 0), (ENGINE, 1)):
        content = full_content(START_US + start * 1_000_000_000)
        sender = replace(content.controllers[0], name=name)
        with book.writing() as w:
            place = w.ensure_controller(machine, place=name.place, address=0, now_us=NOW_US)
            visit = w.file(
                None,
                new_visit(
                    machine, replace(content, controllers=(sender,)), controllers=(place.id,)
                ),
            )
            visits.append(visit.id)
    old, new = book.boxes(machine)
    assert (old.name, old.first_visit, old.last_visit, old.visits) == (
        ENGINE,
        visits[1],
        visits[2],
        2,
    )
    assert (new.name, new.visits) == (swapped, 1)
    assert book.names_heard() == {machine: {ENGINE.value, swapped.value}}


def test_makers_own_numbers_are_never_joined_across_makers(book: Book) -> None:
    machine = _machine(book)
    with book.writing() as w:
        unknown = w.ensure_fault(machine, None, "j1939", spn=524020, fmi=31, now_us=1)
        first = w.ensure_fault(
            machine, None, "j1939", spn=524020, fmi=31, manufacturer_code=77, function=3, now_us=2
        )
        again = w.ensure_fault(machine, None, "j1939", spn=524020, fmi=31, now_us=3)
        second = w.ensure_fault(
            machine, None, "j1939", spn=524020, fmi=31, manufacturer_code=78, function=3, now_us=4
        )
        ambiguous = w.ensure_fault(machine, None, "j1939", spn=524020, fmi=31, now_us=5)
    assert unknown.id == first.id == again.id
    assert (first.manufacturer_code, first.created_us) == (77, 1)
    assert len({first.id, second.id, ambiguous.id}) == 3
    assert book.fault(second.id) == second


def test_machine_beside_another_has_the_visit_too(book: Book) -> None:
    tractor, wagon, third = _machine(book), _machine(book, "Wagon"), _machine(book, "Truck")
    with book.writing() as w:
        visit = w.file(None, new_visit(tractor, others=(wagon,)))
    assert visit.others == (wagon,)
    assert book.visits(wagon) == book.visits(tractor) == book.visits() == [visit]
    assert book.visits(third) == []


def test_notes_repairs_events_and_settings(book: Book, tmp_path: Path) -> None:
    machine = _machine(book)
    photo = tmp_path / "dash.jpg"
    photo.write_bytes(b"\xff\xd8 a dash")
    with book.stage() as stage:
        sha256 = stage.attachment(photo)
        with book.writing() as w:
            fault = w.ensure_fault(machine, None, "hand", code="2-3-1", now_us=NOW_US)
            visit = w.file(None, new_visit(machine, kind="by_hand"))
            note = w.add_note(
                NewNote(
                    visit=visit.id, machine=machine, kind="code", text="blinks 2-3-1",
                    created_us=NOW_US, fault=fault.id, code="2-3-1", hours=4212.0,
                    date_us=START_US, date_only=True, doing="mowing", hot_cold="cold",
                    after_start_s=120.0, driver="Ida",
                    attachments=(Attachment(sha256, "dash.jpg", "image/jpeg"),),
                ),
                stage,
            )  # fmt: skip
            repair = w.add_repair(
                machine, "new plug", faults=(fault.id, fault.id), hours=4213.0, now_us=NOW_US
            )
            event = w.add_event(
                machine, "swapped_unit", visit=visit.id, detail=(("old", "A"), ("n", 2.0)),
                now_us=NOW_US,
            )  # fmt: skip
            w.set_setting("units", {"temperature": "degC"})
            w.set_setting("gone", 1)
            w.set_setting("gone", None)
    assert book.notes(machine) == book.notes(fault=fault.id) == [note] == [book.note(note.id)]
    assert note.attachments[0].name == "dash.jpg"
    with book.open_attachment(sha256) as kept:
        assert kept.read() == photo.read_bytes()
    assert repair.faults == (fault.id,)
    assert book.repairs(machine) == [repair]
    assert book.events(machine) == [event]
    assert book.settings() == {"units": {"temperature": "degC"}}
    assert book.setting("gone") is None
    with book.writing() as w:
        changed = w.change_repair(repair.id, text="new plug and pin", faults=())
        assert (changed.text, changed.faults, changed.hours) == ("new plug and pin", (), 4213.0)
        w.withdraw_repair(repair.id)
        with pytest.raises(TypeError, match="created_us"):
            w.change_repair(repair.id, created_us=1)
    assert book.repairs(machine) == []
    assert [one.withdrawn for one in book.repairs(machine, withdrawn=True)] == [True]


def test_visits_stand_by_time_and_hours_whatever_order_they_came_in(book: Book) -> None:
    machine, other = _machine(book), _machine(book, "Other")

    def add(of: str, start_s: int | None, hours: float | None, name: str) -> None:
        base = TimeBase.RELATIVE if start_s is None else TimeBase.ABSOLUTE
        content = full_content(START_US + (start_s or 0) * 1_000_000, base)
        with book.writing() as w:
            w.file(None, new_visit(of, content, hours_start=hours, file=name))

    add(machine, 3000, 30.0, "third")
    add(machine, None, 20.0, "second")
    add(machine, 1000, 10.0, "first")
    add(other, 1500, None, "other")
    assert [one.file for one in book.visits(machine)] == ["first", "second", "third"]
    assert [one.file for one in book.visits()] == ["first", "second", "other", "third"]
