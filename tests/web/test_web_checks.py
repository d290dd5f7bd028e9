"""Checks on the pages: what was found is told once, and the odds move at once."""

from __future__ import annotations

from pathlib import Path

import pytest
from tests.command_line import call
from tests.web.pages import JSON, NOW, Inside, Pages

from shearbolt.app.composing.check_words import STEPS
from shearbolt.dictionary.checks import checks
from shearbolt.web import words
from shearbolt.web.documents import Documents
from shearbolt.web.forms import Filled
from shearbolt.web.look import Look
from shearbolt.web.view_check import check_asked, value_filed


def likely(book: Path, fault: str) -> dict[str, float]:
    document = call(book, "fault", fault.rsplit("/", 1)[1], "--json").done()
    return {one["cause"]: one["probability"] for one in document["suspects"]}


def done_on(book: Path) -> list[dict[str, object]]:
    found: list[dict[str, object]] = call(book, "check", "list", "Grey", "--json").done()["done"]
    return found


def radios(html: str) -> dict[str | None, bool]:
    return {
        attributes["value"]: "checked" in attributes
        for tag, attributes in Inside(html).elements
        if tag == "input" and attributes.get("name") == "outcome"
    }


def test_what_is_measured_is_what_the_catalogue_measures() -> None:
    every = checks().values()
    assert {one.check: one.unit for one in every if one.measure} == words.MEASURED
    by_temperature = {one.check for one in every if one.measure in ("ntc", "pt", "cranking")}
    assert by_temperature == words.BY_TEMPERATURE
    assert {one.check for one in every if one.measure == "limits24"} == words.BY_BATTERY
    assert set(STEPS) == {one.check for one in every}


def test_every_check_of_a_fault_leads_to_its_form(read_pages: Pages) -> None:
    fault = read_pages.fault("coolant temperature")
    document = call(read_pages.book, "fault", fault.rsplit("/", 1)[1], "--json").done()
    page = read_pages.shown(fault)
    assert len(document["checks"]) >= 4
    for one in document["checks"]:
        form = f"{fault}/checks/{one['check']}"
        assert f'href="{form}"' in page
        names = {row.outcome for row in checks()[one["check"]].plain}
        shown = read_pages.shown(form)
        assert set(radios(shown)) == names
        assert not any(radios(shown).values())
        # What can hurt stands beside what is to be done.
        for caution in one["cautions"]:
            assert caution.rstrip(".") in Inside(shown).text


def test_an_answer_moves_the_odds_and_counts_once(pages: Pages) -> None:
    fault = pages.fault("coolant temperature")
    form = f"{fault}/checks/coolant_level_cold"
    before = likely(pages.book, fault)
    fields = {"outcome": "low", "hours": "131", "who": "Nan", "key": pages.key(form)}
    status, to, _ = pages.sent(form, fields)
    assert status == 303
    now = likely(pages.book, fault)
    assert now["real_condition"] > before["real_condition"] + 0.02
    moved = Inside(pages.shown(to)).text
    assert "Likeliest now: It is truly so" in moved
    assert f"It was {before['real_condition']:.0%}, and is {now['real_condition']:.0%}." in (
        moved.replace(" %", "%")
    )
    assert "What to check next" in moved
    # The same form again, after its answer was lost: nothing is entered twice.
    assert pages.sent(form, fields)[:2] == (303, to)
    assert [(one["outcome"], one["who"]) for one in done_on(pages.book)] == [("low", "Nan")]
    other = pages.sent(form, {**fields, "outcome": "at_mark"})
    assert (other[0], f'href="{to}"' in other[2]) == (409, True)
    assert len(done_on(pages.book)) == 1
    # It stands on the fault's page, and its form knows that it is asked for no more.
    shown = Inside(pages.shown(fault)).text
    assert "What was checked" in shown
    assert "Too low." in shown


