"""`shearbolt service ...`: what is due again and again."""

from __future__ import annotations

import click

from shearbolt.cli.kinds import hours_typed, time_typed
from shearbolt.cli.manner import Group
from shearbolt.cli.printing import answer
from shearbolt.cli.render_planning import render_service, render_service_job
from shearbolt.cli.render_work import render_withdrawn


@click.group(cls=Group)
def service() -> None:
    """Keep service due by engine hours and by date, whichever comes first."""


@service.command()
@click.argument("machine", metavar="MACHINE")
@click.option("--text", required=True, metavar="WORDS", help="What is to be done.")
@click.option("--every-hours", type=float, metavar="H", help="Engine hours between two times.")
@click.option("--every-days", type=float, metavar="D", help="Days between two times.")
@click.option("--minutes", type=float, metavar="MIN", help="Time it takes.")
def add(
    machine: str,
    text: str,
    every_hours: float | None,
    every_days: float | None,
    minutes: float | None,
) -> int:
    """Keep something that is due again and again."""
    return answer(
        lambda app, manner, wording, _: app.service_add(
            manner.book_folder,
            machine,
            text=text,
            every_hours=every_hours,
            every_days=every_days,
            minutes=minutes,
            wording=wording,
        ),
        render_service_job,
    )


@service.command()
@click.argument("job", metavar="JOB")
@click.option("--hours", type=hours_typed, metavar="H", help="Engine hours on the meter.")
@click.option("--date", type=time_typed, metavar="TIME", help="When it was done.")
@click.option("--note", metavar="WORDS", help="Anything beside it.")
def done(job: str, hours: float | None, date: int | None, note: str | None) -> int:
    """File that a service job was done."""
    return answer(
        lambda app, manner, wording, _: app.service_done(
            manner.book_folder, job, hours=hours, date_us=date, note=note, wording=wording
        ),
        render_service_job,
    )


@service.command(name="list")
@click.argument("machine", metavar="[MACHINE]", required=False)
@click.option("--window", type=float, default=40.0, metavar="H", help="Engine hours ahead (40).")
@click.option("--days", type=float, default=7.0, metavar="D", help="Days ahead (7).")
def list_services(machine: str | None, window: float, days: float) -> int:
    """Show what is due, the most urgent first."""
    return answer(
        lambda app, manner, wording, _: app.service_list(
            manner.book_folder, machine, window_hours=window, window_days=days, wording=wording
        ),
        render_service,
    )


@service.command()
@click.argument("job", metavar="JOB")
def withdraw(job: str) -> int:
    """Take back a service job that is not to be done after all."""
    return answer(
        lambda app, manner, wording, _: app.withdraw(manner.book_folder, job, wording=wording),
        render_withdrawn,
    )
