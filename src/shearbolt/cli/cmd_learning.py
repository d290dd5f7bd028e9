"""`shearbolt baseline` and `shearbolt learn`: a machine's own reference, and what it hides."""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeVar

import click

from shearbolt.app.documents import BaselineAsked, LearnAsked, ListenAsked
from shearbolt.cli.cmd_listen import option_typed, seconds_typed, stopping
from shearbolt.cli.guided_show import GuidedShow
from shearbolt.cli.manner import Command, current_manner
from shearbolt.cli.printing import answer, look_of
from shearbolt.cli.render_learning import render_baseline, render_learn, render_learnt

Options = tuple[tuple[str, str | int | float | bool], ...]
_Function = TypeVar("_Function", bound=Callable[..., object])


def _live_options(command: _Function) -> _Function:
    """Add the options of live listening."""
    for one in (
        click.option(
            "--for", "seconds", type=seconds_typed, metavar="TIME", help="Live: at most so long."
        ),
        click.option(
            "--option", "options", multiple=True, type=option_typed, metavar="NAME=VALUE",
            help="Live: further option of the interface; may repeat.",
        ),
        click.option(
            "--bitrate", type=click.IntRange(10_000, 1_000_000), metavar="N",
            help="Live: bits a second (else found by listening).",
        ),
        click.option(
            "--channel", "channels", multiple=True, metavar="NAME",
            help="Live: channel; may repeat.",
        ),
        click.option("--interface", metavar="NAME", help="Do it live, guided, on this interface."),
    ):  # fmt: skip
        command = one(command)
    return command


def _live(
    interface: str | None,
    channels: tuple[str, ...],
    bitrate: int | None,
    options: Options,
    seconds: float | None,
) -> ListenAsked | None:
    if interface is None:
        if channels or bitrate is not None or options or seconds is not None:
            raise click.UsageError("Say which --interface to listen on.")
        return None
    return ListenAsked(interface, channels, bitrate, options, seconds=seconds)


@click.command(cls=Command)
@click.argument("machine", metavar="MACHINE")
@click.option("--visit", metavar="ID", help="Make it of this visit, already in the book.")
@_live_options
def baseline(
    machine: str,
    visit: str | None,
    interface: str | None,
    channels: tuple[str, ...],
    bitrate: int | None,
    options: Options,
    seconds: float | None,
) -> int:
    """Keep what a healthy machine's readings are; alone, show them and what differs since.

    With --interface a round of ten minutes is guided live. Nothing is ever sent.
    """
    live = _live(interface, channels, bitrate, options, seconds)
    if live is not None and visit is not None:
        raise click.UsageError("Give either --visit or --interface, not both.")
    manner = current_manner()
    shown = GuidedShow(look_of(manner), json=manner.json)
    with stopping() as stop:
        return answer(
            lambda app, manner, wording, progress: app.baseline(
                manner.book_folder,
                BaselineAsked(machine, visit, live),
                guide=shown.step,
                show=shown.view,
                stop=stop.is_set,
                progress=progress,
                wording=wording,
            ),
            render_baseline,
        )


@click.command(cls=Command)
@click.argument("machine", metavar="[MACHINE]", required=False)
@click.option("--what", metavar="WORDS", help="What it follows: 'sitting on the seat'.")
@click.option("--visit", metavar="ID", help="Look through this visit, already in the book.")
@click.option(
    "--at",
    multiple=True,
    metavar="TIME",
    help="When a prompt was: on, off, on ...; seconds from the start will do. May repeat.",
)
@click.option("--experiment", metavar="NAME", help="A guided experiment: seat, hitch, ...")
@click.option("--follows", metavar="QUANTITY", help="Look for numbers that follow a known one.")
@click.option("--list", "listed", is_flag=True, help="List what is learnt, and the experiments.")
@_live_options
def learn(
    machine: str | None,
    what: str | None,
    visit: str | None,
    at: tuple[str, ...],
    experiment: str | None,
    follows: str | None,
    listed: bool,
    interface: str | None,
    channels: tuple[str, ...],
    bitrate: int | None,
    options: Options,
    seconds: float | None,
) -> int:  # fmt: skip
    """Find which bits go with what a person does, in groups that nothing decodes.

    Live with --interface and --experiment, or from a visit with --visit and --at. Two sessions
    make a signal learnt. Nothing is ever sent.
    """
    if listed:
        return answer(
            lambda app, manner, wording, _: app.learnt(
                manner.book_folder, machine, wording=wording
            ),
            render_learnt,
        )
    if machine is None:
        raise click.UsageError("Say which MACHINE, or --list.")
    live = _live(interface, channels, bitrate, options, seconds)
    if live is not None and (visit is not None or at or follows is not None):
        raise click.UsageError("--visit, --at and --follows are for recordings, not for live.")
    if at and follows is not None:
        raise click.UsageError("Give either --at or --follows, not both.")
    asked = LearnAsked(machine, what, visit, at, experiment, follows, live)
    manner = current_manner()
    shown = GuidedShow(look_of(manner), json=manner.json)
    with stopping() as stop:
        return answer(
            lambda app, manner, wording, progress: app.learn(
                manner.book_folder,
                asked,
                guide=shown.step,
                show=shown.view,
                stop=stop.is_set,
                progress=progress,
                wording=wording,
            ),
            render_learn,
        )
