"""`shearbolt cause add`: what it truly was, as knowledge of this farm."""

from __future__ import annotations

import click

from shearbolt.cli.kinds import hours_typed, time_typed
from shearbolt.cli.manner import Group
from shearbolt.cli.printing import answer
from shearbolt.cli.render_work import render_cause, render_withdrawn


@click.group(cls=Group)
def cause() -> None:
    """Keep what a fault truly was, for this machine and its sisters."""


@cause.command()
@click.argument("fault", metavar="FAULT")
@click.option("--cause", "which", required=True, metavar="CLASS", help="Cause class: wiring, ...")
@click.option("--words", required=True, metavar="WORDS", help="What it was, in your own words.")
@click.option(
    "--grade",
    default="opinion",
    metavar="HOW",
    help="How it was confirmed: measured, swapped, part_held or opinion.",
)
@click.option("--repair", metavar="ID", help="The repair that showed it.")
@click.option("--hours", type=hours_typed, metavar="H", help="Engine hours on the meter.")
@click.option("--date", type=time_typed, metavar="TIME", help="When it was found.")
@click.option("--who", metavar="NAME", help="Who says so.")
def add(
    fault: str,
    which: str,
    words: str,
    grade: str,
    repair: str | None,
    hours: float | None,
    date: int | None,
    who: str | None,
) -> int:
    """Keep the cause of a fault that somebody confirmed."""
    return answer(
        lambda app, manner, wording, _: app.cause_add(
            manner.book_folder,
            fault=fault,
            cause=which,
            words=words,
            grade=grade,
            repair=repair,
            hours=hours,
            date_us=date,
            who=who,
            wording=wording,
        ),
        render_cause,
    )


@cause.command()
@click.argument("entry", metavar="ENTRY")
def withdraw(entry: str) -> int:
    """Take back a cause that was not so after all."""
    return answer(
        lambda app, manner, wording, _: app.withdraw(manner.book_folder, entry, wording=wording),
        render_withdrawn,
    )
