"""`shearbolt sunday`, `work`, `forecast` and `secondhand`: what lies ahead."""

from __future__ import annotations

import click

from shearbolt.cli.manner import Command
from shearbolt.cli.printing import answer
from shearbolt.cli.render_planning import render_forecast, render_sunday, render_work_list
from shearbolt.cli.render_secondhand import render_secondhand


@click.command(cls=Command)
@click.option("--window", type=float, default=40.0, metavar="H", help="Engine hours ahead (40).")
@click.option("--days", type=float, default=7.0, metavar="D", help="Days ahead (7).")
def sunday(window: float, days: float) -> int:
    """One page for the week: at most two lines a machine, each with something to do."""
    return answer(
        lambda app, manner, wording, _: app.sunday(
            manner.book_folder, window_hours=window, window_days=days, wording=wording
        ),
        render_sunday,
    )


@click.command(cls=Command)
@click.option("--window", type=float, default=40.0, metavar="H", help="Hours of work ahead (40).")
@click.option("--days", type=float, default=7.0, metavar="D", help="Days that this takes (7).")
@click.option("--shop-hours", type=float, metavar="H", help="Hours that the shop has until then.")
def work(window: float, days: float, shop_hours: float | None) -> int:
    """Order the shop's work by what each job buys before a stretch of work."""
    return answer(
        lambda app, manner, wording, _: app.work(
            manner.book_folder,
            window_hours=window,
            window_days=days,
            shop_hours=shop_hours,
            wording=wording,
        ),
        render_work_list,
    )


@click.command(cls=Command)
@click.argument("machine", metavar="MACHINE")
@click.option("--hours", type=float, required=True, metavar="N", help="Hours of work ahead.")
def forecast(machine: str, hours: float) -> int:
    """Tell the chance of getting through N hours without a stop or limited power."""
    return answer(
        lambda app, manner, wording, _: app.forecast_machine(
            manner.book_folder, machine, hours=hours, wording=wording
        ),
        render_forecast,
    )


@click.command(cls=Command)
@click.argument("machine", metavar="MACHINE")
def secondhand(machine: str) -> int:
    """Tell what an unknown machine's memory shows, and what to ask the seller."""
    return answer(
        lambda app, manner, wording, _: app.secondhand(
            manner.book_folder, machine, wording=wording
        ),
        render_secondhand,
    )
