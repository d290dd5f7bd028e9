"""Checks done, causes found, service and learnt signals: written, read, withdrawn, merged."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from alembic import command
from alembic.config import Config

from shearbolt.book import Book, import_book
from shearbolt.book.database import open_engine, version_of
from shearbolt.book.schema import HEAD
from shearbolt.errors import NotInBook

NOW = 1_760_000_000_000_000


def filled(folder: Path) -> Book:
    """Make a book with one of each."""
    book = Book.open(folder)
    with book.writing() as w:
        machine = w.add_machine("Grey", name_given=True, now_us=NOW).id
        place = w.ensure_controller(machine, place=None, address=3, now_us=NOW).id
        fault = w.ensure_fault(machine, place, "j1939", spn=191, fmi=2, now_us=NOW).id
        repair = w.add_repair(machine, "plug cleaned", now_us=NOW, faults=(fault,), hours=10.0)
        w.add_check_done(
            machine, "wiggle", "moves", now_us=NOW, fault=fault, value=4.8, hours=9.5, who="Ann"
        )
        w.add_cause_found(
            machine, fault, "wiring", "only when the door is slammed", "measured",
            now_us=NOW, repair=repair.id, hours=10.0,
        )  # fmt: skip
        job = w.add_service_job(machine, "engine oil", now_us=NOW, every_hours=500.0, minutes=45.0)
        w.add_service_done(job.id, now_us=NOW, hours=9.0)
        learn(w, machine, "candidate", 1)
    return book


def learn(w: Any, machine: str, state: str, sessions: int) -> None:
    w.keep_learnt_signal(
        machine, "sitting on the seat", now_us=NOW, pgn=65283, address=3, start_bit=12, bits=1,
        sessions=sessions, p_value=0.004, state=state,
    )  # fmt: skip


def everything(book: Book) -> tuple[list[Any], ...]:
    return (
        book.checks_done(withdrawn=True),
        book.causes_found(withdrawn=True),
        book.service_jobs(withdrawn=True),
        book.services_done(withdrawn=True),
        book.learnt_signals(),
    )


def test_one_of_each_comes_back_as_it_was(tmp_path: Path) -> None:
    with filled(tmp_path / "book") as book:
        told = everything(book)
    with Book.open(tmp_path / "book") as again:
        assert everything(again) == told
        (check,), (cause,), (job,), (done,), (learnt,) = told
        assert (check.value, check.who, check.outcome) == (4.8, "Ann", "moves")
        assert cause.repair == again.repairs()[0].id
        assert (done.job, done.hours, job.every_hours) == (job.id, 9.0, 500.0)
        assert (learnt.start_bit, learnt.state) == (12, "candidate")
        assert again.check_done(check.id) == check
        with pytest.raises(NotInBook):
            again.cause_found("a0000000")


def test_a_second_session_is_no_second_signal(tmp_path: Path) -> None:
    with filled(tmp_path / "book") as book:
        before = book.learnt_signals()[0]
        with book.writing() as w:
            learn(w, before.machine, "learnt", 2)
        (after,) = book.learnt_signals()
        assert (after.id, after.sessions, after.state) == (before.id, 2, "learnt")


def test_withdrawn_is_kept_and_not_counted(tmp_path: Path) -> None:
    with filled(tmp_path / "book") as book:
        ids = [
            book.checks_done()[0].id, book.causes_found()[0].id, book.service_jobs()[0].id,
            book.services_done()[0].id,
        ]  # fmt: skip
        with book.writing() as w:
            for one in ids:
                w.withdraw_work(one)
            with pytest.raises(NotInBook):
                w.withdraw_work("k0000000")
        assert book.checks_done() == []
        assert book.causes_found() == []
        assert book.service_jobs() == []
        assert book.services_done() == []
        assert len(book.checks_done(withdrawn=True)) == 1


def test_another_book_brings_each_once(tmp_path: Path) -> None:
    with filled(tmp_path / "theirs") as theirs, Book.open(tmp_path / "ours") as ours:
        import_book(ours, tmp_path / "theirs")
        assert everything(ours) == everything(theirs)
        import_book(ours, tmp_path / "theirs")
        assert everything(ours) == everything(theirs)
        with theirs.writing() as w:
            w.withdraw_work(theirs.checks_done()[0].id)
        import_book(ours, tmp_path / "theirs")
        assert ours.checks_done() == []


def test_a_record_of_the_first_form_gets_the_tables(tmp_path: Path) -> None:
    tmp_path.joinpath("book").mkdir()
    path = tmp_path / "book" / "book.sqlite"
    engine = open_engine(path)
    with engine.begin() as connection:
        config = Config()
        config.set_main_option("script_location", "shearbolt.book:migrations")
        config.set_main_option("path_separator", "os")
        config.attributes["connection"] = connection
        command.upgrade(config, "0001")
    engine.dispose()
    assert version_of(path) == "0001"
    with filled(tmp_path / "book") as book:
        assert len(book.checks_done()) == 1
    assert version_of(path) == HEAD
