"""Showing a person what to do now in a guided round or experiment, one step after another."""

from __future__ import annotations

import sys

import click

from shearbolt.app.documents import GuidedStep, LiveView
from shearbolt.cli import phrases
from shearbolt.cli.look import Look
from shearbolt.cli.page import Page


class GuidedShow:
    """Prints each step when it is due, with a bell on a terminal, and the health of the bus.

    Steps are shown whatever was asked for; with `json` on standard error.
    """

    def __init__(self, look: Look, *, json: bool) -> None:
        self._look = look
        self._to_error = json
        self._stream = sys.stderr if json else sys.stdout
        self._told: set[str] = set()

    def step(self, step: GuidedStep) -> None:
        """Show what to do now."""
        if self._stream.isatty():
            click.echo("\a", nl=False, err=self._to_error)
        for line in step_lines(step, self._look):
            click.echo(line, err=self._to_error)

    def view(self, view: LiveView) -> None:
        """Say once what is amiss with the adapter or the bus."""
        told = [words for one in view["adapters"] for words in one["words"]]
        told += [one["words"] for one in view["health"]]
        for words in told:
            if words not in self._told:
                self._told.add(words)
                click.echo(f"  {words}", err=self._to_error)


def step_lines(step: GuidedStep, look: Look) -> list[str]:
    """Write a step: its cautions first, then what to do."""
    page = Page(look)
    for one in step["cautions"]:
        page.item(f"CAUTION: {one}")
    page.title(f"{step['number']}/{step['of']}: {step['words']}")
    page.text(f"about {phrases.seconds(float(max(1, round(step['seconds']))))}", 2)
    return page.lines
