"""A sheet to draw on: elements of SVG with everything escaped, and what all pictures share.

Only presentation attributes are used, neither styles nor scripts: a page that allows none from
elsewhere shows it all the same. Elements and attributes: W3C SVG 1.1, clauses 5, 9, 10 and 13.3.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Sequence
from html import escape

from shearbolt.pictures import style

Attribute = str | float | int | None
GAP = 8.0


def clean(text: str) -> str:
    """Make text from anywhere safe for XML: what it cannot hold, or what could turn the order of
    marks round, becomes a replacement mark; all space becomes one space, unless it may not break.
    """
    return " ".join(one for one in "".join(map(_mark, text)).split(" ") if one)


def _mark(mark: str) -> str:
    kind = unicodedata.category(mark)
    if mark == "\u00a0":
        return mark
    if kind in ("Zs", "Zl", "Zp") or mark in "\t\n\r":
        return " "
    # The joiners that scripts need stay.
    if kind in ("Cc", "Cs", "Co", "Cn") or (kind == "Cf" and mark not in "\u200c\u200d"):
        return "\ufffd"
    return mark


def number(value: float) -> str:
    """Write a coordinate, to a hundredth of a pixel and without an exponent."""
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def element(name: str, inner: str = "", /, **attributes: Attribute) -> str:
    """Write an element: `inner` as it is, attributes escaped, `_` in their names as `-`; None
    leaves one out."""
    parts = [name]
    for key, value in attributes.items():
        if value is not None:
            text = value if isinstance(value, str) else number(value)
            parts.append(f'{key.strip("_").replace("_", "-")}="{escape(clean(text))}"')
    return f"<{' '.join(parts)}>{inner}</{name}>" if inner else f"<{' '.join(parts)}/>"


class Sheet:
    """Elements put one over the other; `y` is how far down the sheet is filled."""

    def __init__(self, width: int, key: str) -> None:
        self.width = float(width)
        self.key = "".join(mark if mark.isalnum() and mark.isascii() else "-" for mark in key)
        """What its own identifiers begin with, so that several fit on one page."""
        self.y = 0.0
        self._parts: list[str] = []

    @property
    def room(self) -> float:
        """Width between the edges, px."""
        return self.width - 2 * style.EDGE

    def pattern(self, name: str) -> str:
        """Give the fill that stands for one of the sheet's patterns: 'fault', 'limit', 'none'."""
        return f"url(#{self.key}-{name})"

    def put(self, name: str, **attributes: Attribute) -> None:
        """Put an element without text."""
        self._parts.append(element(name, **attributes))

    @property
    def layer(self) -> int:
        """How many elements there are: where `behind` puts one behind all that follow."""
        return len(self._parts)

    def behind(self, layer: int, name: str, **attributes: Attribute) -> None:
        """Put an element behind those that followed a layer."""
        self._parts.insert(layer, element(name, **attributes))

    def text(
        self,
        x: float,
        y: float,
        words: str,
        *,
        size: float = style.BODY,
        bold: bool = False,
        anchor: str = "start",
        fill: str = style.INK,
        ground: str | None = None,
    ) -> None:
        """Put a line of text, its baseline at `y`; with `ground` on a patch of that colour."""
        words = clean(words)
        if ground is not None:
            wide = style.width_of(words, size, bold=bold) + 6
            left = x - 3 - {"start": 0.0, "middle": (wide - 6) / 2, "end": wide - 6}[anchor]
            self.put("rect", x=left, y=y - size, width=wide, height=size * 1.3, fill=ground)
        self._parts.append(
            element(
                "text",
                escape(words, quote=False),
                x=x,
                y=y,
                font_size=size,
                font_weight="bold" if bold else None,
                text_anchor=None if anchor == "start" else anchor,
                fill=fill,
            )
        )

    def line(
        self,
        x1: float,
        y1: float,
        x2: float,
        y2: float,
        stroke: str,
        width: float = 1.0,
        dash: str | None = None,
    ) -> None:
        """Put a straight line."""
        self.put(
            "line", x1=x1, y1=y1, x2=x2, y2=y2, stroke=stroke, stroke_width=width,
            stroke_dasharray=dash,
        )  # fmt: skip

    def rect(
        self,
        x: float,
        y: float,
        width: float,
        height: float,
        fill: str,
        stroke: str | None = None,
        radius: float | None = None,
    ) -> None:
        """Put a rectangle."""
        self.put(
            "rect", x=x, y=y, width=max(width, 0.0), height=max(height, 0.0), fill=fill,
            stroke=stroke, stroke_width=None if stroke is None else 1.5, rx=radius,
        )  # fmt: skip

    def hatched(self, x: float, y: float, width: float, height: float, name: str) -> None:
        """Put a hatched stretch: a pale ground with the pattern over it."""
        if name == "fault":
            self.rect(x, y, width, height, style.FAULT)
        self.rect(x, y, width, height, self.pattern(name))

    def paragraph(
        self, words: str, *, size: float = style.BODY, bold: bool = False, indent: float = 0.0
    ) -> None:
        """Put text below what is there, broken into lines."""
        for one in style.broken(clean(words), self.room - indent, size, bold=bold):
            self.y += size * 1.35
            self.text(style.EDGE + indent, self.y, one, size=size, bold=bold)

    def heading(self, title: str, under: str, lines: Sequence[str]) -> None:
        """Put the title, where and when it was, and what is to be said."""
        self.y = style.EDGE - 6.0
        self.paragraph(title, size=style.TITLE, bold=True)
        if under:
            self.y += 1.0
            self.paragraph(under)
        self.y += 3.0
        for one in lines:
            self.paragraph(one)
        self.y += GAP

    def done(self, title: str, description: str) -> str:
        """Give the picture as a document of SVG, with a name and a description for those who
        cannot see it."""
        width, height = number(self.width), number(self.y + style.EDGE)
        inner = "".join(
            (
                element("title", escape(clean(title), quote=False), id=f"{self.key}-title"),
                element("desc", escape(clean(description), quote=False), id=f"{self.key}-desc"),
                element("defs", self._patterns()),
                element("rect", width=width, height=height, fill=style.PAPER),
                *self._parts,
            )
        )
        return element(
            "svg",
            inner,
            xmlns="http://www.w3.org/2000/svg",
            width=width,
            height=height,
            viewBox=f"0 0 {width} {height}",
            role="img",
            aria_labelledby=f"{self.key}-title {self.key}-desc",
            lang="en",
            font_family=style.FONTS,
        )

    def _patterns(self) -> str:
        def stripes(name: str, turn: int, step: int, colour: str, width: float) -> str:
            return element(
                "pattern",
                element("line", x1=0, y1=0, x2=0, y2=step, stroke=colour, stroke_width=width),
                id=f"{self.key}-{name}",
                width=step,
                height=step,
                patternUnits="userSpaceOnUse",
                patternTransform=f"rotate({turn})",
            )

        dots = element(
            "pattern",
            element("circle", cx=3, cy=3, r=1, fill=style.NOTHING),
            id=f"{self.key}-none",
            width=6,
            height=6,
            patternUnits="userSpaceOnUse",
        )
        return (
            stripes("fault", 45, 9, style.FAULT_HATCH, 1.6)
            + stripes("limit", -45, 6, style.LIMIT, 1.2)
            + dots
        )
