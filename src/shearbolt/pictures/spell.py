"""Draws one spell of a fault in its signals: strips over one time, the fault's stretch hatched."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import tzinfo
from itertools import pairwise

import numpy as np

from shearbolt.app.picturing.documents import Limit, Span, SpellPicture, Strip
from shearbolt.app.picturing.thinning import thinned
from shearbolt.pictures import style
from shearbolt.pictures.scales import (
    Scale,
    apart,
    bounds,
    figure,
    lasting,
    moment,
    ticks,
    time_ticks,
    widened,
    with_unit,
)
from shearbolt.pictures.sheet import Sheet

TALL, TALL_OWN, TALL_STATE = 84.0, 112.0, 52.0
"""Heights of strips, px."""
BAND = 24.0
"""Height of the band that says when the fault was on, px."""
LEFT = 58.0
"""Room for the figures of the readings, px."""
NOTHING_WORDS = ("no reading", "gap")
"""Of a stretch without a reading, the first that fits."""
Part = tuple[list[float], list[float]]
"""Moments and readings of what is joined."""
Point = tuple[float, float]
"""Pixels."""


def under_of(picture: SpellPicture, zone: tzinfo | None) -> str:
    """Say on which machine and when it was."""
    where = picture["machine_name"]
    return f"{where}, {moment(picture['at'], zone)}" if picture["at"] is not None else where


def description_of(picture: SpellPicture) -> str:
    """Say in sentences what the picture shows."""
    said = list(picture["lines"])
    for one in picture["strips"]:
        low_high = bounds([each for each in one["value"] if each is not None])
        if low_high is None:
            continue
        low, high = (value_of(one, each) for each in low_high)
        came = ""
        if one["at_start"] is not None:
            came = f" {value_of(one, one['at_start'])} when the fault came,"
        said.append(f"{one['name']}:{came} between {low} and {high} in the picture.")
    return " ".join(said)


def draw_spell(picture: SpellPicture, width: int, zone: tzinfo | None) -> str:
    """Draw the picture, `width` px wide; times in `zone` (None: the computer's own)."""
    sheet = Sheet(width, f"spell-{picture['about']}")
    sheet.heading(picture["title"], under_of(picture, zone), picture["lines"])
    span = picture["span"]
    if span is not None and picture["to_s"] > picture["from_s"]:
        across = Scale(
            picture["from_s"], picture["to_s"], style.EDGE + LEFT, sheet.width - style.EDGE
        )
        _band(sheet, across, span)
        for one in picture["others"]:
            _other_band(sheet, across, one)
        sheet.y += BAND
        moments = time_ticks(across.low, across.high, int((across.end - across.start) / 84))
        for strip in picture["strips"]:
            _strip(sheet, across, picture, strip, moments)
        _axis(sheet, across, moments, "it came" if span["from_known"] else "first heard")
    return sheet.done(picture["title"], description_of(picture))


def _band(sheet: Sheet, across: Scale, span: Span) -> None:
    left, right = across.within(span["from_s"]), across.within(span["to_s"])
    wide = max(right - left, 3.0)
    length = lasting(span["to_s"] - span["from_s"])
    words = f"fault on, {length}" if span["from_known"] else f"fault on, {length} or more"
    need = style.width_of(words, style.SMALL, bold=True)
    if need + 8 > wide:
        # Above the band, as near its middle as the edges allow.
        sheet.y += style.SMALL
        middle = min(max(left + wide / 2, style.EDGE + need / 2), across.end - need / 2)
        sheet.text(middle, sheet.y, words, size=style.SMALL, bold=True, anchor="middle")
        sheet.y += 5
    sheet.rect(left, sheet.y, wide, BAND - 3, style.FAULT_BAR)
    baseline = sheet.y + BAND - 9
    if need + 8 <= wide:
        sheet.text(
            left + wide / 2, baseline, words, size=style.SMALL, bold=True, anchor="middle",
            fill=style.PAPER,
        )  # fmt: skip


def _other_band(sheet: Sheet, across: Scale, span: Span) -> None:
    left, right = across.within(span["from_s"]), across.within(span["to_s"])
    sheet.rect(left, sheet.y, max(right - left, 3.0), BAND - 3, style.FAULT_BAR)


def _strip(
    sheet: Sheet, across: Scale, picture: SpellPicture, strip: Strip, moments: list[float]
) -> None:
    _head(sheet, strip)
    state = bool(strip["levels"])
    tall = TALL_STATE if state else TALL_OWN if strip["own"] else TALL
    top, bottom = sheet.y, sheet.y + tall
    up = _upward(strip, top, bottom)
    sheet.rect(across.start, top, across.end - across.start, tall, "#fbfbfb")
    for span in (picture["span"], *picture["others"]):
        if span is not None:
            left, right = across.within(span["from_s"]), across.within(span["to_s"])
            sheet.hatched(left, top, max(right - left, 2.0), tall, "fault")
    for one in moments:
        sheet.line(across(one), top, across(one), bottom, style.GRID)
    _figures(sheet, across, up, strip)
    for start, end in gaps(strip, picture["to_s"]):
        _gap(sheet, across.within(start), across.within(end), top, tall)
    for limit in strip["limits"]:
        if limit["low"] is not None and limit["high"] is not None:
            high, low = up.within(limit["high"]), up.within(limit["low"])
            sheet.rect(
                across.start, high, across.end - across.start, max(low - high, 1.0),
                sheet.pattern("limit"),
            )  # fmt: skip
        at = up.within(limit["value"])
        sheet.line(across.start, at, across.end, at, style.LIMIT, 2.0, "9 5")
    points: list[Point] = []
    for at_s, value in parts_of(strip, picture["from_s"], picture["to_s"], across):
        points += _trace(sheet, across, up, at_s, value, state)
    if not _narrow(sheet):
        for limit in strip["limits"]:
            _limit_words(sheet, across, up, limit, points)
    span = picture["span"]
    if span is not None and span["from_known"]:
        at = across.within(0.0)
        sheet.line(at, top, at, bottom, style.FAULT_BAR, 2.5)
        if strip["at_start"] is not None:
            sheet.put(
                "circle", cx=at, cy=up.within(strip["at_start"]), r=5, fill=style.PAPER,
                stroke=style.FAULT_BAR, stroke_width=2.5,
            )  # fmt: skip
    sheet.rect(across.start, top, across.end - across.start, tall, "none", style.QUIET)
    sheet.y = bottom + 6


def _head(sheet: Sheet, strip: Strip) -> None:
    """Put the name, and beside it or below the figures that matter."""
    name = strip["name"][:1].upper() + strip["name"][1:]
    if strip["unit"]:
        name += f", {strip['unit']}"
    told = [each for each in strip["value"] if each is not None]
    said = ""
    if strip["at_start"] is not None:
        said = f"when it came: {value_of(strip, strip['at_start'])}"
    if told and not strip["levels"]:
        low, high = (figure(one, max(told) - min(told)) for one in (min(told), max(told)))
        said += f"{'; ' if said else ''}lowest {low}, highest {high}"
    need = style.width_of(name, style.HEAD, bold=True) + 14 + style.width_of(said, style.SMALL)
    sheet.y += style.HEAD * 1.35
    if need <= sheet.room:
        sheet.text(style.EDGE, sheet.y, name, size=style.HEAD, bold=True)
        sheet.text(sheet.width - style.EDGE, sheet.y, said, size=style.SMALL, anchor="end")
    else:
        sheet.y -= style.HEAD * 1.35
        sheet.paragraph(name, size=style.HEAD, bold=True)
        sheet.paragraph(said, size=style.SMALL)
    if _narrow(sheet):
        # In a small strip they would cover the line.
        for limit in strip["limits"]:
            sheet.paragraph(f"dashed: it comes {limit['words']}", size=style.SMALL, bold=True)
    sheet.y += 5


def _narrow(sheet: Sheet) -> bool:
    return sheet.room < 480


def value_of(strip: Strip, value: float) -> str:
    """Write a reading with its unit, or the word of a state."""
    levels = strip["levels"]
    if levels and 0 <= round(value) < len(levels):
        return levels[round(value)]
    told = [one for one in strip["value"] if one is not None]
    return with_unit(value, strip["unit"], max(told) - min(told) if told else None)


def _upward(strip: Strip, top: float, bottom: float) -> Scale:
    told = [each for each in strip["value"] if each is not None]
    told += [limit["value"] for limit in strip["limits"]]
    if strip["levels"]:
        most = max(len(strip["levels"]) - 1, round(max(told, default=1.0)))
        return Scale(-0.25, most + 0.25, bottom, top)
    low, high = widened(*(bounds(told) or (0.0, 1.0)))
    return Scale(low, high, bottom, top)


def _figures(sheet: Sheet, across: Scale, up: Scale, strip: Strip) -> None:
    """Put round figures at the left, with lines through the strip."""
    if strip["levels"]:
        marks = [(float(i), one) for i, one in enumerate(strip["levels"])]
    else:
        marks = [(one, figure(one)) for one in ticks(up.low, up.high, 4 if strip["own"] else 3)]
    for value, words in marks:
        at = up(value)
        sheet.line(across.start, at, across.end, at, style.GRID)
        baseline = min(max(at + 4.5, up.end + 10), up.start - 1)
        sheet.text(
            across.start - 6, baseline, style.shortened(words, LEFT - 8, style.SMALL),
            size=style.SMALL, anchor="end", fill=style.QUIET,
        )  # fmt: skip


def gaps(strip: Strip, until: float) -> list[tuple[float, float]]:
    """Give the stretches without a reading."""
    found: list[tuple[float, float]] = []
    begun: float | None = None
    for at, value in zip(strip["at_s"], strip["value"], strict=True):
        if value is None:
            begun = at if begun is None else begun
        elif begun is not None:
            found.append((begun, at))
            begun = None
    return [*found, (begun, until)] if begun is not None else found


def parts_of(strip: Strip, low: float, high: float, across: Scale) -> Iterator[Part]:
    """Give what is joined, thinned out to the picture's pixels without losing a peak."""
    at = np.asarray(strip["at_s"], np.float64)
    value = np.asarray([np.nan if one is None else one for one in strip["value"]], np.float64)
    kept = thinned(at, value, low, high, max(1, int(across.end - across.start)))
    at, value = at[kept], value[kept]
    ends = np.flatnonzero(np.isnan(value)).tolist()
    begin = 0
    for end in (*ends, len(at)):
        if end > begin:
            yield at[begin:end].tolist(), value[begin:end].tolist()
        begin = end + 1


def _trace(
    sheet: Sheet, across: Scale, up: Scale, at_s: list[float], value: list[float], state: bool
) -> list[Point]:
    """Put the line of what is joined; give its points."""
    points = [(across(a), up(v)) for a, v in zip(at_s, value, strict=True)]
    if len(points) == 1:
        sheet.put("circle", cx=points[0][0], cy=points[0][1], r=2, fill=style.LINE)
        return points
    way = [f"M{points[0][0]:.1f} {points[0][1]:.1f}"]
    for x, y in points[1:]:
        # A state holds until the next is told.
        way.append(f"H{x:.1f}V{y:.1f}" if state else f"L{x:.1f} {y:.1f}")
    sheet.put(
        "path", d="".join(way), fill="none", stroke=style.LINE, stroke_width=2,
        stroke_linejoin="round",
    )  # fmt: skip
    return points


def _along(points: list[Point]) -> Iterator[Point]:
    """Give points along a line, no farther apart than some pixels across."""
    for (x1, y1), (x2, y2) in pairwise(points):
        steps = max(1, int((x2 - x1) / 8))
        for i in range(steps):
            yield x1 + (x2 - x1) * i / steps, y1 + (y2 - y1) * i / steps


def _limit_words(sheet: Sheet, across: Scale, up: Scale, limit: Limit, points: list[Point]) -> None:
    """Say what a threshold is, where the words cover least of the line."""
    words = f"it comes {limit['words']}"
    wide = style.width_of(words, style.SMALL, bold=True)
    at = up.within(limit["value"])
    choices: list[tuple[int, int, float, float]] = []
    for left in (across.end - 6 - wide, across.start + 8):
        for baseline in (at - 6, at + 17):
            if up.end + 13 <= baseline <= up.start - 3:
                covered = sum(
                    left - 4 < x < left + wide + 4 and baseline - 15 < y < baseline + 5
                    for x, y in _along(points)
                )
                choices.append((covered, len(choices), left, baseline))
    if choices:
        _, _, left, baseline = min(choices)
        sheet.text(
            left, baseline, words, size=style.SMALL, bold=True, fill=style.LIMIT,
            ground=style.PAPER,
        )  # fmt: skip


def _gap(sheet: Sheet, left: float, right: float, top: float, tall: float) -> None:
    if right - left < 2:
        return
    sheet.rect(left, top, right - left, tall, sheet.pattern("none"))
    fitting = (one for one in NOTHING_WORDS if style.width_of(one, style.SMALL) + 10 < right - left)
    words = next(fitting, None)
    if words is not None:
        sheet.text(
            (left + right) / 2, top + tall / 2 + 4, words, size=style.SMALL, anchor="middle",
            ground=style.PAPER,
        )  # fmt: skip


def _axis(sheet: Sheet, across: Scale, moments: list[float], zero: str) -> None:
    sheet.y += style.SMALL
    edge = sheet.width - 4
    for one in moments:
        words = zero if one == 0 else apart(one)
        half = style.width_of(words, style.SMALL) / 2
        x = min(across(one), edge - half)
        sheet.text(x, sheet.y, words, size=style.SMALL, anchor="middle", bold=one == 0)
