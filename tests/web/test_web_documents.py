"""Documents kept ready: the same one until the book changes, never one from before that."""

from __future__ import annotations

import threading
from pathlib import Path

import pytest
from tests.command_line import call

from shearbolt.app import use_cases
from shearbolt.app.documents import PLAIN_WORDING, Wording, YardDocument
from shearbolt.errors import NotInBook
from shearbolt.web.documents import KEPT_S, Documents
from shearbolt.web.site import make_site, warm


class Clock:
    """A clock that tests set."""

    now = 0.0

    def __call__(self) -> float:
        """Tell the time."""
        return self.now


def test_a_document_is_kept_until_the_book_changes(book: Path) -> None:
    documents = Documents(book, Clock())
    first = documents.yard(PLAIN_WORDING)
    machine = first["machines"][0]["machine"]
    whole = documents.machine(machine, PLAIN_WORDING)
    # Looking, even from another program, is no change.
    call(book, "yard", "--json").done()
    assert documents.yard(PLAIN_WORDING) is first
    assert documents.machine(machine, PLAIN_WORDING) is whole
    assert call(book, "note", "washed", "--machine", "Grey").status == 0
    fresh = documents.machine(machine, PLAIN_WORDING)
    assert len(fresh["visits"]) == len(whole["visits"]) + 1
    assert documents.yard(PLAIN_WORDING)["machines"][0]["visits"] == len(fresh["visits"])


def test_own_tables_of_the_owner_change_the_book(book: Path) -> None:
    documents = Documents(book, Clock())
    machine = documents.yard(PLAIN_WORDING)["machines"][0]["machine"]
    before = documents.machine(machine, PLAIN_WORDING)
    told = call(book, "own", "code", "add", "--spn", "110", "--text", "boils", "--json")
    assert told.status == 0, told.err
    after = documents.machine(machine, PLAIN_WORDING)
    assert [one["own_text"] for one in before["faults"] if one["spn"] == 110] == [None]
    assert [one["own_text"] for one in after["faults"] if one["spn"] == 110] == ["boils"]


def test_a_judgement_ages_with_the_clock(book: Path) -> None:
    clock = Clock()
    documents = Documents(book, clock)
    first = documents.yard(PLAIN_WORDING)
    clock.now = KEPT_S - 1
    assert documents.yard(PLAIN_WORDING) is first
    clock.now = KEPT_S + 1
    assert documents.yard(PLAIN_WORDING) is not first


def test_units_have_documents_of_their_own(book: Path) -> None:
    documents = Documents(book, Clock())
    metric = documents.yard(PLAIN_WORDING)
    assert documents.yard(Wording(units="us")) is not metric
    assert documents.yard(PLAIN_WORDING) is metric


def test_many_who_ask_at_once_have_it_made_once(
    book: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    made = []
    real = use_cases.yard
    begun, go = threading.Event(), threading.Event()

    def counting(book: Path, *, wording: Wording) -> YardDocument:
        made.append(1)
        begun.set()
        assert go.wait(30)
        return real(book, wording=wording)

    monkeypatch.setattr(use_cases, "yard", counting)
    documents = Documents(book, Clock())
    found: list[YardDocument] = []
    threads = [
        threading.Thread(target=lambda: found.append(documents.yard(PLAIN_WORDING)))
        for _ in range(5)
    ]
    for one in threads:
        one.start()
    assert begun.wait(30)
    go.set()
    for one in threads:
        one.join()
    assert len(made) == 1
    assert all(one is found[0] for one in found)


def test_what_is_not_there_is_not_kept(book: Path) -> None:
    documents = Documents(book, Clock())
    for n in range(3):
        with pytest.raises(NotInBook):
            documents.machine(f"mnone{n}", PLAIN_WORDING)
    assert documents._making == {}
    assert documents._kept == {}


def test_a_fault_of_a_machine_that_is_kept_is_the_same(
    book: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    told = call(book, "faults", "--all", "--json").done()["machines"][0]
    which = next(one["fault"] for one in told["faults"] if one["spn"] == 110)
    call(
        book, "repair", "add", "--machine", "Grey", "--hours", "9", "--text", "x", "--fault", which
    )
    documents = Documents(book, Clock())
    alone = documents.fault(which, PLAIN_WORDING)
    assert len(alone["repairs"]) == 1
    documents = Documents(book, Clock())
    documents.machine(told["machine"], PLAIN_WORDING)

    def made_again(*_: object, **__: object) -> None:
        raise AssertionError("the fault was made again")

    with monkeypatch.context() as patched:
        patched.setattr(use_cases, "fault", made_again)
        assert documents.fault(which, PLAIN_WORDING) == alone
    # Other units are another document, and a change of the book ends both.
    assert documents.fault(which, Wording(units="us"))["fault"] == which
    assert call(book, "note", "washed", "--machine", "Grey").status == 0
    with monkeypatch.context() as patched:
        patched.setattr(use_cases, "fault", made_again)
        with pytest.raises(AssertionError):
            documents.fault(which, PLAIN_WORDING)


def test_before_anybody_asks_the_yard_and_its_machines_are_there(
    book: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    app = make_site(book)
    warm(app)

    def made_again(*_: object, **__: object) -> None:
        raise AssertionError("it was made again")

    monkeypatch.setattr(use_cases, "yard", made_again)
    monkeypatch.setattr(use_cases, "machine", made_again)
    documents = app.state.site.documents
    for one in documents.yard(PLAIN_WORDING)["machines"]:
        documents.machine(one["machine"], PLAIN_WORDING)
