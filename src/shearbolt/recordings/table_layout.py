"""Finding the columns of a table: by their names, by what stands in them, or as a person says."""

from __future__ import annotations

import csv
import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field, fields, replace
from itertools import pairwise

from shearbolt.errors import ColumnsNeeded, ForeignRecording
from shearbolt.recordings.columns import OPTION, TIME_UNITS_US, TableColumns
from shearbolt.recordings.table_cells import plain_number, time_kind

_SAMPLE_LINES = 400
_DELIMITERS = ",;\t|"

_NAMES = {
    "time": "time|timestamp|time stamp|t|abs time|rel time|time rel|time abs|time offset|offset"
    "|time of day|datetime|date time|zeit|zeitstempel|temps|absolute time|relative time",
    "date": "date|datum|day",
    "ident": "id|can id|canid|identifier|can identifier|arbitration id|arb id|arbid|msg id|msgid"
    "|message id|frame id|frameid|ident|kennung|id hex|can id hex|id dec|identifiant",
    "data": "data|data bytes|databytes|payload|bytes|daten|data hex|data field|msg data"
    "|message data|donnees|données|data byte",
    "length": "dlc|len|length|size|data length|dl|data len|länge|laenge|num bytes|bytecount",
    "channel": "channel|bus|interface|ch|serial bus|port|can channel|kanal|chn|can bus|network"
    "|iface|bus id|can",
    "kind": "type|frame type|kind|msg type|frametype|typ|message type|event type|format",
    "direction": "dir|direction|rx tx|rxtx|tx rx|richtung|rx/tx|tx/rx",
    "errors": "errors|error|error flags",
    "extended": "extended|ide|ext|xtd|is extended|extended id|is extended id|eff",
    "remote": "remote|rtr|is remote|remote frame|is remote frame",
    "pgn": "pgn|parameter group|parameter group number|group|pgn dec",
    "priority": "priority|prio|pri|p",
    "source": "source|src|sa|source address|src addr|from|sender",
    "destination": "destination|dst|da|dest|destination address|dst addr|to|receiver",
}
_ROLE = {name: role for role, names in _NAMES.items() for name in names.split("|")}
_BYTE_NAME = re.compile(r"(?:data\s*byte|data|byte|db|d|b)\s*\[?\s*(\d{1,2})\]?$")
_UNIT = re.compile(r"[\[(]\s*([^\])]*)\s*[\])]")
_UNIT_WORDS = {
    **{unit: unit for unit in TIME_UNITS_US},
    "sec": "s",
    "seconds": "s",
    "second": "s",
    "secs": "s",
    "msec": "ms",
    "milliseconds": "ms",
    "millis": "ms",
    "usec": "us",
    "microseconds": "us",
    "micros": "us",
    "nsec": "ns",
    "nanoseconds": "ns",
}
_DATA_CELL = re.compile(r"(?:0x)?[0-9a-f]{2}(?:[\s,:_-]*(?:0x)?[0-9a-f]{2}){0,63}\s*$", re.I).match
_IDENT_CELL = re.compile(r"(?:0x[0-9a-f]{1,8}|[0-9a-f]{3}|[0-9a-f]{7,8})[xh]?\s*$", re.I).match


@dataclass(frozen=True, slots=True)
class Layout:
    """Where the columns of one table stand; None: it has no such column."""

    delimiter: str
    names: tuple[str, ...]
    """Column names, '' where the table names none."""
    first_line: int
    """Number of the first line that holds a frame, from 1."""
    time: int = 0
    date: int | None = None
    ident: int | None = None
    data: tuple[int, ...] = ()
    """One column, or one a byte."""
    open_end: bool = False
    """Cells behind the last named column belong to the data."""
    length: int | None = None
    channel: int | None = None
    kind: int | None = None
    direction: int | None = None
    errors: int | None = None
    extended: int | None = None
    remote: int | None = None
    pgn: int | None = None
    priority: int | None = None
    source: int | None = None
    destination: int | None = None
    time_unit: str | None = None
    """Unit that the header or the person names."""
    ident_base: str | None = None
    passed_over: int = 0
    """Lines with words above the column names."""
    rows: tuple[tuple[str, ...], ...] = field(default=(), repr=False)
    """The first rows, for a look at what stands in them."""

    def cells(self, column: int) -> list[str]:
        """Return what stands in a column of the first rows, less empty cells."""
        found = (row[column].strip() for row in self.rows if column < len(row))
        return [cell for cell in found if cell]


def split_row(line: str, delimiter: str) -> list[str]:
    """Split one line into cells; a quote that is never closed reaches to its end only."""
    if '"' in line:
        try:
            return next(csv.reader([line], delimiter=delimiter), [])
        except csv.Error:
            return line.split(delimiter)
    return line.split(delimiter)


