"""Baselines and learnt signals as lines for people."""

from __future__ import annotations

from typing import Any, cast

import pytest
from tests.made_documents import BASELINE, LEARN, LEARNT

from shearbolt.app.documents import GuidedStep, LearnDocument
from shearbolt.cli.guided_show import step_lines
from shearbolt.cli.layout import width_of
from shearbolt.cli.look import Look
from shearbolt.cli.outcome import DONE, NOTHING, PARTLY, exit_status
from shearbolt.cli.render_learning import render_baseline, render_learn, render_learnt

STEP: GuidedStep = {
    "number": 3,
    "of": 13,
    "words": "Stand up.",
    "seconds": 6.2,
    "cautions": ["Everything that is raised goes to the ground first: nobody under raised loads."],
}


@pytest.mark.parametrize("width", [40, 80])
def test_all_pages_fit(width: int) -> None:
    look = Look(width=width)
    for lines in (
        render_baseline(BASELINE, look),
        render_learn(LEARN, look),
        render_learnt(LEARNT, look),
        step_lines(STEP, look),
    ):
        assert max(map(width_of, lines)) <= width


def test_what_differs_stands_before_the_figures() -> None:
    text = "\n".join(render_baseline(BASELINE, Look(width=200)))
    assert text.index("40 kPa below") < text.index("Its readings")
    assert "[cannot be told here] (not told: rear hitch position)" in text


def test_before_there_is_a_baseline_every_step_has_its_cautions() -> None:
    lines = render_baseline({**BASELINE, "visit": None, "differences": [], "readings": []}, Look())
    assert lines[0] == "The grey one has no baseline yet"
    assert sum("CAUTION" in one for one in lines) == 2


def test_a_find_is_told_with_its_figures() -> None:
    text = "\n".join(render_learn(LEARN, Look(width=200)))
    for words in ("byte 4, bit 3", "13 of 13", "p = 0.00058", "0.8 s later", "other way round",
                  "rank correlation", "1,234 bits", "What is kept"):  # fmt: skip
        assert words in text, words
    many = cast(LearnDocument, {**LEARN, "found": [LEARN["found"][0]] * 12})
    assert any("4 more" in one for one in render_learn(many, Look()))


def test_the_caution_comes_before_the_command() -> None:
    lines = step_lines(STEP, Look())
    assert lines[0].startswith("- CAUTION") or "CAUTION" in lines[0]
    assert any("3/13: Stand up." in one for one in lines)


@pytest.mark.parametrize(
    ("change", "status"),
    [
        ({}, DONE),
        ({"visit": None}, NOTHING),
        ({"refused": [{"file": "a", "reason": "b"}]}, PARTLY),
        ({"amiss": "too_few"}, PARTLY),
    ],
)
def test_exit_status(change: dict[str, Any], status: int) -> None:
    assert exit_status({**LEARN, **change}) == status
