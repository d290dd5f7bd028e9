"""Draws soot over hours, with the regenerations in a lane of their own."""

from __future__ import annotations

from shearbolt.app.picturing.documents import SootPicture, Strip
from shearbolt.pictures import style
from shearbolt.pictures.scales import Scale, bounds, figure, ticks, widened
from shearbolt.pictures.sheet import Sheet
from shearbolt.pictures.spell import parts_of

TALL = 220.0
LEFT = 62.0


def description_of(picture: SootPicture) -> str:
    """Say in sentences what the picture shows."""
    said = list(picture["lines"])
    if picture["scale"] == "hours" and picture["looks"]:
        said.append(f"From {picture['low']:,.1f} to {picture['high']:,.1f} engine hours.")
    return " ".join(said)


def draw_soot(picture: SootPicture, width: int) -> str:
    """Draw the picture, `width` px wide."""
    sheet = Sheet(width, f"soot-{picture['about']}")
    sheet.heading(picture["title"], picture["machine_name"], picture["lines"])
    told = bounds([one for one in picture["value"] if one is not None])
    if told is not None:
        _plot(sheet, picture, told)
    return sheet.done(picture["title"], description_of(picture))


def _plot(sheet: Sheet, picture: SootPicture, told: tuple[float, float]) -> None:
    pad = max((picture["high"] - picture["low"]) * 0.02, 1e-6)
    across = Scale(
        picture["low"] - pad,
        picture["high"] + pad,
        style.EDGE + LEFT,
        sheet.width - style.EDGE,
    )
    low, high = widened(min(told[0], 0.0), told[1])
    top, bottom = sheet.y + 6, sheet.y + 6 + TALL
    up = Scale(max(low, 0.0) if told[0] >= 0 else low, high, bottom, top)
    for value in ticks(up.low, up.high, 5):
        sheet.line(across.start, up(value), across.end, up(value), style.GRID)
        sheet.text(
            across.start - 8, up(value) + 4.5, f"{figure(value)} {picture['unit']}",
            size=style.SMALL, anchor="end",
        )  # fmt: skip
    for one in picture["regenerations"]:
        left, right = across(one["start"]), across(one["end"])
        sheet.hatched(left - 2, top, max(right - left, 0.0) + 4, TALL, "fault")
    for moments, soot in parts_of(strip_of(picture), picture["low"], picture["high"], across):
        points = [(across(a), up(v)) for a, v in zip(moments, soot, strict=True)]
        way = "M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in points)
        sheet.put(
            "path", d=way, fill="none", stroke=style.LINE, stroke_width=2.2,
            stroke_linejoin="round", stroke_linecap="round",
        )  # fmt: skip
        if points[-1][0] - points[0][0] < 6:
            # A short visit among many hours is still to be seen.
            for x, y in (points[0], points[-1]):
                sheet.put("circle", cx=x, cy=y, r=4, fill=style.LINE)
    sheet.rect(across.start, top, across.end - across.start, TALL, "none", style.QUIET)
    _highest(sheet, across, up, picture, told[1])
    sheet.y = bottom
    _lane(sheet, across, picture)
    for value in ticks(across.low, across.high, max(3, int((across.end - across.start) / 84))):
        words = figure(value)
        half = style.width_of(words, style.SMALL) / 2
        sheet.line(across(value), sheet.y - 6, across(value), sheet.y, style.QUIET, 1.5)
        x = min(across(value), sheet.width - half - 4)
        sheet.text(x, sheet.y + style.SMALL + 6, words, size=style.SMALL, anchor="middle")
    sheet.y += style.SMALL + 8
    words = "Engine hours" if picture["scale"] == "hours" else "Hours recorded, visit after visit"
    sheet.paragraph(f"{words}. Hatched: burned off (active regeneration).", size=style.SMALL)


def _highest(sheet: Sheet, across: Scale, up: Scale, picture: SootPicture, value: float) -> None:
    """Write the highest reading beside its mark."""
    x = across(picture["at"][picture["value"].index(value)])
    words = f"{figure(value)} {picture['unit']}"
    left = x + 12 + style.width_of(words, style.SMALL, bold=True) < across.end
    sheet.text(
        x + 9 if left else x - 9, up(value) + 5, words, size=style.SMALL, bold=True,
        anchor="start" if left else "end", ground=style.PAPER,
    )  # fmt: skip


def _lane(sheet: Sheet, across: Scale, picture: SootPicture) -> None:
    """Put what was looked at, and the regenerations as marks that no width hides."""
    sheet.y += 24
    for name, some in (("burned", picture["regenerations"]), ("looked", picture["looks"])):
        at = sheet.y
        sheet.text(across.start - 8, at + 5, name, size=style.SMALL, anchor="end", bold=True)
        sheet.line(across.start, at, across.end, at, style.GRID, 1.2)
        for one in some:
            x, right = across(one["start"]), across(one["end"])
            if name == "looked":
                sheet.rect(x - 1, at - 6, max(right - x, 2.5), 12, style.INK)
            else:
                sheet.put(
                    "path", d=f"M{(x + right) / 2:.1f} {at - 9:.1f}l8 15h-16z",
                    fill=style.FAULT_BAR,
                )  # fmt: skip
        sheet.y += 26
    sheet.y -= 12


def strip_of(picture: SootPicture) -> Strip:
    """Give the soot as a strip, for thinning."""
    return {
        "name": "soot",
        "unit": picture["unit"],
        "own": False,
        "levels": [],
        "at_s": picture["at"],
        "value": picture["value"],
        "at_start": None,
        "limits": [],
    }
