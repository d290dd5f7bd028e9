"""`shearbolt faults` and `fault`."""

from __future__ import annotations

import click

from shearbolt.cli.manner import Command
from shearbolt.cli.printing import answer
from shearbolt.cli.render_fault import render_fault
from shearbolt.cli.render_faults import render_faults


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
def fault(which: str) -> int:
    """Show one fault: spells, counts, freeze frames and repairs."""
    return answer(
        lambda app, manner, wording, _: app.fault(manner.book_folder, which, wording=wording),
        render_fault,
    )
