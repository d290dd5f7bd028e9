"""From the book to conclusions and back: what is kept, when it is made anew, and in which words."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from tests.bus_traffic import Bus
from tests.command_line import call
from tests.small_yard import Yard, small_yard

from shearbolt.app.composing.setting_words import setting_document, terms_words
from shearbolt.app.concluding import kept
from shearbolt.app.concluding.case import machine_case, visits_before
from shearbolt.app.concluding.conclude import Conclusions, conclude, examined, holds_until
from shearbolt.app.concluding.kept import conclusions_of, mark_of, settings_together
from shearbolt.app.concluding.record import read_machine
from shearbolt.app.documents.asking import Wording
from shearbolt.app.use_cases.opening import tables_of
from shearbolt.book import Book
from shearbolt.book.records import Visit
from shearbolt.model.instants import from_iso
from shearbolt.reasoning.advice import Now
from shearbolt.reasoning.plausibility.examination import VisitExamined, examine_visit
from shearbolt.reasoning.plausibility.trait import Past
from shearbolt.reasoning.quantity_view import QuantityView
from shearbolt.reasoning.settings import Alternative, Outing, Setting, Spoken, Term

HOT = (0, bytes([0x6E, 0x00, 0x00, 0x01]))
"""SPN 110 FMI 0, count 1: coolant far too hot (SAE J1939-73 5.7.1)."""
DAY_US = 86_400_000_000
NOW = from_iso("2026-05-20T12:00:00Z")


@pytest.fixture
def yard(tmp_path: Path) -> Yard:
    made = small_yard(tmp_path)
    made.add(HOT, day=1, more=running)
    return made


def running(bus: Bus) -> None:
    """Let the engine turn, so that the visit has a state to examine."""
    bus.engine(0, 10)


def concluded(yard: Yard, at_us: int = NOW) -> Conclusions:
    with Book.open(yard.book) as book:
        record = read_machine(book, book.machines()[0])
        return conclusions_of(book, record, tables_of(book), at_us)


def fresh(yard: Yard, at_us: int = NOW) -> Conclusions:
    """Conclude without anything kept."""
    with Book.open(yard.book) as book:
        record = read_machine(book, book.machines()[0])
        signals = book.signals_seen(record.machine.id)
        case = machine_case(record, tables_of(book), signals, book.state)
        now = Now(at_us, kept.last_hours(record))
        return conclude(record, case, settings_together(case), examined(case, ()), now)


def test_what_is_kept_is_what_was_concluded(yard: Yard) -> None:
    first = concluded(yard)
    again = concluded(yard)
    assert again == first == fresh(yard)
    (fault,) = again.advice.by_fault.values()
    # A coolant far too hot with the engine not known to stand is a stop (own safety rule 2).
    assert fault.advice == "stop_now"


def test_kept_conclusions_are_not_made_again(yard: Yard, monkeypatch: pytest.MonkeyPatch) -> None:
    first = concluded(yard)

    def never(*_: object) -> None:
        raise AssertionError("made again")

    monkeypatch.setattr(kept, "conclude", never)
    assert concluded(yard) == first
    yard.note("the lamp came on again")
    with pytest.raises(AssertionError, match="made again"):
        concluded(yard)


def test_damaged_leftovers_are_made_again(yard: Yard) -> None:
    first = concluded(yard)
    for path in (yard.book / "derived").iterdir():
        path.write_bytes(path.read_bytes()[:-3])
    assert concluded(yard) == first
    for path in (yard.book / "derived").iterdir():
        path.write_bytes(b"")
    assert concluded(yard) == first


def test_only_new_visits_are_examined(yard: Yard, monkeypatch: pytest.MonkeyPatch) -> None:
    looked: list[str] = []

    def counted(view: QuantityView, past: Past) -> VisitExamined:
        looked.append(view.visit.visit)
        return examine_visit(view, past)

    monkeypatch.setattr("shearbolt.app.concluding.conclude.examine_visit", counted)
    concluded(yard)
    before = len(looked)
    assert before == 1
    added = yard.add(HOT, day=2, more=running)
    concluded(yard)
    assert looked[before:] == [added["visits"][0]["visit"]]
    assert concluded(yard) == fresh(yard)


def test_a_visit_before_the_others_is_examined_with_all_after_it(yard: Yard) -> None:
    concluded(yard)
    yard.add(day=-3, more=running)
    assert concluded(yard) == fresh(yard)


def test_the_mark_changes_with_each_thing_filed(yard: Yard) -> None:
    def mark() -> str:
        with Book.open(yard.book) as book:
            return mark_of(book, read_machine(book, book.machines()[0]))

    marks = [mark()]
    yard.add(HOT, day=2)
    marks.append(mark())
    yard.note("weak lift")
    marks.append(mark())
    words = ("repair", "add", "--machine", "Grey", "--hours", "10", "--text", "coolant filled")
    call(yard.book, *words, "--json").done()
    marks.append(mark())
    assert len(set(marks)) == 4
    assert mark() == marks[-1]


def test_a_look_grows_old_by_itself(yard: Yard) -> None:
    soon = concluded(yard)
    assert not soon.advice.not_looked_at_since
    assert soon.holds_until_us is not None
    later = concluded(yard, soon.holds_until_us + 1)
    # 14 days or 20 engine hours (own rule, common practice).
    assert later.advice.not_looked_at_since
    assert later == fresh(yard, soon.holds_until_us + 1)


def test_what_holds_until_when(yard: Yard) -> None:
    with Book.open(yard.book) as book:
        record = read_machine(book, book.machines()[0])
        case = machine_case(
            record, tables_of(book), book.signals_seen(record.machine.id), book.state
        )
    last = case.visits[-1]
    assert last.zero_us is not None
    end = last.zero_us + last.latest_us
    assert holds_until(case, Now(end, None)) == end + 14 * DAY_US
    assert holds_until(case, Now(end + 15 * DAY_US, None)) is None
    assert holds_until(case, Now(None, None)) is None


def test_a_repair_lies_between_its_visits(yard: Yard) -> None:
    with Book.open(yard.book) as book:
        visits = book.visits()
    assert len(visits) == 2

    def with_hours(hours: tuple[float | None, float | None]) -> list[Visit]:
        return [replace(one, hours_end=told) for one, told in zip(visits, hours, strict=True)]

    machine = visits[0].machine
    known = with_hours((100.0, 110.0))
    assert [visits_before(known, machine, at, None) for at in (99.0, 100.0, 105.0, 120.0)] == [
        0,
        1,
        1,
        2,
    ]
    # Hours go before dates; where hours are missing the dates decide.
    assert visits[0].end_us is not None
    assert visits_before(known, machine, 105.0, 0) == 1
    unknown = with_hours((None, None))
    assert visits_before(unknown, machine, 105.0, visits[0].end_us) == 1
    assert visits_before(unknown, machine, None, None) == 2


def a_setting(**changes: object) -> Setting:
    oil = Term("transmission_c", 177, "<", 31.04, 28.0, 33.0, "degC")
    fast = Term("speed_kmh", 84, ">", 24.0, 22.0, 26.0, "km/h")
    made = Setting(
        "f1", "found", True, "within", (oil, fast),
        (Alternative((Term("minutes_since_start", None, "<", 20.0, 15.0, 25.0, "min"),), 9.0, 14),),
        Outing((fast,), (oil,), 1.2, 0.0),
        14, 14, 1, 5, 5, 0.4, 13.1, 20.0, 15.0, 25.0, 18.0, None, 0.0004, 0.0001, None, True,
        0.001, 400, False, (Spoken("warmth", "cold", 3, True, 5.4),),
    )  # fmt: skip
    return replace(made, **changes)  # type: ignore[arg-type]


def test_a_setting_in_words() -> None:
    shown = setting_document(a_setting())
    assert shown is not None
    assert shown["words"] == (
        "All 14 starts, on 5 days, came with transmission oil temperature below 31 °C and with "
        "ground speed above 24 km/h; the machine spent 3 % of the 13.1 h looked at under these "
        "conditions. The code follows about 20 s after that. It must be so for about 18 s on end. "
        "Chance of so good a fit by luck: less than 1 in 1,000. 1 start was left out: it was on "
        "when the recording began. The driver's words, which count little: when it is cold (3 "
        "times, which fits)."
    )
    assert shown["cannot_be_told_apart"][0]["words"] == "in the first 20 min after the start"
    assert shown["would_tell"] == (
        "Work for 72 min with ground speed above 24 km/h, but not with transmission oil "
        "temperature below 31 °C."
    )
    assert [term["spn"] for term in shown["terms"]] == [177, 84]


def test_a_setting_in_american_units() -> None:
    shown = setting_document(a_setting(), Wording(units="us"))
    assert shown is not None
    # 31.0 °C is 87.8 °F, 24 km/h is 14.9 mph (NIST SP 811 appendix B).
    assert "below 87.8 °F" in shown["words"]
    assert "above 14.9 mph" in shown["words"]


def test_what_cannot_be_told_says_what_would() -> None:
    shown = setting_document(
        a_setting(
            status="cannot_tell",
            found=False,
            terms=(),
            cannot_be_told_apart=(),
            would_tell=None,
            delay_s=None,
            persistence_s=None,
            starts_needed=3,
            starts_total=1,
            starts_unknown=0,
            spoken=(),
        )
    )
    assert shown is not None
    assert shown["words"] == (
        "When it starts cannot be told yet from 1 start. It needs about 3 more starts to tell."
    )
    assert setting_document(a_setting(status="no_starts")) is None


def test_states_and_words_of_the_driver() -> None:
    brake = Term("park_brake", 70, "=", 1.0, None, None, "state")
    said = Term("driver_words", None, "in", None, None, None, "", "cold")
    assert terms_words((brake, said)) == (
        "with the parking brake on and as the driver says, when it is cold"
    )


def test_every_command_shows_what_is_concluded(yard: Yard) -> None:
    faults = call(yard.book, "faults", "--json").done()["machines"][0]
    machine = call(yard.book, "machine", "Grey", "--json").done()
    looked = call(yard.book, "yard", "--json").done()["machines"][0]
    assert faults["advice"] == machine["advice"] == looked["advice"] == "stop_now"
    fault = call(yard.book, "fault", faults["faults"][0]["fault"], "--json").done()
    assert fault["advice"]["class"] == "stop_now"
    assert fault["advice"]["words"].startswith("As soon as it is safe")
    assert fault["advice"]["as_of"] is not None
    assert "Stop now" in call(yard.book, "fault", fault["fault"]).out
    assert "Leave it standing" in call(yard.book, "yard").out
