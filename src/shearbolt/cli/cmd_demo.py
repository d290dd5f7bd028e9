"""`shearbolt demo`."""

from __future__ import annotations

from pathlib import Path

import click

from shearbolt.cli.manner import Command
from shearbolt.cli.printing import answer
from shearbolt.cli.render_record import render_demo

_FOLDER = "shearbolt-demo"


@click.command(cls=Command)
@click.option("--folder", metavar="DIR", default=_FOLDER, help=f"Where to put it ({_FOLDER}).")
def demo(folder: str) -> int:
    """Try it on invented machines.

    Generates recordings, files them and shows what is wrong with which machine. Unless --book
    says otherwise they go into a book of their own in the same folder, not into yours.
    """
    return answer(
        lambda app, manner, wording, progress: app.demo(
            manner.book_folder if manner.book_given else Path(folder) / "book",
            folder,
            progress=progress,
            wording=wording,
        ),
        render_demo,
    )
