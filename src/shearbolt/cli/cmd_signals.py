"""`shearbolt signals`."""

from __future__ import annotations

import click

from shearbolt.app.documents import SignalsAsked
from shearbolt.cli.manner import Command, current_manner
from shearbolt.cli.printing import answer
from shearbolt.cli.render_signals import render_signals


@click.command(cls=Command)
@click.argument("visit", metavar="VISIT")
@click.option(
    "--spn", "spns", type=click.IntRange(0), multiple=True, metavar="N", help="Only these."
)
@click.option(
    "--address", type=click.IntRange(0, 0x7FF), metavar="A", help="Only from this source address."
)
@click.option("--from", "from_", metavar="T", help="Not before: a time, or seconds from the start.")
@click.option("--to", metavar="T", help="Not after: a time, or seconds from the start.")
@click.option("--csv", metavar="FILE", help="Write every sample to a CSV file.")
@click.option("--parquet", metavar="FILE", help="Write every sample to a Parquet file.")
def signals(
    visit: str,
    spns: tuple[int, ...],
    address: int | None,
    from_: str | None,
    to: str | None,
    csv: str | None,
    parquet: str | None,
) -> int:
    """Give the decoded samples of a visit, each with its unit.

    Where there is no number the value is empty and a status says not_available or error. Without
    a file, --json prints every sample, and a person sees each signal in one row.
    """
    if csv is not None and parquet is not None:
        raise click.UsageError("Give either --csv or --parquet, not both.")
    asked = SignalsAsked(visit, spns, address, from_, to, csv, parquet)
    with_samples = current_manner().json and csv is None and parquet is None
    return answer(
        lambda app, manner, wording, progress: app.signals(
            manner.book_folder,
            asked,
            with_samples=with_samples,
            progress=progress,
            wording=wording,
        ),
        render_signals,
    )
