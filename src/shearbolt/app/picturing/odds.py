"""Candidate causes of a fault with their odds, before the evidence and after it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import cast

from shearbolt.app.documents import Fault
from shearbolt.app.picturing.documents import Odds, OddsPicture

NONE_OF_THESE = "none of these"


def odds_picture(fault: Fault, machine_name: str) -> OddsPicture:
    """Show the suspects of a fault's document; `odds_before`, where it has one, beside them."""
    odds: list[Odds] = []
    for one in fault["suspects"]:
        before = cast(Mapping[str, object], one).get("odds_before")
        odds.append(
            {
                "words": one["words"],
                "before": float(before) if isinstance(before, int | float) else None,
                "now": one["probability"],
                "note": "beside the first" if one["contributing"] else "",
            }
        )
    odds.sort(key=lambda each: -each["now"])
    other = fault["probability_other"]
    if odds and other is not None:
        odds.append({"words": NONE_OF_THESE, "before": None, "now": other, "note": ""})
    lines = [_line(odds)] if odds else ["Nothing is said yet of what causes it."]
    return {
        "what": "odds",
        "about": fault["fault"],
        "machine_name": machine_name,
        "title": fault["text"],
        "lines": lines,
        "odds": odds,
    }


def _line(odds: list[Odds]) -> str:
    first = odds[0]
    tenths = round(first["now"] * 10)
    words = first["words"][:1].upper() + first["words"][1:]
    if tenths >= 10:
        return f"Nearly certain: {words.rstrip('.')}."
    if tenths < 1:
        return f"The likeliest, though less than 1 in 10: {words.rstrip('.')}."
    return f"The likeliest, about {tenths} in 10: {words.rstrip('.')}."
