"""`shearbolt add`."""

from __future__ import annotations

import click

from shearbolt.cli.kinds import columns_typed, hours_typed, time_typed
from shearbolt.cli.manner import Command
from shearbolt.cli.printing import answer
from shearbolt.cli.render_visit import render_add


@click.command(cls=Command)
@click.argument("files", nargs=-1, required=True, metavar="FILE...")
@click.option("--machine", metavar="ID_OR_NAME", help="The machine they were made on.")
@click.option("--start", type=time_typed, metavar="TIME", help="When the recording began.")
@click.option("--hours", type=hours_typed, metavar="H", help="Engine hours on the meter.")
@click.option(
    "--columns",
    type=columns_typed,
    metavar="WHAT=COLUMN,...",
    help="Columns of a table: time=...,id=...,data=...",
)
def add(
    files: tuple[str, ...],
    machine: str | None,
    start: int | None,
    hours: float | None,
    columns: dict[str, str] | None,
) -> int:
    """Bring recordings in.

    The kind of each FILE is told from its contents. The same recording twice changes nothing.
    TIME is ISO 8601; without a zone it is this computer's time.
    """
    return answer(
        lambda app, manner, wording, progress: app.add_recordings(
            manner.book_folder,
            files,
            machine=machine,
            start_us=start,
            hours=hours,
            columns=columns or {},
            progress=progress,
            wording=wording,
        ),
        render_add,
    )
