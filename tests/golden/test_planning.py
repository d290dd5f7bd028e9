"""What lies ahead, through the command line: service, work, forecasts, costs, Sunday, a buyer."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from tests.bus_traffic import Bus, dtc
from tests.command_line import call
from tests.small_yard import NAMES, Yard, small_yard

from shearbolt.book import Book
from shearbolt.model.instants import from_iso

DAY_US = 86_400_000_000
MAY = from_iso("2026-05-20T12:00:00Z")
HOURS, DM21, DM5 = 65253, 49408, 65230
HOT, BRAKE = dtc(110, 0), dtc(1087, 1)
COSTS = (
    "--currency", "EUR", "--call-out", 80, "--hourly-rate", 90, "--distance", 30, "--per-km", 1,
    "--own-hour", 30, "--standstill-hour", 50, "--wait-hours", 4, "--called-hours", 2,
)  # fmt: skip


@pytest.fixture
def yard(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Yard:
    """A book whose time now is some days after its first recording."""
    for module in ("planned", "use_cases.planning", "concluding.kept", "handing"):
        name = f"shearbolt.app.{module}.now_us"
        monkeypatch.setattr(name, lambda: MAY, raising=False)
    return small_yard(tmp_path)


def hours(at: float) -> bytes:
    """Total engine hours, 0.05 h a bit (SAE J1939-71 HOURS)."""
    return round(at / 0.05).to_bytes(4, "little") + b"\xff" * 4


def look(yard: Yard, day: int, at_h: float, *codes: tuple[int, bytes], name: str = "Grey") -> None:
    """Bring in 10 s of a machine with its engine running and an hour meter."""
    bus = Bus()
    for address, own in NAMES.items():
        bus.claim(0.1, address, own)
    bus.alive(0, 10, *NAMES)
    bus.engine(0, 10)
    bus.say(1.0, HOURS, 0, hours(at_h))
    bus.say(9.0, HOURS, 0, hours(at_h))
    for address in NAMES:
        some = [code for sender, code in codes if sender == address]
        bus.dm1_each(0.5 + address / 100, 10, address, *some, lamps=0x10 if some else 0)
    yard.add_bus(bus, day=day, machine=name)


def told(yard: Yard, *words: object, status: int = 0) -> Any:
    return call(yard.book, *words, "--json").done(status)


def lines(yard: Yard, *words: object) -> str:
    shown = call(yard.book, *words, "--quiet")
    assert shown.status == 0, shown.err
    return shown.out


def fault(yard: Yard, spn: int) -> str:
    return next(str(one["fault"]) for one in yard.faults() if one["spn"] == spn)


def test_service_is_due_by_hours_or_by_date_whichever_comes_first(yard: Yard) -> None:
    look(yard, 1, 1010.0)
    job = told(yard, "service", "add", "Grey", "--text", "engine oil", "--every-hours", 500,
               "--every-days", 365, "--minutes", 45)  # fmt: skip
    assert job["due"] == "not_known"
    done = told(yard, "service", "done", job["job"], "--hours", 530, "--date", "2026-05-01")
    assert done["job"] == job["job"]
    assert done["service_done"]
    # 530 + 500 - 1,010 h: 20 h are left.
    assert (done["left_hours"], done["due"]) == (20.0, "later")
    shown = told(yard, "service", "list", "Grey", "--window", 40)
    (entry,) = shown["services"]
    assert (entry["due"], entry["why"]) == ("before_window_ends", "hours")
    assert "Due in 20 h" in lines(yard, "service", "list")
    # A date in the past is overdue, however few hours were run.
    told(yard, "service", "done", job["job"], "--hours", 1009, "--date", "2025-05-13")
    (entry,) = told(yard, "service", "list")["services"]
    assert (entry["last_hours"], entry["last_date"][:10]) == (1009.0, "2026-05-01")
    told(yard, "service", "withdraw", job["job"])
    assert told(yard, "service", "list")["services"] == []
    assert call(yard.book, "service", "done", job["job"], "--json").done(2)


def test_a_meter_read_by_a_person_counts_where_no_bus_was_heard_since(yard: Yard) -> None:
    look(yard, 1, 1010.0)
    job = told(yard, "service", "add", "Grey", "--text", "grease", "--every-hours", 50)["job"]
    told(yard, "service", "done", job, "--hours", 1005)
    told(yard, "repair", "add", "--machine", "Grey", "--hours", 1060, "--text", "new tyre")
    (entry,) = told(yard, "service", "list")["services"]
    assert (entry["due"], entry["left_hours"]) == ("overdue", -5.0)
    assert entry["words"] == "Overdue by 5 h."


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (["--text", "oil"], "how often"),
        (["--text", " ", "--every-hours", "5"], "what is to be done"),
        (["--text", "oil", "--every-hours", "0"], "above 0"),
        (["--text", "oil", "--every-days", "9", "--minutes", "-1"], "0 or more"),
    ],
)
def test_service_that_says_too_little_is_refused(
    yard: Yard, words: list[str], sentence: str
) -> None:
    said = call(yard.book, "service", "add", "Grey", *words, "--json")
    assert said.status == 2
    assert sentence in said.sentence


def test_a_job_by_hours_needs_the_meter(yard: Yard) -> None:
    job = told(yard, "service", "add", "Grey", "--text", "oil", "--every-hours", 50)["job"]
    assert "--hours" in call(yard.book, "service", "done", job, "--json").sentence


def test_the_forecast_counts_what_the_book_knows(yard: Yard) -> None:
    look(yard, 1, 1000.0)
    before = told(yard, "forecast", "Grey", "--hours", 20)
    assert (before["own_stops"], before["standing"]) == (0.0, [])
    look(yard, 2, 1030.0, (0, HOT))
    after = told(yard, "forecast", "Grey", "--hours", 20)
    assert (after["own_stops"], after["own_hours"]) == (1.0, 30.0)
    assert after["chance"] < before["chance"]
    assert after["low"] < after["chance"] < after["high"]
    assert [one["fault"] for one in after["standing"]] == [fault(yard, 110)]
    # All machines together: 1.5 stops in 30 h by the Jeffreys mean.
    assert after["base_rate"] == pytest.approx(2.718281828 ** (-20 * 1.5 / 30), abs=1e-6)
    said = lines(yard, "forecast", "Grey", "--hours", "20")
    assert "this book knows about" in " ".join(said.split())
    assert call(yard.book, "forecast", "Grey", "--hours", "-1", "--json").status == 2


def test_the_work_list_puts_safety_first_and_weighs_the_rest(yard: Yard) -> None:
    look(yard, 1, 1000.0)
    look(yard, 2, 1030.0, (0, HOT), (3, BRAKE))
    job = told(yard, "service", "add", "Grey", "--text", "oil", "--every-hours", 50)["job"]
    told(yard, "service", "done", job, "--hours", 990)
    work = told(yard, "work", "--window", 40)
    assert work["currency"] is None
    by_fault = {one["fault"]: one for one in work["jobs"]}
    brake, hot = by_fault[fault(yard, 1087)], by_fault[fault(yard, 110)]
    assert work["jobs"][0] is brake
    assert (brake["safety"], brake["by_yourself"]) == (True, False)
    assert "qualified" in brake["words"]
    assert brake["cautions"]
    assert hot["stands_now"]
    assert hot["risk_taken"] == pytest.approx(hot["chance_before"] * hot["probability"])
    assert hot["risk_per_hour"] == pytest.approx(hot["risk_taken"] / (hot["minutes"] / 60))
    assert hot["value"] is None
    assert hot["service"] == ["oil"]
    assert [one["job"] for one in work["service"]] == [job]
    told(yard, "costs", *COSTS)
    paid = told(yard, "work", "--window", 40, "--shop-hours", 0.1)
    hot = next(one for one in paid["jobs"] if one["fault"] == hot["fault"])
    # A stop costs 4 h of waiting and 2 h of work; 50 an hour, less one's own time at 30.
    saved = hot["hours_saved"] * 50 - hot["minutes"] / 60 * 30
    assert hot["value"] == pytest.approx(saved)
    assert not hot["fits"]
    assert "safety first" in lines(yard, "work")


def test_costs_are_kept_and_one_figure_changes_alone(yard: Yard) -> None:
    empty = told(yard, "costs")
    assert "--own-hour" in empty["missing"]
    full = told(yard, "costs", *COSTS)
    assert full["missing"] == []
    changed = told(yard, "costs", "--standstill-hour", 90)
    assert (changed["standstill_hour"], changed["call_out"]) == (90.0, 80.0)
    assert "0 or more" in call(yard.book, "costs", "--call-out", "-1", "--json").sentence


def test_courses_by_hand(yard: Yard) -> None:
    look(yard, 1, 1000.0)
    look(yard, 2, 1030.0, (0, HOT))
    which = fault(yard, 110)
    assert "shearbolt costs" in call(yard.book, "courses", which, "--json").sentence
    told(yard, "costs", *COSTS)
    shown = told(yard, "courses", which, "--parts", "sensor=140")
    assert shown["offered"]
    by_name = {one["course"]: one for one in shown["costs"]}
    parts = sum(one["probability"] * one["parts"] for one in shown["odds"])
    # Fixed part, way there and back, 2 h of work, parts by their odds, and 6 h of standstill.
    assert by_name["call"]["expected"] == pytest.approx(80 + 60 + 180 + parts + 6 * 50)
    assert next(one["parts"] for one in shown["odds"] if one["cause"] == "sensor") == 140.0
    first = by_name["yourself"]["order"][0]
    odds = next(one for one in shown["odds"] if one["cause"] == first)
    tried = odds["own_hours"] * (30 + 50) + odds["parts"]
    one = by_name["first_job_then_call"]
    assert one["expected"] == pytest.approx(
        tried + (1 - odds["probability"]) * by_name["call"]["expected"]
    )
    total = sum(one["probability"] for one in shown["odds"]) + shown["probability_other"]
    assert total == pytest.approx(1.0, abs=0.06)
    assert shown["cautions"]
    assert (
        "no cause class" in call(yard.book, "courses", which, "--parts", "x=1", "--json").sentence
    )
    assert call(yard.book, "courses", which, "--parts", "sensor", "--json").status == 2


def test_no_arithmetic_against_brakes_whatever_things_cost(yard: Yard) -> None:
    look(yard, 1, 1000.0, (3, BRAKE))
    shown = told(yard, "courses", fault(yard, 1087))
    assert (shown["offered"], shown["not_offered_because"]) == (False, "brakes")
    assert shown["costs"] == []
    assert "qualified" in shown["words"][0]


def test_sunday_has_two_lines_a_machine_and_may_go_decays(
    yard: Yard, monkeypatch: pytest.MonkeyPatch
) -> None:
    look(yard, 1, 1000.0)
    monkeypatch.setattr("shearbolt.app.use_cases.planning.now_us", lambda: MAY)
    (fresh,) = told(yard, "sunday")["machines"]
    assert fresh["looked_at"]
    assert fresh["says"].startswith("may go")
    monkeypatch.setattr("shearbolt.app.use_cases.planning.now_us", lambda: MAY + 30 * DAY_US)
    (old,) = told(yard, "sunday")["machines"]
    assert not old["looked_at"]
    assert "may go" not in old["says"]
    assert old["says"].startswith("not looked at since") or "nothing can be said" in old["says"]
    assert "listen" in old["do"]
    job = told(yard, "service", "add", "Grey", "--text", "grease", "--every-days", 5)["job"]
    told(yard, "service", "done", job, "--date", "2026-05-01")
    look(yard, 3, 1010.0, (0, HOT), name="Red")
    document = told(yard, "sunday")
    page = lines(yard, "sunday").splitlines()
    assert len(page) == 1 + 2 * 2 + 2
    assert all(len(line) <= 80 for line in page)
    assert "service overdue: grease" in "\n".join(page)
    assert all(0.0 < one["minutes"] < 15.0 for one in document["machines"])
    assert document["machines"][0]["machine_name"] == "Red"


def test_a_second_hand_machine_is_not_accused(yard: Yard) -> None:
    bus = Bus()
    for address, own in NAMES.items():
        bus.claim(0.1, address, own)
    bus.alive(0, 10, *NAMES)
    bus.say(1.0, HOURS, 0, hours(5910.0))
    bus.say(1.2, HOURS, 3, hours(3200.0))
    # Reference sheet 4, row 22: 12 km and 60 min with the lamp, 500 km and 600 min since a clear.
    bus.say(2.0, DM21 | 0xFF, 0, bytes.fromhex("0C00F4013C005802"))
    bus.dm1_each(0.5, 10, 0, dtc(110, 0, 41), lamps=0x04)
    yard.add_bus(bus, day=5, machine="Bargain")
    shown = told(yard, "secondhand", "Bargain")
    by_topic = {one["about"]: one for one in reversed(shown["shows"])}
    assert "5,910.0 h" in by_topic["hours"]["shows"]
    assert "3,200.0 h" in by_topic["hours"]["shows"]
    assert by_topic["hours"]["innocent"]
    assert "10 h of running and 500 km ago" in by_topic["cleared"]["shows"]
    assert "1 h and 12 km run with the engine check lamp lit" in by_topic["lamp"]["shows"]
    assert "counted 41 times" in by_topic["codes"]["shows"]
    assert any("cleared" in one for one in shown["questions"])
    said = " ".join(lines(yard, "secondhand", "Bargain").split())
    assert "Memory shows engine hours that differ" in said
    assert "It may be innocent" in said


def test_a_machine_without_a_recording_has_nothing_to_show(yard: Yard) -> None:
    with Book.open(yard.book) as book, book.writing() as writer:
        writer.add_machine("Unseen", name_given=True, now_us=MAY)
    shown = told(yard, "secondhand", "Unseen")
    assert (shown["visit"], shown["visits"], shown["shows"]) == (None, 0, [])
    assert "no recording" in shown["words"][0]
    (asked,) = (one for one in told(yard, "sunday")["machines"] if one["machine_name"] == "Unseen")
    assert not asked["looked_at"]


def test_a_quiet_memory_is_no_praise(yard: Yard) -> None:
    shown = told(yard, "secondhand", "Grey")
    assert {one["about"] for one in shown["shows"]} == {"not_told"}
    assert "no proof of a sound machine" in shown["words"][0]
