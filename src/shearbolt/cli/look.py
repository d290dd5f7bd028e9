"""How output for people is laid out: width, emphasis, units, zone. Plain values, no I/O."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import tzinfo
from typing import Literal


@dataclass(frozen=True, slots=True)
class Look:
    """What the renderers need to know about where their lines go."""

    width: int = 80
    """Columns; no line is longer, unless a single mark is."""
    emphasis: bool = False
    """Bold headings by ANSI sequences; nothing is told by them alone."""
    units: Literal["metric", "us"] = "metric"
    """Units of the readings shown."""
    zone: tzinfo | None = None
    """Zone of the times shown; None: the computer's own."""
    hints: bool = True
    """Say where to look next."""

    def strong(self, text: str) -> str:
        """Set a heading apart where the terminal can."""
        return f"\x1b[1m{text}\x1b[0m" if self.emphasis and text else text


PLAIN = Look()
"""Eighty columns, no emphasis, metric."""
