"""`shearbolt watch`."""

from __future__ import annotations

import click

from shearbolt.app.documents import WatchAsked
from shearbolt.cli.cmd_listen import option_typed, seconds_typed, stopping
from shearbolt.cli.layout import clean
from shearbolt.cli.manner import Command, current_manner
from shearbolt.cli.printing import answer
from shearbolt.cli.render_ask import render_watch


@click.command(cls=Command)
@click.option("--folder", required=True, metavar="DIR", help="Folder of finished recordings.")
@click.option("--interface", metavar="NAME", help="Interface, in the bus library's words.")
@click.option("--channel", "channels", multiple=True, metavar="NAME", help="Channel; may repeat.")
@click.option(
    "--bitrate",
    type=click.IntRange(10_000, 1_000_000),
    metavar="N",
    help="Bits a second (else found by listening).",
)
@click.option(
    "--option",
    "options",
    multiple=True,
    type=option_typed,
    metavar="NAME=VALUE",
    help="Further option of the interface; may repeat.",
)
@click.option(
    "--silence",
    type=seconds_typed,
    default="60",
    metavar="TIME",
    help="Silence that ends a visit (60).",
)
@click.option(
    "--longest",
    type=seconds_typed,
    default="4h",
    metavar="TIME",
    help="Cut a visit that goes on after this (4h).",
)
@click.option(
    "--reserve",
    type=click.IntRange(1),
    default=500,
    metavar="MB",
    help="Room on the disk that is never used (500).",
)
@click.option("--once", is_flag=True, help="End after the first visit.")
def watch(
    folder: str,
    interface: str | None,
    channels: tuple[str, ...],
    bitrate: int | None,
    options: tuple[tuple[str, str | int | float | bool], ...],
    silence: float,
    longest: float,
    reserve: int,
    once: bool,
) -> int:
    """Record unattended, on a small computer in the cab.

    A visit begins with the first frame and ends with silence; each becomes a packed recording in
    DIR, to be carried away and brought in with `add DIR`. Nothing is ever sent. Ctrl-C, or the
    system's request to end, ends it.
    """
    asked = WatchAsked(
        folder, interface, channels, bitrate, options, silence, longest, reserve * 1_000_000, once
    )
    quiet = current_manner().quiet

    def show(words: str) -> None:
        if not quiet:
            click.echo(clean(words), err=True)

    with stopping() as stop:
        return answer(
            lambda app, manner, wording, _: app.watch(
                asked,
                show=show,
                stop=stop.is_set,
                wait=lambda s: void(stop.wait(s)),
                wording=wording,
            ),
            render_watch,
        )


def void(_: object) -> None:
    """Take a result that nobody needs."""
