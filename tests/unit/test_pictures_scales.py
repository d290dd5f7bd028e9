"""Places, ticks and figures of pictures, worked by hand."""

from __future__ import annotations

from datetime import timedelta, timezone
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shearbolt.app.picturing.conditions import edges_of
from shearbolt.app.picturing.units import figure as app_figure
from shearbolt.app.picturing.units import shown_in
from shearbolt.pictures import style
from shearbolt.pictures.scales import (
    Scale,
    apart,
    day_ticks,
    figure,
    lasting,
    moment,
    spent,
    ticks,
    time_ticks,
)


def test_a_value_lies_where_it_should() -> None:
    across = Scale(-40.0, 40.0, 74.0, 704.0)
    assert across(-40.0) == 74.0
    assert across(0.0) == 389.0
    assert across(30.0) == 625.25
    assert Scale(0.0, 10.0, 200.0, 100.0)(2.5) == 175.0, "upward"
    assert across.within(1e9) == 704.0
    assert Scale(5.0, 5.0, 0.0, 10.0)(5.0) == 5.0, "no width, no division"


@given(st.floats(-1e6, 1e6), st.floats(1e-3, 1e6), st.integers(3, 12))
def test_ticks_are_round_and_few(low: float, span: float, most: int) -> None:
    found = ticks(low, low + span, most)
    assert 2 <= len(found) <= most + 1
    assert all(low - span * 1e-6 <= one <= low + span * 1.000001 for one in found)


@given(st.floats(-1e5, 1e5), st.floats(1e-3, 1e5), st.integers(2, 20))
def test_steps_hold_every_value(low: float, span: float, steps: int) -> None:
    edges = edges_of(low, low + span, steps)
    slack = span * 1e-6
    assert edges[0] <= low + slack
    assert edges[-1] >= low + span - slack
    assert 1 <= len(edges) - 1 <= steps + 2
    assert edges == sorted(set(edges))


def test_two_figures_at_least() -> None:
    assert ticks(6.0, 14.7, 3) == [6.0, 8.0, 10.0, 12.0, 14.0]
    assert ticks(0.0, 100.0, 3) == [0.0, 50.0, 100.0]


def test_moments_round_the_start() -> None:
    assert time_ticks(-40.0, 40.0, 7) == [-30.0, -15.0, 0.0, 15.0, 30.0]
    assert [apart(one) for one in (-30.0, 90.0, 130.0, 1800.0, -5400.0)] == [
        "−30 s", "+90 s", "+2 min 10 s", "+30 min", "−1 h 30 min",
    ]  # fmt: skip
    assert day_ticks(0.0, 86400.0 * 10, 5) == [86400.0 * one for one in (0, 2, 4, 6, 8, 10)]


def test_figures_are_read_easily() -> None:
    assert [figure(one) for one in (1850.0, 0.576, -3.05, 93.2, 0.0, 12.0)] == [
        "1,850", "0.58", "−3.05", "93.2", "0", "12",
    ]  # fmt: skip
    assert figure(0.0162, 5.8) == "0.02", "no finer than a hundredth of what it belongs to"
    assert figure(14.45, 0.0) == "14.45", "of what never changes all that is told"
    assert [app_figure(one) for one in (1850.4, 0.576, -3.05, 0.0)] == [
        "1,850", "0.58", "−3.05", "0",
    ]  # fmt: skip
    assert [lasting(one) for one in (0.4, 34.0, 129.0, 3720.0)] == [
        "under 1 s", "34 s", "2 min 9 s", "1 h 2 min",
    ]  # fmt: skip
    assert [spent(one) for one in (0.0, 0.005, 0.25, 8.125)] == ["none", "18 s", "15 min", "8.12 h"]


def test_units_of_the_united_states() -> None:
    # 37 degC = 98.6 degF; 100 kPa = 14.5 psi (NIST SP 811 appendix B)
    assert shown_in("degC", "us").of(37.0) == pytest.approx(98.6)
    assert shown_in("kPa", "us").of(100.0) == pytest.approx(14.504, abs=1e-3)
    assert shown_in("degC", "metric").unit == "°C"
    assert shown_in("rpm", "us").of(1500.0) == 1500.0


def test_times_are_told_in_the_zone_asked_for() -> None:
    zone = timezone(timedelta(hours=2))
    assert moment("2026-05-14T06:12:09.000000Z", zone) == "14 May 2026, 08:12:09"


def luminance(colour: str) -> float:
    """Relative luminance (WCAG 2.1, definition of 'relative luminance')."""
    parts = [int(colour[i : i + 2], 16) / 255.0 for i in (1, 3, 5)]
    linear = [one / 12.92 if one <= 0.04045 else ((one + 0.055) / 1.055) ** 2.4 for one in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> float:
    """Contrast ratio (WCAG 2.1, definition of 'contrast ratio')."""
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


@pytest.mark.parametrize(
    ("text", "ground"),
    [
        (style.INK, style.PAPER),
        (style.QUIET, style.PAPER),
        (style.LIMIT, style.PAPER),
        (style.INK, style.FAULT),
        (style.PAPER, style.FAULT_BAR),
        (style.PAPER, style.LINE),
    ],
)
def test_text_is_read_in_bright_sun(text: str, ground: str) -> None:
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)
    assert contrast(text, ground) >= 7.0


def test_shades_of_time_fall_evenly_without_colour() -> None:
    grey = [luminance(one) for one in style.TIME_STEPS]
    assert all(light > 1.3 * dark for light, dark in pairwise(grey))


@given(st.text(st.characters(codec="utf-8", exclude_categories=["Z", "C"]), max_size=60))
def test_broken_text_loses_nothing_and_fits(words: str) -> None:
    lines = style.broken(words, 120.0, 14.0)
    assert "".join(lines).replace(" ", "") == words.replace(" ", "")
    assert all(style.width_of(one, 14.0) <= 120.0 for one in lines)


def test_a_figure_stays_with_its_unit() -> None:
    lines = style.broken("the machine worked so for 5 s in all", 180.0, 14.0)
    assert any("5\u00a0s" in one for one in lines)
