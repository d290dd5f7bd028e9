"""Draws a fault's life: lanes over engine hours, and below them what was done, in words."""

from __future__ import annotations

from datetime import tzinfo

from shearbolt.app.picturing.documents import Happened, LifePicture, Stretch, Unseen
from shearbolt.pictures import style
from shearbolt.pictures.scales import Scale, day_of, day_ticks, figure, ticks
from shearbolt.pictures.sheet import Sheet

LANE = 34.0
"""Height of a lane, px."""
SEEN, MEMORY, HAND = "seen on, by a recording", "only in its memory", "written down"
UNSEEN = "while nobody recorded, by its counts"
DONE, LOOKED = "what was done", "looked at"


def description_of(picture: LifePicture, zone: tzinfo | None) -> str:
    """Say in sentences what the picture shows."""
    said = list(picture["lines"])
    said += [one["words"] for one in picture["unseen"]]
    said += [
        f"{place(picture, one['start'], zone)}: {one['words'].rstrip('.')}."
        for one in picture["repairs"]
    ]
    return " ".join(said)


def place(picture: LifePicture, at: float, zone: tzinfo | None) -> str:
    """Write a place on the picture's scale: '5,912.0 h', '9 Sep 2025', 'visit 3'."""
    if picture["scale"] == "hours":
        return f"{at:,.1f} h"
    if picture["scale"] == "date":
        return day_of(at, zone)
    return f"visit {round(at)}"


def under_of(picture: LifePicture, zone: tzinfo | None) -> str:
    """Say on which machine, and over which hours or days."""
    if picture["scale"] == "order" or not picture["looks"]:
        return picture["machine_name"]
    low, high = place(picture, picture["low"], zone), place(picture, picture["high"], zone)
    if picture["scale"] == "hours":
        low, high = low.removesuffix(" h"), f"{high.removesuffix(' h')} engine hours"
    return f"{picture['machine_name']}, from {low} to {high}"


def draw_life(picture: LifePicture, width: int, zone: tzinfo | None) -> str:
    """Draw the picture, `width` px wide; dates in `zone` (None: the computer's own)."""
    sheet = Sheet(width, f"life-{picture['about']}")
    sheet.heading(picture["title"], under_of(picture, zone), picture["lines"])
    if picture["looks"] or picture["happened"]:
        pad = max((picture["high"] - picture["low"]) * 0.03, 1e-6)
        across = Scale(
            picture["low"] - pad,
            picture["high"] + pad,
            style.EDGE,
            sheet.width - style.EDGE,
        )
        _lanes(sheet, across, picture)
        _axis(sheet, across, picture, zone)
        _told(sheet, picture, zone)
    return sheet.done(picture["title"], description_of(picture, zone))


def _lanes(sheet: Sheet, across: Scale, picture: LifePicture) -> None:
    begun, layer = sheet.y + 4, sheet.layer
    cleared = [one for one in picture["happened"] if one["kind"] == "cleared"]
    by_kind = {
        kind: [one for one in picture["happened"] if one["kind"] == kind]
        for kind in ("spell", "memory", "hand")
    }
    marks: list[tuple[str, list[Happened]]] = [(SEEN, by_kind["spell"])]
    if by_kind["memory"]:
        marks.append((MEMORY, by_kind["memory"]))
    if by_kind["hand"]:
        marks.append((HAND, by_kind["hand"]))
    rows: list[float] = []
    for name, some in marks:
        rows.append(_lane(sheet, across, name))
        _happened(sheet, across, some, rows[-1])
    if picture["unseen"]:
        at = _lane(sheet, across, UNSEEN)
        sheet.y += _unseen(sheet, across, picture["unseen"], at)
    at = _lane(sheet, across, DONE)
    _repairs(sheet, across, picture["repairs"], cleared, (begun, layer), at)
    at = _lane(sheet, across, LOOKED)
    for look in picture["looks"]:
        left = across(look["start"])
        sheet.rect(left - 1, at - 8, max(across(look["end"]) - left, 2.5), 16, style.INK)
    sheet.y += 2


