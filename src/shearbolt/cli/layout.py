"""Text in columns: cleaning, measuring, wrapping and tables without borders. No I/O."""

from __future__ import annotations

import unicodedata
from collections.abc import Sequence

from shearbolt.cli.look import Look

_GAP = 2
_NARROWEST = 8


def clean(text: str) -> str:
    """Make text from anywhere safe for a terminal: no control marks, one line, no odd spaces."""
    return " ".join("".join(_mark(mark) for mark in text).split())


def _mark(mark: str) -> str:
    kind = unicodedata.category(mark)
    if kind in ("Zs", "Zl", "Zp") or mark in "\t\n\r":
        return " "
    # Control marks could move the cursor; format marks (bidirectional ones above all) could hide
    # what is there; lone surrogates (from file names) cannot be written at all. The joiner that
    # scripts and pictures need stays.
    if kind in ("Cc", "Cs", "Co", "Cn") or (kind == "Cf" and mark not in "\u200c\u200d"):
        return "\ufffd"
    return mark


def width_of(text: str) -> int:
    """Count the terminal columns of cleaned text (wide marks take two, combining ones none)."""
    return sum(_columns(mark) for mark in text)


def _columns(mark: str) -> int:
    if unicodedata.category(mark) in ("Mn", "Me", "Cf"):
        return 0
    return 2 if unicodedata.east_asian_width(mark) in "WF" else 1


def padded(text: str, width: int, *, right: bool = False) -> str:
    """Fill with spaces to a number of columns."""
    fill = " " * max(0, width - width_of(text))
    return fill + text if right else text + fill


def wrapped(text: str, width: int, *, first: str = "", rest: str | None = None) -> list[str]:
    """Break text into lines of at most `width` columns, with `first` and `rest` before them.

    A word longer than a line is broken where the line ends. Empty text gives one line of `first`.
    """
    rest = first if rest is None else rest
    room = max(8, width - max(width_of(first), width_of(rest)))
    lines: list[str] = []
    line = ""
    for word in clean(text).split(" "):
        for piece in _pieces(word, room):
            if not line:
                line = piece
            elif width_of(line) + 1 + width_of(piece) <= room:
                line = f"{line} {piece}"
            else:
                lines.append(line)
                line = piece
    lines.append(line)
    return [(first if not i else rest) + one for i, one in enumerate(lines)]


def _pieces(word: str, room: int) -> list[str]:
    if width_of(word) <= room:
        return [word]
    pieces: list[str] = []
    piece = ""
    for mark in word:
        if width_of(piece) + _columns(mark) > room:
            pieces.append(piece)
            piece = ""
        piece += mark
    return [*pieces, piece]


def table(
    heads: Sequence[str],
    rows: Sequence[Sequence[str]],
    look: Look,
    *,
    right: Sequence[int] = (),
    indent: int = 2,
) -> list[str]:
    """Lay out rows under headings; columns in `right` are aligned to the right.

    Where the rows are wider than the page, the widest columns are narrowed and their cells wrap;
    where even that is too wide, every cell stands on a line of its own behind its heading.
    """
    cells = [[clean(cell) for cell in row] for row in rows]
    least = [max(_NARROWEST, width_of(head)) for head in heads]
    widths = [
        max([width_of(head), *(width_of(row[i]) for row in cells)]) for i, head in enumerate(heads)
    ]
    excess = sum(widths) + indent + _GAP * (len(heads) - 1) - look.width
    while excess > 0:
        spare, widest = max((width - least[i], i) for i, width in enumerate(widths))
        if spare <= 0:
            return _stacked(heads, cells, look, indent)
        widths[widest] -= 1
        excess -= 1
    lines = [look.strong(one) for one in _row(heads, widths, right, indent)]
    for row in cells:
        lines += _row(row, widths, right, indent)
    return lines


def _stacked(
    heads: Sequence[str], cells: Sequence[Sequence[str]], look: Look, indent: int
) -> list[str]:
    first, rest = " " * indent, " " * (indent + 2)
    lines: list[str] = []
    for row in cells:
        for i, (head, cell) in enumerate(zip(heads, row, strict=True)):
            lines += wrapped(f"{head}: {cell}", look.width, first=rest if i else first, rest=rest)
    return lines


def _row(row: Sequence[str], widths: Sequence[int], right: Sequence[int], indent: int) -> list[str]:
    columns = [
        wrapped(cell, width) if width >= _NARROWEST else [cell]
        for cell, width in zip(row, widths, strict=True)
    ]
    gap = " " * _GAP
    lines = []
    for i in range(max(len(column) for column in columns)):
        parts = [
            padded(column[i] if i < len(column) else "", width, right=k in right)
            for k, (column, width) in enumerate(zip(columns, widths, strict=True))
        ]
        lines.append((" " * indent + gap.join(parts)).rstrip())
    return lines
