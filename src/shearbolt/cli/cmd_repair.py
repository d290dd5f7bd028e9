"""`shearbolt repair ...`: what was done to cure faults."""

from __future__ import annotations

import click

from shearbolt.cli.kinds import hours_typed, time_typed
from shearbolt.cli.manner import Group
from shearbolt.cli.printing import answer
from shearbolt.cli.render_record import render_repair
from shearbolt.cli.render_work import render_repairs, render_withdrawn


@click.group(cls=Group)
def repair() -> None:
    """File what was done to cure a fault, and see whether it held."""


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
@click.option("--parts", metavar="WORDS", help="Parts used.")
@click.option("--cost", type=float, metavar="X", help="What it cost, in your money.")
@click.option("--minutes", type=float, metavar="MIN", help="Time it took.")
def add(
    machine: str,
    faults: tuple[str, ...],
    hours: float,
    date: int | None,
    text: str,
    parts: str | None,
    cost: float | None,
    minutes: float | None,
) -> int:
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
            parts=parts,
            cost=cost,
            minutes=minutes,
        ),
        render_repair,
    )


@repair.command()
@click.argument("which", metavar="REPAIR")
@click.option("--fault", "faults", multiple=True, metavar="ID", help="Faults it was meant to cure.")
@click.option("--hours", type=hours_typed, metavar="H", help="Engine hours on the meter.")
@click.option("--date", type=time_typed, metavar="TIME", help="When it was done.")
@click.option("--text", metavar="WORDS", help="What was done.")
@click.option("--parts", metavar="WORDS", help="Parts used.")
@click.option("--cost", type=float, metavar="X", help="What it cost, in your money.")
@click.option("--minutes", type=float, metavar="MIN", help="Time it took.")
def change(
    which: str,
    faults: tuple[str, ...],
    hours: float | None,
    date: int | None,
    text: str | None,
    parts: str | None,
    cost: float | None,
    minutes: float | None,
) -> int:
    """Correct a repair; what is not given stays as it was."""
    return answer(
        lambda app, manner, wording, _: app.repair_change(
            manner.book_folder,
            which,
            faults=faults or None,
            hours=hours,
            date_us=date,
            text=text,
            wording=wording,
            parts=parts,
            cost=cost,
            minutes=minutes,
        ),
        render_repair,
    )


@repair.command(name="list")
@click.argument("machine", metavar="MACHINE")
def list_repairs(machine: str) -> int:
    """Show a machine's repairs, and whether they held."""
    return answer(
        lambda app, manner, wording, _: app.repair_list(
            manner.book_folder, machine, wording=wording
        ),
        render_repairs,
    )


@repair.command()
@click.argument("which", metavar="REPAIR")
def withdraw(which: str) -> int:
    """Take back a repair that was not done after all."""
    return answer(
        lambda app, manner, wording, _: app.withdraw(manner.book_folder, which, wording=wording),
        render_withdrawn,
    )
