"""The tables that follow-ups go by, and that they refuse rows that cannot be right."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from shearbolt.dictionary import fault_scales as scales
from shearbolt.dictionary import repair_grades as grades
from shearbolt.dictionary.advice_kinds import cautions
from shearbolt.errors import DictionaryError

GOOD = {
    "grade": "hunch",
    "cured": "0.3",
    "partly": "0.3",
    "weight": "0.1",
    "words": "",
    "source": "",
}


@pytest.fixture(autouse=True)
def anew() -> Iterator[None]:
    """Read the tables anew before and after."""
    yield
    grades.repair_grades.cache_clear()
    scales.fault_scales.cache_clear()


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        ({"cured": "a third"}, "cannot be read"),
        ({"cured": "1.0"}, "beyond 0 to 1"),
        ({"cured": "0"}, "beyond 0 to 1"),
        ({"partly": "-0.1"}, "beyond 0 to 1"),
        ({"weight": "nan"}, "beyond 0 to 1"),
        ({"grade": "sure"}, "is missing"),
    ],
)
def test_grades_that_cannot_be_right(
    monkeypatch: pytest.MonkeyPatch, change: dict[str, str], sentence: str
) -> None:
    grades.repair_grades.cache_clear()
    monkeypatch.setattr(grades, "table", lambda name: ({**GOOD, **change},))
    with pytest.raises(DictionaryError, match=sentence):
        grades.repair_grades()


def test_scales_that_cannot_be_read(monkeypatch: pytest.MonkeyPatch) -> None:
    scales.fault_scales.cache_clear()
    row = {"scale": "starts", "spns": "6x", "fmis": "", "symptoms": "", "source": ""}
    monkeypatch.setattr(scales, "table", lambda name: (row,))
    with pytest.raises(DictionaryError, match="cannot be read"):
        scales.fault_scales()


def test_every_grade_and_scale_has_its_source() -> None:
    assert all(one.source and one.words for one in grades.repair_grades().values())
    assert all(one.source for one in scales.fault_scales())


def test_the_caution_against_clearing_by_time_is_there() -> None:
    """`followup.needs_inspection` is worded by it."""
    assert "not_cleared_by_time" in cautions()
