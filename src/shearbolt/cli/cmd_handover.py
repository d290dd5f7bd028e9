"""`shearbolt handover`: one page for the technician, with its evidence."""

from __future__ import annotations

import click

from shearbolt.app.documents import HandoverDocument, Progress, Wording
from shearbolt.cli.door import UseCases
from shearbolt.cli.manner import Command, Manner
from shearbolt.cli.printing import answer
from shearbolt.cli.render_handover import render_handover


@click.command(cls=Command)
@click.argument("fault", metavar="FAULT")
@click.option("--out", required=True, metavar="FOLDER", help="New folder to write it into.")
def handover(fault: str, out: str) -> int:
    """Write one page for the technician as PDF, and its evidence in open formats."""

    def ask(_: UseCases, manner: Manner, wording: Wording, progress: Progress) -> HandoverDocument:
        from shearbolt.handover import hand_over

        return hand_over(manner.book_folder, fault, out, progress=progress, wording=wording)

    return answer(ask, render_handover)
