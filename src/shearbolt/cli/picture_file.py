"""`--picture` and `--of`: a picture in a file, and on the page the same figures as a table."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from shearbolt.app.documents import Progress, Wording
from shearbolt.cli.door import UseCases
from shearbolt.cli.look import Look
from shearbolt.cli.manner import Manner
from shearbolt.cli.page import Page
from shearbolt.cli.printing import answer
from shearbolt.errors import UsageError

if TYPE_CHECKING:
    from shearbolt.app.picturing.documents import Picture

Document = TypeVar("Document", bound=Mapping[str, Any])
ENDINGS = (".svg", ".png")


def checked(picture: str | None, of: str | None) -> str | None:
    """Give the picture's file name. Raises click.UsageError for a name that is none, and for
    `--of` alone."""
    if picture is None:
        if of is not None:
            raise click.UsageError("--of says which picture; say with --picture where to write it.")
        return None
    if not picture.lower().endswith(ENDINGS):
        raise click.UsageError(f"'{picture}' must end in .svg or .png, the forms of a picture.")
    return picture


def answer_with_picture(
    ask: Callable[[UseCases, Manner, Wording, Progress], Document],
    draw: Callable[[Manner, Wording], Picture],
    file: str,
) -> int:
    """Run a use case, write its picture to a file, and print the picture's table; with `--json`
    the use case's document, as without a picture."""
    drawn: list[Picture] = []

    def both(app: UseCases, manner: Manner, wording: Wording, progress: Progress) -> Document:
        document = ask(app, manner, wording, progress)
        progress(0, 0, "Drawing")
        drawn.append(draw(manner, wording))
        _write(drawn[0], Path(file))
        return document

    def lines(_document: Document, look: Look) -> list[str]:
        return render_picture(drawn[0], file, look)

    return answer(both, lines)


def render_picture(picture: Picture, file: str, look: Look) -> list[str]:
    """Say where a picture was written, and give its figures in a table."""
    from shearbolt.pictures import table_of

    table = table_of(picture, look.zone)
    page = Page(look)
    page.title(table.title)
    page.text(table.under, 2)
    for one in table.lines:
        page.text(one, 2)
    if table.rows:
        page.blank()
        page.table(table.heads, table.rows)
    page.blank()
    page.text(f"Written to {file}")
    return page.lines


def _write(picture: Picture, path: Path) -> None:
    """Draw a picture into a new file under a temporary name; nothing is left when that fails."""
    from shearbolt.pictures import draw, png_of

    svg = draw(picture)
    data = png_of(svg) if path.suffix.lower() == ".png" else svg.encode("utf-8")
    aside = path.with_name(path.name + ".part")
    try:
        aside.write_bytes(data)
        aside.replace(path)
    except OSError as trouble:
        raise UsageError(f"{path} cannot be written: {trouble.strerror}.") from None
    finally:
        aside.unlink(missing_ok=True)
