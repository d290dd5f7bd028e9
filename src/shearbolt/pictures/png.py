"""A picture as PNG: SVG drawn by a renderer with the computer's own fonts."""

from __future__ import annotations

from functools import cache

from shearbolt.errors import ShearboltError

FINE = 2.0
"""Pixels of the PNG for one of the picture: sharp on a phone and in print."""
_LETTERS = (
    '<svg xmlns="http://www.w3.org/2000/svg" width="40" height="20" font-family="sans-serif">'
    '<text x="2" y="16" font-size="16">{}</text></svg>'
)


def png_of(svg: str, fineness: float = FINE) -> bytes:
    """Give a picture as PNG, `fineness` pixels for each of its own.

    Raises ShearboltError where the computer has no font to write its words with.
    """
    if not has_fonts():
        raise ShearboltError(
            "This computer has no font to write the words of a picture with; take a file that "
            "ends in .svg, or install a font (DejaVu Sans, say)."
        )
    return _drawn(svg, fineness)


@cache
def has_fonts() -> bool:
    """Tell whether words are drawn at all: without a font they would be left out silently."""
    return _drawn(_LETTERS.format("M"), 1.0) != _drawn(_LETTERS.format(""), 1.0)


def _drawn(svg: str, fineness: float) -> bytes:
    import resvg_py

    data: bytes = resvg_py.svg_to_bytes(svg_string=svg, zoom=fineness, background="#ffffff")
    return bytes(data)