def _lane(sheet: Sheet, across: Scale, name: str) -> float:
    """Put a lane's name and its line; give the height of the line."""
    sheet.y += style.SMALL + 7
    sheet.text(
        style.EDGE, sheet.y, name[:1].upper() + name[1:], size=style.SMALL, bold=True,
        ground=style.PAPER,
    )  # fmt: skip
    at = sheet.y + LANE / 2 + 2
    sheet.line(across.start, at, across.end, at, style.GRID, 1.2)
    sheet.y += LANE
    return at


def _happened(sheet: Sheet, across: Scale, some: list[Happened], at: float) -> None:
    """Put marks; those that would cover each other become one with their number beside it."""
    places: list[tuple[float, int, str]] = []
    for one in sorted(some, key=lambda each: each["at"]):
        x = across(one["at"])
        if places and x - places[-1][0] < 15:
            before = places.pop()
            places.append((before[0], before[1] + one["times"], one["kind"]))
        else:
            places.append((x, one["times"], one["kind"]))
    for i, (x, times, kind) in enumerate(places):
        mark(sheet, kind, x, at)
        if times < 2:
            continue
        words = f"{times}×"
        need = style.width_of(words, style.SMALL, bold=True)
        after = places[i + 1][0] - 9 if i + 1 < len(places) else sheet.width - 2
        if x + 10 + need < after:
            sheet.text(x + 10, at + 5, words, size=style.SMALL, bold=True, ground=style.PAPER)
        else:
            sheet.text(x, at - 11, words, size=style.SMALL, bold=True, anchor="middle")


def mark(sheet: Sheet, kind: str, x: float, y: float) -> None:
    """Put the mark of something that happened: each kind has a shape of its own."""
    if kind == "spell":
        sheet.put("circle", cx=x, cy=y, r=7, fill=style.FAULT_BAR)
    elif kind == "memory":
        sheet.put(
            "path", d=f"M{x:.1f} {y - 8:.1f}l8 8l-8 8l-8 -8z", fill=style.PAPER,
            stroke=style.FAULT_BAR, stroke_width=2.2,
        )  # fmt: skip
    elif kind == "hand":
        sheet.put(
            "rect", x=x - 6.5, y=y - 6.5, width=13, height=13, fill=style.FAULT_BAR,
        )  # fmt: skip
    else:
        sheet.put(
            "path", d=f"M{x - 6:.1f} {y - 6:.1f}l12 12m0 -12l-12 12", fill="none",
            stroke=style.LIMIT, stroke_width=3,
        )  # fmt: skip


def _unseen(sheet: Sheet, across: Scale, some: list[Unseen], at: float) -> float:
    """Put hollow bars over the stretches; give how much lower the lane became."""
    lower = 0.0
    taken: list[tuple[float, float, float]] = []
    for one in some:
        left = across.start if one["start"] is None else across.within(one["start"])
        right = across.end if one["end"] is None else across.within(one["end"])
        wide = max(right - left, 12.0)
        words = one["times"]
        need = style.width_of(words, style.SMALL, bold=True)
        reach = max(wide, need + 24 + wide if need + 8 > wide else wide)
        row = 0
        while any(r == row and left < b + 4 and left + reach > a - 4 for a, b, r in taken):
            row += 1
        taken.append((left, left + reach, row))
        y = at + row * 27.0
        lower = max(lower, row * 27.0)
        sheet.put(
            "rect", x=left, y=y - 11, width=wide, height=22, rx=11, fill=style.PAPER,
            stroke=style.FAULT_BAR, stroke_width=2, stroke_dasharray="5 3",
        )  # fmt: skip
        if need + 8 <= wide:
            sheet.text(left + wide / 2, y + 5, words, size=style.SMALL, bold=True, anchor="middle")
        elif left + wide + 5 + need < across.end:
            sheet.text(left + wide + 5, y + 5, words, size=style.SMALL, bold=True)
        else:
            sheet.text(left - 5, y + 5, words, size=style.SMALL, bold=True, anchor="end")
    return lower


