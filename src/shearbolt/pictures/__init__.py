"""Charts for page, command line and print: from plain figures to SVG, a table in words, and PNG.

`draw` and `table_of` are pure; the figures come from `shearbolt.app.picturing`.
"""

from __future__ import annotations

from datetime import tzinfo

from shearbolt.app.picturing.documents import Picture
from shearbolt.pictures import style
from shearbolt.pictures.conditions import draw_conditions
from shearbolt.pictures.life import draw_life
from shearbolt.pictures.odds import draw_odds
from shearbolt.pictures.png import png_of
from shearbolt.pictures.soot import draw_soot
from shearbolt.pictures.spell import draw_spell
from shearbolt.pictures.tables import Table, table_of

__all__ = ["Table", "draw", "png_of", "table_of"]


def draw(picture: Picture, *, width: int = style.USUAL, zone: tzinfo | None = None) -> str:
    """Draw a picture as SVG, `width` px wide (held between 320 and 1,400); times in `zone` (None:
    the computer's own)."""
    width = min(max(width, style.NARROWEST), style.WIDEST)
    if picture["what"] == "spell":
        return draw_spell(picture, width, zone)
    if picture["what"] == "conditions":
        return draw_conditions(picture, width)
    if picture["what"] == "life":
        return draw_life(picture, width, zone)
    if picture["what"] == "odds":
        return draw_odds(picture, width)
    return draw_soot(picture, width)
