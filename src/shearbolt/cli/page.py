"""A page of lines for people, put together piece by piece. No I/O."""

from __future__ import annotations

from collections.abc import Sequence

from shearbolt.cli.layout import clean, table, width_of, wrapped
from shearbolt.cli.look import Look


class Page:
    """Lines of one output, in order; every piece is cleaned and wrapped to the look's width."""

    def __init__(self, look: Look) -> None:
        self.look = look
        self.lines: list[str] = []

    def blank(self) -> None:
        """Leave one line free, unless the page begins here or one is free already."""
        if self.lines and self.lines[-1]:
            self.lines.append("")

    def title(self, text: str, indent: int = 0) -> None:
        """Set a heading."""
        pad = " " * indent
        self.lines += [self.look.strong(one) for one in wrapped(text, self.look.width, first=pad)]

    def text(self, text: str, indent: int = 0, hang: int = 0) -> None:
        """Set running text; lines after the first are indented `hang` further."""
        pad = " " * indent
        self.lines += wrapped(text, self.look.width, first=pad, rest=pad + " " * hang)

    def item(self, text: str, indent: int = 2) -> None:
        """Set one item of a list."""
        pad = " " * indent
        self.lines += wrapped(text, self.look.width, first=pad + "- ", rest=pad + "  ")

    def named(self, name: str, text: str, indent: int = 2) -> None:
        """Set a value behind its name."""
        self.text(f"{name}: {text}", indent, hang=2)

    def line(self, parts: Sequence[str], indent: int, between: str = "; ") -> None:
        """Set the parts that are not empty on a line; a line breaks between parts if it can."""
        pad = " " * (indent + 2)  # `text` below keeps the room of its hang free
        line = ""
        kept = [clean(part) for part in parts if part.strip()]
        for i, part in enumerate(kept):
            piece = part + (between.rstrip() if i < len(kept) - 1 else "")
            space = " " if between.endswith(" ") else ""
            if line and width_of(pad + line + space + piece) > self.look.width:
                self.text(line, indent, hang=2)
                line = piece
            else:
                line = f"{line}{space}{piece}" if line else piece
        if line:
            self.text(line, indent, hang=2)

    def table(
        self,
        heads: Sequence[str],
        rows: Sequence[Sequence[str]],
        right: Sequence[int] = (),
        indent: int = 2,
    ) -> None:
        """Set a table without borders."""
        self.lines += table(heads, rows, self.look, right=right, indent=indent)

    def more(self, *hints: str) -> None:
        """End with where to look next: commands, each with what it shows."""
        if not self.look.hints or not hints:
            return
        self.blank()
        for i, hint in enumerate(hints):
            self.lines += wrapped(
                hint, self.look.width, first="More: " if not i else "      ", rest="      "
            )
