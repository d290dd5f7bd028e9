"""`shearbolt yard`, `machine`, `visit` and `tells`."""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

import click

from shearbolt.app.documents import MachineDocument, Progress, Wording
from shearbolt.cli.door import UseCases
from shearbolt.cli.manner import Command, Manner
from shearbolt.cli.picture_file import answer_with_picture, checked
from shearbolt.cli.printing import answer
from shearbolt.cli.render_machine import render_machine, render_tells, render_yard
from shearbolt.cli.render_visit import render_visit

if TYPE_CHECKING:
    from shearbolt.app.picturing.documents import Picture


@click.command(cls=Command)
def yard() -> int:
    """Show the fleet at a glance."""
    return answer(
        lambda app, manner, wording, _: app.yard(manner.book_folder, wording=wording),
        render_yard,
    )


@click.command(cls=Command)
@click.argument("which", metavar="ID_OR_NAME")
@click.option("--picture", metavar="FILE", help="Draw it to this file (.svg or .png).")
@click.option("--of", type=click.Choice(["soot"]), help="Which picture (soot).")
def machine(which: str, picture: str | None, of: Literal["soot"] | None) -> int:
    """Show one machine: faults, repairs, visits and controllers."""
    file = checked(picture, of)

    def ask(app: UseCases, manner: Manner, wording: Wording, _: Progress) -> MachineDocument:
        return app.machine(manner.book_folder, which, wording=wording)

    if file is None:
        return answer(ask, render_machine)

    def draw(manner: Manner, wording: Wording) -> Picture:
        from shearbolt.app.picturing import machine_picture

        return machine_picture(manner.book_folder, which, of or "soot", wording=wording)

    return answer_with_picture(ask, draw, file)


@click.command(cls=Command)
@click.argument("which", metavar="ID")
def visit(which: str) -> int:
    """Show one visit: who was heard, and what could not be read."""
    return answer(
        lambda app, manner, wording, _: app.visit(manner.book_folder, which, wording=wording),
        render_visit,
    )


@click.command(cls=Command)
@click.argument("which", metavar="ID_OR_NAME")
def tells(which: str) -> int:
    """Show which readings and manners a machine really has."""
    return answer(
        lambda app, manner, wording, _: app.tells(manner.book_folder, which, wording=wording),
        render_tells,
    )
