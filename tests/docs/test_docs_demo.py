"""What the README shows of the demo is what the demo prints; `make pictures` makes it anew."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET

import pytest
from bootstrap.capture import (
    BEGIN,
    END,
    LEFT_OUT,
    PICTURE,
    README,
    demo_output,
    picture,
    same_identifiers,
)

ANEW = "the demo prints something else now: run `make pictures`"


@pytest.fixture(scope="module")
def demo_text() -> str:
    return same_identifiers("\n".join(demo_output(terminal=False)))


def chunks(text: str) -> list[str]:
    """Runs of lines between marks of what is left out."""
    return [one.strip("\n") for one in text.split(LEFT_OUT) if one.strip()]


def test_the_text_is_what_the_demo_prints(demo_text: str) -> None:
    block = README.read_text(encoding="utf-8").partition(BEGIN)[2].partition(END)[0]
    shown = re.search(r"^```text\n(.*?)^```", block, re.M | re.S)
    assert shown is not None
    parts = chunks(same_identifiers(shown[1]))
    assert len(parts) >= 3
    for part in parts:
        assert part in demo_text, ANEW


def test_the_picture_shows_what_the_demo_prints(demo_text: str) -> None:
    drawn = ET.parse(PICTURE).getroot()
    texts = [one.text or "" for one in drawn.iter("{http://www.w3.org/2000/svg}text")]
    assert len(texts) > 20
    lines = {line.strip() for line in demo_text.splitlines()}
    strange = [
        one for one in map(same_identifiers, texts) if one != LEFT_OUT.strip() and one not in lines
    ]
    assert strange == [], ANEW


def test_a_picture_keeps_columns_and_marks() -> None:
    drawn = ET.fromstring(picture(["\x1b[1mHead <1>\x1b[0m", "  two · words", ""]))
    texts = list(drawn.iter("{http://www.w3.org/2000/svg}text"))
    assert [one.text for one in texts] == ["Head <1>", "two · words"]
    assert [one.get("font-weight") for one in texts] == ["bold", None]
    assert float(texts[1].get("x") or 0) > float(texts[0].get("x") or 0)
