"""The table beside a picture, for those who cannot see it: the same figures in words."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import tzinfo

from shearbolt.app.picturing.documents import (
    ConditionsPicture,
    LifePicture,
    OddsPicture,
    Panel,
    Picture,
    SootPicture,
    SpellPicture,
    Strip,
)
from shearbolt.pictures.conditions import step_of
from shearbolt.pictures.life import place
from shearbolt.pictures.odds import percent
from shearbolt.pictures.scales import bounds, figure, spent, with_unit
from shearbolt.pictures.spell import under_of, value_of

NOTHING = "–"


@dataclass(frozen=True, slots=True)
class Table:
    """Words in rows and columns."""

    title: str
    under: str
    """Where and when."""
    lines: tuple[str, ...]
    """What is to be said of it, in sentences."""
    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    """Each as long as `heads`."""


def table_of(picture: Picture, zone: tzinfo | None = None) -> Table:
    """Give the table of a picture; times in `zone` (None: the computer's own)."""
    if picture["what"] == "spell":
        under = under_of(picture, zone)
        heads, rows = _spell(picture)
    else:
        under = picture["machine_name"]
        if picture["what"] == "conditions":
            heads, rows = _conditions(picture)
        elif picture["what"] == "life":
            heads, rows = _life(picture, zone)
        elif picture["what"] == "odds":
            heads, rows = _odds(picture)
        else:
            heads, rows = _soot(picture)
    return Table(picture["title"], under, tuple(picture["lines"]), heads, tuple(rows))


Rows = list[tuple[str, ...]]


def _spell(picture: SpellPicture) -> tuple[tuple[str, ...], Rows]:
    span = picture["span"]
    heads: tuple[str, ...] = ("reading", "before", "at its start", "while on", "after")
    if any(one["limits"] for one in picture["strips"]):
        heads += ("it comes",)
    rows: Rows = []
    for one in picture["strips"]:
        until = span["to_s"] if span is not None else 0.0
        rows.append(
            (
                one["name"],
                _between(one, picture["from_s"], 0.0) if span and span["from_known"] else NOTHING,
                NOTHING if one["at_start"] is None else value_of(one, one["at_start"]),
                _between(one, 0.0, until),
                _between(one, until, picture["to_s"]),
                "; ".join(limit["words"] for limit in one["limits"]) or NOTHING,
            )[: len(heads)]
        )
    return heads, rows


def _between(strip: Strip, start: float, end: float) -> str:
    told = [
        value
        for at, value in zip(strip["at_s"], strip["value"], strict=True)
        if value is not None and start <= at <= end
    ]
    if strip["levels"]:
        # A state holds until another is told.
        pairs = zip(strip["at_s"], strip["value"], strict=True)
        held = [value for at, value in pairs if at <= start]
        if held and held[-1] is not None:
            told.insert(0, held[-1])
    low_high = bounds(told)
    if low_high is None:
        return NOTHING
    low, high = low_high
    if strip["levels"]:
        names = dict.fromkeys(value_of(strip, one) for one in told)
        return ", ".join(names)
    return _span_words(low, high, strip["unit"])


def _span_words(low: float, high: float, unit: str) -> str:
    span = high - low
    if figure(low, span) == figure(high, span):
        return with_unit(low, unit)
    return f"{figure(low, span)} to {with_unit(high, unit, span)}"


def _conditions(picture: ConditionsPicture) -> tuple[tuple[str, ...], Rows]:
    rows: Rows = []
    for panel in picture["panels"]:
        rows += _steps(panel)
    return ("where", "time spent", "starts"), rows


def _steps(panel: Panel) -> Rows:
    """Give the steps in which time was spent or the fault started."""
    x, y = panel["x"], panel["y"]
    counted: dict[tuple[int, int], int] = {}
    for one in panel["starts"]:
        row = 0 if y is None or one["y"] is None else step_of(y, one["y"])
        cell = row, step_of(x, one["x"])
        counted[cell] = counted.get(cell, 0) + 1
    rows: Rows = []
    for j, across in enumerate(panel["hours"]):
        for i, hours in enumerate(across):
            starts = counted.get((j, i), 0)
            if hours > 0 or starts:
                where = _step_words(x["name"], x["unit"], x["edges"], x["levels"], i)
                if y is not None:
                    where += ", " + _step_words(y["name"], y["unit"], y["edges"], y["levels"], j)
                rows.append((where, spent(hours), str(starts)))
    return rows


def _step_words(name: str, unit: str, edges: list[float], levels: list[str], step: int) -> str:
    if levels:
        return f"{name}: {levels[step]}"
    return f"{name} {figure(edges[step])} to {with_unit(edges[step + 1], unit)}"


def _life(picture: LifePicture, zone: tzinfo | None) -> tuple[tuple[str, ...], Rows]:
    rows: list[tuple[float, tuple[str, str]]] = []
    for one in picture["happened"]:
        rows.append((one["at"], (place(picture, one["at"], zone), one["words"])))
    for unseen in picture["unseen"]:
        at = unseen["start"] if unseen["start"] is not None else picture["low"]
        until = NOTHING if unseen["end"] is None else place(picture, unseen["end"], zone)
        since = "" if unseen["start"] is None else f"{place(picture, unseen['start'], zone)} "
        rows.append((at, (f"{since}to {until}", unseen["words"])))
    for repair in picture["repairs"]:
        where = place(picture, repair["start"], zone)
        rows.append((repair["start"], (where, f"done: {repair['words']}")))
    rows.sort(key=lambda one: one[0])
    return ("where", "what"), [row for _, row in rows]


def _odds(picture: OddsPicture) -> tuple[tuple[str, ...], Rows]:
    return ("cause", "chance", "before"), [
        (
            one["words"],
            percent(one["now"]),
            NOTHING if one["before"] is None else percent(one["before"]),
        )
        for one in picture["odds"]
    ]


def _soot(picture: SootPicture) -> tuple[tuple[str, ...], Rows]:
    rows: Rows = []
    for look in picture["looks"]:
        told = [
            value
            for at, value in zip(picture["at"], picture["value"], strict=True)
            if value is not None and look["start"] <= at <= look["end"]
        ]
        low_high = bounds(told)
        burned = sum(
            look["start"] <= one["start"] <= look["end"] for one in picture["regenerations"]
        )
        if low_high is not None:
            soot = _span_words(*low_high, picture["unit"])
            rows.append((f"{look['start']:,.1f} h", soot, str(burned)))
    return ("hours", "soot", "burned off"), rows
