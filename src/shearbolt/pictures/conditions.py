"""Draws the condition map: time spent as bars or shades, starts as marks, thresholds as lines."""

from __future__ import annotations

from shearbolt.app.picturing.documents import Axis, ConditionsPicture, Limit, Panel, Start
from shearbolt.pictures import style
from shearbolt.pictures.scales import Scale, figure, spent, ticks
from shearbolt.pictures.sheet import Sheet

TALL = 190.0
"""Height of bars, px."""
TALL_MAP = 300.0
"""Height of a map, px."""
LEFT = 62.0
DOT = 5.0
"""Radius of a start's mark, px."""
MOST_ROWS = 5
"""Marks of one step that are drawn one over the other; more are counted."""
SHADES = len(style.TIME_STEPS)


def description_of(picture: ConditionsPicture) -> str:
    """Say in sentences what the picture shows."""
    said = list(picture["lines"])
    for panel in picture["panels"]:
        names = [panel["x"]["name"], *([panel["y"]["name"]] if panel["y"] is not None else [])]
        said.append(f"Time spent and starts over {' and '.join(names)}.")
        for axis in (panel["x"], panel["y"]):
            if axis is not None and axis["limit"] is not None:
                said.append(f"Threshold of {axis['name']}: {axis['limit']['words']}.")
    return " ".join(said)


def draw_conditions(picture: ConditionsPicture, width: int) -> str:
    """Draw the picture, `width` px wide."""
    sheet = Sheet(width, f"conditions-{picture['about']}")
    under = f"{picture['machine_name']}: where it spent its time, and where the fault started"
    sheet.heading(picture["title"], under, picture["lines"])
    for panel in picture["panels"]:
        if panel["y"] is None:
            _bars(sheet, panel)
        else:
            _map(sheet, panel, panel["y"])
    if any(panel["starts"] for panel in picture["panels"]):
        sheet.y += 6
        _mark(sheet, style.EDGE + DOT + 1, sheet.y + 9)
        sheet.y -= 4
        sheet.paragraph("the fault started here", size=style.SMALL, indent=2 * DOT + 10)
    return sheet.done(picture["title"], description_of(picture))


def title_of(axis: Axis) -> str:
    """Write an axis's name with its unit."""
    return f"{axis['name']}, {axis['unit']}" if axis["unit"] else axis["name"]


def _upper(words: str) -> str:
    return words[:1].upper() + words[1:]


def step_of(axis: Axis, value: float) -> int:
    """Give the step in which a value lies; beyond the ends, the last one."""
    edges = axis["edges"]
    inner = edges[1:-1]
    return sum(value >= one for one in inner)


def _mark(sheet: Sheet, x: float, y: float) -> None:
    sheet.put("circle", cx=x, cy=y, r=DOT, fill=style.PAPER, stroke=style.INK, stroke_width=2.4)
    sheet.put("circle", cx=x, cy=y, r=1.6, fill=style.INK)


def _bars(sheet: Sheet, panel: Panel) -> None:
    axis, hours = panel["x"], panel["hours"][0]
    sheet.paragraph(_upper(title_of(axis)), size=style.HEAD, bold=True)
    across = Scale(axis["edges"][0], axis["edges"][-1], style.EDGE + LEFT, sheet.width - style.EDGE)
    rows = _rows_of(axis, panel["starts"])
    sheet.y += 9
    top_marks = sheet.y
    sheet.y += max(1, min(MOST_ROWS, max(rows, default=0))) * (2 * DOT + 3) + 6
    if max(rows, default=0) > MOST_ROWS:
        sheet.y += style.SMALL + 2
    top, bottom = sheet.y, sheet.y + TALL
    longest = max(max(hours), 1e-9)
    unit = 60.0 if longest < 1.0 else 1.0
    up = Scale(0.0, longest * unit * 1.06, bottom, top)
    _inside(sheet, across, axis, top_marks, bottom)
    _spent_axis(sheet, across, up, "min" if unit > 1 else "h", top)
    for i, one in enumerate(hours):
        left, right = across(axis["edges"][i]), across(axis["edges"][i + 1])
        inset = (right - left) * 0.22 if axis["levels"] else 0.75
        # A short time is seen as such, and not taken for none.
        tall = max(bottom - up(one * unit), 1.5) if one > 0 else 0.0
        sheet.rect(left + inset, bottom - tall, right - left - 2 * inset, tall, style.SOLID)
    sheet.line(across.start, bottom, across.end, bottom, style.QUIET, 1.5)
    _threshold(sheet, across, axis, top_marks, bottom)
    _starts_above(sheet, across, axis, panel["starts"], rows, top - 6)
    sheet.text(across.start - 8, top - 7, "starts", size=style.SMALL, bold=True, anchor="end")
    sheet.y = bottom
    _under(sheet, across, axis)
    if panel["unknown_starts"]:
        count = panel["unknown_starts"]
        sheet.paragraph(
            f"At {count} more start{'' if count == 1 else 's'} this was not told.",
            size=style.SMALL,
        )
    sheet.y += 8


