"""The tables of advice: each row whole, sourced, worded, and readable by its loader."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from shearbolt.app.composing import advice_words as words
from shearbolt.app.composing.advice_kind_words import KIND_WORDS
from shearbolt.app.composing.measures import fill, measure, of_quantity, quantity_words
from shearbolt.dictionary import advice_kinds as module
from shearbolt.dictionary import tables
from shearbolt.dictionary.advice_kinds import (
    advice_kinds,
    cautions,
    dangerous_readings,
    kind_of_code,
    kind_of_road_code,
    kind_of_symptom,
    symptom_of,
)
from shearbolt.dictionary.phrases import known_phrases
from shearbolt.errors import DictionaryError

SOURCES = {row["code"] for row in tables.table("sources")}


def test_every_kind_is_whole() -> None:
    known = {one.key for one in known_phrases() if one.kind == "symptom"}
    used: set[str] = set()
    for kind in advice_kinds():
        assert kind.source in SOURCES, kind.kind
        assert set(kind.cautions) - {"jump_start"} <= set(cautions()), kind.kind
        assert kind.symptoms <= known, kind.kind
        assert kind.until in words.UNTILS
        assert kind.release in {"", *words.RELEASES}
        assert kind.place in {"", *words.PLACES}
        if kind.watch is not None:
            quantity_words(kind.watch.quantity)
        used |= kind.symptoms
    assert used == known
    assert {one.kind for one in advice_kinds()} == set(KIND_WORDS)
    assert len({one.kind for one in advice_kinds()}) == len(advice_kinds())


def test_every_caution_and_reading_is_sourced_and_used() -> None:
    used = {key for kind in advice_kinds() for key in kind.cautions}
    used |= {key for one in dangerous_readings() for key in one.cautions}
    by_context = {
        "jump_start_12", "jump_start_24", "jump_start_unknown", "battery_frozen", "def_frost",
        "wait_for_purge", "unplug_us_first", "not_cleared_by_time", "orange_cables",
    }  # fmt: skip
    assert set(cautions()) == used - {"jump_start"} | by_context
    for one in cautions().values():
        assert one.source in SOURCES
        assert one.words.endswith(".")
        assert "{" not in words.caution_words(one.key, "us")
    assert all(one.source in SOURCES for one in dangerous_readings())


@pytest.mark.parametrize(
    ("spn", "fmi", "kind"),
    [
        (100, 1, "oil_pressure_lost"), (100, 4, "oil_pressure_unwatched"), (110, 16, "coolant_hot"),
        (110, 18, "thermostat_cold"), (2011, 9, "safety_unit_missing"), (2003, 9, "network"),
        (9999, 3, "by_fmi"), (9999, 7, "worst_level"), (524020, 31, "by_lamps"),
        (520192, 0, "by_lamps"), (70, 31, "interlock"), (70, 3, "interlock_failed"),
    ],
)  # fmt: skip
def test_the_first_row_that_fits_is_the_kind(spn: int, fmi: int, kind: str) -> None:
    assert kind_of_code(spn, fmi).kind == kind


def test_codes_and_symptoms() -> None:
    assert kind_of_road_code("p0217").kind == "coolant_hot_worst"
    assert kind_of_road_code("P0217-1A").kind == "coolant_hot_worst"
    assert kind_of_road_code("C0035").kind == "brake_part"
    assert kind_of_road_code("U0100").kind == "road_code"
    assert kind_of_road_code("E21").kind == "by_lamps"
    assert symptom_of("Won't crank") == "wont_crank"
    assert symptom_of("purple") is None
    assert kind_of_symptom("purple").kind == "unknown_symptom"


ROW = dict.fromkeys(tables.table("advice_kinds")[0], "")
GOOD = {**ROW, "kind": "k", "spns": "1", "class": "keep_working", "until": "yard", "until_h": "1"}


@pytest.fixture
def _fresh() -> Iterator[None]:
    caches = (module.advice_kinds, module.dangerous_readings, module.cautions)
    for one in caches:
        one.cache_clear()
    yield
    for one in caches:
        one.cache_clear()


@pytest.mark.usefixtures("_fresh")
@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"class": "perhaps"}, "no advice class"),
        ({"engine": "explode"}, "nothing to do with an engine"),
        ({"spns": "x"}, "number"),
        ({"watch": "coolant_c", "stop_op": "=", "stop_at": "1"}, "number"),
        ({"class": "finish_gently"}, "nothing to watch"),
        ({"floor": "finish_gently"}, "nothing to watch"),
        ({"until": ""}, "no end"),
        ({"until": "open"}, "no end"),
    ],
)
def test_a_bad_row_is_told(
    monkeypatch: pytest.MonkeyPatch, changes: dict[str, str], says: str
) -> None:
    monkeypatch.setattr(module, "table", lambda _: ({**GOOD, **changes},))
    with pytest.raises(DictionaryError, match=says):
        advice_kinds()


@pytest.mark.usefixtures("_fresh")
@pytest.mark.parametrize("changes", [{"limit": "x"}, {"engine": ""}, {"quantity": ""}])
def test_a_bad_reading_is_told(monkeypatch: pytest.MonkeyPatch, changes: dict[str, str]) -> None:
    good = dict(tables.table("dangerous_readings")[0])
    monkeypatch.setattr(module, "table", lambda _: ({**good, **changes},))
    with pytest.raises(DictionaryError):
        dangerous_readings()


def test_measures() -> None:
    assert measure(108.0, "degC", "metric") == "108 °C"
    assert measure(108.0, "degC", "us") == "226 °F"
    assert measure(450.0, "kPa", "us") == "65.3 psi"
    assert of_quantity("battery_v", 11.5, "metric") == "11.5 V"
    assert fill("below {50 degC} only", "us") == "below 122 °F only"
    with pytest.raises(KeyError):
        quantity_words("mood")