def find_layout(name: str, head: str, asked: TableColumns | None, foreign: str) -> Layout:
    """Find the columns of the table that begins with `head`, in the file `name`.

    Raises ForeignRecording with the sentence `foreign` when it is no table of frames, and
    ColumnsNeeded when it may be one but a needed column cannot be told.
    """
    lines = [
        (number, line)
        for number, line in enumerate(head.splitlines(), start=1)
        if line.strip() and not line.lstrip().startswith("#")
    ][:_SAMPLE_LINES]
    if not lines or (head.count("\0") + head.count("\ufffd")) * 20 > len(head):
        raise ForeignRecording(name, foreign)
    delimiter, share = _delimiter([line for _, line in lines])
    if not delimiter:
        raise ForeignRecording(name, foreign)
    rows = [(number, split_row(line, delimiter)) for number, line in lines]
    layout, found = _by_names(rows, delimiter, asked)
    chosen = _chosen(name, layout.names, asked) if asked is not None else {}
    layout = replace(layout, **chosen)  # type: ignore[arg-type]
    named = bool({"ident", "pgn", "data"} & found)
    found |= set(chosen)
    layout, guessed = _by_content(layout, found)
    lacking = _lacking(layout, found | guessed)
    if not lacking:
        return layout
    shown = ", ".join(one or str(i + 1) for i, one in enumerate(layout.names))
    plea = (
        f"its columns of {' and '.join(lacking)} cannot be told; it has: {shown}. "
        f"Name them with {OPTION} (names or numbers from 1)."
    )
    if not layout.rows:
        raise ForeignRecording(name, foreign)
    if named or asked is not None or (len(guessed) >= 2 and share > 0.9):
        raise ColumnsNeeded(f"{name}: {plea}")
    if share > 0.9 and len(layout.names) > 2:
        raise ForeignRecording(name, f"{foreign} If it is a table of frames, {plea}")
    raise ForeignRecording(name, foreign)


def _delimiter(lines: Sequence[str]) -> tuple[str, float]:
    """Choose the delimiter: the same count in most lines, and the most columns."""
    best, most, best_share = "", 2, 0.0
    for delimiter in _DELIMITERS:
        counts = Counter(len(split_row(line, delimiter)) for line in lines)
        columns, times = counts.most_common(1)[0]
        share = times / len(lines)
        # Data at the end of a row may be split by the same delimiter: then counts vary.
        if columns > most and (share > 0.6 or (delimiter != "|" and min(counts) > 2)):
            best, most, best_share = delimiter, columns, share
    return best, best_share


def _by_names(
    rows: list[tuple[int, list[str]]], delimiter: str, asked: TableColumns | None
) -> tuple[Layout, set[str]]:
    """Find the row of names and what the names say."""
    best: tuple[int, dict[str, int], dict[int, int]] = (-1, {}, {})
    wanted = _wanted_names(asked)
    for at, (_, row) in enumerate(rows[:30]):
        roles, numbered = _roles(row)
        score = len(roles) + (2 if len(numbered) >= 4 else 0)
        if wanted and wanted <= {cell.strip().strip('"').lower() for cell in row}:
            score += 100
        if score >= 2 and score > len(best[1]) + (2 if len(best[2]) >= 4 else 0):
            best = (at, roles, numbered)
            if score >= 100:
                break
    if best[0] < 0 and rows and _is_names(rows[0][1]):
        # Names that say nothing to us are still names.
        best = (0, *_roles(rows[0][1]))
    at, roles, numbered = best
    found: dict[str, int | tuple[int, ...]] = {**roles}
    if len(numbered) >= 4 and "data" not in roles:
        found["data"] = tuple(numbered[key] for key in sorted(numbered))
    elif "data" in roles:
        found["data"] = (roles["data"],)
    width = max((len(row) for _, row in rows), default=0)
    names = tuple(cell.strip() for cell in rows[at][1]) if at >= 0 else ("",) * width
    time_unit = _unit(names[roles["time"]]) if "time" in roles else None
    base = _base(names[roles["ident"]]) if "ident" in roles else None
    data = found.get("data")
    open_end = isinstance(data, tuple) and len(data) == 1 and data[0] == len(names) - 1
    first_line = rows[at + 1][0] if at + 1 < len(rows) else rows[-1][0] + 1
    layout = Layout(
        delimiter,
        names,
        first_line,
        time_unit=time_unit,
        ident_base=base,
        open_end=open_end,
        passed_over=max(at, 0),
        rows=tuple(tuple(row) for _, row in rows[at + 1 :]),
    )
    return replace(layout, **found), set(found)  # type: ignore[arg-type]


def _is_names(row: Sequence[str]) -> bool:
    """Tell whether a row holds names: none of its cells begins like a number."""
    given = [cell.strip().strip('"') for cell in row if cell.strip()]
    return bool(given) and not any(cell[:1].isdigit() or cell[:1] in "+-." for cell in given)


def _roles(row: Sequence[str]) -> tuple[dict[str, int], dict[int, int]]:
    """Read one row as names: role to column, and byte number to column."""
    roles: dict[str, int] = {}
    numbered: dict[int, int] = {}
    for column, cell in enumerate(row):
        plain = _UNIT.sub(" ", cell.strip().lower())
        plain = re.sub(r"[\s_.\-]+", " ", plain).strip()
        words = plain.split()
        if len(words) > 1 and words[-1] in _UNIT_WORDS:
            plain = " ".join(words[:-1])
        role = _ROLE.get(plain)
        byte = _BYTE_NAME.match(re.sub(r"[_.\-]+", "", cell.strip().lower()))
        if role is not None and role not in roles:
            roles[role] = column
        elif byte is not None:
            numbered.setdefault(int(byte[1]), column)
    return roles, numbered


