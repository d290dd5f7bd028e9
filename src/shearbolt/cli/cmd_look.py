"""`shearbolt yard`, `machine`, `visit` and `tells`."""

from __future__ import annotations

import click

from shearbolt.cli.manner import Command
from shearbolt.cli.printing import answer
from shearbolt.cli.render_machine import render_machine, render_tells, render_yard
from shearbolt.cli.render_visit import render_visit


@click.command(cls=Command)
def yard() -> int:
    """Show the fleet at a glance."""
    return answer(
        lambda app, manner, wording, _: app.yard(manner.book_folder, wording=wording),
        render_yard,
    )


@click.command(cls=Command)
@click.argument("which", metavar="ID_OR_NAME")
def machine(which: str) -> int:
    """Show one machine: faults, repairs, visits and controllers."""
    return answer(
        lambda app, manner, wording, _: app.machine(manner.book_folder, which, wording=wording),
        render_machine,
    )


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
