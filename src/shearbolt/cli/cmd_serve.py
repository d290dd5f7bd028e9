"""`shearbolt serve`."""

from __future__ import annotations

import click

from shearbolt.cli.manner import Command, current_manner
from shearbolt.cli.outcome import DONE
from shearbolt.cli.printing import print_json, put


@click.command(cls=Command)
@click.option(
    "--port",
    type=click.IntRange(0, 65535),
    default=8417,
    metavar="N",
    help="Port of this computer (8417; 0: any free one).",
)
@click.option("--open", "opened", is_flag=True, help="Open the yard in this computer's browser.")
def serve(port: int, opened: bool) -> int:
    """Serve the pages, to this computer alone.

    Prints the address, and goes on until Ctrl-C or the system ends it. Nothing is asked of any
    other computer, and none is answered.
    """
    from shearbolt.web import serving

    manner = current_manner()
    folder = manner.book_folder

    def announce(address: str) -> None:
        if manner.json:
            print_json({"schema": "shearbolt/serve/1", "address": address, "book": str(folder)})
        else:
            put(address)
        if not manner.quiet:
            click.echo("Open that in a browser; Ctrl-C ends it.", err=True)
        if opened:
            click.launch(address)

    serving.serve(folder, port, announce)
    return DONE