def _unit(cell: str) -> str | None:
    """Find a unit of time in a column's name."""
    text = cell.strip().lower()
    found = _UNIT.search(text)
    word = found[1].strip() if found else re.split(r"[\s_]+", text)[-1]
    return _UNIT_WORDS.get(word) if found or word != text else None


def _base(cell: str) -> str | None:
    """Find 'hex' or 'dec' in a column's name."""
    text = cell.lower()
    return "hex" if "hex" in text else "dec" if "dec" in text else None


def _wanted_names(asked: TableColumns | None) -> set[str]:
    """Return the names, not numbers, that a person gave."""
    if asked is None:
        return set()
    given = [getattr(asked, one.name) for one in fields(asked)]
    units = {asked.time_unit, asked.ident_base}
    return {
        one.lower()
        for one in given
        if one is not None
        and one not in units
        and not re.fullmatch(r"\d+(-\d+)?", one)
        and not re.fullmatch(r"\S+-\S+", one)
    }


def _chosen(name: str, names: tuple[str, ...], asked: TableColumns) -> dict[str, object]:
    """Turn what a person said into columns; raises ColumnsNeeded for a name that is not there."""
    known = {one.strip('"').lower(): i for i, one in reversed(list(enumerate(names)))}

    def column(text: str) -> int:
        if text.lower() in known:
            return known[text.lower()]
        if text.isdecimal() and 1 <= int(text) <= max(len(names), 1):
            return int(text) - 1
        shown = ", ".join(one or str(i + 1) for i, one in enumerate(names))
        raise ColumnsNeeded(f"{name}: there is no column '{text}'; it has: {shown}.")

    out: dict[str, object] = {}
    for one in fields(asked):
        value: str | None = getattr(asked, one.name)
        if value is None:
            continue
        if one.name in ("time_unit", "ident_base"):
            out[one.name] = value
        elif one.name != "data":
            out[one.name] = column(value)
        elif value.lower() in known or "-" not in value:
            out["data"] = (column(value),)
            out["open_end"] = column(value) == len(names) - 1
        else:
            first, _, last = value.partition("-")
            out["data"] = tuple(range(column(first), column(last) + 1))
            out["open_end"] = False
    if "ident" in out:
        out["pgn"] = None
    return out


def _by_content(layout: Layout, found: set[str]) -> tuple[Layout, set[str]]:
    """Tell columns still lacking by what stands in them, where exactly one fits."""
    taken = {
        column
        for role in found
        for value in [getattr(layout, role, None)]
        for column in (value if isinstance(value, tuple) else (value,))
        if isinstance(column, int) and not isinstance(column, bool)
    }
    free = [i for i in range(len(layout.names)) if i not in taken]
    fits: dict[str, list[int]] = {"time": [], "ident": [], "data": []}
    for column in free:
        kind = _content_kind(layout.cells(column), layout.ident_base == "dec")
        if kind:
            fits[kind].append(column)
    guessed: set[str] = set()
    for role, columns in fits.items():
        if len(columns) != 1 or role in found or (role == "ident" and "pgn" in found):
            continue
        guessed.add(role)
        value: object = (columns[0],) if role == "data" else columns[0]
        layout = replace(layout, **{role: value})  # type: ignore[arg-type]
    return layout, guessed


def _content_kind(cells: list[str], decimal: bool) -> str:
    """Tell whether cells look like times, identifiers or data; '' when like none of them."""
    if len(cells) < 3:
        return ""
    data = [cell for cell in cells if _DATA_CELL(cell)]
    spaced = [cell for cell in data if len(cell) > 8 or not cell.isalnum()]
    if len(data) > 0.8 * len(cells) and len(spaced) > 0.5 * len(cells):
        return "data"
    idents = [cell for cell in cells if _IDENT_CELL(cell)]
    letters = any(re.search(r"[a-fx]", cell, re.I) for cell in idents)
    if len(idents) > 0.8 * len(cells) and letters and not decimal:
        return "ident"
    kind = time_kind(cells)
    if kind in ("unit", "clock", "date"):
        return "time"
    if kind == "plain":
        numbers = [one for one in map(plain_number, cells) if one is not None]
        steps = [b - a for a, b in pairwise(numbers)]
        rising = sum(step >= 0 for step in steps) > 0.9 * len(steps)
        # A plain row number steps by one each time; no time does.
        if rising and numbers[-1] > numbers[0] and any(step not in (0.0, 1.0) for step in steps):
            return "time"
    return ""


def _lacking(layout: Layout, found: set[str]) -> list[str]:
    """Name the needed columns that are not found."""
    out = []
    if "time" not in found:
        out.append("time")
    if "ident" not in found and not {"pgn", "source"} <= found:
        out.append("identifier")
    if "data" not in found:
        out.append("data")
    return out
