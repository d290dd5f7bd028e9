"""`shearbolt ask`."""

from __future__ import annotations

import click

from shearbolt.app.documents import AskAsked, AskedFrame
from shearbolt.cli.cmd_listen import option_typed, stopping
from shearbolt.cli.kinds import hours_typed
from shearbolt.cli.layout import clean
from shearbolt.cli.manner import Command, current_manner
from shearbolt.cli.printing import answer
from shearbolt.cli.render_ask import frame_line, render_ask


@click.command(cls=Command)
@click.option(
    "--interface", required=True, metavar="NAME", help="Interface, in the bus library's words."
)
@click.option("--channel", required=True, metavar="NAME", help="Channel of it.")
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
@click.option("--machine", metavar="ID_OR_NAME", help="The machine it is.")
@click.option("--hours", type=hours_typed, metavar="H", help="Engine hours on the meter.")
@click.option("--road", is_flag=True, help="A road vehicle: read by SAE J1979.")
@click.option(
    "--yes-machine-stands",
    "stands",
    is_flag=True,
    help="Your word: it stands still, is secured, and nobody works on it.",
)
def ask(
    interface: str,
    channel: str,
    bitrate: int | None,
    options: tuple[tuple[str, str | int | float | bool], ...],
    machine: str | None,
    hours: float | None,
    road: bool,
    stands: bool,
) -> int:
    """Ask a machine what it tells only when asked.

    Sends requests to read and nothing else, at most one a second, while the machine stands
    still. Without --yes-machine-stands nothing is sent: it is looked at, and what would be sent
    is shown. Ctrl-C ends it.
    """
    asked = AskAsked(interface, channel, bitrate, options, machine, hours, road, stands)
    quiet = current_manner().quiet

    def show(frame: AskedFrame | None, words: str) -> None:
        if not quiet:
            click.echo(clean(words if frame is None else frame_line(frame)), err=True)

    with stopping() as stop:
        return answer(
            lambda app, manner, wording, progress: app.ask(
                manner.book_folder,
                asked,
                show=show,
                stop=stop.is_set,
                progress=progress,
                wording=wording,
            ),
            render_ask,
        )