def _rows_of(axis: Axis, starts: list[Start]) -> list[int]:
    counted = [0] * (len(axis["edges"]) - 1)
    for one in starts:
        counted[step_of(axis, one["x"])] += 1
    return counted


def _starts_above(
    sheet: Sheet, across: Scale, axis: Axis, starts: list[Start], rows: list[int], base: float
) -> None:
    used = [0] * len(rows)
    for one in sorted(starts, key=lambda each: each["x"]):
        step = step_of(axis, one["x"])
        row = used[step]
        used[step] += 1
        if row < MOST_ROWS:
            x = across.within(round(one["x"]) if axis["levels"] else one["x"])
            _mark(sheet, x, base - DOT - row * (2 * DOT + 3))
    for step, count in enumerate(rows):
        if count > MOST_ROWS:
            middle = (across(axis["edges"][step]) + across(axis["edges"][step + 1])) / 2
            at = base - MOST_ROWS * (2 * DOT + 3) - 3
            sheet.text(middle, at, f"{count}", size=style.SMALL, bold=True, anchor="middle")


def _spent_axis(sheet: Sheet, across: Scale, up: Scale, unit: str, top: float) -> None:
    for value in ticks(0.0, up.high, 4):
        at = up(value)
        sheet.line(across.start, at, across.end, at, style.GRID)
        sheet.text(
            across.start - 8, at + 4.5, f"{figure(value)} {unit}", size=style.SMALL,
            anchor="end", fill=style.QUIET,
        )  # fmt: skip
    sheet.line(across.start, top, across.start, up.start, style.QUIET)


def _inside(sheet: Sheet, across: Scale, axis: Axis, top: float, bottom: float) -> None:
    """Hatch the side on which the fault starts."""
    limit = axis["limit"]
    if limit is not None:
        at = across.within(limit["value"])
        left, right = (across.start, at) if limit["op"] == "<" else (at, across.end)
        sheet.hatched(left, top, right - left, bottom - top, "fault")
    for i, one in enumerate(axis["inside"]):
        if one:
            left, right = across(axis["edges"][i]), across(axis["edges"][i + 1])
            sheet.hatched(left, top, right - left, bottom - top, "fault")


def _threshold(sheet: Sheet, across: Scale, axis: Axis, top: float, bottom: float) -> None:
    limit = axis["limit"]
    if limit is None:
        return
    at = across.within(limit["value"])
    _interval(sheet, across, limit, top, bottom)
    sheet.line(at, top, at, bottom, style.LIMIT, 2.0, "9 5")


def _interval(sheet: Sheet, across: Scale, limit: Limit, top: float, bottom: float) -> None:
    if limit["low"] is not None and limit["high"] is not None:
        left, right = across.within(limit["low"]), across.within(limit["high"])
        sheet.rect(left, bottom - 9, max(right - left, 1.0), 9, style.PAPER, style.LIMIT)
        sheet.rect(left, bottom - 9, max(right - left, 1.0), 9, sheet.pattern("limit"))


def _under(sheet: Sheet, across: Scale, axis: Axis) -> None:
    """Put the figures of a level axis, and its threshold in words."""
    sheet.y += style.SMALL + 5
    if axis["levels"]:
        room = (across.end - across.start) / len(axis["levels"]) - 4
        for i, one in enumerate(axis["levels"]):
            sheet.text(
                across(float(i)), sheet.y, style.shortened(one, room, style.SMALL),
                size=style.SMALL, anchor="middle",
            )  # fmt: skip
    else:
        most = max(2, int((across.end - across.start) / 62))
        for value in ticks(across.low, across.high, most):
            sheet.line(across(value), sheet.y - style.SMALL - 5, across(value),
                       sheet.y - style.SMALL, style.QUIET)  # fmt: skip
            sheet.text(across(value), sheet.y, figure(value), size=style.SMALL, anchor="middle")
    sheet.y += 2
    limit = axis["limit"]
    if limit is not None:
        sheet.paragraph(threshold_words(axis, limit), size=style.SMALL)
    elif any(axis["inside"]):
        where = " or ".join(
            one for one, yes in zip(axis["levels"], axis["inside"], strict=True) if yes
        )
        sheet.paragraph(f"Hatched: where it starts ({where}).", size=style.SMALL)


