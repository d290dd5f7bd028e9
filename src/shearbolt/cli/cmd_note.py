"""`shearbolt note`."""

from __future__ import annotations

from typing import Literal

import click

from shearbolt.app.documents import NoteAsked
from shearbolt.cli.kinds import hours_typed, time_typed
from shearbolt.cli.manner import Command
from shearbolt.cli.printing import answer
from shearbolt.cli.render_visit import render_note


@click.command(cls=Command)
@click.argument("text", nargs=-1, required=True, metavar="TEXT...")
@click.option("--machine", metavar="ID_OR_NAME", help="The machine it is about.")
@click.option("--hours", type=hours_typed, metavar="H", help="Engine hours on the meter.")
@click.option("--date", type=time_typed, metavar="TIME", help="When it was (now).")
@click.option(
    "--as",
    "own_words",
    type=click.Choice(["symptom", "event"]),
    help="Take the words as they are, as a symptom or an event.",
)
@click.option("--doing", metavar="WORDS", help="What the machine was doing.")
@click.option("--hot-cold", type=click.Choice(["hot", "cold"]), help="Whether it was warm by then.")
@click.option("--after-start", metavar="WORDS", help="How long after the start, as '20 min'.")
@click.option("--photo", metavar="FILE", help="A picture to keep with it.")
@click.option("--voice", metavar="FILE", help="A voice clip to keep with it.")
@click.option("--who", metavar="NAME", help="Who writes this down.")
def note(
    text: tuple[str, ...],
    machine: str | None,
    hours: float | None,
    date: int | None,
    doing: str | None,
    hot_cold: Literal["hot", "cold"] | None,
    after_start: str | None,
    photo: str | None,
    voice: str | None,
    who: str | None,
    own_words: Literal["symptom", "event"] | None,
) -> int:
    """Write down a code, a symptom or an event.

    TEXT is what the dash shows (SPN 110 FMI 0, 110-0, P0217, a blink count such as 2-3-1), a
    symptom (won't crank, weak lift) or an event (washed, jump-started, fuel delivered).
    """
    asked = NoteAsked(
        " ".join(text),
        machine,
        hours,
        date,
        doing,
        hot_cold,
        after_start,
        photo,
        voice,
        who,
        own_words,
    )
    return answer(
        lambda app, manner, wording, _: app.note(manner.book_folder, asked, wording=wording),
        render_note,
    )
