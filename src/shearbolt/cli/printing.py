"""Writing to the terminal: the document as JSON, or its lines for people."""

from __future__ import annotations

import json
import os
import shutil
import sys
from collections.abc import Callable, Mapping
from typing import Any, TypeVar, cast

import click

from shearbolt.app.documents import Progress, Wording
from shearbolt.cli.door import UseCases, use_cases
from shearbolt.cli.look import Look
from shearbolt.cli.manner import Manner, current_manner
from shearbolt.cli.outcome import exit_status
from shearbolt.cli.watching import Watching

_WIDEST = 100
_NARROWEST = 40
Document = TypeVar("Document", bound=Mapping[str, Any])


def answer(
    ask: Callable[[UseCases, Manner, Wording, Progress], Document],
    render: Callable[[Document, Look], list[str]],
) -> int:
    """Run one use case, print its document as asked, and give the exit status."""
    manner = current_manner()
    wording = Wording(manner.lang, "us" if manner.units == "us" else "metric")
    if not manner.quiet and manner.lang.lower().split("-")[0].split("_")[0] != "en":
        click.echo(f"Nothing is translated to '{manner.lang}' yet; English it is.", err=True)
    with Watching(wanted=not manner.quiet, color=not manner.no_color) as progress:
        document = ask(use_cases(), manner, wording, progress)
    if manner.json:
        print_json(document)
    else:
        put("\n".join(render(document, look_of(manner))))
    return exit_status(document)


def put(text: str) -> None:
    """Print to standard output; whoever stops reading it early changes nothing else."""
    try:
        click.echo(text)
        sys.stdout.flush()
    except BrokenPipeError:
        # Otherwise the interpreter flushes the closed pipe once more at its end and complains.
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, sys.stdout.fileno())
        os.close(nowhere)


def look_of(manner: Manner) -> Look:
    """Make the look for standard output as it is now."""
    width = 80
    terminal = sys.stdout.isatty()
    if terminal:
        width = min(_WIDEST, max(_NARROWEST, shutil.get_terminal_size().columns))
    return Look(
        width=width,
        emphasis=terminal and not manner.no_color and not os.environ.get("NO_COLOR"),
        units="us" if manner.units == "us" else "metric",
        hints=not manner.quiet,
    )


def print_json(document: Mapping[str, Any]) -> None:
    """Print one JSON document, `schema` first.

    Only ASCII is written, so that no code page of any console can spoil it; on one line, which is
    quicker for large ones, unless it is for eyes.
    """
    ordered = {"schema": document["schema"], **cast(dict[str, Any], document)}
    indent = 1 if sys.stdout.isatty() else None
    put(json.dumps(ordered, indent=indent, allow_nan=False))
