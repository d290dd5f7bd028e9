"""Connectors: every pin once, inside its drawing, and the buses where the standards put them."""

from __future__ import annotations

from itertools import combinations
from math import dist

import pytest
from tests.web.pages import Inside, Pages

from shearbolt.web.plugs import MEASURED, PLUGS, Plug, plug_of

# Reference sheet section 5.1: SAE J1939-13, SAE J1708, SAE J1962, ISO 11783-2.
EXPECTED = {
    "nine-round": {"A": "ground", "B": "power", "C": "bus", "D": "bus", "H": "second_bus"},
    "six-round": {"A": "other", "B": "other", "C": "power", "E": "ground"},
    "sixteen-long": {"4": "ground", "5": "ground", "6": "bus", "14": "bus", "16": "power"},
    "rear-nine": {"1": "ground", "3": "power", "8": "bus", "9": "bus"},
    "cab-nine": {},
}


@pytest.mark.parametrize("plug", PLUGS, ids=lambda one: str(one.key))
def test_pins_are_where_they_should_be(plug: Plug) -> None:
    marks = [one.mark for one in plug.pins]
    assert len(set(marks)) == len(marks)
    assert str(len(marks)) in plug.name
    for mark, carries in EXPECTED[plug.key].items():
        assert [one.carries for one in plug.pins if one.mark == mark] == [carries]
    for one in plug.pins:
        assert dist((0, 0), (one.x, one.y)) <= 43
    for one, other in combinations(plug.pins, 2):
        assert dist((one.x, one.y), (other.x, other.y)) >= 10.9, (one.mark, other.mark)
    assert plug.cautions
    assert plug.source
    assert "I" not in marks


def test_every_plug_has_its_page_and_its_drawing(read_pages: Pages) -> None:
    overview = read_pages.shown("/plug")
    for plug in PLUGS:
        assert f'href="/plug/{plug.key}"' in overview
        inside = Inside(read_pages.shown(f"/plug/{plug.key}"))
        shapes = [
            attributes
            for tag, attributes in inside.elements
            if tag in ("circle", "rect") and "pin" in (attributes.get("class") or "")
        ]
        assert len(shapes) == len(plug.pins)
        assert "from memory" in inside.text
        for pin in plug.pins:
            assert pin.words in inside.text
    assert plug_of("none") is None


def test_measuring_says_how_to_stay_safe(read_pages: Pages) -> None:
    text = Inside(read_pages.shown("/plug")).text
    assert "battery isolated" in text
    assert all(one.good in text for one in MEASURED)
