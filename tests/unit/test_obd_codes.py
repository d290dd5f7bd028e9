"""Words for codes of SAE J2012: known ones, structure for the others, nothing guessed."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shearbolt.dictionary.obd_codes import code_text, structure_of
from shearbolt.dictionary.tables import table


def test_known_codes() -> None:
    """SAE J2012, from memory."""
    assert code_text("P0217").text == "engine coolant too hot"
    assert code_text("p2463").known
    assert "ash" in code_text("P242F").text
    assert code_text("U0100").area == "network communication"


@pytest.mark.parametrize(
    ("code", "owner", "text"),
    [
        ("P1200", "maker", "powertrain: maker's own code"),
        ("P3012", "maker", "powertrain: maker's own code"),
        (
            "P3401",
            "standard",
            "cylinder deactivation: standard code, its meaning is not in the table",
        ),
        ("P07FE", "standard", "transmission: standard code, its meaning is not in the table"),
        ("C1234", "maker", "chassis: maker's own code"),
        ("B1601", "maker", "body: maker's own code"),
        ("U1000", "maker", "network: maker's own code"),
        ("C3001", "reserved", "chassis: code reserved by the standard"),
    ],
)
def test_codes_without_a_known_meaning(code: str, owner: str, text: str) -> None:
    words = code_text(code)
    assert (words.known, words.owner, words.text) == (False, owner, text)


@pytest.mark.parametrize("wrong", ["", "P", "P014", "P01433", "X0143", "P4143", "P014G", "0143"])
def test_what_is_no_code(wrong: str) -> None:
    with pytest.raises(ValueError, match="no code of the form"):
        code_text(wrong)


@given(st.from_regex(r"[PCBU][0-3][0-9A-F]{3}", fullmatch=True))
def test_every_code_has_words(code: str) -> None:
    words = code_text(code)
    assert words.code == code
    assert words.text
    assert words.area
    assert words.source
    if words.owner == "maker":
        assert not words.known


def test_the_table_keeps_the_rules() -> None:
    rows = table("obd_codes")
    codes = [row["code"] for row in rows]
    assert len(rows) >= 250
    assert codes == sorted(set(codes))
    for row in rows:
        letter, digits = structure_of(row["code"])
        assert letter + digits == row["code"]
        assert code_text(row["code"]).owner == "standard", row["code"]
        assert row["text"] == row["text"].strip()
        assert row["source"]


def test_no_meaning_twice() -> None:
    texts = [row["text"] for row in table("obd_codes")]
    assert sorted({one for one in texts if texts.count(one) > 1}) == []
