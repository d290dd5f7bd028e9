"""How pictures look: for bright sun and for printers without colour.

Every text stands at 7:1 or better against what lies behind it (a test reckons it), and nothing is
told by colour alone: stretches are hatched, marks differ in shape, lines in their dashes.
"""

from __future__ import annotations

import re

PAPER = "#ffffff"
INK = "#111111"
QUIET = "#3a3a3a"
"""Text of lesser weight, axes."""
GRID = "#c9c9c9"
LINE = "#0b3a82"
"""What was read."""
FAULT = "#ffe9a8"
"""Ground of a stretch in which a fault was on."""
FAULT_HATCH = "#a86a00"
FAULT_BAR = "#5c3700"
"""Behind white words."""
LIMIT = "#8a0f12"
"""Thresholds of a setting."""
NOTHING = "#8c8c8c"
"""Marks of stretches without a reading."""
TIME_STEPS = ("#c9dcf1", "#9cc0e3", "#6a9cd0", "#3f76b3", "#174a86")
"""Time spent, from little to much."""
SOLID = "#1f5596"
"""Bars."""

FONTS = (
    "system-ui, -apple-system, 'Segoe UI', Roboto, 'Noto Sans', 'DejaVu Sans', "
    "'Liberation Sans', Arial, Helvetica, sans-serif"
)
"""Whatever the computer has; nothing is fetched."""
TITLE, HEAD, BODY, SMALL = 19.0, 15.0, 14.0, 13.0
"""Sizes of text, px."""

NARROWEST, USUAL, WIDEST = 320, 720, 1400
"""Widths of a picture, px."""
EDGE = 16.0
"""Room at the edges, px."""

_WIDE, _NARROW = frozenset("mwMW@%—…"), frozenset("iljtfrI.,:;'|!()[] ·-")


def width_of(words: str, size: float, *, bold: bool = False) -> float:
    """Reckon how wide a text is at most, px: fonts differ, so a wide one is taken."""
    total = 0.0
    for mark in words:
        if mark in _NARROW:
            total += 0.40
        elif mark in _WIDE:
            total += 0.96
        elif mark.isupper():
            total += 0.71
        else:
            total += 0.62 if ord(mark) < 0x2E80 else 1.0
    return total * size * (1.1 if bold else 1.0)


_FIGURE = re.compile(r"((?:^|(?<= ))[−\d][\d,.]*) (?=\S)")


def broken(words: str, room: float, size: float, *, bold: bool = False) -> list[str]:
    """Break a text into lines that fit `room` px; a word that is too long is cut."""
    lines: list[str] = []
    line = ""
    # A figure and its unit stay together.
    for word in _FIGURE.sub("\\1\u00a0", words).split(" "):
        for piece in _pieces(word, room, size, bold):
            longer = f"{line} {piece}" if line else piece
            if line and width_of(longer, size, bold=bold) > room:
                lines.append(line)
                line = piece
            else:
                line = longer
    return [*lines, line] if line else lines


def _pieces(word: str, room: float, size: float, bold: bool) -> list[str]:
    pieces: list[str] = []
    piece = ""
    for mark in word:
        if piece and width_of(piece + mark, size, bold=bold) > room:
            pieces.append(piece)
            piece = ""
        piece += mark
    return [*pieces, piece]


def shortened(words: str, room: float, size: float) -> str:
    """Shorten a text to what fits `room` px."""
    if width_of(words, size) <= room:
        return words
    while words and width_of(words + "…", size) > room:
        words = words[:-1]
    return words.rstrip() + "…"