def threshold_words(axis: Axis, limit: Limit) -> str:
    """Say where a threshold lies, and how surely."""
    words = f"Hatched: where it starts, {axis['name']} {limit['words']}"
    if limit["low"] is not None and limit["high"] is not None:
        low, high = figure(limit["low"]), figure(limit["high"])
        words += f" (the threshold lies between {low} and {high} {axis['unit']}".rstrip() + ")"
    return words + "."


def _map(sheet: Sheet, panel: Panel, y_axis: Axis) -> None:
    x_axis = panel["x"]
    sheet.paragraph(f"Upward: {title_of(y_axis)}", size=style.HEAD, bold=True)
    sheet.y += 8
    top, bottom = sheet.y, sheet.y + TALL_MAP
    across = Scale(
        x_axis["edges"][0], x_axis["edges"][-1], style.EDGE + LEFT, sheet.width - style.EDGE
    )
    up = Scale(y_axis["edges"][0], y_axis["edges"][-1], bottom, top)
    most = max(max(row) for row in panel["hours"])
    for j, row in enumerate(panel["hours"]):
        for i, one in enumerate(row):
            if one > 0:
                left, right = across(x_axis["edges"][i]), across(x_axis["edges"][i + 1])
                high, low = up(y_axis["edges"][j + 1]), up(y_axis["edges"][j])
                shade = style.TIME_STEPS[shade_of(one, most)]
                sheet.rect(left + 0.5, high + 0.5, right - left - 1, low - high - 1, shade)
    for value in ticks(up.low, up.high, 6):
        sheet.text(across.start - 8, up(value) + 4.5, figure(value), size=style.SMALL, anchor="end")
    _both_limits(sheet, across, up, x_axis, y_axis)
    for start in panel["starts"]:
        if start["y"] is not None:
            _mark(sheet, across.within(start["x"]), up.within(start["y"]))
    sheet.rect(across.start, top, across.end - across.start, TALL_MAP, "none", style.QUIET)
    sheet.y = bottom
    sheet.y += style.SMALL + 5
    for value in ticks(across.low, across.high, max(2, int((across.end - across.start) / 62))):
        sheet.text(across(value), sheet.y, figure(value), size=style.SMALL, anchor="middle")
    sheet.y += 2
    sheet.paragraph(f"Across: {title_of(x_axis)}", size=style.HEAD, bold=True)
    sheet.y += 4
    for axis in (x_axis, y_axis):
        if axis["limit"] is not None:
            words = threshold_words(axis, axis["limit"]).replace("Hatched: where", "Dashed: where")
            sheet.paragraph(words, size=style.SMALL)
    _legend(sheet, most)


def shade_of(hours: float, most: float) -> int:
    """Give the shade of a time: each is for about three times as long as the one before."""
    share = hours / most
    return sum(share > edge for edge in _shade_edges())


def _shade_edges() -> list[float]:
    return [3.0 ** (i - SHADES) for i in range(1, SHADES)]


def _both_limits(sheet: Sheet, across: Scale, up: Scale, x_axis: Axis, y_axis: Axis) -> None:
    for axis, scale, level in ((x_axis, across, False), (y_axis, up, True)):
        limit = axis["limit"]
        if limit is None:
            continue
        at = scale.within(limit["value"])
        ends = [at if one is None else scale.within(one) for one in (limit["low"], limit["high"])]
        low, wide = min(ends), max(ends) - min(ends)
        x, y = (across.start, low) if level else (low, up.start - 9)
        for fill in (style.PAPER, sheet.pattern("limit")):
            sheet.rect(x, y, 9 if level else wide, wide if level else 9, fill)
        for colour, thick, dash in ((style.PAPER, 5.0, None), (style.LIMIT, 2.4, "9 5")):
            # On dark cells the line is seen by its pale edge.
            if level:
                sheet.line(across.start, at, across.end, at, colour, thick, dash)
            else:
                sheet.line(at, up.end, at, up.start, colour, thick, dash)


def _legend(sheet: Sheet, most: float) -> None:
    """Put the shades with the times that they stand for."""
    sheet.y += 8
    edges = [0.0, *(one * most for one in _shade_edges()), most]
    x = style.EDGE
    sheet.y += 14
    sheet.text(x, sheet.y, "time spent:", size=style.SMALL)
    x += style.width_of("time spent:", style.SMALL) + 8
    for i, shade in enumerate(style.TIME_STEPS):
        words = f"to {spent(edges[i + 1])}"
        need = 22 + style.width_of(words, style.SMALL) + 14
        if x + need > sheet.width - style.EDGE:
            sheet.y += style.SMALL * 1.6
            x = style.EDGE
        sheet.rect(x, sheet.y - 12, 16, 14, shade, style.QUIET)
        sheet.text(x + 22, sheet.y, words, size=style.SMALL)
        x += need
    sheet.y += 6
