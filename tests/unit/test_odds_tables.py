"""The tables of odds: priors, ratios, companions, words of repairs."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

import shearbolt.reasoning.odds
from shearbolt.dictionary import cause_priors, evidence_ratios
from shearbolt.dictionary.cause_priors import (
    CAUSES,
    prior_of,
    prior_of_code,
    prior_of_words,
    symptom_priors,
)
from shearbolt.dictionary.evidence_ratios import acts_named, companions
from shearbolt.dictionary.quantities import quantities
from shearbolt.dictionary.tables import table
from shearbolt.errors import DictionaryError

ODDS = Path(shearbolt.reasoning.odds.__file__).parent


@pytest.mark.parametrize(
    ("spn", "fmi", "cause", "percent"),
    [
        (100, 1, "real_condition", 50),
        (100, 4, "wiring", 48),
        (110, 16, "real_condition", 78),
        (110, 3, "wiring", 54),
        (110, 4, "sensor", 50),
        (111, 18, "real_condition", 66),
        (102, 18, "calibration", 3),
        (157, 18, "real_condition", 80),
        (97, 31, "wiring", 10),
        (168, 18, "low_voltage", 69),
        (3509, 4, "shared_supply", 83),
        (190, 2, "low_voltage", 7),
        (191, 8, "sensor", 36),
        (91, 3, "shared_supply", 8),
        (1713, 0, "operator", 12),
        (639, 9, "network", 44),
        (3251, 16, "inhibited_regeneration", 32),
        (3251, 18, "wiring", 34),
        (3242, 3, "sensor", 52),
        (3226, 18, "real_condition", 52),
        (3516, 11, "sensor", 34),
        (5571, 12, "sensor", 70),
        (651, 13, "calibration", 80),
    ],
)
def test_priors_are_those_of_the_sheet(spn: int, fmi: int, cause: str, percent: float) -> None:
    """Reference sheet section 5.1; the reserve is taken off all of them alike."""
    row = prior_of(spn, fmi)
    shares = {str(one): share for one, share in row.shares.items()}
    assert shares[cause] / (1.0 - row.other) == pytest.approx(percent / 100.0)
    assert 0.05 <= row.other <= 0.15


def test_every_code_has_a_row() -> None:
    for spn in (None, 100, 250, 4500, 520_192, 524_287):
        for fmi in (None, *range(32)):
            row = prior_of(spn, fmi)
            assert sum(row.shares.values()) + row.other == pytest.approx(1.0)


@pytest.mark.parametrize(
    ("code", "kind"),
    [
        ("P0118", "voltage_out_of_range"),
        ("P0119", "erratic"),
        ("P0087", "beyond_limit"),
        ("P0001", "driver_current"),
        ("P1234", "unknown"),
        ("E41", "unknown"),
    ],
)
def test_codes_of_road_vehicles_by_their_words(code: str, kind: str) -> None:
    assert prior_of_code(code).kind == kind


def test_ratios_are_above_one_and_their_evidence_is_looked_for() -> None:
    told = "".join(path.read_text(encoding="utf-8") for path in ODDS.glob("*.py"))
    held = ("_unchanged", "_held")
    for key, rows in evidence_ratios.evidence_ratios().items():
        assert all(row.ratio > 1.0 and row.reason and row.source for row in rows)
        assert all(set(row.favours) | set(row.against) <= set(CAUSES) for row in rows)
        parts = [key.removesuffix(end) for end in held if key.endswith(end)] or [key]
        # A row that nothing looks for would be a promise; error frames are not kept with visits.
        assert f'"{parts[0]}"' in told, key


def test_companions_are_quantities() -> None:
    known = {one.key for one in quantities()}
    for (quantity, _), some in companions().items():
        assert quantity in known
        assert all(one.companion in known for one in some)


@pytest.mark.parametrize(
    ("words", "act"),
    [
        ("Fitted a new coolant sensor", "sensor_changed"),
        ("cleaned the plug and dried it", "wire_mended"),
        ("radiator blown out", "real_mended"),
        ("new battery", "battery_changed"),
        ("hitch ends taught", "taught"),
        ("talked to the driver", "driver_told"),
        ("new terminator", "bus_mended"),
        ("codes cleared, nothing else", "cleared_only"),
        ("Rear hitch position sender replaced", "sensor_changed"),
    ],
)
def test_repairs_are_known_by_their_words(words: str, act: str) -> None:
    assert acts_named(words)[:1] == (act,)


def test_words_that_name_no_repair() -> None:
    assert acts_named("did not change the sensor") == ()
    assert acts_named("looked at it") == ()


Row = dict[str, str]


@pytest.fixture
def broken(monkeypatch: pytest.MonkeyPatch) -> Iterator[Callable[[object, str, Row], None]]:
    """Put one changed first row into a table."""
    caches = (
        cause_priors.cause_priors, cause_priors.prior_adjustments, evidence_ratios.companions,
        evidence_ratios.evidence_ratios, cause_priors.prior_of,
    )  # fmt: skip

    def put(module: object, name: str, changes: Row) -> None:
        rows = table(name)
        monkeypatch.setattr(module, "table", lambda _: ({**rows[0], **changes}, *rows[1:]))
        for one in caches:
            one.cache_clear()

    yield put
    monkeypatch.undo()
    for one in caches:
        one.cache_clear()


def test_a_broken_table_says_what_is_wrong(
    broken: Callable[[object, str, Row], None],
) -> None:
    tables: tuple[tuple[object, str, Row, Callable[[], object], str], ...] = (
        (cause_priors, "cause_priors", {"sensor": "x"}, cause_priors.cause_priors, "number"),
        (cause_priors, "cause_priors", {"sensor": "99"}, cause_priors.cause_priors, "add up"),
        (cause_priors, "cause_priors", {"other": "0"}, cause_priors.cause_priors, "aside"),
        (cause_priors, "prior_adjustments", {"factor": "x"}, cause_priors.prior_adjustments,
         "number"),
        (cause_priors, "prior_adjustments", {"cause": "x"}, cause_priors.prior_adjustments,
         "no cause class"),
        (evidence_ratios, "evidence_ratios", {"ratio": "x"}, evidence_ratios.evidence_ratios,
         "no number"),
        (evidence_ratios, "evidence_ratios", {"ratio": "0.5"}, evidence_ratios.evidence_ratios,
         "above 1"),
        (evidence_ratios, "evidence_ratios", {"against": "sensor"},
         evidence_ratios.evidence_ratios, "against itself"),
        (evidence_ratios, "evidence_ratios", {"by": "x"}, evidence_ratios.evidence_ratios,
         "can tell nothing"),
        (evidence_ratios, "companions", {"direction": "x"}, evidence_ratios.companions,
         "up or down"),
    )  # fmt: skip
    for module, name, changes, read, words in tables:
        broken(module, name, changes)
        with pytest.raises(DictionaryError, match=words):
            read()


def test_every_symptom_has_a_prior_of_its_own_kind() -> None:
    keys = {row["key"] for row in table("symptoms")}
    # A lamp without a code says nothing of a cause: it has the row of what is not known.
    assert keys - set(symptom_priors()) == {"lamp_without_code"}
    assert set(symptom_priors()) <= keys
    for one in symptom_priors().values():
        assert sum(one.shares.values()) + one.other == pytest.approx(1.0)
    # Common practice, no source: slow cranking is the battery or its main cables far more often.
    slow = prior_of_words("Cranks slowly")
    assert max(slow.shares, key=lambda cause: slow.shares[cause]) == "low_voltage"
    assert prior_of_words("something odd") == cause_priors.cause_priors()[-1]
