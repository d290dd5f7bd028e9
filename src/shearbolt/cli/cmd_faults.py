"""`shearbolt faults` and `fault`."""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

import click

from shearbolt.app.documents import FaultDocument, Progress, Wording
from shearbolt.cli.door import UseCases
from shearbolt.cli.manner import Command, Manner
from shearbolt.cli.picture_file import answer_with_picture, checked
from shearbolt.cli.printing import answer
from shearbolt.cli.render_fault import render_fault
from shearbolt.cli.render_faults import render_faults

if TYPE_CHECKING:
    from shearbolt.app.picturing.documents import Picture


@click.command(cls=Command)
@click.option("--machine", metavar="ID_OR_NAME", help="Only of this machine.")
@click.option("--visit", metavar="ID", help="Only what this visit showed.")
@click.option(
    "--all",
    "everything",
    is_flag=True,
    help="Cleared and old ones too, and machines without a fault.",
)
def faults(machine: str | None, visit: str | None, everything: bool) -> int:
    """Show what is wrong with which machine."""
    return answer(
        lambda app, manner, wording, _: app.faults(
            manner.book_folder,
            machine=machine,
            visit=visit,
            everything=everything,
            wording=wording,
        ),
        render_faults,
    )


@click.command(cls=Command)
@click.argument("which", metavar="ID")
@click.option("--picture", metavar="FILE", help="Draw it to this file (.svg or .png).")
@click.option(
    "--of",
    type=click.Choice(["spell", "conditions", "life", "odds"]),
    help="Which picture (spell).",
)
@click.option(
    "--why", is_flag=True, help="All that speaks for and against each cause, with its weight."
)
def fault(
    which: str,
    picture: str | None,
    of: Literal["spell", "conditions", "life", "odds"] | None,
    why: bool,
) -> int:
    """Show one fault: advice, suspects, what to check, spells and repairs."""
    file = checked(picture, of)

    def ask(app: UseCases, manner: Manner, wording: Wording, _: Progress) -> FaultDocument:
        return app.fault(manner.book_folder, which, wording=wording)

    if file is None:
        return answer(ask, lambda document, look: render_fault(document, look, why))

    def draw(manner: Manner, wording: Wording) -> Picture:
        from shearbolt.app.picturing import fault_picture

        return fault_picture(manner.book_folder, which, of or "spell", wording=wording)

    return answer_with_picture(ask, draw, file)