def _repairs(
    sheet: Sheet,
    across: Scale,
    repairs: list[Stretch],
    cleared: list[Happened],
    begun: tuple[float, int],
    at: float,
) -> None:
    for one in cleared:
        x = across(one["at"])
        mark(sheet, "cleared", x, at)
    last = -1e9
    for number, repair in enumerate(repairs, 1):
        x = across.within(repair["start"])
        sheet.behind(
            begun[1], "line", x1=x, y1=begun[0], x2=x, y2=at, stroke=style.LINE, stroke_width=1.6,
            stroke_dasharray="2 4",
        )  # fmt: skip
        # Repairs of one day stand side by side.
        shown = max(x, last + 24)
        last = shown
        sheet.put("circle", cx=shown, cy=at, r=11, fill=style.LINE)
        sheet.text(
            shown, at + 5, str(number), size=style.SMALL, bold=True, anchor="middle",
            fill=style.PAPER,
        )  # fmt: skip
    if not repairs and not cleared:
        sheet.text(
            style.EDGE, at + 5, "nothing that is filed", size=style.SMALL, fill=style.QUIET,
            ground=style.PAPER,
        )  # fmt: skip


def _axis(sheet: Sheet, across: Scale, picture: LifePicture, zone: tzinfo | None) -> None:
    scale = picture["scale"]
    sheet.line(across.start, sheet.y, across.end, sheet.y, style.QUIET, 1.5)
    most = max(3, int((across.end - across.start) / (110 if scale == "date" else 84)))
    if scale == "date":
        marks = [(one, day_of(one, zone)) for one in day_ticks(across.low, across.high, most)]
    elif scale == "hours":
        marks = [(one, figure(one)) for one in ticks(across.low, across.high, most)]
    else:
        whole = [one for one in ticks(across.low, across.high, most) if one == round(one)]
        marks = [(one, figure(one)) for one in whole]
    for value, words in marks:
        x = across(value)
        half = style.width_of(words, style.SMALL) / 2
        sheet.line(x, sheet.y, x, sheet.y + 5, style.QUIET, 1.5)
        x = min(max(x, half + 4), sheet.width - half - 4)
        sheet.text(x, sheet.y + style.SMALL + 7, words, size=style.SMALL, anchor="middle")
    sheet.y += style.SMALL + 8
    names = {"hours": "Engine hours", "date": "", "order": "Visits, in their order"}
    if names[scale]:
        sheet.paragraph(names[scale], size=style.SMALL)


def _told(sheet: Sheet, picture: LifePicture, zone: tzinfo | None) -> None:
    """Put the repairs in words, and what the marks mean."""
    sheet.y += 6
    for i, repair in enumerate(picture["repairs"], 1):
        begun = sheet.y
        sheet.put("circle", cx=style.EDGE + 10, cy=begun + 15, r=10, fill=style.LINE)
        sheet.text(
            style.EDGE + 10, begun + 19.5, str(i), size=style.SMALL, bold=True, anchor="middle",
            fill=style.PAPER,
        )  # fmt: skip
        sheet.paragraph(f"{place(picture, repair['start'], zone)}: {repair['words']}", indent=28)
        sheet.y += 5
    if any(one["kind"] == "cleared" for one in picture["happened"]):
        mark(sheet, "cleared", style.EDGE + 10, sheet.y + 14)
        sheet.paragraph("its memory was cleared", indent=28)
    if picture["unseen"]:
        sheet.y += 2
        sheet.paragraph(
            "Hollow: it came so often somewhere in that stretch, nobody saw when.",
            size=style.SMALL,
        )
