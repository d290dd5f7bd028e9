"""`shearbolt rename`."""

from __future__ import annotations

import click

from shearbolt.cli.manner import Command
from shearbolt.cli.printing import answer
from shearbolt.cli.render_record import render_rename


@click.command(cls=Command)
@click.argument("which", metavar="ID_OR_NAME")
@click.argument("new_name", metavar="NEW_NAME")
def rename(which: str, new_name: str) -> int:
    """Give a machine another name; its identifier stays."""
    if not new_name.strip():
        raise click.UsageError("A name needs at least one letter.")
    return answer(
        lambda app, manner, wording, _: app.rename_machine(
            manner.book_folder, which, new_name.strip(), wording=wording
        ),
        render_rename,
    )