def test_a_measured_value_is_enough(pages: Pages) -> None:
    fault = pages.fault("oil pressure")
    form = f"{fault}/checks/ground_drop"
    assert "What you measured, in V" in Inside(pages.shown(form)).text
    status, to, _ = pages.sent(form, {"value": "0,4", "key": pages.key(form)})
    assert status == 303
    found = done_on(pages.book)
    assert [(one["outcome"], one["value"]) for one in found] == [("bad", 0.4)]
    assert "0.3 V or more" in Inside(pages.shown(to)).text


@pytest.mark.parametrize(
    ("fields", "field"),
    [
        ({}, "outcome"),
        ({"outcome": "no such thing"}, "outcome"),
        ({"value": "a lot"}, "value"),
        ({"value": "nan"}, "value"),
        ({"value": "0.4", "hours": "often"}, "hours"),
    ],
)
def test_each_trouble_stands_beside_its_field(
    read_pages: Pages, fields: dict[str, str], field: str
) -> None:
    form = f"{read_pages.fault('oil pressure')}/checks/ground_drop"
    before = len(done_on(read_pages.book))
    answer = read_pages.post(form, data={**fields, "key": read_pages.key(form)}, headers=JSON)
    assert answer.status_code == 422
    assert list(answer.json()["problems"]) == [field]
    assert answer.json()["problems"][field].endswith((".", "V: 4.8."))
    assert len(done_on(read_pages.book)) == before


def test_a_value_that_means_nothing_here_is_asked_for_in_words(pages: Pages) -> None:
    form = f"{pages.fault('coolant temperature')}/checks/sensor_resistance"
    status, _, html = pages.sent(form, {"value": "2500", "key": pages.key(form)})
    shown = Inside(html).text
    assert status == 422
    assert "is not known here" in shown
    assert "--" not in shown
    assert 'value="2500"' in html
    assert done_on(pages.book) == []


def test_there_is_no_form_for_an_unknown_check_or_fault(read_pages: Pages) -> None:
    fault = read_pages.fault("oil pressure")
    for address in (f"{fault}/checks/nothing", "/faults/fnone/checks/ground_drop",
                    f"{fault}/moved/{'x' * 22}"):  # fmt: skip
        assert read_pages.get(address).status_code == 404


def test_how_a_check_is_done_never_stands_without_its_cautions(read_pages: Pages) -> None:
    fault = read_pages.fault("oil pressure")
    document = call(read_pages.book, "fault", fault.rsplit("/", 1)[1], "--json").done()
    asked_for = {one["check"] for one in document["checks"]}
    foreign = next(one for one in STEPS if one not in asked_for and checks()[one].cautions)
    shown = Inside(read_pages.shown(f"{fault}/checks/{foreign}")).text
    assert STEPS[foreign][0] in shown
    assert STEPS[foreign][1][:30] not in shown
    assert "does not ask for it now" in shown


def test_bands_are_those_of_the_machine_s_battery(made_book: Path) -> None:
    documents = Documents(made_book, lambda: 0.0)
    look = Look(now=NOW)
    machine = documents.yard(look.wording)["machines"][0]["machine"]
    fault = documents.machine(machine, look.wording)["faults"][0]["fault"]
    document = documents.fault(fault, look.wording)
    assert documents.system_v(machine) == 12
    twelve = check_asked(document, "battery_rest", 12, look).outcomes[0][1]
    assert (twelve, check_asked(document, "battery_rest", 24, look).outcomes[0][1]) == (
        "Below 12 V",
        "Below 24 V",
    )


def test_values_are_filed_in_the_catalogue_s_unit() -> None:
    def filed(typed: str, unit: str) -> float | None:
        return value_filed(Filled({"value": [typed]}), "value", unit, "us")

    # 10 psi are 68.95 kPa, 212 °F are 100 °C, a difference of 18 °F is one of 10 K
    # (NIST SP 811 appendix B, from memory).
    assert filed("10", "kPa") == pytest.approx(68.95, abs=0.01)
    assert filed("212", "degC") == pytest.approx(100.0)
    assert filed("18", "K") == pytest.approx(10.0)
    assert filed("12.4", "V") == 12.4
    assert filed("", "V") is None
