"""Draws the odds of candidate causes: bars, with a hollow one for the odds before the evidence."""

from __future__ import annotations

from shearbolt.app.picturing.documents import OddsPicture
from shearbolt.pictures import style
from shearbolt.pictures.scales import Scale
from shearbolt.pictures.sheet import Sheet

BAR, BEFORE = 20.0, 9.0
"""Heights of bars, px."""
FIGURES = 62.0
"""Room for the figures beside the bars, px."""


def percent(share: float) -> str:
    """Write a chance: '62 %', 'under 1 %', 'over 99 %'."""
    if 0 < share < 0.01:
        return "under 1 %"
    if 0.99 < share < 1:
        return "over 99 %"
    return f"{share * 100:.0f} %"


def description_of(picture: OddsPicture) -> str:
    """Say in sentences what the picture shows."""
    said = list(picture["lines"])
    for one in picture["odds"]:
        before = f" ({percent(one['before'])} before)" if one["before"] is not None else ""
        said.append(f"{one['words'].rstrip('.')}: {percent(one['now'])}{before}.")
    return " ".join(said)


def draw_odds(picture: OddsPicture, width: int) -> str:
    """Draw the picture, `width` px wide."""
    sheet = Sheet(width, f"odds-{picture['about']}")
    sheet.heading(picture["title"], picture["machine_name"], picture["lines"])
    across = Scale(0.0, 1.0, style.EDGE, sheet.width - style.EDGE - FIGURES)
    with_before = any(one["before"] is not None for one in picture["odds"])
    for one in picture["odds"]:
        note = f" ({one['note']})" if one["note"] else ""
        words = one["words"][:1].upper() + one["words"][1:] + note
        sheet.paragraph(words, bold=True)
        sheet.y += 6
        if with_before:
            if one["before"] is not None:
                wide = max(across(one["before"]) - across.start, 2.0)
                sheet.rect(across.start, sheet.y, wide, BEFORE, style.PAPER, style.QUIET)
                if one["before"] > 0:
                    sheet.rect(across.start, sheet.y, wide, BEFORE, sheet.pattern("none"))
                sheet.text(
                    across(one["before"]) + 8, sheet.y + BEFORE, percent(one["before"]),
                    size=style.SMALL, fill=style.QUIET,
                )  # fmt: skip
            sheet.y += BEFORE + 4
        wide = max(across(one["now"]) - across.start, 2.0)
        sheet.rect(across.start, sheet.y, across.end - across.start, BAR, "none", style.GRID)
        sheet.rect(across.start, sheet.y, wide, BAR, style.SOLID)
        sheet.text(
            across.start + wide + 8, sheet.y + BAR - 5, percent(one["now"]), size=style.HEAD,
            bold=True, ground=style.PAPER,
        )  # fmt: skip
        sheet.y += BAR + 8
    if with_before:
        sheet.y += 2
        sheet.rect(style.EDGE, sheet.y + 3, 22, BEFORE, style.PAPER, style.QUIET)
        sheet.rect(style.EDGE, sheet.y + 3, 22, BEFORE, sheet.pattern("none"))
        sheet.y -= 3
        sheet.paragraph("hollow: before anything was known of this machine", size=style.SMALL,
                        indent=30)  # fmt: skip
    return sheet.done(picture["title"], description_of(picture))
