"""`shearbolt costs` and `courses`: what things cost, and who does the work."""

from __future__ import annotations

import click

from shearbolt.cli.manner import Command
from shearbolt.cli.printing import answer
from shearbolt.cli.render_planning import render_costs, render_courses


@click.command(cls=Command)
@click.option("--currency", metavar="WORD", help="What your money is called.")
@click.option("--call-out", type=float, metavar="X", help="Fixed part of a call.")
@click.option("--hourly-rate", type=float, metavar="X", help="An hour of the one who is called.")
@click.option("--distance", type=float, metavar="KM", help="Way of the one called, one way.")
@click.option("--per-km", type=float, metavar="X", help="A kilometre of that way.")
@click.option("--own-hour", type=float, metavar="X", help="An hour of your own time.")
@click.option("--standstill-hour", type=float, metavar="X", help="An hour's standstill in season.")
@click.option("--wait-hours", type=float, metavar="H", help="Working hours until help is there.")
@click.option("--called-hours", type=float, metavar="H", help="Hours that help usually takes.")
@click.option("--parts", type=float, metavar="X", help="What a part usually costs.")
@click.option("--fetch-hours", type=float, metavar="H", help="Working hours until a part is there.")
def costs(
    currency: str | None,
    call_out: float | None,
    hourly_rate: float | None,
    distance: float | None,
    per_km: float | None,
    own_hour: float | None,
    standstill_hour: float | None,
    wait_hours: float | None,
    called_hours: float | None,
    parts: float | None,
    fetch_hours: float | None,
) -> int:
    """Keep what things cost you; without options, show it."""
    given: dict[str, float | str | None] = {
        "currency": currency,
        "call_out": call_out,
        "hourly_rate": hourly_rate,
        "distance_km": distance,
        "per_km": per_km,
        "own_hour": own_hour,
        "standstill_hour": standstill_hour,
        "wait_hours": wait_hours,
        "called_hours": called_hours,
        "parts": parts,
        "fetch_hours": fetch_hours,
    }
    return answer(
        lambda app, manner, wording, _: app.costs(manner.book_folder, given=given, wording=wording),
        render_costs,
    )


def _parts(context: click.Context, param: click.Parameter, value: tuple[str, ...]) -> object:
    found: dict[str, float] = {}
    for one in value:
        cause, _, price = one.partition("=")
        try:
            cost = float(price)
        except ValueError:
            cost = -1.0
        if not cause or not 0.0 <= cost < float("inf"):
            raise click.BadParameter(f"'{one}' is not of the form CAUSE=X.")
        found[cause] = cost
    return found


@click.command(cls=Command)
@click.argument("fault", metavar="FAULT")
@click.option(
    "--parts",
    multiple=True,
    callback=_parts,
    metavar="CAUSE=X",
    help="What the parts for a cause cost: sensor=140.",
)
def courses(fault: str, parts: dict[str, float]) -> int:
    """Do it yourself or call: what each is expected to cost, and where they break even."""
    return answer(
        lambda app, manner, wording, _: app.courses_of_fault(
            manner.book_folder, fault, parts=parts, wording=wording
        ),
        render_courses,
    )
