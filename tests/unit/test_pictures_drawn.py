"""Pictures drawn from figures of which every pixel can be reckoned."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from datetime import UTC

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.made_pictures import (
    conditions_made,
    life_made,
    odds_made,
    soot_made,
    spell_made,
    state_made,
    strip_made,
)

from shearbolt.app.picturing.documents import Picture
from shearbolt.pictures import draw, png_of, style, table_of
from shearbolt.pictures.conditions import shade_of, step_of
from shearbolt.pictures.spell import gaps

SVG = "{http://www.w3.org/2000/svg}"
ALL: list[Picture] = [
    spell_made(), conditions_made(), state_made(), life_made(), odds_made(), soot_made(),
]  # fmt: skip


def drawn(picture: Picture, width: int = 720) -> ET.Element:
    return ET.fromstring(draw(picture, width=width, zone=UTC))


def texts(root: ET.Element) -> list[str]:
    return [(one.text or "").replace("\u00a0", " ") for one in root.iter(f"{SVG}text")]


def number(one: ET.Element, name: str) -> float:
    return float(one.get(name) or "nan")


def traces(root: ET.Element) -> list[str]:
    return [
        one.get("d") or "" for one in root.iter(f"{SVG}path") if one.get("stroke") == style.LINE
    ]


def points(way: str) -> list[tuple[float, float]]:
    return [(float(x), float(y)) for x, y in re.findall(r"[ML]([\d.]+) ([\d.]+)", way)]


@pytest.mark.parametrize("picture", ALL, ids=lambda one: str(one["what"]))
@pytest.mark.parametrize("width", [360, 720, 960])
def test_every_picture_has_a_name_and_a_description(picture: Picture, width: int) -> None:
    root = drawn(picture, width)
    assert root.get("role") == "img"
    assert root.get("width") == str(width)
    named = {one.get("id"): one for one in root if one.tag in (f"{SVG}title", f"{SVG}desc")}
    assert (root.get("aria-labelledby") or "").split() == list(named)
    title, description = named.values()
    assert title.text == picture["title"]
    assert len(description.text or "") > 30
    ids = [one.get("id") for one in root.iter() if one.get("id")]
    assert len(ids) == len(set(ids))
    assert all(picture["about"] in str(one) for one in ids), "several fit on one page"
    used = {one for each in root.iter() for one in re.findall(r"url\(#(.+?)\)", str(each.attrib))}
    assert used <= set(ids)


@pytest.mark.parametrize("picture", ALL, ids=lambda one: str(one["what"]))
@pytest.mark.parametrize("width", [360, 720])
def test_nothing_is_drawn_beyond_the_sheet(picture: Picture, width: int) -> None:
    root = drawn(picture, width)
    height = number(root, "height")
    for one in root.iter(f"{SVG}text"):
        words = one.text or ""
        wide = style.width_of(words, number(one, "font-size"), bold=bool(one.get("font-weight")))
        share = {"start": 0.0, "middle": 0.5, "end": 1.0}[one.get("text-anchor", "start")]
        left = number(one, "x") - share * wide
        assert left >= -1, words
        assert left + wide <= width + 1, words
        assert 0 < number(one, "y") < height
    for one in root.iter(f"{SVG}rect"):
        if one.get("x") is not None:
            assert number(one, "y") + number(one, "height") <= height + 0.01


@pytest.mark.parametrize("picture", ALL, ids=lambda one: str(one["what"]))
def test_no_style_no_script_and_nothing_from_elsewhere(picture: Picture) -> None:
    text = draw(picture, zone=UTC)
    root = ET.fromstring(text)
    for one in root.iter():
        assert one.tag.removeprefix(SVG) in {
            "svg", "title", "desc", "defs", "pattern", "line", "rect", "circle", "path", "text",
        }  # fmt: skip
        assert not [key for key in one.attrib if key == "style" or key.startswith("on")]
        assert not [key for key in one.attrib if "href" in key]
    assert text.count("http") == 1, "only the namespace"


def test_a_known_sample_lies_at_its_pixel() -> None:
    # 720 px wide: 16 px edges, 58 px for figures: -40 s at x = 74, +40 s at x = 704.
    # The readings 80 to 110 with 8 % of air: 77.6 at the bottom, 112.4 at the top, 112 px apart.
    strip = strip_made([-40.0, 0.0, 40.0], [80.0, 110.0, 95.0])
    root = drawn(spell_made(strip))
    (frame,) = [
        one
        for one in root.iter(f"{SVG}rect")
        if one.get("fill") == "none" and one.get("stroke") == style.QUIET
    ]
    assert (number(frame, "x"), number(frame, "width")) == (74.0, 630.0)
    top, tall = number(frame, "y"), number(frame, "height")
    assert tall == 112.0
    ((first, middle, last),) = [points(way) for way in traces(root)]

    def y(value: float) -> float:
        return top + 112.0 * (112.4 - value) / (112.4 - 77.6)

    assert first == pytest.approx((74.0, y(80.0)), abs=0.06)
    assert middle == pytest.approx((389.0, y(110.0)), abs=0.06)
    assert last == pytest.approx((704.0, y(95.0)), abs=0.06)


def test_the_fault_is_hatched_where_it_was_on() -> None:
    root = drawn(spell_made())
    hatched = [
        one for one in root.iter(f"{SVG}rect") if (one.get("fill") or "").endswith("-fault)")
    ]
    # 0 to 20 s and 30 to 33 s, in both strips.
    assert [(number(one, "x"), number(one, "width")) for one in hatched] == [
        (389.0, 157.5), (625.25, 23.62), (389.0, 157.5), (625.25, 23.62),
    ]  # fmt: skip
    assert "fault on, 20 s" in texts(root)
    assert "it came" in texts(root)


def test_a_spell_whose_start_was_not_heard_does_not_claim_one() -> None:
    picture = spell_made(strip_made([-40.0, 40.0], [1.0, 2.0]))
    assert picture["span"] is not None
    picture["span"]["from_known"] = False
    said = texts(drawn(picture))
    assert "it came" not in said
    assert "first heard" in said
    assert "fault on, 20 s or more" in said


def test_a_gap_is_shown_and_not_bridged() -> None:
    picture = spell_made()
    strip = picture["strips"][0]
    assert gaps(strip, picture["to_s"]) == [(5.0, 15.0)]
    root = drawn(picture)
    before, after = (points(way) for way in traces(root)[:2])
    assert before[-1][0] == pytest.approx(389.0 + 5 * 7.875, abs=0.06)
    assert after[0][0] == pytest.approx(389.0 + 15 * 7.875, abs=0.06)
    (dotted,) = [
        one for one in root.iter(f"{SVG}rect") if (one.get("fill") or "").endswith("-none)")
    ]
    assert number(dotted, "width") == pytest.approx(78.75, abs=0.01)
    assert gaps(strip_made([0.0, 1.0, 1.0], [1.0, 1.0, None]), 9.0) == [(1.0, 9.0)]
    assert gaps(strip_made([0.0, 4.0], [None, 1.0]), 9.0) == [(0.0, 4.0)]


def test_a_threshold_is_a_line_with_its_interval_and_words() -> None:
    root = drawn(spell_made())
    (dashed,) = [
        one for one in root.iter(f"{SVG}line") if one.get("stroke") == style.LIMIT
        and one.get("stroke-dasharray")
    ]  # fmt: skip
    assert number(dashed, "y1") == number(dashed, "y2")
    assert "it comes above 100 °C" in texts(root)
    # 80 to 106 with 8 % of air each side on 112 px: an interval of 5 is 18.56 px high.
    (interval,) = [
        one for one in root.iter(f"{SVG}rect") if (one.get("fill") or "").endswith("-limit)")
    ]
    assert number(interval, "height") == pytest.approx(5 / (26 * 1.16) * 112, abs=0.01)


def test_a_peak_of_one_sample_is_drawn() -> None:
    at = [-40.0 + i * 0.004 for i in range(20_000)]
    value: list[float | None] = [90.0] * 20_000
    value[7_777] = 130.0
    root = drawn(spell_made(strip_made(at, value)))
    drawn_points = [one for way in traces(root) for one in points(way)]
    assert len(drawn_points) <= 4 * 631
    x, y = min(drawn_points, key=lambda one: one[1])
    assert x == pytest.approx(74.0 + (at[7_777] + 40.0) * 7.875, abs=0.06)
    assert y < min(one[1] for one in drawn_points if one != (x, y)) - 50
    assert any("highest 130" in one for one in texts(root))


def test_states_have_words_and_steps() -> None:
    root = drawn(spell_made())
    assert {"on", "off"} <= set(texts(root))
    stepped = traces(root)[-1]
    assert "H" in stepped
    assert "L" not in stepped


def test_starts_and_time_spent_lie_in_their_steps() -> None:
    picture = conditions_made()
    root = drawn(picture)
    across = 626.0 / 3  # 720 px less 16 px edges and 62 px for figures, in three steps
    shades = {
        (round((number(one, "x") - 78.5) / across), one.get("fill"))
        for one in root.iter(f"{SVG}rect")
        if one.get("fill") in style.TIME_STEPS and one.get("stroke") is None
    }
    # 4 h is the most; each shade is for a third of the one above: over 1.33 h the darkest.
    assert shades == {
        (0, style.TIME_STEPS[4]), (1, style.TIME_STEPS[4]), (2, style.TIME_STEPS[3]),
        (2, style.TIME_STEPS[1]),
    }  # fmt: skip
    assert [shade_of(one, 4.0) for one in (4.0, 1.3, 0.44, 0.14, 0.04)] == [4, 3, 2, 1, 0]
    marks = [one for one in root.iter(f"{SVG}circle") if one.get("r") == "5"]
    assert number(marks[0], "cx") == pytest.approx(78.0 + 626.0 * 25 / 30, abs=0.01)
    assert len(marks) == 3 + 1, "three starts, and one that says what the mark is"
    axis = picture["panels"][0]["x"]
    assert [step_of(axis, one) for one in (70.0, 89.9, 90.0, 110.0, 200.0)] == [0, 0, 1, 2, 2]


def test_many_starts_of_one_step_are_counted() -> None:
    root = drawn(state_made())
    marks = [one for one in root.iter(f"{SVG}circle") if one.get("r") == "5"]
    assert len(marks) == 5 + 1 + 1
    assert "7" in texts(root)
    assert "At 2 more starts this was not told." in texts(root)


def test_a_life_has_a_mark_of_its_own_for_each_kind() -> None:
    root = drawn(life_made())
    said = texts(root)
    assert {"3×", "4×", "set back", "its memory was cleared"} <= set(said)
    assert "5,960.0 h: Radiator blown out" in said
    hollow = [one for one in root.iter(f"{SVG}rect") if one.get("rx") == "11"]
    # 3 % of air each side: 5,897 to 6,003 h over 688 px.
    assert [(number(one, "x"), number(one, "width")) for one in hollow] == [
        pytest.approx((16 + 7 / 106 * 688, 46 / 106 * 688), abs=0.01),
        pytest.approx((16 + 55 / 106 * 688, 46 / 106 * 688), abs=0.01),
    ]
    numbers = [one for one in root.iter(f"{SVG}text") if one.text in ("1", "2")]
    assert number(numbers[1], "x") - number(numbers[0], "x") >= 24, "side by side"


def test_odds_are_bars_with_their_figures() -> None:
    root = drawn(odds_made())
    assert {"62 %", "30 %", "8 %", "25 %"} <= set(texts(root))
    bars = [one for one in root.iter(f"{SVG}rect") if one.get("fill") == style.SOLID]
    full = 720 - 32 - 62
    assert [number(one, "width") for one in bars] == [
        pytest.approx(share * full, abs=0.01) for share in (0.62, 0.3, 0.08)
    ]


def test_pictures_without_anything_say_so() -> None:
    spell, odds, soot = spell_made(), odds_made(), soot_made()
    spell["span"], spell["strips"] = None, []
    spell["lines"] = ["No recording caught this fault while it was on."]
    odds["odds"], odds["lines"] = [], ["Nothing is said yet of what causes it."]
    soot["at"], soot["value"], soot["looks"] = [], [], []
    soot["lines"] = ["This machine tells no soot load."]
    empty: list[Picture] = [spell, odds, soot]
    for one in empty:
        assert one["lines"][0] in texts(drawn(one))
        assert table_of(one, UTC).rows == ()


HOSTILE = "<script>alert('x')</script> & \"'\x00\x1b[31m\u202eevil]]> --><svg onload=1>"


@pytest.mark.parametrize("picture", ALL, ids=lambda one: str(one["what"]))
def test_hostile_text_is_escaped(picture: Picture) -> None:
    hostile: Picture = {**picture}  # type: ignore[assignment]
    hostile["title"] = HOSTILE
    hostile["machine_name"] = HOSTILE
    hostile["about"] = 'f"><script>'
    hostile["lines"] = [HOSTILE]
    root = ET.fromstring(draw(hostile, zone=UTC))
    assert {one.tag.removeprefix(SVG) for one in root.iter()} <= {
        "svg", "title", "desc", "defs", "pattern", "line", "rect", "circle", "path", "text",
    }  # fmt: skip
    title = root.find(f"{SVG}title")
    assert title is not None
    assert (title.text or "").startswith("<script>alert('x')</script> & \"'\ufffd\ufffd[31m\ufffd")


@given(st.text(max_size=80))
def test_any_title_gives_a_sound_document(title: str) -> None:
    root = ET.fromstring(draw(spell_made(title=title), width=320, zone=UTC))
    assert root.get("role") == "img"


@given(
    st.lists(st.none() | st.floats(-1e9, 1e9), min_size=1, max_size=30),
    st.integers(0, 5000),
)
def test_any_readings_can_be_drawn(value: list[float | None], width: int) -> None:
    at = [-40.0 + 80.0 * i / len(value) for i in range(len(value))]
    root = ET.fromstring(draw(spell_made(strip_made(at, value)), width=width, zone=UTC))
    assert 320 <= number(root, "width") <= 1400
    assert "nan" not in ET.tostring(root, encoding="unicode")


def test_tables_tell_the_same() -> None:
    table = table_of(spell_made(), UTC)
    assert table.under == "the grey one, 14 May 2026, 06:12:09"
    assert table.rows == (
        (
            "coolant temperature", "80 to 101 °C", "101 °C", "101 to 106 °C", "95 to 99 °C",
            "above 100 °C",
        ),
        ("parking brake", "on, off", "off", "off, on", "on", "–"),
    )  # fmt: skip
    assert table_of(conditions_made(), UTC).rows[-1] == (
        "coolant temperature 100 to 110 °C, engine load 50 to 100 %", "6 min", "3",
    )  # fmt: skip
    assert table_of(odds_made(), UTC).rows[0] == ("the engine truly runs hot", "62 %", "25 %")
    assert ("5,960.0 h", "done: Radiator blown out") in table_of(life_made(), UTC).rows
    assert table_of(soot_made(), UTC).rows == (
        ("100.0 h", "20 to 120 %", "1"), ("108.0 h", "40 to 60 %", "0"),
    )  # fmt: skip


def test_a_png_has_twice_the_pixels() -> None:
    svg = draw(odds_made(), width=360)
    height = float(ET.fromstring(svg).get("height") or 0)
    data = png_of(svg)
    assert data.startswith(b"\x89PNG\r\n\x1a\n")
    wide, tall = (int.from_bytes(data[i : i + 4], "big") for i in (16, 20))
    assert wide == 720
    assert abs(tall - 2 * height) <= 2
