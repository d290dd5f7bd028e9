"""`shearbolt export`, `import-book`, `backup` and `check`."""

from __future__ import annotations

import click

from shearbolt.cli.manner import Command
from shearbolt.cli.printing import answer
from shearbolt.cli.render_record import (
    render_backup,
    render_export,
    render_import_book,
)


@click.command(cls=Command)
@click.argument("which", metavar="ID_OR_NAME")
@click.argument("folder", metavar="FOLDER")
def export(which: str, folder: str) -> int:
    """Write everything of a machine as one folder of open formats."""
    return answer(
        lambda app, manner, wording, progress: app.export_machine(
            manner.book_folder, which, folder, progress=progress, wording=wording
        ),
        render_export,
    )


@click.command(cls=Command, name="import-book")
@click.argument("folder", metavar="FOLDER")
def import_book(folder: str) -> int:
    """Take in another book or a backup of one; what is known already changes nothing."""
    return answer(
        lambda app, manner, wording, progress: app.import_book(
            manner.book_folder, folder, progress=progress, wording=wording
        ),
        render_import_book,
    )


@click.command(cls=Command)
@click.argument("target", metavar="TARGET")
def backup(target: str) -> int:
    """Copy the whole book to TARGET, and read the copy again."""
    return answer(
        lambda app, manner, wording, progress: app.backup(
            manner.book_folder, target, progress=progress, wording=wording
        ),
        render_backup,
    )
