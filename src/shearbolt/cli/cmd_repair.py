"""`shearbolt repair add`."""

from __future__ import annotations

import click

from shearbolt.cli.kinds import hours_typed, time_typed
from shearbolt.cli.manner import Group
from shearbolt.cli.printing import answer
from shearbolt.cli.render_record import render_repair


@click.group(cls=Group)
def repair() -> None:
    """File what was done to cure a fault."""


@repair.command()
@click.option("--machine", required=True, metavar="ID_OR_NAME", help="The machine.")
@click.option(
    "--fault", "faults", multiple=True, metavar="ID", help="A fault it was meant to cure."
)
@click.option(
    "--hours", type=hours_typed, required=True, metavar="H", help="Engine hours on the meter."
)
@click.option("--date", type=time_typed, metavar="TIME", help="When it was done.")
@click.option("--text", required=True, metavar="WORDS", help="What was done.")
def add(machine: str, faults: tuple[str, ...], hours: float, date: int | None, text: str) -> int:
    """File a repair.

    Without --fault it stands for every open fault that its text plainly names.
    """
    return answer(
        lambda app, manner, wording, _: app.repair_add(
            manner.book_folder,
            machine=machine,
            faults=faults,
            hours=hours,
            date_us=date,
            text=text,
            wording=wording,
        ),
        render_repair,
    )
