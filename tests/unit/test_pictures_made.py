"""What the figures of pictures are made of: samples with their gaps, odds, soot, lives."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from tests.made_faults import fault

from shearbolt.app.picturing.odds import odds_picture
from shearbolt.app.picturing.spell import Window, samples_of


def test_samples_keep_their_gaps_and_the_reading_of_the_start() -> None:
    # One a second, none from 3 s to 12 s: longer than three periods.
    at = np.concatenate([np.arange(-5.0, 4.0), np.arange(12.0, 16.0)])
    made = samples_of(at, at * 2.0 + 100.0, Window(0.0, -4.0, 15.0), "degC", "metric")
    assert made is not None
    assert made.unit == "°C"
    assert made.at_start == 100.0
    told = dict(zip(made.at_s, made.value, strict=True))
    assert made.at_s == [-4.0, -3.0, -2.0, -1.0, 0.0, 1.0, 2.0, 3.0, 3.0, 12.0, 13.0, 14.0, 15.0]
    assert made.value[8] is None
    assert told[12.0] == 124.0


def test_a_reading_too_old_is_not_that_of_the_start() -> None:
    at = np.asarray([-9.0, -8.0, -7.0, 2.0, 3.0])
    made = samples_of(at, at, Window(0.0, -9.0, 3.0), "rpm", "metric")
    assert made is not None
    assert made.at_start is None


def test_what_was_not_told_at_the_ends_is_a_gap() -> None:
    at = np.asarray([0.0, 1.0, 2.0])
    made = samples_of(at, at, Window(0.0, -30.0, 40.0), "rpm", "metric")
    assert made is not None
    assert list(zip(made.at_s, made.value, strict=True)) == [
        (-30.0, None), (0.0, 0.0), (1.0, 1.0), (2.0, 2.0), (2.0, None),
    ]  # fmt: skip


def test_not_available_is_no_number_and_told_once() -> None:
    at = np.arange(0.0, 100.0)
    value = np.full(100, np.nan)
    value[:3] = [20.0, 21.0, 22.0]
    made = samples_of(at, value, Window(0.0, 0.0, 99.0), "degC", "us")
    assert made is not None
    assert made.value[:4] == pytest.approx([68.0, 69.8, 71.6, None])
    assert sum(one is None for one in made.value) <= 2
    assert samples_of(at, np.full(100, np.nan), Window(0.0, 0.0, 99.0), "degC", "us") is None


def test_odds_before_are_shown_where_a_document_has_them() -> None:
    one = fault(probability_other=0.1)
    wiring: Any = {
        "cause": "wiring", "probability": 0.2, "words": "the wiring", "contributing": False,
        "evidence": [],
    }  # fmt: skip
    sensor: Any = {**wiring, "words": "the sensor", "probability": 0.7, "odds_before": 0.4}
    one["suspects"] = [wiring, sensor]
    made = odds_picture(one, "the grey one")
    assert [(each["words"], each["before"], each["now"]) for each in made["odds"]] == [
        ("the sensor", 0.4, 0.7),
        ("the wiring", None, 0.2),
        ("none of these", None, 0.1),
    ]
    assert made["lines"] == ["The likeliest, about 7 in 10: The sensor."]
    none = odds_picture(fault(), "the grey one")
    assert none["odds"] == []
    assert none["lines"] == ["Nothing is said yet of what causes it."]
