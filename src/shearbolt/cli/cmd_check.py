"""`shearbolt check ...`: checks on machines, and of the book itself."""

from __future__ import annotations

import click

from shearbolt.cli.kinds import hours_typed, time_typed
from shearbolt.cli.manner import Group
from shearbolt.cli.printing import answer
from shearbolt.cli.render_record import render_check
from shearbolt.cli.render_work import render_check_add, render_checks, render_withdrawn


@click.group(cls=Group, invoke_without_command=True)
@click.pass_context
def check(context: click.Context) -> int | None:
    """File what came of a check; alone, check that the book is sound."""
    if context.invoked_subcommand is not None:
        return None
    return answer(
        lambda app, manner, wording, progress: app.check(
            manner.book_folder, progress=progress, wording=wording
        ),
        render_check,
    )


@check.command()
@click.argument("fault", metavar="FAULT")
@click.argument("which", metavar="CHECK")
@click.option("--outcome", metavar="NAME", help="What came of it, as `shearbolt fault` names it.")
@click.option("--value", type=float, metavar="X", help="What was measured, in the check's unit.")
@click.option(
    "--temperature", type=float, metavar="C", help="Temperature there while measuring, in °C."
)
@click.option("--hours", type=hours_typed, metavar="H", help="Engine hours on the meter.")
@click.option("--date", type=time_typed, metavar="TIME", help="When it was done.")
@click.option("--who", metavar="NAME", help="Who did it.")
@click.option("--note", metavar="WORDS", help="Anything beside it.")
def add(
    fault: str,
    which: str,
    outcome: str | None,
    value: float | None,
    temperature: float | None,
    hours: float | None,
    date: int | None,
    who: str | None,
    note: str | None,
) -> int:
    """File what came of a check for a fault; the odds move at once."""
    return answer(
        lambda app, manner, wording, _: app.check_add(
            manner.book_folder,
            fault=fault,
            check=which,
            outcome=outcome,
            value=value,
            sensor_c=temperature,
            hours=hours,
            date_us=date,
            who=who,
            note=note,
            wording=wording,
        ),
        render_check_add,
    )


@check.command(name="list")
@click.argument("machine", metavar="MACHINE")
def list_checks(machine: str) -> int:
    """Show the checks that were done on a machine."""
    return answer(
        lambda app, manner, wording, _: app.check_list(
            manner.book_folder, machine, wording=wording
        ),
        render_checks,
    )


@check.command()
@click.argument("entry", metavar="ENTRY")
def withdraw(entry: str) -> int:
    """Take back a check that was not done so after all."""
    return answer(
        lambda app, manner, wording, _: app.withdraw(manner.book_folder, entry, wording=wording),
        render_withdrawn,
    )
